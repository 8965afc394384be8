"""Old sheets of times: read without guessing, made into blocks, and held against the plan."""

from __future__ import annotations

import zipfile
from datetime import time, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest

import planning_kit as pk
from planning_kit.inputs.timeline_sheet import Timeline
from tests.attack.hostile import PAYLOADS
from tests.block_outings import ROOT, blocks_only, loaded

SHEET = """\
Made for nobody,,,
PET,EV1 (lead),EV2,Remarks
0:00,Post-depress,Post-depress,0:10
0:05,Egress,Egress,
0:35,Box,Cable,long
1:30,,more words,
,lost words,,
2:05,Clean-up,Clean-up,
2:25,end,,
"""


def read(folder: Path, text: str, **how: Any) -> Timeline:
    """A CSV sheet, read."""
    (folder / "old.csv").write_text(text, encoding="utf-8")
    return pk.read_timeline(folder / "old.csv", **how)


def times(sheet: Timeline) -> list[tuple[str, float, float, str]]:
    """Who, start, finish and title of each block."""
    columns = ["who", "start_min", "finish_min", "title"]
    return list(sheet.understood[columns].itertuples(index=False, name=None))


def test_a_sheet_is_read_and_the_rest_is_told(tmp_path: Path) -> None:
    sheet = read(tmp_path, SHEET)
    assert times(sheet) == [
        ("both", 0.0, 5.0, "Post-depress"), ("both", 5.0, 35.0, "Egress"), ("EV1", 35.0, 125.0, "Box"),
        ("EV2", 35.0, 90.0, "Cable"), ("EV2", 90.0, 125.0, "more words"),
        ("both", 125.0, 145.0, "Clean-up")]
    assert list(sheet.understood["note"])[-2:] == ["", "taken to last until the last row, 2:25"]
    told = sheet.not_understood.set_index("text")
    assert tuple(told.loc["lost words", ["sheet", "row", "column"]]) == ("old.csv", 7, "EV1 (lead)")
    assert "no time" in told.loc["lost words", "why"]
    assert "when it ends is not known" in told.loc["end", "why"]


def test_the_same_words_at_the_same_time_are_both(tmp_path: Path) -> None:
    sheet = read(tmp_path, "PET,EV1,EV2\n0:00,Egress,Egress\n0:30,Box,Box\n1:00,,Rest\n1:30,X,X\n2:00,,\n")
    assert [row[0] for row in times(sheet)] == ["both", "EV1", "EV2", "EV2", "both"]


@pytest.mark.parametrize(("head", "cells"), [
    ("PET", ("0:00", "0:30", "1:15")), ("min", ("0", "30", "75")), ("PET", ("0:00:00", "0:30:00", "1:15:00")),
    ("UTC", ("2031-05-14T11:20:00Z", "2031-05-14T11:50:00Z", "2031-05-14T12:35:00Z")),
    ("GMT", ("11:20", "11:50", "12:35"))])
def test_times_of_all_kinds(tmp_path: Path, head: str, cells: tuple[str, ...]) -> None:
    text = f"{head},EV1,EV2\n{cells[0]},Egress,\n{cells[1]},Box,\n{cells[2]},,\n"
    sheet = read(tmp_path, text, pet_zero="2031-05-14T11:20:00Z")
    assert times(sheet) == [("EV1", 0.0, 30.0, "Egress"), ("EV1", 30.0, 75.0, "Box")]


def test_a_clock_over_midnight(tmp_path: Path) -> None:
    sheet = read(tmp_path, "clock UTC,EV1\n2031-05-14T23:50,A\n2031-05-15T00:20,\n",
                 pet_zero="2031-05-14T23:50:00Z")
    assert times(sheet) == [("EV1", 0.0, 30.0, "A")]


def test_a_clock_needs_pet_zero(tmp_path: Path) -> None:
    with pytest.raises(pk.ScenarioError) as refusal:
        read(tmp_path, "GMT,EV1\n11:20,A\n11:50,\n")
    row = refusal.value.problems.iloc[0]
    assert (row["column"], "pet_zero" in row["problem"]) == ("GMT", True)


