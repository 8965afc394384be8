"""One truth for the way home: the margins, the check, turn-back times and `ways_home`, minute by minute.

The second hand reads only tables: what is in hand from the timeline, what it needs from the steps, what the
suits use from the slopes of ``plan.suits``. The ways back themselves have one in ``test_returns.py``.
"""

from __future__ import annotations

import contextlib
import itertools
import math
import random
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from tests.edits import edited
from tests.explore.retime.rehearsal import rehearsed
from tests.plan.stations import random_outing
from tests.plan.test_returns import Walker
from tests.plan.whole_scenarios import random_scenario

TESTS = Path(__file__).parents[1]
SCENARIOS = TESTS.parent / "scenarios"
FOLDERS = {"demo": TESTS / "data" / "tern-2", "small": SCENARIOS / "small-outing",
           "faulty": SCENARIOS / "faulty-plan", "tern-1": TESTS / "data" / "tern-1"}
CREW = {"EV1": "EV2", "EV2": "EV1"}
STORES = ("oxygen_left_g", "co2_left_g", "energy_left_wh", "water_left_g")
NEAR = 1e-6
WHAT_IFS = [f"what-if {seed}" for seed in range(8)]
DRAWN = [f"drawn {seed}" for seed in range(0, 60, 5)]


@cache
def plan_of(name: str) -> pk.Plan:
    """The plan of a folder, of a random what-if of the demo, of a drawn scenario; the demo late, outside."""
    kind, _, seed = name.partition(" ")
    if kind in FOLDERS:
        return pk.time_plan(pk.load_scenario(FOLDERS[kind]))
    for number in itertools.count(int(seed or 0), 100):  # the next where one has no plan
        with contextlib.suppress(pk.ScenarioError):
            return _drawn_plan(kind, number)
    raise AssertionError(name)


def _drawn_plan(kind: str, seed: int) -> pk.Plan:
    draw = random.Random(seed)
    if kind == "drawn":
        return pk.time_plan(random_scenario(draw))
    demo = plan_of("demo")
    if kind == "late":
        return demo.retime(rehearsed(demo, seed, 150.0, slower=1.4), 150.0)
    steps = draw.sample(demo.scenario.steps["step"].tolist(), 6)
    drops = draw.sample(["task:SUR", "task:HTR", "task:LMP"], draw.randint(0, 2))
    return demo.what_if(stretch={step: f"{draw.choice([-1, 2, 6, 15]):+d}" for step in steps}, drop=drops)


def minutes_of(plan: pk.Plan, how: str) -> pd.DataFrame:
    return plan.ways_home(how).merge(plan.returns, on=["crew", "at_min"], suffixes=("", "_of_returns"))


@pytest.mark.parametrize("name", [*FOLDERS, "late 1", "late 2", *WHAT_IFS, *DRAWN])
def test_every_minute_of_every_plan_has_one_way_home(name: str) -> None:
    plan = plan_of(name)
    abort, terminate = minutes_of(plan, "abort"), minutes_of(plan, "terminate")
    assert len(abort) == len(plan.ways_home("abort")) == len(terminate) > 0
    for own, theirs, table in (
        ("total_min", "abort_min", abort), ("oxygen_margin_min", "emergency_margin_min", abort),
        ("safe_min", "safe_now_min", abort), ("total_min", "terminate_min", terminate),
        ("safe_min", "safe_orderly_min", terminate),
        ("suit_margin_min", "suit_margin_min_of_returns", terminate),
    ):
        np.testing.assert_allclose(table[own], table[theirs], atol=NEAR, err_msg=own)
    assert terminate["first_out"].tolist() == terminate["first_out_of_returns"].tolist()
    assert abort["step"].tolist() == abort["step_of_returns"].tolist()


