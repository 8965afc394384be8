"""The timing: least fixed point of monotone lower bounds, for one plan or for many sampled plans at once.

Starting from the releases, starts are raised until no bound, window or group moves one of them: the result
is the earliest plan, and the only one (Knaster-Tarski). A step that cannot be placed inside the horizon gets
an infinite start, and so do all that wait for it: the core never raises.

A bound that runs in a circle with a positive sum could be raised forever: sweeps over the bounds alone come
first. One sweep settles all bounds that point forward in the sweep order, and a way through the network that
visits no step twice uses each of the r returning bounds at most once: what a returning bound still raises
after r + 1 sweeps is on or behind such a circle (Bellman-Ford) and is set to infinity. After that every
further rise needs a jump of a window, of which there are finitely many below the horizon.

Samples do not touch each other: those that have come to rest leave the sweeps. One plan is timed by the same
rules without arrays; that both come to the same, to the bit, is a test.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np

from planning_kit.plan.network import GROUP, WINDOW, Network, on_grid

TravelFactor = Mapping[str, np.ndarray]
"""By crew member what scales each one's travel, (samples,); 1 for whom it does not name."""

_BLOCK = 4096
"""Samples timed together: small enough that a block of starts stays in the processor's cache."""

_MOST = 0.7
"""Share of moving samples above which copying them costs more than sweeping the others along."""


def earliest_starts(network: Network, durations: np.ndarray,
                    not_before: np.ndarray | None = None) -> np.ndarray:
    """Earliest start of every step.

    Parameters
    ----------
    network : Network
    durations : array (steps,) or (steps, samples), minutes
    not_before : array (steps,) or (steps, samples), minutes, optional
        Further releases; -inf where there is none.

    Returns
    -------
    array of the shape of ``durations`` (or the broader of the inputs), minutes; inf where a step cannot
    be placed, -inf where nothing bounds it from below.
    """
    given = durations, np.full(len(network.steps), -np.inf) if not_before is None else not_before
    if all(np.ndim(part) == 1 for part in given):
        return np.array(_OnePass(network, *given).fixed_point())
    columns = [np.atleast_2d(np.asarray(part, dtype=float).T).T for part in given]
    lengths, floor = np.broadcast_arrays(columns[0], columns[1])
    starts: np.ndarray = np.empty(lengths.shape)
    for low in range(0, starts.shape[1], _BLOCK):
        block = slice(low, low + _BLOCK)
        starts[:, block] = _Pass.over(network, lengths[:, block], floor[:, block]).fixed_point()
    return starts


@dataclass(frozen=True)
class Raise:
    """What raised a step last: `WINDOW`, `GROUP`, or "" for a bound from the step ``source`` (-1: a release).

    ``is_after_group``: a window, once the step's group had moved it out of an earlier one.
    """

    kind: str = ""
    source: int = -1
    is_after_group: bool = False


def last_raises(network: Network, durations: np.ndarray,
                not_before: np.ndarray | None = None) -> tuple[Raise, ...]:
    """For each step what put it where it is on the way to the earliest plan of ``durations`` (steps,).

    ``not_before`` (steps,) as in `earliest_starts`; it counts as a release.

    A step that is raised raises those that its bounds hold again: no step was raised last before the one
    that raised it. Followed from source to source, these causes never run in a circle.
    """
    recorded = _OnePass(network, durations, np.full(len(network.steps), -np.inf) if not_before is None else
                        not_before)
    recorded.fixed_point()
    return tuple(recorded.raises.get(step, Raise()) for step in range(len(network.steps)))


def outing_end(network: Network, starts: np.ndarray, durations: np.ndarray,
               travel_factor: TravelFactor | None = None) -> np.ndarray:
    """PET minutes at which both are inside: the later at the airlock, plus ``ends_min``.

    ``starts`` and ``durations`` are (steps,) or (steps, samples); the result has one axis less.
    ``travel_factor`` scales the ways home.
    """
    at_airlock = [
        (starts[home.last] + on_grid(durations[home.last]) if home.last >= 0 else 0.0)
        + on_grid(home.travel_min * np.asarray((travel_factor or {}).get(home.crew, 1.0)))
        for home in network.homes]
    return np.asarray(np.max(np.broadcast_arrays(*at_airlock), axis=0) + network.ends_min)


