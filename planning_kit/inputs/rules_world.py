"""Rules about the station and what lies about it: routes, reach, hardware, windows."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime

from planning_kit.inputs.faults import Faults
from planning_kit.inputs.rows import Row, Rows


def routes_join_two_places(rows: Rows, faults: Faults) -> None:
    """A route leads from one place to another, and no pair of places has two."""
    first_row: dict[frozenset[str], int] = {}
    for row in rows["routes"]:
        start, end = row.text("from_place"), row.text("to_place")
        if not start or not end:
            continue
        if start == end:
            faults.add("routes", row.number, "to_place", end,
                       "leads back to where it begins; name two places")
            continue
        pair = frozenset((start, end))
        if pair in first_row:
            faults.add("routes", row.number, "to_place", end,
                       f"joins the same two places as row {first_row[pair]}; "
                       "routes are two-way: keep one, or put a waypoint on the other")
        else:
            first_row[pair] = row.number


def worksites_can_be_reached(rows: Rows, faults: Faults) -> None:
    """From the airlock a chain of routes leads to every place where a suited crew member works or waits."""
    places = rows.by_id("places")
    if rows.airlock not in places or not rows.could_be_read("routes", "steps"):
        return
    reached = _reached_from(rows.airlock, rows["routes"])
    actors = rows.by_id("actors")
    first_user: dict[str, str] = {}
    for row in rows["steps"]:
        if row.text("crew") not in actors:
            for column in ("place", "wait_at"):
                first_user.setdefault(row.text(column), row.text("step"))
    for name, step in first_user.items():
        if name in places and name not in reached:
            faults.add("places", places[name].number, "place", name,
                       f"no chain of routes leads here from the airlock {rows.airlock}, but step {step} "
                       "needs it; add a route")


def _reached_from(start: str, routes: list[Row]) -> set[str]:
    beside = defaultdict(set)
    for row in routes:
        one, other = row.text("from_place"), row.text("to_place")
        if one and other:
            beside[one].add(other)
            beside[other].add(one)
    reached, edge = {start}, [start]
    while edge:
        for name in beside[edge.pop()] - reached:
            reached.add(name)
            edge.append(name)
    return reached


def items_start_in_bags_only(rows: Rows, faults: Faults) -> None:
    """An item that starts in another item starts in a bag."""
    items = rows.by_id("hardware")
    for row in rows["hardware"]:
        at = row.text("at")
        if at in items and items[at].text("kind") not in ("bag", ""):
            faults.add("hardware", row.number, "at", at,
                       f"is a {items[at].text('kind')}; only a bag holds items")


def bags_do_not_hold_each_other(rows: Rows, faults: Faults) -> None:
    """No bag lies, through other bags, in itself."""
    items = rows.by_id("hardware")
    cleared: set[str] = set()
    for name in items:
        chain: list[str] = []
        here = name
        while here in items and here not in cleared and here not in chain:
            chain.append(here)
            here = items[here].text("at")
        if here in chain:
            turn = chain[chain.index(here):]
            names = [*turn, here] if len(turn) <= 6 else [*turn[:6], "…"]
            faults.add("hardware", items[here].number, "at", items[here].text("at"),
                       f"lies in itself: {' in '.join(names)}; let one of them start at a place")
        cleared.update(chain)


def only_cables_have_two_ends(rows: Rows, faults: Faults) -> None:
    """``end2_at`` is for cables."""
    for row in rows["hardware"]:
        if row.text("end2_at") and row.text("kind") not in ("cable", ""):
            faults.add("hardware", row.number, "end2_at", row.text("end2_at"),
                       "only a cable has two ends; leave it empty")


def windows_end_after_they_start(rows: Rows, faults: Faults) -> None:
    """A named window has a length."""
    for row in rows["windows"]:
        start, end = row.values.get("start"), row.values.get("end")
        if isinstance(start, datetime) and isinstance(end, datetime) and end <= start:
            faults.add("windows", row.number, "end", row.texts.get("end", ""), "must be later than start")
