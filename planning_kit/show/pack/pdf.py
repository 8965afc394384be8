"""The pack as a PDF on landscape A4, and the pocket sheets on one portrait page each."""

import io
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cache, partial
from typing import Any

from reportlab.lib.enums import TA_LEFT, TA_RIGHT
from reportlab.lib.pagesizes import A4, landscape
from reportlab.platypus import CondPageBreak, Flowable, Paragraph, SimpleDocTemplate, Spacer, TableStyle
from reportlab.platypus import PageBreak as Break
from reportlab.platypus import Table as AnyGrid

from planning_kit.show.pack.content import Cell, Column, Pack, Picture, Rich, Section, Table, shown
from planning_kit.show.pack.pdf_page import MARGIN, Contents, Heading, Printable, drawn, numbered, table_look

_PAGE = landscape(A4)
_TABLE_SIZE = 6.8
_SHARE_PT = 92.0  # widest that one share of a table is made: narrow tables do not run across the page
_POCKET_SIZES = (8.2, 7.8, 7.4, 7.0, 6.6, 6.2, 5.8, 5.5)  # points, the largest that fits one page


class Grid(AnyGrid):
    """A table at the left margin, also where a page break splits it."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """As reportlab's, but for where it stands."""
        super().__init__(*args, **kwargs)
        self.hAlign = "LEFT"


def pdf_bytes(pack: Pack) -> bytes:
    """The whole pack. The same content gives the same bytes."""
    printable, contents = Printable(), Contents(len(pack.sections))
    story: list[Flowable] = [*_front(pack, printable), contents]
    for number, section in enumerate(pack.sections, start=1):
        story += [*([Break()] if number > 1 else []), *_section(section, number, printable, contents)]
    if printable.missing:
        story.insert(2, _missing(printable, "the HTML page has them: print that one", 8))
    return _counted(story, pack, printable, _PAGE, contents)[0]


def pocket_bytes(pack: Pack, section: Section) -> bytes:
    """One crew member's sheet on one page: the fullest form that fits, in the largest type that fits."""
    def printed(form: Section, size: float) -> bytes | None:
        printable = Printable()
        made, pages = _counted(_pocket(form, printable, size), pack, printable, A4)
        return made if pages == 1 else None

    for form in (section,):
        smallest = printed(form, _POCKET_SIZES[-1])
        if smallest is not None:
            larger = _first_that_fits([partial(printed, form, size) for size in _POCKET_SIZES[:-1]])
            return larger or smallest
    cuts = [partial(printed, _cut(form, rows), _POCKET_SIZES[-1])
            for rows in range(len(_rows(form)) - 1, -1, -1)]
    found = _first_that_fits(cuts)
    assert found is not None, "a sheet without rows fits a page"
    return found


def _first_that_fits(tries: Sequence[Callable[[], bytes | None]]) -> bytes | None:
    """What the first of ``tries`` that fits made; what comes after one that fits, fits too."""
    made = cache(lambda number: tries[number]())
    first = bisect_left(range(len(tries)), True, key=lambda number: made(number) is not None)
    return made(first) if first < len(tries) else None


def _rows(sheet: Section) -> tuple[tuple[Cell, ...], ...]:
    return next(block.rows for block in sheet.blocks if isinstance(block, Table))


def _cut(sheet: Section, count: int) -> Section:
    """A sheet with its first rows only; it says from when on the rest is elsewhere."""
    rows = _rows(sheet)
    words = (f"NOT ALL: the {len(rows) - count} rows from PET {rows[count][0]} on do not fit; they are in "
             "the detailed procedure of the review pack.")
    blocks = tuple(replace(block, rows=block.rows[:count]) if isinstance(block, Table) else block
                   for block in sheet.blocks)
    return replace(sheet, words=(*sheet.words, words), blocks=blocks)


def _width(page: tuple[float, float]) -> float:
    """Of a table: what the frame leaves inside its padding of 6 points a side."""
    return page[0] - 2 * MARGIN - 12


