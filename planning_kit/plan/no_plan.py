"""Why there is no plan: circles among the rules and steps that fit in no window, told by name.

`stop_if_circular` runs before the timing, `stop_if_unplaced` after it.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from graphlib import CycleError, TopologicalSorter

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from planning_kit.inputs.faults import Faults
from planning_kit.inputs.times import pet_label
from planning_kit.plan.explain import gap_words
from planning_kit.plan.network import (
    AFTER,
    LINK,
    MAX_GAP,
    MIN_GAP,
    ORDER,
    Bound,
    Demand,
    Network,
    grouped,
    on_grid,
)
from planning_kit.plan.timing import earliest_starts


def stop_if_circular(network: Network, durations: np.ndarray) -> None:
    """Raise `ScenarioError` naming the steps when rules run in a circle that no times can satisfy."""
    circle = _circle_of_order(network) or _rising_circle(network, durations)
    if not circle:
        return
    lengths, faults = on_grid(durations), Faults()
    names = " -> ".join([network.steps[bound.before] for bound in circle] + [network.steps[circle[0].before]])
    excess = sum(float(bound.weight_min(lengths)) for bound in circle)
    problems = [_rule_words(network, lengths, bound) for bound in circle]
    problems[0] += (f". With the next {len(circle) - 1} this is a circle that no times can satisfy ({names}; "
                f"{excess:.4g} min too long): change one of these rules")
    for bound, problem in zip(circle, problems, strict=True):
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
                       f"them together before the horizon ({pet_label(network.horizon_min, 'down')})")
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
            # Other gaps let the two overlap, or the second come first: they say no order.
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
    # Without windows and horizon only a circle of bounds can make a start infinite.
    bare = replace(network, releases=(), allowed=(), groups=(), group_windows=(), horizon_min=np.inf)
    if np.isfinite(earliest_starts(bare, durations, np.zeros(len(network.steps)))).all():
        return []
    lengths = on_grid(durations)
    weights = {bound: float(bound.weight_min(lengths)) for bound in network.bounds}
    knot = _knots(network, [(bound.before, bound.after) for bound in network.bounds])
    bounds = [bound for bound in network.bounds if knot[bound.before] == knot[bound.after]]
    # Every step begins at 0: a circle shows also where nothing before it leads into it.
    height = [0.0] * len(network.steps)
    raised_by: dict[int, Bound] = {}
    step = 0  # the one raised last: it is on such a circle or behind one
    for _ in range(max(Counter(knot).values()) + 1):  # no circle has more steps than its knot
        for bound in bounds:
            reach = height[bound.before] + weights[bound]
            if reach > height[bound.after]:
                height[bound.after], raised_by[bound.after], step = reach, bound, bound.after
    for _ in network.steps:  # as many back as there are steps: from behind a circle onto it
        step = raised_by[step].before
    circle = [raised_by[step]]
    while circle[-1].before != step:
        circle.append(raised_by[circle[-1].before])
    return circle[::-1]


def _knots(network: Network, links: Sequence[tuple[int, int]]) -> list[int]:
    """The number of each step's knot: steps that each lead to all others of it along the ``links``."""
    ends = np.array(links, dtype=int).reshape(-1, 2).T
    graph = coo_array((np.ones(len(links)), (ends[0], ends[1])), shape=(len(network.steps),) * 2)
    knot: list[int] = connected_components(graph, directed=True, connection="strong")[1].tolist()
    return knot


def _rule_words(network: Network, lengths: np.ndarray, bound: Bound) -> str:
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
    are_lost = set(lost)
    within = [(bound.before, bound.after) for bound in network.bounds
              if bound.before in are_lost and bound.after in are_lost]
    for group in network.groups:
        # Each waits for all others: linked in a ring, they are in one knot.
        own = [member for member in group.members if member in are_lost]
        within += itertools.pairwise([*own, *own[:1]])
    knot = _knots(network, within)
    waiting = {knot[other] for one, other in within if knot[one] != knot[other]}
    causes = {step for step in lost if _is_too_long(network, durations, step)}
    for steps in grouped((knot[step], step) for step in lost if knot[step] not in waiting).values():
        needing = [step for step in steps if network.demands[step] or network.groups_of[step]]
        causes |= set(needing or steps)
    return sorted(causes)


def _is_too_long(network: Network, durations: np.ndarray, step: int) -> bool:
    """Whether a step is longer than every window of some kind that it needs."""
    return any(durations[step] > _longest_min(demand) for demand in network.demands[step])


def is_first_cause(network: Network, durations: np.ndarray, starts: np.ndarray, step: int) -> bool:
    """Whether an unplaced step is lost by itself, not only because one that it waits for is."""
    waits = any(not np.isfinite(starts[bound.before]) for bound in network.bounds_into[step])
    return not waits or _is_too_long(network, durations, step)


def _longest_min(demand: Demand) -> float:
    return float((demand.windows[:, 1] - demand.windows[:, 0]).max(initial=-np.inf))


def why_unplaced(network: Network, durations: np.ndarray, starts: np.ndarray,
                  step: int) -> tuple[str, str]:
    """The column concerned and the reason in words for a step that finds no time or window."""
    before = f"before the horizon ({pet_label(network.horizon_min, 'down')})"
    # First what the planner can mend at this step alone, then what others have to do with it.
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
        labels = " and ".join(demand.label for demand in network.demands[step])
        return _column(network.demands[step][0]), (
            f"is ready at {pet_label(ready)}, but no {labels} window of {durations[step]:g} min is left "
            f"{before}"
        )
    return "after", f"would start at {pet_label(ready)}, not {before}"


def _ready_min(network: Network, starts: np.ndarray, step: int, durations: np.ndarray) -> float:
    lengths = on_grid(durations)
    floors = [starts[bound.before] + float(bound.weight_min(lengths)) for bound in network.bounds_into[step]]
    floors += [release.at_min for release in network.releases_of[step]]
    return max(floors, default=0.0)


def _column(demand: Demand) -> str:
    return {"light": "light", "link": "link"}.get(demand.kind, "windows")

