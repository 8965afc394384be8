"""The ends of the outing: the airlock's three times, the hatch that opens, what is used before PET 0.

The outing made here has two worksites, 6 and 15 min from the lock, and no hook moves. The return as flown is
from the summary of a public mishap investigation report (US EVA 23, 2013; seen as an excerpt only).
"""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.plan.build import build_network, work_order
from planning_kit.plan.order_timing import OrderTiming
from planning_kit.plan.suits import co2_g_per_min, oxygen_g_per_min, water_g_per_min
from planning_kit.plan.timing import earliest_starts
from tests.inputs.small_folder import SCENARIO_TOML, write_small
from tests.plan.whole_scenarios import random_scenario

SMALL = Path(__file__).parents[2] / "scenarios" / "small-outing"
FLOWN = {"airlock.hatch_closed_min": 5, "airlock.repress_start_min": 8, "airlock.repress_safe_min": 16}
FEW = {"crew_at_once": "", "anchor": "yes", "socket": "no", "caution": ""}


def rows(empty: pd.DataFrame, *given: dict[str, object]) -> pd.DataFrame:
    """A table of these rows; cells not named are empty."""
    return pd.DataFrame([dict.fromkeys(empty.columns, "") | row for row in given], columns=empty.columns)


@cache
def outing() -> pk.Scenario:
    """EV1 checks a tool at the lock and works 6 min away, EV2 15 min away; nothing needs light."""
    base = pk.load_scenario(SMALL)

    def step(name: str, crew: str, place: str) -> dict[str, object]:
        return {"step": name, "task": "T", "crew": crew, "place": place, "title": name, "exertion": "light",
                "minutes_low": 9, "minutes_likely": 10, "minutes_high": 11}

    none: dict[str, pd.DataFrame] = {name: base.table(name).iloc[:0]
                                     for name in ("gaps", "inhibits", "hardware")}
    tables = none | {
        "places": rows(base.places, *({"place": name, "title": name, "x_m": x, "y_m": 0, "z_m": 0} | FEW
                                      for name, x in (("HAT", 0), ("NEAR", 30), ("FAR", 75)))),
        "routes": rows(base.routes, {"from_place": "HAT", "to_place": "NEAR", "metres": 30},
                       {"from_place": "HAT", "to_place": "FAR", "metres": 75}),
        "crew": base.crew.assign(metres_per_min=5.0, tether_m=100.0),
        "tasks": rows(base.tasks, *({"task": name, "title": "Work", "need": "required", "priority": 1}
                                    for name in ("T", "U"))),
        "steps": rows(base.steps, step("L1", "EV1", "HAT"), step("N1", "EV1", "NEAR"),
                      step("N2", "EV1", "NEAR"), step("F1", "EV2", "FAR"), step("L2", "EV2", "HAT")),
    }
    return base.with_tables(tables).with_settings({"limits.hook_move_min": None})


def told(plan: pk.Plan, **wanted: object) -> list[dict[str, Any]]:
    found = plan.findings
    for column, value in wanted.items():
        found = found[found[column] == value]
    return found.to_dict("records")


# The return as flown: the first at the hatch after 6 min, the second after 15.
def test_the_return_as_flown() -> None:
    plan = pk.time_plan(outing().with_settings(FLOWN))
    # At 0:20 EV1 is in N1 (from 0:16) and EV2 in F1 (from 0:15).
    homes = plan.ways_home("terminate").query("at_min == 20").set_index("crew")
    assert homes["back_min"].to_dict() == {"EV1": 6 + 16, "EV2": 15 + 16}
    assert homes.loc["EV2", "inside_min"] == 20 + 31
    sequence = plan.terminate(20).query("who == 'EV2'")
    since = dict(zip(sequence["what"], sequence["finish_min"] - 20, strict=True))
    # Hatch closed +20, repressurisation begins +23, done +31, an upper bound for a pressure to breathe.
    stages = "Ingress", "Prepare repressurisation", "Repressurisation"
    assert [since[what] for what in stages] == [20, 23, 31]
    waits = plan.terminate(20).query("who == 'EV1' and what.str.startswith('Wait')")
    assert waits["minutes"].tolist() == [9]


