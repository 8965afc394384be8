"""A scenario as one spreadsheet file: written, read, typed in by a spreadsheet, and through LibreOffice."""

from __future__ import annotations

import datetime as dt
import shutil
import subprocess
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import openpyxl
import pytest

import planning_kit as pk
from planning_kit.inputs import format as fmt
from tests.conftest import SCENARIOS, TESTS
from tests.inputs.small_folder import write_small

VALID = sorted(path.parent for room in (SCENARIOS, TESTS / "data") for path in room.glob("*/scenario.toml")
               if path.parent.name not in ("refused", "format-1-small"))
ODD = ("=1+1", "'quoted", "_x0041_", "  two  ", "+5", "-", "@x", "#N/A", "1.50", "TRUE", "007", "a\nb",
       "a\r\nb", "\ttab", "x\x07y", "é🛰", "1:30", "2031-05-14", '"', "&amp;<b>", "1e400")
CHANGED_BY_A_SPREADSHEET = ("_x0041_", "a\r\nb", "\ttab", "x\x07y")
"""It undoes the first, has one kind of line end, and OpenDocument holds no tab in front and no bell."""


def written(scenario: pk.Scenario, folder: Path, name: str = "outing.xlsx") -> Path:
    return scenario.write_workbook(folder / name)


def retyped(path: Path, cells: Mapping[str, Any], formats: Mapping[str, str] | None = None) -> Path:
    """The workbook with cells (``steps!F2``) typed anew, as a spreadsheet would hold them."""
    book = openpyxl.load_workbook(path)
    for place, value in cells.items():
        sheet, _, at = place.partition("!")
        cell = book[sheet][at]
        cell.value, cell.number_format = value, (formats or {}).get(place, cell.number_format)
    book.save(path)
    return path


def cell_of(path: Path, sheet: str, column: str, row: int) -> str:
    heads = [cell.value for cell in openpyxl.load_workbook(path)[sheet][1]]
    return f"{sheet}!{openpyxl.utils.get_column_letter(heads.index(column) + 1)}{row}"


def key_cell(path: Path, key: str, column: str = "C") -> str:
    for row in openpyxl.load_workbook(path)["scenario"].iter_rows(min_row=2):
        if ".".join(filter(None, (row[0].value, row[1].value))) == key:
            return f"scenario!{column}{row[0].row}"
    raise AssertionError(key)


def faults(path: Path) -> list[tuple[str, str]]:
    with pytest.raises(pk.ScenarioError) as caught:
        pk.load_scenario(path)
    return list(zip(caught.value.problems["column"], caught.value.problems["problem"], strict=True))


def odd_scenario(folder: Path) -> pk.Scenario:
    scenario = pk.load_scenario(write_small(folder / "made"))
    count = len(scenario.steps)
    more = {f"x_odd{at}": [*ODD[at:at + count], *[""] * (count - len(ODD[at:at + count]))]
            for at in range(0, len(ODD), count)}
    return scenario.with_table("steps", scenario.steps.assign(**more)).with_settings(
        {"x_more": [1, 2.5, "a"], "x_words": "true", "limits.x_small": 1e-9})


@pytest.mark.parametrize("folder", VALID, ids=lambda folder: folder.name)
def test_a_workbook_says_what_the_folder_says(folder: Path, tmp_path: Path) -> None:
    scenario = pk.load_scenario(folder)
    read = pk.load_scenario(written(scenario, tmp_path))
    assert read.digest == scenario.digest
    assert read.save(tmp_path / "again").digest == scenario.digest
    assert pk.load_scenario(tmp_path / "again").digest == scenario.digest


def test_odd_texts_come_back_as_they_were(tmp_path: Path) -> None:
    scenario = odd_scenario(tmp_path)
    path = written(scenario, tmp_path)
    assert pk.load_scenario(path).digest == scenario.digest
    texts = [cell for row in openpyxl.load_workbook(path)["steps"].iter_rows(min_row=2) for cell in row
             if str(cell.value)[:1] in "=+-@"]
    assert len(texts) >= 4
    for cell in texts:
        assert cell.data_type == "s"
        assert cell.quotePrefix


