"""What a planner does with rows and blocks of one sheet: paste, add, copy, move up or down."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

from planning_kit.explore.session.draft import Draft
from planning_kit.explore.session.settings_sheet import SETTINGS, VALUE
from planning_kit.explore.session.sheet import (
    Cell,
    Line,
    Sheet,
    block_of,
    spread,
    with_cells,
    with_lines,
)
from planning_kit.inputs import format as fmt


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
