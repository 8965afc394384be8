"""The pack as a PDF on landscape A4, and its cards on A6 and A5.

Sections follow each other without a break, so that no page but the last is less than a third full: what needs
a page of its own goes smaller where it stands below little.
"""

import io
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from reportlab.lib.enums import TA_LEFT, TA_RIGHT
from reportlab.lib.pagesizes import A4, A5, A6, landscape
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Spacer, TableStyle
from reportlab.platypus import Table as AnyGrid

from planning_kit.inputs.shown_text import shortened
from planning_kit.show.pack.content import SHARE_PT, Cell, Column, Pack, Picture, Rich, Section, Table, shown
from planning_kit.show.pack.pdf_page import (
    MARGIN,
    Contents,
    Fitted,
    Heading,
    Look,
    Printable,
    Room,
    Upright,
    drawn,
    is_well_filled,
    numbered,
    table_look,
)

_PAGE = landscape(A4)
CARD_PT = 9.0  # of every letter on a card
CARDS = {"A6": A6, "A5": A5}
_REVIEW, _CARD = Look(MARGIN, 30), Look(14, 26, CARD_PT)


class Grid(AnyGrid):
    """A table at the left margin, also where a page break splits it; a row is split only where it must be."""

    page_height = 0.0  # of the room on an empty page

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        """As reportlab's, but for where it stands."""
        super().__init__(*args, **kwargs)
        self.hAlign = "LEFT"

    def split(self, width: float, height: float) -> list[Flowable]:
        """Between rows; within one where that would leave a page hardly filled."""
        parts: list[Flowable] = []
        for self.splitInRow in (0, 1):
            parts = super().split(width, height)
            rows = parts[0]._nrows if parts else 0
            if is_well_filled(height - sum(self._rowHeights[:rows]), self.page_height):
                break
        for part in parts:
            part.page_height = self.page_height
        return parts


def pdf_bytes(pack: Pack) -> bytes:
    """The whole pack. The same content gives the same bytes."""
    printable, contents = Printable(), Contents(len(pack.sections))
    story: list[Flowable] = [*_front(pack, printable), contents]
    for number, section in enumerate(pack.sections, start=1):
        heading = Heading(printable.plain(f"{number}. {section.title}"), contents)
        story += _section(section, heading, printable)
    if printable.missing:
        story.insert(2, _missing(printable, "the HTML page has them: print that one", 8))
    return _made(story, pack, printable, _PAGE, _REVIEW, contents)


def card_bytes(pack: Pack, section: Section, size: str) -> bytes:
    """A section as cards of a size of ``CARDS``, in letters of ``CARD_PT`` and more."""
    printable, page = Printable(), CARDS[size]
    story: list[Flowable] = [printable.paragraph(words, CARD_PT, spaceAfter=2) for words in section.words]
    for block in section.blocks:
        assert isinstance(block, Table)
        height = page[1] - _CARD.top - _CARD.foot_on(page[0], pack.stamp) - 12
        story += _table(block, printable, page[0] - 2 * _CARD.margin, CARD_PT, height)
    if printable.missing:
        story.insert(0, _missing(printable, f"{section.title} in review.html has them", CARD_PT))
    return _made(story, replace(pack, title=f"{section.title} · {pack.title}"), printable, page, _CARD, None)


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


_ROOM = _PAGE[1] - _REVIEW.top - 38 - 12  # the height of an empty page with a foot of three lines


def _section(section: Section, heading: Flowable, printable: Printable) -> Iterator[Flowable]:
    head = [heading, *(printable.paragraph(words, 8, spaceAfter=3) for words in section.words)]
    blocks = [list(_block(block, printable)) for block in section.blocks]
    needed = sum(each.wrap(_width(_PAGE), _ROOM)[1] + 4 for each in head) + 16
    more = 0.0 if not blocks else blocks[0][0].height if isinstance(blocks[0][0], Room) else next(
        each.wrap(_width(_PAGE), _ROOM)[1] for each in blocks[0] if isinstance(each, Fitted))
    yield from (_room(min(needed + more, _ROOM), _ROOM), Spacer(0, 10), *head)
    for block in blocks:
        yield from block


def _room(needed: float, page_height: float) -> Room:
    room = Room(needed)
    room.page_height = page_height
    return room


