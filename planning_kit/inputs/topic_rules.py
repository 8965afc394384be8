"""What rows of hazards, procedures and bodies must mean: names, shapes, and what goes with what."""

import math
import re
from collections.abc import Iterator

from planning_kit.inputs import format as fmt
from planning_kit.inputs import procedure_records as rec
from planning_kit.inputs.cells import did_you_mean, shown
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.folder_files import is_model_name
from planning_kit.inputs.hazard_words import Controls, Term
from planning_kit.inputs.station_records import BOX, CONE, CYLINDER, DOME, MODEL, PANEL, TRUSS
from planning_kit.inputs.typed_tables import Row, Rows

_SPHERE = ("x_m", "y_m", "z_m", "radius_m")


def zones_exist(rows: Rows, faults: Faults) -> None:
    """Zones of hazards, and those that a step moves, stand in the column zone of places.csv."""
    if not rows.could_be_read("places"):
        return
    zones = tuple(dict.fromkeys(zone for _, zone in rows.pairs("places", "zone")))
    for table, column in (("hazards", "zones"), ("steps", "moves")):
        for row, zone in rows.pairs(table, column):
            if zone not in zones:
                row.fault(faults, column, f"{shown(zone)} is the zone of no place in places.csv"
                          f"{did_you_mean(zone, zones)}")


def hazard_routes_exist(rows: Rows, faults: Faults) -> None:
    """A route of a hazard joins two places in routes.csv, whichever way it is written."""
    known = {frozenset((row.text("from_place"), row.text("to_place"))) for row in rows["routes"]}
    for row in rows["hazards"] if rows.could_be_read("routes") else ():
        for one, other in row.entries("routes"):
            if frozenset((one, other)) not in known:
                row.fault(faults, "routes", f"no route joins {one} and {other}; name the two ends of one")


def hazard_conditions_exist(rows: Rows, faults: Faults) -> None:
    """What ``when`` and ``controls`` name stands in its table."""
    for row, column, table, name in _named_in_words(rows):
        if rows.could_be_read(table) and name not in rows.by_id(table):
            row.fault(faults, column, f"{shown(name)} is not in {table}.csv"
                      f"{did_you_mean(name, rows.ids(table)[:500])}")


def _named_in_words(rows: Rows) -> Iterator[tuple[Row, str, str, str]]:
    for row in rows["hazards"]:
        for term in row.entries("when"):
            assert isinstance(term, Term)
            if term.kind == "item":
                yield row, "when", "hardware", term.about
                yield row, "when", "places", term.place
            elif term.kind == "off":
                yield row, "when", "inhibits", term.about
        controls = row.values.get("controls")
        for name in controls.names if isinstance(controls, Controls) else ():
            yield row, "controls", "inhibits", name


def hazards_are_somewhere(rows: Rows, faults: Faults) -> None:
    """A hazard has zones, places, routes or a whole sphere; only a sphere cannot be touched."""
    for row in rows["hazards"]:
        given = [column for column in _SPHERE if row.texts.get(column, "").strip()]
        if given and len(given) < len(_SPHERE):
            missing = next(column for column in _SPHERE if column not in given)
            row.fault(faults, missing, f"is empty, but {given[0]} is given; a sphere needs "
                      f"{', '.join(_SPHERE)}")
        elif not given and not any(row.texts.get(each, "").strip() for each in ("zones", "places", "routes")):
            row.fault(faults, "zones", "is empty, and so are places, routes and the sphere; say where it is")
        elif given and row.text("limit") == "no_contact":
            row.fault(faults, "limit", "is for named zones, places and routes; a sphere takes keep_out, stay "
                      "or total")


def hazard_limits_have_minutes(rows: Rows, faults: Faults) -> None:
    """``stay`` and ``total`` have minutes, the others none."""
    for row in rows["hazards"]:
        limit, is_given = row.text("limit"), bool(row.texts.get("limit_min", "").strip())
        if limit in ("stay", "total") and not is_given:
            row.fault(faults, "limit_min", f"is empty; say how many minutes {limit} allows")
        elif limit in ("keep_out", "no_contact") and is_given:
            row.fault(faults, "limit_min", f"is for stay and total; {limit} allows no minute")


