"""The briefing: in time order, both crew interwoven, every fact of the tables told and nothing else."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest

import planning_kit as pk
from tests.edits import edited

HOSTILE = "<img src=x onerror=alert(1)>\u202e & $x$"


@pytest.fixture(scope="module")
def told(demo_plan: pk.Plan):
    return demo_plan.briefing()


def words_of(table, step: str) -> str:
    return " ".join(table.loc[(table.step == step) & (table.kind == "work"), "words"])


def test_events_are_in_time_order_with_both_crew_between_each_other(told) -> None:
    assert told.table.at_min.is_monotonic_increasing
    crew = told.table.who[told.table.who.isin(["EV1", "EV2"])].tolist()
    assert sum(a != b for a, b in pairwise(crew)) > 40


def test_every_step_is_told_once_at_its_start(told, demo_plan: pk.Plan) -> None:
    works = told.table[(told.table.kind == "work") & (told.table.step != "")]
    timed = demo_plan.timed
    starts = {step.step: float(start) for step, start in zip(timed.steps, timed.starts, strict=True)}
    assert dict(zip(works.step, works.at_min, strict=True)) == starts
    assert len(works) == len(starts)


def test_shared_steps_name_both(told) -> None:
    assert list(told.table.query("kind == 'work' and step == 'X3'")["who"]) == ["EV1 and EV2"]


def test_a_staged_item_says_for_whom_and_from_whom(told) -> None:
    assert "Leaves Survey camera for EV2, who takes it at 1:18 (SV2)." in words_of(told.table, "SV1")
    assert "Takes Survey camera, left by EV1 at 0:24 (SV1)." in words_of(told.table, "SV2")
    assert "(EV2) hands Power regulator, new to EV1." in words_of(told.table, "X3").replace("H", "h")


def test_a_way_tells_what_is_carried_and_what_to_mind(told) -> None:
    ways = told.table[(told.table.kind == "travel") & (told.table.step == "RN3")]
    assert "Carries Torque driver, EV2; Regulator carrier (in it: Power regulator, new)." in ways.words.item()
    assert "Cable tray edge: keep the tether on the wake side." in ways.words.item()


def test_a_caution_that_names_its_place_does_not_name_it_twice() -> None:
    deck = pk.time_plan(pk.load_scenario(Path(__file__).parents[1] / "data" / "curlew-deck"))
    told = " ".join(deck.briefing().table["words"])
    assert "Caution: Hatch edge." in told
    assert "Hatch: Hatch" not in told


def test_waits_say_why(told) -> None:
    waits = told.table[told.table.kind == "wait"].set_index("step").words
    assert "for EV2." in waits["RG5"]
    assert ": night 2 begins then" in waits["X1"]
    assert "OP2 (Read back the new limit switch (no motion)) must be done first" in waits["KN4"]


def test_inhibits_stand_before_their_first_step_and_lift_after_their_last(told, demo_plan: pk.Plan) -> None:
    holds = {hold.inhibit.inhibit: hold for hold in demo_plan.timed.inhibit_holds}
    told_set = told.table[told.table.kind == "inhibit"]
    assert len(told_set) == len(holds) == 6
    row = told_set[told_set.words.str.startswith("I-PWR")].iloc[0]
    starts = dict(zip(demo_plan.timed.network.steps, demo_plan.timed.starts, strict=True))
    assert row.at_min == pytest.approx(starts["X1"] - 8)  # lead_min of inhibits.csv
    assert "Ground power and thermal desk holds it until 2:39" in row.words


def test_the_one_minute_form_can_be_read_in_about_a_minute(told) -> None:
    # 130 to 170 words a minute is a usual speaking rate (common practice, no source)
    assert 80 < len(told.one_minute.split()) <= 150
    # Least margin: 30 min less the 36.6 of `test_help_at_the_boom_end_by_hand` and 1 to make RG2 safe; 5 of
    # reserve make 12.6 that are missing.
    for said in ("0:14 before the planned limit", "Risk 1: EV1, going home brought by the partner, has less ",
                 "by 13 min", "12 concerns, 3 remarks"):
        assert said in told.one_minute


def test_silence_where_a_table_is_silent(small: pk.Scenario) -> None:
    quiet = edited(small, "steps", "B3", caution="", title="")
    quiet = edited(quiet, "inhibits", "I-LMP", title="", owner="", reason="")
    quiet = edited(quiet, "tasks", "LMP", objective="")
    plan = pk.time_plan(edited(quiet, "hardware", "lamp-new", title=""))
    brief = plan.briefing()
    text = brief.text + brief.one_minute
    assert "Caution: " not in words_of(brief.table, "B3")
    assert not re.search(r"None|nan|\(\)|\[\]|''|  \.|\.\.(?!\.)|Reason: *\.", text)
    assert "lamp-new" in text
    assert "B3. At Mast head" in text


def test_no_place_item_or_step_is_named_that_the_tables_do_not_join_to_the_event(told, demo_plan) -> None:
    """A step's own sentence names no step but itself and those tied to it by the tables."""
    ids = set(demo_plan.timed.network.steps)
    tied = {step.step: {step.step} for step in demo_plan.timed.steps}
    for clock in demo_plan.timed.gap_clocks:
        tied[clock.gap.first_step].add(clock.gap.then_step)
    for row in demo_plan.handovers.to_dict("records"):
        tied[row["from_step"]].add(row["to_step"])
        tied[row["to_step"]].add(row["from_step"])
    for row in told.table[(told.table.kind == "work") & (told.table.step != "")].to_dict("records"):
        named = ids & set(re.findall(r"\b[A-Z]{1,2}\d\b", row["words"]))
        assert named <= tied[row["step"]], row["words"]


def test_hostile_text_is_shown_and_runs_nowhere(small: pk.Scenario) -> None:
    nasty = edited(small, "steps", "B3", title=HOSTILE, caution=HOSTILE)
    nasty = edited(edited(nasty, "places", "MST", title=HOSTILE), "hardware", "lamp-new", title=HOSTILE)
    brief = pk.time_plan(nasty.with_settings({"title": "</p><script>x</script>"})).briefing()
    shown = brief._repr_html_()
    assert "<img" not in shown
    assert "<script" not in shown
    assert "&lt;img src=x onerror=alert(1)&gt;" in shown
    assert "\u202e" not in brief.text
    assert "<img src=x onerror=alert(1)>" in brief.text  # plain text stays as typed


def test_an_outing_without_night_is_one_day(small: pk.Scenario, small_plan: pk.Plan) -> None:
    parts = [part.title for part in small_plan.briefing().parts]
    assert parts[0] == "Before PET 0"
    assert parts[-1] == "Back inside"
    nights = [part for part in parts if part.startswith("Night")]
    assert len(nights) == sum(begin < small_plan.end_min for begin, _ in small_plan.light.night)
