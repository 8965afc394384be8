"""Everything a planner can type, as one value: the tables and the settings, right or wrong.

A draft becomes a scenario again (`scenario_of`) only where it holds no fault; the faults say where. A session
keeps every draft, so that undo and redo have no limit: drafts share what they have in common.
"""

from __future__ import annotations

import itertools
import re
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
    free_name,
    setting_changes,
    settings_sheet,
)
from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import FAULT_COLUMNS, Faults
from planning_kit.inputs.fields import Table
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.setting_records import FrozenMapping
from planning_kit.inputs.settings import edited_toml
from planning_kit.inputs.source import check
from planning_kit.inputs.typed_tables import raw_from_texts, refuse_absurd

_FIRST_ROW = 2  # the header is row 1


@dataclass(frozen=True)
class Draft:
    """Sheets by name: the tables of the format and `SETTINGS`. ``next_id`` is the id of the next new line.

    ``origin`` is the number of the folder's state from which it was typed (see `merge.Origins`).
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

    def with_settings(self, texts: Mapping[str, str]) -> Draft:
        """This draft with other values of settings, by dotted key; one that cannot be typed stays out."""
        settings = self[SETTINGS]
        lines = {key: settings.find(KEY, key) for key in texts}
        return self.with_sheet(settings.with_cells(
            {(line, VALUE): texts[key] for key, line in lines.items() if line is not None}))

    def says_the_same_as(self, other: Draft) -> bool:
        """Whether every cell and the order of lines agree, whatever the lines' ids."""
        return all([line.cells for line in sheet.lines] == [line.cells for line in other[name].lines]
                   for name, sheet in self.sheets.items())

    def with_block(self, name: str, lines: Sequence[int], columns: Sequence[str], text: str,
                   fills: Sequence[Cell] = ()) -> tuple[Draft, int]:
        """This draft with a spreadsheet's block pasted from the first of ``lines`` and ``columns`` on.

        A single cell, whatever line breaks it holds, fills the cells ``fills``, else the first one. Rows of
        the block beyond the last line become new lines at the end. Also gives the number of cells left out:
        those without a column, and those that say otherwise than a column that cannot be typed in.
        """
        block, sheet = block_of(text), self[name]
        if len(block) == 1 and len(block[0]) == 1 and (fills or lines):
            return self._typed(sheet, dict.fromkeys(fills or [(lines[0], columns[0])], block[0][0]))
        count = len(block) - len(lines) if sheet.can_grow else 0
        new = [Line(self.next_id + number, ("",) * len(sheet.columns)) for number in range(count)]
        targets = [*lines, *(line.id for line in new)]
        cells = {(line, column): text for line, row in zip(targets, block, strict=False)
                 for column, text in zip(columns, row, strict=False)}
        typed, refused = self._typed(sheet.with_lines(new, None), cells)
        return replace(typed, next_id=self.next_id + len(new)), refused + sum(map(len, block)) - len(cells)

    def _typed(self, sheet: Sheet, cells: Mapping[Cell, str]) -> tuple[Draft, int]:
        # Of the settings only the values are the planner's.
        mine = {cell: text for cell, text in cells.items() if sheet.name != SETTINGS or cell[1] == VALUE}
        refused = sum(sheet.text(*cell) != text for cell, text in cells.items() if cell not in mine)
        return self.with_sheet(sheet.with_cells(mine)), refused

    def with_new_line(self, name: str, after: int | None,
                      texts: Mapping[str, str] | None = None) -> tuple[Draft, int]:
        """This draft with a new line behind ``after``, or at the end; and the id of that line.

        Where rows have an id a free one is proposed, and what a step mostly shares with the one before it.
        Else it is empty but for ``texts``, by column.
        """
        new, sheet = self.next_id, self[name]
        cells = dict.fromkeys(sheet.columns, "")
        key = fmt.TABLE_BY_NAME[name].fields[0]
        if key.kind == "id" and not key.choices:
            shares = fmt.SHARED_ID_TABLES if name in fmt.SHARED_ID_TABLES else (name,)
            taken = {each for other in shares for each in self[other].column(fmt.TABLE_BY_NAME[other].key[0])}
            behind = sheet.lines[-1:] if after is None else [sheet.line(after)]
            near = dict(zip(sheet.columns, behind[0].cells, strict=True)) if behind else cells
            cells |= {column: near[column] for column in _SHARED_BY_STEPS if name == "steps"}
            cells[key.name] = _next_id(near[key.name] or key.name[0].upper(), taken)
        cells |= {column: text for column, text in (texts or {}).items() if column in cells}
        line = Line(new, tuple(cells.values()))
        return self.with_sheet(sheet.with_lines([line], after), new + 1), new

    def with_copies(self, name: str, lines: Collection[int]) -> tuple[Draft, list[int]]:
        """This draft with copies behind the last of ``lines``, under free ids; and the copies' line ids."""
        sheet = self[name]
        chosen = [line for line in sheet.lines if line.id in lines]
        if not chosen or not sheet.can_grow:
            return self, []
        taken = set(sheet.column(fmt.TABLE_BY_NAME[name].key[0]))
        copies = [Line(number, _renamed(sheet, line, taken))
                  for number, line in enumerate(chosen, start=self.next_id)]
        copied = self.with_sheet(sheet.with_lines(copies, chosen[-1].id), copies[-1].id + 1)
        return copied, [line.id for line in copies]


_SHARED_BY_STEPS = ("task", "crew", "place")