def test_what_openpyxl_reads(tmp_path: Path) -> None:
    path = written(pk.load_scenario(SCENARIOS / "tern-station"), tmp_path)
    book = openpyxl.load_workbook(path)
    assert book.sheetnames == ["start", "scenario", "orbit", *fmt.TABLE_BY_NAME]
    start = [str(row[0].value) for row in book["start"].iter_rows()]
    assert fmt.CAUTION in start
    assert all(sheet.sheet_properties.pageSetUpPr.fitToPage for sheet in book.worksheets)  # on paper
    for name in book.sheetnames[1:]:
        sheet = book[name]
        assert sheet.freeze_panes in ("B2", "D2")
        assert all(cell.comment for cell in sheet[1] if not str(cell.value).startswith("x_")
                   or cell.value in fmt.TABLE_BY_NAME[name].by_name), name
    steps = book["steps"]
    heads = {str(cell.value): cell for cell in steps[1]}
    assert "Unit: min" in heads["minutes_likely"].comment.text
    assert heads["step"].offset(1).number_format == "@"
    assert heads["minutes_likely"].offset(1).data_type == "n"
    rules = {str(rule.sqref).partition("2:")[0]: rule.formula1
             for rule in steps.data_validations.dataValidation}
    assert rules[heads["place"].column_letter].startswith("places!$A$2:$A$")
    assert rules[heads["foothold"].column_letter].startswith("hardware!$A$2:$A$")
    assert rules[heads["crew"].column_letter] == '"EV1,EV2,both"'
    assert rules[heads["light"].column_letter] == '"any,night,day"'
    assert rules[heads["helper"].column_letter] == '"yes,no"'
    settings = {rule.formula1 for rule in book["scenario"].data_validations.dataValidation}
    assert '"hatch_closed,repress_start,repress_safe"' in settings


def test_faults_name_sheet_and_cell(tmp_path: Path) -> None:
    path = written(pk.load_scenario(SCENARIOS / "small-outing"), tmp_path)
    wrong = {cell_of(path, "steps", "minutes_likely", 3): "soon",
             cell_of(path, "steps", "place", 4): "nowhere",
             cell_of(path, "routes", "metres", 2): None, "tasks!A9": "X1 X2", "hardware!C1": "knd",
             key_cell(path, "limits.planned_min"): "long", key_cell(path, "airlock.ends"): "never",
             key_cell(path, "station"): None}
    told = faults(retyped(path, wrong))
    for place in wrong:
        assert any(f"(cell {place})" in problem for _, problem in told), place
    with pytest.raises(pk.ScenarioError) as caught:
        pk.load_scenario(path)
    by_cell = caught.value.problems.set_index("column")
    assert tuple(by_cell.loc["place", ["table", "row", "value"]]) == ("steps", 4, "nowhere")


@pytest.mark.parametrize(("column", "typed", "number_format", "expected"), [
    ("minutes_likely", 10.0, "General", 10), ("minutes_likely", 10.25, "0.00", 10.25),
    ("title", 12, "0", "12"), ("x_note", True, "General", "yes"), ("x_note", 1.5, "General", "1.5"),
    ("x_note", dt.datetime(2031, 5, 14, 11, 20), "yyyy-mm-dd hh:mm", "2031-05-14T11:20:00Z"),
    ("x_note", dt.time(1, 30), "h:mm", "1:30"),
    ("x_note", dt.timedelta(hours=26, minutes=10), "[h]:mm", "26:10"),
    ("x_note", dt.timedelta(minutes=90, seconds=15), "[h]:mm:ss", "1:30:15"),
    ("helper", False, "General", "no")])
def test_what_a_spreadsheet_made_of_a_cell(column: str, typed: Any, number_format: str, expected: Any,
                                           tmp_path: Path) -> None:
    small = pk.load_scenario(SCENARIOS / "small-outing")
    path = written(small.with_table("steps", small.steps.assign(x_note="a")), tmp_path)
    place = cell_of(path, "steps", column, 2)
    read = pk.load_scenario(retyped(path, {place: typed}, {place: number_format}))
    assert read.steps[column][0] == expected