@pytest.mark.parametrize("name", ["demo", "tern-1", "late 1"])
def test_between_whole_minutes_a_step_begins_and_ends_at_once(name: str) -> None:
    plan = plan_of(name)
    oxygen_min = plan.scenario.settings.limits.emergency_oxygen_min
    table = plan.ways_home("abort", 0.125)
    np.testing.assert_allclose(table["oxygen_margin_min"], oxygen_min - table["total_min"], atol=NEAR)


@pytest.mark.parametrize("name", [*FOLDERS, *WHAT_IFS])
def test_making_safe_is_whole_at_every_minute_of_a_step(name: str) -> None:
    plan = plan_of(name)
    rows = plan.returns[plan.returns["at_min"] % 1 == 0].set_index(["crew", "at_min"])
    for (crew, minute), row in rows.iterrows():
        now, orderly = ([needs(plan, who, minute, how) for who in (crew, CREW[crew])]
                        for how in ("now", "orderly"))
        alone, helped = row["alone_min"], row["with_partner_min"]
        told = row[["abort_min", "terminate_min", "partner_abort_min", "partner_terminate_min"]].tolist()
        airlock = plan.scenario.settings.airlock
        # An abort may take longer, or less, until the pressure can be breathed.
        other = 0.0 if airlock.emergency_repress_safe_min is None else (
            airlock.emergency_repress_safe_min - airlock.repress_safe_min)
        other = max(other, 0.0) if minute >= going_in(plan) else other  # going on may be quicker than anew
        expected = [now[0] + alone + other, orderly[0] + alone, sum(now) + helped + other,
                    sum(orderly) + helped]
        assert told == pytest.approx(expected, nan_ok=True), (crew, minute)
        told = row[["suit_margin_min", "partner_suit_margin_min"]].tolist()
        expected = [suit_margin(plan, [crew], minute, orderly[0], alone),
                    suit_margin(plan, list(CREW), minute, sum(orderly), helped)]
        assert told == pytest.approx(expected, nan_ok=True, abs=1e-5), (crew, minute)


def going_in(plan: pk.Plan) -> float:
    return plan.end_min - plan.scenario.settings.airlock.ends_min


def needs(plan: pk.Plan, crew: str, minute: float, how: str) -> float:
    """Minutes that make safe what someone works on at that minute, from the tables."""
    step = under_way(plan).get((crew, minute), "")
    given = steps_of(plan).get(f"safe_{how}_min", {}).get(step, "")
    return float(given) if given not in ("", None) and not pd.isna(given) else 0.0


@cache
def steps_of(plan: pk.Plan) -> dict[str, dict[str, object]]:
    return plan.scenario.steps.set_index("step").to_dict()


@cache
def under_way(plan: pk.Plan) -> dict[tuple[str, float], str]:
    """The step that each one works on, by crew member and whole minute."""
    found = {}
    for bar in plan.timeline.query("kind == 'work' and step != ''").itertuples():
        for minute in range(math.ceil(bar.start_min), math.ceil(bar.finish_min)):
            found[bar.crew, float(minute)] = bar.step
    return found


def suit_margin(plan: pk.Plan, crew: list[str], minute: float, safe: float, back: float) -> float:
    """What the first of all stores of ``crew`` has left, in minutes of travel, once both are inside."""
    left = []
    for at_min, stores, travels in (suit_of(plan, who) for who in crew):
        here = int(np.searchsorted(at_min, minute, side="right")) - 1
        for column, amounts in stores.items():
            slope = 0.0
            if here + 1 < len(at_min):
                slope = (amounts[here] - amounts[here + 1]) / (at_min[here + 1] - at_min[here])
            now, travel = float(np.interp(minute, at_min, amounts)), travels[column]
            if not math.isnan(now):
                left.append((now - safe * max(slope, travel)) / travel - back if travel else math.inf)
    return min(left, default=math.nan)


