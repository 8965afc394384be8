"""The station as typed records: places and routes, the bodies that it is drawn of, and shots of the film.

A body is one solid of the station body frame, metres. Its ``ends`` are one point or two:

=========  =====================================  =======================================================
kind       ends                                   sizes
=========  =====================================  =======================================================
cylinder   middle of both flat ends               radius_m
cone       middle of both flat ends               radius_m at the first, radius2_m at the second (may be 0)
dome       middle of the flat side; its top       none: the radius is the distance of the two (half a ball)
box        its middle                             length_m, width_m, height_m along x, y, z, then turned
panel      its middle                             length_m, width_m along x, y; height_m (0.1 m) along z
truss      middle of both ends                    width_m, the side of its square section; bays
model      where the origin of its file is        model, a .glb file of the folder; scale (metres a unit)
=========  =====================================  =======================================================

``yaw_deg``, ``pitch_deg``, ``roll_deg`` turn a box, panel or model about z, then about its new y, then its
new x; of a truss roll turns it about its length.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from planning_kit.inputs.fields import FAR_M, LONGEST_MIN, Field, choice, column, minutes, number, reference
from planning_kit.inputs.hazard_words import Point

HAZARD_CLASSES = ("warning", "caution", "note")
CYLINDER, CONE, DOME, BOX, PANEL, TRUSS = "cylinder", "cone", "dome", "box", "panel", "truss"
MODEL = "model"
SIDES = ("out", "front", "aft", "starboard", "port", "nadir", "zenith")
EVERYBODY, STATION = "both", "station"


def class_of_caution() -> Field:
    """The column that says what kind of caution a caution is."""
    return choice("what its caution is: warning (can injure), caution (can damage hardware) or note",
                  *HAZARD_CLASSES, default="caution", may_be_absent=True)


@dataclass(frozen=True)
class Place:
    """A worksite or waypoint, in the station body frame."""

    place: Annotated[str, column("id", "id", needed=True)]
    title: Annotated[str, column("text", "name shown")]
    x_m: Annotated[float, number("station body frame, x", "m", needed=True, least=-FAR_M, most=FAR_M)]
    y_m: Annotated[float, number("station body frame, y", "m", needed=True, least=-FAR_M, most=FAR_M)]
    z_m: Annotated[float, number("station body frame, z", "m", needed=True, least=-FAR_M, most=FAR_M)]
    crew_at_once: Annotated[int | None, column("count",
        "how many people may be here at once; empty: not known", least=0, most=100)]
    anchor: Annotated[bool, column("yes_no", "takes a tether hook")]
    socket: Annotated[bool, column("yes_no", "takes a foothold")]
    caution: Annotated[str, column("text", "warning to whoever comes here")]
    zone: Annotated[str, column("name", "the part of the station it is on, for hazards and moving parts",
        may_be_absent=True)] = ""
    caution_class: Annotated[str, class_of_caution()] = "caution"
    rescue: Annotated[bool | None, column("yes_no", "a second person can work here to bring the other in; "
        "empty: no where crew_at_once is 1 or not known", may_be_unknown=True, may_be_absent=True)] = None
    fall_back: Annotated[bool, column("yes_no", "where to go when voice is lost", may_be_absent=True)] = False
    outward: Annotated[tuple[Point, ...], column("points", "away from the surface, x y z of any length; "
        "empty: away from the nearest body", may_be_absent=True, example="0 0 -1")] = ()
    up: Annotated[tuple[Point, ...], column("points", "where the head of a worker points, x y z of any "
        "length; empty: along the surface, away from Earth", may_be_absent=True, example="1 0 0")] = ()

    @property
    def allows_rescue(self) -> bool:
        """Whether a second person can work here to bring the other in: as said, or by its room, if known."""
        return self.rescue if self.rescue is not None else (self.crew_at_once or 0) > 1


@dataclass(frozen=True)
class Route:
    """A two-way handrail route; ``minutes`` overrides the time that ``metres`` gives."""

    from_place: Annotated[str, reference("one end", "places", needed=True)]
    to_place: Annotated[str, reference("the other end", "places", needed=True)]
    metres: Annotated[float, number("length along the handrails", "m", needed=True, most=FAR_M)]
    minutes: Annotated[float | None, minutes("overrides the time that metres give")]
    tight: Annotated[bool | None, column("yes_no", "bulky items do not pass easily; empty: not known",
        may_be_unknown=True)]
    snag: Annotated[bool | None, column("yes_no", "tethers and cables can catch; empty: not known",
        may_be_unknown=True)]
    caution: Annotated[str, column("text", "warning on this route")]
    via: Annotated[tuple[Point, ...], column("points", "bends of the handrails between its ends", "m",
        may_be_absent=True)] = ()
    caution_class: Annotated[str, class_of_caution()] = "caution"
    rescue: Annotated[bool | None, column("yes_no", "a disabled person can be brought along it; empty: no "
        "where it is tight or that is not known", may_be_unknown=True, may_be_absent=True)] = None

    @property
    def allows_rescue(self) -> bool:
        """Whether a disabled person can be brought along it: as said, or by its width."""
        return self.rescue if self.rescue is not None else self.tight is False


def _size(about: str) -> Field:
    return number(about, "m", above_least=True, most=FAR_M, may_be_absent=True)


def _angle(about: str, example: str = "") -> Field:
    return number(about, "deg", least=-360, most=360, default=0.0, may_be_absent=True, example=example)


@dataclass(frozen=True)
class Body:
    """A solid that the station is drawn of; which sizes each kind has, says the module."""

    body: Annotated[str, column("id", "id", needed=True)]
    kind: Annotated[str, choice("what it is", CYLINDER, CONE, DOME, BOX, PANEL, TRUSS, MODEL,
        needed=True)]
    ends: Annotated[tuple[Point, ...], column("points", "its middle (of a model its origin) or its two ends, "
        "x y z", "m", needed=True)]
    title: Annotated[str, column("text", "name shown", may_be_absent=True)] = ""
    zone: Annotated[str, column("name", "the part of the station it belongs to", may_be_absent=True)] = ""
    colour: Annotated[str, column("text", "#RRGGBB; empty: light grey", may_be_absent=True)] = ""
    radius_m: Annotated[float | None, _size("radius, of a cone at its first end")] = None
    radius2_m: Annotated[float | None, number("radius of a cone at its second end; may be 0", "m", most=FAR_M,
        may_be_absent=True)] = None
    length_m: Annotated[float | None, _size("of a box or panel, along its x")] = None
    width_m: Annotated[float | None, _size("of a box or panel, along its y; of a truss, its section")] = None
    height_m: Annotated[float | None, _size("of a box or panel, along its z; empty for a panel: 0.1")] = None
    yaw_deg: Annotated[float, _angle("turn of a box, panel or model about z", "30")] = 0.0
    pitch_deg: Annotated[float, _angle("then about its y", "-10")] = 0.0
    roll_deg: Annotated[float, _angle("then about its x; of a truss about its length", "45")] = 0.0
    bays: Annotated[int | None, column("count", "of a truss; empty: as long as wide", least=1, most=100,
        may_be_absent=True, example="6")] = None
    model: Annotated[str, column("text", "of a model: a .glb file (glTF 2.0) in the folder",
        may_be_absent=True, example="arm.glb")] = ""
    scale: Annotated[float, number("metres in a unit of the model's file", "m", above_least=True, most=FAR_M,
        default=1.0, may_be_absent=True, example="0.001")] = 1.0


@dataclass(frozen=True)
class Model:
    """A model's file: SHA-256 of its bytes, and the two corners of the box around it, in its own units."""

    file: str
    digest: str
    least: Point
    most: Point