def test_people_by_other_names(tmp_path: Path) -> None:
    text = "PET,Ada,Bo\n0:00,A,B\n0:30,,\n"
    assert times(read(tmp_path, text, people={"ada": "EV1", "bo": "EV2"})) == [
        ("EV1", 0.0, 30.0, "A"), ("EV2", 0.0, 30.0, "B")]
    with pytest.raises(pk.ScenarioError, match="people="):
        read(tmp_path, text)


def workbook(path: Path) -> Path:
    """A spreadsheet with a sheet that is none of times, real times, and merged cells over rows and people."""
    book = openpyxl.Workbook()
    book.active.title = "cover"
    book.active["A1"] = "EV1 and EV2"
    page = book.create_sheet("times")
    for row in ([None, "as of May"], ["PET", "EV1", "EV2"], [time(0, 0), "Egress", None],
                [time(0, 30), "Box", "Cable"], [time(1, 0), None, None], [time(1, 30), None, "Rest"],
                [timedelta(hours=2), None, None]):
        page.append(row)
    page.merge_cells("B3:C3")
    page.merge_cells("B4:B5")
    book.save(path)
    return path


def test_merged_cells_span_what_they_cover(tmp_path: Path) -> None:
    sheet = pk.read_timeline(workbook(tmp_path / "old.xlsx"))
    assert times(sheet) == [("both", 0.0, 30.0, "Egress"), ("EV1", 30.0, 90.0, "Box"),
                            ("EV2", 30.0, 90.0, "Cable"), ("EV2", 90.0, 120.0, "Rest")]
    assert sheet.not_understood.iloc[0]["why"] == "only times is read"


def spreadsheet(path: Path, *rows: list[Any]) -> Path:
    """A file of one sheet with these rows."""
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append(row)
    book.save(path)
    return path


def test_no_formula_is_computed_and_a_lost_one_is_told(tmp_path: Path) -> None:
    sheet = pk.read_timeline(spreadsheet(
        tmp_path / "old.xlsx", ["PET", "EV1"], [time(0), "=A1"], ["0:30", "Box"], ["=A3+1", "#REF!"],
        ["1:30", None]))
    assert times(sheet) == [("EV1", 30.0, 90.0, "Box")]
    told = sheet.not_understood
    assert [*zip(told["row"], told["column"], told["text"], strict=True)] == [
        (2, "EV1", "=A1"), (4, "PET", "=A3+1"), (4, "EV1", "#REF!")]
    assert told["why"].str.contains("a formula without a value").all()
    with pytest.raises(pk.ScenarioError, match="2 formulas have no value"):
        pk.read_timeline(spreadsheet(tmp_path / "new.xlsx", ["PET", "EV1"], ["0:00", "A"], ["=A2+1", "B"],
                                     ["=A3+1", None]))


# --- nothing is guessed silently -------------------------------------------------------------------

def test_columns_that_are_not_read_are_told(tmp_path: Path) -> None:
    sheet = read(tmp_path, "No,PET,End,EV1,EV1 notes,Both,EV2,empty\n1,0:00,0:20,A,tether,,B,\n"
                           "2,0:30,0:50,C,,X,D,\n3,1:00,,,,,,\n")
    assert times(sheet) == [("EV1", 0.0, 30.0, "A"), ("EV2", 0.0, 30.0, "B"), ("EV1", 30.0, 60.0, "C"),
                            ("EV2", 30.0, 60.0, "D")]
    told = sheet.not_understood.query("why == 'this column is not read'")
    assert list(told["column"]) == ["No", "End", "EV1 notes", "Both"]