def place_in_windows(starts: np.ndarray, durations: np.ndarray, windows: np.ndarray) -> np.ndarray:
    """The first start at or after each of ``starts`` at which the whole step lies in one window, or inf."""
    count = len(windows)
    if not count:
        return np.full_like(starts, np.inf)
    # A window behind all others, at infinity, takes what fits in none: no index runs off the end.
    begins, ends = np.append(windows[:, 0], np.inf), np.append(windows[:, 1], np.inf)
    index = np.searchsorted(ends[:count], starts + durations, side="left")
    while True:
        placed: np.ndarray = np.maximum(starts, begins[index])
        # A window that ends late enough may begin too late for the whole step: then the next one.
        short = (placed + durations > ends[index]) & (index < count)
        if not short.any():
            return placed
        index = np.where(short, index + 1, index)


def group_floor(last_finish: np.ndarray, windows: np.ndarray) -> np.ndarray:
    """The begin of the first window that ends at or after ``last_finish``, or inf."""
    begins = np.append(windows[:, 0], np.inf)
    return begins[np.searchsorted(windows[:, 1], last_finish, side="left")]


@dataclass
class _Pass:
    """One block of samples on its way to the fixed point."""

    network: Network
    durations: np.ndarray
    starts: np.ndarray
    weights: list[np.ndarray]

    @classmethod
    def over(cls, network: Network, durations: np.ndarray, not_before: np.ndarray) -> Self:
        lengths, starts = on_grid(durations), on_grid(not_before)
        for release in network.releases:
            np.maximum(starts[release.step], on_grid(release.at_min), out=starts[release.step])
        weights = [np.empty((len(bounds), lengths.shape[1])) for bounds in network.bounds_into]
        for step, bounds in enumerate(network.bounds_into):
            for row, bound in enumerate(bounds):
                weights[step][row] = bound.weight_min(lengths)
        return cls(network, lengths, starts, weights)

    def fixed_point(self) -> np.ndarray:
        self._settle_bounds()
        moving, active = self, np.arange(self.starts.shape[1])
        while len(active):
            for step in self.network.sweep_order:
                moving._raise_by_bounds(step)
                moving._raise_by_windows(step)
            # After a sweep windows and forward bounds have nothing left to raise. Only groups and returning
            # bounds can raise what an earlier step of the sweep rests on: then one more sweep is needed.
            moved = moving._raise_groups() | moving._raise_by_returning_bounds().any(axis=0)
            # Before the pass shrinks: samples at rest leave it, and these are their last starts.
            self.starts[:, active] = moving.starts
            active, moving = moving._still_moving(active, moved)
        return self.starts

    def _settle_bounds(self) -> None:
        returning = len(self.network.returning_bounds)
        # Without a returning bound there is no circle, and the sweeps with windows settle all.
        moving, active = self, np.arange(self.starts.shape[1] if returning else 0)
        for sweep in range(returning + 1):
            if not len(active):
                return
            for step in self.network.sweep_order:
                moving._raise_by_bounds(step)
            raised = moving._raise_by_returning_bounds()
            if sweep == returning:
                moving.starts[raised] = np.inf
            self.starts[:, active] = moving.starts
            active, moving = moving._still_moving(active, np.asarray(raised.any(axis=0)))

    def _still_moving(self, active: np.ndarray, moved: np.ndarray) -> tuple[np.ndarray, _Pass]:
        """The samples (positions and the pass over them) without those at rest; all while most still move."""
        if not moved.any():
            return active[:0], self
        if moved.mean() > _MOST:
            return active, self
        return active[moved], _Pass(self.network, self.durations[:, moved], self.starts[:, moved],
                                    [weight[:, moved] for weight in self.weights])

    def _raise_by_bounds(self, step: int) -> None:
        row = self.starts[step]
        for bound, weight in zip(self.network.bounds_into[step], self.weights[step], strict=True):
            np.maximum(row, self.starts[bound.before] + weight, out=row)

    def _raise_by_returning_bounds(self) -> np.ndarray:
        """Raise the steps that returning bounds lead into; a mask (steps, samples) of what moved."""
        moved = np.zeros(self.starts.shape, dtype=bool)
        for step in {bound.after for bound in self.network.returning_bounds}:
            before = self.starts[step].copy()
            self._raise_by_bounds(step)
            moved[step] = self.starts[step] > before
        return moved

    def _raise_by_windows(self, step: int) -> None:
        row = self.starts[step]
        windows = self.network.allowed[step]
        if windows is not None:
            row[:] = place_in_windows(row, self.durations[step], windows)
        # Also where no window is needed: beyond the horizon light and links are not known.
        row[row > self.network.horizon_min] = np.inf

    def _raise_groups(self) -> np.ndarray:
        """Raise each group to a window that holds its last finish; a mask (samples,) of what moved."""
        moved = np.zeros(self.starts.shape[1], dtype=bool)
        for group, windows in zip(self.network.groups, self.network.group_windows, strict=True):
            members = list(group.members)
            # The last finish can only grow: no window that ends before it can hold the group in any plan.
            floor = group_floor((self.starts[members] + self.durations[members]).max(axis=0), windows)
            raised = np.maximum(self.starts[members], floor)
            moved |= (raised > self.starts[members]).any(axis=0)
            self.starts[members] = raised
        return moved


