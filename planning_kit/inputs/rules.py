"""What rows must mean together: names, steps, and the station with what lies about it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import did_you_mean, shown
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.fields import Field, Table
from planning_kit.inputs.records import BOTH, ItemMove
from planning_kit.inputs.typed_tables import Row, Rows

_MOST_SUGGESTIONS = 50


def ids_stand_once(rows: Rows, faults: Faults) -> None:
    """No two rows of a table share an id; the first of them stays unmarked."""
    for table in fmt.TABLES:
        column = table.fields[0]
        if column.kind != "id":
            continue
        first_row: dict[str, int] = {}
        for row in rows[table.name]:
            name = row.text(column.name)
            if name and name in first_row:
                faults.add(table.name, row.number, column.name, name,
                           f"stands in row {first_row[name]} already; give each row its own id")
            elif name:
                first_row[name] = row.number


def ids_differ_across_tables(rows: Rows, faults: Faults) -> None:
    """Places, items, crew and actors share one id space, because ``hardware.at`` may name any of them."""
    owner: dict[str, str] = {}
    for name in ("crew", *(each for each in fmt.SHARED_ID_TABLES if each != "crew")):
        column = fmt.TABLE_BY_NAME[name].key[0]
        for row in rows[name]:
            found = row.text(column)
            if found and owner.setdefault(found, name) != name:
                faults.add(name, row.number, column, found,
                           f"stands in {owner[found]}.csv too; places, items, crew and actors share one set")


def ids_are_not_reserved(rows: Rows, faults: Faults) -> None:
    """``inside`` and ``both`` mean something of their own, whatever their case; EV1 and EV2 are the crew."""
    for name in fmt.SHARED_ID_TABLES:
        column = fmt.TABLE_BY_NAME[name].key[0]
        for row in rows[name]:
            found = row.text(column)
            if found.lower() in fmt.RESERVED_IDS:
                faults.add(name, row.number, column, found, "is a reserved word; choose another id")
            elif name != "crew" and found.upper() in fmt.SUITED:
                faults.add(name, row.number, column, found,
                           "is reserved for the crew table; choose another id")
    for row in rows["windows"]:
        if row.text("window").lower() in (*fmt.WINDOW_WORDS, "any"):
            faults.add("windows", row.number, "window", row.text("window"),
                       "is a word of the format (computed light); choose another name")


def crew_are_ev1_and_ev2(rows: Rows, faults: Faults) -> None:
    """The crew table holds exactly EV1 and EV2."""
    if rows.could_be_read("crew"):
        for name in fmt.SUITED:
            if name not in rows.by_id("crew"):
                faults.add("crew", None, "crew", "",
                           f"{name} is missing; the table holds EV1 and EV2, one row each")


def references_exist(rows: Rows, faults: Faults) -> None:
    """Every reference in every table names a row that is there."""
    left_to_suggest = _MOST_SUGGESTIONS
    for table in fmt.TABLES:
        for field in table.fields:
            if field.refers_to and rows.could_be_read(*field.refers_to):
                known = _known(rows, field)
                allowed = frozenset(known)
                for row, name in rows.pairs(table.name, field.name):
                    if name not in allowed:
                        hint = did_you_mean(name, known) if left_to_suggest > 0 else ""
                        left_to_suggest -= 1
                        faults.add(table.name, row.number, field.name, row.texts.get(field.name, name),
                                   _dangling(name, field, hint))


def _known(rows: Rows, field: Field) -> tuple[str, ...]:
    names: list[str] = [*field.words, *(fmt.SUITED if "crew" in field.refers_to else ())]
    for target in field.refers_to:
        table: Table = fmt.TABLE_BY_NAME[target]
        names.extend(dict.fromkeys(row.text(table.key[0]) for row in rows[target] if row.text(table.key[0])))
    return tuple(names)


def _dangling(name: str, field: Field, hint: str) -> str:
    tables = " or ".join(f"{target}.csv" for target in field.refers_to)
    words = f" (or the word {' or '.join(field.words)})" if field.words else ""
    return f"{shown(name)} is not in {tables}{words}{hint}"


def moved_items_exist(rows: Rows, faults: Faults) -> None:
    """Items in ``takes`` and ``leaves`` stand in hardware.csv."""
    if not rows.could_be_read("hardware"):
        return
    known = rows.ids("hardware")
    allowed = frozenset(known)
    left_to_suggest = _MOST_SUGGESTIONS
    for column in ("takes", "leaves"):
        for row, name in rows.pairs("steps", column):
            if name not in allowed:
                hint = did_you_mean(name, known) if left_to_suggest > 0 else ""
                left_to_suggest -= 1
                faults.add("steps", row.number, column, row.texts.get(column, name),
                           f"{shown(name)} is not in hardware.csv{hint}")


def airlock_is_a_place(rows: Rows, faults: Faults) -> None:
    """The airlock of ``scenario.toml`` stands in places.csv."""
    if rows.airlock and rows.could_be_read("places") and rows.airlock not in rows.by_id("places"):
        faults.add(fmt.SCENARIO_FILE, None, "airlock", rows.airlock,
                   f"is not in places.csv{did_you_mean(rows.airlock, rows.ids('places')[:500])}")


def people_of(row: Row) -> tuple[str, ...]:
    """Who works in a step: both suited crew members, or the one it names."""
    crew = row.text("crew")
    return fmt.SUITED if crew == BOTH else (crew,) if crew else ()


def durations_are_ordered(rows: Rows, faults: Faults) -> None:
    """low <= likely <= high, where given."""
    for row in rows["steps"]:
        low, likely, high = (row.number_of(f"minutes_{which}") for which in ("low", "likely", "high"))
        if low is not None and likely is not None and low > likely:
            faults.add("steps", row.number, "minutes_low", f"{low:g}",
                       f"is more than minutes_likely, {likely:g}")
        if high is not None and likely is not None and high < likely:
            faults.add("steps", row.number, "minutes_high", f"{high:g}",
                       f"is less than minutes_likely, {likely:g}")


def suited_steps_have_a_place(rows: Rows, faults: Faults) -> None:
    """Only an actor's step may leave its place open."""
    for row in rows["steps"]:
        if row.values.get("place") == "" and row.text("crew") in (BOTH, *fmt.SUITED):
            faults.add("steps", row.number, "place", "", "is empty; say where this step is done")


