"""A still of the film, drawn without a browser: the station, the crew and their tethers at one minute.

Painter's way: all faces, members and figures are projected and drawn from the farthest to the nearest. Faces
are small, so that their middles sort them well enough; a figure or tether counts as a little nearer than it
is. Lit by the Sun of the minute and by light from Earth's side; at night by the latter and the helmet lamps,
on dark ground. Behind it Earth; hazards that nothing controls are rings.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from itertools import pairwise

import numpy as np

from planning_kit.inputs import station_records as rec
from planning_kit.inputs.shown_text import html_text, one_line, shortened, visible
from planning_kit.inputs.times import pet_label
from planning_kit.plan.moments import Person, moment_of
from planning_kit.plan.shots import camera_at
from planning_kit.plan.surfaces import Solid, Surfaces, Vector, across, surfaces_of
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.film import tracks
from planning_kit.show.film.bodies import PLAIN, truss_members
from planning_kit.show.film.scene import light_at
from planning_kit.show.film.tracks import laid_points
from planning_kit.show.hazard_wording import class_inks
from planning_kit.show.moment_words import drawn_as_boxes, moment_lines
from planning_kit.show.pack.content import Area, Box, Label, Line, Mark, Picture, Shape
from planning_kit.show.palette import LIGHT, crew_inks
from planning_kit.show.still_view import HEIGHT, WIDTH, Drawn, Spot, View, earth

_SIDES, _TILE_M, _NEAR_M, _NEARER_M = 12, 4.0, 0.4, 1.2
_GROUND = {"night": "#262C40", "penumbra": "#C3C8D3"}
_AT_PLACE_M = 0.8  # the ring of a hazard that is at a place and has no sphere
_TALL_M, _LEAST_PX, _MOST_LABELS, _SIZE, _CHAR, _PLAIN_CHAR = 1.8, 20.0, 14, 7.0, 0.7, 0.6
_SUIT, _VISOR = "#F4F4F0", "#3A3F48"
_AWAY = (6.0, 14.0, 24.0, 40.0, 65.0, 95.0)
_SLOTS = ((1, -1), (1, 1), (-1, -1), (-1, 1), (0, -2), (0, 2), (1, 0), (-1, 0))

Rectangle = tuple[float, float, float, float]


@dataclass(frozen=True)
class Still:
    """A picture as SVG: ``svg`` is its text, ``alt`` what it shows in words; a notebook shows it.

    ``words``: who does what where, holds what and is hooked where, in which light, a line each.
    """

    svg: str
    alt: str
    words: tuple[str, ...] = ()

    @property
    def address(self) -> str:
        """The picture as a data address, for an ``img``."""
        return f"data:image/svg+xml;base64,{b64encode(self.svg.encode()).decode()}"

    @property
    def img(self) -> str:
        """The picture as HTML that a notebook nobody trusts yet shows, too: it would drop SVG elements."""
        return f'<img src="{self.address}" alt="{_attribute(self.alt)}" width="100%">'

    def _repr_html_(self) -> str:
        return self.img + "<p>" + "<br>".join(map(html_text, self.words)) + "</p>"

    def __repr__(self) -> str:
        return f"<Still: {self.alt}>"


def still(plan: TimedPlan, minute: float, look: str = "both") -> Still:
    """The station at a minute of PET; ``look``: a crew member, both, a place, a body or the station.

    Raises `ScenarioError` for a minute outside the outing, and for what is nothing to look at.
    """
    picture = still_picture(plan, minute, look)
    parts = "".join(map(_svg, picture.shapes))
    words = tuple(line for line, _ in moment_lines(plan, moment_of(plan, minute)))
    return Still(f'<svg role="img" aria-label="{_attribute(picture.alt)}" xmlns="http://www.w3.org/2000/svg" '
                 f'viewBox="0 0 {picture.width:g} {picture.height:g}" width="100%" '
                 f'font-family="system-ui, Liberation Sans, Arial, sans-serif">{parts}</svg>',
                 picture.alt, words)


def _attribute(text: str) -> str:
    return escape(visible(text))


def still_picture(plan: TimedPlan, minute: float, look: str, top: float = 0.0) -> Picture:
    """The same as shapes, ``top`` points below the upper edge."""
    moment, surfaces = moment_of(plan, minute), surfaces_of(plan.scenario.records)
    light = moment.light.partition(" ")[0]
    shot = camera_at(plan, moment.at_min, look)
    at = {person.crew: np.array(person.point_m) for person in moment.people}
    base = at[shot.follows] if shot.follows else np.zeros(3)
    view = View.of(base + shot.eye, base + shot.look, shot.up, top)
    sky = light_at(plan, np.array([moment.at_min]))
    sun = sky.sun[0] if light != "night" else None
    lamps = [np.array(person.point_m) for person in moment.people] if sun is None else []
    drawn = [each for solid in surfaces.solids for each in _body(solid, view, sun, -surfaces.zenith, lamps)]
    inks, occupied = crew_inks(plan.travels, LIGHT), list[Rectangle]()
    helmets: dict[str, Spot] = {}
    for number, person in enumerate(moment.people):
        drawn += _tether(plan, person, view, inks[person.crew], number)
        drawn += _figure(person, surfaces, view, inks[person.crew], number, occupied, helmets)
    hazards = [each for each in tracks.hazards(plan)
               if any(begin <= moment.at_min <= end for begin, end in each["spans"])]
    drawn += [shape for each in hazards for shape in _hazard(each, view)]
    shapes: list[Shape] = [Box(0.0, top, WIDTH, HEIGHT, _GROUND.get(light, "#EEF1F5"))]
    shapes += earth(view, sky, is_night=sun is None)
    shapes += [shape for _, group in sorted(drawn, key=lambda each: -each[0]) for shape in group]
    shapes += _labels(plan, hazards, view, occupied, helmets)
    alt = f"Station at PET {pet_label(moment.at_min)}, {light or 'light not known'}. " + " ".join(
        f"{person.crew}: {person.doing.kind} {one_line(person.doing.step)} at {person.place}"
        f"{f' to {person.to_place}' if person.to_place else ''}, hooked at {person.hook}."
        for person in moment.people) + "".join(f" {line}" for line in drawn_as_boxes(plan))
    return Picture(WIDTH, HEIGHT + top, tuple(shapes), alt)


def _hazard(hazard: tracks.Data, view: View) -> Iterator[Drawn]:
    """A ring around it that faces the camera, or its part of a way."""
    at, ink = np.array(hazard["at"]), class_inks(LIGHT)[hazard["severity"]]
    if hazard["points"]:
        yield from view.lines(np.array(hazard["points"]), ink, 2.6)
        return
    along = (view.eye - at) / max(float(np.linalg.norm(view.eye - at)), 1e-9)
    beside = across(along, np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0]))
    turns = np.linspace(0.0, 2 * np.pi, 37)[:, None]
    ring = np.cos(turns) * beside + np.sin(turns) * np.cross(along, beside)
    yield from view.lines(at + ring * (hazard["radius_m"] or _AT_PLACE_M), ink, 1.4)


def _body(solid: Solid, view: View, sun: Vector | None, nadir: Vector,
          lamps: Sequence[Vector]) -> Iterator[Drawn]:
    colour = solid.body.colour or PLAIN
    if solid.body.kind == rec.TRUSS:
        for one, other, radius in truss_members(solid):
            far = float((solid.middle - view.eye) @ view.axes[2])
            width = float(np.clip(2 * radius * view.scale / max(far, 1.0), 0.4, 6.0))
            yield from view.lines(np.array([one, other]), _shaded(colour, sun, nadir, None), round(width, 1))
        return
    for face in _faces(solid):
        normal = np.cross(face[1] - face[0], face[2] - face[1])
        middle = face.mean(axis=0)
        spots, depth = view.spots(face)
        if normal @ (view.eye - middle) <= 0 or depth.min() < _NEAR_M:
            continue
        if len(area := view.clipped([(float(x), float(y)) for x, y in spots])) > 2:
            normal = normal / np.linalg.norm(normal)
            shade = _shaded(colour, sun, nadir, normal, sum(_lamp(lamp - middle, normal) for lamp in lamps))
            yield float(np.linalg.norm(middle - view.eye)), (Area(area, shade),)


def _faces(solid: Solid) -> Iterator[Vector]:
    """Polygons around a body, counter-clockwise as seen from outside."""
    if len(solid.half):
        for axis in range(3):
            one, other = (axis + 1) % 3, (axis + 2) % 3
            cuts = [np.linspace(-1, 1, int(np.ceil(solid.half[k] * 2 / _TILE_M)) + 1) for k in (one, other)]
            for sign, (a, b), (c, d) in ((s, p, q) for s in (1, -1) for p in pairwise(cuts[0])
                                         for q in pairwise(cuts[1])):
                own = np.zeros((4, 3))
                own[:, axis], own[:, one], own[:, other] = sign, (a, b, b, a), (c, c, d, d)
                yield solid.middle + (own * solid.half)[::sign] @ solid.axes
        return
    turns = np.linspace(0, 2 * np.pi, _SIDES + 1)
    if solid.body.kind == rec.DOME:
        rises = np.linspace(0, np.pi / 2, 5)
        rings = [(np.cos(rise) * solid.length, np.sin(rise) * solid.length) for rise in rises]
    else:
        shares = np.linspace(0, 1, int(np.ceil(solid.length / _TILE_M)) + 1)
        first, last = solid.radii
        rings = [(first + share * (last - first), share * solid.length) for share in shares]

    def ring(radius: float, height: float) -> Vector:
        own = np.stack([radius * np.cos(turns), radius * np.sin(turns), np.full(len(turns), height)], axis=1)
        return np.asarray(solid.middle + own @ solid.axes)

    circles = [ring(*each) for each in rings]
    for low, high in pairwise(circles):
        yield from (np.array([low[n], low[n + 1], high[n + 1], high[n]]) for n in range(_SIDES))
    yield circles[0][:-1][::-1]
    yield circles[-1][:-1]


def _lamp(to: Vector, normal: Vector) -> float:
    """What a lamp in that direction (m) adds: less with the square of its distance, none from behind."""
    squared = float(to @ to) + 0.5
    return max(float(normal @ to), 0.0) / float(np.sqrt(squared)) * min(3.0 / squared, 0.7)


def _shaded(colour: str, sun: Vector | None, nadir: Vector, normal: Vector | None, more: float = 0.0) -> str:
    """The colour in the light: of the Sun, of Earth's side, a little from everywhere, and ``more``."""
    falls = 0.5 if normal is None else max(float(normal @ sun), 0.0) if sun is not None else 0.0
    from_earth = 0.5 if normal is None else 0.5 + 0.5 * float(normal @ nadir)
    share = 0.3 + 0.25 * from_earth if sun is None else 0.36 + 0.16 * from_earth + 0.48 * falls
    share += more
    return "#" + "".join(f"{int(min(int(colour[k:k + 2], 16) * share, 255)):02X}" for k in (1, 3, 5))