@cache
def suit_of(plan: pk.Plan, crew: str) -> tuple[np.ndarray, dict[str, np.ndarray], dict[str, float]]:
    """Boundaries of some length, what is left there, and the use in travel, of one suit."""
    rows = plan.suits[plan.suits["crew"] == crew].drop_duplicates("at_min", keep="last")
    at_min = rows["at_min"].to_numpy()
    stores = {column: rows[column].to_numpy() for column in STORES}
    bar = plan.timeline.query("crew == @crew and kind == 'travel' and finish_min > start_min").iloc[0]
    ends = [bar["start_min"], bar["finish_min"]]
    use = {column: -np.diff(np.interp(ends, at_min, left))[0] / (ends[1] - ends[0])
           for column, left in stores.items()}
    return at_min, stores, use


@pytest.mark.parametrize("seed", range(6))
def test_an_abort_by_shortest_paths_and_drawn_safe_times(small: pk.Scenario, seed: int) -> None:
    plan = pk.time_plan(with_safe_times(random_outing(small, seed), seed))
    for crew in CREW:
        walker = Walker(plan, crew)
        at_work = 0
        for row in plan.ways_home("abort").query("crew == @crew").to_dict("records"):
            minute = row["at_min"]
            way = walker.alone(minute, 1.0)
            if math.isnan(way) or minute >= plan.end_min - 8:
                continue
            safe = needs(plan, crew, minute, "now")
            at_work += safe > 0
            assert row["oxygen_margin_min"] == pytest.approx(30 - (safe + way + 8)), row
        assert at_work


def with_safe_times(scenario: pk.Scenario, seed: int) -> pk.Scenario:
    draw = random.Random(seed)
    steps = scenario.steps.astype(object)
    steps["safe_now_min"] = [draw.choice([0.5, 2, 3.25]) for _ in range(len(steps))]
    steps["safe_orderly_min"] = [draw.choice(["", 4, 7.5]) for _ in range(len(steps))]
    return scenario.with_table("steps", steps)


@pytest.mark.parametrize("name", [*FOLDERS, *WHAT_IFS])
def test_check_and_turn_back_times_agree_with_every_minute(name: str) -> None:
    plan = plan_of(name)
    limits = plan.scenario.settings.limits
    reserve = limits.return_reserve_min or 0.0
    abort, terminate = plan.ways_home("abort"), plan.ways_home("terminate")
    for crew in CREW:
        own = [table[table["crew"] == crew].set_index("at_min") for table in (abort, terminate)]
        stops = plan.findings.query("check == 'return' and severity == 'stop' and crew == @crew")
        for way, column, rule in ((own[0], "oxygen_margin_min", "alone-too-far"),
                                  (own[1], "suit_margin_min", "alone-too-late")):
            found = stops[stops["rule"] == rule]
            if (way[column] < reserve - NEAR).any():
                assert found["value"].min() <= way[column].min() + NEAR
            elif len(found):
                assert reserve > found["value"].min() > reserve - 5  # between two whole minutes
        case = plan.return_summary.query("crew == @crew and case == 'emergency oxygen, alone'")
        broken = (own[0]["oxygen_margin_min"] < reserve - NEAR) | (
            own[1]["inside_min"] > limits.hard_min + NEAR)
        for turn_back_by in case["turn_back_by_min"].dropna():
            assert not broken[broken.index < turn_back_by - NEAR].any()
            if turn_back_by < plan.end_min - plan.scenario.settings.airlock.ends_min:
                # Both sides of that moment, and the next one.
                rows = plan.returns.query("crew == @crew and at_min >= @turn_back_by - @NEAR").iloc[:3]
                assert ((rows["emergency_margin_min"] < reserve - NEAR)
                        | (rows["at_min"] + rows["terminate_min"] > limits.hard_min + NEAR)).any()


