"""Text tables to parsed rows (header rules and cell kinds), and to DataFrames and back.

A cell that could not be parsed has no value in its `Row`, so that a rule passes over it rather than report
the same fault twice. What rows mean together is for `planning_kit.inputs.rules`. A DataFrame holds numbers as
float64 (NaN where nothing is given) and everything else as the text of the file.
"""

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault, did_you_mean, empty_value, number_said, parse_cell
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.fields import Field, Table
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.records import ItemMove
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.inputs.times import moment_text


@dataclass(eq=False)
class Row:
    """One parsed row of ``table``: values of the cells that could be parsed, and all cells as text.

    All who read the same row share it: nobody changes it.
    """

    table: Table
    number: int
    values: dict[str, object] = field(default_factory=dict)
    texts: dict[str, str] = field(default_factory=dict)

    @property
    def key(self) -> str:
        """The column that rows of this table are called by."""
        return self.table.key[0]

    def fault(self, faults: Faults, column: str, problem: str, value: object = None) -> None:
        """Note what is wrong with one cell; ``value``: as it is to be shown, if not as it was typed."""
        typed = self.texts.get(column, "")
        faults.add(self.table.name, self.number, column, typed if value is None else value, problem)

    def text(self, column: str) -> str:
        """A text, choice, id or reference; "" where it is empty or could not be parsed."""
        value = self.values.get(column, "")
        return value if isinstance(value, str) else ""

    def number_of(self, column: str) -> float | None:
        """A number; None where it was not given or could not be parsed."""
        value = self.values.get(column)
        return value if isinstance(value, float | int) else None

    def moment(self, column: str) -> datetime | None:
        """A moment (UTC); None where it was not given or could not be parsed."""
        value = self.values.get(column)
        return value if isinstance(value, datetime) else None

    def entries(self, column: str) -> tuple[Any, ...]:
        """A list of ids (text) or of `ItemMove`."""
        value = self.values.get(column, ())
        return value if isinstance(value, tuple) else ()


@dataclass
class Rows:
    """All tables, parsed as far as they could be; a table that could not be read is not in ``tables``."""

    tables: dict[str, list[Row]]
    airlock: str = ""
    _by_id: dict[str, dict[str, Row]] = field(default_factory=dict)  # many rules ask for the same ids

    def __getitem__(self, name: str) -> list[Row]:
        return self.tables.get(name, [])

    def could_be_read(self, *names: str) -> bool:
        """Whether every one of these tables was read, so that a missing id can be held against a row."""
        return all(name in self.tables for name in names)

    def named(self, name: str) -> Iterator[tuple[Row, str]]:
        """Every row of a table that has an id, with the id."""
        return self.pairs(name, self[name][0].key if self[name] else "")

    def by_id(self, name: str) -> dict[str, Row]:
        """Rows of a table by their id (the first row where an id stands twice)."""
        if name not in self._by_id:
            found = self._by_id[name] = {}
            for row, each in self.named(name):
                found.setdefault(each, row)
        return self._by_id[name]

    def ids(self, name: str) -> tuple[str, ...]:
        """The ids of a table in row order."""
        return tuple(self.by_id(name))

    def pairs(self, name: str, column: str) -> Iterator[tuple[Row, str]]:
        """Every id in a column, list or single, with its row."""
        for row in self[name]:
            value = row.values.get(column)
            if not value:
                continue
            if isinstance(value, tuple):
                for entry in value:
                    yield row, entry.item if isinstance(entry, ItemMove) else entry
            elif isinstance(value, str):
                yield row, value


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
    _note_header(table, raw, faults)
    rows = []
    for number, cells in zip(raw.row_numbers, raw.rows, strict=True):
        row, wrong = _parsed_row(table, raw.header, number, cells, number in raw.ragged)
        rows.append(row)
        for each in wrong:
            faults.add(**each)
    return rows


# An edit changes one row of hundreds.
@lru_cache(maxsize=5_000)
def _parsed_row(table: Table, header: tuple[str, ...], number: int, cells: tuple[str, ...],
                is_ragged: bool) -> tuple[Row, list[dict[str, Any]]]:
    absent = {each.name: empty_value(each) for each in table.fields
              if each.may_be_absent and each.name not in header}
    row, faults = Row(table, number, absent), Faults()
    for position, column in _known_columns(table, header).items():
        if not is_ragged or column.name in table.key:
            row.texts[column.name] = text = cells[position]
            try:
                row.values[column.name] = parse_cell(text, column)
            except CellFault as fault:
                row.fault(faults, column.name, str(fault))
    return row, faults.rows


