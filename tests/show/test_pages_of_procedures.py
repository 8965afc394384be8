"""The pages that gloves and dim light read: boxes before their lines, one page summaries, full pages, grey.

The published summary timeline is that of US EVA 23 (tests/data/old-sheets/README.md): EV1's blocks of 5, 30,
30, 90, 90, 60, 20, 45 and 5 min come to 375 min, the published 6:15.
"""

from __future__ import annotations

import io
import re
from dataclasses import replace
from itertools import accumulate, pairwise
from pathlib import Path

import html5lib
import pandas as pd
import pypdf
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import planning_kit as pk
from planning_kit.show.pack.assemble import assemble
from planning_kit.show.pack.content import (
    CAUTION,
    Box,
    Label,
    Line,
    Pack,
    Picture,
    Rich,
    Section,
    Strokes,
    Table,
)
from planning_kit.show.pack.html_page import html_page
from planning_kit.show.pack.pdf import card_bytes, pdf_bytes
from planning_kit.show.pack.timeline import timeline_pictures
from planning_kit.show.palette import PATTERNS
from tests.block_outings import blocks_only
from tests.edits import edited
from tests.show.packs import SCENARIOS, on_card

DATA = Path(__file__).parents[1] / "data"
OUTINGS = [*(SCENARIOS / name for name in ("tern-station", "small-outing", "faulty-plan")),
           *(DATA / name for name in ("curlew-deck", "orders-heron"))]
COLUMNS = ["step", "number", "who", "action", "on", "value", "unit", "tool", "expected", "record", "class",
           "warning", "go", "if_not", "critical"]


@pytest.fixture(scope="module")
def demo_pack() -> Pack:
    """Of the demo as it is now, which has actions and responses."""
    return assemble(pk.time_plan(pk.load_scenario(SCENARIOS / "tern-station")).timed, "not asked for", None)


def section_of(pack: Pack, key: str) -> Section:
    return next(each for each in pack.sections if each.key == key)


def table_of(pack: Pack, sheet: str) -> Table:
    return next(block for section in (*pack.sections, *pack.pockets) for block in section.blocks
                if isinstance(block, Table) and block.sheet == sheet)


def lines_of(table: Table) -> list[str]:
    return [line for row in table.rows for cell in row if isinstance(cell, Rich) for line in cell.lines]


def pdf_text(data: bytes) -> str:
    return " ".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages)


def with_actions(scenario: pk.Scenario, rows: list[dict[str, object]]) -> pk.Scenario:
    frame = pd.DataFrame([{column: row.get(column, "") for column in COLUMNS} for row in rows], dtype=object)
    return scenario.with_table("actions", frame)


