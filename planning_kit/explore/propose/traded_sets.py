"""Who does which task: sets of traded tasks, drawn so that neither of the two has much more to do.

Small moves seldom lead from one set to another that differs in several tasks: with half of them traded the
outing is long, however good the orders. So a search begins anew with a whole set from time to time.
"""

import random
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from planning_kit.explore.propose.order_problem import Problem
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import BOTH

_MOST_BITS, _HEAT = 10, 0.02


@dataclass(eq=False)
class TradedSets:
    """The sets of a problem, without the tasks that are ``dropped``."""

    problem: Problem
    dropped: Collection[str]

    def __post_init__(self) -> None:
        work, airlock = self.problem.work, self.problem.work.records.settings.airlock_place
        self.tasks = sorted(work.swappable - set(self.dropped))
        crews = [who for who in PARTNER if who in self.problem.travels]
        places = sorted({airlock, *(step.place for step in work.steps if step.place)})
        count, spots = len(self.tasks), {place: number for number, place in enumerate(places)}
        # Of what may be traded as written; of the rest for all sets.
        minutes, fixed = np.zeros((count, 2)), np.zeros(2)
        there = np.zeros((count, 2, len(places)), dtype=bool)
        always = np.zeros((2, len(places)), dtype=bool)
        always[:, spots[airlock]] = True
        for i, step in enumerate(work.steps):
            if step.task in self.dropped:
                continue
            for number, who in enumerate(crews):
                if who in step.people:
                    is_free = step.task in self.tasks and step.crew != BOTH
                    of = (self.tasks.index(step.task), number) if is_free else None
                    spot = spots.get(step.place)
                    if of:
                        minutes[of] += work.minutes[i]
                        there[of][spot] |= spot is not None
                    else:
                        fixed[number] += work.minutes[i]
                        always[number][spot] |= spot is not None
        draws = random.Random(count)
        numbers = range(1 << count) if count <= _MOST_BITS else sorted(
            {draws.getrandbits(count) for _ in range(1 << _MOST_BITS)})
        self._sets = np.array([[number >> bit & 1 for bit in range(count)] for number in numbers], dtype=bool)
        self._least = np.zeros(len(self._sets))
        for number, who in enumerate(crews):
            travel = self.problem.travels[who]
            way = np.array([[travel.time_min(a, b) if a != b else np.inf for b in places] for a in places])
            mine = np.where(self._sets, minutes[:, 1 - number], minutes[:, number]).sum(axis=1) + fixed[number]
            spots_of = np.where(self._sets[:, :, None], there[:, 1 - number], there[:, number]).any(axis=1) | always[number]
            nearest = np.where(spots_of[:, None, :], way, np.inf).min(axis=2)
            walk = np.where(spots_of & np.isfinite(nearest), nearest, 0.0).sum(axis=1)
            self._least = np.maximum(self._least, mine + walk)

    def draw(self, draws: random.Random, but: Collection[frozenset[str]]) -> frozenset[str] | None:
        """A set that is none of ``but``, those of little work sooner; None where there is none."""
        sets = [frozenset(task for task, is_it in zip(self.tasks, row, strict=True) if is_it) for row in self._sets]
        left = [number for number, each in enumerate(sets) if each not in but]
        if not left:
            return None
        least = self._least[left]
        weights = np.exp(-(least - least.min()) / (_HEAT * least.min()))
        return sets[draws.choices(left, weights.tolist())[0]]