def only_contamination_is_cleared(rows: Rows, faults: Faults) -> None:
    """``clears`` names hazards of the kind contamination."""
    hazards = rows.by_id("hazards")
    for row, name in rows.pairs("steps", "clears"):
        if name in hazards and hazards[name].text("kind") != "contamination":
            row.fault(faults, "clears", f"{name} is no contamination; only that is cleared")


HAZARD_RULES = (zones_exist, hazard_routes_exist, hazard_conditions_exist, hazards_are_somewhere,
                hazard_limits_have_minutes, only_contamination_is_cleared)


# Procedures


def each_stands_once(rows: Rows, faults: Faults) -> None:
    """No two actions of a step share a number, and a cause has one response."""
    first: dict[tuple[object, ...], int] = {}
    for table, columns, words in (("actions", ("step", "number"), "give each action of a step its own"),
                                  ("responses", ("trigger",), "one response a cause")):
        for row in rows[table]:
            key = table, *(row.values.get(column) for column in columns)
            if not {None, ""} & {*key} and first.setdefault(key, row.number) != row.number:
                row.fault(faults, columns[-1], f"stands in row {first[key]} already; {words}")


def actions_are_done_by_those_who_work(rows: Rows, faults: Faults) -> None:
    """Who does an action in a suit works in its step."""
    steps = rows.by_id("steps")
    for row, step in rows.named("actions"):
        who, crew = row.text("who"), steps[step].text("crew") if step in steps else ""
        if who in (*fmt.SUITED, rec.BOTH) and crew not in ("", who, rec.BOTH):
            row.fault(faults, "who", f"{who} does not work in {step}, which {crew} does; leave it empty for "
                      "whoever does the step")


def actions_can_be_judged(rows: Rows, faults: Faults) -> None:
    """What is counted is a number, what is used, set or turned is named, warnings say their class."""
    items, states = rows.by_id("hardware"), rows.by_id("states")
    for row in rows["actions"] if rows.could_be_read("hardware", "states") else ():
        value, unit, on, class_ = map(row.text, ("value", "unit", "on", "class"))
        is_turned, tool = class_ in (rec.TURN_IN, rec.TURN_OUT), row.text("tool").partition(":")[0]
        is_counted = unit in (rec.TURNS, rec.MINUTES) or bool(is_turned and value and not unit)
        if is_counted and rec.number_in(value) is None:
            row.fault(faults, "value", f"is counted: write a number of {unit or rec.TURNS}, 0 or more")
        elif is_counted and is_turned and not on:
            row.fault(faults, "on", "is empty: say what is turned, so that its turns can be counted")
        elif class_ in (rec.MATE, rec.DEMATE, rec.SET) and on in states and value:
            _one_of_its_values(rows, faults, row, "value", on, value)
        if tool and tool not in items:
            row.fault(faults, "tool", f"{shown(tool)} is not in hardware.csv{did_you_mean(tool, (*items,))}")
        elif class_ == rec.SET and not tool and on not in items and on not in states:
            row.fault(faults, "on", "is no item or state, and no tool is named: say what is set")
        if (text := row.text("warning")) and not re.match(r"(warning|caution):\s*\S", text, re.IGNORECASE):
            row.fault(faults, "warning", "must begin with warning: (can injure) or caution: (can damage "
                      "hardware), and say what")


def _one_of_its_values(rows: Rows, faults: Faults, row: Row, column: str, state: str, value: str) -> None:
    if (values := rows.by_id("states")[state].entries("values")) and value not in values:
        row.fault(faults, column, f"{shown(value)} is no value of {state}; write one of {', '.join(values)}"
                  f"{did_you_mean(value, values)}")


