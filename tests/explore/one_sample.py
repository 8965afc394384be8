"""One sample of an outing, event by event, in plain Python: an independent judge of the samples in play.

Written from the rules: at each event the crew plans the rest by expected minutes, naively, rule by rule, until
nothing moves; whoever can begin and is due now begins. What can begin: all that it waits for is over and all
ways are walked, as drawn.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from planning_kit.plan.network import MAX_GAP, Bound, Network, on_grid


def played_alone(network: Network, expected: np.ndarray, drawn: np.ndarray,
                 factors: Mapping[str, float] | None = None) -> list[float]:
    """Start of each step; one that no window is left for is begun as soon as that is seen."""
    sample = _Sample(network, [float(each) for each in on_grid(expected)],
                     [float(each) for each in on_grid(drawn)], dict(factors or {}))
    return sample.played()


class _Sample:
    def __init__(self, network: Network, expected: list[float], drawn: list[float],
                 factors: dict[str, float]) -> None:
        self.network, self.expected, self.drawn, self.factors = network, expected, drawn, factors
        self.starts: dict[int, float] = {}

    def played(self) -> list[float]:
        count, now = len(self.expected), 0.0
        for _ in range(20_000):
            waiting = [i for i in range(count) if i not in self.starts]
            able = [i for i in waiting if self.can_begin(i, now)]
            if not able and not self.events(now):
                break
            due, without = self.plan(now, True), None
            for i in able:
                if due[i] == np.inf:
                    without = without or self.plan(now, False)
                    due[i] = without[i] if without[i] < np.inf else now
            begins = [i for i in able if due[i] <= now]
            self.starts.update(dict.fromkeys(begins, now))
            if begins:
                continue  # others may begin with them
            later = self.events(now) + [due[i] for i in able if i not in begins and due[i] < np.inf]
            if not later:
                break
            now = min(later)
        return [self.starts.get(i, np.inf) for i in range(count)]

    def over(self, i: int) -> float:
        return self.starts[i] + self.drawn[i]

    def events(self, now: float) -> list[float]:
        """When something will be over or arrives."""
        times = [self.over(i) for i in self.starts]
        times += [self.arrival(bound) for bound in self.network.bounds if bound.before in self.starts]
        times += [self.released(release) for release in self.network.releases]
        return [each for each in times if each > now]

    def arrival(self, bound: Bound) -> float:
        since = self.over(bound.before) if bound.from_finish else self.starts[bound.before]
        way = float(on_grid(bound.fixed_min + bound.travel_min * self.factors.get(bound.crew, 1.0)))
        return since + way - (self.expected[bound.after] if bound.to_finish else 0.0)

    def released(self, release) -> float:  # type: ignore[no-untyped-def]
        factor = self.factors.get(release.crew, 1.0)
        return float(on_grid(release.at_min + (factor - 1.0) * release.travel_min))

    def least(self, bound: Bound) -> float:
        return float(on_grid(bound.fixed_min + bound.travel_min)) - (
            self.expected[bound.after] if bound.to_finish else 0.0)

    def can_begin(self, i: int, now: float) -> bool:
        """Bounds that ask for what is still to come are left to the plan of the rest."""
        for bound in self.network.bounds_into[i]:
            if bound.kind == MAX_GAP or self.least(bound) < 0:
                continue
            if bound.before not in self.starts or self.arrival(bound) > now:
                return False
        return all(self.released(release) <= now for release in self.network.releases_of[i])

    def plan(self, now: float, with_gaps: bool) -> list[float]:
        count = len(self.expected)
        begun = {i for i, start in self.starts.items() if start < now or self.over(i) <= now}
        start = [self.starts[i] if i in begun else now for i in range(count)]

        def finish(i: int) -> float:
            if i not in begun:
                return start[i] + self.expected[i]
            return self.over(i) if self.over(i) <= now else max(start[i] + self.expected[i], now)

        for _ in range(3_000):
            before = list(start)
            for i in (each for each in range(count) if each not in begun):
                for release in self.network.releases_of[i]:
                    if self.released(release) > now:
                        start[i] = max(start[i], float(on_grid(release.at_min)))
                for bound in self.network.bounds_into[i]:
                    if bound.kind == MAX_GAP and not with_gaps:
                        continue
                    has_come = (bound.travel_min and bound.before in begun
                                and (not bound.from_finish or self.over(bound.before) <= now)
                                and self.arrival(bound) <= now)
                    if not has_come:
                        since = finish(bound.before) if bound.from_finish else start[bound.before]
                        start[i] = max(start[i], since + self.least(bound))
                windows = self.network.allowed[i]
                if windows is not None:
                    start[i] = next((max(start[i], low) for low, high in windows.tolist()
                                     if max(start[i], low) + self.expected[i] <= high), np.inf)
            for group, windows in zip(self.network.groups, self.network.group_windows, strict=True):
                rest = [i for i in group.members if i not in begun]
                last = max((finish(i) for i in rest), default=-np.inf)
                floor = next((low for low, high in windows.tolist() if last <= high), np.inf)
                for i in rest:
                    start[i] = max(start[i], floor)
            if start == before:
                return start
        moving = [a != b for a, b in zip(start, before, strict=True)]
        return [np.inf if each else at for each, at in zip(moving, start, strict=True)]


