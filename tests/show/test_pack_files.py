"""The files of a pack, read back by readers that we did not write."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Mapping
from pathlib import Path

import html5lib
import openpyxl
import pandas as pd
import pypdf
import pytest

import planning_kit as pk
from planning_kit.explore.comparison import compare_revisions
from planning_kit.inputs.shown_text import one_line
from planning_kit.show.pack.content import CAUTION
from planning_kit.show.pack.write import pack_files
from tests.show.packs import HOSTILE, SCENARIOS, hostile_scenario

Files = Mapping[str, bytes]


@pytest.fixture(scope="module")
def files(demo_plan: pk.Plan) -> Files:
    revision = compare_revisions(demo_plan.what_if(stretch={"RG2": "-2"}).timed, demo_plan.timed)
    return only_bytes(pack_files(demo_plan.timed, demo_plan.odds(samples=200), revision))


@pytest.fixture(scope="module")
def hostile_files() -> Files:
    plan = pk.time_plan(hostile_scenario())
    revision = compare_revisions(SCENARIOS / "small-outing", plan.timed)
    return only_bytes(pack_files(plan.timed, plan.odds(samples=200), revision))


def only_bytes(made: Mapping[str, tuple[bytes, str]]) -> Files:
    return {name: data for name, (data, _) in made.items()}


def pages(data: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]


def joined(text: str) -> str:
    return re.sub(r"\s+", "", text)


@pytest.mark.parametrize("which", ["files", "hostile_files"])
def test_the_page_is_html_without_a_single_parse_error(which: str, request: pytest.FixtureRequest) -> None:
    text = request.getfixturevalue(which)["review.html"].decode()
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)
    names = {element.tag for element in tree.iter() if isinstance(element.tag, str)}
    assert not names & {"script", "iframe", "object", "embed", "img", "link", "base", "form", "input"}
    for element in tree.iter():
        for name, value in element.attrib.items():
            assert not str(name).startswith("on"), (element.tag, name)
            assert name not in ("src", "srcset", "action"), (element.tag, name)
            assert name != "href" or value.startswith("#"), value


def test_the_page_has_what_a_reader_looks_for(files: Files, demo_plan: pk.Plan) -> None:
    tree = html5lib.parse(files["review.html"].decode(), namespaceHTMLElements=False)
    heads = [element.tag for element in tree.iter() if element.tag in ("h1", "h2", "h3")]
    assert heads[0] == "h1"
    assert heads.count("h1") == 1
    for table in tree.iter("table"):
        assert table.find("caption") is not None
        assert all(head.get("scope") == "col" for head in table.find("thead").iter("th"))
    ids = {element.get("id") for element in tree.iter() if element.get("id")}
    assert {link.get("href")[1:] for link in tree.iter("a")} <= ids
    text = joined("".join(tree.itertext()))
    for step in demo_plan.timed.steps:
        assert joined(f"{step.step}: {step.title}") in text
    for message in demo_plan.findings.message:
        assert joined(message) in text
    assert demo_plan.scenario.digest in text
    assert {"EV1", "EV2"} <= ids, "the pocket sheets are in it too"
    assert text.count(joined(CAUTION)) >= 2


def test_hostile_text_stands_in_the_page_as_typed(hostile_files: Files) -> None:
    text = joined("".join(html5lib.parse(hostile_files["review.html"].decode()).itertext()))
    for typed in HOSTILE:
        assert joined(one_line(typed)) in text, typed
    assert b"\xe2\x80\xae" not in hostile_files["review.html"]  # U+202E in UTF-8


@pytest.mark.parametrize("which", ["files", "hostile_files"])
def test_every_pdf_page_says_whose_it_is(which: str, request: pytest.FixtureRequest) -> None:
    made = request.getfixturevalue(which)
    for name in (name for name in made if name.endswith(".pdf")):
        texts = pages(made[name])
        for number, text in enumerate(texts, start=1):
            assert joined(CAUTION) in joined(text), (name, number)
            assert f"page {number} of {len(texts)}" in text
            assert re.search(r"inputs [0-9a-f]{12} · PET 0 \d{4}-\d\d-\d\dT\d\d:\d\dZ", " ".join(
                text.split())), (name, number)


def test_the_pdf_holds_every_step_and_finding(files: Files, demo_plan: pk.Plan) -> None:
    text = joined(" ".join(pages(files["review.pdf"])))
    for step in demo_plan.timed.steps:
        assert joined(f"{step.step}: {step.title}") in text
    for source in demo_plan.scenario.settings.limits.sources.values():
        assert joined(source) in text


@pytest.mark.parametrize("size", ["A6", "A5"])
def test_pocket_cards_hold_all_of_ones_own_steps_in_letters_of_9_points(
        size: str, files: Files, demo_plan: pk.Plan) -> None:
    for crew in ("EV1", "EV2"):
        reader = pypdf.PdfReader(io.BytesIO(files[f"pocket-{crew}-{size}.pdf"]))
        sizes: list[float] = []
        texts = []

        def measure(text: str, _: object, matrix: list[float], __: object, points: float,
                    sizes: list[float] = sizes) -> None:
            if text.strip():
                sizes.append(round(points * abs(matrix[0] or matrix[1]), 2))

        for page in reader.pages:
            assert {round(float(side) / 72 * 25.4) for side in page.mediabox[2:]} == {
                "A6": {105, 148}, "A5": {148, 210}}[size]
            texts.append(page.extract_text(visitor_text=measure))
        assert min(sizes) >= 9
        text = joined(" ".join(texts))
        for step in demo_plan.timed.steps:
            told = joined(f"{step.step}: {step.title}") in text
            assert told == (step.crew in (crew, "both")), step.step


@pytest.mark.parametrize("name", ["review.pdf", "pocket-EV1-A6.pdf"])
def test_a_pdf_does_nothing(name: str, hostile_files: Files) -> None:
    data = hostile_files[name]
    reader = pypdf.PdfReader(io.BytesIO(data))
    assert not reader.trailer["/Root"].keys() & {"/OpenAction", "/AA", "/Names", "/AcroForm"}
    assert all("/Annots" not in page for page in reader.pages), "no links, so nothing to click"


def test_letters_the_pdf_cannot_print_are_counted_on_its_first_page(hostile_files: Files) -> None:
    first = pages(hostile_files["review.pdf"])[0]
    note = r"\d+ characters that the font of this PDF does not have are printed as \?"
    assert re.search(f"{note}; the HTML page has them", " ".join(first.split()))
    sheets = [" ".join(" ".join(pages(hostile_files[f"pocket-{crew}-A5.pdf"])).split())
              for crew in ("EV1", "EV2")]
    for crew, sheet in zip(("EV1", "EV2"), sheets, strict=True):
        said = re.search(f"{note}; {crew}.* pocket cards in review.html has them", sheet)
        assert ("?" in sheet) == bool(said)
    assert any("review.html has them" in sheet for sheet in sheets)


def test_the_sheets_hold_the_tables(files: Files, demo_plan: pk.Plan) -> None:
    sheets = pd.read_excel(io.BytesIO(files["review.xlsx"]), sheet_name=None)
    assert sheets["Findings"]["Finding"].tolist() == demo_plan.findings.message.tolist()
    suits = sheets["Suits"]["Left"].tolist()
    lost = demo_plan.suit_summary.left - suits  # one decimal, none more than there is
    assert lost.between(-1e-6, 0.1).all()
    assert sheets["Inhibits"]["Inhibit"].tolist() == demo_plan.inhibits.inhibit.tolist()
    assert len(sheets["Custody"]) == len(demo_plan.custody)
    assert {"About", "Procedure", "Summary", "Inside", "EV1 takes", "Verdict", "Limits", "EV1"} <= set(sheets)
    facts = sheets["About"].set_index("Fact")["Value"]
    assert facts["Input digest (SHA-256)"] == demo_plan.scenario.digest
    assert facts["Caution"] == CAUTION


@pytest.mark.parametrize("which", ["files", "hostile_files"])
def test_no_cell_is_computed(which: str, request: pytest.FixtureRequest) -> None:
    data = request.getfixturevalue(which)["review.xlsx"]
    book = openpyxl.load_workbook(io.BytesIO(data))
    assert not [cell.coordinate for sheet in book for row in sheet.iter_rows() for cell in row
                if cell.data_type == "f"]
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        assert not [name for name in parts.namelist() if "externalLink" in name or "vba" in name.lower()]
        assert not [name for name in parts.namelist() if name.startswith("xl/worksheets/sheet")
                    and b"<f>" in parts.read(name)]


def test_what_looks_like_a_formula_is_text(hostile_files: Files) -> None:
    book = openpyxl.load_workbook(io.BytesIO(hostile_files["review.xlsx"]))
    texts = {cell.value: cell for sheet in book for row in sheet.iter_rows() for cell in row
             if isinstance(cell.value, str)}
    for typed in HOSTILE[:4]:
        assert texts[typed].data_type == "s"
        assert texts[typed].quotePrefix, "and stays text when the cell is edited"


def test_times_are_day_of_year(files: Files) -> None:
    # 14 May: 31 + 28 + 31 + 30 + 14 = day 134 of 2031, which is no leap year (CCSDS 301.0-B, code B)
    sheets = pd.read_excel(io.BytesIO(files["review.xlsx"]), sheet_name=["Light", "About"])
    assert sheets["Light"]["Begins GMT"].str.match(r"134/\d\d:\d\d$").all()
    assert "GMT 134/11:20" in sheets["About"].set_index("Fact").loc["PET 0:00", "Value"]


def test_the_same_plan_gives_the_same_pages(small_plan: pk.Plan) -> None:
    chances = small_plan.odds(samples=100)
    first, second = (only_bytes(pack_files(small_plan.timed, chances)) for _ in range(2))
    for name in ("review.html", "review.pdf", "pocket-EV1-A6.pdf", "briefing.txt"):
        assert first[name] == second[name], name


def test_odds_that_cannot_be_computed_do_not_stop_the_pack(small: pk.Scenario) -> None:
    plan = pk.time_plan(small.with_settings({"odds.distribution": "no-such"}))
    text = pack_files(plan.timed)["review.html"][0].decode()
    assert "Not computed: 1 fault found: scenario.toml odds.distribution" in re.sub(r"\s+", " ", text)


def test_sign_offs_are_in_the_pack_and_stale_ones_say_so(small: pk.Scenario, tmp_path: Path) -> None:
    own = small.save(tmp_path / "own")
    own.sign_off("R. Viewer", "<b>fine</b>", at="2031-09-01T10:00:00Z")
    edited = own.edit_row("steps", "B2", minutes_likely=14)
    for scenario, state in ((own, "current"), (edited, "stale: the scenario has changed since")):
        plan = pk.time_plan(scenario)
        sheets = pd.read_excel(io.BytesIO(pack_files(plan.timed, plan.odds(samples=100))["review.xlsx"][0]),
                               sheet_name="Reviews")
        assert sheets[["By", "Words", "State"]].to_numpy().tolist() == [["R. Viewer", "<b>fine</b>", state]]


def test_very_long_texts_and_many_steps_still_make_a_pack(small: pk.Scenario) -> None:
    steps = small.steps
    steps.loc[steps.step == "B3", "caution"] = "very " * 1500
    plan = pk.time_plan(small.with_table("steps", steps))
    made = only_bytes(pack_files(plan.timed, plan.odds(samples=100)))
    assert joined(" ".join(pages(made["review.pdf"]))).count("very") >= 1500


def test_what_was_accepted_stands_with_by_why_and_date(tmp_path: Path) -> None:
    scenario = pk.load_scenario(SCENARIOS / "faulty-plan").save(tmp_path / "own")
    plan = pk.time_plan(scenario)
    stop = plan.findings[plan.findings["check"] == "custody"].iloc[0]
    plan.accept(stop, "=A. <b>Person</b>", "Ground holds <it>", "2031-05-01")
    made = only_bytes(pack_files(plan.timed, "not asked for", None))
    page = html5lib.parse(made["review.html"].decode(), namespaceHTMLElements=False)
    text = " ".join("".join(page.itertext()).split())
    assert "by =A. <b>Person</b>, 2031-05-01: Ground holds <it>" in text
    counts = plan.findings["severity"].value_counts()
    assert f"{counts['stop']} stops, 1 accepted; {counts['concern']} concerns" in text
    sheets = pd.read_excel(io.BytesIO(made["review.xlsx"]), sheet_name=None)
    assert sheets["Findings"]["Accepted by"].notna().sum() == 1
    row = sheets["Accepted"].iloc[0]
    assert row[["Rule", "By", "Why", "Date", "State"]].tolist() == [
        f"{stop['check']}/{stop['rule']}", "=A. <b>Person</b>", "Ground holds <it>", "2031-05-01", "holds"]
    printed = joined("".join(pages(made["review.pdf"])))
    assert "Groundholds<it>" in printed
    assert "(custody,accepted)" in printed  # of its step in the procedure
