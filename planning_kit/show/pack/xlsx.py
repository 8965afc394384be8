"""The tables of the pack as a workbook: numbers as numbers, text as text, no cell that is computed."""

import io
import re
from collections.abc import Iterable
from datetime import datetime

from openpyxl import Workbook
from openpyxl.cell import Cell as SheetCell
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.worksheet import Worksheet

from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import rounded
from planning_kit.show.pack.content import CAUTION, Cell, Column, Pack, Rich, Table, shown

_WIDEST = 90
_HEAD = PatternFill("solid", fgColor="FFE9EBEE")
_NOT_IN_A_SHEET_NAME = re.compile(r"[\[\]:*?/\\]")
_LONGEST_CELL = 32_000  # of 32 767 that the format allows
_PERSON = "planning_kit"


def xlsx_bytes(pack: Pack) -> bytes:
    """A workbook: facts first, then a sheet a table; the caution and the stamp print on every page."""
    book = Workbook()
    first = book.active
    assert isinstance(first, Worksheet)
    first.title = "About"
    facts = [(pack.title, ""), ("Caution", CAUTION), *pack.facts, ("Stamp", pack.stamp)]
    _fill(first, (Column("Fact"), Column("Value", share=4)), facts, pack)
    blocks = (block for section in (*pack.sections, *pack.pockets) for block in section.blocks)
    for table in (block for block in blocks if isinstance(block, Table)):
        sheet = book.create_sheet(_NOT_IN_A_SHEET_NAME.sub(" ", table.sheet)[:31])
        _fill(sheet, table.columns, (*table.rows, *table.more), pack)
    book.properties.creator = _PERSON
    book.properties.created = book.properties.modified = datetime(2000, 1, 1)  # a pack has no date of its own
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _fill(sheet: Worksheet, columns: tuple[Column, ...], rows: Iterable[tuple[Cell, ...]],
          pack: Pack) -> None:
    for number, column in enumerate(columns, start=1):
        head = sheet.cell(1, number)
        _put(head, column.label, column)
        head.font, head.fill = Font(bold=True), _HEAD
        head.alignment = Alignment(wrap_text=True, vertical="top")
        wide = 12 if column.digits is not None else min(_WIDEST, max(10, 14 * column.share))
        sheet.column_dimensions[get_column_letter(number)].width = wide
    for at, row in enumerate(rows, start=2):
        for number, (cell, column) in enumerate(zip(row, columns, strict=True), start=1):
            _put(sheet.cell(at, number), cell, column)
    sheet.freeze_panes = "B2"
    sheet.auto_filter.ref = sheet.dimensions
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr.fitToPage = True
    sheet.print_title_rows = "1:1"
    # In heads and feet "&" begins a code: it is doubled, and our own codes are put in after that.
    sheet.oddHeader.left.text = one_line(pack.title)[:80].replace("&", "&&")
    sheet.oddFooter.left.text = CAUTION.replace("&", "&&")
    sheet.oddFooter.right.text = f"{pack.stamp.replace('&', '&&')} · &P / &N"
    sheet.oddFooter.left.size = sheet.oddFooter.right.size = 7


def _put(target: SheetCell, cell: Cell, column: Column) -> None:
    """One cell. Text is marked as text, so that nothing that looks like a formula is one."""
    if cell is None or cell == "":
        return
    if isinstance(cell, str | Rich):
        text = cell.text if isinstance(cell, Rich) else shown(cell, column)
        target.value = text[:_LONGEST_CELL]
        target.data_type = "s"
        target.quotePrefix = text[:1] in tuple("=+-@\t\r")  # stays text when someone edits the cell
        target.alignment = Alignment(wrap_text=True, vertical="top")
    else:
        digits = column.digits or 0
        number = rounded(cell, column.side, digits)
        target.value = number if digits else int(number)
        target.number_format = "0." + "0" * digits if digits else "0"
        target.alignment = Alignment(vertical="top")
