"""What the steps of a network may know of the time ahead: the minutes expected of them, and who has to look.

Almost every step is begun as soon as it can be, whatever the plan of the rest says, and a window of its own
is found from its expected minutes. Only a step with a bound that looks ahead (a greatest gap, a negative
least gap) and a step of a group have to ask the plan of the rest (`planning_kit.explore.odds.played`).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from graphlib import TopologicalSorter
from heapq import heappop, heappush

import numpy as np

from planning_kit.plan.network import MAX_GAP, Bound, Network, on_grid
from planning_kit.plan.timing import earliest_starts


@dataclass(frozen=True)
class Look:
    """The decision of one step: ``rows``, all that it depends on, and those of them decided ``later``.

    Both in the order of decision. What waits for the step itself to be over is not in ``later``.
    """

    step: int
    rows: tuple[int, ...]
    later: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Foresight:
    """A network and the minutes expected of each step (steps,): all that a decision may use."""

    network: Network
    expected: np.ndarray

    @cached_property
    def planned_place(self) -> Mapping[int, int]:
        """Where each step stands in the order of the starts of the plan on what is expected."""
        planned = earliest_starts(self.network, self.expected)
        in_order = sorted(self.network.sweep_order, key=planned.__getitem__)
        return {step: number for number, step in enumerate(in_order)}

    @cached_property
    def order(self) -> tuple[int, ...]:
        """The order of decision: who looks comes behind what it may look at, as far as that is possible."""
        before: dict[int, set[int]] = {row: set() for row in self.planned_place}
        looking = {row: {look for look in self.looking if row in self._behind[look]} for row in before}
        for row, waiting in self._waiting.items():
            for after in waiting:
                before[after].add(row)
        for look in self.looking:
            # Not behind one who looks later himself: two of them would wait for each other.
            before[look] |= {row for row in self._seen_from(look) - self._behind[look] - self.looking
                             if all(self.planned_place[by] < self.planned_place[look] for by in looking[row])}
        sorter, able, found = TopologicalSorter(before), list[tuple[int, int]](), list[int]()
        sorter.prepare()
        while sorter.is_active():
            for row in sorter.get_ready():
                heappush(able, (self.planned_place[row], row))
            found.append(heappop(able)[1])
            sorter.done(found[-1])
        return tuple(found)

    @cached_property
    def place(self) -> Mapping[int, int]:
        """Where in the order each step stands."""
        return {step: number for number, step in enumerate(self.order)}

    def least_min(self, bound: Bound) -> float:
        """What a bound adds to the start or finish that it counts from, as expected."""
        to_finish = float(self.expected[bound.after]) if bound.to_finish else 0.0
        return float(on_grid(bound.fixed_min + bound.travel_min)) - to_finish

    @cached_property
    def ahead(self) -> tuple[tuple[bool, ...], ...]:
        """For each step which of the bounds on it (``network.bounds_into``) look ahead.

        They ask for what may not be over yet when the step could begin.
        """
        planned = self.planned_place
        return tuple(tuple(bound.kind == MAX_GAP or self.least_min(bound) < 0
                           or planned[bound.before] >= planned[bound.after] for bound in bounds)
                     for bounds in self.network.bounds_into)

    @cached_property
    def looking(self) -> frozenset[int]:
        """The steps that must ask the plan of the rest."""
        grouped = {member for group in self.network.groups for member in group.members}
        return frozenset(step for step, ahead in enumerate(self.ahead)
                         if (any(ahead) or step in grouped) and step not in self.network.fixed)

    @cached_property
    def looks(self) -> Mapping[int, Look]:
        """What each of them depends on."""
        rows = {step: sorted(self._seen_from(step), key=self.place.__getitem__) for step in self.looking}
        return {step: Look(step, tuple(own), tuple(row for row in own if row not in self._behind[step]
                                                   and self.place[row] > self.place[step]))
                for step, own in rows.items()}

    def _seen_from(self, step: int) -> set[int]:
        return _reached(step, self._rests_on)

    @cached_property
    def _behind(self) -> Mapping[int, set[int]]:
        """For each of those who look, what cannot begin before it has."""
        return {step: _reached(step, self._waiting) for step in self.looking}

    @cached_property
    def _rests_on(self) -> Mapping[int, Iterable[int]]:
        """What the place of each step in a plan rests on."""
        groups = self.network.groups
        return {row: (*(bound.before for bound in bounds),
                      *(member for group in self.network.groups_of[row] for member in groups[group].members))
                for row, bounds in enumerate(self.network.bounds_into)}

    @cached_property
    def _waiting(self) -> Mapping[int, Iterable[int]]:
        """The steps that cannot begin before each step has."""
        found: dict[int, list[int]] = {row: [] for row in self._rests_on}
        for row, bounds in enumerate(self.network.bounds_into):
            for bound, is_ahead in zip(bounds, self.ahead[row], strict=True):
                if not is_ahead:
                    found[bound.before].append(row)
        return found


def _reached(begin: int, leads_to: Mapping[int, Iterable[int]]) -> set[int]:
    found, to_see = {begin}, [begin]
    while to_see:
        for row in leads_to[to_see.pop()]:
            if row not in found:
                found.add(row)
                to_see.append(row)
    return found
