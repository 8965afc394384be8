"""Better orders of the rest: against all orders there are, and what must hold for every one."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from tests.explore.propose.loose import loose, stops
from tests.explore.retime.rehearsal import rehearsed
from tests.explore.retime.test_log import log_of


@pytest.fixture(scope="module")
def begun(small: pk.Scenario) -> pk.Plan:
    """Eight free steps, to and fro; EV1 has done B1, EV2 is on C1, seven are left."""
    plan = pk.time_plan(loose(small))
    return plan.retime(log_of("A1 started 0:00", "A1 finished 0:12", "B1 started 0:14", "B1 finished 0:18",
                              "C1 started 0:14"), 18)


@pytest.fixture(scope="module")
def options(begun: pk.Plan) -> pd.DataFrame:
    return begun.options(reorder="normal", seconds=60)


def of_kind(options: pd.DataFrame, kind: str) -> pd.DataFrame:
    return options[options["kind"] == kind]


def test_no_order_of_the_rest_ends_earlier(begun: pk.Plan, options: pd.DataFrame) -> None:
    # EV1 has B4, B2, B3 left and EV2 C4, C2, C3: 36 orders, each decided and re-timed, all of them there are.
    rest = [step for step in begun.timed.network.steps if step in {"B4", "B2", "B3", "C4", "C2", "C3"}]
    known, ends = stops(begun), []
    for first, second in product(permutations([s for s in rest if s[0] == "B"]),
                                 permutations([s for s in rest if s[0] == "C"])):
        try:
            other = begun.decide(order=[*first, *second])
        except pk.ScenarioError:
            continue
        if len(other.timed.steps) == len(begun.timed.steps) and not stops(other) - known:
            ends.append(other.end_min)
    found = of_kind(options, "reorder")
    assert len(ends) > 4
    assert len(found) == 1
    assert found["end_min"].iloc[0] == pytest.approx(min(ends))
    assert min(ends) < begun.end_min


def test_a_reordering_is_a_decision_that_leaves_the_past_alone(begun: pk.Plan, options: pd.DataFrame) -> None:
    row = of_kind(options, "reorder").iloc[0]
    plan = begun.decide(**row["decide"])
    assert plan.end_min == row["end_min"]
    assert set(plan.timed.network.steps) == set(begun.timed.network.steps)
    now, then = begun.timed, plan.timed
    for step in now.network.steps:
        one, other = now.position(step), then.position(step)
        if one in now.network.fixed:
            assert (then.starts[other], then.durations[other]) == (now.starts[one], now.durations[one])
        else:
            assert then.starts[other] >= 18.0
    assert row["option"].startswith("Reorder: ")
    assert all(words for words in row["moves"])
    assert row["open_until_min"] >= 18.0


def test_options_without_a_search_have_no_reordering(begun: pk.Plan) -> None:
    table = begun.options()
    assert "reorder" not in set(table["kind"])
    assert all(moves == [] for moves in table["moves"])


@pytest.mark.parametrize(("effort", "seconds"), [("eager", 5), (0, 5), ("quick", 0), (True, 5)])
def test_an_effort_that_there_is_not_is_refused(begun: pk.Plan, effort: object, seconds: float) -> None:
    with pytest.raises(pk.ScenarioError, match="reorder"):
        begun.options(reorder=effort, seconds=seconds)  # type: ignore[arg-type]


def test_a_search_can_be_cancelled(begun: pk.Plan) -> None:
    table = begun.options(reorder="thorough", seconds=600, cancel=lambda: True)
    assert "carry on" in set(table["kind"])
    last = table.iloc[-1]
    assert (last["kind"], last["decide"], last["gain_min"]) == ("reorder", {}, 0.0)
    assert last["option"] == "No better order found (cancelled: not repeatable)"


def test_the_best_order_is_proven_and_where_there_is_none_it_is_said(begun: pk.Plan,
                                                                    options: pd.DataFrame) -> None:
    row = of_kind(options, "reorder").iloc[0]
    assert row["option"].endswith(" (proven best)")
    best = begun.decide(**row["decide"])
    again = best.options(reorder="normal", seconds=60)
    assert again["option"].iloc[-1] == "No better order found"


def test_so_many_rows_as_asked(begun: pk.Plan) -> None:
    assert len(begun.options(most=1)) == 1
    with pytest.raises(pk.ScenarioError, match="1 or more"):
        begun.options(most=0)


def test_the_demo_keeps_the_planned_limit_without_dropping_anything(demo_plan: pk.Plan) -> None:
    log = rehearsed(demo_plan, 0, 230.0, slower=1.4)
    late = demo_plan.retime(log, 242.0)
    table = late.options(most=40, reorder="quick", seconds=60)
    found = of_kind(table, "reorder")
    assert len(found) >= 1
    assert (found["new_stops"] == 0).all()
    assert (found["gain_min"] > 0).all()
    best = late.decide(**found.iloc[0]["decide"])
    assert np.isfinite(best.timed.starts).all()


def test_who_is_underway_to_another_place_comes_from_there(small_plan: pk.Plan) -> None:
    # A1 ends at 0:10; EV1 goes HAT to MID, 6 m, then waits there by the plan for B1's call. At 0:14 EV1 has
    # long arrived (6 m at EV1's pace): sent to MST instead, 12 m are left, and nothing is won by having been
    # free at 0:10.
    now = small_plan.retime(log_of("A1 started 0:00", "A1 finished 0:10"), 14)
    pace = next(crew.metres_per_min for crew in now.scenario.records.crew if crew.crew == "EV1")
    turned = now.decide(order=["B2", "B1"])
    assert turned.timed.starts[turned.timed.position("B2")] == pytest.approx(14 + 12 / pace)
    assert "was bound for something else" in turned.explain("B2")


def test_underway_on_a_route_the_nearer_end_counts(small_plan: pk.Plan) -> None:
    # EV2 leaves HAT at 0:10 for MID (6 m). Half a minute later the way to POR is back to HAT, half a minute,
    # and 10 m from there, or on to MID and 16 m from there: back is the shorter.
    now = small_plan.retime(log_of("A1 started 0:00", "A1 finished 0:10"), 10.5)
    pace = next(crew.metres_per_min for crew in now.scenario.records.crew if crew.crew == "EV2")
    assert 6 / pace > 0.5
    turned = now.decide(order=["C2", "C1"])
    assert turned.timed.starts[turned.timed.position("C2")] == pytest.approx(10.5 + 0.5 + 10 / pace)
    assert now.decide(order=["C1", "C2"]).end_min == now.end_min