class TestBoxesBeforeTheirLines:
    @settings(max_examples=8, suppress_health_check=[HealthCheck.function_scoped_fixture])
    @given(data=st.data())
    def test_every_warning_precedes_its_line_on_every_page(self, small: pk.Scenario,
                                                           data: st.DataObject) -> None:
        """Random procedures: words that stand once in the tables are looked for in PDF, HTML and briefing."""
        steps = {step.step: step.crew for step in small.records.steps}
        rows, warned, numbers = [], [], dict.fromkeys(steps, 0)
        for at in range(data.draw(st.integers(1, 14))):
            step = data.draw(st.sampled_from(sorted(steps)))
            numbers[step] += 1
            both = ["EV1", "EV2", "both"] if steps[step] == "both" else []
            people = ["", "inside", "ground", *both]
            row = {"step": step, "number": numbers[step], "who": data.draw(st.sampled_from(people)),
                   "action": f"Do{at}it", "go": data.draw(st.sampled_from(["", "inside"])),
                   "record": data.draw(st.sampled_from(["", "turns"]))}
            if data.draw(st.booleans()):
                class_ = data.draw(st.sampled_from(["warning", "caution"]))
                row["warning"] = f"{class_}: mind{at}it"
                warned.append((f"mind{at}it", f"Do{at}it"))
            rows.append(row)
        scenario = with_actions(small, rows)
        for number, step in enumerate(steps):
            if data.draw(st.booleans()):
                class_ = data.draw(st.sampled_from(["warning", "caution", "note"]))
                scenario = edited(scenario, "steps", step, caution=f"heed{number}it", caution_class=class_)
                title = small.steps.set_index("step").title[step]
                warned.append((f"heed{number}it", f"{step}: {title}"))
        plan = pk.time_plan(scenario)
        pack = assemble(plan.timed, "not asked for", None)
        sections = (*(section_of(pack, key) for key in ("procedure", "inside")), *pack.pockets)
        pages = [replace(pack, sections=(section,), pockets=()) for section in sections]
        texts = [plan.briefing().text]
        for page in pages:
            texts += [pdf_text(pdf_bytes(page)),
                      "".join(html5lib.parse(html_page(page), namespaceHTMLElements=False).itertext())]
        texts += [pdf_text(card_bytes(pack, card, "A6")) for card in pack.pockets]
        told = 0
        for text in ("".join(text.split()) for text in texts):
            for warning, line in warned:
                before = text.split("".join(line.split()))
                told += len(before) - 1
                assert all(warning in part for part in before[:-1]), (warning, line)
        assert told >= 4 * len(warned), "in the briefing, the procedure twice, and for the one inside"

    def test_an_inhibit_that_does_not_cover_its_step_is_a_warning(self, demo_pack: Pack) -> None:
        assert "is not in force all the time" not in " ".join(lines_of(table_of(demo_pack, "Procedure")))
        scenario = pk.load_scenario(SCENARIOS / "tern-station")
        plan = pk.time_plan(edited(scenario, "inhibits", "I-PWR", needed_by="X1 X2 X3 X4 X5 RG6"))
        pack = assemble(plan.timed, "not asked for", None)  # RG6 comes after X5, when it is lifted
        for told in (lines_of(table_of(pack, "Procedure")), lines_of(table_of(pack, "EV1"))):
            at = next(number for number, line in enumerate(told) if line.startswith("RG6: "))
            assert told[at - 1].startswith("WARNING: needs inhibit I-PWR")


def test_an_inhibit_is_a_line_over_its_time_and_no_sentence_at_each_step(demo_pack: Pack) -> None:
    table = table_of(demo_pack, "Procedure")
    assert not [line for line in lines_of(table) if "only with inhibit" in line.lower()]
    lanes = [number for number, column in enumerate(table.columns) if column.is_line]
    held = {name: [row[0].lines[0] for row in table.rows if name in [row[at] for at in lanes]]
            for name in ("I-PWR", "I-DRV")}
    # In force from 2:22 to 2:49, and from 0:41 to 3:14 (the inhibit list): no line in the row of the lifting.
    assert (held["I-PWR"][0], held["I-PWR"][-1]) == ("2:22", "2:45")
    assert held["I-DRV"][0] == "0:41"
    assert "3:14" not in held["I-DRV"]
    between = [row[0].lines[0] for row in table.rows]
    assert held["I-PWR"] == between[between.index("2:22"):between.index("2:45") + 1], "no gap in the line"


def test_no_box_stands_in_a_column_without_a_line_below_it(demo_pack: Pack) -> None:
    rows = [row for row in table_of(demo_pack, "Procedure").rows if isinstance(row[-1], Rich)]
    assert rows
    assert [row[0] for row in rows if row[-1].looks[-1] in ("warning", "caution")] == []  # type: ignore[union-attr]


def test_what_the_one_inside_does_stands_in_the_column_of_those_inside(demo_pack: Pack) -> None:
    table = table_of(demo_pack, "Procedure")
    row = next(row for row in table.rows if any(isinstance(cell, Rich) and any(
        line.startswith("RA1: ") for line in cell.lines) for cell in row[-3:-1]))
    others = row[-1]
    assert isinstance(others, Rich)
    told = dict(zip(others.lines, [look for _, look in others.looked], strict=True))
    action = next(line for line in told if line.startswith("RA1: 1. inside: CRITICAL: Read back"))
    assert told["GO from inside for RA1 1."] == "tick strong"
    assert [*told.values()][:2] == ["warning", "tick strong"]
    assert told[action] == ""
    crew = next(cell for cell in row[-3:-1] if isinstance(cell, Rich))
    assert "WARNING (inside): the boom drive must be stopped before hands are on the knuckle." in crew.lines