@pytest.mark.parametrize(("column", "typed", "number_format", "problem"), [
    ("minutes_likely", dt.time(1, 30), "h:mm", "write minutes as a plain number: 90"),
    ("minutes_likely", True, "General", "the spreadsheet made yes of it"),
    ("step", 1.1, "General", "the spreadsheet made 1.1 of it"),
    ("step", dt.datetime(2031, 5, 14), "yyyy-mm-dd", "the spreadsheet made 2031-05-14 of it"),
    ("title", 1e17, "General", "format the cell as text"),
    ("helper", 1, "General", "must be one of: yes, no"),
    ("title", "=A1", "General", "is a formula"), ("title", "#N/A", "General", "is a formula, or its error")])
def test_what_may_be_another_thing_than_what_was_typed_is_a_fault(
        column: str, typed: Any, number_format: str, problem: str, tmp_path: Path) -> None:
    path = written(pk.load_scenario(SCENARIOS / "small-outing"), tmp_path)
    place = cell_of(path, "steps", column, 2)
    told = faults(retyped(path, {place: typed}, {place: number_format}))
    assert any(problem in each and f"(cell {place})" in each for _, each in told), told


def test_periods_and_pet_zero_as_a_spreadsheet_has_them(tmp_path: Path) -> None:
    scenario = pk.load_scenario(write_small(tmp_path / "made"))
    path = written(scenario, tmp_path)
    typed: dict[str, Any] = {"windows!B2": dt.time(0, 40), "windows!C2": dt.timedelta(hours=3, minutes=40),
                             key_cell(path, "pet_zero_utc"): dt.datetime(2031, 5, 14, 11, 20)}
    formats = dict(zip(typed, ("h:mm", "[h]:mm", "yyyy-mm-dd hh:mm"), strict=True))
    read = pk.load_scenario(retyped(path, typed, formats))
    assert list(read.windows.loc[0, ["start", "end"]]) == ["0:40", "3:40"]
    assert read.settings == scenario.settings
    date = key_cell(path, "pet_zero_utc")
    assert any("has no time of day" in each for _, each in faults(
        retyped(path, {date: dt.datetime(2031, 5, 14)}, {date: "yyyy-mm-dd"})))


def test_a_row_above_the_column_names_is_one_fault(tmp_path: Path) -> None:
    path = pk.load_scenario(VALID[0]).write_workbook(tmp_path / "it.xlsx")
    for words in (None, "Our steps"):
        book = openpyxl.load_workbook(path)
        book["steps"].insert_rows(1)
        book["steps"]["A1"] = words
        book.save(tmp_path / "typed.xlsx")
        with pytest.raises(pk.ScenarioError, match="does not hold the column names") as refusal:
            pk.load_scenario(tmp_path / "typed.xlsx")
        assert list(refusal.value.problems["table"]) == ["steps"]


def test_sheets(tmp_path: Path) -> None:
    path = written(pk.load_scenario(SCENARIOS / "small-outing"), tmp_path)
    book = openpyxl.load_workbook(path)
    book.create_sheet("x_mine")["A1"] = "=1+1"
    del book["hazards"]
    book.save(path)
    assert pk.load_scenario(path) == pk.load_scenario(SCENARIOS / "small-outing")
    book.create_sheet("stpes")
    del book["orbit"]
    del book["routes"]
    book.save(path)
    with pytest.raises(pk.ScenarioError) as caught:
        pk.load_scenario(path)
    told = caught.value.problems.set_index("table")["problem"]
    assert "did you mean 'steps'?" in told["stpes"]
    assert "there is no such sheet" in told["orbit"]
    assert "there is no such sheet" in told["routes"]


NEEDS_A_FOLDER: dict[str, Callable[[pk.Scenario], object]] = {
    "save": lambda it: it.save(), "sign-off": lambda it: it.sign_off("Ada"),
    "note": lambda it: it.add_note("A", "b"),
    "log": lambda it: pk.append_log(it.folder, "B1", "started", "2031-09-03T08:00Z"),
    "read_log": lambda it: pk.read_log(it.folder), "workbench": pk.workbench,
    "save as a workbook": lambda it: it.save(it.folder.with_name("other.xlsx")),
    "another orbit": lambda it: it.with_settings({"orbit": "other.kvn"}),
    "accept": lambda it: accept_first(pk.time_plan(it.edit_row("routes", "HAT MID", snag="")))}


