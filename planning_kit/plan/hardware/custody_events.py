"""The moments at which steps end and begin, in the order in which they act on hardware."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite
from typing import TYPE_CHECKING

from planning_kit.plan.network import AFTER, MIN_GAP, ORDER

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan


def instants(plan: TimedPlan) -> Iterator[tuple[float, list[int], list[int]]]:
    """Every moment at which a step ends or begins: positions that finish (begun earlier), that start."""
    starts, finishes = plan.starts.tolist(), plan.finishes.tolist()
    ending: dict[float, list[int]] = {}
    beginning: dict[float, list[int]] = {}
    for position, (start, finish) in enumerate(zip(starts, finishes, strict=True)):
        if isfinite(start):
            beginning.setdefault(start, []).append(position)
            if finish > start:
                ending.setdefault(finish, []).append(position)
    for now in sorted({*ending, *beginning}):
        starting = beginning.get(now, [])
        if len(starting) > 1 and any(finishes[position] == now for position in starting):
            starting = _in_order(plan, starting)
        yield now, ending.get(now, []), starting


def _in_order(plan: TimedPlan, positions: list[int]) -> list[int]:
    """Steps that start together, some of no length, so that none comes before one that it waits for."""
    waits_for: dict[int, set[int]] = {position: set() for position in positions}
    for bound in plan.network.bounds:
        if bound.kind in (ORDER, AFTER, MIN_GAP) and bound.before in waits_for and bound.after in waits_for:
            waits_for[bound.after].add(bound.before)
    done: list[int] = []
    while waits_for:
        position = next((p for p, others in waits_for.items() if not others - set(done)), min(waits_for))
        del waits_for[position]
        done.append(position)
    return done
