"""Everything a planner can type, as one value: the tables and the settings, right or wrong.

A draft becomes a scenario again (`scenario_of`) only where it holds no fault; the faults say where.

What a planner does with rows and blocks of one sheet: paste, add, copy, move up or down.

Undo and redo without limit: drafts share what they have in common, so keeping them all costs little.
"""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from planning_kit.changes.change import Change, Tables
from planning_kit.explore.session.sheet import (
    KEY,
    SETTINGS,
    VALUE,
    Cell,
    Line,
    Sheet,
    block_of,
    setting_changes,
    settings_sheet,
    spread,
    with_cells,
    with_lines,
)
from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.fields import Table
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.records import FrozenMapping
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.settings import edited_toml
from planning_kit.inputs.source import Source, check
from planning_kit.inputs.typed_tables import refuse_absurd

_FIRST_ROW = 2  # the header is row 1


@dataclass(frozen=True)
class Draft:
    """Sheets by name: the tables of the format and `SETTINGS`. ``next_id`` is the id of the next new line.

    ``origin`` is the number of the folder's state from which it was typed (see `origins`).
    """

    sheets: Mapping[str, Sheet]
    next_id: int
    origin: int = 0

    def __getitem__(self, name: str) -> Sheet:
        return self.sheets[name]

    def with_sheet(self, sheet: Sheet, next_id: int | None = None) -> Draft:
        """This draft with one sheet replaced."""
        sheets = FrozenMapping({**self.sheets, sheet.name: sheet})
        return replace(self, sheets=sheets, next_id=self.next_id if next_id is None else next_id)

    def says_the_same_as(self, other: Draft) -> bool:
        """Whether every cell and the order of lines agree, whatever the lines' ids."""
        return all(_texts(sheet) == _texts(other.sheets[name]) for name, sheet in self.sheets.items())


def _texts(sheet: Sheet) -> list[tuple[str, ...]]:
    return [line.cells for line in sheet.lines]


@dataclass(frozen=True)
class Fault:
    """One thing that cannot be used as it is typed.

    ``sheet`` is "" where it concerns no sheet, ``line`` None where it concerns no single line, ``column`` ""
    where it concerns the whole line.
    """

    sheet: str
    line: int | None
    column: str
    value: str
    problem: str


def draft_of(scenario: Scenario) -> Draft:
    """A scenario as it would be typed."""
    sheets, next_id = {}, 1
    for table in fmt.TABLES:
        sheet = _sheet_of(table, scenario.checked.source.tables.get(table.name), next_id)
        sheets[table.name] = sheet
        next_id += len(sheet.lines)
    settings = settings_sheet(scenario.checked.source.toml, next_id)
    return Draft(FrozenMapping({**sheets, SETTINGS: settings}), next_id + len(settings.lines))


def _sheet_of(table: Table, raw: RawTable | None, first_id: int) -> Sheet:
    header = raw.header if raw is not None else ()
    absent = tuple(field.name for field in table.fields if field.name not in header)
    rows = raw.rows if raw is not None else ()
    lines = (Line(first_id + number, (*row, *("" for _ in absent))) for number, row in enumerate(rows))
    return Sheet(table.name, (*header, *absent), tuple(lines))


def with_change(draft: Draft, change: Change) -> Draft:
    """``draft`` with a change made in what is typed, right or wrong; lines keep their ids.

    Only for changes that read no records. Raises `ScenarioError` where it cannot be made.
    """
    tables = Tables(lambda name: pd.DataFrame([line.cells for line in draft[name].lines],
                                              [line.id for line in draft[name].lines],
                                              draft[name].columns, dtype=object))
    change.edit(tables)
    for name, frame in tables.frames.items():
        lines = tuple(Line(int(line), tuple(cells)) for line, *cells in frame.itertuples(name=None))
        draft = draft.with_sheet(replace(draft[name], lines=lines))
    lines_of = {key: draft[SETTINGS].find(KEY, key) for key in tables.settings}
    cells = {(line, VALUE): str(tables.settings[key]) for key, line in lines_of.items() if line is not None}
    return draft.with_sheet(with_cells(draft[SETTINGS], cells))


def scenario_of(draft: Draft, base: Scenario) -> Scenario:
    """The scenario that ``draft`` says, bound to the folder and files of ``base``.

    Raises `ScenarioError` with every fault. Tables that say what ``base`` says keep their file's bytes.
    """
    faults = Faults()
    source = base.checked.source
    tables = {}
    for table in fmt.TABLES:
        raw = _raw_of(draft[table.name], table, source.tables.get(table.name), faults)
        if raw is not None:
            tables[table.name] = raw
    changed = replace(source, tables=FrozenMapping(tables), toml=_toml_of(draft, base, source, faults))
    return replace(base, checked=check(changed, base.elements, faults))


