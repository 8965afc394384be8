"""Why there is no plan: circles among the rules and steps that fit in no window, told by name.

`stop_if_circular` runs before the timing, `stop_if_unplaced` after it.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from graphlib import CycleError, TopologicalSorter

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from planning_kit.inputs.faults import Faults
from planning_kit.inputs.times import pet_label
from planning_kit.plan.explain import gap_words
from planning_kit.plan.network import AFTER, LINK, MAX_GAP, MIN_GAP, ORDER, Bound, Demand, Network, on_grid


def stop_if_circular(network: Network, durations: np.ndarray) -> None:
    """Raise `ScenarioError` naming the steps when rules run in a circle that no times can satisfy."""
    circle = _circle_of_order(network) or _rising_circle(network, durations)
    if not circle:
        return
    lengths, faults = on_grid(durations), Faults()
    names = " -> ".join([network.steps[bound.before] for bound in circle] + [network.steps[circle[0].before]])
    excess = sum(float(bound.weight_min(lengths)) for bound in circle)
    told = [_told(network, lengths, bound) for bound in circle]
    told[0] += (f". With the next {len(circle) - 1} this is a circle that no times can satisfy ({names}; "
                f"{excess:.4g} min too long): change one of these rules")
    for bound, problem in zip(circle, told, strict=True):
        if bound.kind in (MIN_GAP, MAX_GAP):
            first = bound.before if bound.kind == MIN_GAP else bound.after
            faults.add("gaps", bound.row, bound.kind, network.steps[first], problem)
        else:
            column = "after" if bound.kind == AFTER else "crew"
            faults.add("steps", _row(network, bound.after), column, network.steps[bound.after], problem)
    faults.stop_if_any()


def stop_if_unplaced(network: Network, durations: np.ndarray, starts: np.ndarray) -> None:
    """Raise `ScenarioError` naming the steps that find no window or no time below the horizon."""
    lost = [step for step in range(len(network.steps)) if not np.isfinite(starts[step])]
    if not lost:
        return
    faults = Faults()
    causes = first_causes(network, durations, lost)
    ready = {step: np.isfinite(_ready_min(network, starts, step, durations)) for step in causes}
    for step in causes:
        column, problem = why_unplaced(network, durations, starts, step)
        if column == "after" and not ready[step]:
            if any(ready.values()):
                continue  # it waits for what waits for it, and something else says more
            problem = (f"waits for steps that wait for it in turn (a greatest gap), and there is no time for "
                       f"them together before the horizon ({pet_label(network.horizon_min)})")
        faults.add("steps", _row(network, step), column, network.steps[step], problem)
    faults.stop_if_any()


def _row(network: Network, step: int) -> int | None:
    return network.rows[step] if network.rows else None


def _circle_of_order(network: Network) -> list[Bound]:
    """A circle of order, ``after`` and least gaps: nonsense even where its times would agree."""
    links: dict[tuple[int, int], Bound] = {}
    sorter: TopologicalSorter[int] = TopologicalSorter()
    for bound in network.bounds:
        ordering = bound.kind in (ORDER, AFTER) or (
            bound.kind == MIN_GAP and bound.from_finish and not bound.to_finish and bound.fixed_min >= 0
        )
        if ordering:
            sorter.add(bound.after, bound.before)
            links.setdefault((bound.before, bound.after), bound)
    try:
        sorter.prepare()
    except CycleError as error:
        circle: Sequence[int] = error.args[1]
        return [links[pair] for pair in itertools.pairwise(circle)]
    return []


def _rising_circle(network: Network, durations: np.ndarray) -> list[Bound]:
    """A circle of bounds with a positive sum, by Bellman and Ford's method."""
    lengths = on_grid(durations)
    weights = {bound: float(bound.weight_min(lengths)) for bound in network.bounds}
    if _settles(network, weights):
        return []
    bounds, longest = _in_circles(network)
    height = [0.0] * len(network.steps)
    raised_by: dict[int, Bound] = {}
    moved: int | None = None
    for _ in range(longest + 1):
        moved = None
        for bound in bounds:
            reach = height[bound.before] + weights[bound]
            if reach > height[bound.after]:
                height[bound.after] = reach
                raised_by[bound.after] = bound
                moved = bound.after
        if moved is None:
            return []
    step = moved if moved is not None else 0
    for _ in network.steps:
        step = raised_by[step].before
    circle = [raised_by[step]]
    while circle[-1].before != step:
        circle.append(raised_by[circle[-1].before])
    return circle[::-1]


def _in_circles(network: Network) -> tuple[list[Bound], int]:
    """The bounds that lie on some circle, and the most steps that a circle can have."""
    ends = ([bound.before for bound in network.bounds], [bound.after for bound in network.bounds])
    links = coo_array((np.ones(len(network.bounds)), ends), shape=(len(network.steps),) * 2)
    _, knot = connected_components(links, directed=True, connection="strong")
    return [b for b in network.bounds if knot[b.before] == knot[b.after]], int(np.bincount(knot).max())


