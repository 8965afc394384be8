"""What people see of hazards: the inhibit list, the page of warnings, pocket sheets, the season."""

from __future__ import annotations

import io
from itertools import pairwise

import openpyxl
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.front.plan import Plan
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.pack.assemble import assemble
from planning_kit.show.pack.content import Pack, Table, shown
from planning_kit.show.pack.html_page import html_page
from planning_kit.show.pack.xlsx import xlsx_bytes
from tests.show.hazardous import ATTACK, hazardous
from tests.show.packs import on_card


@pytest.fixture(scope="module")
def plan(small: pk.Scenario) -> Plan:
    return pk.time_plan(hazardous(small))


def pack_of(plan: Plan) -> Pack:
    return assemble(plan.timed, "left out", None)


def rows_of(pack: Pack, sheet: str) -> list[dict[str, str]]:
    """The rows of one table of the pack as they are shown."""
    blocks = (block for section in (*pack.sections, *pack.pockets) for block in section.blocks)
    table = next(block for block in blocks if isinstance(block, Table) and block.sheet == sheet)
    return [{column.label: shown(cell, column) for cell, column in zip(row, table.columns, strict=True)}
            for row in table.rows]


def test_the_inhibit_list_says_when_it_is_safe_who_is_inside_and_when_it_is_back(plan: Plan) -> None:
    # Set by 12 (B2 at 17 less 5): safe 4.5 min later. C1 confirms it, at the rack from 11 to 14. Lifted after
    # B3, which begins with the night guarded by 1 min; restored 20.4 min after that.
    row = plan.inhibits.set_index("inhibit").loc["I-LMP"]
    assert (row.set_by, row.safe_from, row.confirmed_by, row.confirmed) == ("0:12", "0:17", "C1", "0:14")
    assert row.lift_after == "0:50"
    assert row.lift_after_min + 20.4 == pytest.approx(70.006, abs=0.001)
    assert row.restored == "1:11"
    # Controlled by it: MAST and, as one of two, COLD; HORN would be there while it is off, and both pass it
    # from 10 on. EV1 is back from the mast 12 m at 6 m/min after B3 (49.6), EV2 from the port deck 10 m after
    # C3 (56.67).
    assert (row.EV1_enters, row.EV1_leaves, row.EV2_enters, row.EV2_leaves) == (
        "0:10", "0:52", "0:10", "0:59")
    other = plan.inhibits.set_index("inhibit").loc["I-AUX"]
    assert (other.safe_from, other.confirmed, other.restored, other.EV1_enters) == ("", "", "", "")
    assert (other.EV2_enters, other.EV2_leaves) == ("0:15", "0:59")


def test_who_is_inside_while_the_inhibit_stands_is_on_its_list_though_the_hazard_is_not_there(
        small: pk.Scenario) -> None:
    # Someone at the mast from 17 to 49.6 is never inside "off": it stands from 12 on. Owners must know.
    hazard = {"hazard": "H", "class": "warning", "places": "MST", "limit": "keep_out", "when": "off:I-LMP"}
    held = pk.time_plan(small.with_table("hazards", pd.DataFrame([hazard], columns=small.hazards.columns)))
    assert held.exposures.empty
    row = held.inhibits.iloc[0]
    assert (row.EV1_enters, row.EV1_leaves, row.EV2_enters) == ("0:17", "0:50", "")


def test_columns_of_the_inhibit_list_without_an_entry_are_left_out_on_paper(plan: Plan,
                                                                           small_plan: pk.Plan) -> None:
    full, plain = (set(rows_of(pack_of(each), "Inhibits")[0]) for each in (plan, Plan(small_plan.timed)))
    assert full - plain == {"Safe from PET", "Confirmed by, PET", "Back from PET", "EV1 enters PET",
                            "EV1 leaves PET", "EV2 enters PET", "EV2 leaves PET"}
    assert rows_of(pack_of(plan), "Inhibits")[1]["Confirmed by, PET"] == "C1, 0:14"


