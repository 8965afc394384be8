"""Travel and time windows: published makespans through `propose`, from a scenario to its plan."""

from __future__ import annotations

import math

import pytest

import planning_kit as pk
from tests.explore.propose.salesman import Salesman, order_of, salesmen

SALESMEN = salesmen()


@pytest.mark.parametrize("one", SALESMEN.values(), ids=SALESMEN)
def test_each_published_order_reaches_the_makespan_published_with_it(one: Salesman) -> None:
    """Tells some numbers mistyped here, not all: a wait hides what comes before it."""
    assert one.back(one.order) == pytest.approx(one.makespan, abs=0.0051)


@pytest.mark.parametrize("name", ["rc_203.1", "rc_201.1", "rc_204.3", "rc_204.1"])
def test_an_outing_ends_within_a_hundredth_of_the_best_known_makespan(name: str) -> None:
    one = SALESMEN[name]
    scenario = one.outing()
    assert one.back(order_of(scenario)) == math.inf  # the rows, as in the file, are no solution
    best = pk.time_plan(scenario).propose(effort=1.0, seconds=300, progress=None).best
    assert best is not None
    assert not len(best.plan.findings.query("severity == 'stop'"))
    assert best.end_min == pytest.approx(one.back(order_of(best.scenario)), abs=0.1)
    assert one.makespan - 0.1 < best.end_min <= 1.01 * one.makespan
