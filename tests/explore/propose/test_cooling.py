"""The odds with which the local search takes a worse order, as it cools, against the published ones.

Kirkpatrick, Gelatt, Vecchi 1983, "Optimization by simulated annealing", Science 220, 671-680: a change that
costs d more is taken with the odds exp(-d / T) (the rule of Metropolis et al. 1953), and T falls by a
constant factor a step. Both from memory.
"""

from __future__ import annotations

import random
from math import exp, sqrt

import pytest

from planning_kit.explore.propose import climb_kernel, local_search

PASSES, PARTS, BEST_END = 3_000, 6, 250.0


@pytest.mark.parametrize("worse", [0.002, 0.01, 0.03])
def test_a_worse_order_is_taken_with_the_published_odds(worse: float) -> None:
    hot, cold, draws = local_search._HOT, climb_kernel.COLD, random.Random(7)
    still_taken = climb_kernel.still_taken.py_func  # what is compiled, as it is written
    taken = [400.0 + worse * BEST_END <= still_taken(400.0, BEST_END, hot, number / PASSES, draws.random())
             for number in range(PASSES)]
    odds = [exp(-worse / (hot * (cold / hot) ** (number / PASSES))) for number in range(PASSES)]
    for part in range(PARTS):
        own = slice(part * PASSES // PARTS, (part + 1) * PASSES // PARTS)
        error = sqrt(sum(each * (1 - each) for each in odds[own]))
        assert abs(sum(taken[own]) - sum(odds[own])) < 4 * error + 1
