"""What a pocket sheet and the briefing say of hazards, on the outing that has all of them."""

from __future__ import annotations

from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.show.pack.pockets import pocket_section
from tests.show.packs import on_card

CURLEW = Path(__file__).parents[1] / "data" / "curlew-deck"


@pytest.fixture(scope="module")
def plan() -> pk.Plan:
    return pk.time_plan(pk.load_scenario(CURLEW))


def sheet(plan: pk.Plan, crew: str) -> list[tuple[str, str, str]]:
    """PET, step and what."""
    return [(told.pet, told.step, told.words) for told in on_card(pocket_section(plan.timed, crew))]


def test_a_warning_stands_before_the_way_that_leads_inside(plan: pk.Plan) -> None:
    way, wait, work, *_ = [row for row in sheet(plan, "EV2") if row[0] in ("0:15", "0:18", "0:45")]
    before, told, _ = way[2].partition("Goes from Hatch")
    assert told
    assert "WARNING: Antenna beam" in before
    assert "WARNING" not in wait[2]
    assert work[1] == "N1"
    assert "OPEN: stop" in work[2].partition("N1: ")[0]
    assert "WARNING" not in work[2]


def test_a_warning_is_repeated_where_its_control_is_lifted(plan: pk.Plan) -> None:
    words = {pet: what for pet, _, what in sheet(plan, "EV2")}
    assert "WARNING: Antenna beam" in words["1:05"]  # away from the deck as the antenna comes back


def test_who_rides_is_told_so_while_on_the_part_that_moves(plan: pk.Plan) -> None:
    riding = [(pet, step) for pet, step, what in sheet(plan, "EV1") if "Riding arm" in what]
    # R2 begins with EV1 on the way along the arm, then EV1 waits at CAM; R5 begins as EV1 goes to ROOT.
    assert riding == [("0:49", ""), ("0:50", ""), ("1:10", "")]
    assert "Sets arm in motion; EV1 on it" in plan.briefing().text


def test_what_a_step_clears_and_looks_at_is_told(plan: pk.Plan) -> None:
    words = {step: what for _, step, what in sheet(plan, "EV1")}
    assert "Clears of Leak at the valve" in words["V4"]
    assert "Look at gloves, helmet" in words["V4"]


def test_the_way_through_a_hazard_says_so_in_the_briefing(plan: pk.Plan) -> None:
    lines = [line for line in plan.briefing().text.splitlines() if "Goes from Rim by Truss" in line]
    assert len(lines) == 2
    assert all("Warning: Jet plume at the truss: keep out unless 2 of" in line.partition("Goes from")[0]
               for line in lines)


def test_a_still_tells_who_is_open_to_what_first(plan: pk.Plan) -> None:
    words = " ".join(plan.still(30).words)
    assert "Inside WITHOUT A CONTROL, WARNING: Antenna beam" in words
    assert words.index("Inside, WARNING: Spray") < words.index("Exception until")