def test_what_bounds_what() -> None:
    whole = pk.time_plan(outing().with_settings(FLOWN))
    early = pk.time_plan(outing().with_settings(FLOWN | {"airlock.ends": "hatch_closed"}))
    # EV1: 10 at the lock, 6 out, 20 of work, 6 home = 42; EV2: 15 out, 10, 15 home, 10 at the lock = 50.
    assert (whole.end_min, early.end_min) == (50 + 16, 50 + 5)
    assert early.timed.safe_min == whole.timed.safe_min == 66
    # The suits last to the pressure that can be breathed, whatever the end is called.
    pd.testing.assert_frame_equal(early.suit_summary, whole.suit_summary)
    assert early.suits["at_min"].max() == 66
    for column in ("abort_min", "terminate_min", "suit_margin_min", "emergency_margin_min"):
        both = early.returns.merge(whole.returns, on=["crew", "at_min", "step"])
        assert len(both) > 100
        np.testing.assert_allclose(both[f"{column}_x"], both[f"{column}_y"], atol=1e-9)
    last = early.timeline.query("title == 'Repressurisation'")
    assert last[["start_min", "finish_min"]].to_numpy().tolist() == [[55, 66]] * 2
    assert whole.timeline.query("title == 'Repressurisation'").empty
    told_so = early.summary.set_index("item")["value"]
    assert told_so["The outing ends when"] == "both are inside and the hatch is closed"
    assert told_so["Pressure can be breathed"].startswith("PET 1:06")


def test_the_hard_limit_counts_to_the_end_and_the_suit_to_the_breath() -> None:
    # Both at the lock at 50, hatch closed at 55; a hard limit of 55 is just kept by that end alone.
    limits = {"limits.planned_min": 55, "limits.hard_min": 55, "limits.emergency_oxygen_min": 60}
    early = pk.time_plan(outing().with_settings(FLOWN | limits | {"airlock.ends": "hatch_closed"}))
    assert told(early, rule="outing-end") == []
    assert not any(row["rule"].startswith("alone") for row in told(early, check="return"))
    alone = early.return_summary[early.return_summary["case"].str.endswith("alone")]
    assert len(alone) == 4
    assert set(alone["turn_back_by_min"]) == {50.0}
    late = pk.time_plan(outing().with_settings(FLOWN | limits))
    (end,) = told(late, rule="outing-end")
    assert (end["severity"], end["value"], end["margin"]) == ("stop", 66, -11)


def test_an_emergency_repressurisation_is_quicker_for_an_abort_alone() -> None:
    plan = pk.time_plan(outing().with_settings(FLOWN | {"airlock.emergency_repress_safe_min": 7}))
    at_work = plan.returns.query("crew == 'EV2' and at_min == 20").iloc[0]
    assert (at_work["abort_min"], at_work["terminate_min"]) == (15 + 7, 15 + 16)
    assert at_work["emergency_margin_min"] == 30 - 22
    assert plan.abort(20)["what"].iloc[-1] == "Ingress and emergency repressurisation"
    # Going in from 0:50: an emergency begins anew (7 min) until less than that is left in good order.
    going = plan.returns.query("crew == 'EV1' and at_min >= 50").set_index("at_min")["abort_min"]
    assert [going[at] for at in (50.0, 55.0, 60.0, 64.0)] == [7, 7, 6, 2]
    slow = pk.time_plan(outing().with_settings(FLOWN | {"airlock.emergency_repress_safe_min": 20}))
    assert slow.returns.query("crew == 'EV2' and at_min == 20").iloc[0]["abort_min"] == 35
    (remark,) = told(slow, rule="slow-emergency")
    assert (remark["severity"], remark["margin"]) == ("remark", -4)


def test_words_say_what_a_way_home_leads_to() -> None:
    scarce = FLOWN | {"limits.emergency_oxygen_min": 25, "limits.return_reserve_min": 0}
    inside = told(pk.time_plan(outing().with_settings(scarce)), rule="alone-too-far")
    assert "from being inside" in inside[0]["message"]
    breath = told(pk.time_plan(outing().with_settings(scarce | {"airlock.ends": "repress_start"})),
                  rule="alone-too-far")
    assert "from a pressure that can be breathed" in breath[0]["message"]
    assert [row["margin"] for row in inside] == [row["margin"] for row in breath]


