"""The film's shots, proposed from the plan or typed in ``shots.csv``, each with its camera.

A shot is a row of ``shots.csv``, typed or proposed, and what it comes to in this plan: minutes of PET,
seconds of film, and a camera. A camera stands still, or goes along with one crew member (``follow``).
Everybody whom a shot is about (``who``) is inside its frame at every moment: a camera that is too near is
moved back.

The camera stands where no body is between it and what it shows; of the whole station, where most of
the crew's ways are seen. Of several directions that are free, the first of a fixed list is taken: away
from the surface, then more and more along it; of a wide picture by day first those that have the Sun
behind them.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, fields, replace
from functools import lru_cache

import numpy as np
import pandas as pd

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import Step
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.station_records import EVERYBODY, STATION, Shot
from planning_kit.plan.activities import TRAVEL
from planning_kit.plan.moments import moment_of, moments_of
from planning_kit.plan.surfaces import Surfaces, Vector, across, surfaces_of
from planning_kit.plan.timed import TimedPlan
from planning_kit.sky.attitude import sky_directions
from planning_kit.sky.orbit import Orbit

FOV_DEG, ASPECT = 40.0, 16 / 9
"""Of the frame: its angle from top to bottom, and its width over its height."""
FIGURE_M = 1.6
"""Within so much of the point where they are lies all of a figure and of a partner beside it."""
WIDE, SITE, FOLLOW = "wide", "site", "follow"
CUTS = {"1": 60.0, "5": 300.0}
"""Seconds of film of a cut of one and of five minutes."""
_NEAR_M, _CLEAR_M, _RAISED_M, _SAMPLES = 7.0, 0.05, 0.3, 24
_LEAST_S, _USUAL_S, _LONG_S = 4.0, 6.0, 8.0
_LEAST_MIN, _LONG_WAY_MIN = 0.5, 3.0
_LIT = 0.2  # the Sun stands so far behind a camera, or less: what it sees is dark
_HALF = math.sin(math.radians(FOV_DEG / 2))
# Shares of outward, up and to the right, the best view first.
_VIEWS = [(0.75, 0.35, 0.55), (0.75, 0.35, -0.55), (0.5, 0.3, 0.8), (0.5, 0.3, -0.8), (0.9, 0.1, 0.4),
          (0.9, 0.1, -0.4), (1.0, 0.0, 0.05), (0.6, 0.8, 0.0), (0.6, -0.8, 0.0), (0.3, 0.2, 0.93),
          (0.3, 0.2, -0.93), (0.3, 0.95, 0.1), (0.3, -0.95, 0.1), (0.05, 0.1, 1.0), (0.05, 0.1, -1.0)]
_NEEDS = {"required": 3.0, "optional": 2.0, "get-ahead": 1.0}


@dataclass(frozen=True)
class FilmShot:
    """A shot as it is filmed: PET minutes, seconds of film, and its camera in the station frame (metres).

    ``look`` is what a still camera looks at; where ``follows`` names a crew member, it looks at them, and
    ``eye`` is counted from where they are. ``blocked_by``: the number of the solid in its way, or None.
    """

    row: Shot
    from_min: float
    until_min: float
    film_s: float
    kind: str
    who: tuple[str, ...]
    follows: str
    look: Vector
    eye: Vector
    up: Vector
    weight: float
    blocked_by: int | None


def film_shots(plan: TimedPlan) -> list[FilmShot]:
    """The shots of ``shots.csv`` in their order; where it has none, those proposed."""
    return [filmed(plan, row) for row in film_rows(plan)]


def film_rows(plan: TimedPlan) -> Sequence[Shot]:
    """The rows that the film is made of, typed or proposed."""
    return plan.scenario.records.shots or proposed_shots(plan)


def shots_table(plan: TimedPlan) -> pd.DataFrame:
    """The shots of the film, typed or proposed: a table such as ``shots.csv``, to be edited and given back.

    ``scenario.with_table("shots", edited)``. ``minutes`` is PET, ``distance_m`` metres, ``film_s`` seconds.
    """
    rows = [asdict(shot.row) for shot in film_shots(plan)]
    return TextTable(rows, columns=[field.name for field in fields(Shot)])


def blocked_shots(plan: TimedPlan) -> Iterator[tuple[Shot, int]]:
    """The typed shots with a body before the camera, with the number of its solid."""
    for row in plan.scenario.records.shots if plan.scenario.records.bodies else ():
        if (shot := filmed(plan, row)).blocked_by is not None:
            yield row, shot.blocked_by


def proposed_shots(plan: TimedPlan) -> list[Shot]:
    """The station, then worksites, exchanges, hand-overs and long ways by time, then the way in.

    As many as five minutes hold, those that matter most; each is cut where the next one begins.
    """
    crew = plan.travels
    spans = [(start, finish, step) for step, start, finish in plan.each_step()
             if step.place and {*step.people} & {*crew} and finish - start >= _LEAST_MIN]
    if not spans:
        return []
    found: list[tuple[float, float, float, Shot]] = []  # weight, from, until
    for start, finish, step in spans:
        seconds = _LONG_S if _hands_over(step) else _USUAL_S
        found.append((_weight(plan, step), start, finish, _row(step, step.place, seconds)))
    for who in crew:
        legs = {each.step: each for each in plan.lanes[who] if each.kind == TRAVEL and each.step}
        for leg in legs.values():
            step = plan.steps[plan.position(leg.step)]
            if leg.minutes >= _LONG_WAY_MIN and leg.place:
                title = f"{who} on the way to {plan.place_title(leg.to_place)}"
                found.append((2.0 + leg.minutes**0.5, leg.start_min, leg.finish_min,
                              _row(step, who, _USUAL_S, title)))
    chosen = _that_fit(sorted(found, key=lambda each: (-each[0], each[1])), CUTS["5"] - 2 * _LONG_S)
    first, last = min(spans, key=lambda each: each[0])[2], max(spans, key=lambda each: each[1])[2]
    shots = [_row(first, STATION, _LONG_S, plan.scenario.settings.station)]
    begin = plan.span(first.step)[0]
    opening = max(min((start for _, start, _, row in chosen if start > begin + _LEAST_MIN),
                      default=plan.end_min), begin + _LEAST_MIN)
    shots[0] = replace(shots[0], minutes=round(opening - begin, 5))
    chosen = [each for each in chosen if each[1] >= opening - 1e-9]
    for number, (_, start, until, row) in enumerate(chosen):
        until = min(until, chosen[number + 1][1]) if number + 1 < len(chosen) else until
        shots.append(replace(row, minutes=round(until - start, 5)))
    end = plan.span(last.step)[0]
    if not chosen or chosen[-1][3].from_step != last.step:
        shots.append(replace(_row(last, last.place, _LONG_S), minutes=round(plan.end_min - end, 5)))
    return [replace(shot, shot=f"S{number}") for number, shot in enumerate(shots, start=1)]


def cut_of(shots: Sequence[FilmShot], seconds: float) -> list[tuple[int, float]]:
    """The shots of a cut of at most so many seconds: number in the film and seconds of each, in order.

    Those that matter most, each at least so long that it can be understood; the first one always.
    """
    left, chosen = list(range(1, len(shots))), [0] if shots else []
    while left and (len(chosen) + 1) * _LEAST_S <= seconds:
        worth = {number: shots[number].weight * 0.7 ** sum(  # of one place each further shot says less
            shots[number].row.look_at == shots[other].row.look_at for other in chosen) for number in left}
        best = max(left, key=worth.__getitem__)
        left.remove(best)
        chosen.append(best)
    chosen.sort()
    whole = sum(shots[number].film_s for number in chosen)
    factor = min(1.0, seconds / whole) if whole else 1.0
    return [(number, round(shots[number].film_s * factor, 3)) for number in chosen]


def _that_fit(found: Sequence[tuple[float, float, float, Shot]],
              seconds: float) -> list[tuple[float, float, float, Shot]]:
    """The best of the found that begin apart and have room together, by their start."""
    kept: list[tuple[float, float, float, Shot]] = []
    for each in found:
        is_apart = all(abs(each[1] - other[1]) >= _LEAST_MIN for other in kept)
        if is_apart and sum(other[3].film_s or 0.0 for other in kept) + _USUAL_S <= seconds:
            kept.append(each)
    return sorted(kept, key=lambda each: each[1])


def _row(step: Step, look_at: str, seconds: float, title: str = "") -> Shot:
    return Shot("", step.step, look_at, title=title or step.title or step.step, film_s=seconds)


def _hands_over(step: Step) -> bool:
    return any(move.into in step.people for move in step.leaves if move.into)


def _weight(plan: TimedPlan, step: Step) -> float:
    """How much a step is worth seeing: hand-overs and exchanges, two at work, footholds, required work."""
    need = next((task.need for task in plan.scenario.records.tasks if task.task == step.task), "")
    exchanges = bool(step.takes and step.leaves)
    return (_NEEDS.get(need, 1.0) + 3.0 * _hands_over(step) + 2.0 * exchanges + 1.0 * (len(step.people) > 1)
            + 1.0 * bool(step.foothold) + 1.0 * (step.light != "any") + min(step.minutes_likely / 20.0, 2.0)
            - 2.0 * step.helper)


def filmed(plan: TimedPlan, row: Shot) -> FilmShot:
    """A row as it is filmed: its minutes, and a camera."""
    step, surfaces = plan.steps[plan.position(row.from_step)], surfaces_of(plan.scenario.records)
    start, finish = plan.span(step.step)
    at = row.look_at or step.place
    if at in plan.travels:  # the camera goes along from where they set out for it
        start = min([start, *(each.start_min for each in plan.lanes[at]
                              if each.kind == TRAVEL and each.step == step.step)])
    until = min(start + row.minutes if row.minutes else finish, plan.end_min)
    base = FilmShot(row, start, until, row.film_s or _USUAL_S, WIDE, (), "", np.zeros(3), np.zeros(3),
                    surfaces.zenith, _weight(plan, step), None)
    return _with_camera(plan, base, at)


def camera_at(plan: TimedPlan, minute: float, look_at: str) -> FilmShot:
    """A camera for one minute that looks at what ``shots.csv`` may name. Raises `ScenarioError`."""
    records = plan.scenario.records
    known = (EVERYBODY, STATION, *plan.travels, *(place.place for place in records.places),
             *(body.body for body in records.bodies))
    if not isinstance(look_at, str) or look_at not in known:
        problem = f"is nothing to look at; name one of {', '.join(known[:40])}"
        raise ScenarioError.single(problem, table="still", column="look", value=look_at)
    at_min = moment_of(plan, minute).at_min
    base = FilmShot(Shot("", "", look_at), at_min, at_min, _USUAL_S, WIDE, (), "", np.zeros(3), np.zeros(3),
                    surfaces_of(records).zenith, 0.0, None)
    return _with_camera(plan, base, look_at)


def _with_camera(plan: TimedPlan, base: FilmShot, at: str) -> FilmShot:
    surfaces, row = surfaces_of(plan.scenario.records), base.row
    bodies = {solid.body.body: solid for solid in surfaces.solids}
    seen = _positions(plan, base.from_min, base.until_min)
    if at in plan.travels:
        return _going_along(surfaces, replace(base, kind=FOLLOW, who=(at,), follows=at), seen[at])
    if at in surfaces.points and at not in bodies:
        here = np.array(surfaces.points[at])
        who = tuple(crew for crew, points in seen.items() if (np.abs(points - here) < 1e-6).all())
        distance = max(row.distance_m or _NEAR_M, FIGURE_M / _HALF)
        eye, camera_up, blocked_by = _at_site(surfaces, at, row.side, distance)
        return replace(base, kind=SITE, who=who, look=here, eye=eye, up=camera_up, blocked_by=blocked_by)
    if at == EVERYBODY:
        points = np.concatenate([*seen.values()])
        who = tuple(seen)
    else:
        points = np.array([*surfaces.points.values()]) if at not in bodies else (
            bodies[at].middle[None] + np.outer((-0.5, 0.5), bodies[at].axes[2]) * bodies[at].length)
        who = tuple(seen) if at == STATION else ()
        points = np.concatenate([points, *(seen[crew] for crew in who)])
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    targets = np.concatenate([seen[crew] for crew in who]) if who else middle[None]
    # The broad side of what is seen, from the side away from Earth.
    side = np.linalg.svd(points - points.mean(axis=0))[2][-1] if len(points) > 2 else surfaces.ahead
    out = side * (1 if side @ surfaces.zenith >= 0 else -1)
    return _standing(surfaces, replace(base, who=who), middle, points, out, targets + out * _RAISED_M,
                     _sun(plan, (base.from_min + base.until_min) / 2), at)


def _sun(plan: TimedPlan, minute: float) -> Vector:
    """Where the Sun is, seen from the station; zeros in the shadow."""
    if moment_of(plan, min(minute, plan.end_min)).light.startswith("night"):
        return np.zeros(3)
    orbit, attitude = Orbit(plan.scenario.elements), plan.scenario.settings.attitude
    return np.asarray(sky_directions(orbit, attitude, plan.pet_zero, np.array([minute])).sun[0])


def _positions(plan: TimedPlan, start: float, until: float) -> dict[str, Vector]:
    """Where each crew member is at some minutes of a stretch, also at the bends of their ways: (k, 3)."""
    inside = [edge for lies in plan.tracked_tethers.values() for lie in lies.lies
              for edge in (lie.passage.start_min, lie.passage.finish_min) if start < edge < until]
    minutes = sorted({*np.linspace(start, until, _SAMPLES).tolist(), *inside})
    moments = [*moments_of(plan, minutes)]
    found = {crew: [moment.people[number].point_m for moment in moments]
             for number, crew in enumerate(plan.travels)}
    return {crew: np.array(points) for crew, points in found.items()}


def _standing(surfaces: Surfaces, shot: FilmShot, look: Vector, points: Vector, out: Vector, targets: Vector,
              sun: Vector, at: str) -> FilmShot:
    """A camera that stands still, has all the ``points`` in its frame and sees the ``targets`` freely."""
    spread = float(np.linalg.norm(points - look, axis=1).max()) + FIGURE_M
    distance = max(shot.row.distance_m or 0.0, spread / _HALF)
    views = _directions(surfaces, shot.row.side, out, surfaces.up_for(out))
    if not shot.row.side and sun.any():
        views = [*views, *(view - 2 * (view @ out) * out for view in views)]
    views.sort(key=lambda view: sun.any() and view @ sun < _LIT)
    eyes = [look + view * distance for view in views]
    targets = targets[:: len(targets) // _SAMPLES + 1]
    own = next((n for n, solid in enumerate(surfaces.solids) if solid.body.body == at), None)
    number, blocked_by = _first_free(surfaces, eyes, [targets] * len(eyes), own, is_whole=at == STATION)
    return replace(shot, look=look, eye=eyes[number], up=_camera_up(surfaces, look - eyes[number]),
                   blocked_by=blocked_by)


@lru_cache(maxsize=512)
def _at_site(surfaces: Surfaces, place: str, side: str,
             distance_m: float) -> tuple[Vector, Vector, int | None]:
    """Eye and up of a camera that looks at a place, and the solid in its way, if any."""
    here, (out, up) = np.array(surfaces.points[place]), surfaces.frames[place]
    eyes = [here + each * distance_m for each in _directions(surfaces, side, out, up)]
    number, blocked_by = _first_free(surfaces, eyes, [(here + out * _RAISED_M)[None]] * len(eyes))
    return eyes[number], _camera_up(surfaces, here - eyes[number]), blocked_by


def _going_along(surfaces: Surfaces, shot: FilmShot, points: Vector) -> FilmShot:
    """A camera that goes along with one crew member, who is at these points, at one offset."""
    out = surfaces.outward(points[len(points) // 2])
    distance = max(shot.row.distance_m or _NEAR_M, FIGURE_M / _HALF)
    offsets = [each * distance for each in _directions(surfaces, shot.row.side, out, surfaces.up_for(out))]
    number, blocked_by = _first_free(surfaces, [points + offset for offset in offsets],
                                     [points + out * _RAISED_M] * len(offsets))
    offset = offsets[number]
    return replace(shot, eye=offset, up=_camera_up(surfaces, -offset), blocked_by=blocked_by)


def _directions(surfaces: Surfaces, side: str, out: Vector, up: Vector) -> list[Vector]:
    """From what is looked at to where the camera may stand, the best first; one where a side is given."""
    right, starboard = np.cross(up, out), np.cross(surfaces.ahead, surfaces.zenith)
    sides = {"out": out, "front": surfaces.ahead, "aft": -surfaces.ahead, "zenith": surfaces.zenith,
             "nadir": -surfaces.zenith, "starboard": starboard, "port": -starboard}
    if side:
        return [sides[side]]
    views = [out * a + up * b + right * c for a, b, c in _VIEWS]
    return [view / np.linalg.norm(view) for view in views]


def _first_free(surfaces: Surfaces, eyes: Sequence[Vector], targets: Sequence[Vector],
                own: int | None = None, is_whole: bool = False) -> tuple[int, int | None]:
    """The first camera that sees all its targets freely, else the freest and the solid that is in its way.

    ``own`` is the solid that is looked at, which is in nobody's way. Of the whole station something is in the
    way where nothing of all the targets is seen.
    """
    others = replace(surfaces, solids=tuple(each for n, each in enumerate(surfaces.solids) if n != own))
    if not others.solids:
        return 0, None
    ends = np.concatenate([*targets])
    count = len(targets[0])
    starts = np.concatenate([np.broadcast_to(eye, (count, 3)) for eye in eyes])
    solids, distances = others.least_m(starts, ends, near_m=1.0)
    hidden = (distances < _CLEAR_M).reshape(-1, count).sum(axis=1)
    worst = distances.reshape(-1, count).min(axis=1)
    number = int(hidden.argmin()) if not hidden.all() else int(np.lexsort((-worst, hidden))[0])
    if hidden[number] == 0 or (is_whole and hidden[number] < count):
        return number, None
    found = int(solids[number * count + int(distances[number * count:(number + 1) * count].argmin())])
    return number, found + (own is not None and found >= own)


def _camera_up(surfaces: Surfaces, along: Vector) -> Vector:
    return across(along / np.linalg.norm(along), surfaces.zenith, surfaces.ahead)
