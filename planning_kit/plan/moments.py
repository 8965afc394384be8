"""One minute of an outing: where everybody is, what holds them, who has what, the light and the inhibits.

Everything is looked up in what the plan has already worked out (passages, tethers, custody, inhibits, light);
only the point on a leg is new: a crew member is taken to move at even speed along the straight lines between
the two places of a route over its ``via`` points. Neglected: how the handrails run between these, so that a
leg's ``metres`` may exceed the length of the lines. A stretch of time holds its first minute and not its
last; the last of all holds both.
"""

from bisect import bisect_right
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TypeVar

import numpy as np
import pandas as pd

from planning_kit.inputs.faults import ScenarioError, is_number, must_be
from planning_kit.inputs.records import INSIDE, Route
from planning_kit.inputs.shown_text import TextTable
from planning_kit.plan.activities import Activity
from planning_kit.plan.legs import Spans
from planning_kit.plan.network import grouped
from planning_kit.plan.surfaces import point_along, way_points
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
    ``reach_m`` is its length along the routes (NaN: not known), ``tether_m`` its whole length (None where not
    given). ``is_known``: where they are; if not, point and place are those that travel counts from.
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
    is_known: bool = True

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
        rows = [(p.crew, p.doing.kind, p.doing.step, p.doing.title, p.place if p.is_known else "",
                 p.to_place, p.hook, round(p.reach_m, 1),
                 " ".join(stay.item for stay in self.held_by(p.crew)))
                for p in self.people]
        return TextTable(rows, columns=MOMENT_COLUMNS)


def moment_of(plan: TimedPlan, at_min: float) -> Moment:
    """The plan at ``at_min`` minutes of PET, from 0 to the end of the outing.

    Raises `ScenarioError` for a minute outside the outing.
    """
    return next(moments_of(plan, (at_min,)))


def moments_of(plan: TimedPlan, minutes: Sequence[float]) -> Iterator[Moment]:
    """The moments of several minutes, as `moment_of` gives each, soon where they come in order.

    While nothing is moved, moments in order share their ``stays``.
    """
    work = [each for lane, own in plan.lanes.items() if lane not in plan.travels for each in own]
    work_spans = Spans((activity.start_min, activity.finish_min) for activity in work)
    holds = [(hold.inhibit, hold.lift_after_min) for hold in plan.inhibit_holds]
    hold_spans = Spans((hold.set_by_min, hold.lift_after_min) for hold in plan.inhibit_holds)
    moved = sorted(plan.tracked_custody.holdings, key=lambda stay: stay.from_min)

    @lru_cache(maxsize=1)
    def stays(begun: int) -> tuple[Stay, ...]:
        latest = {stay.item: stay for stay in moved[:begun]}
        found = ((item, latest.get(item.item)) for item in plan.scenario.records.hardware)
        return tuple(Stay(item.item, item.title, item.kind, last.holder, last.in_bag)
                     for item, last in found if last and last.holder != INSIDE)

    for at_min in minutes:
        minute = _minute(plan, at_min)
        light, until = _light_at(plan, minute)
        in_force = (holds[number] for number in hold_spans.lasting(minute))
        yield Moment(
            minute, people=tuple(_person_at(plan, crew, minute) for crew in plan.travels),
            others=tuple(work[number] for number in work_spans.lasting(minute)),
            stays=stays(bisect_right(moved, minute, key=lambda stay: stay.from_min)),
            inhibits=tuple(InForce(each.inhibit, each.title, each.owner, end) for each, end in in_force),
            light=light, light_until_min=until,
            in_view=tuple(name for name, windows in plan.relays.items() if _window_at(windows, minute) >= 0))


def whole_minutes(plan: TimedPlan, every_min: float = 1.0) -> tuple[float, ...]:
    """Minutes of PET from 0 in steps of ``every_min``, and the end of the outing itself.

    Raises `ScenarioError` for steps that are not above 0, and for more than 100,000 of them.
    """
    if not is_number(every_min) or every_min <= 0 or plan.end_min / every_min > _MOST_MINUTES:
        raise ScenarioError.single("is no step of time that can be asked; give minutes above 0",
                                   column="every_min", value=every_min)
    return (*np.arange(0.0, plan.end_min, every_min).tolist(), plan.end_min)


def _minute(plan: TimedPlan, at_min: object) -> float:
    try:
        minute = float(at_min)  # type: ignore[arg-type]  # what is no number is told below
    except (TypeError, ValueError, OverflowError):
        minute = float("nan")
    # The end as shown, rounded to a minute or a tenth, may lie a little past the end itself.
    if not -1e-9 <= minute < plan.end_min + 1.0:
        raise ScenarioError.single(f"is no minute of this outing; give PET in minutes from 0 to "
                                   f"{plan.end_min:.1f}", column="at_min", value=at_min)
    return min(max(minute, 0.0), plan.end_min)


def _current(begins: Sequence[T], start_of: Callable[[T], float], minute: float) -> T:
    """The last of some stretches in order that has begun by ``minute``."""
    return begins[max(bisect_right(begins, minute, key=start_of) - 1, 0)]


def _person_at(plan: TimedPlan, crew: str, minute: float) -> Person:
    tether = plan.tracked_tethers[crew]
    lie = _current(tether.lies, lambda lie: lie.passage.start_min, minute)
    here, share = lie.passage, spot_at(lie, minute).share
    points = {p.place: (p.x_m, p.y_m, p.z_m) for p in plan.scenario.records.places}
    way = way_points(points, here.place, here.to_place, here.route)
    return Person(
        crew, point_m=point_along(way, share), place=here.place, to_place=here.to_place, route=here.route,
        share=share, doing=_current(plan.lanes[crew], lambda activity: activity.start_min, minute),
        # Walking back the line is taken in: it lies along the shorter of the two.
        line=min(lie.line, lie.ahead, key=len),
        reach_m=lie.from_reach_m + share * (lie.to_reach_m - lie.from_reach_m), tether_m=tether.tether_m,
        is_known=here.is_known)


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