def test_one_number_for_three_is_a_concern() -> None:
    same = dict.fromkeys(FLOWN, 9)
    (concern,) = told(pk.time_plan(outing().with_settings(same)), check="airlock")
    assert (concern["severity"], concern["rule"], concern["value"]) == ("concern", "one-number", 9)
    assert told(pk.time_plan(outing().with_settings(dict.fromkeys(FLOWN, 0))), check="airlock") == []
    assert told(pk.time_plan(outing().with_settings(FLOWN)), check="airlock") == []


def test_nobody_is_outside_before_the_hatch_opens() -> None:
    plan = pk.time_plan(outing().with_settings(FLOWN | {"airlock.hatch_open_min": 30}))
    starts = dict(zip(plan.timed.network.steps, plan.timed.starts.tolist(), strict=True))
    # L1 is at the lock; N1 is 6 min away, F1 15.
    assert starts == {"L1": 0, "N1": 36, "N2": 46, "F1": 45, "L2": 70}
    lanes = plan.timeline
    assert lanes[(lanes["kind"] == "travel")]["start_min"].min() == 30
    waits = lanes[lanes["held_by"] == "hatch:hatch"].query("kind == 'wait'")
    assert waits[["crew", "title", "start_min", "finish_min"]].to_numpy().tolist() == [
        ["EV2", "Wait for the hatch", 0, 30], ["EV1", "Wait for the hatch", 10, 30]]
    assert "because the hatch opens at 0:30 and EV2's way to FAR takes 15.0 min" in plan.explain("F1")
    # Nothing is earlier by shorter work before it.
    assert plan.what_if(stretch={"L1": "-5"}).end_min == plan.end_min
    later = plan.what_if(settings={"airlock.hatch_open_min": 40})
    assert later.end_min == plan.end_min + 10
    (slack,) = lanes.query("step == 'L1' and kind == 'work'")["slack_to_plan_min"]
    # EV1 is back 62 min after PET 0, EV2 80, and L1 ends 20 min before the hatch opens.
    assert slack == pytest.approx(80 - 62 + 20)


def test_the_hatch_holds_in_any_order_and_in_the_odds() -> None:
    scenario = outing().with_settings(FLOWN | {"airlock.hatch_open_min": 30})
    plan = pk.time_plan(scenario)
    timing = OrderTiming(scenario.records, plan.timed.almanac, plan.timed.travels,
                         plan.timed.durations.tolist())
    draws = random.Random(1)
    for _ in range(20):
        steps = list(scenario.records.steps)
        draws.shuffle(steps)
        network = build_network(replace(scenario.records, steps=tuple(steps)), plan.timed.almanac,
                                plan.timed.travels)
        wanted = dict(zip(network.steps, earliest_starts(
            network, np.array([step.minutes_likely for step in steps])).tolist(), strict=True))
        position = {step.step: number for number, step in enumerate(scenario.records.steps)}
        orders = {who: [position[steps[i].step] for i in work_order(steps, who)] for who in ("EV1", "EV2")}
        assert timing.starts(orders) == [wanted[step.step] for step in scenario.records.steps]
    ends = plan.odds(200, seed=1).finish["end_min"]
    assert ends.min() > 30 + 15 + 9 + 14 + 9 + 16  # nobody is quicker than an open hatch


def test_better_orders_keep_the_hatch_shut() -> None:
    scenario = outing().with_settings(FLOWN | {"airlock.hatch_open_min": 30})
    plan = pk.time_plan(scenario.edit_row("steps", "L2", task="U"))
    best = plan.propose(effort=0.1).best
    # EV2 does L2 while the hatch is shut: from there 15 min out, 10 of work, 15 home.
    assert plan.end_min == 30 + 50 + 16
    assert best is not None
    assert best.plan.end_min == 30 + 40 + 16
    assert best.plan.timeline.query("kind == 'travel'")["start_min"].min() == 30


def test_a_log_opens_the_hatch() -> None:
    plan = pk.time_plan(outing().with_settings(FLOWN | {"airlock.hatch_open_min": 30}))
    log = pd.DataFrame([("pet_zero", "", 0.0), ("started", "L1", 0.0), ("finished", "L1", 10.0),
                        ("started", "N1", 20.0)], columns=["event", "step", "at"])
    log["at"] = [plan.pet_zero + pd.Timedelta(minutes=at) for at in log["at"]]
    late = plan.retime(log, 22.0)
    (concern,) = told(late, rule="hatch")
    assert (concern["severity"], concern["step"], concern["value"]) == ("concern", "N1", 16)
    starts = dict(zip(late.timed.network.steps, late.timed.starts.tolist(), strict=True))
    assert starts["F1"] == 22  # not before now; the hatch is open


