"""Checks: people at a worksite, footholds that are not where they are used, bulky items on the way."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from planning_kit.inputs.records import Place, Route, Step
from planning_kit.inputs.times import pet_label
from planning_kit.judge.check_custody import held_words
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.activities import TRAVEL
from planning_kit.plan.custody_state import NO_SOCKET, NOT_IN_SOCKET, SOCKET_TAKEN, Holding, Mishap
from planning_kit.plan.legs import Passage, Spans
from planning_kit.plan.timed import TimedPlan

WORKSITES = "worksites"


@dataclass(frozen=True)
class Stay:
    """One crew member at one place, working or waiting, without a break; ``step`` is the first step of it."""

    crew: str
    step: str
    place: str
    start_min: float
    finish_min: float


def check_capacity(plan: TimedPlan) -> Iterator[Finding]:
    """More crew at a place than ``places.crew_at_once`` (stop), one finding a spell.

    Work and waits count, passing through does not; other actors take no room.
    """
    stays = [stay for crew in plan.travels for stay in _stays(plan, crew)]
    by_place: dict[str, list[Stay]] = {}
    for stay in stays:
        by_place.setdefault(stay.place, []).append(stay)
    for place in plan.scenario.records.places:
        if place.crew_at_once is not None:
            for begin, end, present in _spells(by_place.get(place.place, [])):
                if len(present) > place.crew_at_once:
                    yield _crowded(place, place.crew_at_once, begin, end, present)


def check_capacity_data(plan: TimedPlan) -> Iterator[Finding]:
    """One remark that names every place where someone works or waits and whose room is not given."""
    used = {stay.place for crew in plan.travels for stay in _stays(plan, crew)}
    unknown = [place.place for place in plan.scenario.records.places
               if place.crew_at_once is None and place.place in used]
    if unknown:
        yield Finding(
            REMARK, WORKSITES, "no-room-given", " ".join(unknown), "", "", float("nan"),
            f"no crew_at_once is given for {', '.join(unknown)} (places.csv): how many people are there at "
            "once is not checked",
        )


def _crowded(place: Place, room: int, begin: float, end: float, present: Sequence[Stay]) -> Finding:
    people = sorted(stay.crew for stay in present)
    last = max(present, key=lambda stay: (stay.start_min, stay.crew)).step
    who = " and ".join(people) + (" are" if len(people) > 1 else " is")
    return Finding(
        STOP, WORKSITES, "crowded", place.place, " ".join(people), last, begin,
        f"{who} at {place.title or place.place} from {pet_label(begin)} to {pet_label(end)}, which has room "
        f"for {room}: let one finish first (after), or wait elsewhere before {last or 'ingress'} (wait_at)",
        "places.crew_at_once", float(len(people)), float(room), float(room - len(people)),
    )


def _stays(plan: TimedPlan, crew: str) -> list[Stay]:
    stays: list[Stay] = []
    for activity in plan.lanes[crew]:
        if activity.kind == TRAVEL:
            continue
        last = stays[-1] if stays else None
        if last and last.finish_min == activity.start_min and last.place == activity.place:
            stays[-1] = Stay(crew, last.step, last.place, last.start_min, activity.finish_min)
        else:
            stays.append(Stay(crew, activity.step, activity.place, activity.start_min, activity.finish_min))
    return stays


def _spells(stays: Sequence[Stay]) -> Iterator[tuple[float, float, list[Stay]]]:
    """Stretches of time between two arrivals or departures, with who is present."""
    edges = sorted({edge for stay in stays for edge in (stay.start_min, stay.finish_min)})
    when = Spans((stay.start_min, stay.finish_min) for stay in stays)
    for begin, end in pairwise(edges):
        near = (stays[number] for number in when.touching(begin, end))
        yield begin, end, [s for s in near if s.start_min < end and s.finish_min > begin]


FOOTHOLDS = "footholds"


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
        CONCERN, FOOTHOLDS, "socket-taken", f"{mishap.item} {mishap.other}", mishap.crew, mishap.step,
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
    return Finding(STOP, FOOTHOLDS, rule, first.item, first.crew, first.step, first.at_min, message, source)


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
        CONCERN, FOOTHOLDS, "shared", one.foothold, f"{one.crew} {other.crew}", other.step, from_min,
        f"{one.crew} ({one.step}) and {other.crew} ({other.step}) are both in {one.foothold} at "
        f"{plan.place_title(one.place)} from {pet_label(from_min)}: it holds one; make it one step of both, "
        f"or let {other.step} come after {one.step}", "steps.foothold",
    )


ROUTES = "routes"


def check_bulky_loads(plan: TimedPlan) -> Iterator[Finding]:
    """A bulky item (or bag) in hand on a leg that is tight or a snag hazard (concern), one a leg.

    What is in a bag counts only as its bag does.
    """
    bulky = {item.item for item in plan.scenario.records.hardware if item.bulky}
    carried = [h for h in plan.tracked_custody.holdings if h.item in bulky and not h.in_bag]
    for crew, passages in plan.passages.items():
        legs = [leg for leg in passages if leg.route and (leg.route.tight or leg.route.snag)]
        for leg, items in _in_hand(legs, [h for h in carried if h.holder == crew]):
            if items and leg.route:
                yield _bulky(plan, leg, leg.route, items)


def _in_hand(legs: Sequence[Passage], carried: Sequence[Holding]) -> Iterator[tuple[Passage, list[str]]]:
    """Each leg, in time, with what is carried all along it; ``carried`` are the holds of who walks it."""
    to_come = sorted(carried, key=lambda hold: hold.from_min, reverse=True)
    held: list[Holding] = []
    for leg in legs:
        while to_come and to_come[-1].from_min <= leg.start_min:
            held.append(to_come.pop())
        held = [hold for hold in held if hold.until_min >= leg.start_min]
        yield leg, sorted(hold.item for hold in held if hold.until_min >= leg.finish_min)


def check_bulky_data(plan: TimedPlan) -> Iterator[Finding]:
    """One remark that names the routes walked and the items carried of which the flags are not given."""
    walked = {leg.route: None for passages in plan.passages.values() for leg in passages if leg.route}
    missing: list[str] = []
    about: list[str] = []
    for flag in ("tight", "snag"):
        routes = [(r.from_place, r.to_place) for r in walked if getattr(r, flag) is None]
        if routes:
            missing.append(f"routes.{flag} for {', '.join(map(' to '.join, routes))}")
            about += [place for route in routes for place in route]
    carried = {h.item for h in plan.tracked_custody.holdings if h.holder in plan.travels}
    items = [i.item for i in plan.scenario.records.hardware if i.bulky is None and i.item in carried]
    if items:
        missing.append(f"hardware.bulky for {', '.join(items)}")
    if missing:
        yield Finding(
            REMARK, ROUTES, "no-flags-given", " ".join([*about, *items]), "", "", float("nan"),
            f"bulky items on tight and snag routes are not checked where no yes or no is given: "
            f"{'; '.join(missing)}",
        )


def _bulky(plan: TimedPlan, leg: Passage, route: Route, items: list[str]) -> Finding:
    flags = " and ".join(word for word, is_set in (("tight", route.tight), ("a snag hazard", route.snag))
                         if is_set)
    named = f" ({route.caution})" if route.caution else ""
    columns = ", ".join(f"routes.{name}" for name, is_set in (("tight", route.tight), ("snag", route.snag))
                        if is_set)
    return Finding(
        CONCERN, ROUTES, "bulky", " ".join([*items, route.from_place, route.to_place]), leg.crew, leg.step,
        leg.start_min,
        f"{leg.crew} carries bulky {' and '.join(items)} from {plan.place_title(leg.place)} to "
        f"{plan.place_title(leg.to_place)} at {pet_label(leg.start_min)}, a way that is {flags}{named}: go "
        "another way, or accept it and brief it", columns,
    )
