"""The odds with which the local search takes a worse order, as it cools, against the published ones.

Kirkpatrick, Gelatt, Vecchi 1983, "Optimization by simulated annealing", Science 220, 671-680: a change that
costs d more is taken with the odds exp(-d / T) (the rule of Metropolis et al. 1953), and T falls by a
constant factor a step. Both from memory.
"""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import pairwise
from math import exp, sqrt

import pytest

import planning_kit as pk
from planning_kit.explore.propose import local_search
from planning_kit.explore.propose.choices import as_written
from planning_kit.explore.propose.local_search import LocalSearch, Neighbours
from planning_kit.explore.propose.order_screen import Timed
from planning_kit.explore.propose.solving import Budget
from tests.explore.propose.test_order_screen import problem_of

PASSES, PARTS = 3_000, 6


@pytest.mark.parametrize("worse", [0.002, 0.01, 0.03])
def test_a_worse_order_is_taken_with_the_published_odds(
        small: pk.Scenario, monkeypatch: pytest.MonkeyPatch, worse: float) -> None:
    around = Neighbours(problem_of(small))
    start = around.of(as_written(small.records, small.settings.pet_zero_utc))
    assert start is not None
    seen: list[Timed] = []

    def always_worse(around: object, moves: object, here: Timed, draws: object) -> Timed:
        seen.append(here)
        return replace(here, guide=here.guide + worse * start.cost[0], cost=(start.cost[0] + 1.0, 0.0))

    monkeypatch.setattr(local_search, "_drawn", always_worse)
    monkeypatch.setattr(local_search, "_RECREATED_SHARE", 0.0)
    monkeypatch.setattr(Neighbours, "broken", lambda *_: None)
    search = LocalSearch(around, lambda _: [], Budget(1.0, 60.0))
    search._left = PASSES
    search._climb(start, start, local_search._HOT, PASSES, random.Random(7))
    taken = [then is not now for now, then in pairwise(seen)]
    assert len(taken) == PASSES - 1
    hot, cold = local_search._HOT, local_search._COLD
    odds = [exp(-worse / (hot * (cold / hot) ** (number / PASSES))) for number in range(len(taken))]
    for part in range(PARTS):
        own = slice(part * PASSES // PARTS, (part + 1) * PASSES // PARTS)
        error = sqrt(sum(each * (1 - each) for each in odds[own]))
        assert abs(sum(taken[own]) - sum(odds[own])) < 4 * error + 1
