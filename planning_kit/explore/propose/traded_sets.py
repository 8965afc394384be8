"""Who does which task: sets of traded tasks, drawn so that neither of the two has much more to do.

Small moves seldom lead from one set to another that differs in several tasks: with half of these traded the
outing is long, however good the order. So a search tries a whole set from time to time. How long one keeps
the crew is only estimated: work, and for each place the way to the nearest other one.
"""

import random
from collections.abc import Collection
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from planning_kit.explore.propose.order_problem import Problem
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import BOTH

_MOST_BITS, _HEAT = 10, 0.02
"""Of more tasks so many sets are drawn; how much longer than the least one is often, as a part of that."""


@dataclass(eq=False)
class TradedSets:
    """The sets of a problem whose ``dropped`` tasks are left out."""

    problem: Problem
    dropped: Collection[str] = ()

    @cached_property
    def tasks(self) -> list[str]:
        """What may be traded, n tasks."""
        return sorted(self.problem.work.swappable - set(self.dropped))

    @cached_property
    def _chosen(self) -> np.ndarray:
        """By set and task (k, n) whether it is traded."""
        count, draws = len(self.tasks), random.Random(1)
        numbers = range(1 << count) if count <= _MOST_BITS else sorted(
            {draws.getrandbits(count) for _ in range(1 << _MOST_BITS)})
        return np.array([[number >> bit & 1 for bit in range(count)] for number in numbers], dtype=bool)

    @cached_property
    def least_min(self) -> np.ndarray:
        """By set (k,) what the one with more to do is busy for, about."""
        crews, work = [who for who in PARTNER if who in self.problem.travels], self.problem.work
        places = sorted({work.records.settings.airlock_place, *(step.place for step in work.steps)} - {""})
        # By task, one more for what nobody trades, and whose it is as written; then the same by place.
        minutes = np.zeros((len(self.tasks) + 1, len(crews)))
        there = np.zeros((len(self.tasks) + 1, len(crews), len(places)), dtype=bool)
        there[-1, :, places.index(work.records.settings.airlock_place)] = True
        for step, length in zip(work.steps, work.minutes, strict=True):
            is_free = step.task in self.tasks and step.crew != BOTH
            row = self.tasks.index(step.task) if is_free else -1
            for number, who in enumerate(crews):
                if who in step.people and step.task not in self.dropped:
                    minutes[row, number] += length
                    there[row, number, places.index(step.place) if step.place else []] = True
        busy = list[np.ndarray]()
        for number, who in enumerate(crews):
            ways = np.array([[self.problem.travels[who].time_min(a, b) if a != b else np.inf for b in places]
                             for a in places])
            partner = len(crews) - 1 - number
            own = np.where(self._chosen, minutes[:-1, partner], minutes[:-1, number]).sum(axis=1)
            stops = there[-1, number] | np.where(
                self._chosen[:, :, None], there[:-1, partner], there[:-1, number]).any(axis=1)
            nearest = np.where(stops[:, None, :], ways, np.inf).min(axis=2)
            walk = np.where(stops & np.isfinite(nearest), nearest, 0.0).sum(axis=1)
            busy.append(own + minutes[-1, number] + walk)
        return np.asarray(np.max(busy, axis=0))

    @cached_property
    def _sets(self) -> list[frozenset[str]]:
        names = np.array(self.tasks, dtype=object)
        return [frozenset(names[row].tolist()) for row in self._chosen]

    def draw(self, draws: random.Random, but: Collection[frozenset[str]]) -> frozenset[str] | None:
        """A set that is none of ``but``, those of less work sooner; None where there is none."""
        left = [number for number, each in enumerate(self._sets) if each not in but]
        if not left:
            return None
        least = self.least_min[left]
        odds = np.exp((least.min() - least) / (_HEAT * max(least.min(), 1.0)))
        return self._sets[draws.choices(left, odds.tolist())[0]]
