"""The timing problem as data: steps, lower bounds between them, windows and groups.

Every rule has one of four forms, each a monotone lower bound on a start x (minutes of PET, d a duration):

* release ``x_j >= r``;
* bound ``x_j >= x_i + w``, with ``w = fixed + travel + [from_finish] d_i - [to_finish] d_j``
  (order with travel, ``after``, least gaps; a greatest gap is such a bound on the *earlier* step);
* windows (a demand): ``[x_j, x_j + d_j]`` lies in one of a list of ordered, disjoint windows;
* group: several steps lie in one and the same window of such a list.

Sources: Dechter, Meiri, Pearl 1991, "Temporal constraint networks" (bounds); Knaster-Tarski (fixed points of
monotone functions on a lattice). Windows keep the lattice because the windows are ordered.

All minutes are rounded to a grid of 2^-30 min (56 ns) when a network is made: sums of such numbers below
2^23 min are exact in double precision, so "tight" is equality and nothing creeps.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from graphlib import CycleError, TopologicalSorter
from typing import Any, TypeVar

import numpy as np

Key = TypeVar("Key")
Value = TypeVar("Value")

GRID_MIN = 2.0**-30
ROUNDING_MIN = 1e-6
"""Minutes given in decimals or summed off the grid may differ by less than this from the grid's: no fault."""

ORDER, AFTER, MIN_GAP, MAX_GAP = "order", "after", "min_gap", "max_gap"
LIGHT, LINK, WINDOW, GROUP, PARTNER = "light", "link", "window", "group", "partner"
LOGGED, NOW, TURN, HATCH = "logged", "now", "turn", "hatch"
LATE, LATE_END = "late", "late_end"


def on_grid(minutes: np.ndarray | float) -> np.ndarray:
    """Minutes rounded to the grid; infinities stay."""
    return np.rint(np.asarray(minutes, dtype=float) / GRID_MIN) * GRID_MIN


def grouped(pairs: Iterable[tuple[Key, Value]]) -> dict[Key, list[Value]]:
    """The second of each pair by the first, in their order."""
    found: dict[Key, list[Value]] = {}
    for key, value in pairs:
        found.setdefault(key, []).append(value)
    return found


def joined(spans: Iterable[tuple[float, float]]) -> list[tuple[float, float]]:
    """Stretches by their beginning, those that touch made one."""
    found: list[tuple[float, float]] = []
    for begin, end in spans:
        if found and begin <= found[-1][1] + ROUNDING_MIN:
            found[-1] = found[-1][0], max(found[-1][1], end)
        else:
            found.append((begin, end))
    return found


@dataclass(frozen=True)
class Release:
    """``x_step >= at_min``; ``travel_min`` of it is travel (it scales with sampled travel)."""

    step: int
    at_min: float
    travel_min: float = 0.0
    kind: str = ORDER
    name: str = "pet_zero"
    crew: str = ""


@dataclass(frozen=True)
class Bound:
    """``x_after >= x_before + fixed + travel + [from_finish] d_before - [to_finish] d_after``.

    ``row``: where a gap stands in its file, for messages.
    """

    before: int
    after: int
    kind: str
    name: str
    fixed_min: float = 0.0
    travel_min: float = 0.0
    from_finish: bool = True
    to_finish: bool = False
    crew: str = ""
    row: int | None = None

    def weight_min(self, lengths: np.ndarray | Sequence[float]) -> Any:
        """w for ``lengths`` (steps,) or (steps, samples): durations on the grid, in minutes."""
        weight: Any = self._own_min
        if self.from_finish:
            weight = weight + lengths[self.before]
        if self.to_finish:
            weight = weight - lengths[self.after]
        return weight

    @cached_property
    def _own_min(self) -> float:
        return float(on_grid(self.fixed_min + self.travel_min))


