"""As late as possible: the greatest starts of the late steps, with every other step held where it is.

What keeps every rule is a lattice (`planning_kit.plan.network`), and so is what of it leaves the other steps
at their earliest starts: there is one greatest plan, in which each late step is as late as it is in any. It
is the forward pass over the mirrored network of the late steps and what they touch, the others held. The end
of the outing holds them too, so that it does not move; with nothing behind it, an actor's late step finishes
by that end.

A margin is kept free before whatever the late step would move by coming later, or the end of its window. A
late step behind it is moved first, and what that one moves counts: margins do not add up along a chain. No
step starts before its earliest start for the sake of a margin: there is then less of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self

import numpy as np

from planning_kit.plan.network import Bound, Network, mirrored, on_grid
from planning_kit.plan.timing import Raise, earliest_starts, last_raises, outing_end


def planned_starts(network: Network, durations: np.ndarray,
                   not_before: np.ndarray | None = None) -> np.ndarray:
    """The starts of the plan, as of `earliest_starts`, but for the late steps of the network."""
    starts = earliest_starts(network, durations, not_before)
    return late_starts(network, durations, starts, network.late, network.late_margins_min)


def late_starts(network: Network, durations: np.ndarray, starts: np.ndarray, late: Sequence[int],
                margins_min: Sequence[float]) -> np.ndarray:
    """``starts``, with the steps at the positions ``late`` as late as they can be without moving any other.

    ``starts`` and ``durations`` (steps,) or (steps, samples), minutes, keep every rule, as the earliest do;
    ``margins_min`` go with ``late``. The outing end is that of ``starts``. Steps that have begun stay, and so
    does a sample in which some step has no place.
    """
    side = _Side.of(network, late, margins_min)
    if not side.late:
        return starts
    columns = np.atleast_2d(starts.T).T
    given = np.broadcast_to(np.atleast_2d(np.asarray(durations, dtype=float).T).T, columns.shape)
    lengths, floor = on_grid(given[list(side.steps)]), side.floor(columns, given)
    if any(side.margins_min):
        floor = side.margin_floor(columns, lengths, floor)
    latest = side.latest(lengths, floor)
    moved, rows = columns.copy(), list(side.late)
    moved[rows] = np.where(np.isfinite(columns).all(axis=0), latest, columns[rows])
    return np.asarray(moved[:, 0] if starts.ndim == 1 else moved)


@dataclass(frozen=True)
class Keeper:
    """What keeps a late step from being later: the step ``source``, or -1: the end of ``windowed``'s window.

    ``windowed``: the late step itself or one behind it; -1: none, it is the end of the outing. ``bound``: the
    rule between the two, where it is one alone.
    """

    source: int = -1
    windowed: int = -1
    bound: Bound | None = None


def late_keepers(network: Network, durations: np.ndarray, starts: np.ndarray) -> dict[int, Keeper]:
    """For each late step to come what keeps it, given the earliest ``starts`` (steps,), all finite."""
    side = _Side.of(network, network.late, network.late_margins_min)
    if not side.late:
        return {}
    columns, given = starts[:, None], np.asarray(durations, dtype=float)[:, None]
    lengths, floor = on_grid(given[list(side.steps)]), side.floor(columns, given)
    free = last_raises(side.network, lengths[:, 0], floor[:, 0])
    if not any(side.margins_min):
        return {step: side.keeper(free, step) for step in side.late}
    higher = side.margin_floor(columns, lengths, floor)
    kept = last_raises(side.network, lengths[:, 0], higher[:, 0])
    # A step that is where its own margin puts it is kept by what it would move in the end, which is not late.
    return {step: side.keeper(kept, step) if raised != Raise() else side.last_keeper(free, step)
            for step, raised in zip(side.late, kept, strict=False)}


@dataclass(frozen=True)
class _Side:
    """The late steps to come and what they touch, as a problem run backwards.

    ``steps``: positions in ``whole`` of its steps, the ``late`` ones first.
    """

    whole: Network
    late: tuple[int, ...]
    margins_min: tuple[float, ...]
    steps: tuple[int, ...]
    bounds: tuple[Bound, ...]

    @classmethod
    def of(cls, network: Network, late: Sequence[int], margins_min: Sequence[float]) -> Self:
        pairs = [(step, margin) for step, margin in zip(late, margins_min, strict=True)
                 if step not in network.fixed]
        own = tuple(step for step, _ in pairs)
        # What a late step asks of those before it is kept by being no earlier than the earliest.
        bounds = tuple(bound for bound in network.bounds if bound.before in own)
        touched = {bound.after for bound in bounds} | {
            member for group in network.groups if set(own) & set(group.members) for member in group.members}
        return cls(network, own, tuple(margin for _, margin in pairs),
                   (*own, *sorted(touched - set(own))), bounds)

    @cached_property
    def network(self) -> Network:
        """The problem run backwards; all but the late steps are free of windows: they are held."""
        place = {step: number for number, step in enumerate(self.steps)}
        groups = [(replace(group, members=tuple(place[member] for member in group.members)), windows)
                  for group, windows in zip(self.whole.groups, self.whole.group_windows, strict=True)
                  if set(group.members) & set(self.late)]
        return mirrored(Network(
            steps=tuple(self.whole.steps[step] for step in self.steps),
            bounds=tuple(replace(bound, before=place[bound.before], after=place[bound.after])
                         for bound in self.bounds),
            allowed=tuple(self.whole.allowed[step] if step in self.late else None for step in self.steps),
            groups=tuple(group for group, _ in groups), group_windows=tuple(each for _, each in groups),
        ), np.inf)

    def floor(self, starts: np.ndarray, durations: np.ndarray) -> np.ndarray:
        """What no step of the mirror may start before: the others where they are, the late by the end."""
        rows = list(self.steps)
        lengths = on_grid(durations[rows])
        end, floor = outing_end(self.whole, starts, durations), -(starts[rows] + lengths)
        for row in range(len(self.late)):
            last = np.minimum(end, on_grid(self.whole.horizon_min) + lengths[row])
            floor[row] = np.minimum(floor[row], -last)
        for home in self.whole.homes:
            if home.last in self.late:
                row = self.late.index(home.last)
                floor[row] = np.maximum(floor[row], on_grid(home.travel_min) + self.whole.ends_min - end)
        return np.asarray(floor)

    def latest(self, lengths: np.ndarray, floor: np.ndarray) -> np.ndarray:
        """The latest starts (late, samples); ``lengths`` and ``floor`` (steps, samples) of this side."""
        count, back = len(self.late), earliest_starts(self.network, lengths, floor)
        return np.asarray(-back[:count] - lengths[:count])

    def margin_floor(self, starts: np.ndarray, lengths: np.ndarray, floor: np.ndarray) -> np.ndarray:
        """The floor with the margins kept free, but for what would make a step earlier than ``starts``."""
        count = len(self.late)
        most = self.latest(lengths, floor) - on_grid(np.array(self.margins_min))[:, None]
        higher = floor.copy()
        kept = np.maximum(most, starts[list(self.late)]) + lengths[:count]
        higher[:count] = np.maximum(floor[:count], -kept)
        return higher

    def keeper(self, raises: Sequence[Raise], step: int) -> Keeper:
        raised = raises[self.late.index(step)]
        if raised.source < 0:
            return Keeper(windowed=step if raised.kind else -1)
        source = self.steps[raised.source]
        between = [bound for bound in self.bounds if (bound.before, bound.after) == (step, source)]
        return Keeper(source, bound=between[0] if len(between) == 1 else None)

    def last_keeper(self, raises: Sequence[Raise], step: int) -> Keeper:
        """The first on the way that is not late."""
        keeper = self.keeper(raises, step)
        while keeper.source in self.late:
            keeper = replace(self.keeper(raises, keeper.source), bound=None)
        return keeper
