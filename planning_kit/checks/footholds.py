"""Check: footholds. In this place's socket over the whole step, and in one place at once."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from planning_kit.checks.custody import held_words
from planning_kit.checks.findings import CAUTION, STOP, Finding
from planning_kit.inputs.records import Step
from planning_kit.inputs.times import pet_label
from planning_kit.plan.custody import NO_SOCKET, NOT_IN_SOCKET, SOCKET_TAKEN, Mishap, people
from planning_kit.plan.timed import TimedPlan

CHECK = "footholds"


def check_footholds(plan: TimedPlan) -> Iterator[Finding]:
    """No socket, or the foothold is not in it (stop); steps that miss it for one cause share a finding."""
    missing: dict[tuple[object, ...], list[Mishap]] = {}
    for mishap in plan.tracked_custody.mishaps:
        if mishap.kind == NO_SOCKET:
            yield _no_socket(plan, mishap)
        elif mishap.kind == SOCKET_TAKEN:
            yield _socket_taken(plan, mishap)
        elif mishap.kind == NOT_IN_SOCKET:
            elsewhere = _needed_elsewhere(plan, mishap)
            cause = (elsewhere.step,) if elsewhere else (mishap.place, mishap.item, mishap.was)
            missing.setdefault(cause, []).append(mishap)
    for group in missing.values():
        yield _missing(plan, group)


def _no_socket(plan: TimedPlan, mishap: Mishap) -> Finding:
    return Finding(
        STOP, CHECK, mishap.crew, mishap.step, mishap.at_min,
        f"{mishap.step} needs {mishap.item} at {plan.place_title(mishap.place)}, which has no socket for it: "
        "work without it, or mark the place's socket", "places.socket",
    )


def _socket_taken(plan: TimedPlan, mishap: Mishap) -> Finding:
    return Finding(
        CAUTION, CHECK, mishap.crew, mishap.step, mishap.at_min,
        f"{mishap.crew} leaves {mishap.item} at {plan.place_title(mishap.place)} at "
        f"{pet_label(mishap.at_min)}, but its socket has {mishap.other} in it: {mishap.item} is only "
        "strapped there and holds nobody; take the other out first if it is to be used", "places.socket",
    )


def _missing(plan: TimedPlan, group: list[Mishap]) -> Finding:
    first = group[0]
    place = plan.place_title(first.place)
    also = [mishap.step for mishap in group[1:]]
    names = " and ".join([first.step, *also]) + (" need " if also else " needs ")
    elsewhere = _needed_elsewhere(plan, first)
    if elsewhere:
        position = plan.position(elsewhere.step)
        message = (
            f"{names}{first.item} at {place}, and {elsewhere.step} at {plan.place_title(elsewhere.place)} "
            f"from {pet_label(plan.starts[position])} to {pet_label(plan.finishes[position])}: one foothold "
            f"cannot be in two places; let one follow the other (after), or bring a second")
    else:
        blocked = f" (the socket has {first.other} in it)" if first.other else ""
        message = (f"{names}{first.item} in the socket of {place} at {pet_label(first.at_min)}, but "
                   f"{held_words(plan, first.was)}{blocked}: bring it here before, in a step that leaves it")
    return Finding(STOP, CHECK, first.crew, first.step, first.at_min, message, "steps.foothold")


def _needed_elsewhere(plan: TimedPlan, mishap: Mishap) -> Step | None:
    """Another step that needs the same foothold at another place with a socket while this one does."""
    sockets = {place.place for place in plan.scenario.records.places if place.socket}
    return next((
        step for step in plan.steps
        if step.foothold == mishap.item and step.place != mishap.place and step.place in sockets
        and _overlap(plan, plan.position(mishap.step), plan.position(step.step))
    ), None)


def _overlap(plan: TimedPlan, one: int, other: int) -> bool:
    begin = max(plan.starts[one], plan.starts[other])
    return bool(begin < min(plan.finishes[one], plan.finishes[other]))


def check_shared_footholds(plan: TimedPlan) -> Iterator[Finding]:
    """Two people in one foothold at once, each in a step of their own (caution)."""
    held = [position for position, step in enumerate(plan.steps) if step.foothold]
    for one, other in combinations(held, 2):
        first, second = sorted((one, other), key=lambda position: plan.starts[position])
        a, b = plan.steps[first], plan.steps[second]
        if (a.foothold, a.place) == (b.foothold, b.place) and _overlap(plan, first, second) and not (
                set(people(a)) & set(people(b))):
            yield Finding(
                CAUTION, CHECK, f"{a.crew} {b.crew}", b.step, float(plan.starts[second]),
                f"{a.crew} ({a.step}) and {b.crew} ({b.step}) are both in {a.foothold} at "
                f"{plan.place_title(a.place)} from {pet_label(plan.starts[second])}: it holds one; make it "
                f"one step of both, or let {b.step} come after {a.step}", "steps.foothold",
            )