@dataclass(frozen=True)
class Shot:
    """One shot of the film: from the start of a step on, seen from one side."""

    shot: Annotated[str, column("id", "id", needed=True, example="S1")]
    from_step: Annotated[str, reference("it begins with this step", "steps", needed=True,
        example="RG1")]
    look_at: Annotated[str, reference("a crew member (the camera goes along), both, a place, a body, or the "
        "station; empty: where the step is done", "crew", "places", "bodies", words=(EVERYBODY, STATION),
        may_be_absent=True, example="EV1")] = ""
    minutes: Annotated[float | None, number("PET minutes that it shows; empty: to the finish of the step",
        "min", most=LONGEST_MIN, above_least=True, may_be_absent=True, example="12")] = None
    distance_m: Annotated[float | None, number("from the camera to what it looks at; empty: as proposed",
        "m", above_least=True, most=FAR_M, may_be_absent=True, example="6")] = None
    side: Annotated[str, choice("where the camera stands; out: away from the surface; empty: where nothing "
        "is in the way", *SIDES, may_be_absent=True, example="starboard")] = ""
    title: Annotated[str, column("text", "shown with it", may_be_absent=True, example="At the bay")] = ""
    film_s: Annotated[float | None, number("seconds of film", "s", above_least=True, most=3600,
        may_be_absent=True, example="6")] = None
