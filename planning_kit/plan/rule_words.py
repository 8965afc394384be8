"""Bounds between two steps in words, for explanations and for plans that cannot be."""

from __future__ import annotations

from planning_kit.plan.network import MAX_GAP, Bound


def gap_words(bound: Bound, first: str, then: str) -> str:
    """What a gap asks, with the ends that it counts between: "B must start within 5 min after A finishes".

    ``first`` and ``then`` are the names of the gap's steps; ``bound`` is its least or its greatest gap.
    """
    if bound.kind == MAX_GAP:
        first_end, then_end = bound.to_finish, bound.from_finish
        how = f"within {-bound.fixed_min:g} min after"
    else:
        first_end, then_end = bound.from_finish, bound.to_finish
        how = f"at least {bound.fixed_min:g} min after" if bound.fixed_min else "after"
    return f"{then} must {_end(then_end)} {how} {first} {_end(first_end)}{'es' if first_end else 's'}"


def _end(is_finish: bool) -> str:
    return "finish" if is_finish else "start"
