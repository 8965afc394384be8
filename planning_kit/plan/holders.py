"""What holds each step: among the bounds that are tight at its start, the one that a planner names.

A bound is tight when it alone would put the step where it is. Candidates are taken only along chains that
trace back to egress (tight bounds can run in circles, as when a least and a greatest gap are equal), in the
order light, link, named window, group, greatest gap, partner, after, least gap, crew order; outside, the log
comes before all of them and "not before now" after them.

Windows and groups look at the step itself, and greatest gaps at steps behind it: which of them was first is
not seen from the times alone. What raised a step last on the way to those times (`last_raises`) is therefore
always among the candidates; these causes never run in a circle, so every chain ends at egress or a window.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

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
from planning_kit.plan.timing import Raise, last_raises, place_in_windows

_RANK = {kind: rank for rank, kind in enumerate(
    (LOGGED, LIGHT, LINK, WINDOW, GROUP, MAX_GAP, PARTNER, AFTER, MIN_GAP, ORDER, TURN, NOW)
)}


@dataclass(frozen=True)
class Holder:
    """A tight bound on a step.

    ``text`` is ``kind:id``; ``source`` the step that it comes from (-1: egress or a window). ``ready_min`` is
    when the step could have started but for its window or group (NaN for other kinds); ``bound`` the rule
    itself where it is one between two steps. ``group``: the steps that share a window, where they are why
    this window begins none too early for the step ("": its own readiness is).
    """

    kind: str
    text: str
    source: int = -1
    crew: str = ""
    ready_min: float = float("nan")
    bound: Bound | None = None
    group: str = ""


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
    lengths, raises = on_grid(durations), last_raises(network, durations)
    candidates = [_tight_on(network, lengths, starts, raises, step) for step in range(len(network.steps))]
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
    for release in network.releases:
        if release.step == step:
            holder = Holder(release.kind, f"{release.kind}:{release.name}", crew=release.crew)
            asked.append((float(on_grid(release.at_min)), holder))
    for bound in network.bounds_into[step]:
        holder = Holder(bound.kind, f"{bound.kind}:{bound.name}", bound.before, bound.crew, bound=bound)
        asked.append((float(starts[bound.before] + bound.weight_min(lengths)), holder))
    return asked


def _tight_on(network: Network, lengths: np.ndarray, starts: np.ndarray, raises: Sequence[Raise],
              step: int) -> list[Holder]:
    asked, raised = _bounds_on(network, lengths, starts, step), raises[step]
    holders = [holder for at, holder in asked if at == starts[step]]
    # A bound may ask for what the step itself has pushed up (a greatest gap, a least one below zero).
    own = [at for at, holder in asked if at < starts[step] and not _rests_on(holder.source, step, raises)]
    ready = max(own, default=-np.inf)
    fits_min, windows = np.inf, network.allowed[step]
    if windows is not None and (not holders or np.isfinite(ready)):
        fits_min = place_in_windows(np.array([ready]), lengths[[step]], windows)[0]
    really_ready = max((at for at, _ in _ready_bounds(asked)), default=ready)
    if raised.kind == WINDOW or fits_min == starts[step]:
        demand = _demand_that_begins(network, step, starts[step])
        is_by_group = raised.is_after_group and fits_min < starts[step]
        group = _group_of(network, step) if is_by_group else ""
        holders.append(Holder(demand.kind, demand.name_at(starts[step]), ready_min=really_ready, group=group))
    if raised.kind == GROUP:
        holders.append(Holder(GROUP, f"{GROUP}:{_group_of(network, step)}", ready_min=really_ready))
    return holders


def _rests_on(step: int, other: int, raises: Sequence[Raise]) -> bool:
    """Whether ``step`` is where it is because of ``other``."""
    while step >= 0 and step != other:
        step = raises[step].source
    return step == other


def _ready_bounds(asked: list[tuple[float, Holder]]) -> list[tuple[float, Holder]]:
    """Those that say when a step could begin; a greatest gap says when it must not begin yet."""
    return [(at, holder) for at, holder in asked if holder.kind != MAX_GAP]


def _group_of(network: Network, step: int) -> str:
    return next((group.name for group in network.groups if step in group.members), "")


def _demand_that_begins(network: Network, step: int, start: float) -> Demand:
    demands = network.demands[step]
    return next((d for d in demands if (d.windows[:, 0] == start).any()), demands[0])


def _grounded_order(candidates: list[list[Holder]]) -> list[float]:
    """A rank for each step such that following holders to lower ranks always ends at egress or a window."""
    rank = [np.inf] * len(candidates)
    waiting, count = set(range(len(candidates))), 0
    while waiting:
        def grounded(holder: Holder) -> bool:
            return holder.source < 0 or rank[holder.source] < np.inf

        ready = [s for s in sorted(waiting) if all(grounded(h) for h in candidates[s])]
        ready = ready or [s for s in sorted(waiting) if any(grounded(h) for h in candidates[s])][:1]
        if not ready:
            break
        for step in ready:
            rank[step] = count
            count += 1
        waiting.difference_update(ready)
    return rank
