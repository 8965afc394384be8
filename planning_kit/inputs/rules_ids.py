"""Rules about names: each id once, each reference to something that is there."""

from __future__ import annotations

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import did_you_mean, shown
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.fields import Field, Table
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.rows import Row, Rows

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
