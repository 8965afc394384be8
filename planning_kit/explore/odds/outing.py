"""What every sample of an outing shares: records, sky, routes, and the network without some tasks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from planning_kit.changes.dropping import without_tasks
from planning_kit.explore.odds.past import Begun, begun_of, with_estimates
from planning_kit.explore.odds.sampling import Draws
from planning_kit.inputs.records import Records
from planning_kit.plan.almanac import Almanac
from planning_kit.plan.build import build_network
from planning_kit.plan.network import ORDER, Home, Network, on_grid
from planning_kit.plan.routes import Travel
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import earliest_starts, outing_end


@dataclass(frozen=True, eq=False)
class Outing:
    """A scenario and its egress, ready to be timed over and over. Equal keys are equal outings.

    Small and without open resources, so that it can be sent to another process.
    """

    key: tuple[str, ...]
    records: Records
    almanac: Almanac
    travels: Mapping[str, Travel]
    begun: Begun | None = None

    @classmethod
    def of(cls, plan: TimedPlan, learns_pace: bool = False) -> Outing:
        """The outing of a timed plan; of a re-timed one what is left of it."""
        begun = begun_of(plan, learns_pace)
        key = (plan.scenario.digest, plan.egress.isoformat(), begun.key if begun else "")
        return cls(key, with_estimates(plan), plan.almanac, plan.travels, begun)

    def __eq__(self, other: object) -> bool:
        return self.key == other.key if isinstance(other, Outing) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.key)

    @property
    def crew(self) -> tuple[str, ...]:
        """The suited crew members, in the order of the table."""
        return tuple(self.travels)

    @property
    def whole(self) -> Part:
        """All of it, nothing dropped."""
        return part_without(self, frozenset())

    @cached_property
    def steps_of(self) -> Mapping[str, np.ndarray]:
        """Positions of the steps of each task that has any."""
        positions: dict[str, list[int]] = {}
        for position, step in enumerate(self.records.steps):
            if step.task:
                positions.setdefault(step.task, []).append(position)
        return {task.task: np.array(positions[task.task]) for task in self.records.tasks
                if task.task in positions}

    def has_begun(self, task: str) -> bool:
        """Whether a step of the task is history."""
        return self.begun is not None and any(
            self.records.steps[position].step in self.begun.starts for position in self.steps_of[task])

    def home_min(self, position: int) -> Mapping[str, float]:
        """Minutes from the place of a step straight to the airlock, by crew member at work there."""
        step, airlock = self.records.steps[position], self.records.settings.airlock
        return {name: self.travels[name].time_min(step.place, airlock) for name in step.people
                if name in self.travels}


@dataclass(frozen=True, eq=False)
class Part:
    """What is left of an outing without some tasks: its network and the positions of the steps ``kept``.

    ``begun``: what of it has happened, if any.
    """

    network: Network
    kept: np.ndarray
    begun: Begun | None = None

    def timed(self, draws: Draws, not_before: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
        """Starts (kept steps, samples) and outing end (samples,) in PET minutes; inf where not placed."""
        starts = earliest_starts(self.network, draws.durations, not_before, draws.travel)
        end = outing_end(self.network, starts, draws.durations, draws.travel)
        if self.begun is not None:
            end = np.maximum(end, grid(self.begun.now_min))
        return starts, np.where(np.isfinite(starts).all(axis=0), end, np.inf)

    def waits(self, draws: Draws, end: np.ndarray) -> np.ndarray:
        """Minutes (crew, samples) neither at work nor on the way until both ingress."""
        rows = []
        for home in self.network.homes:
            fixed, travel, busy = self._on_the_way(home.crew)
            way = fixed + (travel + home.travel_min) * draws.travel[home.crew]
            rows.append(end - self.network.ingress_min - draws.durations[busy].sum(axis=0) - way
                        - self._past_min(home, draws))
        return np.array(rows)

    def _past_min(self, home: Home, draws: Draws) -> np.ndarray | float:
        """Minutes from egress to the finish of what someone has begun last, but for the waits in them."""
        if self.begun is None:
            return 0.0
        network = self.network
        into = [bound.before for bound in network.bounds if bound.kind == ORDER and bound.crew == home.crew
                and bound.before in network.fixed] or [home.last]
        if into[0] not in network.fixed:
            return 0.0
        start = self.begun.starts[network.steps[into[0]]]
        return start + draws.durations[into[0]] - self.begun.waited_min[home.crew]

    def _on_the_way(self, crew: str) -> tuple[float, float, list[int]]:
        """Minutes of travel that do not scale and that do, before the way home, and the steps worked on."""
        network = self.network
        into = [bound for bound in network.bounds if bound.kind == ORDER and bound.crew == crew]
        first = [release for release in network.releases if release.crew == crew]
        fixed = sum(bound.fixed_min for bound in into) + sum(r.at_min - r.travel_min for r in first)
        travel = sum(bound.travel_min for bound in into) + sum(r.travel_min for r in first)
        return fixed, travel, [r.step for r in first] + [bound.after for bound in into]


@lru_cache(maxsize=1024)
def part_without(outing: Outing, dropped: frozenset[str]) -> Part:
    """The outing without some tasks; kept, because many samples drop the same ones."""
    left = without_tasks(outing.records, dropped)
    kept = [position for position, step in enumerate(outing.records.steps) if step.task not in dropped]
    network = build_network(left, outing.almanac, outing.travels)
    if outing.begun is not None:
        network = outing.begun.applied_to(network, left.steps, outing.travels, left.settings.airlock)
    return Part(network, np.array(kept, dtype=int), outing.begun)


def grid(minutes: float) -> float:
    """Minutes on the grid of the timing, for comparison with starts."""
    return float(on_grid(minutes))
