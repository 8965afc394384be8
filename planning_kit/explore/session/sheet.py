"""One table as the planner typed it: every cell is text, right or wrong, and every line has a lasting number.

Sheets never change; a change gives a new one that shares all lines that stayed.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

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

    def position(self, line: int) -> int:
        """Where a line stands. Raises `KeyError` when there is no such line."""
        for position, each in enumerate(self.lines):
            if each.id == line:
                return position
        raise KeyError(line)

    def line(self, line: int) -> Line:
        """A line by its id. Raises `KeyError` when there is none."""
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
        at = self.columns.index(column)
        return next((line.id for line in self.lines if line.cells[at] == text), None)


def with_cells(sheet: Sheet, texts: Mapping[Cell, str]) -> Sheet:
    """``sheet`` with cells typed anew; itself when every cell already said so."""
    by_line: dict[int, dict[int, str]] = {}
    for (line, column), text in texts.items():
        by_line.setdefault(line, {})[sheet.columns.index(column)] = text
    lines = tuple(_typed(line, by_line[line.id]) if line.id in by_line else line for line in sheet.lines)
    return sheet if lines == sheet.lines else replace(sheet, lines=lines)


def _typed(line: Line, texts: Mapping[int, str]) -> Line:
    cells = tuple(texts.get(at, text) for at, text in enumerate(line.cells))
    return line if cells == line.cells else replace(line, cells=cells)


def with_lines(sheet: Sheet, lines: Sequence[Line], after: int | None) -> Sheet:
    """``sheet`` with new lines behind the line ``after``; at the end when that is None."""
    at = len(sheet.lines) if after is None else sheet.position(after) + 1
    return replace(sheet, lines=(*sheet.lines[:at], *lines, *sheet.lines[at:]))


def without_lines(sheet: Sheet, lines: Collection[int]) -> Sheet:
    """``sheet`` without some of its lines."""
    return replace(sheet, lines=tuple(line for line in sheet.lines if line.id not in lines))


def with_lines_moved(sheet: Sheet, lines: Collection[int], before: int | None) -> Sheet:
    """``sheet`` with lines moved, in their present order, to just before the line ``before`` (None: the end).

    A ``before`` that is itself moved stands for the next line that stays.
    """
    moving = tuple(line for line in sheet.lines if line.id in lines)
    staying = without_lines(sheet, lines)
    at = len(staying.lines)
    if before is not None:
        rest = [line.id for line in sheet.lines[sheet.position(before):] if line.id not in lines]
        at = staying.position(rest[0]) if rest else at
    ordered = (*staying.lines[:at], *moving, *staying.lines[at:])
    return sheet if ordered == sheet.lines else replace(sheet, lines=ordered)


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


def spread(block: Sequence[Sequence[str]], lines: Sequence[int], columns: Sequence[str],
           ) -> Iterator[tuple[Cell, str]]:
    """Each cell of ``block`` with its place, from the first line and column on, as far as these go."""
    for line, row in zip(lines, block, strict=False):
        for column, text in zip(columns, row, strict=False):
            yield (line, column), text