def accept_first(plan: pk.Plan) -> None:
    plan.accept(plan.findings.iloc[0], by="A", why="b")


@pytest.mark.parametrize("asked", NEEDS_A_FOLDER)
def test_what_needs_a_folder_says_so(asked: str, tmp_path: Path) -> None:
    scenario = pk.load_scenario(written(pk.load_scenario(SCENARIOS / "small-outing"), tmp_path))
    before = scenario.folder.read_bytes()
    with pytest.raises(pk.ScenarioError, match=r"needs a folder: scenario.save\(FOLDER\)"):
        NEEDS_A_FOLDER[asked](scenario)
    assert [path.name for path in tmp_path.iterdir()] == ["outing.xlsx"]
    assert scenario.folder.read_bytes() == before
    assert scenario.reviews.empty
    assert scenario.accepted.empty


def test_a_workbook_overwrites_only_what_was_read(tmp_path: Path) -> None:
    path = written(pk.load_scenario(SCENARIOS / "small-outing"), tmp_path)
    with pytest.raises(pk.SaveConflict, match="is there already"):
        written(pk.load_scenario(SCENARIOS / "small-outing"), tmp_path)
    read = pk.load_scenario(path)
    again = written(read.edit_row("steps", "B1", title="other"), tmp_path)
    assert pk.load_scenario(again).steps.title[1] == "other"
    with pytest.raises(pk.SaveConflict):
        written(read, tmp_path)
    with pytest.raises(pk.ScenarioError, match=r"ends in .xlsx"):
        written(read, tmp_path, "outing.ods")
    with pytest.raises(pk.ScenarioError, match="is missing"):
        pk.load_scenario(tmp_path / "none.xlsx")


def test_what_no_workbook_can_hold_is_refused(tmp_path: Path) -> None:
    scenario = pk.load_scenario(write_small(tmp_path / "made")).with_settings({"x_empty": []})
    toml = (tmp_path / "made" / "scenario.toml")
    toml.write_text(toml.read_text(encoding="utf-8") + "\n[[x_rows]]\na = 1\n", encoding="utf-8")
    assert pk.load_scenario(written(scenario, tmp_path)) == scenario
    with pytest.raises(pk.ScenarioError, match="save it as a folder"):
        written(pk.load_scenario(tmp_path / "made"), tmp_path, "other.xlsx")


SOFFICE = shutil.which("soffice")


@pytest.mark.skipif(SOFFICE is None, reason="LibreOffice (Debian: libreoffice-calc) is not installed")
@pytest.mark.parametrize("via", ["xlsx", "ods"])
def test_libreoffice_changes_nothing(via: str, tmp_path: Path) -> None:
    made = odd_scenario(tmp_path)
    kept = {name: made.steps[name].where(~made.steps[name].isin(CHANGED_BY_A_SPREADSHEET), "")
            for name in made.steps if name.startswith("x_odd")}
    scenarios = [made.with_table("steps", made.steps.assign(**kept)),
                 *map(pk.load_scenario, (SCENARIOS / "tern-station", TESTS / "data" / "curlew-deck"))]
    paths = [written(each, tmp_path, f"{at}.xlsx") for at, each in enumerate(scenarios)]
    if via == "ods":
        paths = converted(paths, "ods", tmp_path)
    for path, scenario in zip(converted(paths, "xlsx", tmp_path / "back"), scenarios, strict=True):
        assert pk.load_scenario(path).digest == scenario.digest


def converted(paths: list[Path], kind: str, folder: Path) -> list[Path]:
    profile = (folder / "profile").as_uri()
    command = [str(SOFFICE), f"-env:UserInstallation={profile}", "--headless", "--convert-to", kind]
    subprocess.run([*command, "--outdir", str(folder), *map(str, paths)], check=True, capture_output=True,
                   timeout=300)
    return [folder / f"{path.stem}.{kind}" for path in paths]