def _toml_of(draft: Draft, base: Scenario, source: Source, faults: Faults) -> bytes:
    changes = setting_changes(draft[SETTINGS], base, faults)
    return edited_toml(source.toml, changes, faults) if changes else source.toml


def _raw_of(sheet: Sheet, table: Table, old: RawTable | None, faults: Faults) -> RawTable | None:
    """The sheet as a text table, rows numbered by their place in it; None: still absent, still empty."""
    numbered = [(number, line.cells) for number, line in enumerate(sheet.lines, start=_FIRST_ROW)
                if not line.is_empty]
    before = old.header if old is not None else ()
    kept = [at for at, name in enumerate(sheet.columns)
            if name in before or not _may_be_absent(table, name) or any(cells[at] for _, cells in numbered)]
    header = tuple(sheet.columns[at] for at in kept)
    rows = [tuple(cells[at] for at in kept) for _, cells in numbered]
    numbers = tuple(number for number, _ in numbered)
    if old is not None and header == old.header and tuple(rows) == old.rows:
        return replace(old, row_numbers=numbers)
    if old is None and not rows:
        return None
    refuse_absurd(table, header, rows, faults)
    if old is None:
        return RawTable(table.name, header, tuple(rows), numbers)
    return RawTable(table.name, header, tuple(rows), numbers, newline=old.newline, has_bom=old.has_bom)


def _may_be_absent(table: Table, column: str) -> bool:
    field = table.by_name.get(column)
    return field is not None and field.may_be_absent


def faults_in(draft: Draft, problems: pd.DataFrame) -> tuple[Fault, ...]:
    """The rows of ``ScenarioError.problems`` with the sheet and line that each concerns."""
    return tuple(_fault(draft, row) for row in problems.to_dict("records"))


def _fault(draft: Draft, row: Mapping[object, object]) -> Fault:
    table, column, value = str(row["table"]), str(row["column"]), str(row["value"])
    problem = str(row["problem"])
    if table == fmt.SCENARIO_FILE:
        line = draft[SETTINGS].find(KEY, column)
        return Fault(SETTINGS, line, VALUE if line is not None else column, value, problem)
    sheet = draft.sheets.get(table)
    if sheet is None:
        return Fault("", None, column, value, problem)
    number = row["row"]
    at = int(str(number)) - _FIRST_ROW if not pd.isna(number) else -1  # type: ignore[call-overload]
    line = sheet.lines[at].id if 0 <= at < len(sheet.lines) else None
    return Fault(table, line, column if column in sheet.columns else "", value, problem)


def can_be_typed(sheet: str, column: str) -> bool:
    """Whether a column is the planner's: of the settings only the values are."""
    return sheet != SETTINGS or column == VALUE


def with_block(draft: Draft, name: str, lines: Sequence[int], columns: Sequence[str], text: str,
               fills: Sequence[Cell] = ()) -> tuple[Draft, int]:
    """``draft`` with a spreadsheet's block pasted from the first of ``lines`` and ``columns`` on.

    A single cell, whatever line breaks it holds, fills the cells ``fills``, else the first one. Rows of the
    block beyond the last line become new lines at the end. Also gives the number of cells left out: those
    without a column, and those that say otherwise than a column that cannot be typed in.
    """
    block, sheet = block_of(text), draft[name]
    if len(block) == 1 and len(block[0]) == 1 and (fills or lines):
        cells = dict.fromkeys(fills or [*zip(lines[:1], columns[:1], strict=True)], block[0][0])
        return _typed(draft, sheet, cells)
    new = _blank_lines(draft, sheet, len(block) - len(lines) if sheet.can_grow else 0)
    targets = [*lines, *(line.id for line in new)]
    lost = [row[len(columns):] for row in block[: len(targets)]] + block[len(targets):]
    grown = with_lines(sheet, new, None)
    typed, refused = _typed(draft, grown, dict(spread(block, targets, columns)))
    return replace(typed, next_id=draft.next_id + len(new)), refused + sum(len(row) for row in lost)


def _typed(draft: Draft, sheet: Sheet, cells: dict[Cell, str]) -> tuple[Draft, int]:
    mine = {cell: text for cell, text in cells.items() if can_be_typed(sheet.name, cell[1])}
    refused = sum(sheet.text(*cell) != text for cell, text in cells.items() if cell not in mine)
    return draft.with_sheet(with_cells(sheet, mine)), refused