def test_the_demo_by_hand(demo_plan: pk.Plan) -> None:
    # At 2:26 both are in X3 in the regulator bay (50 m, two hook moves, 10 min of ingress), 2 min to make it
    # safe at once, 4 in good order. EV2 alone, 6 m/min; EV2 brought by EV1, 6.5 m/min, half as slow again:
    # EV1's X3 and EV2's are made safe, 2 + 2, and both hooks moved twice.
    row = demo_plan.returns.query("crew == 'EV2' and at_min == 146").iloc[0]
    assert row["step"] == "X3"
    assert row["abort_min"] == pytest.approx(2 + 50 / 6 + 2 + 10)
    assert row["terminate_min"] == pytest.approx(4 + 50 / 6 + 2 + 10)
    assert row["partner_abort_min"] == pytest.approx(2 + 2 + 1.5 * 50 / 6.5 + 4 + 10)
    assert row["partner_terminate_min"] == pytest.approx(4 + 4 + 1.5 * 50 / 6.5 + 4 + 10)


def test_heavy_work_is_made_safe_at_its_own_rate(small: pk.Scenario) -> None:
    # At 0:40 EV1 is in B3, heavy: 400 W while it is made safe, 6 min; then 290 W for 11 min until inside.
    # Both rates stand in one ratio for oxygen, which runs out first.
    plan = pk.time_plan(edited(with_safe_columns(small), "steps", "B3", exertion="heavy", safe_orderly_min=6))
    start = float(plan.timed.starts[plan.timed.position("B3")])
    minute = math.ceil(start)
    history = plan.suits.query("crew == 'EV1'")
    left = np.interp(minute, history["at_min"], history["oxygen_left_g"])
    row = plan.returns.query("crew == 'EV1' and at_min == @minute").iloc[0]
    assert (row["step"], row["first_out"]) == ("B3", "oxygen")
    travel = 72.88 / 293.071 * 290 / 60
    assert row["suit_margin_min"] == pytest.approx((left - 6 * travel * 400 / 290) / travel - 11, rel=3e-3)


def with_safe_columns(scenario: pk.Scenario) -> pk.Scenario:
    return scenario.with_table("steps", scenario.steps.assign(safe_now_min="", safe_orderly_min=""))


def test_the_hard_limit_is_kept_in_good_order(small: pk.Scenario, small_plan: pk.Plan) -> None:
    # EV1 in B3, 3 min from the hatch and 8 of ingress; in good order 4 min more. The hard limit is 10 min
    # after B3: who breaks it off 5 min before its end is inside just then. At once it takes 1 min, not 4.
    leaves = float(small_plan.timed.finishes[small_plan.timed.position("B3")])
    scenario = edited(with_safe_columns(small), "steps", "B3", safe_orderly_min=4, safe_now_min=1)
    plan = pk.time_plan(scenario.with_settings({"limits.hard_min": leaves + 10, "limits.planned_min": 50}))
    summary = plan.return_summary.query("crew == 'EV1'").set_index("case")
    for case in ("emergency oxygen, alone", "consumables, alone"):
        assert summary["turn_back_by_min"][case] == pytest.approx(leaves - 5)
    assert summary["margin_min"]["emergency oxygen, alone"] == pytest.approx(30 - (1 + 3 + 8))
    assert summary["time_back_min"]["emergency oxygen, alone"] == pytest.approx(1 + 3 + 8)


def test_a_step_that_outlasts_its_estimate_is_still_made_safe(small: pk.Scenario) -> None:
    # Both began A1 at 0:00, 10 min; at 0:14 nobody has called it finished: 3 min, and 8 of ingress.
    plan = pk.time_plan(edited(with_safe_columns(small), "steps", "A1", safe_now_min=3))
    log = pd.DataFrame([{"step": "A1", "event": "started", "at": "0:00", "crew": "EV1"}])
    late = plan.retime(log, 14)
    row = late.returns.query("crew == 'EV1' and at_min == 14").iloc[0]
    assert (row["step"], row["abort_min"]) == ("A1", pytest.approx(3 + 8))
    home = late.home_now("abort").set_index("crew")
    assert home["total_min"]["EV1"] == row["abort_min"]
    assert home["oxygen_margin_min"]["EV1"] == row["emergency_margin_min"]