# What is used before PET 0.
REST_W = 120.0
AMOUNTS = {"oxygen": ("oxygen_g", 400.0), "co2": ("co2_g", 500.0), "energy": ("energy_wh", 400.0),
           "water": ("water_g", 3000.0)}


def before(settings: dict[str, object], crew: str = "EV1") -> dict[str, float]:
    """What each store has used before PET 0, from the table."""
    plan = pk.time_plan(outing().with_settings({"suit.used_before.battery_min": None} | settings))
    table = plan.suit_summary.query("crew == @crew").set_index("consumable")
    first = plan.suits.query("crew == @crew").iloc[0]
    for name, (key, usable) in AMOUNTS.items():
        left = first[f"{name}_left_{key.rpartition('_')[2]}"]
        assert usable - left == pytest.approx(table.loc[name, "used_before"])
    return dict(table["used_before"])


def test_the_umbilical_feeds_all_but_the_cartridge() -> None:
    minute = {"oxygen": oxygen_g_per_min(REST_W, 0.9), "co2": co2_g_per_min(REST_W, 0.9), "energy": 55 / 60,
              "water": water_g_per_min(REST_W + 45)}
    on_umbilical = before({"suit.used_before.umbilical_min": 60})
    assert on_umbilical == pytest.approx({"oxygen": 0, "co2": 60 * minute["co2"], "energy": 0, "water": 0})
    both = before({"suit.used_before.umbilical_min": 60, "suit.used_before.battery_min": 20})
    assert both == pytest.approx({name: (80 if name == "co2" else 20) * rate
                                  for name, rate in minute.items()})


def test_an_amount_wins_over_minutes_and_one_crew_member_over_both() -> None:
    settings: dict[str, object] = {"suit.used_before.battery_min": 20, "suit.used_before.oxygen_g": 30,
                                   "suit.EV2.used_before.oxygen_g": 50, "suit.EV2.used_before.battery_min": 0}
    assert before(settings)["oxygen"] == 30
    assert before(settings, "EV2") == pytest.approx({"oxygen": 50, "co2": 0, "energy": 0, "water": 0})


def test_in_full_sun_the_water_is_used_faster() -> None:
    plain, sunny = (pk.time_plan(outing().with_settings({"suit.worst_sun_factor": factor})).suit_summary
                    .query("crew == 'EV1'").set_index("consumable")["used"] for factor in (None, 7 / 6))
    # Nominal use 7 h, worst sun 6 h (public mishap report, p. 40, seen as an excerpt only).
    assert sunny["water"] == pytest.approx(plain["water"] * 7 / 6)
    assert sunny.drop("water").equals(plain.drop("water"))


# Odd typing.
@pytest.mark.parametrize(("old", "new", "column", "problem"), [
    ("repress_start_min = 5", "repress_start_min = 16", "airlock.repress_start_min",
     "is more than repress_safe_min, 15 min"),
    ("hatch_closed_min = 5", "hatch_closed_min = 6", "airlock.hatch_closed_min",
     "is more than repress_start_min, 5 min"),
    ("hatch_closed_min = 5", "hatch_closed_min = -1", "airlock.hatch_closed_min", "0"),
    ("hatch_closed_min = 5", "hatch_closed_min = 5\nends = 'landing'", "airlock.ends", "repress_safe"),
    ("hatch_closed_min = 5", "hatch_closed_min = 5\nhatch_open_min = 10\ndepress_start_min = 11",
     "airlock.depress_start_min", "is more than hatch_open_min, 10 min"),
    ("repress_safe_min = 15", "", "airlock.repress_safe_min", "is missing"),
    ("[airlock]", "[airlok]", "airlock", "add the table [airlock]"),
    ("[suit.EV2]", "[suit.used_before]\nbattery_min = '20'\n[suit.EV2]", "suit.used_before.battery_min",
     "must be a number"),
    ("oxygen_g = 520", "used_before = 3", "suit.EV2.used_before", "write it as [suit.EV2.used_before]"),
    ("oxygen_g = 520", "used_before.water_wh = 3", "suit.EV2.used_before.water_wh", "did you mean 'water_g'"),
    ("oxygen_g = 520", "EV1.oxygen_g = 3", "suit.EV2.EV1", "is not a key of [suit.EV2]"),
    ("power_w = 55", "power_w = 55\nused_before_pet_zero_min = 20", "suit.used_before_pet_zero_min",
     "is not a key"),
    ("power_w = 55", "power_w = 55\nworst_sun_factor = 0.5", "suit.worst_sun_factor", "1"),
])
def test_odd_typing_has_its_place_told(tmp_path: Path, old: str, new: str, column: str, problem: str) -> None:
    assert old in SCENARIO_TOML
    text = SCENARIO_TOML.replace(old, new, 1)
    with pytest.raises(pk.ScenarioError) as caught:
        pk.load_scenario(write_small(tmp_path, {"scenario.toml": text}))
    found = caught.value.problems.query("column == @column")
    assert len(found) == 1, caught.value.problems.to_string()
    assert problem in found["problem"].iloc[0]