def _blank_lines(draft: Draft, sheet: Sheet, count: int) -> list[Line]:
    blank = tuple("" for _ in sheet.columns)
    return [Line(draft.next_id + number, blank) for number in range(count)]


def with_blank_line(draft: Draft, name: str, after: int | None) -> tuple[Draft, int]:
    """``draft`` with an empty line behind ``after``, or at the end; and the id of that line."""
    new = _blank_lines(draft, draft[name], 1)
    return draft.with_sheet(with_lines(draft[name], new, after), new[0].id + 1), new[0].id


def with_copies(draft: Draft, name: str, lines: Collection[int]) -> tuple[Draft, list[int]]:
    """``draft`` with copies behind the last of ``lines``, under free ids; and the copies' line ids."""
    sheet = draft[name]
    chosen = [line for line in sheet.lines if line.id in lines]
    if not chosen or not sheet.can_grow:
        return draft, []
    taken = set(sheet.column(fmt.TABLE_BY_NAME[name].key[0]))
    copies = [Line(number, _renamed(sheet, line, taken))
              for number, line in enumerate(chosen, start=draft.next_id)]
    copied = draft.with_sheet(with_lines(sheet, copies, chosen[-1].id), copies[-1].id + 1)
    return copied, [line.id for line in copies]


def _renamed(sheet: Sheet, line: Line, taken: set[str]) -> tuple[str, ...]:
    """The cells of a copy: where the table's rows are told apart by an id, under a free one."""
    table = fmt.TABLE_BY_NAME[sheet.name]
    if len(table.key) > 1 or not table.is_unique:
        return line.cells
    at = sheet.columns.index(table.key[0])
    free = next(f"{line.cells[at]}-{number}" for number in range(2, len(taken) + 3)
                if f"{line.cells[at]}-{number}" not in taken)
    taken.add(free)
    return (*line.cells[:at], free, *line.cells[at + 1:])


def place_of_shift(sheet: Sheet, lines: Collection[int], by: int, shown: Collection[int] | None,
                   ) -> tuple[int | None] | None:
    """The line that ``lines`` go before when they move one place up (``by`` -1) or down (+1).

    One place among the lines ``shown``, where a filter shows only some: (None,) is the end, None is nowhere.
    """
    order = [line.id for line in sheet.lines]
    seen = order if shown is None else [line for line in order if line in shown or line in lines]
    at = [seen.index(line) for line in lines]
    if at and by < 0 and min(at) > 0:
        return (seen[min(at) - 1],)
    if at and by > 0 and max(at) < len(seen) - 1:
        behind = order.index(seen[max(at) + 1]) + 1
        return (order[behind] if behind < len(order) else None,)
    return None


class History:
    """The drafts of a session, each with the words for the edit that made it; one of them is current."""

    def __init__(self, draft: Draft) -> None:
        """Begin with ``draft``, which cannot be undone."""
        self._drafts: list[tuple[Draft, str]] = [(draft, "")]
        self._at = 0
        self._merges: Hashable = None

    @property
    def draft(self) -> Draft:
        """The current draft."""
        return self._drafts[self._at][0]

    @property
    def can_undo(self) -> str:
        """What undo would take back, in words; "" when there is nothing."""
        return self._drafts[self._at][1]

    @property
    def can_redo(self) -> str:
        """What redo would do again, in words; "" when there is nothing."""
        return self._drafts[self._at + 1][1] if self._at + 1 < len(self._drafts) else ""

    def push(self, draft: Draft, words: str, merges: Hashable = None) -> None:
        """Make ``draft`` current; what was undone before is gone.

        An edit with the same ``merges`` (not None) as the one just before joins it: one drag of a slider is
        one edit.
        """
        joins = merges is not None and merges == self._merges and self._at == len(self._drafts) - 1
        kept = self._drafts[: self._at if joins else self._at + 1]
        self._drafts = [*kept, (draft, words)]
        self._at = len(self._drafts) - 1
        self._merges = merges

    def undo(self) -> bool:
        """Take back the last edit; False when there is none."""
        return self._step(-1)

    def redo(self) -> bool:
        """Do again what was undone last; False when there is nothing."""
        return self._step(+1)

    def _step(self, by: int) -> bool:
        if not 0 <= self._at + by < len(self._drafts):
            return False
        self._at += by
        self._merges = None
        return True
