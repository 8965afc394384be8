"""What is broken is drawn as broken: in the swimlane, the live chart and the pack, on several outings."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.show.chart_rows import broken_rules
from planning_kit.show.live_chart import live_chart, live_notes
from planning_kit.show.pack.content import Line
from planning_kit.show.pack.timeline import timeline_section
from planning_kit.show.palette import LIGHT
from planning_kit.show.swimlane import swimlane_spec
from tests.test_scenarios import SCENARIOS

DATA = SCENARIOS.parent / "tests" / "data"


def longer(scenario: pk.Scenario, step: str, likely: float, **cells: object) -> pk.Scenario:
    return scenario.edit_row("steps", step, minutes_low=likely - 1, minutes_likely=likely,
                             minutes_high=likely + 9, **cells)


def with_gap(scenario: pk.Scenario, first: str, then: str, least: float | str,
             most: float | str) -> pk.Scenario:
    row = dict.fromkeys(scenario.gaps, "") | {"first_step": first, "then_step": then, "min_gap": least,
                                              "max_gap": most, "reason": "made up"}
    return scenario.with_table("gaps", pd.concat([scenario.gaps.astype(object), pd.DataFrame([row])],
                                                 ignore_index=True))


@pytest.fixture(scope="module")
def curlew() -> pk.Plan:
    """A clock too short, an order in a circle, and a step longer than any day."""
    scenario = pk.load_scenario(DATA / "curlew-deck")
    circle = with_gap(scenario, "V2", "V4", "", 5).edit_row("steps", "N0", after="N4")
    return pk.time_plan(longer(circle, "B1", 80))


@pytest.fixture(scope="module")
def lamp() -> pk.Plan:
    """Nights of 30.9 min inside their guards, and 55 min to be done in one."""
    return pk.time_plan(longer(pk.load_scenario(SCENARIOS / "small-outing"), "B3", 55))


@pytest.fixture(scope="module")
def exchange() -> pk.Plan:
    """A group of five steps of both crew members that no night holds; the limit asks for nothing."""
    tern = longer(pk.load_scenario(SCENARIOS / "tern-station"), "X3", 25)
    return pk.time_plan(tern.with_settings({"limits.hard_min": 600.0}))


def words(plan: pk.Plan) -> str:
    return " | ".join(each.words for each in broken_rules(plan.timed))


def test_the_words_have_what_is_asked_and_offered_and_by_how_much(curlew: pk.Plan, lamp: pk.Plan,
                                                                  exchange: pk.Plan) -> None:
    # V3 of 10 min and 2 min of travel lie between V2 and V4. N0 takes 1 min, N1 to N4 26 with travel: the
    # circle of 27 min is shared by its two rows.
    assert "the clock to V4 is broken, 12.0 of 5 min: 7.0 min too long (made up)" in words(curlew)
    assert "N1 begins 13.5 min before N0 is finished" in words(curlew)
    assert ("B1 needs 80.0 min of one day; the longest in reach, day 2 (1:44 to 2:39), offers 55.9 after "
            "guards: 24.1 min short") in words(curlew)
    assert re.search(r"B3 needs 55.0 min of one night; .*night 1 .*offers 30.9 after guards: 24.1 min short",
                     words(lamp))
    # X1 to X5: 18 min as they are, X3 has 25 for 4 of them.
    assert re.search(r"X1 to X5 need 39.0 min of one night; .*offers 32.\d after guards: 6.\d min short",
                     words(exchange))


def test_a_least_gap_a_link_and_a_named_period_say_so_too() -> None:
    small = pk.load_scenario(SCENARIOS / "small-outing")
    told = words(pk.time_plan(with_gap(with_gap(small, "B1", "B2", "", 8), "B1", "B2", 20, "")))
    assert "B2 begins 12.0 min sooner after B1 than the 20 min asked (made up)" in told
    tern = pk.load_scenario(SCENARIOS / "tern-station")
    assert re.search(r"RG5 needs 120.0 min of one link; .* offers [\d.]+: [\d.]+ min short",
                     words(pk.time_plan(longer(tern, "RG5", 120))))
    assert re.search(r"CB5 needs 200.0 min of the period quiet; .*quiet \(.*\),? offers [\d.]+: .* min short",
                     words(pk.time_plan(longer(tern, "CB5", 200))))


def test_everybody_whom_a_rule_binds_is_told(exchange: pk.Plan, curlew: pk.Plan) -> None:
    (group,) = exchange.findings.query("rule == 'window-left'").to_dict("records")
    assert set(group["crew"].split()) == {"EV1", "EV2"}
    assert (group["about"], group["check"]) == ("exchange", "rules")
    order = curlew.findings.query("check == 'rules' and rule == 'after'").set_index("step")
    assert set(order.loc["N1", "crew"].split()) == {"EV2", "DESK"}


def trace(plan: pk.Plan, name: str, theme: str = "light") -> dict:
    return next((each for each in swimlane_spec(plan.timed, theme=theme)["data"] if each["name"] == name), {})


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_swimlane_frames_hatches_and_breaks_lines(curlew: pk.Plan, theme: str) -> None:
    framed, hatched = trace(curlew, "breaks a rule", theme), trace(curlew, "outside its window", theme)
    assert {step for step, *_ in framed["customdata"]} == {"V2", "N0", "N1", "B1"}
    assert hatched["marker"]["pattern"]["shape"] == "x"
    day = curlew.light.day[1] + np.array([1, -1]) * curlew.scenario.settings.night_guard_s / 60
    start, finish = curlew.timed.span("B1")
    assert np.array(hatched["x"]) / 60_000 == pytest.approx([day[0] - start, finish - day[1]], abs=0.01)
    line = trace(curlew, "gap or order broken", theme)
    assert "dash" in line["line"]
    assert line["marker"]["symbol"].count("x-thin") == 3
    assert any("12.0 of 5 min: 7.0 min too" in text.replace("<br>", " ") for text in line["hovertext"])
    bars = [text for each in swimlane_spec(curlew.timed)["data"] for text in each.get("hovertext") or ()]
    assert any("BROKEN: B1 needs 80.0 min of one day" in text.replace("<br>", " ") for text in bars)
    assert "Broken: B1 needs 80.0 min" in swimlane_spec(curlew.timed)["layout"]["meta"]["alt"]


def test_a_plan_that_keeps_all_rules_has_none_of_it(demo_plan: pk.Plan) -> None:
    assert not any(trace(demo_plan, name)
                   for name in ("breaks a rule", "outside its window", "gap or order broken"))
    assert live_chart(demo_plan.timed)["broken"] == []
    assert not any("Framed" in line for line in timeline_section(demo_plan.timed).words)


def test_the_live_chart_has_the_same(exchange: pk.Plan) -> None:
    clock, group = live_chart(exchange.timed)["broken"]
    assert [who for who, _ in clock["line"]] == ["EV1", "EV2"]
    assert {step for step, *_ in group["outside"]} == set(group["steps"]) <= {"X1", "X2", "X3", "X4", "X5"}
    told = [" ".join(lines) for lines in live_notes(exchange.timed)["hovers"]]
    assert sum("BROKEN: X1 to X5 need 39.0 min" in lines for lines in told) >= len(group["steps"])


def test_the_pack_frames_and_rules_and_says_what(curlew: pk.Plan) -> None:
    section = timeline_section(curlew.timed)
    lines = [each for each in section.blocks[0].shapes if isinstance(each, Line)]
    frames = [each for each in lines if len(each.points) == 5 and each.colour == LIGHT.stop]
    assert len(frames) == 4
    assert any("B1 needs 80.0 min of one day" in line for line in section.words)
    wide = max(frames, key=lambda each: each.points[1][0] - each.points[0][0])
    inside = [each for each in lines if len(each.points) == 2 and each.width == 0.5]
    assert inside
    assert all(wide.points[0][0] <= x <= wide.points[1][0] for each in inside for x, _ in each.points)


def test_what_only_the_limit_asks_for_is_told_with_the_end_of_the_other_plan() -> None:
    tern = longer(pk.load_scenario(SCENARIOS / "tern-station"), "AN3", 70, light="day")
    plan = pk.time_plan(tern)
    found = plan.findings.query("check == 'rules'")
    assert plan.end_min <= tern.settings.limits.hard_min
    assert {"X1", "AN3"} <= set(found["step"]), "the exchange leaves its night to be in by the limit"
    free = pk.time_plan(tern.with_settings({"limits.hard_min": 600.0}))
    assert set(free.findings.query("check == 'rules'")["step"]) == {"AN3"}
    hours, minutes = divmod(int(np.ceil(free.end_min)), 60)
    assert found["message"].str.contains(f"past it, until {hours}:{minutes:02d}, less would break").all()
    assert not free.findings["message"].str.contains("less would break").any()
