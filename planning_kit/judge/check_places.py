"""Checks of where people are: room, footholds, bulky items; bodies drawn; blocks, and places not known.

``worksites``: rules ``crowded`` (about the place); ``no-room-given`` (about the places).

``footholds``: rules, each about the foothold, ``no-socket``, ``not-in-socket``, ``in-two-places``,
``socket-taken`` (about the other in it as well), ``shared``.

``routes``: rules ``bulky`` (about the items and the ends of the route); ``no-flags-given`` (about routes and
items).

``surfaces``: rules ``inside`` (concern), ``far-off`` (remark), about the place; ``through`` (concern), about
the two ends of the route; ``camera`` (remark), about the shot.

``blocks``: rules ``place-not-known`` (about the steps), ``longer-than-block`` and ``shorter-than-block``
(about the block).
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import chain, groupby, pairwise

import numpy as np

from planning_kit.inputs.records import Step
from planning_kit.inputs.source import steps_within
from planning_kit.inputs.station_records import MODEL
from planning_kit.inputs.times import measure, number_label, pet_label, pet_spans
from planning_kit.judge.check_custody import held_words
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.activities import WAIT, Activity
from planning_kit.plan.build import placeless
from planning_kit.plan.custody_state import NO_SOCKET, NOT_IN_SOCKET, SOCKET_TAKEN, Holding, Mishap
from planning_kit.plan.legs import Passage, Spans
from planning_kit.plan.network import ROUNDING_MIN, grouped
from planning_kit.plan.shots import blocked_shots
from planning_kit.plan.surfaces import SKIN_M, Surfaces, surfaces_of, way_points
from planning_kit.plan.timed import TimedPlan

WORKSITES = "worksites"


def check_capacity(plan: TimedPlan) -> Iterator[Finding]:
    """More crew at a place than ``places.crew_at_once`` (stop), one finding a spell.

    Work, waits and extra minutes of a way that leads nowhere count; passing through does not, nor do actors.
    """
    by_place = grouped((stay.place, stay) for stay in _stays(plan))
    for place in plan.scenario.records.places:
        if place.crew_at_once is not None:
            for begin, end, present in _spells(by_place.get(place.place, [])):
                if len(present) > place.crew_at_once:
                    people = sorted(stay.crew for stay in present)
                    last = max(present, key=lambda stay: (stay.start_min, stay.crew)).step
                    who = " and ".join(people) + (" are" if len(people) > 1 else " is")
                    room = place.crew_at_once
                    yield Finding(
                        STOP, WORKSITES, "crowded", about=place.place, crew=" ".join(people), step=last,
                        start_min=begin,
                        message=f"{who} at {place.title or place.place} from {pet_label(begin)} to "
                                f"{pet_label(end)}, which has room for {room}: let one finish first (after), "
                                f"or wait elsewhere before {last or 'ingress'} (wait_at)",
                        source="places.crew_at_once", value=float(len(people)), limit=float(room),
                        margin=float(room - len(people)))


def check_capacity_data(plan: TimedPlan) -> Iterator[Finding]:
    """One remark that names every place where someone works or waits and whose room is not given."""
    used = {stay.place for stay in _stays(plan)}
    unknown = [place.place for place in plan.scenario.records.places
               if place.crew_at_once is None and place.place in used]
    if unknown:
        yield Finding(
            REMARK, WORKSITES, "no-room-given", " ".join(unknown), message=f"no crew_at_once is given for "
            f"{', '.join(unknown)} (places.csv): how many people are there at once is not checked")


def _stays(plan: TimedPlan) -> list[Activity]:
    """Work and waits without a break at one place as one, the first of them made longer."""
    stays: list[Activity] = []
    for one in (a for crew in plan.travels for a in plan.lanes[crew] if not a.to_place):
        last = stays[-1] if stays else None
        if last and (last.crew, last.place, last.finish_min) == (one.crew, one.place, one.start_min):
            stays[-1] = replace(last, finish_min=one.finish_min)
        else:
            stays.append(one)
    return stays


def _spells(stays: Sequence[Activity]) -> Iterator[tuple[float, float, list[Activity]]]:
    """Stretches of time between two arrivals or departures, with who is present."""
    edges = sorted({edge for stay in stays for edge in (stay.start_min, stay.finish_min)})
    when = Spans((stay.start_min, stay.finish_min) for stay in stays)
    for begin, end in pairwise(edges):
        near = (stays[number] for number in when.touching(begin, end))
        yield begin, end, [s for s in near if s.start_min < end and s.finish_min > begin]


FOOTHOLDS = "footholds"


def check_footholds(plan: TimedPlan) -> Iterator[Finding]:
    """No socket, or the foothold is not in it (stop); steps that miss it for one cause share a finding."""
    mishaps = plan.tracked_custody.mishaps
    work = Spans((start, finish) for _, start, finish in plan.each_step())
    yield from (_socket_taken(plan, mishap) for mishap in mishaps if mishap.kind == SOCKET_TAKEN)
    missing: list[tuple[tuple[str, str, Holding | None], tuple[Mishap, Step | None]]] = []
    for mishap in mishaps:
        if mishap.kind == NO_SOCKET:
            missing.append(((mishap.place, mishap.item, None), (mishap, None)))
        elif mishap.kind == NOT_IN_SOCKET:
            step = _needed_elsewhere(plan, mishap, work)
            cause = (step.step, "", None) if step else (mishap.place, mishap.item, mishap.was)
            missing.append((cause, (mishap, step)))
    for group in grouped(missing).values():
        yield _missing(plan, [mishap for mishap, _ in group], group[0][1])


def _socket_taken(plan: TimedPlan, mishap: Mishap) -> Finding:
    place = plan.place_title(mishap.place)
    when = (f"{mishap.crew} leaves {mishap.item} at {place} at {pet_label(mishap.at_min)}" if mishap.step else
            f"{mishap.item} is at {place} at PET {pet_label(mishap.at_min)}")
    return Finding(
        CONCERN, FOOTHOLDS, "socket-taken", about=f"{mishap.item} {mishap.other}", crew=mishap.crew,
        step=mishap.step, start_min=mishap.at_min,
        message=f"{when}, but its socket has {mishap.other} in it: {mishap.item} is only strapped "
                "there and holds nobody; take the other out first if it is to be used",
        source="places.socket")


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
        rule, (start, finish) = "in-two-places", plan.span(elsewhere.step)
        message = (f"{needs} at {place}, and {elsewhere.step} at {plan.place_title(elsewhere.place)} from "
                   f"{pet_label(start)} to {pet_label(finish)}: one foothold cannot be in two places; let "
                   "one follow the other (after), or bring a second")
    else:
        rule = "not-in-socket"
        blocked = f" (the socket has {first.other} in it)" if first.other else ""
        message = (f"{needs} in the socket of {place} at {pet_label(first.at_min)}, but "
                   f"{held_words(plan, first.was)}{blocked}: bring it here before, in a step that leaves it")
    source = "places.socket" if first.kind == NO_SOCKET else "steps.foothold"
    return Finding(
        STOP, FOOTHOLDS, rule, about=first.item, crew=first.crew, step=first.step, start_min=first.at_min,
        message=message, source=source)


def _meanwhile(plan: TimedPlan, work: Spans, step: str) -> Iterator[Step]:
    """The other steps that share time with a step, in row order; ``work`` are the times of all."""
    start, finish = plan.span(step)
    for other in (plan.steps[position] for position in work.touching(start, finish)):
        begin, end = plan.span(other.step)
        if other.step != step and max(start, begin) < min(finish, end):
            yield other


def _needed_elsewhere(plan: TimedPlan, mishap: Mishap, work: Spans) -> Step | None:
    """Another step that needs the same foothold at another place with a socket while this one does."""
    sockets = {place.place for place in plan.scenario.records.places if place.socket} - {mishap.place}
    return next((other for other in _meanwhile(plan, work, mishap.step)
                 if other.foothold == mishap.item and other.place in sockets), None)


def check_shared_footholds(plan: TimedPlan) -> Iterator[Finding]:
    """Two people in one foothold at once, each in a step of their own (concern)."""
    work = Spans((start, finish) for _, start, finish in plan.each_step())
    for number, (step, start, _) in enumerate(plan.each_step()):
        for other in _meanwhile(plan, work, step.step) if step.foothold else ():
            their_start, their_number = plan.span(other.step)[0], plan.position(other.step)
            is_same = (step.foothold, step.place) == (other.foothold, other.place)
            if is_same and (start, number) < (their_start, their_number):  # so each pair is told once
                yield Finding(
                    CONCERN, FOOTHOLDS, "shared", about=step.foothold, crew=f"{step.crew} {other.crew}",
                    step=other.step, start_min=their_start,
                    message=f"{step.crew} ({step.step}) and {other.crew} ({other.step}) are both in "
                            f"{step.foothold} at {plan.place_title(step.place)} from "
                            f"{pet_label(their_start)}: it holds one; make it one step of both, or let "
                            f"{other.step} come after {step.step}",
                    source="steps.foothold")


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
            if items and (route := leg.route):
                flags = {column: word for column, word in (("tight", "tight"), ("snag", "a snag hazard"))
                         if getattr(route, column)}
                named = f" ({route.caution})" if route.caution else ""
                yield Finding(
                    CONCERN, ROUTES, "bulky", about=" ".join([*items, route.from_place, route.to_place]),
                    crew=leg.crew, step=leg.step, start_min=leg.start_min,
                    message=f"{leg.crew} carries bulky {' and '.join(items)} from "
                            f"{plan.place_title(leg.place)} to {plan.place_title(leg.to_place)} at "
                            f"{pet_label(leg.start_min)}, a way that is {' and '.join(flags.values())}{named}"
                            ": go another way, or accept it and brief it",
                    source=", ".join(f"routes.{column}" for column in flags))


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
        if routes := [(r.from_place, r.to_place) for r in walked if getattr(r, flag) is None]:
            missing.append(f"routes.{flag} for {', '.join(map(' to '.join, routes))}")
            about += chain(*routes)
    carried = {h.item for h in plan.tracked_custody.holdings if h.holder in plan.travels}
    items = [i.item for i in plan.scenario.records.hardware if i.bulky is None and i.item in carried]
    if items:
        missing.append(f"hardware.bulky for {', '.join(items)}")
    if missing:
        yield Finding(
            REMARK, ROUTES, "no-flags-given", " ".join([*about, *items]), message="bulky items on tight and "
            f"snag routes are not checked where no yes or no is given: {'; '.join(missing)}")


# Bodies


# The bodies are drawn, not measured: nothing is timed or judged by them. But where they and the places do not
# agree, one of the two is wrong, and spheres of hazards are judged by the places.
SURFACES = "surfaces"
_INSIDE = CONCERN, "one of the two is not where it is typed"
_INSIDE_BOX = REMARK, "look at it in the film"
REACH_M = 1.5  # an arm and half a body (common practice, no source); nothing but this remark depends on it


def check_places_on_bodies(plan: TimedPlan) -> Iterator[Finding]:
    """A place inside a body (concern; a model's box: remark), or out of reach of all of them (remark)."""
    surfaces = surfaces_of(plan.scenario.records)
    if not surfaces.solids:
        return
    numbers, distances = surfaces.nearest(np.array(list(surfaces.points.values())))
    for place, number, distance in zip(surfaces.points, numbers.tolist(), distances.tolist(), strict=True):
        body = _named(surfaces, number)
        if distance < -SKIN_M:
            severity, advice = _INSIDE_BOX if _is_model(surfaces, number) else _INSIDE
            yield Finding(
                severity, SURFACES, "inside", about=place, source="places.x_m, bodies.ends",
                message=f"{plan.place_title(place)} lies {_metres(plan, -distance)} inside {body}: {advice}; "
                        "hazards are judged by the place",
                value=distance, limit=0.0, margin=distance)
        elif distance > REACH_M:
            yield Finding(
                REMARK, SURFACES, "far-off", about=place, source="places.x_m, bodies.ends",
                message=f"{plan.place_title(place)} is {_metres(plan, distance)} from {body}, the nearest "
                        "body: nobody there could hold on to what is drawn; mend it, or add a body",
                value=distance, limit=REACH_M, margin=REACH_M - distance)


def check_routes_on_bodies(plan: TimedPlan) -> Iterator[Finding]:
    """A route whose lines run through a body, one finding a route (concern; of a model its box: remark)."""
    surfaces, routes = surfaces_of(plan.scenario.records), plan.scenario.records.routes
    if not surfaces.solids:
        return
    legs = [(route, leg) for route in routes for leg in pairwise(
        way_points(surfaces.points, route.from_place, route.to_place, route))]
    ends = np.array([leg for _, leg in legs]).reshape(-1, 2, 3)
    numbers, least = surfaces.least_m(ends[:, 0], ends[:, 1])
    # What begins in a body is told of the place.
    least[(surfaces.nearest(ends[:, 0])[1] < -SKIN_M) | (surfaces.nearest(ends[:, 1])[1] < -SKIN_M)] = np.inf
    worst = dict[tuple[str, str], tuple[float, int]]()
    for (route, _), number, distance in zip(legs, numbers.tolist(), least.tolist(), strict=True):
        key = route.from_place, route.to_place
        worst[key] = min(worst.get(key, (np.inf, 0)), (distance, number))
    for (one, other), (distance, number) in worst.items():
        if distance < -SKIN_M:
            severity = REMARK if _is_model(surfaces, number) else CONCERN
            yield Finding(
                severity, SURFACES, "through", about=f"{one} {other}", source="routes.via, bodies.ends",
                message=f"the way from {plan.place_title(one)} to {plan.place_title(other)} runs through "
                        f"{_named(surfaces, number)}, {_metres(plan, -distance)} deep: give the bends of the "
                        "handrails (routes.via), or mend the body", value=distance, limit=0.0,
                margin=distance)


def check_cameras(plan: TimedPlan) -> Iterator[Finding]:
    """A shot of ``shots.csv`` whose camera has a body before it, or is in one (remark)."""
    for shot, number in blocked_shots(plan):
        yield Finding(
            REMARK, SURFACES, "camera", about=shot.shot, step=shot.from_step, source="shots.side",
            message=f"in shot {shot.shot} {_named(surfaces_of(plan.scenario.records), number)} is between "
                    "the camera and what it looks at: choose another side or distance, or leave both empty")


def _named(surfaces: Surfaces, number: int) -> str:
    body = surfaces.solids[number].body
    name = f"{body.title} ({body.body})" if body.title else body.body
    return f"the box around {name} (no more is judged of a model)" if _is_model(surfaces, number) else name


def _is_model(surfaces: Surfaces, number: int) -> bool:
    return surfaces.solids[number].body.kind == MODEL


def _metres(plan: TimedPlan, distance: float) -> str:
    return measure(distance, "m", plan.scenario.settings, "nearest", f"{distance:.1f}")


# Blocks


BLOCKS = "blocks"


def check_places_known(plan: TimedPlan) -> Iterator[Finding]:
    """A stretch in which it is not known where somebody is (concern): nothing that hangs on it is judged."""
    lost = {*placeless(plan.steps)}
    for crew, passages in plan.passages.items():
        by_turns = groupby(passages, lambda each: each.is_known)
        for spell in ([*group] for is_known, group in by_turns if not is_known):
            steps = [name for name in dict.fromkeys(each.step for each in spell) if name in lost]
            yield Finding(
                CONCERN, BLOCKS, "place-not-known", about=" ".join(steps), crew=crew, step=steps[0],
                start_min=spell[0].start_min,
                message=f"where {crew} is from {pet_spans((spell[0].start_min, spell[-1].finish_min))} is "
                        f"not known ({', '.join(steps)} without a place): the way home is not known, so that "
                        f"there is no return margin and no time to turn back by for {crew}; room, crossings "
                        "and hazards are not judged then, nor the tether until its hook next moves. Travel "
                        "counts from the last place known. Name the place, or detail the block")


def check_blocks(plan: TimedPlan) -> Iterator[Finding]:
    """The steps of a block against its minutes: longer (concern) or shorter (remark).

    Compared is the span from setting out for the first of them to the last finish: work, travel and waits, as
    a block on a sheet of times has its own way in it.
    """
    within = steps_within(plan.scenario.records)
    for block in (block for block in plan.scenario.records.blocks if block.step in within):
        names = [step.step for step in within[block.step]]
        begin = min(each.start_min for lane in plan.lanes.values() for each in lane
                    if each.kind != WAIT and each.step in names)
        end = max(plan.span(name)[1] for name in names)
        over = end - begin - block.minutes_likely
        longer, title = over > 0, f" ({block.title})" if block.title else ""
        if abs(over) > ROUNDING_MIN:
            yield Finding(
                CONCERN if longer else REMARK, BLOCKS, f"{'longer' if longer else 'shorter'}-than-block",
                about=block.step, crew=block.crew, step=names[0], start_min=begin,
                message=f"block {block.step}{title} was to take {pet_label(block.minutes_likely)}; its steps "
                        f"({' '.join(names)}) take {pet_label(end - begin)} with travel and waits, from "
                        f"{pet_spans((begin, end))}: {number_label(abs(over), 'up')} min "
                        f"{'longer' if longer else 'shorter'}",
                source="steps.minutes_likely", value=end - begin, limit=block.minutes_likely, margin=-over)