@lru_cache(maxsize=1_000)
def _known_columns(table: Table, header: tuple[str, ...]) -> dict[int, Field]:
    """Which position of the header holds which field, where a name stands first."""
    by_name = table.by_name
    return {header.index(name): by_name[name] for name in header if name in by_name}


def _note_header(table: Table, raw: RawTable, faults: Faults) -> None:
    by_name, seen = table.by_name, set[str]()
    for name in raw.header:
        if name in seen:
            faults.add(table.name, 1, name, name, "stands twice in the header; keep one")
        elif name not in by_name and not name.startswith(fmt.FREE_PREFIX):
            faults.add(table.name, 1, name, name, _unknown_column(table, raw, name))
        seen.add(name)
    for each in table.fields:
        if not each.may_be_absent and each.name not in seen:
            may_be = "" if each.needed else " (it may be empty)"
            faults.add(table.name, 1, each.name, "", f"is missing from the header; add the column{may_be}")


_RENAMED = {("inhibits", "set_before_min"): "write set_at, a moment in UTC or PET (for 30 min before PET 0 "
                                            "that is -0:30)"}


def _unknown_column(table: Table, raw: RawTable, name: str) -> str:
    if not name.strip():
        return "is a column without a name; name it or delete it"
    if (table.name, name) in _RENAMED:
        return f"is not a column of {table.name} any more: {_RENAMED[table.name, name]}"
    missing = tuple(each.name for each in table.fields if each.name not in raw.header)
    free = f"free columns begin with {fmt.FREE_PREFIX}"
    return f"is not a column of {table.name}; {free}{did_you_mean(name, missing)}"


_UNWRITABLE = re.compile("[\\x00\\ud800-\\udfff]")
_MISSING = (None, pd.NA, pd.NaT)


def frame_of(table: Table, raw: RawTable | None) -> pd.DataFrame:
    """A table of a valid scenario as a DataFrame: the file's columns, then absent † columns, empty."""
    raw, by_name = raw or RawTable(table.name), table.by_name
    cells = {name: [row[position] for row in raw.rows] for position, name in enumerate(raw.header)}
    cells |= {name: [""] * len(raw.rows) for name in by_name if name not in cells}
    return ShownTable({name: _column(texts, by_name.get(name)) for name, texts in cells.items()})


def _column(texts: list[str], field: Field | None) -> pd.Series:
    if field is not None and field.is_number:
        said = [number_said(text, field) if text.strip() else np.nan for text in texts]
        return pd.Series(said, dtype="float64")
    return pd.Series(texts, dtype="str")


def raw_from_frame(table: Table, frame: pd.DataFrame, old: RawTable | None, faults: Faults) -> RawTable:
    """An edited DataFrame as a text table (see `raw_from_texts`).

    A number that equals the one in the old row of the same key keeps that row's text.
    """
    header = tuple(map(str, frame.columns))
    columns = [[_text_of(value) for value in frame.iloc[:, at].tolist()] for at in range(len(header))]
    rows = _with_old_numbers(table, header, list(zip(*columns, strict=True)), old or RawTable(table.name))
    refuse_absurd(table, header, rows, faults)
    return raw_from_texts(table, header, [row for row in rows if any(row)], old)  # as a file: no blank rows


def raw_from_texts(table: Table, header: tuple[str, ...], rows: Sequence[tuple[str, ...]],
                   old: RawTable | None, numbers: tuple[int, ...] = ()) -> RawTable:
    """Rows of cells, with their ``numbers`` if they have some, as a text table.

    † columns that are empty and were absent stay absent, and a table without any change is the old one,
    bytes and all.
    """
    before, known = old or RawTable(table.name), table.by_name
    kept = [at for at, name in enumerate(header) if name not in known or not known[name].may_be_absent
            or name in before.header or any(row[at] for row in rows)]
    header, cells = tuple(header[at] for at in kept), tuple(tuple(row[at] for at in kept) for row in rows)
    if old is not None and (header, cells) == (old.header, old.rows):
        return replace(old, row_numbers=numbers) if numbers else old
    return RawTable(table.name, header, cells, numbers or tuple(range(2, len(cells) + 2)),
                    newline=before.newline, has_bom=before.has_bom)


