"""The look of the PDF's pages: fonts that have the letters, head and foot with caution and stamp, pictures.

Fonts: Roboto (Latin, Greek, Cyrillic), embedded. A character that it does not have is printed as ``?``; the
first page says so, and where it is to be had. (No font with East Asian letters that a registry serves has the
TrueType outlines that can be embedded; one that is not embedded may print nothing at all elsewhere.) A page
counts upward from its foot, a picture downward.
"""

from collections.abc import Callable, Iterable, Sequence
from functools import cache
from importlib.resources import files
from typing import Any
from xml.sax.saxutils import escape

from reportlab.graphics import shapes
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Paragraph

from planning_kit.inputs.shown_text import one_line
from planning_kit.show.pack.content import CAUTION, Area, Box, Label, Line, Picture, Shape

FONT, BOLD = "Roboto", "Roboto-Bold"
INK, QUIET, RULE, GROUND = (HexColor(each) for each in ("#1B1F24", "#4B545E", "#C9CDD3", "#F1F2F4"))
MARGIN = 30.0


@cache
def _glyphs() -> frozenset[int]:
    """Registers the fonts; gives the characters that both have."""
    found: list[frozenset[int]] = []
    for name, file in ((FONT, "Roboto-Regular.ttf"), (BOLD, "Roboto-Bold.ttf")):
        font = TTFont(name, str(files("font_roboto") / "files" / file))
        pdfmetrics.registerFont(font)
        found.append(frozenset(font.face.charToGlyph))
    pdfmetrics.registerFontFamily(FONT, normal=FONT, bold=BOLD, italic=FONT, boldItalic=BOLD)
    return found[0] & found[1]


class Printable:
    """Makes texts printable, and counts the characters that the font does not have."""

    def __init__(self) -> None:
        """Nothing missed yet."""
        self.missing = 0
        self._glyphs = _glyphs()

    def plain(self, text: str) -> str:
        """One line in which every character can be printed."""
        line = one_line(text)
        self.missing += sum(ord(char) not in self._glyphs for char in line)
        return "".join(char if ord(char) in self._glyphs else "?" for char in line)

    def paragraph(self, text: str, size: float, is_bold: bool = False, **look: Any) -> Paragraph:
        """The same as a paragraph, which reads a little markup: none of it comes from the text."""
        return Paragraph(escape(self.plain(text)), style(size, is_bold, **look))


@cache
def style(size: float, is_bold: bool = False, **look: Any) -> ParagraphStyle:
    """A paragraph style; long words are broken rather than run over the edge."""
    _glyphs()
    look = {"fontName": BOLD if is_bold else FONT, "fontSize": size, "leading": size * 1.2, "textColor": INK,
            "splitLongWords": 1} | look
    return ParagraphStyle(f"{size}{is_bold}", **look)


def table_look(size: float) -> list[tuple[Any, ...]]:
    """The look of a table whose letters have this size, as reportlab's commands."""
    every = (0, 0), (-1, -1)
    return [("GRID", *every, 0.4, RULE), ("BACKGROUND", (0, 0), (-1, 0), GROUND), ("VALIGN", *every, "TOP"),
            ("TOPPADDING", *every, 1.2),
            ("FONT", *every, FONT, size, size * 1.2),  # of empty cells: a row is no higher
            ("BOTTOMPADDING", *every, 1.6), ("LEFTPADDING", *every, 2.5), ("RIGHTPADDING", *every, 2.5)]


_CONTENTS_COLUMNS, _CONTENTS_LINE = 3, 11.0