class _OnePass:
    """The pass over one plan in plain numbers, ten times as soon, which keeps what raised each step last."""

    def __init__(self, network: Network, durations: np.ndarray, not_before: np.ndarray) -> None:
        self.network, self.raises = network, dict[int, Raise]()
        self.lengths: list[float] = on_grid(durations).tolist()
        self.starts: list[float] = on_grid(not_before).tolist()
        for release in network.releases:
            self.starts[release.step] = max(self.starts[release.step], float(on_grid(release.at_min)))
        self.into = [[(bound.before, float(bound.weight_min(self.lengths))) for bound in bounds]
                     for bounds in network.bounds_into]
        self.returned = {bound.after for bound in network.returning_bounds}

    def fixed_point(self) -> list[float]:
        self._settle_bounds()
        is_moving = True
        while is_moving:
            for step in self.network.sweep_order:
                self._raise_by_bounds(step)
                self._raise_by_windows(step)
            is_moving = self._raise_groups()
            raised = [step for step in self.returned if self._raise_by_bounds(step)]
            is_moving = is_moving or bool(raised)
        return self.starts

    def _settle_bounds(self) -> None:
        returning = len(self.network.returning_bounds)
        raised = list(self.returned)
        for sweep in range(returning + 1 if returning else 0):
            if not raised:
                return
            for step in self.network.sweep_order:
                self._raise_by_bounds(step)
            raised = [step for step in self.returned if self._raise_by_bounds(step)]
            if sweep == returning:
                for step in raised:
                    self.starts[step] = np.inf

    def _raise_by_bounds(self, step: int) -> bool:
        start, source = self.starts[step], -1
        for before, weight in self.into[step]:
            at = self.starts[before] + weight
            if at > start:
                start, source = at, before
        if source < 0:
            return False
        self.starts[step], self.raises[step] = start, Raise(source=source)
        return True

    def _raise_by_windows(self, step: int) -> None:
        start, windows = self.starts[step], self.network.allowed[step]
        if windows is not None:
            start = _first_start(start, self.lengths[step], windows)
        if start > self.network.horizon_min:
            start = np.inf
        if start > self.starts[step]:
            is_after_group = self.raises.get(step, Raise()).kind == GROUP
            self.starts[step], self.raises[step] = start, Raise(WINDOW, is_after_group=is_after_group)

    def _raise_groups(self) -> bool:
        is_moved = False
        for group, windows in zip(self.network.groups, self.network.group_windows, strict=True):
            last = max(self.starts[step] + self.lengths[step] for step in group.members)
            floor = float(group_floor(np.array(last), windows))
            for step in group.members:
                if floor > self.starts[step]:
                    self.starts[step], self.raises[step], is_moved = floor, Raise(GROUP), True
        return is_moved


def _first_start(start: float, duration: float, windows: np.ndarray) -> float:
    """`place_in_windows` of one step in one plan."""
    for begin, end in windows[bisect_left(windows[:, 1], start + duration):].tolist():
        placed: float = max(start, begin)
        if placed + duration <= end:
            return placed
    return np.inf
