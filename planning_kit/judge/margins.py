"""What a margin of a plan is, which is the tightest, and those of windows with what missing them costs.

A margin in minutes is mostly one of *terms*: from one edge of the plan (the start or finish of a step, the
end of the outing) to another at most so many minutes. What a term says of the plan it says of a sample, too.

`spread` says how much later steps may finish where all before them take their high minutes, and waits make
up for what they can: a margin below that can be missed by the planner's own estimates. A *cliff* is a window
whose miss moves the end of the outing by more than the minute by which it was missed.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil, inf, isfinite, isnan, nan
from weakref import WeakKeyDictionary

import numpy as np

from planning_kit.inputs.records import Step
from planning_kit.inputs.setting_records import SI
from planning_kit.inputs.times import measure, number_label
from planning_kit.plan import network as kinds
from planning_kit.plan.network import GRID_MIN, MAX_GAP, ROUNDING_MIN
from planning_kit.plan.plan_times import PlannedWindow, planned_windows
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import earliest_starts, outing_end

NIGHT, DAY, NAMED, LINK, CLOCK, INHIBIT, EXPOSURE, TETHER, RETURN, STORE, LIMIT, LAST_START = (
    "night", "day", "named", "link", "clock", "inhibit", "exposure", "tether", "return", "store", "limit",
    "last start")
IN_WINDOWS = (NIGHT, DAY, NAMED, LINK)
_KIND_OF = {kinds.LINK: LINK, kinds.WINDOW: NAMED}


@dataclass(frozen=True)
class Edge:
    """The start or the finish of a step, by position; -1: the end of the outing."""

    step: int
    is_finish: bool = True

    def at(self, starts: np.ndarray, finishes: np.ndarray, end: np.ndarray | float) -> np.ndarray:
        """When it is (PET), of one plan or of samples (steps, samples)."""
        return np.asarray(end if self.step < 0 else (finishes if self.is_finish else starts)[self.step])


@dataclass(frozen=True)
class Term:
    """At most ``most_min`` from ``since`` (None: from PET 0) to ``late``."""

    late: Edge
    most_min: float
    since: Edge | None = None

    def left_min(self, starts: np.ndarray, finishes: np.ndarray, end: np.ndarray | float) -> np.ndarray:
        """What is left of it, minutes; NaN where an edge is not there."""
        times = (starts, finishes, end)
        since = 0.0 if self.since is None else self.since.at(*times)
        with np.errstate(invalid="ignore"):  # both infinite: a sample without a plan
            return np.asarray(self.most_min - (self.late.at(*times) - since))


@dataclass(frozen=True)
class Margin:
    """What is left before something is lost, in ``unit`` (negative: it is); a row of ``plan.tightest``.

    ``minutes`` is the margin as minutes where it can be told so (NaN: a tether); ``spread_min`` see above;
    ``steps`` are those whose delay uses it up, besides those of ``terms``; ``units`` those of ``[display]``.
    """

    kind: str
    about: str
    crew: str
    step: str
    at_min: float
    margin: float
    unit: str
    what: str
    minutes: float
    spread_min: float = 0.0
    terms: tuple[Term, ...] = ()
    steps: tuple[str, ...] = ()
    end_slip_min: float = nan
    p_missed: float = nan
    units: str = SI

    @property
    def is_cliff(self) -> bool:
        """Whether a minute beyond it costs more than that minute at the end."""
        return self.end_slip_min > 1.0 + ROUNDING_MIN

    @property
    def is_harmless(self) -> bool:
        """Whether it is a window that can be missed with a later one at no cost at the end."""
        is_window = self.kind in IN_WINDOWS and bool(self.terms)
        return is_window and isnan(self.end_slip_min) and not self.is_missed

    @property
    def is_missed(self) -> bool:
        """Whether the plan itself has nothing left of it."""
        return self.margin < -ROUNDING_MIN

    @property
    def lost(self) -> str:
        """What is lost by missing it, in words."""
        if self.end_slip_min == inf:
            return f"{self.what}; no later one is known"
        if isnan(self.end_slip_min):
            return f"{self.what}; the end stays" if self.is_harmless else self.what
        return f"{self.what}; the end moves by {number_label(self.end_slip_min, 'up', 0)} min"

    @property
    def missed_words(self) -> str:
        """In how many samples it is missed; "" where none tells."""
        if isnan(self.p_missed):
            return ""
        share = f"{number_label(100 * self.p_missed, 'up')} %" if self.p_missed else "none"
        return f"missed in {share} of the samples"

    @property
    def words(self) -> str:
        """A sentence without a full stop: what is left, and what a minute more would cost."""
        left = measure(self.margin, self.unit, self, "down", number_label(
            self.margin, "down")) if isfinite(self.margin) else "nothing"
        at = f" at {self.step}" if self.step else ""
        missed = f"; {self.missed_words}" if self.missed_words else ""
        if self.is_cliff and not self.is_missed:
            later = ceil(self.margin + ROUNDING_MIN)
            lost = self.lost.replace(f"{self.what}; ", f"{self.what}: ", 1)
            return f"{left} left: {later} min later{at} loses {lost}{missed}"
        return f"{left} left{at}: {self.lost}{missed}"


def tightness(each: Margin) -> float:
    """The margin in minutes over the spread: below 1 the estimates themselves can miss it; -inf: missed."""
    if each.is_missed:
        return -inf
    return inf if isnan(each.minutes) or each.spread_min <= ROUNDING_MIN else each.minutes / each.spread_min


def by_tightness(margins: Iterable[Margin]) -> list[Margin]:
    """Likeliest to be missed first, then cliffs, then by margin over spread.

    Of a margin that no sample tells of, what the plan misses is certain. Where no sample was asked, what lies
    within the spread counts as likelier than what does not.
    """
    found = list(margins)
    is_sampled = any(not isnan(each.p_missed) for each in found)

    def key(each: Margin) -> tuple[float, ...]:
        likely = each.p_missed if not isnan(each.p_missed) else float(each.is_missed)
        if not is_sampled and not each.is_missed:
            likely = 0.5 if tightness(each) < 1.0 else 0.0
        minutes = each.minutes if not isnan(each.minutes) else 0.0 if each.is_missed else inf
        return -likely, not each.is_cliff, tightness(each), minutes

    return sorted(found, key=key)


def spread(plan: TimedPlan, since_min: float = -inf) -> np.ndarray:
    """By step (steps,) how much later it may finish, where all begun from ``since_min`` on take high minutes.

    What waits before a step make up for is taken off. Greatest gaps, which would hold others back, and what
    has begun count as they are.
    """
    network, high = plan.network, np.array([step.minutes_high for step in plan.steps], dtype=float)
    own = np.where(plan.starts >= since_min - ROUNDING_MIN, np.maximum(high - plan.durations, 0.0), 0.0)
    own[list(network.fixed)] = 0.0
    start_late, late = np.zeros(len(own)), np.zeros(len(own))
    for step in network.sweep_order:
        for bound in network.bounds_into[step]:
            if bound.kind != MAX_GAP:
                ready = plan.starts[bound.before] + bound.weight_min(plan.durations)
                carried = (late if bound.from_finish else start_late)[bound.before]
                start_late[step] = max(start_late[step], carried - (plan.starts[step] - ready))
        late[step] = start_late[step] + own[step]
    return late


def in_minutes(plan: TimedPlan, kind: str, about: str, step: Step | None, at_min: float, what: str,
               terms: Sequence[Term] = (), margin: float | None = None, late: float = 0.0) -> Margin:
    """A margin in minutes: of its terms, where it is not given."""
    left = margin if margin is not None else float(min(
        term.left_min(plan.starts, plan.finishes, plan.end_min) for term in terms))
    return Margin(kind, about, step.crew if step else "", step.step if step else "", at_min, left, "min",
                  what, left, late, tuple(terms))


def is_past(plan: TimedPlan, at_min: float) -> bool:
    """Whether a minute of PET is history to a re-timed plan."""
    return plan.now_min is not None and at_min <= plan.now_min


_WINDOWS: WeakKeyDictionary[TimedPlan, tuple[Margin, ...]] = WeakKeyDictionary()


def window_margins(plan: TimedPlan) -> tuple[Margin, ...]:
    """What is left of each window that is used, and what missing it moves; by step, in the plan's order."""
    return tuple(_with_slips(plan, _window_margins(plan)))