def _next_id(name: str, taken: Collection[str]) -> str:
    """The next free id after ``name``, which is counted on: KN1, KN2."""
    stem, number = re.fullmatch(r"(.*?)([0-9]{0,9})", name, re.DOTALL).groups()  # type: ignore[union-attr]
    ids = (f"{stem}{count:0{len(number)}}" for count in itertools.count(int(number or 0) + 1))
    return next(each for each in ids if each not in taken)


def _renamed(sheet: Sheet, line: Line, taken: set[str]) -> tuple[str, ...]:
    """The cells of a copy: where the table's rows are told apart by an id, under a free one."""
    table = fmt.TABLE_BY_NAME[sheet.name]
    if len(table.key) > 1 or not table.is_unique:
        return line.cells
    at = sheet.columns.index(table.key[0])
    free = free_name(line.cells[at], taken, "{}-{}")
    taken.add(free)
    return (*line.cells[:at], free, *line.cells[at + 1:])


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
        sheets[table.name] = sheet_of(table, scenario.checked.source.tables.get(table.name), next_id)
        next_id += len(sheets[table.name].lines)
    settings = settings_sheet(scenario.checked.source.toml, next_id)
    return Draft(FrozenMapping({**sheets, SETTINGS: settings}), next_id + len(settings.lines))


def sheet_of(table: Table, raw: RawTable | None, first_id: int) -> Sheet:
    """A table as it would be typed, with all columns of the format; ``first_id`` for its first line."""
    header, rows = (raw.header, raw.rows) if raw is not None else ((), ())
    absent = tuple(field.name for field in table.fields if field.name not in header)
    lines = (Line(first_id + number, (*row, *("" for _ in absent))) for number, row in enumerate(rows))
    return Sheet(table.name, (*header, *absent), tuple(lines))


def with_change(draft: Draft, change: Change) -> Draft:
    """``draft`` with a change made in what is typed, right or wrong; lines keep their ids.

    Only for changes that read no records. Raises `ScenarioError` where it cannot be made.
    """
    tables = Tables(lambda name: pd.DataFrame([line.cells for line in draft[name].lines],
                                              draft[name].ids, draft[name].columns, dtype=object))
    change.edit(tables)
    for name, frame in tables.frames.items():
        cells = map(tuple, frame.to_numpy(dtype=object).tolist())
        lines = tuple(map(Line, map(int, frame.index), cells))
        draft = draft.with_sheet(replace(draft[name], lines=lines))
    return draft.with_settings({key: str(value) for key, value in tables.settings.items()})


def scenario_of(draft: Draft, base: Scenario) -> Scenario:
    """The scenario that ``draft`` says, bound to the folder and files of ``base``.

    Raises `ScenarioError` with every fault. Tables that say what ``base`` says keep their file's bytes.
    """
    faults = Faults()
    source = base.checked.source
    tables = {}
    for table in fmt.TABLES:
        sheet, old = draft[table.name], source.tables.get(table.name)
        # Blank lines are left out but counted, so that a fault finds its line again (`faults_in`).
        rows = {number: line.cells for number, line in enumerate(sheet.lines, start=_FIRST_ROW)
                if not line.is_empty}
        if old is not None or rows:  # else still absent, still empty
            raw = raw_from_texts(table, sheet.columns, list(rows.values()), old, tuple(rows))
            if old is None or raw.rows is not old.rows:
                refuse_absurd(table, raw.header, list(raw.rows), faults)
            tables[table.name] = raw
    settings = setting_changes(draft[SETTINGS], base, faults)
    toml = edited_toml(source.toml, settings, faults) if settings else source.toml
    changed = replace(source, tables=FrozenMapping(tables), toml=toml)
    return replace(base, checked=check(changed, base.elements, faults, folder=base.folder))


def faults_in(draft: Draft, problems: pd.DataFrame) -> tuple[Fault, ...]:
    """The rows of ``ScenarioError.problems`` with the sheet and line that each concerns."""
    found = []
    for table, row, column, value, problem in problems[FAULT_COLUMNS].itertuples(index=False, name=None):
        sheet, line, at = draft.sheets.get(table), None, -1 if pd.isna(row) else int(row) - _FIRST_ROW
        if table == fmt.SCENARIO_FILE:
            table, line = SETTINGS, draft[SETTINGS].find(KEY, column)
            column = VALUE if line is not None else column
        elif sheet is None:
            table = ""
        else:
            line = sheet.lines[at].id if 0 <= at < len(sheet.lines) else None
            column = column if column in sheet.columns else ""
        found.append(Fault(table, line, column, str(value), str(problem)))
    return tuple(found)


def where_typed(fault: Fault, before: Draft, after: Draft) -> Fault:
    """A new fault where it was typed: at another cell of its row, if that was typed last and is named in it.

    So who types is told at the cell in sight. What is missing is missed in its own cell.
    """
    if not (fault.sheet and fault.line is not None and fault.column and fault.value):
        return fault
    sheet, old = after[fault.sheet], before[fault.sheet]
    if fault.line not in old.ids or old.columns != sheet.columns:
        return fault
    cells = zip(sheet.columns, old.line(fault.line).cells, sheet.line(fault.line).cells, strict=True)
    typed = [column for column, was, now in cells if was != now]
    named = [column for column in typed if re.search(rf"\b{re.escape(column)}\b", fault.problem)]
    if fault.column in typed or not named:
        return fault
    return replace(fault, column=named[0], problem=f"{fault.column} {fault.value}: {fault.problem}")


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

    def step(self, by: int) -> bool:
        """Take back the last edit (``by`` -1), or do again what was undone last (+1); False without one."""
        if not 0 <= self._at + by < len(self._drafts):
            return False
        self._at += by
        # What is typed after an undo is an edit of its own, even of the same slider.
        self._merges = None
        return True