@dataclass(frozen=True)
class Demand:
    """One set of windows that a step must fit in; ``label`` names them ("night", "link", a window's name).

    ``whole`` are the windows as they are, ``windows`` what is left of them inside the guard
    (``guard_min`` at each end, but where the range that is known, [0, ``horizon_min``], cuts a window).
    """

    kind: str
    label: str
    whole: np.ndarray
    windows: np.ndarray
    guard_min: float = 0.0
    horizon_min: float = np.inf

    @classmethod
    def of(cls, kind: str, label: str, whole: np.ndarray, left: np.ndarray | None = None,
           guard_min: float = 0.0, horizon_min: float = np.inf) -> Demand:
        """The demand for what is ``left`` of the windows ``whole`` (n, 2): all of them, where not given."""
        begins, ends = np.transpose(whole if left is None else left) / GRID_MIN
        # Rounded inward, so that nothing lies in a window that did not before.
        return cls(kind, label, whole, np.column_stack((np.ceil(begins), np.floor(ends))) * GRID_MIN,
                   guard_min, horizon_min)

    def name_at(self, minute: float) -> str:
        """``kind:label-n`` of the n-th window, the one nearest to ``minute`` (named periods have no n)."""
        if self.kind == WINDOW:
            return f"{self.kind}:{self.label}"
        # Counted in the whole windows: one that the guard uses up keeps its number.
        away = np.maximum(self.whole[:, 0] - minute, minute - self.whole[:, 1]).clip(0.0)
        return f"{self.kind}:{self.label}-{int(away.argmin()) + 1 if len(away) else 0}"

    def title_at(self, minute: float) -> str:
        """The same as people say it: ``night 2``; of a named period its name."""
        name = self.name_at(minute).partition(":")[2]
        return name if self.kind == WINDOW else name.replace("-", " ")

    def nearest(self, start: float, finish: float) -> tuple[float, float] | None:
        """The window that holds most of [start, finish], else the next; None where there is none."""
        if not len(self.windows):
            return None
        # Below 0 for a window that is missed altogether: then the distance to it counts as well.
        inside = np.minimum(self.windows[:, 1], finish) - np.maximum(self.windows[:, 0], start)
        begin, end = self.windows[int(inside.argmax())].tolist()
        return begin, end


@dataclass(frozen=True)
class Group:
    """Steps that share one and the same window of ``demand``."""

    name: str
    members: tuple[int, ...]
    demand: Demand


@dataclass(frozen=True)
class Home:
    """How the outing ends for one crew member: after ``last`` (-1: no step), travel to the airlock."""

    crew: str
    last: int
    travel_min: float


@dataclass(frozen=True)
class Broken:
    """A rule that times break, by ``by_min`` minutes: a bound, or a demand or group of ``step``."""

    step: int
    by_min: float
    rule: Bound | Demand | Group

    @property
    def steps(self) -> tuple[int, ...]:
        """All that the rule binds."""
        return self.rule.members if isinstance(self.rule, Group) else (
            (self.step, self.rule.before) if isinstance(self.rule, Bound) else (self.step,))


@dataclass(frozen=True)
class Network:
    """A timing problem. ``steps`` are ids, all other fields refer to them by position.

    ``allowed`` holds for each step the windows (n, 2) that all its demands leave, or None. ``fixed`` are the
    steps whose start is history (`planning_kit.plan.past`): no rule moves them, and they have no slack.
    ``ends_min``: from the second one at the airlock to the end that limits bound. ``late`` are the steps that
    start as late as they can (`planning_kit.plan.late`), ``late_margins_min`` what each keeps free.
    ``given_way``: the rules that its plan breaks, as none keeps them all (`planning_kit.plan.giving_way`), of
    the ``whole`` network; ``longer_end_min``: the end of one past the hard limit that breaks less, if any.
    """

    steps: tuple[str, ...]
    releases: tuple[Release, ...] = ()
    bounds: tuple[Bound, ...] = ()
    demands: tuple[tuple[Demand, ...], ...] = ()
    allowed: tuple[np.ndarray | None, ...] = ()
    groups: tuple[Group, ...] = ()
    homes: tuple[Home, ...] = ()
    ends_min: float = 0.0
    horizon_min: float = np.inf
    group_windows: tuple[np.ndarray, ...] = ()
    fixed: frozenset[int] = frozenset()
    late: tuple[int, ...] = ()
    late_margins_min: tuple[float, ...] = ()
    given_way: tuple[Broken, ...] = ()
    whole: Network | None = None
    longer_end_min: float = np.nan

    def __post_init__(self) -> None:
        count = len(self.steps)
        if not self.demands:
            object.__setattr__(self, "demands", ((),) * count)
        if not self.allowed:
            object.__setattr__(self, "allowed", (None,) * count)
        if not self.group_windows:
            object.__setattr__(self, "group_windows", tuple(g.demand.windows for g in self.groups))

    @property
    def as_asked(self) -> Network:
        """The network with all its rules, none of which gives way."""
        return self.whole or self

    @cached_property
    def bounds_into(self) -> tuple[tuple[Bound, ...], ...]:
        """The bounds on each step."""
        return self._by_step((bound.after, bound) for bound in self.bounds)

    @cached_property
    def releases_of(self) -> tuple[tuple[Release, ...], ...]:
        """The releases of each step."""
        return self._by_step((release.step, release) for release in self.releases)

    @cached_property
    def groups_of(self) -> tuple[tuple[int, ...], ...]:
        """The groups that each step is a member of, by their positions in ``groups``."""
        return self._by_step((member, number) for number, group in enumerate(self.groups)
                             for member in group.members)

    def _by_step(self, pairs: Iterable[tuple[int, Value]]) -> tuple[tuple[Value, ...], ...]:
        found = grouped(pairs)
        return tuple(tuple(found.get(step, ())) for step in range(len(self.steps)))

    @cached_property
    def sweep_order(self) -> tuple[int, ...]:
        """An order of the steps in which most bounds point forward (row order where they run in circles)."""
        sorter: TopologicalSorter[int] = TopologicalSorter(dict.fromkeys(range(len(self.steps)), ()))
        for bound in self.bounds:
            # A greatest gap runs against the least gap of its row: with both there would be no order.
            if bound.kind != MAX_GAP:
                sorter.add(bound.after, bound.before)
        try:
            return tuple(sorter.static_order())
        except CycleError:
            return tuple(range(len(self.steps)))

    @cached_property
    def returning_bounds(self) -> tuple[Bound, ...]:
        """The bounds that point against the sweep order: with one of them, one sweep may not be enough."""
        position = {step: place for place, step in enumerate(self.sweep_order)}
        return tuple(bound for bound in self.bounds if position[bound.before] >= position[bound.after])


