"""Parts of the search against every order that there is, and carrying against a tally of the rows."""

from __future__ import annotations

from itertools import product

import pytest

import planning_kit as pk
from planning_kit.explore.propose import local_search, random_moves
from planning_kit.explore.propose.choices import as_written
from planning_kit.explore.propose.goals import MARGIN
from planning_kit.explore.propose.local_search import LocalSearch, Neighbours
from planning_kit.explore.propose.order_problem import Freedom
from planning_kit.explore.propose.order_search import judge_for
from planning_kit.explore.propose.solving import Budget
from planning_kit.explore.propose.stages import build_problem
from planning_kit.inputs.times import pet_label
from planning_kit.judge.review import carry_h, is_worse
from tests.explore.propose.made import every_order, made_outing
from tests.explore.propose.outings import outing_of
from tests.explore.propose.test_small_orders import lane_orders


def around_all(scenario: pk.Scenario) -> Neighbours:
    pet_zero = scenario.settings.pet_zero_utc
    return Neighbours(build_problem(scenario.records, scenario.elements, Freedom(
        earliest=pet_zero, latest=pet_zero, limit_min=scenario.settings.limits.hard_min)))


@pytest.mark.parametrize("part", ["recreated", "turned", "all"])
@pytest.mark.parametrize("count", [11, 12, 13])
def test_a_look_around_ends_at_the_best_of_all_orders(count: int, part: str,
                                                      monkeypatch: pytest.MonkeyPatch) -> None:
    """Whole tasks put back, alone, find it; so do all moves together. Stretches turned never go below it."""
    scenario = outing_of(count)
    around, plan = around_all(scenario), pk.time_plan(scenario)
    every = [{"EV1": one, "EV2": other} for one, other in product(
        *(list(lane_orders(plan, crew)) for crew in ("EV1", "EV2")))]
    least = min(timed[1].end_min for orders in every if (timed := around.timing.sums(orders)))
    if part == "recreated":
        monkeypatch.setattr(local_search, "_RECREATED_SHARE", 1.0)
    elif part == "turned":
        monkeypatch.setattr(local_search, "_RECREATED_SHARE", 0.0)
        monkeypatch.setattr(random_moves, "_TURN_OF_FEW", 1.0)
        monkeypatch.setattr(random_moves, "_TURN", 1.0)
    here = around.of(as_written(scenario.records, scenario.settings.pet_zero_utc))
    assert here is not None
    found = LocalSearch(around, lambda choice: (), Budget(1.0, 300.0)).improve(here, 3_000)
    assert found.cost[0] >= least - 1e-6
    if part != "turned":
        assert found.cost[0] == pytest.approx(least)


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5, 6])
def test_the_widest_least_margin_is_that_of_all_orders(seed: int) -> None:
    scenario = made_outing(seed, 4)
    pet_zero, judge = scenario.settings.pet_zero_utc, judge_for(scenario, None, 0.0, MARGIN)
    plans = [rebuilt.plan for choice in every_order(scenario) if (rebuilt := judge.try_out(choice))]
    ranks = [judge.rank(plan) for plan in plans if judge.holds(plan)]
    if judge.current:
        ranks.append(judge.rank(judge.current))
    found = pk.find_plan(scenario, 5.0, 300, (pet_zero, pet_zero), goal=MARGIN)
    best = found.best.plan if found.best else found.current
    assert bool(ranks) == (best is not None)
    if best:
        assert not is_worse(judge.rank(best.timed), min(ranks)), pet_label(best.end_min)


def in_hand_min(scenario: pk.Scenario, plan: pk.Plan) -> float:
    """Slot minutes in hands, from the text of the rows and the times of the plan."""
    slots = {row["item"]: float(row["slots"] or 1) for row in scenario.hardware.to_dict("records")}
    where = {row["item"]: (row["at"], 0.0) for row in scenario.hardware.to_dict("records")}
    events = []
    for row in scenario.steps.to_dict("records"):
        at = plan.timed.position(row["step"])
        for text in row["takes"].split():
            who, item = text.split(":") if ":" in text else (row["crew"], text)
            events.append((float(plan.timed.starts[at]), item.split("<")[0], who))
        for text in row["leaves"].split():
            item = text.split(":")[-1]
            events.append((float(plan.timed.finishes[at]), item.split(">")[0],
                           item.split(">")[1] if ">" in item else row["place"]))
    total = 0.0
    for minute, item, to in [*sorted(events, key=lambda event: event[0]),
                             *((plan.end_min, item, "end") for item in slots)]:
        held, since = where[item]
        total += slots[item] * (minute - since) * (held in ("EV1", "EV2"))
        where[item] = (to, minute)
    return total


def test_carrying_is_what_the_rows_say() -> None:
    told = 0
    for seed in range(40):
        scenario = made_outing(seed)
        plan = pk.time_plan(scenario)
        if not plan.findings.query("check == 'custody' and severity == 'stop'").empty:
            continue
        told += 1
        assert 60 * carry_h(plan.timed) == pytest.approx(in_hand_min(scenario, plan)), seed
    assert told >= 10
