"""What holds each step: among the bounds that are tight at its start, the one that a planner names.

A bound is tight when it alone would put the step where it is. Candidates are taken only along chains that
trace back to egress (tight bounds can run in circles, as when a least and a greatest gap are equal), in the
order light, link, named window, group, greatest gap, partner, after, least gap, crew order; outside, the log
comes before all of them and "not before now" after them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from heapq import heappop, heappush

import numpy as np

from planning_kit.plan.network import (
    AFTER,
    GROUP,
    LIGHT,
    LINK,
    LOGGED,
    MAX_GAP,
    MIN_GAP,
    NOW,
    ORDER,
    PARTNER,
    TURN,
    WINDOW,
    Bound,
    Demand,
    Network,
    on_grid,
)
from planning_kit.plan.timing import group_floor, place_in_windows

_RANK = {kind: rank for rank, kind in enumerate(
    (LOGGED, LIGHT, LINK, WINDOW, GROUP, MAX_GAP, PARTNER, AFTER, MIN_GAP, ORDER, TURN, NOW)
)}


@dataclass(frozen=True)
class Holder:
    """A tight bound on a step.

    ``text`` is ``kind:id``; ``source`` the step that it comes from (-1: egress or a window). ``ready_min`` is
    when the step could have started but for its window or group (NaN for other kinds); ``bound`` the rule
    itself where it is one between two steps.
    """

    kind: str
    text: str
    source: int = -1
    crew: str = ""
    ready_min: float = float("nan")
    bound: Bound | None = None


@dataclass(frozen=True)
class Holders:
    """For each step all tight bounds, best first, and for each step the chosen one."""

    tight: tuple[tuple[Holder, ...], ...]
    chosen: tuple[Holder, ...]

    def for_crew(self, step: int, crew: str, shared: bool) -> Holder:
        """The holder as ``crew`` sees it: in a shared step another's order of work is the partner."""
        if not shared:
            return self.chosen[step]
        seen = [_seen_by(holder, crew) for holder in self.tight[step]]
        if any(holder.kind == ORDER for holder in seen):  # ready at the same minute: nobody is waited for
            seen = [holder for holder in seen if holder.kind != PARTNER]
        return min(seen, key=lambda holder: _RANK[holder.kind])


def _seen_by(holder: Holder, crew: str) -> Holder:
    if holder.kind == ORDER and holder.source >= 0 and holder.crew != crew:
        return replace(holder, kind=PARTNER, text=f"{PARTNER}:{holder.crew}")
    return holder


def find_holders(network: Network, durations: np.ndarray, starts: np.ndarray) -> Holders:
    """The holders of a plan whose ``starts`` (steps,) are the earliest and finite."""
    lengths = on_grid(durations)
    begins = _group_begins(network, lengths, starts)
    candidates = [_tight_on(network, lengths, starts, step, begins) for step in range(len(network.steps))]
    grounded = _grounded_order(candidates)
    tight, chosen = [], []
    for step, holders in enumerate(candidates):
        kept = [h for h in holders if h.source < 0 or grounded[h.source] < grounded[step]] or holders
        kept.sort(key=lambda holder: _RANK[holder.kind])
        tight.append(tuple(kept))
        chosen.append(kept[0])
    return Holders(tuple(tight), tuple(chosen))


def ready_holder(network: Network, durations: np.ndarray, starts: np.ndarray, step: int) -> Holder | None:
    """What made a step ready for its window or group: the latest of its bounds, greatest gaps left aside."""
    asked = _ready_bounds(_bounds_on(network, on_grid(durations), starts, step))
    latest = max((at for at, _ in asked), default=-np.inf)
    return min((h for at, h in asked if at == latest), key=lambda holder: _RANK[holder.kind], default=None)


