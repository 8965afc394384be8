"""What rows must mean together: names, the station with what lies about it, steps, and blocks.

Each rule notes the faults of one kind; `RULES` holds all of them, in the order in which they are told. A cell
that could not be read has no value and is passed over: it has a fault of its own already.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from datetime import datetime

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import did_you_mean, shown
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.fields import Field, Table
from planning_kit.inputs.records import BOTH, ItemMove
from planning_kit.inputs.topic_rules import HAZARD_RULES, PROCEDURE_RULES, STATION_RULES
from planning_kit.inputs.typed_tables import Row, Rows

AT_A_PLACE = ("foothold", "takes", "leaves", "uses", "hooks", "wait_at", "via_places", "travel_extra_min",
              "moves", "rides", "clears")
_OF_A_BLOCK = ("step", "task", "crew", "place", "title", "minutes_low", "minutes_likely", "minutes_high",
               "exertion", "caution", "caution_class", "block")
_OF_A_TIMED_STEP = [each.name for each in fmt.STEPS.fields if each.name not in _OF_A_BLOCK]
_NAMING = {"steps": ("after",), "gaps": ("first_step", "then_step"),
           "inhibits": ("from_step", "until_step", "needed_by", "confirmed_by"), "actions": ("step",)}
_MOST_SUGGESTIONS = 50  # of what was perhaps meant: each is looked for in all ids of a table


def ids_stand_once(rows: Rows, faults: Faults) -> None:
    """No two rows of a table share an id; the first of them stays unmarked."""
    for table in fmt.TABLES:
        column = table.fields[0]
        first = rows.by_id(table.name) if column.kind == "id" else {}
        for row, name in rows.pairs(table.name, column.name):
            if first and first[name] is not row:
                row.fault(faults, column.name,
                          f"stands in row {first[name].number} already; give each row its own id")


def ids_differ_across_tables(rows: Rows, faults: Faults) -> None:
    """Places, items, crew and actors share one id space, because ``hardware.at`` may name any of them."""
    owner: dict[str, str] = {}
    for name in ("crew", *(each for each in fmt.SHARED_ID_TABLES if each != "crew")):
        for row, found in rows.named(name):
            if owner.setdefault(found, name) != name:
                row.fault(faults, row.key, f"stands in {owner[found]}.csv too; places, items, crew and "
                          "actors share one set")


def ids_are_not_reserved(rows: Rows, faults: Faults) -> None:
    """``inside`` and ``both`` mean something of their own, whatever their case; EV1 and EV2 are the crew."""
    for name in fmt.SHARED_ID_TABLES:
        for row, found in rows.named(name):
            if found.lower() in fmt.RESERVED_IDS:
                row.fault(faults, row.key, "is a reserved word; choose another id")
            elif name != "crew" and found.upper() in fmt.SUITED:
                row.fault(faults, row.key, "is reserved for the crew table; choose another id")
    for row, found in rows.named("windows"):
        if found.lower() in (*fmt.WINDOW_WORDS, "any"):
            row.fault(faults, "window", "is a word of the format (computed light); choose another name")


def crew_are_ev1_and_ev2(rows: Rows, faults: Faults) -> None:
    """The crew table holds exactly EV1 and EV2."""
    for name in fmt.SUITED if rows.could_be_read("crew") else ():
        if name not in rows.by_id("crew"):
            faults.add("crew", None, "crew", "",
                       f"{name} is missing; the table holds EV1 and EV2, one row each")


def references_exist(rows: Rows, faults: Faults) -> None:
    """Every reference in every table names a row that is there."""
    note_dangling(rows, faults, ((table, field) for table in fmt.TABLES for field in table.fields))


def moved_items_exist(rows: Rows, faults: Faults) -> None:
    """Items in ``takes`` and ``leaves`` stand in hardware.csv."""
    note_dangling(rows, faults, ((fmt.STEPS, replace(fmt.STEPS.by_name[column], refers_to=("hardware",)))
                                  for column in ("takes", "leaves")))


def note_dangling(rows: Rows, faults: Faults, columns: Iterable[tuple[Table, Field]]) -> None:
    """Every id in ``columns`` that names no row of the tables they refer to, where these were read."""
    left_to_suggest = _MOST_SUGGESTIONS
    for table, field in columns:
        if not field.refers_to or not rows.could_be_read(*field.refers_to):
            continue
        crew = fmt.SUITED if "crew" in field.refers_to else ()
        known = (*field.words, *crew, *(name for target in field.refers_to for name in rows.ids(target)))
        allowed = frozenset(known)
        files = " or ".join(f"{target}.csv" for target in field.refers_to)
        words = f" (or the word {' or '.join(field.words)})" if field.words else ""
        for row, name in rows.pairs(table.name, field.name):
            if name not in allowed:
                hint = did_you_mean(name, known) if left_to_suggest > 0 else ""
                left_to_suggest -= 1
                row.fault(faults, field.name, f"{shown(name)} is not in {files}{words}{hint}")


def airlock_is_a_place(rows: Rows, faults: Faults) -> None:
    """The airlock of ``scenario.toml`` stands in places.csv."""
    if rows.airlock and rows.could_be_read("places") and rows.airlock not in rows.by_id("places"):
        faults.add(fmt.SCENARIO_FILE, None, "airlock_place", rows.airlock,
                   f"is not in places.csv{did_you_mean(rows.airlock, rows.ids('places')[:500])}")


def routes_join_two_places(rows: Rows, faults: Faults) -> None:
    """A route leads from one place to another, and no pair of places has two."""
    first_row: dict[frozenset[str], int] = {}
    for row in rows["routes"]:
        start, end = row.text("from_place"), row.text("to_place")
        if start and start == end:
            row.fault(faults, "to_place", "leads back to where it begins; name two places")
        elif start and end:
            first = first_row.setdefault(frozenset((start, end)), row.number)
            if first != row.number:
                row.fault(faults, "to_place", f"joins the same two places as row {first}; "
                          "routes are two-way: keep one, or put a waypoint on the other")


def worksites_can_be_reached(rows: Rows, faults: Faults) -> None:
    """From the airlock a chain of routes leads to every place where a suited crew member works or waits."""
    places, actors = rows.by_id("places"), rows.by_id("actors")
    if rows.airlock not in places or not rows.could_be_read("routes", "steps"):
        return
    reached = _reached_from(rows.airlock, rows["routes"])
    first_user: dict[str, str] = {}
    for row in rows["steps"]:
        if row.text("crew") not in actors:
            for place in (row.text("place"), row.text("wait_at"), *row.entries("via_places")):
                first_user.setdefault(place, row.text("step"))
    for name, step in first_user.items():
        if name in places and name not in reached:
            places[name].fault(faults, "place", "no chain of routes leads here from the airlock "
                               f"{rows.airlock}, but step {step} needs it; add a route")


def _reached_from(start: str, routes: Iterable[Row]) -> set[str]:
    beside = defaultdict(set)
    for row in routes:
        one, other = row.text("from_place"), row.text("to_place")
        if one and other:
            beside[one].add(other)
            beside[other].add(one)
    reached, edge = {start}, [start]
    while edge:
        found = beside[edge.pop()] - reached
        reached |= found
        edge += found
    return reached


def items_start_in_bags_only(rows: Rows, faults: Faults) -> None:
    """An item that starts in another item starts in a bag."""
    for row, kind in _of_other_kind(rows, "hardware", "at", "bag"):
        row.fault(faults, "at", f"is a {kind}; only a bag holds items")


def _of_other_kind(rows: Rows, table: str, column: str, kind: str) -> Iterator[tuple[Row, str]]:
    """Rows whose ``column`` names an item of a kind that it may not be, and that kind."""
    items = rows.by_id("hardware")
    for row, name in rows.pairs(table, column):
        if name in items and items[name].text("kind") not in (kind, ""):
            yield row, items[name].text("kind")


def bags_do_not_hold_each_other(rows: Rows, faults: Faults) -> None:
    """No bag lies, through other bags, in itself."""
    items = rows.by_id("hardware")
    cleared: set[str] = set()  # each item is followed once, however many lie in it
    for name in items:
        chain: list[str] = []
        here = name
        while here in items and here not in cleared and here not in chain:
            chain.append(here)
            here = items[here].text("at")
        if here in chain:
            turn = chain[chain.index(here):]
            names = [*turn, here] if len(turn) <= 6 else [*turn[:6], "…"]
            items[here].fault(faults, "at",
                              f"lies in itself: {' in '.join(names)}; let one of them start at a place")
        cleared.update(chain)


def only_cables_have_two_ends(rows: Rows, faults: Faults) -> None:
    """``end2_at`` is for cables."""
    for row, _ in rows.pairs("hardware", "end2_at"):
        if row.text("kind") not in ("cable", ""):
            row.fault(faults, "end2_at", "only a cable has two ends; leave it empty")


def windows_end_after_they_start(rows: Rows, faults: Faults) -> None:
    """A named window, and a stay on the loop, has a length, and both its ends count from one zero."""
    periods = (("windows", "start", "end"), ("actors", "from", "until"))
    for row, first, last in ((row, first, last) for name, first, last in periods for row in rows[name]):
        start, end = row.values.get(first, ""), row.values.get(last, "")
        if start == "" or end == "":
            continue
        if isinstance(start, datetime) != isinstance(end, datetime):
            row.fault(faults, last, f"is UTC where {first} is PET, or the other way round; write both alike")
        elif end <= start:  # type: ignore[operator]  # both are of one kind
            row.fault(faults, last, f"must be later than {first}")


def people_of(row: Row) -> tuple[str, ...]:
    """Who works in a step: both suited crew members, or the one it names."""
    crew = row.text("crew")
    return fmt.SUITED if crew == BOTH else (crew,) if crew else ()


def durations_are_ordered(rows: Rows, faults: Faults) -> None:
    """low <= likely <= high, where given."""
    for row in (*rows["steps"], *rows["responses"]):
        low, likely, high = (row.number_of(f"minutes_{which}") for which in ("low", "likely", "high"))
        if low is not None and likely is not None and low > likely:
            row.fault(faults, "minutes_low", f"is more than minutes_likely, {likely:g}", f"{low:g}")
        if high is not None and likely is not None and high < likely:
            row.fault(faults, "minutes_high", f"is less than minutes_likely, {likely:g}", f"{high:g}")


def steps_do_not_wait_for_themselves(rows: Rows, faults: Faults) -> None:
    """A step is not in its own ``after``, and a gap joins two different steps."""
    for row, step in rows.named("steps"):
        if step in row.entries("after"):
            row.fault(faults, "after", "names the step itself; delete it")
    for row, first in rows.named("gaps"):
        if first == row.text("then_step"):
            row.fault(faults, "then_step", "is the first step itself; name two")


def gaps_are_ordered(rows: Rows, faults: Faults) -> None:
    """min_gap <= max_gap (an empty min_gap is 0)."""
    for row in rows["gaps"]:
        least, most = row.number_of("min_gap"), row.number_of("max_gap")
        if least is not None and most is not None and most < least:
            row.fault(faults, "max_gap", f"is less than min_gap, {least:g} (empty is 0)", f"{most:g}")


def groups_share_one_light(rows: Rows, faults: Faults) -> None:
    """Steps of a ``same_window`` group all ask for night, or all for day."""
    groups: dict[str, list[Row]] = defaultdict(list)
    for row, name in rows.pairs("steps", "same_window"):
        groups[name].append(row)
    for name, members in groups.items():
        first = next((each.text("light") for each in members if each.text("light") in fmt.WINDOW_WORDS), "")
        for row in members:
            light = row.text("light")
            if light == "any":
                row.fault(faults, "light",
                          f"group {name} shares a window, so this step needs light night or day")
            elif light and light != first:
                row.fault(faults, "light", f"the group {name} asks for {first}; one light a group")


def footholds_are_footholds(rows: Rows, faults: Faults) -> None:
    """``steps.foothold`` names an item of that kind."""
    for row, kind in _of_other_kind(rows, "steps", "foothold", "foothold"):
        row.fault(faults, "foothold", f"is a {kind} in hardware.csv; name an item of kind foothold")


def _each_move(rows: Rows) -> Iterator[tuple[Row, str, ItemMove]]:
    return ((row, column, move) for row in rows["steps"] for column in ("takes", "leaves")
            for move in row.entries(column))


def moves_say_who(rows: Rows, faults: Faults) -> None:
    """In a ``both`` step each entry begins with EV1: or EV2:; a prefix names someone who works there."""
    for row, column, move in _each_move(rows):
        people = people_of(row)
        if row.text("crew") == BOTH and not move.crew:
            row.fault(faults, column, f"both work here: write EV1:{move.item} or EV2:{move.item}")
        elif move.crew and people and move.crew not in people:
            row.fault(faults, column,
                      f"{move.crew} does not work in this step; it is done by {' and '.join(people)}")


def moves_go_the_right_way(rows: Rows, faults: Faults) -> None:
    """``<BAG`` belongs to ``takes`` and ``>BAG`` or ``>EV2`` to ``leaves``."""
    for row, column, move in _each_move(rows):
        if column == "takes" and move.into:
            row.fault(faults, column, f"{move.item}>{move.into} puts an item away: write it in leaves")
        elif column == "leaves" and move.out_of:
            row.fault(faults, column, f"{move.item}<{move.out_of} gets an item out: write it in takes")


def moves_name_bags_and_people(rows: Rows, faults: Faults) -> None:
    """After ``<`` stands a bag; after ``>`` a bag or the partner; nothing goes into itself."""
    items = rows.by_id("hardware")
    for row, column, move in _each_move(rows) if rows.could_be_read("hardware") else ():
        target = move.out_of or move.into
        if not target or (move.into and target in fmt.SUITED and target not in _holder(row, move)):
            continue
        if move.into and target in fmt.SUITED:
            row.fault(faults, column, f"{target} already holds {move.item}; name the partner")
        elif target not in items:
            what = "a bag, EV1 or EV2" if move.into else "a bag"
            row.fault(faults, column, f"{target} is not {what}; name a bag of hardware.csv")
        elif items[target].text("kind") not in ("bag", ""):
            row.fault(faults, column, f"{target} is a {items[target].text('kind')}; only a bag holds items")
        elif target == move.item:
            row.fault(faults, column, f"{target} cannot lie in itself")


def _holder(row: Row, move: ItemMove) -> tuple[str, ...]:
    """Who moves the item, as far as the row says."""
    return (move.crew,) if move.crew else () if row.text("crew") == BOTH else people_of(row)


def _says(row: Row, columns: Iterable[str]) -> list[str]:
    """Those of ``columns`` that say something else than nothing."""
    plain = (None, "", (), "any", "no", "asap", 0.0)
    return [column for column in columns if row.values.get(column) not in plain]


def placeless_steps_need_no_place(rows: Rows, faults: Faults) -> None:
    """A suited step without a place moves, uses and waits for nothing that is somewhere."""
    for row in (row for row in rows["steps"] if row.text("crew") in (BOTH, *fmt.SUITED)):
        if row.values.get("place") == "" and (said := _says(row, AT_A_PLACE)):
            row.fault(faults, "place", f"is empty, so {', '.join(said)} cannot be judged: say where this "
                      "step is done, or leave these to the steps that detail it", "")


def blocks_are_not_in_circles(rows: Rows, faults: Faults) -> None:
    """No step details itself, by way of however many others; each circle is told once."""
    above = {step: row.text("block") for row, step in rows.named("steps")}
    cleared: set[str] = set()
    for row, step in rows.named("steps"):
        chain = [step]
        while (block := above.get(chain[-1], "")) and block not in (*chain, *cleared):
            chain.append(block)
        if block in chain:
            names = " in ".join([*chain[chain.index(block):][:6], block])
            row.fault(faults, "block", f"details itself: {names}; let one of them have no block")
        cleared.update(chain)


def detailed_blocks_are_only_compared(rows: Rows, faults: Faults) -> None:
    """Nothing is timed by a block that has steps of its own, and what such a block says is theirs to say."""
    own: dict[str, list[str]] = {}
    for row, block in rows.pairs("steps", "block"):
        own.setdefault(block, []).append(row.text("step"))
    for row, step in rows.named("steps"):
        if step in own and (said := _says(row, _OF_A_TIMED_STEP)):
            row.fault(faults, said[0], f"is not timed any more, as {' '.join(own[step][:6])} detail this "
                      f"block: move {', '.join(said)} to the one of them that it is about")
    for table, column in ((table, column) for table, columns in _NAMING.items() for column in columns):
        for row, name in rows.pairs(table, column):
            if name in own:
                row.fault(faults, column, f"{name} is a block with steps of its own, which is not timed: "
                          f"name one of them ({' '.join(own[name][:6])})")


RULES: tuple[Callable[[Rows, Faults], None], ...] = (
    ids_stand_once, ids_differ_across_tables, ids_are_not_reserved, crew_are_ev1_and_ev2, references_exist,
    moved_items_exist, airlock_is_a_place, routes_join_two_places, worksites_can_be_reached,
    items_start_in_bags_only, bags_do_not_hold_each_other, only_cables_have_two_ends,
    windows_end_after_they_start, durations_are_ordered,
    steps_do_not_wait_for_themselves, gaps_are_ordered, groups_share_one_light, footholds_are_footholds,
    moves_say_who, moves_go_the_right_way, moves_name_bags_and_people, *HAZARD_RULES,
    placeless_steps_need_no_place, blocks_are_not_in_circles, detailed_blocks_are_only_compared,
    *PROCEDURE_RULES, *STATION_RULES,
)