def _front(pack: Pack, printable: Printable) -> list[Flowable]:
    grid = Grid([[printable.paragraph(name, 8, is_bold=True), printable.paragraph(value, 8)]
                 for name, value in pack.facts], colWidths=[130, _width(_PAGE) - 130])
    grid.setStyle(TableStyle([("VALIGN", (0, 0), (-1, -1), "TOP"), ("TOPPADDING", (0, 0), (-1, -1), 1.5),
                              ("BOTTOMPADDING", (0, 0), (-1, -1), 1.5),
                              ("LEFTPADDING", (0, 0), (-1, -1), 0)]))
    station = f"{pack.station} · " if pack.station else ""
    return [printable.paragraph(pack.title, 17, is_bold=True, spaceAfter=3),
            printable.paragraph(f"{station}review pack", 10, spaceAfter=6), grid, Spacer(0, 8)]


def _section(section: Section, number: int, printable: Printable, contents: Contents) -> list[Flowable]:
    story: list[Flowable] = [Heading(printable.plain(f"{number}. {section.title}"), contents)]
    story += [printable.paragraph(words, 8, spaceAfter=3) for words in section.words]
    for block in section.blocks:
        story += ([drawn(block, printable, _width(_PAGE)), Spacer(0, 8)] if isinstance(block, Picture) else
                  _table(block, printable, _width(_PAGE), _TABLE_SIZE))
    return story


def _pocket(section: Section, printable: Printable, size: float) -> list[Flowable]:
    story: list[Flowable] = [printable.paragraph(section.title, size + 5, is_bold=True)]
    story += [printable.paragraph(words, size) for words in section.words]
    for block in section.blocks:
        assert isinstance(block, Table)
        story += _table(block, printable, _width(A4), size)
    if printable.missing:
        story.insert(1, _missing(printable, f"{section.title} in review.html has them", size))
    return story


def _missing(printable: Printable, where: str, size: float) -> Paragraph:
    note = (f"{printable.missing} characters that the font of this PDF does not have are printed as ?; "
            f"{where}.")
    return printable.paragraph(note, size, is_bold=True, spaceAfter=4)


def _table(table: Table, printable: Printable, width: float, size: float) -> list[Flowable]:
    caption = printable.paragraph(table.caption, size + 1.6, is_bold=True, spaceBefore=6, spaceAfter=2)
    room = CondPageBreak(7 * size)  # a caption is not left alone at the foot of a page
    if not table.rows:
        return [room, caption, printable.paragraph(table.empty, size)]
    rows = [[printable.paragraph(column.label, size, is_bold=True, alignment=_alignment(column))
             for column in table.columns]]
    rows += [[_cell(cell, column, printable, size) for cell, column in zip(row, table.columns, strict=True)]
             for row in table.rows]
    whole = sum(column.share for column in table.columns)
    width = min(width, whole * _SHARE_PT)
    grid = Grid(rows, colWidths=[width * column.share / whole for column in table.columns], repeatRows=1,
                splitInRow=1)
    spans = [("SPAN", (1, number + 1), (2, number + 1)) for number in sorted(table.joined)]
    for number in table.joined:
        rows[number + 1][2] = ""
    grid.setStyle(TableStyle([*table_look(size), *spans]))
    return [room, caption, grid]


def _alignment(column: Column) -> int:
    return int(TA_LEFT if column.digits is None else TA_RIGHT)


def _cell(cell: Cell, column: Column, printable: Printable, size: float) -> Any:
    if cell is None or cell == "":
        return ""
    if isinstance(cell, Rich):
        return [printable.paragraph(line, size, is_bold=look == "strong")
                for line, look in cell.looked]
    return printable.paragraph(shown(cell, column), size, alignment=_alignment(column))


def _counted(story: Sequence[Flowable], pack: Pack, printable: Printable, page: tuple[float, float],
             contents: Contents | None = None) -> tuple[bytes, int]:
    out = io.BytesIO()
    title, stamp = printable.plain(pack.title), printable.plain(pack.stamp)
    document = SimpleDocTemplate(
        out, pagesize=page, leftMargin=MARGIN, rightMargin=MARGIN, topMargin=30, bottomMargin=38, invariant=1,
        title=title, author="", subject=stamp, creator="planning_kit", lang="en")
    document.build(list(story), canvasmaker=numbered(title, stamp, contents or Contents(0)))
    return out.getvalue(), document.page