def _settles(network: Network, weights: Mapping[Bound, float]) -> bool:
    """Whether raising steps along their bounds comes to an end: there is no circle with a positive sum.

    Sweeps as in `planning_kit.plan.timing`, which says why so many are enough; most networks need two.
    """
    height = [0.0] * len(network.steps)
    into = [[(bound.before, weights[bound]) for bound in bounds] for bounds in network.bounds_into]
    for _ in range(len(network.returning_bounds) + 2):
        is_at_rest = True
        for step in network.sweep_order:
            reach = max((height[before] + weight for before, weight in into[step]), default=0.0)
            if reach > height[step]:
                height[step], is_at_rest = reach, False
        if is_at_rest:
            return True
    return False


def _told(network: Network, lengths: np.ndarray, bound: Bound) -> str:
    before, after = network.steps[bound.before], network.steps[bound.after]
    takes = f"{lengths[bound.before]:g} min of work"
    if bound.kind == ORDER:
        travel = bound.fixed_min + bound.travel_min
        way = f" and {travel:.1f} min of travel" if travel else ""
        return f"{after} follows {before} ({takes}{way}) in the order of work of {bound.crew}"
    if bound.kind == AFTER:
        return f"{after} must wait until {before} is finished ({takes})"
    if bound.kind == MIN_GAP:
        return f"{gap_words(bound, before, after)} ({takes})"
    return gap_words(bound, after, before)


def first_causes(network: Network, durations: np.ndarray, lost: Sequence[int]) -> list[int]:
    """The positions of the ``lost`` steps that are lost by themselves: the rest only waits for them.

    Steps that wait for each other (a greatest gap in a group's window, say) are lost together; of such a knot
    those that need a window are named, or all of it where none does.
    """
    behind = _reaches(network, lost)
    first = [i for i in range(len(lost)) if not (behind[:, i] & ~behind[i]).any()]
    members = {member for group in network.groups for member in group.members}
    causes = []
    for i in first:
        knot = [lost[int(j)] for j in np.flatnonzero(behind[i] & behind[:, i])]
        needing = [step for step in knot if network.demands[step] or step in members]
        causes += [lost[i]] if lost[i] in (needing or knot) else []
    return sorted({*causes, *(step for step in lost if _is_too_long(network, durations, step))})


def _is_too_long(network: Network, durations: np.ndarray, step: int) -> bool:
    """Whether a step is longer than every window of some kind that it needs."""
    return any(durations[step] > _longest_min(demand) for demand in network.demands[step])


def _reaches(network: Network, lost: Sequence[int]) -> np.ndarray:
    """Whether one of the ``lost`` steps (rows) holds back another (columns), over however many between."""
    place = {step: i for i, step in enumerate(lost)}
    reaches = np.eye(len(lost), dtype=bool)
    for bound in network.bounds:
        if bound.before in place and bound.after in place:
            reaches[place[bound.before], place[bound.after]] = True
    for group in network.groups:
        own = [place[member] for member in group.members if member in place]
        reaches[np.ix_(own, own)] = True
    for _ in range(len(lost).bit_length()):
        reaches = (reaches.astype(np.float32) @ reaches.astype(np.float32)) > 0
    return reaches


def is_first_cause(network: Network, durations: np.ndarray, starts: np.ndarray, step: int) -> bool:
    """Whether an unplaced step is lost by itself, not only because one that it waits for is."""
    waits = any(not np.isfinite(starts[bound.before]) for bound in network.bounds_into[step])
    return not waits or _is_too_long(network, durations, step)


def _longest_min(demand: Demand) -> float:
    return float((demand.windows[:, 1] - demand.windows[:, 0]).max(initial=-np.inf))


def why_unplaced(network: Network, durations: np.ndarray, starts: np.ndarray,
                  step: int) -> tuple[str, str]:
    """The column concerned and the reason in words for a step that finds no time or window."""
    before = f"before the horizon ({pet_label(network.horizon_min)})"
    for demand in network.demands[step]:
        if not len(demand.windows):
            named = ": does [relays] name any relay?" if demand.kind == LINK else ""
            return _column(demand), f"needs a {demand.label} window, but there is none {before}{named}"
        if durations[step] > _longest_min(demand):
            return _column(demand), (
                f"takes {durations[step]:g} min, but the longest {demand.label} window {before} leaves "
                f"{_longest_min(demand):.1f} min inside its guards: shorten or split the step"
            )
    group = next((g.name for g in network.groups if step in g.members), None)
    if group is not None:
        return "same_window", f"the steps of {group!r} do not fit in one window together {before}"
    ready = _ready_min(network, starts, step, durations)
    if not np.isfinite(ready):
        return "after", f"waits for steps that cannot be placed {before}"
    if network.demands[step]:
        wanted = " and ".join(demand.label for demand in network.demands[step])
        return _column(network.demands[step][0]), (
            f"is ready at {pet_label(ready)}, but no {wanted} window of {durations[step]:g} min is left "
            f"{before}"
        )
    return "after", f"would start at {pet_label(ready)}, not {before}"


def _ready_min(network: Network, starts: np.ndarray, step: int, durations: np.ndarray) -> float:
    lengths = on_grid(durations)
    asked = [starts[bound.before] + float(bound.weight_min(lengths)) for bound in network.bounds_into[step]]
    asked += [release.at_min for release in network.releases if release.step == step]
    return max(asked, default=0.0)


def _column(demand: Demand) -> str:
    return {"light": "light", "link": "link"}.get(demand.kind, "windows")

