"""The rows of a scenario as typed, frozen records: what the other rooms compute with."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from planning_kit.inputs.format import SUITED

Key = TypeVar("Key")
Value = TypeVar("Value", covariant=True)


class FrozenMapping(Mapping[Key, Value]):
    """A copy of a mapping, without a way to change it; equal to any mapping with the same entries."""

    __slots__ = ("_entries",)

    def __init__(self, entries: Mapping[Key, Value]) -> None:
        """Copy ``entries``."""
        self._entries = dict(entries)

    def __getitem__(self, key: Key) -> Value:
        return self._entries[key]

    def __iter__(self) -> Iterator[Key]:
        return iter(self._entries)

    def __len__(self) -> int:
        return len(self._entries)

    def __hash__(self) -> int:
        return hash(frozenset(self._entries.items()))

    def __repr__(self) -> str:
        return repr(self._entries)


BOTH = "both"
INSIDE = "inside"


@dataclass(frozen=True)
class Crew:
    """A suited crew member (``EV1`` or ``EV2``)."""

    crew: str
    metres_per_min: float
    exertion_factor: float | None
    carry_slots: float | None
    tether_m: float | None


@dataclass(frozen=True)
class Actor:
    """Someone else at work (inside, an arm operator, a ground desk): a row order, no travel, no suit."""

    actor: str
    title: str


@dataclass(frozen=True)
class Place:
    """A worksite or waypoint, in the station body frame."""

    place: str
    title: str
    x_m: float
    y_m: float
    z_m: float
    crew_at_once: int | None
    anchor: bool
    socket: bool
    caution: str


@dataclass(frozen=True)
class Route:
    """A two-way handrail route; ``minutes`` overrides the time that ``metres`` gives."""

    from_place: str
    to_place: str
    metres: float
    minutes: float | None
    tight: bool | None
    snag: bool | None
    caution: str


@dataclass(frozen=True)
class Item:
    """A piece of hardware and where it starts and must end."""

    item: str
    title: str
    kind: str
    at: str
    end_at: str
    end2_at: str
    slots: float | None
    holds: float | None
    bulky: bool | None
    mass_kg: float | None


@dataclass(frozen=True)
class Task:
    """An objective."""

    task: str
    title: str
    need: str
    priority: int | None
    swappable: bool
    objective: str
    last_start_min: float | None
    cut_order: int | None


@dataclass(frozen=True)
class ItemMove:
    """One entry of ``takes`` or ``leaves``: ``[EV1:]item[<BAG | >BAG | >EV2]``.

    ``crew`` is "" when the entry names none (the step's own crew member); ``out_of`` is the bag after ``<``,
    ``into`` the bag or the partner after ``>``.
    """

    item: str
    crew: str = ""
    out_of: str = ""
    into: str = ""


@dataclass(frozen=True)
class Step:
    """What one or both crew members (or another actor) do at one place; ``row`` is its row in the file."""

    step: str
    task: str
    crew: str
    place: str
    title: str
    minutes_low: float
    minutes_likely: float
    minutes_high: float
    after: tuple[str, ...]
    light: str
    same_window: str
    windows: tuple[str, ...]
    exertion: str
    foothold: str
    takes: tuple[ItemMove, ...]
    leaves: tuple[ItemMove, ...]
    uses: tuple[str, ...]
    hooks: tuple[str, ...]
    link: str
    travel_extra_min: float
    wait_at: str
    safe_orderly_min: float | None
    safe_now_min: float | None
    make_safe: str
    caution: str
    row: int = 0

    @property
    def people(self) -> tuple[str, ...]:
        """Who works in it: both crew members, one of them, or another actor."""
        return SUITED if self.crew == BOTH else (self.crew,)

    @property
    def where(self) -> str:
        """Its place; someone at work without a place is inside."""
        return self.place or INSIDE

    @property
    def touches(self) -> set[str]:
        """Every item that it uses, takes or leaves, and its foothold ("" for none)."""
        return {*self.uses, self.foothold, *(move.item for move in (*self.takes, *self.leaves))}


@dataclass(frozen=True)
class Gap:
    """A least and a greatest time between two steps; ``row`` is its row in the file, for messages."""

    row: int
    first_step: str
    then_step: str
    min_gap: float
    max_gap: float | None
    first_at: str
    then_at: str
    reason: str

    @property
    def ends(self) -> str:
        """Which ends of which steps it counts between, such as ``A1 finish B1 start``."""
        return f"{self.first_step} {self.first_at} {self.then_step} {self.then_at}"

    @property
    def words(self) -> str:
        """What it lies between, in words; the ends only where they are not the usual ones."""
        if (self.first_at, self.then_at) == ("finish", "start"):
            return f"from {self.first_step} to {self.then_step}"
        return f"from the {self.first_at} of {self.first_step} to the {self.then_at} of {self.then_step}"


@dataclass(frozen=True)
class Inhibit:
    """A hazard control that someone else must hold."""

    inhibit: str
    title: str
    owner: str
    from_step: str
    until_step: str
    lead_min: float
    needed_by: tuple[str, ...]
    hold_max_min: float | None
    window: str
    reason: str


@dataclass(frozen=True)
class NamedWindow:
    """A period from others (several rows may share a name)."""

    window: str
    start: datetime
    end: datetime
    source: str


@dataclass(frozen=True)
class Limits:
    """The scenario's limits in minutes (``partner_carry_factor`` has no unit) and where each comes from."""

    planned_min: float
    hard_min: float
    ingress_min: float
    return_reserve_min: float | None
    emergency_oxygen_min: float | None
    partner_carry_factor: float | None
    hook_move_min: float | None
    sources: Mapping[str, str]


@dataclass(frozen=True)
class Relays:
    """Geostationary relays and the elevation of the Earth mask above the limb, in degrees."""

    longitudes_deg_east: tuple[float, ...]
    mask_deg: float


@dataclass(frozen=True)
class Suit:
    """One crew member's suit: usable amounts, loads and reserves; None where not given."""

    oxygen_g: float | None
    co2_g: float | None
    energy_wh: float | None
    water_g: float | None
    power_w: float | None
    respiratory_quotient: float | None
    equipment_heat_w: float | None
    oxygen_reserve_fraction: float | None
    co2_reserve_fraction: float | None
    energy_reserve_fraction: float | None
    water_reserve_fraction: float | None
    used_before_egress_min: float | None


@dataclass(frozen=True)
class OddsSettings:
    """How durations vary together: log-scale standard deviations and the name of the distribution."""

    common_sd: float | None
    crew_sd: float | None
    travel_sd: float | None
    distribution: str


@dataclass(frozen=True)
class Settings:
    """``scenario.toml``, parsed."""

    title: str
    station: str
    summary: str
    egress: datetime
    egress_earliest: datetime | None
    egress_latest: datetime | None
    pet_zero: str
    horizon_h: float
    airlock: str
    orbit: str
    limits: Limits
    night_guard_s: float
    exertion_w: Mapping[str, float]
    suits: Mapping[str, Suit]
    relays: Relays | None
    odds: OddsSettings


@dataclass(frozen=True)
class Records:
    """A whole scenario, parsed: row order kept. Every reference in it has been checked."""

    settings: Settings
    crew: tuple[Crew, ...]
    actors: tuple[Actor, ...]
    places: tuple[Place, ...]
    routes: tuple[Route, ...]
    hardware: tuple[Item, ...]
    tasks: tuple[Task, ...]
    steps: tuple[Step, ...]
    gaps: tuple[Gap, ...]
    inhibits: tuple[Inhibit, ...]
    windows: tuple[NamedWindow, ...]