def pinned(network: Network, starts: np.ndarray) -> Network:
    """The same network with each lit step and group held to the window that it is in at ``starts`` (n,).

    A window that the horizon cuts off has no end here: the horizon is where knowledge ends, not the window.
    """
    allowed = tuple(None if windows is None else _window_at(windows, starts[step], network.horizon_min)
                    for step, windows in enumerate(network.allowed))
    group_windows = tuple(_window_at(windows, starts[list(group.members)].min(), network.horizon_min)
                          for group, windows in zip(network.groups, network.group_windows, strict=True))
    return replace(network, allowed=allowed, group_windows=group_windows)


def _window_at(windows: np.ndarray, minute: float, horizon_min: float) -> np.ndarray:
    window = windows[(windows[:, 0] <= minute) & (minute <= windows[:, 1])][:1].copy()
    # Less one grid step, because the ends of windows were rounded inward.
    window[window[:, 1] > horizon_min - GRID_MIN, 1] = np.inf
    return window


def mirrored(network: Network, deadline_min: float) -> Network:
    """The network run backwards from an outing end at ``deadline_min`` (infinite: no deadline).

    With ``x' = D - (x + d)`` a bound ``x_j >= x_i + w + a d_i - b d_j`` becomes
    ``x'_i >= x'_j + w + (1 - b) d_j - (1 - a) d_i``: the same form with the ends swapped. Its earliest
    starts are the latest of this one (`planning_kit.plan.slack.latest_starts`). Releases are dropped: a
    latest start before its release means that the deadline cannot be met.
    """
    origin = deadline_min if np.isfinite(deadline_min) else 0.0
    beyond = origin - network.horizon_min if np.isfinite(deadline_min) else -np.inf
    ends = () if not np.isfinite(deadline_min) else tuple(
        Release(home.last, home.travel_min + network.ends_min, home.travel_min, crew=home.crew)
        for home in network.homes if home.last >= 0)
    return Network(
        steps=network.steps, releases=ends, demands=network.demands, groups=network.groups,
        bounds=tuple(replace(bound, before=bound.after, after=bound.before,
                             from_finish=not bound.to_finish, to_finish=not bound.from_finish)
                     for bound in network.bounds),
        allowed=tuple(None if w is None else _flipped(w, origin, beyond) for w in network.allowed),
        group_windows=tuple(_flipped(w, origin, beyond) for w in network.group_windows))


def _flipped(windows: np.ndarray, origin: float, beyond: float) -> np.ndarray:
    """Windows run backwards. What lies past the horizon is unknown, and no reason for a step to hurry."""
    flipped = (origin - windows)[::-1, ::-1]
    return np.vstack(([[-np.inf, beyond]], flipped)) if np.isfinite(beyond) else flipped