class TestSummary:
    def test_the_published_summary_timeline(self, tmp_path: Path) -> None:
        sheet = pk.read_timeline(DATA / "old-sheets/us-eva-23-ev1.csv")
        scenario = sheet.into(blocks_only(tmp_path / "outing", is_empty=True))
        tasks = scenario.tasks
        names = [f"T{number}" for number in range(9)]
        more = pd.DataFrame([dict.fromkeys(tasks.columns, "") | {
            "task": name, "title": f"Block {name}", "need": "required", "priority": 1} for name in names])
        scenario = scenario.with_table("tasks", pd.concat([tasks, more], ignore_index=True))
        steps = scenario.steps
        steps["task"] = names
        plan = pk.time_plan(scenario.with_table("steps", steps))
        table = table_of(assemble(plan.timed, "not asked for", None), "Summary")
        at = [column.label for column in table.columns].index("EV1")
        told = [(row[0], row[at].lines[0]) for row in table.rows if isinstance(row[at], Rich)]
        starts = [0, *accumulate([5, 30, 30, 90, 90, 60, 20, 45, 5])]
        labels = [f"{minute // 60}:{minute % 60:02d}" for minute in starts]
        assert labels[-1] == "6:15"
        ends = pairwise(labels)
        assert [(begin, words[2:]) for begin, words in told[:9]] == [
            (begin, f"Block T{n}, until {end}") for n, (begin, end) in enumerate(ends)]

    @pytest.mark.parametrize("folder", OUTINGS, ids=lambda folder: folder.name)
    def test_it_is_one_page(self, folder: Path) -> None:
        pack = assemble(pk.time_plan(pk.load_scenario(folder)).timed, "not asked for", None)
        alone = replace(pack, facts=pack.facts[:1], sections=(section_of(pack, "summary"),))
        pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf_bytes(alone))).pages]
        assert len([text for text in pages if "Others" in text]) == 1, "its head stands once"

    def test_it_has_go_calls_and_get_aheads_in_their_order(self, demo_pack: Pack) -> None:
        section, table = section_of(demo_pack, "summary"), table_of(demo_pack, "Summary")
        assert [column.label for column in table.columns] == ["PET", "Inside", "EV1", "EV2", "Others"]
        # INS begins at 1:29, ANT at 4:09.
        assert section.words == (
            "Get-aheads, in their order: Looks on the way; Launch bolts of the porch antenna.",)
        inside = [line for row in table.rows if isinstance(row[1], Rich) for line in row[1].lines]
        assert any("GO from ground for X1 1" in line for line in inside)
        assert any(line.endswith("I-PWR in force") for line in inside)
        assert sum("GET-AHEAD" in line for line in lines_of(table)) >= 3


class TestForTheOneInside:
    def test_every_action_has_a_box_to_tick_and_each_record_room(self, demo_pack: Pack) -> None:
        table = table_of(demo_pack, "Inside")
        plan = pk.time_plan(pk.load_scenario(SCENARIOS / "tern-station"))
        ticked = [line for row in table.rows if isinstance(row[-3], Rich)
                  for line, look in row[-3].looked if look == "tick"]
        assert len(ticked) == len(plan.scenario.actions)
        records = [action.record for action in plan.scenario.records.actions if action.record]
        written = [row[-2].lines[0] for row in table.rows if isinstance(row[-2], Rich)]
        assert sorted(written) == sorted(f"{record}:" for record in records)
        gos = [look for row in table.rows if isinstance(row[-3], Rich) for _, look in row[-3].looked
               if look == "tick strong"]
        assert len(gos) == sum(bool(action.go) for action in plan.scenario.records.actions)

    def test_the_warning_of_a_place_is_read_up_before_somebody_goes_there(self) -> None:
        scenario = pk.load_scenario(SCENARIOS / "small-outing")
        place = scenario.steps.set_index("step").place["B2"]
        scenario = scenario.edit_row("places", place, caution="hot panel", caution_class="warning")
        pack = assemble(pk.time_plan(scenario).timed, "not asked for", None)
        title = scenario.places.set_index("place").title[place]
        for sheet in ("EV1", "Inside", "Procedure"):
            said = " ".join(lines_of(table_of(pack, sheet)))
            assert f"WARNING: {title}: hot panel." in said, sheet
            assert said.index("hot panel") < said.index("B2"), sheet

    def test_decide_bys_are_rounded_down_and_in_their_place(self, demo_pack: Pack) -> None:
        rows = [(row[0].lines[0], row[-3].lines[0]) for row in table_of(demo_pack, "Inside").rows
                if isinstance(row[0], Rich) and row[-4] == "decide"]
        plan = pk.time_plan(pk.load_scenario(SCENARIOS / "tern-station"))
        for clock in plan.timed.gap_clocks:
            minute = int(clock.begin_min + clock.max_gap_min + 1e-9)
            label = f"{minute // 60}:{minute % 60:02d}"
            assert any(pet == label and f"{clock.gap.then_at} of {clock.gap.then_step}" in words
                       and words.endswith(f"by {label}.") for pet, words in rows)
        assert any("planned limit" in words and pet == "6:40" for pet, words in rows)


