"""Text tables to parsed rows: header rules and cell kinds. What rows mean together is for the rules modules.

A cell that could not be parsed has no value in its `Row`, so that a rule passes over it rather than report
the same fault twice.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault, did_you_mean, empty_value, parse_cell
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.fields import Field, Table
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.records import ItemMove


@dataclass
class Row:
    """One parsed row: values of the cells that could be parsed, and all cells as text for messages."""

    number: int
    values: dict[str, object] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)

    def text(self, column: str) -> str:
        """A text, choice, id or reference; "" where it is empty or could not be parsed."""
        value = self.values.get(column, "")
        return value if isinstance(value, str) else ""

    def number_of(self, column: str) -> float | None:
        """A number; None where it was not given or could not be parsed."""
        value = self.values.get(column)
        return value if isinstance(value, float | int) else None

    def names(self, column: str) -> tuple[str, ...]:
        """A list of references."""
        value = self.values.get(column, ())
        return value if isinstance(value, tuple) else ()

    def moves(self, column: str) -> tuple[ItemMove, ...]:
        """A list of item moves."""
        value = self.values.get(column, ())
        return value if isinstance(value, tuple) else ()


@dataclass
class Rows:
    """All tables, parsed as far as they could be; a table that could not be read is not in ``tables``."""

    tables: dict[str, list[Row]]
    airlock: str = ""

    def __getitem__(self, name: str) -> list[Row]:
        return self.tables.get(name, [])

    def could_be_read(self, *names: str) -> bool:
        """Whether every one of these tables was read, so that a missing id can be held against a row."""
        return all(name in self.tables for name in names)

    def by_id(self, name: str) -> dict[str, Row]:
        """Rows of a table by their id (the first row where an id stands twice)."""
        column = fmt.TABLE_BY_NAME[name].key[0]
        found: dict[str, Row] = {}
        for row in self[name]:
            if row.text(column):
                found.setdefault(row.text(column), row)
        return found

    def ids(self, name: str) -> tuple[str, ...]:
        """The ids of a table in row order."""
        return tuple(self.by_id(name))

    def pairs(self, name: str, column: str) -> Iterator[tuple[Row, str]]:
        """Every reference in a column, list or single, with its row."""
        for row in self[name]:
            value = row.values.get(column)
            if isinstance(value, str) and value:
                yield row, value
            elif isinstance(value, tuple):
                for entry in value:
                    yield row, entry.item if isinstance(entry, ItemMove) else entry


def parse_tables(tables: Mapping[str, RawTable], unreadable: Collection[str], faults: Faults) -> Rows:
    """Every table's rows, faults noted. A table that may be absent and is counts as read and empty."""
    parsed: dict[str, list[Row]] = {}
    for table in fmt.TABLES:
        if table.name in tables:
            parsed[table.name] = parse_table(table, tables[table.name], faults)
        elif table.may_be_absent and table.name not in unreadable:
            parsed[table.name] = []
    return Rows(parsed)


def parse_table(table: Table, raw: RawTable, faults: Faults) -> list[Row]:
    """The rows of one table, faults noted."""
    known = _known_columns(table, raw, faults)
    absent = [each for each in table.fields if each.may_be_absent and each.name not in raw.header]
    parsed: dict[str, dict[str, object]] = {column.name: {} for column in known.values()}
    rows = []
    for number, cells in zip(raw.row_numbers, raw.rows, strict=True):
        row = Row(number, {each.name: empty_value(each) for each in absent})
        for position, column in known.items():
            if number not in raw.ragged or column.name in table.key:
                _parse_into(row, table, column, cells[position], faults, parsed[column.name])
        rows.append(row)
    return rows


def _parse_into(row: Row, table: Table, column: Field, text: str, faults: Faults,
                parsed: dict[str, object]) -> None:
    """``parsed`` are the values of the column's texts so far: in a long table most come again."""
    row.texts[column.name] = text
    try:
        if text not in parsed:
            parsed[text] = parse_cell(text, column)
        row.values[column.name] = parsed[text]
    except CellFault as fault:
        faults.add(table.name, row.number, column.name, text, str(fault))


def _known_columns(table: Table, raw: RawTable, faults: Faults) -> dict[int, Field]:
    """Which position of the header holds which field; what is wrong with the header is noted."""
    by_name = table.by_name
    known: dict[int, Field] = {}
    seen: set[str] = set()
    for position, name in enumerate(raw.header):
        if name in seen:
            faults.add(table.name, 1, name, name, "stands twice in the header; keep one")
        elif name in by_name:
            known[position] = by_name[name]
        elif not name.startswith(fmt.FREE_PREFIX):
            faults.add(table.name, 1, name, name, _unknown_column(table, raw, name))
        seen.add(name)
    for each in table.fields:
        if not each.may_be_absent and each.name not in seen:
            faults.add(table.name, 1, each.name, "",
                       "is missing from the header; add the column (it may be empty)"
                       if not each.needed else "is missing from the header; add the column")
    return known


def _unknown_column(table: Table, raw: RawTable, name: str) -> str:
    if not name.strip():
        return "is a column without a name; name it or delete it"
    missing = tuple(each.name for each in table.fields if each.name not in raw.header)
    free = f"free columns begin with {fmt.FREE_PREFIX}"
    return f"is not a column of {table.name}; {free}{did_you_mean(name, missing)}"