@pytest.mark.parametrize("head", ["No", "PET (h)", "PET"])
def test_numbers_are_minutes_only_where_the_header_says_so(head: str, tmp_path: Path) -> None:
    text = "{},EV1\n0,A\n50,B\n130,\n"
    with pytest.raises(pk.ScenarioError, match="header says min"):
        read(tmp_path, text.format(head))
    assert times(read(tmp_path, text.format("PET (min)")))[0] == ("EV1", 0.0, 50.0, "A")


def test_times_that_are_neither_named_pet_nor_utc(tmp_path: Path) -> None:
    text = "Time,EV1\n11:20,A\n11:50,B\n12:30,\n"
    assert "taken as PET" in read(tmp_path, text).not_understood.iloc[0]["why"]
    assert read(tmp_path, text.replace("Time", "PET")).not_understood.empty


def test_times_of_day_go_on_over_midnight(tmp_path: Path) -> None:
    text = "{},EV1\n23:20,A\n23:50,B\n0:35,C\n1:00,\n"
    sheet = read(tmp_path, text.format("UTC"), pet_zero="2031-05-14T23:20:00Z")
    assert times(sheet) == [("EV1", 0.0, 30.0, "A"), ("EV1", 30.0, 75.0, "B"), ("EV1", 75.0, 100.0, "C")]
    with pytest.raises(pk.ScenarioError):
        read(tmp_path, text.format("PET"))


def test_a_name_within_another_is_not_that_person(tmp_path: Path) -> None:
    text = "PET,Bob,Bo\n0:00,A,B\n0:30,,\n"
    sheet = read(tmp_path, text, people={"Bob": "EV1", "Bo": "EV2"})
    assert [row[0] for row in times(sheet)] == ["EV1", "EV2"]


@pytest.mark.parametrize("people", [{"EV1": "EV7"}, {"EV1": None}, {"": "EV1"}, {1: "EV1"}, ["EV1"]])
def test_people_that_are_none(people: Any, tmp_path: Path) -> None:
    with pytest.raises(pk.ScenarioError, match="people"):
        read(tmp_path, "PET,EV1\n0:00,A\n0:30,\n", people=people)


def test_durations_of_more_than_a_day_are_times(tmp_path: Path) -> None:
    path = spreadsheet(tmp_path / "old.xlsx", ["PET", "EV1"], [time(6, 15), "A"], [timedelta(hours=25), None])
    assert times(pk.read_timeline(path)) == [("EV1", 375.0, 1500.0, "A")]


def test_a_picture_named_as_a_spreadsheet_is_told_as_such(tmp_path: Path) -> None:
    (tmp_path / "old.xlsx").write_bytes(b"\x89PNG\r\n\x1a\n")
    with pytest.raises(pk.ScenarioError, match="not a zip"):
        pk.read_timeline(tmp_path / "old.xlsx")


@pytest.mark.parametrize("data", [
    b"", b"\0\1", b"PK\x03\x04 no zip", b"a,b\n1,2\n", b"PET,EV1\n" + b"0:00,x\n" * 3,
    b"PET,EV1\n1:00,x\n0:30,y\n", b'PET,EV1\n0:00,"x\n', b"\xff\xfe"])
def test_what_is_no_sheet_of_times_is_one_fault(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "old.csv").write_bytes(data)
    with pytest.raises(pk.ScenarioError) as refusal:
        pk.read_timeline(tmp_path / "old.csv")
    assert len(refusal.value.problems) == 1


def test_a_file_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    for file in (tmp_path / "gone.xlsx", tmp_path, "\0"):
        with pytest.raises(pk.ScenarioError):
            pk.read_timeline(file)


def test_absurd_spreadsheets_are_refused_before_they_are_unpacked(tmp_path: Path) -> None:
    path = workbook(tmp_path / "old.xlsx")
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    parts["xl/worksheets/sheet2.xml"] = parts["xl/worksheets/sheet2.xml"].replace(b"B4:B5", b"B4:XFD1048576")
    with zipfile.ZipFile(tmp_path / "merged.xlsx", "w") as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
    with zipfile.ZipFile(tmp_path / "bomb.xlsx", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b" " * 200_000_000)
    for name, told in (("merged.xlsx", "too large"), ("bomb.xlsx", "bytes unpacked")):
        with pytest.raises(pk.ScenarioError, match=told):
            pk.read_timeline(tmp_path / name)