def test_the_page_of_warnings_has_every_text_and_hazard_warnings_first(plan: Plan) -> None:
    pack = pack_of(plan)
    texts = [(row["Class"], row["Place"], row["What it says"]) for row in rows_of(pack, "Warnings")]
    assert texts == [("WARNING", "Mid rack", "Cable across the rail"),
                     ("WARNING", "Mast head", "Lamp glass: no touching"),
                     ("CAUTION", "Mast head", "Not in sunlight: the socket is on the array side"),
                     ("NOTE", "Port deck", "Look out for loose foil")]
    hazards = rows_of(pack, "Hazards")
    assert [(row["Class"], row["Hazard"]) for row in hazards] == [
        ("WARNING", "MAST"), ("WARNING", "COLD"), ("CAUTION", "HORN"), ("CAUTION", "HOT"), ("NOTE", "VENT")]
    told = {row["Hazard"]: row for row in hazards}
    # Way, work and wait are one. I-LMP is safe at 0:16.5 and lifted after B3 at 0:49.6.
    assert told["MAST"]["Inside, PET"] == "EV1 0:15 to 0:52, WITHOUT A CONTROL 0:15 to 0:17, 0:49 to 0:52"
    assert told["VENT"]["Inside, PET"] == "EV2 0:16 to 0:57"
    assert told["COLD"]["There"] == "while beta is above 30°"
    assert (told["COLD"]["Controlled by"], told["HOT"]["Inside, PET"]) == ("I-LMP or I-AUX", "nobody")
    assert told["HORN"]["Where"] == "within 2.5 m (and 0.8 m for the body) of x, y, z = 4, 5, 0 m"
    assert told["HORN"]["There"] == ("whenever the Sun is not wholly hidden and while I-LMP (Beacon "
                                     "power off) is not in force")
    assert (told["VENT"]["There"], told["VENT"]["Limit"]) == (
        "while Sample cassette is at Port deck", "at most 40 min a person (for EV2)")


def test_a_hostile_title_is_text_on_the_page_and_in_the_workbook(plan: Plan) -> None:
    pack = pack_of(plan)
    page = html_page(pack)
    assert "Mast may turn &lt;img" in page
    assert "<img" not in page
    book = openpyxl.load_workbook(io.BytesIO(xlsx_bytes(pack)))
    assert book["Hazards"]["C2"].value == f"Mast may turn {ATTACK}"
    assert book["Hazards"]["C2"].data_type == "s"


def test_pocket_cards_tell_the_class_as_a_word_before_the_way_and_the_work(plan: Plan) -> None:
    pack = pack_of(plan)
    told = on_card(pack.pockets[0])
    steps = {each.step: each.words for each in told}
    assert steps["B2"].startswith("OPEN: stop ")  # I-LMP is safe only at 16.5
    way = told[[each.step for each in told].index("B2") - 1].lines
    assert way[0].startswith("WARNING: Mast may turn")
    assert way[0].endswith("keep out unless I-LMP in force.")
    assert [line.rpartition(": ")[2] for line in way[1:3]] == ["Cable across the rail.", "no touching."]
    assert way[3].startswith("Goes from ")
    assert "Mast may turn" not in steps["Z1"]  # still inside: said once
    assert "CAUTION: Not in sunlight: the socket is on the array side" in steps["B3"].partition("B3: ")[0]
    assert any("I-LMP 0:12 to 0:50, safe from 0:17, confirmed by C1 at 0:14" in line
               for line in pack.pockets[0].words)


def test_a_hazard_is_told_again_each_time_that_it_is_entered(plan: Plan) -> None:
    # EV2 is on the rail from 15 on the way to C2, and again from 56.67 on the way home to Z1.
    told = on_card(pack_of(plan).pockets[1])
    met = [after.step for before, after in pairwise(told) if "WARNING: Cold rail: no contact" in before.words]
    assert met == ["C2", "Z1"]


def test_cautions_of_the_way_have_their_class(plan: Plan) -> None:
    told = plan.cautions_on_the_way.query("crew == 'EV1'")[["at_min", "class", "caution"]]
    assert told.to_numpy().tolist()[:2] == [[15, "warning", "Cable across the rail"],
                                            [17, "warning", "Lamp glass: no touching"]]


def test_a_plan_without_hazards_says_that_none_is_given(small_plan: pk.Plan) -> None:
    assert isinstance(small_plan.timed, TimedPlan)
    page = html_page(pack_of(Plan(small_plan.timed)))
    assert "No hazard is given: that is not to say that there is none." in page


