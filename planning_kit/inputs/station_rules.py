"""What rows must mean together for what is drawn: bodies with their sizes, directions of places."""

import math
import re

from planning_kit.inputs import station_records as rec
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.typed_tables import Row, Rows

_SIZES = ("radius_m", "radius2_m", "length_m", "width_m", "height_m", "bays")
# By kind: how many points its ends are, the sizes that it needs, and those that it may have besides.
_KINDS = {
    rec.CYLINDER: (2, ("radius_m",), ()), rec.CONE: (2, ("radius_m", "radius2_m"), ()), rec.DOME: (2, (), ()),
    rec.BOX: (1, ("length_m", "width_m", "height_m"), ()),
    rec.PANEL: (1, ("length_m", "width_m"), ("height_m",)), rec.TRUSS: (2, ("width_m",), ("bays",)),
}
_ANGLES = {rec.BOX: ("yaw_deg", "pitch_deg", "roll_deg"), rec.PANEL: ("yaw_deg", "pitch_deg", "roll_deg"),
           rec.TRUSS: ("roll_deg",)}
_LEAST_M = 1e-3
_LEAST_APART = 0.05  # sine of the angle between outward and up: 3 degrees
_COLOUR = re.compile(r"#[0-9A-Fa-f]{6}")


def bodies_have_their_sizes(rows: Rows, faults: Faults) -> None:
    """A body has the ends and sizes of its kind, and no others; its colour is one."""
    for row in rows["bodies"]:
        kind, ends = row.text("kind"), row.entries("ends")
        if row.text("colour") and not _COLOUR.fullmatch(row.text("colour")):
            row.fault(faults, "colour", "must be written #RRGGBB, such as #C8CDD3")
        if kind not in _KINDS:
            continue
        count, needed, more = _KINDS[kind]
        if ends and len(ends) != count:
            row.fault(faults, "ends", f"holds {len(ends)} point{'s' * (len(ends) != 1)}; a {kind} has "
                      + ("one, its middle" if count == 1 else "two, its ends: x y z; x y z"))
        elif count == 2 and ends and math.dist(*ends) < _LEAST_M:
            row.fault(faults, "ends", f"are one and the same point; a {kind} has a length")
        allowed = (*needed, *more, *_ANGLES.get(kind, ()))
        for column in (*_SIZES, "yaw_deg", "pitch_deg", "roll_deg"):
            is_given = bool(row.texts.get(column, "").strip())
            if is_given and column not in allowed:
                row.fault(faults, column, f"is no size of a {kind}; it has {', '.join(allowed) or 'none'}")
            elif not is_given and column in needed:
                row.fault(faults, column, f"is empty; a {kind} needs {' and '.join(needed)}")


def directions_point_somewhere(rows: Rows, faults: Faults) -> None:
    """Outward and up of a place are one direction each, and not the same one."""
    for row in rows["places"]:
        out, up = (_direction(row, column, faults) for column in ("outward", "up"))
        if out and up and math.hypot(*_cross(out, up)) < _LEAST_APART * math.hypot(*out) * math.hypot(*up):
            row.fault(faults, "up", "lies along outward; give a direction along the surface")


def _direction(row: Row, column: str, faults: Faults) -> tuple[float, ...]:
    points = row.entries(column)
    if points and (len(points) != 1 or math.hypot(*points[0]) < _LEAST_M):
        row.fault(faults, column, "must be one direction x y z that is not 0 0 0")
    return points[0] if len(points) == 1 and math.hypot(*points[0]) >= _LEAST_M else ()


def _cross(a: tuple[float, ...], b: tuple[float, ...]) -> tuple[float, float, float]:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


STATION_RULES = (bodies_have_their_sizes, directions_point_somewhere)
