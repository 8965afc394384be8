"""A scenario with times: starts, slack, what holds every step and the windows that are used; no more.

They are timed in the light, links and named periods of the outing (its almanac), in minutes of PET over the
scenario's horizon.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cached_property, lru_cache, reduce

import numpy as np
import pandas as pd

from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults, ScenarioError, is_number
from planning_kit.inputs.oem import OrbitData
from planning_kit.inputs.records import ItemMove, Records, Step
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.setting_records import Relays
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import pet_label
from planning_kit.plan.network import GRID_MIN, WINDOW, Demand, Network
from planning_kit.plan.slack import Holders, Slack, delay_curve, find_holders, slacks
from planning_kit.plan.timing import outing_end
from planning_kit.plan.travel import Travel
from planning_kit.sky.light import Light, light_between, links_between
from planning_kit.sky.orbit import Orbit
from planning_kit.sky.windows import clip, no_windows, union

_MOST_DELAYS = 20_000


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
        return reduce(union, self.links.values(), no_windows())

    def seen_from(self, minute: float, horizon_min: float) -> Almanac:
        """The same sky for an outing that begins at ``minute`` of this one, as far as ``horizon_min``."""

        def seen(windows: np.ndarray) -> np.ndarray:
            return clip(windows - minute, 0.0, horizon_min)

        light = Light(seen(self.light.night), seen(self.light.penumbra), seen(self.light.day))
        return Almanac(horizon_min, light, {name: seen(windows) for name, windows in self.links.items()},
                       {name: seen(windows) for name, windows in self.named.items()})


def almanac_for(records: Records, elements: OrbitData, pet_zero: datetime, later_min: float = 0.0) -> Almanac:
    """The almanac of an outing with this PET 0 (UTC); what moves with it ends ``later_min`` later."""
    horizon_min = records.settings.horizon_h * 60.0
    light, links = _sky_windows(elements, records.settings.relays, pet_zero, horizon_min)
    named: dict[str, np.ndarray] = {}
    for row in records.windows:
        begin, end = row.span_min(pet_zero)
        window = np.array([[begin, end + later_min * row.is_pet]])
        named[row.window] = union(named.get(row.window, no_windows()), window)
    for windows in named.values():  # an end on the horizon itself is told from one that the horizon cuts
        windows[windows[:, 1] == horizon_min, 1] -= GRID_MIN
    return Almanac(horizon_min, light, links,
                   {name: clip(windows, 0.0, horizon_min) for name, windows in named.items()})


@lru_cache(maxsize=64)
def _sky_windows(elements: OrbitData, relays: Relays | None, pet_zero: datetime,
                 horizon_min: float) -> tuple[Light, dict[str, np.ndarray]]:
    orbit = Orbit(elements)
    stop = pet_zero + timedelta(minutes=horizon_min)
    links = {} if relays is None else links_between(orbit, relays, pet_zero, stop)
    return light_between(orbit, pet_zero, stop), links


@dataclass(frozen=True)
class HardLimit:
    """The hard limit of one plan: PET minutes, and why just there, in words ("": a number as typed)."""

    minutes: float
    why: str = ""

    @property
    def bracketed(self) -> str:
        """The why in brackets, after a blank; "" for none."""
        return f" ({self.why})" if self.why else ""

    @property
    def label(self) -> str:
        """PET, rounded down, with the why behind it: ``6:12 (EV2 CO2 capacity reaches its reserve)``."""
        return pet_label(self.minutes, "down") + self.bracketed


@dataclass(frozen=True, eq=False, repr=False)
class Times(ABC):
    """The times of a scenario whose PET 0 is ``pet_zero`` (UTC): what a tracker is given. It is no plan.

    ``starts`` and ``durations`` are float arrays (steps,) in minutes of PET, in the row order of
    ``scenario.steps``; everything else is derived from them when first asked for.
    """

    scenario: Scenario
    pet_zero: datetime
    almanac: Almanac
    travels: Mapping[str, Travel]
    network: Network
    durations: np.ndarray
    starts: np.ndarray

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps, in row order."""
        return self.scenario.records.steps

    @property
    def light(self) -> Light:
        """Night, penumbra and day in PET minutes, clipped to the horizon."""
        return self.almanac.light

    @property
    def relays(self) -> Mapping[str, np.ndarray]:
        """When each relay is in view, PET minutes (n, 2)."""
        return self.almanac.links

    @property
    def named_windows(self) -> Mapping[str, np.ndarray]:
        """Periods from others by name, PET minutes (n, 2)."""
        return self.almanac.named

    @property
    def horizon_min(self) -> float:
        """How far windows are known, PET minutes."""
        return self.almanac.horizon_min

    @cached_property
    def finishes(self) -> np.ndarray:
        """Finish of every step, PET minutes (steps,)."""
        return np.asarray(self.starts + self.durations)

    @cached_property
    def end_min(self) -> float:
        """End of the outing as ``[airlock] ends`` says: both inside, PET minutes."""
        return float(outing_end(self.network, self.starts, self.durations))

    @property
    @abstractmethod
    def hard_limit(self) -> HardLimit:
        """The latest end allowed, with its why: the plan knows, as it may follow from what its suits have."""

    @property
    def hard_min(self) -> float:
        """The hard limit of this plan, PET minutes."""
        return self.hard_limit.minutes

    @property
    def safe_min(self) -> float:
        """When the pressure can be breathed, PET minutes: until then the suits must last."""
        return self.end_min + self.scenario.settings.airlock.after_end_min

    @cached_property
    def slack(self) -> Slack:
        """The three slacks of every step; the hard limit stays where it is for these times."""
        return slacks(self.network, self.durations, self.starts, self.hard_min)

    @cached_property
    def holders(self) -> Holders:
        """What holds every step where it is."""
        return find_holders(self.network, self.durations, self.starts)

    @cached_property
    def _positions(self) -> Mapping[str, int]:
        return {step: position for position, step in enumerate(self.network.steps)}

    @cached_property
    def _place_titles(self) -> Mapping[str, str]:
        return {place.place: one_line(place.title) or place.place for place in self.scenario.records.places}

    def position(self, step: str) -> int:
        """The row position of a step. Raises `ScenarioError` when there is no such step."""
        if not isinstance(step, str) or step not in self._positions:
            hint = did_you_mean(str(step), self.network.steps)
            raise ScenarioError.single(f"there is no such step in this plan{hint}", table="steps",
                                       column="step", value=step)
        return self._positions[step]

    def span(self, step: str) -> tuple[float, float]:
        """Start and finish of a step, PET minutes. Raises `ScenarioError` when there is no such step."""
        position = self.position(step)
        return float(self.starts[position]), float(self.finishes[position])

    def each_step(self) -> Iterator[tuple[Step, float, float]]:
        """Every step with its start and finish, PET minutes, in row order."""
        return zip(self.steps, self.starts.tolist(), self.finishes.tolist(), strict=True)

    def item_moves(self) -> Iterator[tuple[float, bool, Step, ItemMove]]:
        """Every take (True) at the start and every leave at the finish of its step, PET minutes, by row."""
        for step, start, finish in self.each_step():
            yield from ((start, True, step, move) for move in step.takes)
            yield from ((finish, False, step, move) for move in step.leaves)

    def place_title(self, place: str) -> str:
        """The title of a place in one line, or its id; "" is one not known; `ScenarioError` for no such."""
        if place == "":
            return "a place not known"
        if not isinstance(place, str) or place not in self._place_titles:
            raise ScenarioError.single("there is no such place", table="places", column="place", value=place)
        return self._place_titles[place]

    def delay_curve(self, step: str, up_to_min: float = 120.0, every_min: float = 1.0) -> pd.DataFrame:
        """Outing end against a delay of ``step``: the cliffs where it misses a window.

        Columns ``delay_min``, ``start_min``, ``end_min``, ``end_slip_min``; NaN where no plan is left. Raises
        `ScenarioError` for minutes that make no sense.
        """
        if self.position(step) in self.network.fixed:
            raise ScenarioError.single("has begun: a delay can only be asked of what is to come",
                                       table="steps", column="step", value=step)
        faults = Faults()
        if not is_number(every_min) or every_min <= 0:
            faults.add("", None, "every_min", every_min, "must be minutes, above 0")
        if not is_number(up_to_min) or up_to_min < 0:
            faults.add("", None, "up_to_min", up_to_min, "must be minutes, 0 or more")
        faults.stop_if_any()
        if up_to_min / every_min > _MOST_DELAYS:
            raise ScenarioError.single(f"makes more than {_MOST_DELAYS} delays: take more minutes",
                                       column="every_min", value=every_min)
        # Half an interval more, so that rounding does not lose the last delay.
        delays = np.arange(0.0, up_to_min + every_min / 2, every_min)
        return delay_curve(self.network, self.durations, self.starts, self.position(step), delays)


