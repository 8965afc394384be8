"""One scenario at many egress times at once: the sky computed once, all starts in one pass of the timing.

Time is counted from the first egress, so that windows stay where they are and the releases of each outing
move with its egress: one network, one column of starts an egress. Where an outing's own view of the sky
differs (nothing is known past its horizon; a window in progress at egress needs no guard at that end) the
column is not used, and that egress is timed by itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property

import numpy as np

from planning_kit.inputs.scenario import Scenario
from planning_kit.plan.almanac import Almanac, almanac_for
from planning_kit.plan.build import build_network, crew_travel
from planning_kit.plan.network import LIGHT, Network, on_grid
from planning_kit.plan.timing import earliest_starts


@dataclass(frozen=True)
class EgressRange:
    """A scenario and egress times ``offsets_min`` (k,), sorted, >= 0, minutes after ``first`` (UTC)."""

    scenario: Scenario
    first: datetime
    offsets_min: np.ndarray

    @cached_property
    def almanac(self) -> Almanac:
        """The sky from the first egress to the horizon of the last. Raises `ScenarioError`."""
        settings = self.scenario.settings
        hours = settings.horizon_h + float(self.offsets_min.max(initial=0.0)) / 60.0
        records = replace(self.scenario.records, settings=replace(settings, horizon_h=hours))
        return almanac_for(records, self.scenario.elements, self.first)

    @cached_property
    def network(self) -> Network:
        """The timing problem in minutes after the first egress, without releases."""
        records = self.scenario.records
        return build_network(records, self.almanac, crew_travel(records))

    def egress(self, row: int) -> datetime:
        """The egress of one row."""
        return self.first + timedelta(minutes=float(self.offsets_min[row]))

    def almanac_of(self, row: int) -> Almanac:
        """The sky as one outing sees it."""
        return self.almanac.seen_from(float(self.offsets_min[row]), self.scenario.settings.horizon_h * 60.0)

    def starts(self, durations: np.ndarray) -> np.ndarray:
        """Starts in PET minutes (steps, k); NaN columns for those to be timed by themselves."""
        network, offsets = self.network, on_grid(self.offsets_min)
        floor = np.full((len(network.steps), len(offsets)), -np.inf)
        for release in network.releases:
            np.maximum(floor[release.step], offsets + release.at_min, out=floor[release.step])
        moving = replace(network, releases=())
        starts: np.ndarray = earliest_starts(moving, durations, not_before=floor) - offsets
        starts[:, ~self._is_plain(starts, on_grid(durations)[:, None])] = np.nan
        return starts

    def _is_plain(self, starts: np.ndarray, lengths: np.ndarray) -> np.ndarray:
        """For each column, whether its own view of the sky gives the same starts."""
        horizon = self.scenario.settings.horizon_h * 60.0
        needs_end = np.array([windows is not None for windows in self.network.allowed])[:, None]
        last = np.where(needs_end, starts + lengths, starts)
        known: np.ndarray = np.isfinite(starts).all(axis=0) & (last <= horizon).all(axis=0)
        guard = self.scenario.settings.night_guard_s / 60.0
        return known & ~self._is_in_a_guard(guard) if self._first_lit_min(lengths[:, 0]) <= guard else known

    def _first_lit_min(self, lengths: np.ndarray) -> float:
        """The earliest PET at which a step that needs light could start if it were always light."""
        network = self.network
        always = replace(network, allowed=(None,) * len(network.steps), groups=(), group_windows=())
        lit = [any(demand.kind == LIGHT for demand in demands) for demands in network.demands]
        return float(earliest_starts(always, lengths)[lit].min(initial=np.inf))

    def _is_in_a_guard(self, guard: float) -> np.ndarray:
        """For each egress, whether it falls into the guard at the start of a night or day that is needed."""
        inside = np.zeros(len(self.offsets_min), dtype=bool)
        for begin in self._light_begins():
            inside |= (self.offsets_min >= begin - 1e-6) & (self.offsets_min <= begin + guard + 1e-6)
        return inside

    def _light_begins(self) -> Iterator[float]:
        begins = {float(begin) for demands in self.network.demands for demand in demands
                  if demand.kind == LIGHT for begin in demand.whole[:, 0]}
        yield from sorted(begins)