def _block(block: Table | Picture, printable: Printable) -> Iterator[Flowable]:
    if isinstance(block, Picture):
        yield from (Fitted(partial(drawn, block, printable, _width(_PAGE)), _ROOM), Spacer(0, 8))
    elif block.is_page:
        yield _table(block, printable, _width(_PAGE), block.size, _ROOM)[1]
        yield Fitted(lambda scale: _table(block, printable, _width(_PAGE), block.size * scale, _ROOM)[-1],
                     _ROOM - 46)
    else:
        yield from _table(block, printable, _width(_PAGE), block.size, _ROOM)


def _missing(printable: Printable, where: str, size: float) -> Paragraph:
    note = (f"{printable.missing} characters that the font of this PDF does not have are printed as ?; "
            f"{where}.")
    return printable.paragraph(note, size, is_bold=True, spaceAfter=4)


def _table(table: Table, printable: Printable, width: float, size: float,
           page_height: float) -> list[Flowable]:
    """Room where a page has a height, caption, rows."""
    caption = printable.paragraph(table.caption, size + 1.6, is_bold=True, spaceBefore=6, spaceAfter=2)
    if not table.rows:
        return [_room(10 * size, page_height), caption, printable.paragraph(table.empty, size)]
    width = min(width, table.width_pt)
    widths = [width * SHARE_PT * column.share / table.width_pt for column in table.columns]
    rows = [[printable.paragraph(column.label, size, is_bold=True, alignment=_alignment(column))
             for column in table.columns]]
    rows += [[_cell(cell, column, printable, size) if not column.is_line else
              Upright(shortened(printable.plain(name), 12), size)
              if (name := table.line_name(at, number)) else ""
              for number, (cell, column) in enumerate(zip(row, table.columns, strict=True))]
             for at, row in enumerate(table.rows)]
    look, first = table_look(size), table.first_joined
    for number in table.joined:
        rows[number + 1][first + 1] = ""
        look.append(("SPAN", (first, number + 1), (first + 1, number + 1)))
    look += _margin_look(table)
    head = AnyGrid(rows[:2], colWidths=widths, style=table_look(size)).wrap(width, page_height)[1]
    grid = Grid(rows, colWidths=widths, repeatRows=1)
    grid.page_height = page_height
    grid.setStyle(TableStyle(look))
    room = _room(min(head + 4 * size, page_height), page_height)  # a caption is not left alone at the foot
    return [room, caption, grid]


def _margin_look(table: Table) -> Iterator[tuple[Any, ...]]:
    """Lines in the margin over the rows that have something in their column; their head is one cell."""
    lines = [number for number, column in enumerate(table.columns) if column.is_line]
    if lines:
        yield "SPAN", (lines[0], 0), (lines[-1], 0)
        yield "INNERGRID", (lines[0], 1), (lines[-1], -1), 0.4, "white"
        yield "LEFTPADDING", (lines[0], 1), (lines[-1], -1), 3
    for number in lines:
        for at, row in enumerate(table.rows, start=1):
            if row[number]:
                yield "LINEBEFORE", (number, at), (number, at), 2.4, "black"


def _alignment(column: Column) -> int:
    return int(TA_LEFT if column.digits is None else TA_RIGHT)


def _cell(cell: Cell, column: Column, printable: Printable, size: float) -> Any:
    if cell is None or cell == "":
        return ""
    if isinstance(cell, Rich):
        return [printable.line(line, size, look) for line, look in cell.looked]
    return printable.paragraph(shown(cell, column), size, alignment=_alignment(column))


def _made(story: Sequence[Flowable], pack: Pack, printable: Printable, page: tuple[float, float], look: Look,
          contents: Contents | None) -> bytes:
    out = io.BytesIO()
    title, stamp = printable.plain(pack.title), printable.plain(pack.stamp)
    frame = partial(numbered, title, stamp, look, contents or Contents(0))
    document = SimpleDocTemplate(
        out, pagesize=page, leftMargin=look.margin, rightMargin=look.margin, topMargin=look.top,
        bottomMargin=look.foot_on(page[0], stamp), invariant=1,
        title=title, author="", subject=stamp, creator="planning_kit", lang="en")
    document.build(list(story), canvasmaker=frame())
    return out.getvalue()
