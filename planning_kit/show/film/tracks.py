"""The outing in pieces of time: where everybody is, how tethers lie, who has what, when hazards are there.

Within a piece everything stands still, or moves evenly along one polyline: whoever draws looks up a piece and
interpolates. Minutes of PET, metres of the station body frame. At every minute the pieces say what
`planning_kit.plan.moments` says.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import isnan
from typing import Any

import numpy as np

from planning_kit.inputs.hazard_words import Point
from planning_kit.inputs.records import INSIDE, Item, Records
from planning_kit.inputs.shown_text import one_line
from planning_kit.plan.hazard_presence import Conditions, Reach, control_windows, controlled
from planning_kit.plan.surfaces import Surfaces, Vector, point_along, shares_of, surfaces_of, way_points
from planning_kit.plan.tether_lines import Lie
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.moment_words import route_kind
from planning_kit.sky.windows import Windows, clip, complement, intersect

Data = dict[str, Any]


def minute(value: float) -> float:
    """A minute of PET as it is handed on: to 0.6 ms."""
    return round(float(value), 5)


def vector(values: Sequence[float] | Vector, digits: int = 4) -> list[float]:
    """A point (to 0.1 mm), or a direction with more ``digits``."""
    return [round(float(value), digits) + 0.0 for value in values]


def spans(windows: Windows, end_min: float) -> list[list[float]]:
    """The windows within the outing."""
    return [[minute(begin), minute(end)] for begin, end in clip(windows, 0.0, end_min).tolist()]


def people(plan: TimedPlan) -> list[Data]:
    """Each crew member's way in pieces, without a hole."""
    surfaces = surfaces_of(plan.scenario.records)
    return [{"id": crew, "pieces": [_piece(surfaces, lie) for lie in _lasting(plan, crew)]}
            for crew in plan.travels]


def _lasting(plan: TimedPlan, crew: str) -> list[Lie]:
    """The lies that take time; a stay without minutes shows nothing."""
    lies = plan.tracked_tethers[crew].lies
    return [lie for lie in lies if lie.passage.finish_min > lie.passage.start_min] or [lies[-1]]


def _piece(surfaces: Surfaces, lie: Lie) -> Data:
    here = lie.passage
    points = way_points(surfaces.points, here.place, here.to_place, here.route)
    frames = [surfaces.frames[here.place]]
    for bend in points[1:-1]:
        out = surfaces.outward(np.array(bend))
        frames.append((out, surfaces.up_for(out)))
    frames += [surfaces.frames[here.to_place]] if here.route else []
    piece = {"from": minute(here.start_min), "until": minute(here.finish_min), "doing": here.doing,
             "step": here.step, "place": here.place, "to_place": here.to_place,
             "points": [vector(point) for point in points],
             "out": [vector(out, 6) for out, _ in frames], "up": [vector(up, 6) for _, up in frames],
             "way": route_kind(here.route) if here.route else ""}
    return piece if here.is_known else piece | {"unknown": True}


def tethers(plan: TimedPlan) -> list[Data]:
    """Each tether from its hook to the last point before its owner, along the routes with their bends."""
    return [{"person": crew, "pieces": [piece for lie in _lasting(plan, crew)
                                        for piece in _tether_pieces(plan, crew, lie)]}
            for crew in plan.travels]


def _tether_pieces(plan: TimedPlan, crew: str, lie: Lie) -> Iterator[Data]:
    here, points = lie.passage, surfaces_of(plan.scenario.records).points
    way = way_points(points, here.place, here.to_place, here.route)
    is_taken_in = len(lie.ahead) < len(lie.line)
    laid = laid_points(plan, crew, lie.ahead if is_taken_in else lie.line)
    shares = shares_of(way).tolist() if here.route else [0.0, 1.0]
    for number, (begin, end) in enumerate(pairwise(shares)):
        # Laid out, the line lies round the bends that are behind; taken in, round those still to come.
        bends = way[number + 1:-1][::-1] if is_taken_in else way[1:number + 1]
        at = [here.start_min + share * (here.finish_min - here.start_min) for share in (begin, end)]
        reach = [lie.from_reach_m + share * (lie.to_reach_m - lie.from_reach_m) for share in (begin, end)]
        yield {"from": minute(at[0]), "until": minute(at[1]), "hook": lie.line[0],
               "points": [vector(point) for point in (*laid, *bends)],
               "reach_m": [None if isnan(each) else round(each, 3) for each in reach],
               "most_m": plan.tracked_tethers[crew].tether_m}


def laid_points(plan: TimedPlan, crew: str, line: Sequence[str]) -> list[Sequence[float]]:
    """The points of a line along its places, with the bends between them."""
    points, routes = surfaces_of(plan.scenario.records).points, plan.travels[crew].routes
    found: list[Sequence[float]] = [points[line[0]]]
    for leg in pairwise(line):
        found += way_points(points, *leg, routes[leg])[1:]
    return found