def _tether(plan: TimedPlan, person: Person, view: View, ink: str, number: int) -> Iterator[Drawn]:
    points = np.array([*laid_points(plan, person.crew, person.line), person.point_m])
    yield from ((far - _NEARER_M, shapes) for far, shapes in view.lines(points, ink, (2.2, 1.2)[number % 2]))


def _figure(person: Person, surfaces: Surfaces, view: View, ink: str, number: int,
            occupied: list[Rectangle], helmets: dict[str, Spot]) -> Iterator[Drawn]:
    """A suit with its helmet to ``up``: the first with wide bands, the second with thin rings."""
    out, up = surfaces.frames[person.to_place if person.share > 0.5 else person.place]
    beside = np.cross(up, out) * (0.35 if number % 2 else -0.35)  # two at one place stand side by side
    feet = np.array(person.point_m) + beside - up * _TALL_M / 2 + out * 0.15
    (foot, head), depth = view.spots(np.array([feet, feet + up * _TALL_M]))
    if depth.min() < _NEAR_M or not (view.holds(foot) and view.holds(head)):
        return
    along = head - foot
    size = float(np.linalg.norm(along))
    if size < _LEAST_PX:  # seen from afar or from above it is still a figure
        along = along / size * _LEAST_PX if size > 4 else np.array([0.0, -_LEAST_PX])
    side = np.array([-along[1], along[0]]) * 0.19

    def across_at(low: float, high: float, fill: str, wide: float = 1.0) -> Area:
        corners = ((low, -wide), (low, wide), (high, wide), (high, -wide))
        return Area(tuple((round(float(x), 1), round(float(y), 1))
                          for x, y in (foot + along * share + side * turn for share, turn in corners)), fill)

    bands = ((0.1, 0.26), (0.4, 0.58)) if number % 2 == 0 else ((0.12, 0.15), (0.26, 0.29), (0.4, 0.43),
                                                              (0.54, 0.57))
    helmet = foot + along * 0.85
    radius = round(float(np.linalg.norm(along)) * 0.15, 1)
    low, high = np.minimum(foot, foot + along) - radius, np.maximum(foot, foot + along) + radius
    occupied.append((float(low[0]), float(low[1]), float(high[0]), float(high[1])))
    x, y = helmets[person.crew] = round(float(helmet[0]), 1), round(float(helmet[1]), 1)
    yield float(depth.mean()) - _NEARER_M, (
        across_at(-0.02, 0.77, LIGHT.ink, 1.15), across_at(0.0, 0.75, _SUIT),
        *(across_at(*band, ink) for band in bands), Mark(x, y, radius, "disc", _SUIT, LIGHT.ink),
        Mark(x, y, round(radius * 0.6, 1), "disc", _VISOR, ink))


