"""Cells that a spreadsheet would compute instead of show.

The scenario format keeps text as it was typed, so a saved table may hold them; whoever opens it in a
spreadsheet must import the columns as text. (OWASP, "CSV Injection": cells that begin with =, +, -, @;
from memory.) Numbers with a sign are no such cells.
"""

from __future__ import annotations

from planning_kit.explore.session.draft import Draft
from planning_kit.explore.session.settings_sheet import SETTINGS
from planning_kit.explore.session.sheet import Cell

_STARTS = ("=", "+", "-", "@", "\t")


def formula_cells(draft: Draft) -> list[tuple[str, Cell]]:
    """Sheet and place of every cell of a CSV table that begins like a formula and is no number."""
    return [(name, (line.id, column)) for name, sheet in draft.sheets.items() if name != SETTINGS
            for line in sheet.lines for column, text in zip(sheet.columns, line.cells, strict=True)
            if text.startswith(_STARTS) and not _is_number(text)]


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