def _text_of(value: Any) -> str:
    """A cell of a DataFrame as the file would have it."""
    if isinstance(value, str):
        return str(value)
    if isinstance(value, ItemMove):
        return move_text(value)
    if isinstance(value, list | tuple | np.ndarray):
        return " ".join(_text_of(entry) for entry in value)
    # Before numbers, and by identity: comparing pd.NA gives no yes or no.
    if any(value is missing for missing in _MISSING):
        return ""
    # Before numbers: to Python a yes is the number 1.
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if isinstance(value, int | float | np.number):
        return number_text(value)
    if isinstance(value, np.datetime64):
        return _text_of(pd.Timestamp(value))
    if isinstance(value, datetime):
        return moment_text(value)
    return value.isoformat() if isinstance(value, date) else str(value)


def number_text(value: int | float | np.number) -> str:
    """The shortest text that reads back as the same number; "" for NaN."""
    number = value if isinstance(value, int) else float(value)
    if number != number:
        return ""
    # So far a float holds whole numbers exactly, and 5 is shorter than 5.0.
    if isinstance(number, float) and number.is_integer() and abs(number) < 1e15:
        number = int(number)
    # Python refuses to write out thousands of digits, and no cell means such a number.
    return repr(number) if not isinstance(number, int) or abs(number) < 10**18 else "a huge number"


def move_text(move: ItemMove) -> str:
    """An entry of ``takes`` or ``leaves`` as it is written in a cell."""
    crew = f"{move.crew}:" if move.crew else ""
    end = f"<{move.out_of}" if move.out_of else f">{move.into}" if move.into else ""
    return f"{crew}{move.item}{end}"


def _with_old_numbers(table: Table, header: tuple[str, ...], rows: list[tuple[str, ...]],
                      old: RawTable) -> list[tuple[str, ...]]:
    """The rows, each equal number written as in the old row of the same key."""
    if not set(table.key) <= set(header) & set(old.header):
        return rows
    old_rows = {tuple(row[old.header.index(name)] for name in table.key): row for row in old.rows}
    numbers = [(i, old.header.index(name), table.by_name[name]) for i, name in enumerate(header)
               if name in old.header and name in table.by_name and table.by_name[name].is_number]
    key_at = [header.index(name) for name in table.key]
    written = []
    for row in rows:
        cells = list(row)
        if before := old_rows.get(tuple(row[i] for i in key_at)):
            for i, j, field in numbers:
                if cells[i] != before[j] and _same_number(cells[i], before[j], field):
                    cells[i] = before[j]
        written.append(tuple(cells))
    return written


def _same_number(new: str, old: str, field: Field) -> bool:
    if not new.strip() or not old.strip():
        return not new.strip() and not old.strip()
    try:
        return number_said(new, field) == number_said(old, field)
    except CellFault:
        return False


def refuse_absurd(table: Table, header: tuple[str, ...], rows: list[tuple[str, ...]], faults: Faults) -> None:
    """The same sizes that a file may have, so that what is held can be saved and read again."""
    if len(rows) > fmt.most_rows(table.name):
        faults.add(table.name, None, "", len(rows), f"has more than {fmt.most_rows(table.name):,} rows")
    if len(header) > fmt.MAX_COLUMNS:
        faults.add(table.name, 1, "", len(header), f"has more than {fmt.MAX_COLUMNS} columns")
    for number, row in enumerate(rows, start=2):
        whole = "".join(row)
        if len(whole) <= fmt.MAX_CELL_CHARS and is_writable(whole):
            continue
        for name, cell in zip(header, row, strict=True):
            if len(cell) > fmt.MAX_CELL_CHARS:
                faults.add(table.name, number, name, cell,
                           f"holds more than {fmt.MAX_CELL_CHARS:,} characters")
            if not is_writable(cell):
                faults.add(table.name, number, name, ascii(cell),
                           "holds characters that UTF-8 text cannot hold")
    for name in header:
        if not is_writable(name):
            faults.add(table.name, 1, ascii(name), ascii(name),
                       "holds characters that UTF-8 text cannot hold")


def is_writable(text: str) -> bool:
    """Whether a text file can hold ``text`` and be read again: no NUL, no half characters."""
    return not _UNWRITABLE.search(text)