def items(plan: TimedPlan) -> list[Data]:
    """Where each item is: with a person, at a place, in another item, or inside."""
    held: dict[str, list[Data]] = {}
    places = surfaces_of(plan.scenario.records).points
    for each in sorted(plan.tracked_custody.holdings, key=lambda holding: holding.from_min):
        where = f"item:{each.in_bag}" if each.in_bag and each.holder != INSIDE else (
            f"place:{each.holder}" if each.holder in places else each.holder)
        held.setdefault(each.item, []).append(
            {"from": minute(each.from_min), "until": minute(min(each.until_min, plan.end_min)),
             "with": where})
    return [{"id": item.item, "title": one_line(item.title), "kind": item.kind, "bulky": bool(item.bulky),
             "laid": _laid(plan, item), "pieces": held.get(item.item, [])}
            for item in plan.scenario.records.hardware]


def _laid(plan: TimedPlan, cable: Item) -> list[Data]:
    """How a cable lies once its other end is fixed, up to whoever or whatever has it, from bend to bend."""
    fixed = [finish for step, _, finish in plan.each_step() if step.place == cable.end2_at and cable.item in {
        *step.uses, *(move.item for move in (*step.takes, *step.leaves))}]
    points = surfaces_of(plan.scenario.records).points
    if not fixed or cable.end2_at not in points:
        return []
    line: list[list[float]] = [vector(points[cable.end2_at])]
    found = [{"from": minute(min(fixed)), "points": [*line]}]
    for holding in sorted(plan.tracked_custody.holdings, key=lambda each: each.from_min):
        if holding.item != cable.item or holding.holder not in plan.travels:
            continue
        legs = (lie.passage for lie in plan.tracked_tethers[holding.holder].lies if lie.passage.route)
        for leg in legs:
            if max(holding.from_min, min(fixed)) <= leg.start_min < holding.until_min:
                way = way_points(points, leg.place, leg.to_place, leg.route)
                for share, point in [*zip(shares_of(way).tolist(), way, strict=True)][1:]:
                    line.append(vector(point))
                    found.append({"from": minute(leg.start_min + share * (leg.finish_min - leg.start_min)),
                                  "points": [*line]})
    return found


def hazards(plan: TimedPlan) -> list[Data]:
    """Each hazard where it is, and when it is there without a control; an entry a sphere, place and way.

    ``radius_m`` is 0 at a place, ``points`` is the part of a way (else empty), ``at`` its middle. What is not
    known counts as there.
    """
    records = plan.scenario.records
    points = surfaces_of(records).points
    by_inhibit = control_windows(plan.inhibit_holds)
    conditions = Conditions(plan, plan.passages, plan.tracked_custody, by_inhibit)
    found = []
    for hazard in records.hazards:
        open_ = intersect(conditions.of(hazard)[0],
                          complement(controlled(hazard.controls, by_inhibit), (-np.inf, np.inf)))
        reach = Reach(records, hazard)
        spots: list[tuple[Sequence[float], float, list[Point]]] = [
            (points[place], 0.0, []) for place in points if reach.at(place)]
        spots += [(point_along(part, 0.5), 0.0, part) for part in _ways_inside(records, reach, points)]
        if hazard.centre is not None:
            spots.insert(0, (hazard.centre, hazard.radius_m or 0.0, []))
        found += [{"id": hazard.hazard, "title": one_line(hazard.title), "severity": hazard.class_,
                   "at": vector(at), "radius_m": radius_m, "points": [vector(each) for each in part],
                   "spans": spans(open_, plan.end_min)} for at, radius_m, part in spots]
    return found


def _ways_inside(records: Records, reach: Reach, points: dict[str, Point]) -> Iterator[list[Point]]:
    """The parts of routes that the checks take to be inside a hazard."""
    for route in records.routes:
        line = way_points(points, route.from_place, route.to_place, route)
        shares = shares_of(line)
        for begin, end, _ in reach.on(route.from_place, route.to_place, route):
            bends = [point for share, point in zip(shares, line, strict=True) if begin < share < end]
            yield [point_along(line, begin), *bends, point_along(line, end)]


def inhibits(plan: TimedPlan) -> list[Data]:
    """The inhibits in force, each from when it is set until it is lifted."""
    return [{"id": hold.inhibit.inhibit, "title": one_line(hold.inhibit.title),
             "spans": spans(np.array([[hold.set_by_min, hold.lift_after_min]]), plan.end_min)}
            for hold in plan.inhibit_holds if hold.lift_after_min > hold.set_by_min]
