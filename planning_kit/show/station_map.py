"""The station map: a plan walked through minute by minute, or one minute of it as a still picture.

It draws what `planning_kit.plan.moments` says of each minute and computes nothing of its own. Under it
stand the swimlanes, low enough for both to be seen at once: the same bars, small.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import cos, pi, sin
from typing import Any

import numpy as np

from planning_kit.inputs.records import HAZARD_CLASSES, Hazard, Records, Route
from planning_kit.inputs.shown_text import plotly_paragraph, plotly_text
from planning_kit.inputs.times import measure, pet_label
from planning_kit.plan.activities import WORK
from planning_kit.plan.hazard_presence import Reach
from planning_kit.plan.moments import Moment, moment_of, moments_of, whole_minutes
from planning_kit.plan.network import grouped
from planning_kit.plan.timed import AnyPlan, TimedPlan, as_plan
from planning_kit.show import swimlane_bars as bars
from planning_kit.show.chart import Chart, row_axis, scatter, time_axes
from planning_kit.show.hazard_wording import HazardWords, caution_words, class_inks, class_rank, hazard_text
from planning_kit.show.palette import INK_ON_FILL, Theme, crew_inks, theme_named
from planning_kit.show.station_map_controls import WORD_COLUMNS, Film, Rows, controls, frame_name, map_layout
from planning_kit.show.station_map_moving import Stage, frames, moving_traces, person_words, primer, sky_words
from planning_kit.show.station_map_views import Point, View, Views, ground_traces, place_points, views_of
from planning_kit.show.swimlane import finding_traces, ground_shapes
from planning_kit.show.swimlane_bars import Trace
from planning_kit.show.swimlane_scene import Lane, Lanes, Scene, Stack, Strip, scene_of

_LIGHT_PX, _CREW_PX, _ACTOR_PX, _FINDINGS_PX, _INHIBIT_PX = 20, 30, 12, 16, 19
_LONGEST_ROW_LABEL = 14
_EDGE_SHARE = 0.012  # of the outing, shown before and after it: as wide as the ends of the slider below


def strip_traces(scene: Scene) -> list[Trace]:
    """Light, work, travel and waits, inhibits and findings; none of them in the legend."""
    # Step ids lie or stand in the bars, whichever fits; where none fits none is shown.
    labelled = [bars.label_bar(scene.lanes.people[row.crew].main, row,
                               f"<b>{plotly_text(row.step or row.title, 12)}</b>")
                for row in scene.rows if row.kind == WORK]
    ids = bars.labelled_trace("ids", labelled, INK_ON_FILL, hoverinfo="skip", marker=bars.UNSEEN)
    del ids["textangle"]
    traces = [*bars.sky_traces(scene), *bars.work_traces(scene), *bars.pause_traces(scene), ids,
              bars.inhibit_trace(scene), *finding_traces(scene)]
    return [trace | {"showlegend": False} for trace in traces if trace["x"]]


def strip_layout(scene: Scene, domain: Sequence[float]) -> dict[str, Any]:
    """Axes and grounds of the strip in ``domain`` (shares of the plot's height)."""
    edge_min = scene.plan.end_min * _EDGE_SHARE
    shown = (-edge_min, scene.plan.end_min + edge_min)
    axes = time_axes(shown, shown, scene.plan.pet_zero, scene.theme)
    for axis in axes.values():
        axis |= {"fixedrange": True, "showspikes": False}
    axes["xaxis2"] |= {"showticklabels": False, "ticks": ""}  # the clock above says GMT
    rows = row_axis(_row_labels(scene), scene.lanes.height, scene.theme.ink, domain=list(domain), ticks="",
                    ticklabelstandoff=4)
    return {**axes, "yaxis": rows, "shapes": ground_shapes(scene)}


def _low_lanes(full: Lanes) -> Lanes:
    stack = Stack(3.0)
    light = stack.take(_LIGHT_PX, 2)
    whole_plan = stack.take(_FINDINGS_PX, 2) if full.whole_plan else None
    people = {}
    for who, lane in full.people.items():
        findings = stack.take(_FINDINGS_PX, 1) if lane.findings and lane.is_crew else None
        main = stack.take(_CREW_PX if lane.is_crew else _ACTOR_PX, 2)
        people[who] = Lane(who, lane.is_crew, main, findings, None)
    inhibits = [stack.take(_INHIBIT_PX, 2) for _ in full.inhibits]
    none = Strip(stack.at - 3.0, 0.0)
    return Lanes(light=light, links={}, whole_plan=whole_plan, people=people, inhibits=inhibits,
                 planned_label=none, hard_label=none, outing=none)


def _row_labels(scene: Scene) -> dict[float, str]:
    lanes = scene.lanes
    labels = {lanes.light.mid: "light"}
    for lane in lanes.people.values():
        name = plotly_text(lane.who, _LONGEST_ROW_LABEL)
        labels[lane.main.mid] = f"<b>{name}</b>" if lane.is_crew else name
    labels |= {strip.mid: "inhibits" for strip in lanes.inhibits[:1]}
    return labels


def station_map(plan: AnyPlan, at_min: float | None = None, theme: str = "light", down: str = "+z",
                every_min: float = 1.0) -> Chart:
    """Walk through ``plan``: who is where, tethered to what, with what in hand, in which light.

    A time slider, play at three speeds and lists to jump to a step or finding move the crew along their
    routes and a line through the swimlanes below; all of it is in the figure and needs no kernel. A frame is
    drawn every ``every_min`` minutes of PET and at the end of the outing, and the title says so: from one to
    the next everything jumps. With ``at_min`` (minutes of PET)
    it is a still picture of that minute, without controls. The controls take mouse and keyboard.

    ``theme`` is ``light`` or ``dark``; ``down`` says which way along z is drawn downward (``+z`` or ``-z``).
    Between two places everybody is drawn on the straight line. Raises `ScenarioError` for another theme or
    direction, a minute outside the outing, or steps of time that are not above 0.
    """
    timed = as_plan(plan)
    minutes = whole_minutes(timed, every_min) if at_min is None else (moment_of(timed, at_min).at_min,)
    stage, records = _stage(timed, theme, down), timed.scenario.records
    scene, views = stage.scene, stage.views
    film = [[*traces, *_words(moment, stage)]
            for moment, traces in moving_traces(moments_of(timed, minutes), stage)]
    hazards = hazard_marks(records)
    still = [*strip_traces(scene), primer(film, views.space, views.lowest),
             *hazard_traces(records, hazards, views, scene.theme),
             *ground_traces(records, views, scene.theme, hazards.words)]
    # The ground lies below everything; all else that moves lies above what does not.
    data = [film[0][0], *still, *film[0][1:]]
    rows = Rows(scene.lanes.height, is_still=at_min is not None)
    layout = map_layout(scene, views, rows, _shown(minutes, scene)) | strip_layout(scene, rows.strip)
    if at_min is not None:
        return Chart(data=data, layout=layout)
    layout |= controls(scene, minutes, rows.height)
    places = [0, *range(1 + len(still), len(data))]
    return Film(data=data, layout=layout, frames=frames(film, places, [frame_name(m) for m in minutes]))


def _stage(plan: TimedPlan, theme_name: str, down: str) -> Stage:
    records = plan.scenario.records
    full = scene_of(plan, None, theme_named(theme_name))
    scene = replace(full, limits={}, links={}, lanes=_low_lanes(full.lanes))
    cautions = {place.place: caution_words(place.caution_class, place.caution) for place in records.places}
    cautions |= {step.step: caution_words(step.caution_class, step.caution) for step in records.steps}
    found = grouped((finding.step, finding) for finding in scene.found if finding.step)
    views = views_of(records.places, down, [*sphere_corners(records)])
    return Stage(scene, views, place_points(records.places), crew_inks(plan.travels, scene.theme), cautions,
                 found)


def _shown(minutes: Sequence[float], scene: Scene) -> str:
    """Which minutes the picture shows; between two of a film everything stands as in the earlier one."""
    now_min = scene.plan.now_min
    retimed = "" if now_min is None else f", re-timed at PET {pet_label(now_min)}"
    if len(minutes) == 1:
        return f"PET {pet_label(minutes[0])}{retimed}"
    every = f", drawn every {minutes[1] - minutes[0]:g} min" if len(minutes) > 2 else ""
    return f"PET {pet_label(minutes[0])} to {pet_label(minutes[-1])}{every}{retimed}"


def _words(moment: Moment, stage: Stage) -> list[Trace]:
    """Three columns: the sky and the others, then each crew member."""
    texts = [sky_words(moment, stage.scene.plan),
             *(person_words(person, moment, stage) for person in moment.people)]
    return [scatter("words", [x], [1], mode="text", xaxis="x6", yaxis="y6", text=[text], cliponaxis=False,
                    textposition="bottom right", textfont={"size": 11, "color": stage.scene.theme.ink})
            for x, text in zip(WORD_COLUMNS, texts, strict=False)]


# Hazards: spheres as rings, their places in rings, their routes as bands. What lies inside is what the
# checks judge (`planning_kit.plan.hazard_presence`). The class is told by colour, by the kind and width of a
# line, and as a word under the pointer.

_CORNERS = 48
_LOOKS = {"warning": ("solid", 3.0), "caution": ("dash", 2.0), "note": ("dot", 1.5)}
_PLACE_PX, _SPACE_PLACE_PX, _BAND_PX = 20, 14, 11
_BAND_OPACITY, _THIN_PX = 0.35, 0.8


@dataclass(frozen=True)
class HazardMarks:
    """What there is to draw: the worst class of places and stretches of routes; words by place and route."""

    spheres: tuple[Hazard, ...]
    places: dict[str, str]
    stretches: tuple[tuple[str, Point, Point], ...]
    words: dict[str | tuple[str, str], tuple[str, ...]]
    when: dict[str, str]


def hazard_marks(records: Records) -> HazardMarks:
    """Where the hazards of a scenario are, worst first."""
    points, words = place_points(records.places), HazardWords(records)
    places: dict[str, str] = {}
    stretches: list[tuple[str, Point, Point]] = []
    whole: set[tuple[str, str]] = set()
    told: dict[str | tuple[str, str], tuple[str, ...]] = {}
    hazards = sorted(records.hazards, key=lambda each: class_rank(each.class_))
    when = {each.hazard: words.when(each) for each in hazards}
    for hazard in hazards:
        reach, line = Reach(records, hazard), hazard_text(hazard, when[hazard.hazard])
        for place in (place for place in points if reach.at(place)):
            places.setdefault(place, hazard.class_)
            told[place] = (*told.get(place, ()), line)
        for route in records.routes:
            key = route.from_place, route.to_place
            parts = list(_parts(reach, route, points))
            if key not in whole:  # as a worse one
                stretches += [(hazard.class_, *ends) for ends in parts]
            if parts:
                told[key] = (*told.get(key, ()), line)
            if parts == [(points[route.from_place], points[route.to_place])]:
                whole.add(key)
    return HazardMarks(tuple(each for each in hazards if each.centre is not None), places, tuple(stretches),
                       told, when)


def sphere_corners(records: Records) -> Iterator[Point]:
    """Two corners of the box around each sphere with the body; metres."""
    body_m = records.settings.checks.body_m or 0.0
    for hazard in records.hazards:
        if hazard.centre is not None and hazard.radius_m is not None:
            reach_m = hazard.radius_m + body_m
            for away_m in (-reach_m, reach_m):
                yield hazard.centre[0] + away_m, hazard.centre[1] + away_m, hazard.centre[2] + away_m


def _parts(reach: Reach, route: Route, points: dict[str, Point]) -> Iterator[tuple[Point, Point]]:
    """The parts of a route inside, on the straight line that it is drawn on; all of it where it bends."""
    start, end = np.array(points[route.from_place]), np.array(points[route.to_place])
    for begin, finish, _ in reach.on(route.from_place, route.to_place, route):
        shares = (0.0, 1.0) if route.via else (begin, finish)
        one, other = (tuple(float(x) for x in start + share * (end - start)) for share in shares)
        yield (one[0], one[1], one[2]), (other[0], other[1], other[2])


@dataclass(frozen=True)
class _Look:
    """The traces of one class in one view."""

    view: View
    class_: str
    ink: str

    def bands(self, marks: HazardMarks) -> Trace:
        ends = [point for class_, one, other in marks.stretches if class_ == self.class_
                for point in (one, other, None)]
        return self.view.trace(ends, mode="lines", name="hazard routes", opacity=_BAND_OPACITY,
                               line={"color": self.ink, "width": _BAND_PX})

    def places(self, marks: HazardMarks, points: dict[str, Point]) -> Trace:
        own = [points[place] for place, class_ in marks.places.items() if class_ == self.class_]
        size = _SPACE_PLACE_PX if self.view.is_space else _PLACE_PX
        return self.view.trace(own, mode="markers", name="hazard places", marker={
            "symbol": "circle-open", "size": size, "color": self.ink, "opacity": 1,
            "line": {"color": self.ink, "width": _LOOKS[self.class_][1]}})

    def ring(self, hazard: Hazard, radius_m: float, width: float, text: str) -> Trace:
        assert hazard.centre is not None
        return self.view.trace(
            list(_rings(self.view, hazard.centre, radius_m)), mode="lines", name="hazard rings",
            hoverinfo="text", hovertext=plotly_paragraph(text),
            line={"color": self.ink, "width": width, "dash": _LOOKS[self.class_][0]},
            **({} if self.view.is_space else {"cliponaxis": True}))

    def key(self) -> Trace:
        """One unseen point for the legend."""
        dash, width = _LOOKS[self.class_]
        return self.view.trace([None], mode="lines+markers", name=f"hazard: {self.class_}", showlegend=True,
                               line={"color": self.ink, "width": width, "dash": dash},
                               marker={"symbol": "circle-open", "size": 11, "color": self.ink, "opacity": 1,
                                       "line": {"color": self.ink, "width": width}})


def hazard_traces(records: Records, marks: HazardMarks, views: Views, theme: Theme) -> list[Trace]:
    """All of it in all views, notes first, so that warnings lie on top; and the legend's entries."""
    inks = class_inks(theme)
    points = place_points(records.places)
    traces: list[Trace] = []
    for view in views.all:
        for class_ in reversed(HAZARD_CLASSES):
            look = _Look(view, class_, inks[class_])
            traces += [look.bands(marks), look.places(marks, points), *_spheres(look, marks, records)]
    there = {*marks.places.values(), *(each.class_ for each in marks.spheres),
             *(class_ for class_, *_ in marks.stretches)}
    traces += [_Look(views.side, class_, inks[class_]).key() for class_ in HAZARD_CLASSES if class_ in there]
    return [trace for trace in traces if trace["x"]]


def _spheres(look: _Look, marks: HazardMarks, records: Records) -> Iterator[Trace]:
    """Each sphere as a ring, and thinner how far it reaches for a body."""
    for hazard in (each for each in marks.spheres if each.class_ == look.class_):
        assert hazard.radius_m is not None
        text = hazard_text(hazard, marks.when[hazard.hazard])
        if body_m := records.settings.checks.body_m:
            yield look.ring(hazard, hazard.radius_m + body_m, _THIN_PX,
                            f"{text} With {measure(body_m, 'm', records.settings, 'up')} for the body.")
        yield look.ring(hazard, hazard.radius_m, _LOOKS[hazard.class_][1], text)


def _rings(view: View, centre: Point, radius_m: float) -> Iterator[Point | None]:
    """What a sphere looks like: a circle in a flat view, in space three great circles; None ends each."""
    planes: Sequence[tuple[int, int]] = ((0, 1), (0, 2), (1, 2))
    if not view.is_space:
        planes = [("xyz".index(view.across[1]), "xyz".index(view.up[1]))]
    for first, second in planes:
        for corner in range(_CORNERS + 1):
            point = list(centre)
            point[first] += radius_m * cos(2 * pi * corner / _CORNERS)
            point[second] += radius_m * sin(2 * pi * corner / _CORNERS)
            yield point[0], point[1], point[2]
        yield None