def _bounds_on(network: Network, lengths: np.ndarray, starts: np.ndarray,
               step: int) -> list[tuple[float, Holder]]:
    """Every release and bound on a step with the start that it asks for."""
    asked = []
    for release in network.releases_of[step]:
        holder = Holder(release.kind, f"{release.kind}:{release.name}", crew=release.crew)
        asked.append((float(on_grid(release.at_min)), holder))
    for bound in network.bounds_into[step]:
        holder = Holder(bound.kind, f"{bound.kind}:{bound.name}", bound.before, bound.crew, bound=bound)
        asked.append((float(starts[bound.before] + bound.weight_min(lengths)), holder))
    return asked


def _group_begins(network: Network, lengths: np.ndarray, starts: np.ndarray) -> list[float]:
    """When the window begins that holds each group."""
    lasts = [(starts[list(group.members)] + lengths[list(group.members)]).max() for group in network.groups]
    return [float(group_floor(np.array([last]), windows)[0])
            for last, windows in zip(lasts, network.group_windows, strict=True)]


def _tight_on(network: Network, lengths: np.ndarray, starts: np.ndarray, step: int,
              group_begins: Sequence[float]) -> list[Holder]:
    asked = _bounds_on(network, lengths, starts, step)
    # A bound that asks for just this start may be held up by the step itself (a greatest gap): whether a
    # window or group holds is judged from the bounds below the start.
    ready = max((at for at, _ in asked if at < starts[step]), default=-np.inf)
    holders = [holder for at, holder in asked if at == starts[step]]
    if holders and not np.isfinite(ready):
        return holders
    windows = _window_holders(network, lengths, starts, step, ready, group_begins)
    really_ready = max((at for at, _ in _ready_bounds(asked)), default=ready)
    return holders + [replace(holder, ready_min=really_ready) for holder in windows]


def _ready_bounds(asked: list[tuple[float, Holder]]) -> list[tuple[float, Holder]]:
    """Those that say when a step could begin; a greatest gap says when it must not begin yet."""
    return [(at, holder) for at, holder in asked if holder.kind != MAX_GAP]


def _window_holders(network: Network, lengths: np.ndarray, starts: np.ndarray, step: int,
                    ready: float, group_begins: Sequence[float]) -> list[Holder]:
    start, holders = starts[step], []
    windows = network.allowed[step]
    if windows is not None:
        placed = place_in_windows(np.array([ready]), lengths[[step]], windows)[0]
        if placed == start:
            demand = _demand_that_begins(network, step, start)
            holders.append(Holder(demand.kind, demand.name_at(start), ready_min=ready))
    for number in network.groups_of[step]:
        if group_begins[number] == start:
            holders.append(Holder(GROUP, f"{GROUP}:{network.groups[number].name}", ready_min=ready))
    return holders


def _demand_that_begins(network: Network, step: int, start: float) -> Demand:
    demands = network.demands[step]
    return next((d for d in demands if (d.windows[:, 0] == start).any()), demands[0])


def _grounded_order(candidates: list[list[Holder]]) -> list[float]:
    """A rank for each step such that following holders to lower ranks always ends at egress or a window."""
    rank = [np.inf] * len(candidates)
    missing = [sum(holder.source >= 0 for holder in holders) for holders in candidates]
    behind: list[list[int]] = [[] for _ in candidates]
    for step, holders in enumerate(candidates):
        for holder in holders:
            if holder.source >= 0:
                behind[holder.source].append(step)
    ready = [step for step, count in enumerate(missing) if not count]
    # Where all that wait run in circles, the first of those with one grounded holder opens them.
    opening = [step for step, holders in enumerate(candidates) if 0 < missing[step] < len(holders)]
    count = 0
    while ready := ready or _first_unranked(opening, rank):
        for step in ready:
            rank[step] = count
            count += 1
        then = []
        for other in (other for step in ready for other in behind[step] if rank[other] == np.inf):
            missing[other] -= 1
            if missing[other]:
                heappush(opening, other)
            else:
                then.append(other)
        ready = sorted(then)
    return rank


def _first_unranked(opening: list[int], rank: Sequence[float]) -> list[int]:
    """The least step of a heap that has no rank yet, by itself; nothing where there is none."""
    while opening:
        step = heappop(opening)
        if rank[step] == np.inf:
            return [step]
    return []