def steps_do_not_wait_for_themselves(rows: Rows, faults: Faults) -> None:
    """A step is not in its own ``after``, and a gap joins two different steps."""
    for row in rows["steps"]:
        if row.text("step") and row.text("step") in row.names("after"):
            faults.add("steps", row.number, "after", row.texts["after"], "names the step itself; delete it")
    for row in rows["gaps"]:
        if row.text("first_step") and row.text("first_step") == row.text("then_step"):
            faults.add("gaps", row.number, "then_step", row.text("then_step"),
                       "is the first step itself; name two")


def gaps_are_ordered(rows: Rows, faults: Faults) -> None:
    """min_gap <= max_gap (an empty min_gap is 0)."""
    for row in rows["gaps"]:
        least, most = row.number_of("min_gap"), row.number_of("max_gap")
        if least is not None and most is not None and most < least:
            faults.add("gaps", row.number, "max_gap", f"{most:g}",
                       f"is less than min_gap, {least:g} (empty is 0)")


def groups_share_one_light(rows: Rows, faults: Faults) -> None:
    """Steps of a ``same_window`` group all ask for night, or all for day."""
    groups: dict[str, list[Row]] = defaultdict(list)
    for row in rows["steps"]:
        if row.text("same_window"):
            groups[row.text("same_window")].append(row)
    for name, members in groups.items():
        first = next((each.text("light") for each in members if each.text("light") in fmt.WINDOW_WORDS), "")
        for row in members:
            light = row.text("light")
            if light == "any":
                faults.add("steps", row.number, "light", row.texts.get("light", ""),
                           f"group {name} shares a window, so this step needs light night or day")
            elif light and light != first:
                faults.add("steps", row.number, "light", light,
                           f"the group {name} asks for {first}; one light a group")


def footholds_are_footholds(rows: Rows, faults: Faults) -> None:
    """``steps.foothold`` names an item of that kind."""
    items = rows.by_id("hardware")
    for row in rows["steps"]:
        item = items.get(row.text("foothold"))
        if item is not None and item.text("kind") not in ("foothold", ""):
            faults.add("steps", row.number, "foothold", row.text("foothold"),
                       f"is a {item.text('kind')} in hardware.csv; name an item of kind foothold")


def _each_move(rows: Rows) -> Iterator[tuple[Row, str, ItemMove]]:
    for row in rows["steps"]:
        for column in ("takes", "leaves"):
            for move in row.moves(column):
                yield row, column, move


def moves_say_who(rows: Rows, faults: Faults) -> None:
    """In a ``both`` step each entry begins with EV1: or EV2:; a prefix names someone who works there."""
    for row, column, move in _each_move(rows):
        people = people_of(row)
        if row.text("crew") == BOTH and not move.crew:
            faults.add("steps", row.number, column, row.texts[column],
                       f"both work here: write EV1:{move.item} or EV2:{move.item}")
        elif move.crew and people and move.crew not in people:
            faults.add("steps", row.number, column, row.texts[column],
                       f"{move.crew} does not work in this step; it is done by {' and '.join(people)}")


def moves_go_the_right_way(rows: Rows, faults: Faults) -> None:
    """``<BAG`` belongs to ``takes`` and ``>BAG`` or ``>EV2`` to ``leaves``."""
    for row, column, move in _each_move(rows):
        if column == "takes" and move.into:
            faults.add("steps", row.number, column, row.texts[column],
                       f"{move.item}>{move.into} puts an item away: write it in leaves")
        elif column == "leaves" and move.out_of:
            faults.add("steps", row.number, column, row.texts[column],
                       f"{move.item}<{move.out_of} gets an item out: write it in takes")


def moves_name_bags_and_people(rows: Rows, faults: Faults) -> None:
    """After ``<`` stands a bag; after ``>`` a bag or the partner; nothing goes into itself."""
    if not rows.could_be_read("hardware"):
        return
    items = rows.by_id("hardware")
    for row, column, move in _each_move(rows):
        target = move.out_of or move.into
        if not target or (move.into and target in fmt.SUITED and target not in _holder(row, move)):
            continue
        text = row.texts[column]
        if move.into and target in fmt.SUITED:
            faults.add("steps", row.number, column, text,
                       f"{target} already holds {move.item}; name the partner")
        elif target not in items:
            what = "a bag, EV1 or EV2" if move.into else "a bag"
            faults.add("steps", row.number, column, text,
                       f"{target} is not {what}; name a bag of hardware.csv")
        elif items[target].text("kind") not in ("bag", ""):
            faults.add("steps", row.number, column, text,
                       f"{target} is a {items[target].text('kind')}; only a bag "
                       "holds items")
        elif target == move.item:
            faults.add("steps", row.number, column, text, f"{target} cannot lie in itself")


def _holder(row: Row, move: ItemMove) -> tuple[str, ...]:
    """Who moves the item, as far as the row says."""
    return (move.crew,) if move.crew else () if row.text("crew") == BOTH else people_of(row)


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
