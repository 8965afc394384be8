"""Check: footholds. In this place's socket over the whole step, and in one place at once.

Rules, each about the foothold: ``no-socket``, ``not-in-socket``, ``in-two-places``, ``socket-taken``
(about the other in it as well), ``shared``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from planning_kit.inputs.records import Step
from planning_kit.inputs.times import pet_label
from planning_kit.judge.custody import held_words
from planning_kit.judge.findings import CONCERN, STOP, Finding
from planning_kit.plan.hardware.mishaps import NO_SOCKET, NOT_IN_SOCKET, SOCKET_TAKEN, Mishap
from planning_kit.plan.spans import Spans
from planning_kit.plan.timed import TimedPlan

CHECK = "footholds"


def check_footholds(plan: TimedPlan) -> Iterator[Finding]:
    """No socket, or the foothold is not in it (stop); steps that miss it for one cause share a finding."""
    missing: dict[tuple[object, ...], list[Mishap]] = {}
    needs = _needs(plan)
    for mishap in plan.tracked_custody.mishaps:
        if mishap.kind == NO_SOCKET:
            missing.setdefault((mishap.place, mishap.item), []).append(mishap)
        elif mishap.kind == SOCKET_TAKEN:
            yield _socket_taken(plan, mishap)
        elif mishap.kind == NOT_IN_SOCKET:
            elsewhere = _needed_elsewhere(plan, mishap, needs)
            cause = (elsewhere.step,) if elsewhere else (mishap.place, mishap.item, mishap.was)
            missing.setdefault(cause, []).append(mishap)
    for group in missing.values():
        yield _missing(plan, group, _needed_elsewhere(plan, group[0], needs))


def _socket_taken(plan: TimedPlan, mishap: Mishap) -> Finding:
    place = plan.place_title(mishap.place)
    when = (f"{mishap.crew} leaves {mishap.item} at {place} at {pet_label(mishap.at_min)}" if mishap.step else
            f"{mishap.item} is at {place} at PET {pet_label(mishap.at_min)}")
    return Finding(
        CONCERN, CHECK, "socket-taken", f"{mishap.item} {mishap.other}", mishap.crew, mishap.step,
        mishap.at_min,
        f"{when}, but its socket has {mishap.other} in it: {mishap.item} is only strapped "
        "there and holds nobody; take the other out first if it is to be used", "places.socket",
    )


def _missing(plan: TimedPlan, group: list[Mishap], elsewhere: Step | None) -> Finding:
    first = group[0]
    verb = "need" if len(group) > 1 else "needs"
    place = plan.place_title(first.place)
    needs = f"{' and '.join(mishap.step for mishap in group)} {verb} {first.item}"
    if first.kind == NO_SOCKET:
        rule = "no-socket"
        message = (f"{needs} at {place}, which has no socket for it: work without it, or mark the socket of "
                   "this place")
    elif elsewhere:
        rule, position = "in-two-places", plan.position(elsewhere.step)
        message = (
            f"{needs} at {place}, and {elsewhere.step} at {plan.place_title(elsewhere.place)} from "
            f"{pet_label(plan.starts[position])} to {pet_label(plan.finishes[position])}: one foothold "
            "cannot be in two places; let one follow the other (after), or bring a second")
    else:
        rule = "not-in-socket"
        blocked = f" (the socket has {first.other} in it)" if first.other else ""
        message = (f"{needs} in the socket of {place} at {pet_label(first.at_min)}, but "
                   f"{held_words(plan, first.was)}{blocked}: bring it here before, in a step that leaves it")
    source = "places.socket" if first.kind == NO_SOCKET else "steps.foothold"
    return Finding(STOP, CHECK, rule, first.item, first.crew, first.step, first.at_min, message, source)


@dataclass(frozen=True)
class _Needs:
    """The steps that need one foothold at places with a socket, by position, and when they do."""

    positions: list[int]
    spans: Spans


def _needs(plan: TimedPlan) -> dict[str, _Needs]:
    sockets = {place.place for place in plan.scenario.records.places if place.socket}
    by_foothold: dict[str, list[int]] = {}
    for position, step in enumerate(plan.steps):
        if step.foothold and step.place in sockets:
            by_foothold.setdefault(step.foothold, []).append(position)
    return {foothold: _Needs(positions, Spans((plan.starts[p], plan.finishes[p]) for p in positions))
            for foothold, positions in by_foothold.items()}


def _needed_elsewhere(plan: TimedPlan, mishap: Mishap, needs: Mapping[str, _Needs]) -> Step | None:
    """Another step that needs the same foothold at another place with a socket while this one does."""
    if mishap.item not in needs:
        return None
    own, need = plan.position(mishap.step), needs[mishap.item]
    others = [need.positions[n] for n in need.spans.touching(plan.starts[own], plan.finishes[own])]
    return next((plan.steps[other] for other in others
                 if plan.steps[other].place != mishap.place and _overlap(plan, own, other)), None)


def _overlap(plan: TimedPlan, one: int, other: int) -> bool:
    begin = max(plan.starts[one], plan.starts[other])
    return bool(begin < min(plan.finishes[one], plan.finishes[other]))


def check_shared_footholds(plan: TimedPlan) -> Iterator[Finding]:
    """Two people in one foothold at once, each in a step of their own (concern)."""
    by_foothold: dict[tuple[str, str], list[int]] = {}
    for position, step in enumerate(plan.steps):
        if step.foothold:
            by_foothold.setdefault((step.foothold, step.place), []).append(position)
    for positions in by_foothold.values():
        in_time = sorted(positions, key=lambda position: float(plan.starts[position]))
        when = Spans((plan.starts[position], plan.finishes[position]) for position in in_time)
        for rank, first in enumerate(in_time):
            for other in when.touching(plan.starts[first], plan.finishes[first]):
                second = in_time[other]
                if other > rank and _overlap(plan, first, second):  # so they are steps of different people
                    yield _shared(plan, plan.steps[first], plan.steps[second], float(plan.starts[second]))


def _shared(plan: TimedPlan, one: Step, other: Step, from_min: float) -> Finding:
    return Finding(
        CONCERN, CHECK, "shared", one.foothold, f"{one.crew} {other.crew}", other.step, from_min,
        f"{one.crew} ({one.step}) and {other.crew} ({other.step}) are both in {one.foothold} at "
        f"{plan.place_title(one.place)} from {pet_label(from_min)}: it holds one; make it one step of both, "
        f"or let {other.step} come after {one.step}", "steps.foothold",
    )