def near_windows(plan: TimedPlan) -> tuple[Margin, ...]:
    """Those of them that the plan keeps, by less than the estimates vary."""
    return tuple(_with_slips(plan, [
        each for each in _window_margins(plan)
        if not each.is_missed and each.margin < each.spread_min - ROUNDING_MIN]))


def _window_margins(plan: TimedPlan) -> tuple[Margin, ...]:
    """What is left of each window; what missing it moves takes a timing more, and is not asked yet."""
    if plan not in _WINDOWS:
        late = spread(plan)
        found = (_window(plan, each, late) for each in planned_windows(plan))
        _WINDOWS[plan] = tuple(margin for margin in found if margin is not None)
    return _WINDOWS[plan]


def _window(plan: TimedPlan, used: PlannedWindow, late: np.ndarray) -> Margin | None:
    """The margin of one window; None where it is history, or its end is not known."""
    members = np.array(sorted(used.members, key=lambda step: plan.starts[step]))
    if used.end_min > plan.horizon_min - GRID_MIN or is_past(plan, plan.finishes[members].max()):
        return None
    rooms = used.end_min - plan.finishes[members]
    margin = float(rooms.min())
    before = float(used.begin_min - plan.starts[members].min())
    # The first of them that has no more slack: a delay there is what loses the window.
    slack = np.nan_to_num(plan.slack.to_window[members], nan=inf)
    first = members[int(np.argmax((np.abs(slack - margin) <= ROUNDING_MIN) | (rooms == margin)))]
    kind, _, label = used.asks_for.partition(":")
    name = used.name
    return in_minutes(
        plan, _KIND_OF.get(kind, label), name, plan.steps[first], float(plan.starts[first]), name,
        [Term(Edge(int(step)), used.end_min) for step in members],
        margin=-before if before > ROUNDING_MIN else margin,
        late=float((late[members] - rooms).max()) + margin)


def _with_slips(plan: TimedPlan, margins: Sequence[Margin]) -> Iterator[Margin]:
    """With how much later the outing ends for the minute beyond each; NaN where it does not."""
    steps = [plan.position(each.step) for each in margins]
    floor = np.full((len(plan.steps), 2 * len(margins)), -inf)
    for column, (each, step) in enumerate(zip(margins, steps, strict=True)):
        kept = plan.starts[step] + max(each.margin, 0.0)
        floor[step, [2 * column, 2 * column + 1]] = kept, kept + 1.0
    if not margins:
        return
    starts = earliest_starts(plan.network, plan.durations, not_before=floor)
    ends = outing_end(plan.network, starts, plan.durations[:, None])
    ends = np.where(np.isfinite(starts).all(axis=0), ends, inf)
    for each, (at_edge, beyond) in zip(margins, ends.reshape(-1, 2).tolist(), strict=True):
        slip = inf if beyond == inf else beyond - at_edge
        yield replace(each, end_slip_min=slip if slip > ROUNDING_MIN else nan)
