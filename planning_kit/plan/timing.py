"""The timing: least fixed point of monotone lower bounds, for one plan or for many sampled plans at once.

Starting from the releases, starts are raised until no bound, window or group moves one of them: the result
is the earliest plan, and the only one (Knaster-Tarski). A step that cannot be placed inside the horizon gets
an infinite start, and so do all that wait for it: the core never raises.

A bound that runs in a circle with a positive sum could be raised forever: sweeps over the bounds alone come
first, and what still moves after as many sweeps as there are steps is on or behind such a circle
(Bellman-Ford) and is set to infinity. After that every further rise needs a jump of a window, of which there
are finitely many below the horizon.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planning_kit.plan.network import Network, on_grid

_BLOCK = 4096
"""Samples timed together: small enough that a block of starts stays in the processor's cache."""


def earliest_starts(
    network: Network,
    durations: np.ndarray,
    not_before: np.ndarray | None = None,
    travel_factor: np.ndarray | None = None,
) -> np.ndarray:
    """Earliest start of every step.

    Parameters
    ----------
    network : Network
    durations : array (steps,) or (steps, samples), minutes
    not_before : array (steps,) or (steps, samples), minutes, optional
        Further releases; -inf where there is none.
    travel_factor : array (steps,) or (steps, samples), optional
        Scales the travel *into* each step.

    Returns
    -------
    array of the shape of ``durations`` (or the broader of the inputs), minutes; inf where a step cannot
    be placed, -inf where nothing bounds it from below.
    """
    parts = [np.asarray(durations, dtype=float)]
    parts += [np.asarray(part, dtype=float) for part in (not_before, travel_factor) if part is not None]
    flat = all(part.ndim == 1 for part in parts)
    columns = [part[:, None] if part.ndim == 1 else part for part in parts]
    samples = max(part.shape[1] for part in columns)
    wide = [np.broadcast_to(part, (len(network.steps), samples)) for part in columns]
    lengths = wide.pop(0)
    floor = wide.pop(0) if not_before is not None else None
    factor = wide.pop(0) if travel_factor is not None else None
    starts = np.empty((len(network.steps), samples))
    for low in range(0, samples, _BLOCK):
        block = slice(low, min(low + _BLOCK, samples))
        starts[:, block] = _Pass.over(
            network, lengths[:, block],
            None if floor is None else floor[:, block],
            None if factor is None else factor[:, block],
        ).fixed_point()
    return starts[:, 0] if flat else starts


def outing_end(network: Network, starts: np.ndarray, durations: np.ndarray,
               travel_home_factor: np.ndarray | float = 1.0) -> np.ndarray:
    """PET minutes at which both are inside: the later crew member at the airlock, plus ingress.

    ``starts`` and ``durations`` are (steps,) or (steps, samples); the result has one axis less.
    """
    ends = [
        (starts[home.last] + on_grid(durations[home.last]) if home.last >= 0 else 0.0)
        + on_grid(home.travel_min * np.asarray(travel_home_factor))
        for home in network.homes
    ]
    return np.max(np.broadcast_arrays(*ends), axis=0) + network.ingress_min


def place_in_windows(starts: np.ndarray, durations: np.ndarray, windows: np.ndarray) -> np.ndarray:
    """The first start at or after each of ``starts`` at which the whole step lies in one window, or inf."""
    count = len(windows)
    if not count:
        return np.full_like(starts, np.inf)
    begins, ends = np.append(windows[:, 0], np.inf), np.append(windows[:, 1], np.inf)
    index = np.searchsorted(ends[:count], starts + durations, side="left")
    while True:
        placed = np.maximum(starts, begins[index])
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
    sources: list[np.ndarray]
    weights: list[np.ndarray]

    @classmethod
    def over(cls, network: Network, durations: np.ndarray, not_before: np.ndarray | None,
             travel_factor: np.ndarray | None) -> _Pass:
        lengths = on_grid(durations)
        starts = np.full(lengths.shape, -np.inf) if not_before is None else on_grid(not_before)
        for release in network.releases:
            extra = 0.0 if travel_factor is None else (travel_factor[release.step] - 1.0) * release.travel_min
            np.maximum(starts[release.step], on_grid(release.at_min + extra), out=starts[release.step])
        sources, weights = [], []
        for step, bounds in enumerate(network.bounds_into):
            sources.append(np.array([bound.before for bound in bounds], dtype=int))
            weights.append(_weights(network, step, lengths, travel_factor))
        return cls(network, lengths, starts, sources, weights)

    def fixed_point(self) -> np.ndarray:
        order = self.network.sweep_order
        if self.network.has_returning_bounds:
            self._settle_bounds(order)
        while True:
            for step in order:
                self._raise_by_bounds(step)
                self._raise_by_windows(step)
            if not (self._raise_groups() or self._returning_bounds_moved()):
                return self.starts

    def _settle_bounds(self, order: tuple[int, ...]) -> None:
        for _ in range(len(order) + 1):
            before = self.starts.copy()
            for step in order:
                self._raise_by_bounds(step)
            moved = self.starts > before
            if not moved.any():
                return
        self.starts[moved] = np.inf

    def _raise_by_bounds(self, step: int) -> None:
        sources = self.sources[step]
        if len(sources):
            ready = (self.starts[sources] + self.weights[step]).max(axis=0)
            np.maximum(self.starts[step], ready, out=self.starts[step])

    def _raise_by_windows(self, step: int) -> None:
        row = self.starts[step]
        windows = self.network.allowed[step]
        if windows is not None:
            row[:] = place_in_windows(row, self.durations[step], windows)
        row[row > self.network.horizon_min] = np.inf

    def _raise_groups(self) -> bool:
        moved = False
        for group, windows in zip(self.network.groups, self.network.group_windows, strict=True):
            members = list(group.members)
            floor = group_floor((self.starts[members] + self.durations[members]).max(axis=0), windows)
            raised = np.maximum(self.starts[members], floor)
            moved = moved or bool((raised > self.starts[members]).any())
            self.starts[members] = raised
        return moved

    def _returning_bounds_moved(self) -> bool:
        if not self.network.has_returning_bounds:
            return False
        before = self.starts.copy()
        for step in self.network.sweep_order:
            self._raise_by_bounds(step)
        return bool((self.starts > before).any())


def _weights(network: Network, step: int, durations: np.ndarray,
             travel_factor: np.ndarray | None) -> np.ndarray:
    factor = 1.0 if travel_factor is None else travel_factor[step]
    bounds = network.bounds_into[step]
    weights = np.empty((len(bounds), durations.shape[1]))
    for row, bound in enumerate(bounds):
        weights[row] = bound.weight_min(durations, factor)
    return weights
