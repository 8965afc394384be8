"""Everything a planner can type, as one value: the tables and the settings, right or wrong.

A draft becomes a scenario again (`scenario_of`) only where it holds no fault; the faults say where.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import pandas as pd

from planning_kit.changes.change import Change, Tables
from planning_kit.explore.session.settings_sheet import KEY, SETTINGS, VALUE, setting_changes, settings_sheet
from planning_kit.explore.session.sheet import Line, Sheet, with_cells
from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.fields import Table
from planning_kit.inputs.frames import refuse_absurd
from planning_kit.inputs.frozen import FrozenMapping
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.source import Source, check
from planning_kit.inputs.toml_edit import edited_toml

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