def test_cue_card_and_configuration_sheets(demo_pack: Pack) -> None:
    (cue,) = demo_pack.cues
    plan = pk.time_plan(pk.load_scenario(SCENARIOS / "tern-station"))
    told = {row[0].lines[0]: row[1].lines for row in cue.blocks[0].rows}
    assert len(told) == len(plan.scenario.records.responses) == 10
    assert told["Water in the helmet (R-WATER)"][0] == "TERMINATE; the partner goes home, too"
    assert "Decide at once; takes up to 4 min, then home." in told["Water in the helmet (R-WATER)"][1]
    assert all("Source: invented for the demo." in words for _, words in told.values())
    assert len(pypdf.PdfReader(io.BytesIO(card_bytes(demo_pack, cue, "A5"))).pages) == 1
    takes = table_of(demo_pack, "EV1 takes")
    order = [row[[column.label for column in takes.columns].index("Item")] for row in takes.rows]
    kit = plan.kit_list
    assert order == kit[kit.goes_out_with == "EV1"].sort_values("out_min", kind="stable")["item"].tolist()
    settings = {row[3]: row[7] for row in takes.rows}
    assert settings["driver-1"] == "A2 (EG8 1)"
    bag = table_of(demo_pack, "In switch-bag")
    assert [row[:2] for row in bag.rows] == [("at PET 0", "switch-new"), ("at the end", "switch-old")]
    words = section_of(demo_pack, "configuration").words[0]
    assert words.startswith("Own tethers are hooked outside: EV1 0:13, then EV2 0:21.")