def test_the_end_in_words() -> None:
    scenario = outing()
    assert scenario.settings.outing_end_words == "both are inside and the pressure can be breathed"
    named = scenario.with_settings({"outing_end_event": "inner hatch open"})
    plan = pk.time_plan(named)
    assert plan.summary.set_index("item").loc["The outing ends when", "value"] == "inner hatch open"
    assert "The outing ends when inner hatch open." in plan.briefing().text


@pytest.mark.parametrize("seed", range(12))
def test_a_shut_hatch_keeps_everyone_at_the_airlock(seed: int) -> None:
    draw = random.Random(seed)
    scenario = random_scenario(draw)
    opens = draw.uniform(0, 60)
    try:
        plan = pk.time_plan(scenario.with_settings({"airlock.hatch_open_min": opens}))
    except pk.ScenarioError:
        pytest.skip("no plan with so late a hatch")
    free = pk.time_plan(scenario)
    airlock, lanes = scenario.settings.airlock_place, plan.timeline
    crew = lanes[lanes["crew"].isin(["EV1", "EV2"])]
    outside = crew[(crew["place"] != airlock) | ~crew["to_place"].isin(["", airlock])]
    assert (outside["start_min"] >= opens - 1e-6).all()
    assert (plan.timed.starts >= free.timed.starts).all()
    # It holds nothing that is later anyway.
    shut = pk.time_plan(scenario.with_settings({"airlock.hatch_open_min": 0}))
    assert shut.timed.starts.tolist() == free.timed.starts.tolist()


def test_a_published_summary_timeline_adds_up() -> None:
    # US EVA 23, public summary timeline (seen as an excerpt only): EV1's blocks of 5 + 30 + 30 + 90 + 90 + 60
    # + 20 + 45 + 5 min are the published 6:15. The first 5 are post-depressurisation, the last 5 ingress.
    base = outing()
    blocks = [30, 30, 90, 90, 60, 20, 45]
    steps = rows(base.steps, *({"step": f"P{number}", "task": "T", "crew": "EV1", "place": "NEAR",
                                "minutes_low": minutes, "minutes_likely": minutes, "minutes_high": minutes}
                               for number, minutes in enumerate(blocks)))
    scenario = base.with_tables({"steps": steps, "routes": base.routes.assign(minutes=[0.0, ""])})
    plan = pk.time_plan(scenario.with_settings(
        {"airlock.hatch_open_min": 5, "airlock.hatch_closed_min": 5, "airlock.repress_start_min": 5,
         "airlock.repress_safe_min": 20, "airlock.ends": "hatch_closed", "horizon_h": 8}))
    # No route is quite without length.
    assert (plan.end_min, plan.timed.safe_min) == pytest.approx((375, 390), abs=1e-5)


def test_the_briefing_tells_when_the_hatch_opens() -> None:
    airlock = {"airlock.depress_start_min": 0, "airlock.hatch_open_min": 30, "airlock.ends": "hatch_closed"}
    words = pk.time_plan(outing().with_settings(FLOWN | airlock)).briefing().text
    assert "Depressurisation begins at PET 0:00" in words
    assert "Nobody is outside before the hatch opens, at PET 0:30" in words
    assert "The pressure can be breathed at PET 1:36" in words
    assert "Repressurisation, 11 min: the pressure can be breathed at 1:36." in words
