"""What rows must mean together for hazards: the names in them, their shape, and what their limit needs."""

from collections.abc import Iterator

from planning_kit.inputs.cells import did_you_mean, shown
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.hazard_words import Controls, Term
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