class Contents(Flowable):
    """Room for the sections with their pages, which are noted while the pages are made.

    The list is printed last, when all pages are known. ``at`` is where it begins on the first page: x, y of
    its upper left corner, points.
    """

    def __init__(self, count: int) -> None:
        """Room for ``count`` sections."""
        super().__init__()
        self.entries: list[tuple[str, int]] = []
        self.at: tuple[float, float] | None = None
        self.needed = _CONTENTS_LINE * -(-count // _CONTENTS_COLUMNS) + 4

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """As wide as there is room."""
        return width, self.needed

    def draw(self) -> None:
        """Note where the list will begin."""
        x, y = self.canv.absolutePosition(0, 0)
        self.at = (x, y + self.needed)


class Heading(Paragraph):
    """A section's title: an entry of the contents and of the reader's list of bookmarks."""

    def __init__(self, title: str, contents: Contents) -> None:
        """``title`` is printable."""
        super().__init__(escape(title), style(13, is_bold=True, spaceAfter=4))
        self.title, self.contents = title, contents

    def draw(self) -> None:
        """Draw it and note its page."""
        self.contents.entries.append((self.title, self.canv.getPageNumber()))
        super().draw()


def numbered(title: str, stamp: str, contents: Contents) -> Callable[..., Canvas]:
    """A canvas class whose pages carry title, caution, stamp and ``page n of m``, the first the contents."""

    class Numbered(Canvas):
        def __init__(self, *args: Any, **kwargs: Any) -> None:
            super().__init__(*args, **kwargs)
            self._saved: list[dict[str, Any]] = []

        def showPage(self) -> None:  # noqa: N802 - reportlab's name
            self._saved.append(dict(self.__dict__))
            self._startPage()

        def save(self) -> None:
            for number, state in enumerate(self._saved, start=1):
                self.__dict__.update(state)
                _head_and_foot(self, title, stamp, number, len(self._saved))
                if number == 1 and contents.at is not None:
                    _print_contents(self, contents.entries, *contents.at)
                for words in (words for words, page in contents.entries if page == number):
                    self.bookmarkPage(words)  # here, as only now the page itself is made
                    self.addOutlineEntry(words, words)
                super().showPage()
            super().save()

    return Numbered


def _print_contents(canvas: Any, entries: Sequence[tuple[str, int]], left: float, top: float) -> None:
    lines = -(-len(entries) // _CONTENTS_COLUMNS)
    width = (canvas._pagesize[0] - left - MARGIN) / _CONTENTS_COLUMNS
    canvas.setFillColor(INK)
    canvas.setFont(FONT, 8)
    for number, (words, page) in enumerate(entries):
        column, line = divmod(number, lines)
        x, y = left + column * width, top - _CONTENTS_LINE * (line + 1) + 2
        canvas.drawString(x, y, words)
        canvas.drawRightString(x + width - 24, y, f"page {page}")


def _head_and_foot(canvas: Any, title: str, stamp: str, number: int, count: int) -> None:
    width, height = canvas._pagesize
    canvas.setStrokeColor(RULE)
    canvas.line(MARGIN, 31, width - MARGIN, 31)
    for text, y, font, size, ink in ((title[: int((width - 180) / 4.2)], height - 20, BOLD, 7.5, INK),
                                     (CAUTION, 22, BOLD, 6.8, INK), (stamp, 13, FONT, 6.8, QUIET)):
        canvas.setFillColor(ink)
        canvas.setFont(font, size)
        canvas.drawString(MARGIN, y, text)
    canvas.setFillColor(INK)
    canvas.setFont(FONT, 7.5)
    canvas.drawRightString(width - MARGIN, height - 20, f"page {number} of {count}")


_TALLEST_PICTURE = 430.0


def drawn(picture: Picture, printable: Printable, width: float) -> shapes.Drawing:
    """A picture as reportlab draws it, scaled to ``width``, or to the height that a page has for it."""
    scale = min(width / picture.width, _TALLEST_PICTURE / picture.height)
    parts = (_shape(shape, picture.height, printable) for shape in picture.shapes)
    return shapes.Drawing(picture.width * scale, picture.height * scale, *parts,
                          transform=(scale, 0, 0, scale, 0, 0))


def _shape(shape: Shape, height: float, printable: Printable) -> Any:
    """One shape; ``height`` is that of the picture, which counts downward."""
    if isinstance(shape, Label):
        return shapes.String(shape.x, height - shape.y, printable.plain(shape.text), fontSize=shape.size,
                             fontName=BOLD if shape.is_bold else FONT, fillColor=HexColor(shape.colour),
                             textAnchor=shape.anchor)
    if isinstance(shape, Area):
        return shapes.Polygon(_points(shape.points, height), fillColor=HexColor(shape.fill), strokeColor=None)
    if isinstance(shape, Line):
        return shapes.PolyLine(
            _points(shape.points, height), strokeColor=HexColor(shape.colour), strokeWidth=shape.width,
            strokeDashArray=[shape.dash] * 2 if shape.dash else None)
    look = {"fillColor": HexColor(shape.fill or "#FFFFFF"), "strokeWidth": 0.5,
            "strokeColor": HexColor(shape.stroke) if shape.stroke else None}
    if isinstance(shape, Box):
        return shapes.Rect(shape.x, height - shape.y - shape.height, max(shape.width, 0.3), shape.height,
                           **look)
    look |= {"strokeWidth": 1, "fillColor": look["fillColor"] if shape.fill else None}
    if shape.corners:
        return shapes.Polygon(_points(shape.corners, height), **look)
    return shapes.Circle(shape.x, height - shape.y, shape.size, **look)


def _points(spots: Iterable[tuple[float, float]], height: float) -> list[float]:
    return [each for x, y in spots for each in (x, height - y)]
