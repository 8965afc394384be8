"""Cells of CSV files: quoted as RFC 4180 has it, and marked where a spreadsheet would compute them.

A spreadsheet that opens a CSV file takes a cell that begins with ``=``, ``+``, ``-`` or ``@`` for a formula
and runs it (OWASP, "CSV Injection", which also names tab, carriage return and the full-width forms; from
memory). Such a cell is written with an apostrophe before it, and the apostrophe is taken off again when the
file is read: what a scenario says is what was typed, to the letter. Numbers with a sign stay as they are.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

_FORMULA = re.compile(r"\s*[=+\-@＝＋－＠]|[\t\r]")
MARK = "'"


def is_live(cell: str) -> bool:
    """Whether a spreadsheet would compute the cell instead of showing it."""
    if not _FORMULA.match(cell):
        return False
    try:
        float(cell)
    except ValueError:
        return True
    return False


def csv_cell(text: str) -> str:
    """The text as a cell of a file: marked where it, less its apostrophes, is live; quoted where needed."""
    marked = MARK + text if is_live(text.lstrip(MARK)) else text
    if any(mark in marked for mark in ',"\r\n'):
        return '"' + marked.replace('"', '""') + '"'
    return marked


def csv_row(texts: Iterable[str]) -> str:
    """Texts as one row of a file, without its line end."""
    return ",".join(map(csv_cell, texts))


def cell_text(cell: str) -> str:
    """What was typed into a cell that was read from a file (its quotes are off): the other way round."""
    return cell[1:] if cell.startswith(MARK) and is_live(cell.lstrip(MARK)) else cell
