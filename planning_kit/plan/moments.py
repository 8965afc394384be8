"""One minute of an outing: where everybody is, what holds them, who has what, the light and the inhibits.

Everything is looked up in what the plan has already worked out (passages, tethers, custody, inhibits, light);
only the point on a leg is new: a crew member is taken to move along the straight line between the two places
of a route at even speed. Neglected: the true course of the handrails, so that a leg's ``metres`` may exceed
the straight distance. A stretch of time holds its first minute and not its last; the last of all holds both.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np
import pandas as pd

from planning_kit.inputs.faults import ScenarioError, is_number, must_be
from planning_kit.inputs.records import INSIDE, Route
from planning_kit.inputs.shown_text import TextTable
from planning_kit.plan.activities import Activity
from planning_kit.plan.custody_state import Holding
from planning_kit.plan.legs import Spans
from planning_kit.plan.network import grouped
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.ways_back import spot_at

T = TypeVar("T")
Point = tuple[float, float, float]
MOMENT_COLUMNS = ["crew", "kind", "step", "title", "place", "to_place", "hook", "reach_m", "holds"]
_MOST_MINUTES = 100_000
LIGHT_KINDS = ("night", "penumbra", "day")


@dataclass(frozen=True)
class Person:
    """One crew member at one minute.

    ``point_m`` is x, y, z in the station body frame, metres. On a leg, ``route`` leads from ``place`` to
    ``to_place`` and ``share`` of it (0 to 1) is behind them; where they stand ``route`` is None, ``to_place``
    "" and ``share`` 0. The tether lies along the places of ``line``, hook first, then straight to them;
    ``reach_m`` is its length along the routes, ``tether_m`` its whole length (None where not given).
    """

    crew: str
    point_m: Point
    place: str
    to_place: str
    route: Route | None
    share: float
    doing: Activity
    line: tuple[str, ...]
    reach_m: float
    tether_m: float | None

    @property
    def hook(self) -> str:
        """The place whose anchor the tether is hooked to."""
        return self.line[0]


@dataclass(frozen=True)
class Stay:
    """Where one item is: with or at ``holder``, directly in the bag ``in_bag`` ("" for none)."""

    item: str
    title: str
    kind: str
    holder: str
    in_bag: str


@dataclass(frozen=True)
class InForce:
    """An inhibit that stands now; PET minutes."""

    inhibit: str
    title: str
    owner: str
    lift_after_min: float


@dataclass(frozen=True)
class Moment:
    """One minute of PET. ``light`` is ``night 2``, ``day 1``, ``penumbra`` or "" beyond what is known.

    ``light_until_min`` is when that ends (PET; NaN where not known); ``others`` is what actors are doing;
    ``in_view`` names the relays in view.
    """

    at_min: float
    people: tuple[Person, ...]
    others: tuple[Activity, ...]
    stays: tuple[Stay, ...]
    inhibits: tuple[InForce, ...]
    light: str
    light_until_min: float
    in_view: tuple[str, ...]

    def held_by(self, holder: str) -> tuple[Stay, ...]:
        """What a crew member has or what lies at a place, contents of bags included, in table order."""
        name = must_be(holder, str, "holder", "must be the id of a crew member or place, as text")
        return tuple(self._held.get(name, ()))

    @cached_property
    def _held(self) -> dict[str, list[Stay]]:
        return grouped((stay.holder, stay) for stay in self.stays)

    @property
    def table(self) -> pd.DataFrame:
        """One row a crew member: ``crew``, ``kind``, ``step``, ``title``, ``place``, ``to_place``, ``hook``.

        Then ``reach_m`` (metres, one decimal) and ``holds`` (items in hand, contents of bags included).
        """
        rows = [(p.crew, p.doing.kind, p.doing.step, p.doing.title, p.place, p.to_place, p.hook,
                 round(p.reach_m, 1), " ".join(stay.item for stay in self.held_by(p.crew)))
                for p in self.people]
        return TextTable(rows, columns=MOMENT_COLUMNS)


def moment_of(plan: TimedPlan, at_min: float) -> Moment:
    """The plan at ``at_min`` minutes of PET, from 0 to the end of the outing.

    Raises `ScenarioError` for a minute outside the outing.
    """
    (moment,) = moments_of(plan, (at_min,))
    return moment


def moments_of(plan: TimedPlan, minutes: Sequence[float]) -> Iterator[Moment]:
    """The moments of several minutes, as `moment_of` gives each, soon where they come in order.

    While nothing is moved, moments in order share their ``stays``.
    """
    found = _Lasting(plan)
    for at_min in minutes:
        minute = _minute(plan, at_min)
        light, until = _light_at(plan, minute)
        yield Moment(
            minute, people=tuple(_person_at(plan, crew, minute) for crew in plan.travels),
            others=found.others_at(minute), stays=found.stays_at(minute), inhibits=found.inhibits_at(minute),
            light=light, light_until_min=until,
            in_view=tuple(name for name, windows in plan.relays.items() if _window_at(windows, minute) >= 0),
        )


def whole_minutes(plan: TimedPlan, every_min: float = 1.0) -> tuple[float, ...]:
    """Minutes of PET from 0 in steps of ``every_min``, and the end of the outing itself.

    Raises `ScenarioError` for steps that are not above 0, and for more than 100,000 of them.
    """
    if not is_number(every_min) or every_min <= 0 or plan.end_min / every_min > _MOST_MINUTES:
        raise ScenarioError.single("is no step of time that can be asked; give minutes above 0",
                                   column="every_min", value=every_min)
    minutes = np.arange(0.0, plan.end_min, every_min)
    return (*(float(minute) for minute in minutes), plan.end_min)


def _minute(plan: TimedPlan, at_min: object) -> float:
    try:
        minute = float(at_min)  # type: ignore[arg-type]  # what is no number is told below
    except (TypeError, ValueError, OverflowError):
        minute = float("nan")
    # The end as shown, rounded to a minute or a tenth, may lie a little past the end itself.
    if not -1e-9 <= minute < plan.end_min + 1.0:
        raise ScenarioError.single(
            f"is no minute of this outing; give PET in minutes from 0 to {plan.end_min:.1f}",
            column="at_min", value=at_min)
    return min(max(minute, 0.0), plan.end_min)


class _Lasting:
    """What lasts for a while (others' work, inhibits, where items are), sorted once to be looked up often."""

    def __init__(self, plan: TimedPlan) -> None:
        self._work = [activity for lane, activities in plan.lanes.items() if lane not in plan.travels
                      for activity in activities]
        self._work_spans = Spans((activity.start_min, activity.finish_min) for activity in self._work)
        self._holds = plan.inhibit_holds
        self._hold_spans = Spans((hold.set_by_min, hold.lift_after_min) for hold in self._holds)
        self._items = {item.item: item for item in plan.scenario.records.hardware}
        self._moved = sorted(plan.tracked_custody.holdings, key=lambda stay: stay.from_min)
        self._known = 0  # how many stays had begun at the moment that was asked last
        self._latest: dict[str, Holding] = {}
        self._stays: tuple[Stay, ...] = ()

    def others_at(self, minute: float) -> tuple[Activity, ...]:
        """What actors do, by lane."""
        return tuple(self._work[number] for number in self._work_spans.lasting(minute))

    def inhibits_at(self, minute: float) -> tuple[InForce, ...]:
        """The inhibits in force, in table order."""
        in_force = (self._holds[number] for number in self._hold_spans.lasting(minute))
        return tuple(InForce(hold.inhibit.inhibit, hold.inhibit.title, hold.inhibit.owner,
                             hold.lift_after_min) for hold in in_force)

    def stays_at(self, minute: float) -> tuple[Stay, ...]:
        """Where the items are that are not inside, in table order."""
        begun = bisect_right(self._moved, minute, key=lambda stay: stay.from_min)
        if begun != self._known:
            # Onward only what has begun since is added; back in time all is looked through anew.
            latest = self._latest if begun > self._known else {}
            latest |= {stay.item: stay for stay in self._moved[self._known if latest else 0:begun]}
            self._known, self._latest = begun, latest
            self._stays = tuple(
                Stay(item.item, item.title, item.kind, latest[name].holder, latest[name].in_bag)
                for name, item in self._items.items()
                if name in latest and latest[name].holder != INSIDE)
        return self._stays


def _current(begins: Sequence[T], start_of: Callable[[T], float], minute: float) -> T:
    """The last of some stretches in order that has begun by ``minute``."""
    return begins[max(bisect_right(begins, minute, key=start_of) - 1, 0)]


def _person_at(plan: TimedPlan, crew: str, minute: float) -> Person:
    tether = plan.tracked_tethers[crew]
    lie = _current(tether.lies, lambda lie: lie.passage.start_min, minute)
    here, share = lie.passage, spot_at(lie, minute).share
    return Person(
        crew, point_m=_between(plan, here.place, here.to_place or here.place, share),
        place=here.place, to_place=here.to_place, route=here.route, share=share,
        doing=_current(plan.lanes[crew], lambda activity: activity.start_min, minute),
        # Walking back the line is taken in: it lies along the shorter of the two.
        line=min(lie.line, lie.ahead, key=len),
        reach_m=lie.from_reach_m + share * (lie.to_reach_m - lie.from_reach_m),
        tether_m=tether.tether_m,
    )


def _between(plan: TimedPlan, place: str, to_place: str, share: float) -> Point:
    points = {p.place: (p.x_m, p.y_m, p.z_m) for p in plan.scenario.records.places}
    x, y, z = (a + share * (b - a) for a, b in zip(points[place], points[to_place], strict=True))
    return x, y, z


def _light_at(plan: TimedPlan, minute: float) -> tuple[str, float]:
    for kind in LIGHT_KINDS:
        windows = getattr(plan.light, kind)
        number = _window_at(windows, minute)
        if number >= 0:
            return (kind if kind == "penumbra" else f"{kind} {number + 1}"), float(windows[number][1])
    return "", float("nan")


def _window_at(windows: np.ndarray, minute: float) -> int:
    """The position of the window [start, end) with this minute, or -1."""
    inside = np.flatnonzero((windows[:, 0] <= minute) & (minute < windows[:, 1]))
    return int(inside[0]) if len(inside) else -1