def states_have_their_values(rows: Rows, faults: Faults) -> None:
    """A state begins and ends at one of its values, and no item has its id."""
    for row, name in rows.named("states"):
        if name in rows.by_id("hardware"):
            row.fault(faults, "state", "is an item of hardware.csv, too: rename it; actions name both")
        for column in ("at_start", "at_end"):
            if value := row.text(column):
                _one_of_its_values(rows, faults, row, column, name, value)


def state_values_exist(rows: Rows, faults: Faults) -> None:
    """What steps and responses need, set and leave are states, each once and at one of its values."""
    for table, column in (("steps", "needs"), ("steps", "sets"), ("responses", "leave_state")):
        values_exist(rows, table, column, faults)


def values_exist(rows: Rows, table: str, column: str, faults: Faults) -> None:
    """Each entry of a column of states with values names a state, once, and one of its values."""
    states = rows.by_id("states")
    every = ((row, *each) for row in rows[table] for each in enumerate(row.entries(column)))
    for row, at, entry in every:
        if entry.state not in states:
            row.fault(faults, column, f"{shown(entry.state)} is not in states.csv"
                      f"{did_you_mean(entry.state, (*states,))}")
        elif entry.state in {each.state for each in row.entries(column)[:at]}:
            row.fault(faults, column, f"names {entry.state} twice; keep one")
        else:
            _one_of_its_values(rows, faults, row, column, entry.state, entry.value)


def partners_go_where_somebody_goes(rows: Rows, faults: Faults) -> None:
    """A partner comes along, or brings the other, only where both go home."""
    for row in rows["responses"]:
        if row.text("companion") and (call := row.text("call")) not in ("", rec.TERMINATE, rec.ABORT):
            row.fault(faults, "companion", f"both go home, which {call} does not call: leave it empty, or "
                      f"call {rec.TERMINATE} or {rec.ABORT}")


PROCEDURE_RULES = (each_stands_once, actions_are_done_by_those_who_work, actions_can_be_judged,
                   states_have_their_values, state_values_exist, partners_go_where_somebody_goes)


# What is drawn


_SIZES = ("radius_m", "radius2_m", "length_m", "width_m", "height_m", "bays", "model", "scale")
# By kind: how many points its ends are, the sizes that it needs, and those that it may have besides.
_KINDS = {
    CYLINDER: (2, ("radius_m",), ()), CONE: (2, ("radius_m", "radius2_m"), ()), DOME: (2, (), ()),
    BOX: (1, ("length_m", "width_m", "height_m"), ()),
    PANEL: (1, ("length_m", "width_m"), ("height_m",)), TRUSS: (2, ("width_m",), ("bays",)),
    MODEL: (1, ("model",), ("scale",)),
}
_ANGLES = {BOX: ("yaw_deg", "pitch_deg", "roll_deg"), PANEL: ("yaw_deg", "pitch_deg", "roll_deg"),
           TRUSS: ("roll_deg",), MODEL: ("yaw_deg", "pitch_deg", "roll_deg")}
_LEAST_M = 1e-3
_LEAST_APART = 0.05  # sine of the angle between outward and up: 3 degrees
_COLOUR = re.compile(r"#[0-9A-Fa-f]{6}")


def bodies_have_their_sizes(rows: Rows, faults: Faults) -> None:
    """A body has the ends and sizes of its kind, and no others; its colour is one."""
    for row in rows["bodies"]:
        kind, ends = row.text("kind"), row.entries("ends")
        if row.text("colour") and not _COLOUR.fullmatch(row.text("colour")):
            row.fault(faults, "colour", "must be written #RRGGBB, such as #C8CDD3")
        if kind == MODEL and row.text("model") and not is_model_name(row.text("model")):
            row.fault(faults, "model", "must be the plain name of a .glb file in the scenario's folder")
        if kind not in _KINDS:
            continue
        count, needed, more = _KINDS[kind]
        if ends and len(ends) != count:
            row.fault(faults, "ends", f"holds {len(ends)} point{'s' * (len(ends) != 1)}; a {kind} has "
                      + ("one: x y z" if count == 1 else "two, its ends: x y z; x y z"))
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
