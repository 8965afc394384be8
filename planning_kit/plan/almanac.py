"""Light, links and named periods of one outing, in minutes of PET over the scenario's horizon."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property, lru_cache

import numpy as np

from planning_kit.inputs.omm import Elements
from planning_kit.inputs.records import NamedWindow, Records, Relays
from planning_kit.inputs.times import pet_min
from planning_kit.plan.network import GRID_MIN
from planning_kit.sky.light import Light, light_between, links_between
from planning_kit.sky.orbit import Orbit
from planning_kit.sky.windows import clip, no_windows, union


@dataclass(frozen=True)
class Almanac:
    """What the sky and others give: windows as arrays (n, 2) of PET minutes, clipped to [0, horizon].

    ``links`` by relay, ``named`` by the name of the period.
    """

    horizon_min: float
    light: Light
    links: Mapping[str, np.ndarray]
    named: Mapping[str, np.ndarray]

    @cached_property
    def any_link(self) -> np.ndarray:
        """When at least one relay is in view."""
        joined = no_windows()
        for windows in self.links.values():
            joined = union(joined, windows)
        return joined

    def seen_from(self, minute: float, horizon_min: float) -> Almanac:
        """The same sky for an outing that begins at ``minute`` of this one, as far as ``horizon_min``."""

        def seen(windows: np.ndarray) -> np.ndarray:
            return clip(windows - minute, 0.0, horizon_min)

        light = Light(seen(self.light.night), seen(self.light.penumbra), seen(self.light.day))
        return Almanac(horizon_min, light, {name: seen(windows) for name, windows in self.links.items()},
                       {name: seen(windows) for name, windows in self.named.items()})


def almanac_for(records: Records, elements: Elements, egress: datetime) -> Almanac:
    """The almanac of an outing that begins at ``egress`` (UTC)."""
    horizon_min = records.settings.horizon_h * 60.0
    light, links = _sky_windows(elements, records.settings.relays, egress, horizon_min)
    return Almanac(horizon_min, light, links, _named_windows(records.windows, egress, horizon_min))


@lru_cache(maxsize=64)
def _sky_windows(elements: Elements, relays: Relays | None, egress: datetime,
                 horizon_min: float) -> tuple[Light, dict[str, np.ndarray]]:
    orbit = Orbit.from_elements(elements)
    stop = egress + timedelta(minutes=horizon_min)
    links = {} if relays is None else links_between(orbit, relays, egress, stop)
    return light_between(orbit, egress, stop), links


def _named_windows(rows: tuple[NamedWindow, ...], egress: datetime,
                   horizon_min: float) -> dict[str, np.ndarray]:
    named: dict[str, np.ndarray] = {}
    for row in rows:
        window = np.array([[pet_min(row.start, egress), pet_min(row.end, egress)]])
        named[row.window] = union(named.get(row.window, no_windows()), window)
    for windows in named.values():  # an end on the horizon itself is told from one that the horizon cuts
        windows[windows[:, 1] == horizon_min, 1] -= GRID_MIN
    return {name: clip(windows, 0.0, horizon_min) for name, windows in named.items()}
