"""The scene of a film: one dictionary, ready for JSON, from which everything at any minute can be drawn.

It holds finished data alone: minutes of PET, metres and unit vectors of the station body frame, plain text.
Whoever draws looks up a piece by its minutes and interpolates: positions along the polyline of a piece by
length, light between the minutes of its arrays. Nothing depends on a clock or on chance.
"""

from math import ceil, isfinite
from typing import Any

import numpy as np

from planning_kit.explore.long_question import InPieces, at_once
from planning_kit.inputs import format as fmt
from planning_kit.inputs.setting_records import SI
from planning_kit.inputs.shown_text import one_line, shortened
from planning_kit.inputs.times import converted
from planning_kit.judge.acceptances import told_findings
from planning_kit.judge.findings import findings_in
from planning_kit.plan.activities import WORK
from planning_kit.plan.shots import ASPECT, CUTS, FOV_DEG, FilmShot, cut_of, film_rows, filmed
from planning_kit.plan.surfaces import surfaces_of
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_events import briefing_events
from planning_kit.show.chart_rows import finding_minute, rows_of, work_by_step
from planning_kit.show.film import tracks
from planning_kit.show.film.bodies import drawn_solid
from planning_kit.show.film.tracks import Data, minute, spans, vector
from planning_kit.show.moment_words import route_kind
from planning_kit.show.palette import fills_of
from planning_kit.sky.attitude import SkyDirections, sky_directions
from planning_kit.sky.orbit import Orbit

LIGHT_EVERY_MIN = 1.0
"""Between two directions of the light: then straight lines between them are off by 0.02 degrees at most."""
_LONGEST_TITLE = 120


def scene_of(plan: TimedPlan) -> Data:
    """Everything that a film of this plan shows. Raises `ScenarioError` where the orbit has no position."""
    return at_once(scene_in_pieces(plan))


def scene_in_pieces(plan: TimedPlan) -> InPieces[Data]:
    """The same in pieces: a camera after the other is most of the work."""
    settings, records, end_min = plan.scenario.settings, plan.scenario.records, plan.end_min
    surfaces, shots = surfaces_of(records), list[FilmShot]()
    for row in film_rows(plan):
        shots.append(filmed(plan, row))
        yield
    told = _told(plan)
    yield
    light = light_of(plan)
    yield
    return {
        "title": one_line(settings.title), "station": one_line(settings.station),
        "pet_zero_ms": round(plan.pet_zero.timestamp() * 1000), "end_min": minute(end_min),
        "caution": fmt.CAUTION, "camera": {"fov_deg": FOV_DEG, "aspect": ASPECT},
        "customary": None if settings.units == SI else {"unit": "ft", "metres": converted(1.0, "ft", "m")},
        "zenith": vector(surfaces.zenith, 6), "ahead": vector(surfaces.ahead, 6),
        "bodies": [drawn for solid in surfaces.solids
                   for drawn in drawn_solid(solid, plan.scenario.checked.source.models)],
        "places": [{"id": place.place, "title": one_line(place.title),
                    "at": vector(surfaces.points[place.place]),
                    "out": vector(surfaces.frames[place.place][0], 6),
                    "up": vector(surfaces.frames[place.place][1], 6), "anchor": place.anchor,
                    "socket": place.socket} for place in records.places],
        "routes": [{"from": route.from_place, "to": route.to_place, "kind": route_kind(route), "points": [
            vector(point) for point in (surfaces.points[route.from_place], *route.via,
                                        surfaces.points[route.to_place])]} for route in records.routes],
        "hazards": tracks.hazards(plan), "inhibits": tracks.inhibits(plan),
        "people": tracks.people(plan), "tethers": tracks.tethers(plan), "items": tracks.items(plan),
        "light": light,
        "links": [[one_line(name), spans(windows, end_min)] for name, windows in plan.relays.items()],
        **told,
        "shots": [_shot(shot) for shot in shots],
        "cuts": {name: [list(each) for each in cut_of(shots, seconds)] for name, seconds in CUTS.items()},
    }


def light_at(plan: TimedPlan, minutes: np.ndarray) -> SkyDirections:
    """Sun and Earth as the station sees them at minutes of PET (k,)."""
    orbit, attitude = Orbit(plan.scenario.elements), plan.scenario.settings.attitude
    return sky_directions(orbit, attitude, plan.pet_zero, minutes)


def light_of(plan: TimedPlan) -> Data:
    """Sun, Earth and its pole every minute, to the first one after the end; day and night."""
    minutes = np.arange(0.0, ceil(plan.end_min / LIGHT_EVERY_MIN) + 1.0) * LIGHT_EVERY_MIN
    sky = light_at(plan, minutes)
    directions = {name: [vector(each, 6) for each in getattr(sky, name)]
                  for name in ("sun", "nadir", "north")}
    kinds = {kind: spans(getattr(plan.light, kind), plan.end_min) for kind in ("day", "penumbra", "night")}
    return {"every_min": LIGHT_EVERY_MIN, **directions, "sub_lat": vector(sky.sub_lat),
            "sub_lon": vector(sky.sub_lon), "altitude_km": vector(sky.altitude_km, 2), "kinds": kinds}


def _told(plan: TimedPlan) -> Data:
    """What is read beside the picture: steps, findings, captions, the lanes."""
    work, fills = work_by_step(rows_of(plan)), fills_of(plan.scenario.records.tasks, plan.lanes)
    steps = [{"step": step.step, "title": one_line(step.title), "task": step.task, "who": list(step.people),
              "from": minute(start), "until": minute(finish), "place": step.place}
             for step, start, finish in sorted(plan.each_step(), key=lambda each: each[1])
             if isfinite(start)]
    findings = []
    for each in findings_in(told_findings(plan)):
        at = finding_minute(each, work)
        findings.append({"severity": each.severity, "step": each.step, "words": one_line(each.words),
                         "from": minute(min(max(at, 0.0), plan.end_min)) if isfinite(at) else None})
    bars = [[who, minute(row.start_min), minute(row.finish_min), *fills.get(row.task, fills[""]), row.step]
            for who, lane in plan.lanes.items() for row in lane if row.kind == WORK]
    return {"steps": steps, "findings": findings, "captions": _captions(plan),
            "strip": {"lanes": list(plan.lanes), "bars": bars}}


def _captions(plan: TimedPlan) -> list[Data]:
    """The briefing, each sentence until the next one about the same people, or the end."""
    told: list[Data] = []
    latest: dict[str, Data] = {}
    for event in briefing_events(plan):
        at = minute(event.at_min)
        if event.kind == "finding" or not 0.0 <= at <= plan.end_min:
            continue
        if event.who in latest:
            latest[event.who]["until"] = at
        latest[event.who] = {"from": at, "until": minute(plan.end_min), "who": event.who,
                             "words": one_line(event.words)}
        told.append(latest[event.who])
    return [each for each in told if each["until"] > each["from"]]


def _shot(shot: FilmShot) -> Data:
    """A shot; of one that goes along ``look`` is the person, and ``eye`` counts from where they are."""
    look: Any = shot.follows or vector(shot.look)
    return {"shot": shot.row.shot, "step": shot.row.from_step, "from": minute(shot.from_min),
            "until": minute(shot.until_min), "film_s": round(shot.film_s, 3), "kind": shot.kind,
            "title": shortened(shot.row.title, _LONGEST_TITLE), "who": list(shot.who), "look": look,
            "eye": vector(shot.eye), "up": vector(shot.up, 6)}
