"""Checks of places, routes and the film's cameras against the bodies that the station is drawn of.

``surfaces``: rules ``inside`` (concern), ``far-off`` (remark), about the place; ``through`` (concern), about
the two ends of the route; ``camera`` (remark), about the shot.
"""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from planning_kit.inputs.times import measure
from planning_kit.judge.findings import CONCERN, REMARK, Finding
from planning_kit.plan.shots import blocked_shots
from planning_kit.plan.surfaces import SKIN_M, Surfaces, surfaces_of, way_points
from planning_kit.plan.timed import TimedPlan

# The bodies are drawn, not measured: nothing is timed or judged by them. But where they and the places do not
# agree, one of the two is wrong, and spheres of hazards are judged by the places.
SURFACES = "surfaces"
REACH_M = 1.5  # an arm and half a body (common practice, no source); nothing but this remark depends on it


def check_places_on_bodies(plan: TimedPlan) -> Iterator[Finding]:
    """A place inside a body (concern), or out of reach of all of them (remark)."""
    surfaces = surfaces_of(plan.scenario.records)
    if not surfaces.solids:
        return
    numbers, distances = surfaces.nearest(np.array(list(surfaces.points.values())))
    for place, number, distance in zip(surfaces.points, numbers.tolist(), distances.tolist(), strict=True):
        body = _named(surfaces, number)
        if distance < -SKIN_M:
            yield Finding(
                CONCERN, SURFACES, "inside", about=place, source="places.x_m, bodies.ends",
                message=f"{plan.place_title(place)} lies {_metres(plan, -distance)} inside {body}: one of "
                        "the two is not where it is typed; hazards are judged by the place",
                value=distance, limit=0.0, margin=distance)
        elif distance > REACH_M:
            yield Finding(
                REMARK, SURFACES, "far-off", about=place, source="places.x_m, bodies.ends",
                message=f"{plan.place_title(place)} is {_metres(plan, distance)} from {body}, the nearest "
                        "body: nobody there could hold on to what is drawn; mend it, or add a body",
                value=distance, limit=REACH_M, margin=REACH_M - distance)


def check_routes_on_bodies(plan: TimedPlan) -> Iterator[Finding]:
    """A route whose lines run through a body, one finding a route (concern)."""
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
            yield Finding(
                CONCERN, SURFACES, "through", about=f"{one} {other}", source="routes.via, bodies.ends",
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
    return f"{body.title} ({body.body})" if body.title else body.body


def _metres(plan: TimedPlan, distance: float) -> str:
    return measure(distance, "m", plan.scenario.settings, "nearest", f"{distance:.1f}")