@dataclass(frozen=True, kw_only=True)
class PlannedWindow:
    """A window that the plan on likely durations uses: of one step, or of a group. PET minutes.

    ``asks_for`` is the kind of window asked for (``light:night``), ``window`` the one of them that is used;
    ``stretches`` all of that kind, (n, 2).
    """

    subject: str
    members: tuple[int, ...]
    asks_for: str
    window: str
    task: str
    title: str
    planned_start_min: float
    begin_min: float
    end_min: float
    stretches: np.ndarray = field(compare=False)

    @property
    def is_known(self) -> bool:
        """Whether it is known when it is; of a named period there may be none before the horizon."""
        return len(self.stretches) > 0 or not self.asks_for.startswith(f"{WINDOW}:")

    @property
    def name(self) -> str:
        """As people say it: ``night 2``; of a named period its name."""
        name = self.window.partition(":")[2]
        return name if self.asks_for.startswith(f"{WINDOW}:") else name.replace("-", " ")


def planned_windows(times: Times) -> Iterator[PlannedWindow]:
    """Every window that a step must fit in (light, a link waited for, a named period) and every group's.

    Steps of a group that share its light are told by the group alone.
    """
    network, of_group = times.network, set()
    for group in network.groups:
        of_group |= {(member, group.demand.label) for member in group.members}
        tasks = dict.fromkeys(times.steps[member].task for member in group.members)
        title = " ".join(times.steps[member].step for member in group.members)
        yield _planned(times, group.name, group.members, group.demand, " ".join(tasks), title)
    for position, (step, demands) in enumerate(zip(times.steps, network.demands, strict=True)):
        for demand in demands:
            if (position, demand.label) not in of_group:
                yield _planned(times, step.step, (position,), demand, step.task, step.title)


def _planned(times: Times, subject: str, members: tuple[int, ...], demand: Demand, task: str,
             title: str) -> PlannedWindow:
    start = float(times.starts[list(members)].min())
    begin, end = demand.nearest(start, float(times.finishes[list(members)].max())) or (np.inf, -np.inf)
    return PlannedWindow(subject=subject, members=members, asks_for=f"{demand.kind}:{demand.label}",
                         window=demand.name_at(start), task=task, title=title, planned_start_min=start,
                         begin_min=begin, end_min=end, stretches=demand.windows)