class TestPages:
    @pytest.mark.parametrize("folder", OUTINGS, ids=lambda folder: folder.name)
    def test_no_page_but_the_last_is_less_than_a_third_full(self, folder: Path) -> None:
        pack = assemble(pk.time_plan(pk.load_scenario(folder)).timed, "not asked for", None)
        reader = pypdf.PdfReader(io.BytesIO(pdf_bytes(pack)))
        shares = [filled(page) for page in reader.pages]
        assert min(shares[:-1]) > 1 / 3, shares

    def test_a_measure_that_sees_an_empty_page(self) -> None:
        pack = Pack("t", "", (("a", "b"),), (Section("a", "A", ("word",)),), "s")
        assert filled(pypdf.PdfReader(io.BytesIO(pdf_bytes(pack))).pages[0]) < 1 / 3

    def test_tasks_differ_on_grey_paper(self) -> None:
        """15 tasks: no two have both a luminance apart by less than 0.1 and the same hatching."""
        plan = pk.time_plan(pk.load_scenario(SCENARIOS / "tern-station")).timed
        (picture,) = timeline_pictures(plan)
        key = {name: (grey, strokes) for name, grey, strokes in key_of(picture)}
        assert len(key) >= 15
        looks = list(key.values())
        for number, (grey, strokes) in enumerate(looks):
            assert not [other for other in looks[number + 1:]
                        if other[1] == strokes and abs(other[0] - grey) < 0.1]
        assert len(set(PATTERNS)) == len(PATTERNS) >= 13

    def test_bars_have_titles_links_and_a_key(self) -> None:
        plan = pk.time_plan(pk.load_scenario(SCENARIOS / "tern-station")).timed
        (picture,) = timeline_pictures(plan)
        words = [shape.text for shape in picture.shapes if isinstance(shape, Label)]
        assert {"relay 156°E", "relay 74°W", "Inhibits", "night", "limit"} <= set(words)
        assert {"Unbolt and remove", "the failed limit"} & set(words)
        titled = sum(any(step.title.split()[0] in part for part in words) for step in plan.steps)
        assert titled > 0.9 * len(plan.steps), "few bars are too narrow for a first word"
        for shape in picture.shapes:
            if isinstance(shape, Label) and not shape.is_upright:
                assert 0 <= shape.y <= picture.height
            if isinstance(shape, Line):
                assert all(-1 <= x <= picture.width + 1 for x, _ in shape.points)

    def test_suits_and_ways_back_are_drawn(self, demo_pack: Pack) -> None:
        (picture,) = section_of(demo_pack, "suits").blocks
        assert isinstance(picture, Picture)
        words = [shape.text for shape in picture.shapes if isinstance(shape, Label)]
        assert any("EV2: emergency oxygen left over" in text for text in words)
        assert {"oxygen", "with the partner", "reserve"} <= set(words)
        assert not any("<" in text or "&" in text for text in words)
        lines = [shape for shape in picture.shapes if isinstance(shape, Line) and len(shape.points) > 20]
        assert len(lines) >= 2 * 4 + 2 * 2 + 2, "stores, emergency oxygen and lasting of both"
        assert len({line.dash for line in lines}) == 4, "told apart without colour"

    def test_the_caution_is_on_every_page_of_every_file(self, demo_pack: Pack) -> None:
        files = [pdf_bytes(demo_pack), *(card_bytes(demo_pack, card, size) for size in ("A5", "A6")
                                         for card in (*demo_pack.pockets, *demo_pack.cues))]
        for data in files:
            for page in pypdf.PdfReader(io.BytesIO(data)).pages:
                assert "".join(CAUTION.split()) in "".join(page.extract_text().split())

    def test_cards_have_the_slack_of_each_step(self, demo_pack: Pack) -> None:
        told = {each.step: each.slack for card in demo_pack.pockets for each in on_card(card)}
        assert told["X1"] == "1"
        assert re.fullmatch(r"\d+", told["LM2"])


def filled(page: pypdf.PageObject) -> float:
    """How much of the room between head and foot has words down to its lowest line."""
    height, lows = float(page.mediabox.height), []

    def see(text: str, cm: list[float], tm: list[float], _: object, __: object) -> None:
        y = tm[4] * cm[1] + tm[5] * cm[3] + cm[5]
        if text.strip() and 36 < y < height - 24:
            lows.append(y)

    page.extract_text(visitor_text=see)
    return (height - 30 - min(lows)) / (height - 68)


def key_of(picture: Picture) -> list[tuple[str, float, tuple[tuple[float, ...], ...]]]:
    """The tasks in the key: name, relative luminance of the fill, its strokes from the corner of its box."""
    found, fill, corner = [], "", (0.0, 0.0)
    strokes: tuple[tuple[float, ...], ...] = ()
    for shape in picture.shapes:
        if isinstance(shape, Box) and shape.fill and (shape.width, shape.height) == (16, 8):
            fill, corner, strokes = shape.fill, (shape.x, shape.y), ()
        elif isinstance(shape, Strokes):
            strokes = tuple(tuple(round(value - corner[n % 2], 2) for n, value in enumerate(end))
                            for end in shape.ends)
        elif isinstance(shape, Label) and fill and re.match(r"[A-Z]+ \S+ |outside any", shape.text):
            found.append((shape.text, luminance(fill), strokes))
            fill = ""
    return found


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, from memory)."""
    channels = [int(colour[at:at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [each / 12.92 if each <= 0.04045 else ((each + 0.055) / 1.055) ** 2.4 for each in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