def _labels(plan: TimedPlan, hazards: Sequence[tracks.Data], view: View,
            occupied: list[Rectangle], helmets: dict[str, Spot]) -> Iterator[Shape]:
    """Names where nothing else is: the crew's first, then the nearest places that can be seen."""
    surfaces, inks = surfaces_of(plan.scenario.records), crew_inks(plan.travels, LIGHT)
    names = [*surfaces.points]
    at = np.array([surfaces.points[name] for name in names])
    raised = at + np.array([surfaces.frames[name][0] for name in names]) * 0.3
    is_free = surfaces.least_m(np.tile(view.eye, (len(at), 1)), raised)[1] > 0
    spots, depth = view.spots(at)
    told = [(one_line(crew), spot, inks[crew]) for crew, spot in helmets.items()]
    for hazard in {each["id"]: each for each in reversed(hazards)}.values():
        (x, y), far = (found[0] for found in view.spots(np.array([hazard["at"]])))
        if far > 0:
            words = f"{hazard['severity']}: {shortened(hazard['title'], 40)}"
            told.append((words, (float(x), float(y)), LIGHT.ink))
    told += [(one_line(names[n])[:16], (float(spots[n][0]), float(spots[n][1])), LIGHT.ink)
             for n in np.argsort(depth).tolist() if is_free[n] and depth[n] > 0]
    for text, (x, y), ink in told[:_MOST_LABELS + len(helmets) + len(hazards)]:
        char = _CHAR if ink != LIGHT.ink else _PLAIN_CHAR
        wide, high = len(text) * _SIZE * char + 4, _SIZE + 3
        for away, (right, down) in ((a, slot) for a in _AWAY for slot in _SLOTS):
            left = x + right * away - (wide if right < 0 else wide / 2 if right == 0 else 0)
            upper = y + down * away / 2 - high / 2
            box = left, upper, left + wide, upper + high
            if (left >= 0 and box[2] <= WIDTH and view.top <= upper and box[3] <= view.top + HEIGHT
                    and view.holds(np.array([x, y])) and not any(_overlap(box, other) for other in occupied)):
                occupied.append(box)
                ends = (round(x, 1), round(y, 1)), (round(left + wide / 2, 1), round(upper + high / 2, 1))
                yield from (Line(ends, LIGHT.quiet_ink, 0.5), Box(left, upper, wide, high, LIGHT.paper),
                            Label(left + 2, upper + _SIZE, text, _SIZE, ink, is_bold=ink != LIGHT.ink))
                break


def _overlap(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _svg(shape: Shape) -> str:
    if isinstance(shape, Label):
        return (f'<text x="{shape.x:.1f}" y="{shape.y:.1f}" font-size="{shape.size:g}" fill="{shape.colour}"'
                f'{" font-weight=" + chr(34) + "600" + chr(34) if shape.is_bold else ""}>'
                f"{html_text(shape.text).replace('span>', 'tspan>')}</text>")
    if isinstance(shape, Box):
        return (f'<rect x="{shape.x:.1f}" y="{shape.y:.1f}" width="{shape.width:.1f}" '
                f'height="{shape.height:.1f}" fill="{shape.fill}"/>')
    if isinstance(shape, Mark):
        return (f'<circle cx="{shape.x:g}" cy="{shape.y:g}" r="{shape.size:g}" fill="{shape.fill}" '
                f'stroke="{shape.stroke}"/>')
    assert isinstance(shape, Area | Line)
    points = " ".join(f"{x:g},{y:g}" for x, y in shape.points)
    if isinstance(shape, Area):
        return f'<polygon points="{points}" fill="{shape.fill}"/>'
    return f'<polyline points="{points}" fill="none" stroke="{shape.colour}" stroke-width="{shape.width:g}"/>'