def test_words_of_others_are_shown_to_the_letter(tmp_path: Path) -> None:
    payload = next(text for text in PAYLOADS if "<" in text).replace('"', "").replace("\n", " ")
    sheet = read(tmp_path, f'PET,EV1\n0:00,"{payload}"\n,"{payload}"\n0:30,\n')
    html = sheet._repr_html_()
    assert payload.split()[0] not in html
    assert "&lt;" in html


# --- blocks, and the plan against the sheet --------------------------------------------------------

def test_blocks_go_into_a_scenario_and_are_planned(tmp_path: Path) -> None:
    sheet = read(tmp_path, SHEET)
    scenario = sheet.into(blocks_only(tmp_path / "outing", is_empty=True))
    assert [step.minutes_likely for step in scenario.records.steps] == [5, 30, 90, 55, 35, 20]
    assert [step.crew for step in scenario.records.steps[:4]] == ["both", "both", "EV1", "EV2"]
    plan = pk.time_plan(scenario)
    told = plan.compare(sheet.baseline)
    assert list(told["change"]) == ["same"] * 6 + ["later"]  # ingress takes 15 min more
    assert told["moved_min"].iloc[-1] == pytest.approx(15.0)
    with pytest.raises(pk.ScenarioError, match="already"):
        sheet.into(scenario)


def test_the_plan_is_told_step_by_step_against_the_sheet(tmp_path: Path) -> None:
    sheet = read(tmp_path, SHEET)
    scenario = sheet.into(blocks_only(tmp_path / "outing", is_empty=True)).drop_row("steps", "B4")
    scenario = scenario.add_row("steps", after="B2", step="NEW", task="SHEET", crew="both", minutes_likely=10)
    for step in ("P1", "P2"):
        scenario = scenario.add_row("steps", after="B3", step=step, task="SHEET", crew="EV1",
                                    minutes_likely=50, block="B3")
    told = pk.time_plan(scenario).compare(sheet.baseline).set_index("step")
    assert told.loc["B4", "change"] == "dropped"
    assert told.loc["NEW", "change"] == "added"
    # B3 has steps now: two of 50 min behind the new one, 45 to 145.
    now = told.loc["B3", ["start_now_min", "finish_now_min", "moved_min"]]
    assert tuple(now) == pytest.approx((45, 145, 10))
    assert not {"P1", "P2"} & {*told.index}


def test_old_times_are_ghosts_in_the_lanes(tmp_path: Path) -> None:
    sheet = read(tmp_path, SHEET, prefix="OLD")
    plan = pk.time_plan(sheet.into(loaded("scenarios/small-outing")))
    ghosts = [trace for trace in pk.swimlane(plan, sheet.baseline).data if trace["name"] == "baseline"]
    assert sum(len(trace["x"]) for trace in ghosts) == 9  # three of both, three of one


def test_the_published_summary_timeline_of_an_outing(tmp_path: Path) -> None:
    """US EVA 23, EV1's blocks: tests/data/old-sheets/README.md. They sum to 375 min, the published 6:15."""
    sheet = pk.read_timeline(ROOT / "tests/data/old-sheets/us-eva-23-ev1.csv")
    minutes = [row["minutes_likely"] for row in sheet.blocks()]
    assert minutes == [5, 30, 30, 90, 90, 60, 20, 45, 5]
    assert sum(minutes) == 375
    assert sheet.not_understood.empty
    plan = pk.time_plan(sheet.into(blocks_only(tmp_path / "outing", is_empty=True)))
    lane = plan.timeline.query("crew == 'EV1' and step != ''")
    assert lane["finish_min"].max() == pytest.approx(375.0)  # 6:15, before ingress
    assert plan.end_min == pytest.approx(375.0 + 15.0)
