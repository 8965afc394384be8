"""One table as the planner typed it: every cell is text, right or wrong, and every line has a lasting number.

Sheets never change; a change gives a new one that shares all lines that stayed. The settings of
``scenario.toml`` are a sheet too, of keys and values; what is typed there becomes changes of the file.
"""

from __future__ import annotations

import csv
import io
import itertools
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.fields import Field
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.typed_settings import keys_in, setting_fields, setting_text, value_typed

Cell = tuple[int, str]
"""Where a cell is: the id of its line and its column."""


@dataclass(frozen=True)
class Line:
    """One row. ``id`` tells lines apart while they are edited and moved; no file holds it."""

    id: int
    cells: tuple[str, ...]

    @property
    def is_empty(self) -> bool:
        """Whether nothing is typed in it; such a line is no row of the scenario."""
        return not any(self.cells)


@dataclass(frozen=True)
class Sheet:
    """A table: ``can_grow`` says whether lines may be added, deleted and moved."""

    name: str
    columns: tuple[str, ...]
    lines: tuple[Line, ...]
    can_grow: bool = True

    @property
    def ids(self) -> list[int]:
        """The ids of all lines, in order."""
        return [line.id for line in self.lines]

    def position(self, line: int) -> int:
        """Where a line stands. Raises `ValueError` when there is no such line."""
        return self.ids.index(line)

    def line(self, line: int) -> Line:
        """A line by its id. Raises `ValueError` when there is none."""
        return self.lines[self.position(line)]

    def text(self, line: int, column: str) -> str:
        """What is typed in a cell."""
        return self.line(line).cells[self.columns.index(column)]

    def column(self, name: str) -> list[str]:
        """All cells of a column, in order."""
        at = self.columns.index(name)
        return [line.cells[at] for line in self.lines]

    def find(self, column: str, text: str) -> int | None:
        """The id of the first line that holds ``text`` in ``column``."""
        return next(itertools.compress(self.ids, (cell == text for cell in self.column(column))), None)

    def with_cells(self, texts: Mapping[Cell, str]) -> Sheet:
        """This sheet with cells typed anew; itself when every cell already said so."""
        typed: dict[int, dict[int, str]] = {}
        for (line, column), text in texts.items():
            typed.setdefault(line, {})[self.columns.index(column)] = text
        return self._saying([
            replace(line, cells=tuple(typed[line.id].get(at, text) for at, text in enumerate(line.cells)))
            if line.id in typed else line for line in self.lines])

    def with_lines(self, lines: Sequence[Line], after: int | None) -> Sheet:
        """This sheet with new lines behind the line ``after``; at the end when that is None."""
        at = len(self.lines) if after is None else self.position(after) + 1
        return self._saying([*self.lines[:at], *lines, *self.lines[at:]])

    def without_lines(self, lines: Collection[int]) -> Sheet:
        """This sheet without some of its lines."""
        return self._saying([line for line in self.lines if line.id not in lines])

    def with_lines_moved(self, lines: Collection[int], before: int | None) -> Sheet:
        """This sheet with lines moved, in their present order, to just before ``before`` (None: the end).

        A ``before`` that is itself moved stands for the next line that stays.
        """
        at = len(self.lines) if before is None else self.position(before)
        moving = [line for line in self.lines if line.id in lines]
        ahead, behind = ([line for line in part if line.id not in lines]
                         for part in (self.lines[:at], self.lines[at:]))
        return self._saying([*ahead, *moving, *behind])

    def with_lines_shifted(self, lines: Collection[int], by: int, shown: Collection[int] | None) -> Sheet:
        """This sheet with lines moved one place up (``by`` -1) or down (+1); itself where there is no place.

        One place among the lines ``shown``, where a filter shows only some.
        """
        order = self.ids
        seen = order if shown is None else [line for line in order if line in shown or line in lines]
        at = [seen.index(line) for line in lines]
        if at and by < 0 and min(at) > 0:
            return self.with_lines_moved(lines, seen[min(at) - 1])
        if at and by > 0 and max(at) < len(seen) - 1:
            behind = order.index(seen[max(at) + 1]) + 1
            return self.with_lines_moved(lines, order[behind] if behind < len(order) else None)
        return self

    def _saying(self, lines: Sequence[Line]) -> Sheet:
        """With other lines; itself where they are the same, so that drafts share what they have in common."""
        return self if tuple(lines) == self.lines else replace(self, lines=tuple(lines))


def free_name(name: str, taken: Collection[str], numbered: str) -> str:
    """``name`` if it is not ``taken``, else with the first free number; ``numbered`` is its form with one."""
    names = itertools.chain([name], (numbered.format(name, number) for number in itertools.count(2)))
    return next(each for each in names if each not in taken)


def block_of(text: str) -> list[list[str]]:
    """The cells of a block as spreadsheets put it on the clipboard: tabs, line ends, quoted cells.

    A quotation mark inside a cell that does not begin with one is plain text, as spreadsheets have it.
    """
    reader = csv.reader(io.StringIO(text, newline=""), delimiter="\t")
    try:
        rows = [[cell.replace("\r\n", "\n") for cell in row] for row in reader]
    except csv.Error:
        rows = [line.split("\t") for line in text.splitlines()]
    return [row or [""] for row in rows]


SETTINGS = "settings"
KEY, VALUE = "key", "value"
_COLUMNS = (KEY, VALUE, "unit", "about")
_NOT_HERE = ("format", "orbit")  # another orbit is another file, not a text to type


def typed_fields() -> dict[str, Field]:
    """Every key of the format that can be typed, dotted, in the order of the format."""
    return {key: field for key, field in setting_fields().items() if key not in _NOT_HERE}


@lru_cache(maxsize=8)  # asked at every edit
def settings_sheet(toml: bytes, first_id: int) -> Sheet:
    """One line a key: as the file has it, empty where the file does not give it.

    Raises `ValueError` for bytes that are no TOML.
    """
    values = keys_in(toml)
    lines = [Line(first_id + number, (key, setting_text(values.get(key)), field.unit, field.about))
             for number, (key, field) in enumerate(typed_fields().items())]
    return Sheet(SETTINGS, _COLUMNS, tuple(lines), can_grow=False)


def setting_changes(sheet: Sheet, scenario: Scenario, faults: Faults) -> dict[str, object]:
    """What the sheet says otherwise than the scenario's file: dotted key to value, None for a key deleted.

    Text that is no number where one is needed is a fault.
    """
    fields, before = typed_fields(), settings_sheet(scenario.checked.source.toml, 0)
    changes: dict[str, object] = {}
    for line, old in zip(sheet.lines, before.lines, strict=True):
        key, text = line.cells[:2]
        if text == old.cells[1]:
            continue
        try:
            changes[key] = value_typed(text, fields[key])
        except CellFault as fault:
            faults.add(fmt.SCENARIO_FILE, None, key, text, str(fault))
    return changes
