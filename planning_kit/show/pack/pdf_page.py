"""The look of the PDF's pages: fonts that have the letters, head and foot with caution and stamp, pictures.

Fonts: Roboto (Latin, Greek, Cyrillic), embedded. A character that it does not have is printed as ``?``; the
first page says so, and where it is to be had. (No font with East Asian letters that a registry serves has the
TrueType outlines that can be embedded; one that is not embedded may print nothing at all elsewhere.) A page
counts upward from its foot, a picture downward.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any
from xml.sax.saxutils import escape

from reportlab.graphics import shapes
from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, Flowable, Paragraph

from planning_kit.inputs.shown_text import one_line
from planning_kit.show.pack.content import CAUTION, Area, Box, Label, Line, Picture, Shape, Strokes

FONT, BOLD = "Roboto", "Roboto-Bold"
INK, RULE, GROUND = (HexColor(each) for each in ("#1B1F24", "#C9CDD3", "#F1F2F4"))
MARGIN = 30.0


@cache
def _glyphs() -> frozenset[int]:
    """Registers the fonts; gives the characters that both have."""
    found: list[frozenset[int]] = []
    for name, file in ((FONT, "Roboto-Regular.ttf"), (BOLD, "Roboto-Bold.ttf")):
        font = TTFont(name, str(files("font_roboto") / "files" / file))
        font.stringWidth = lru_cache(100_000)(font.stringWidth)  # the same words again and again
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
        return _Words(escape(self.plain(text)), style(size, is_bold, **look))

    def line(self, text: str, size: float, look: str) -> Paragraph:
        """A line of a `Rich` cell in its look. A box is drawn around its words, a box to tick before them."""
        if "tick" in look:
            return _Ticked(escape(self.plain(text)), style(size, "strong" in look, leftIndent=size * 1.3))
        if look in ("warning", "caution"):
            return self.paragraph(
                text, size, look == "warning", borderWidth=1.6 if look == "warning" else 0.7, borderColor=INK,
                borderPadding=1.5, spaceBefore=3, spaceAfter=3.5, leftIndent=2.5, rightIndent=2.5)
        return self.paragraph(text, size, is_bold=look == "strong")


class _Words(Paragraph):
    """A paragraph that breaks its lines once for a width: a table asks for them again and again."""

    _broken: tuple[float, tuple[float, float]] | None = None

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        if self._broken is None or self._broken[0] != width or not hasattr(self, "blPara"):  # split drops it
            self._broken = width, super().wrap(width, height)
        return self._broken[1]


class _Ticked(_Words):
    """A paragraph with a box to tick at its left."""

    def draw(self) -> None:
        size = self.style.fontSize
        self.canv.setStrokeColor(INK)
        self.canv.setLineWidth(0.7)
        self.canv.rect(0.5, self.height - size * 1.05, size * 0.85, size * 0.85)
        super().draw()


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
            ("FONT", *every, FONT, 1, 1),  # of empty cells: a row is no higher
            ("BOTTOMPADDING", *every, 1.6), ("LEFTPADDING", *every, 2.5), ("RIGHTPADDING", *every, 2.5)]


class Upright(Flowable):
    """A name that stands beside a line in the margin, downward; it takes no height of its row."""

    def __init__(self, text: str, size: float) -> None:
        """``text`` is printable."""
        super().__init__()
        self._text, self._size = text, size

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """No room."""
        return width, 0.0

    def draw(self) -> None:
        """From the top of the cell down."""
        self.canv.saveState()
        self.canv.setFont(FONT, self._size)
        self.canv.setFillColor(INK)
        self.canv.rotate(-90)
        self.canv.drawString(1, self._size * 0.22, self._text)
        self.canv.restoreState()


_SCALES = (1.0, 0.93, 0.86, 0.79, 0.72, 0.65, 0.58)


class Fitted(Flowable):
    """The largest of some forms that fits: on a page of its own, or below at most a third of one."""

    def __init__(self, made: Callable[[float], Flowable], page_height: float) -> None:
        """``made`` makes the form of a scale; ``page_height``: of the room on an empty page."""
        super().__init__()
        self._made, self._page = cache(made), page_height
        self._chosen = self._made(_SCALES[0])

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """What is chosen for this room; more than it, so that a new page is begun."""
        room = self._page if is_well_filled(height, self._page) else height
        for scale in _SCALES:
            self._chosen = self._made(scale)
            size = self._chosen.wrap(width, room)
            if size[1] <= room:
                break
        return size[0], size[1]

    def split(self, width: float, height: float) -> list[Flowable]:
        """Only a form that fits no page is split."""
        fits = self.wrap(width, self._page)[1] <= self._page
        return [] if fits else self._chosen.splitOn(self.canv, width, height)

    def drawOn(self, canvas: Any, x: float, y: float, _sW: float = 0) -> None:  # noqa: N802, N803
        """Draw what is chosen."""
        self._chosen.drawOn(canvas, x, y, _sW)


def is_well_filled(left: float, page_height: float) -> bool:
    """Whether a page with so much room left may end there: more than a third of it is filled."""
    return left < page_height * 0.63


class Room(CondPageBreak):
    """A new page where less than ``height`` is left, but none after a page that is hardly filled."""

    page_height = 0.0  # of the room on an empty page

    def wrap(self, width: float, height: float) -> Any:
        """Nothing, or more than there is."""
        return super().wrap(width, height) if is_well_filled(height, self.page_height) else (width, 0.0)


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


@dataclass(frozen=True)
class Look:
    """Margins of a page in points, and the size of the letters in its foot."""

    margin: float
    top: float
    size: float = 6.8

    def foot_lines(self, width: float, stamp: str) -> list[tuple[str, str]]:
        """Caution and stamp, each broken into lines of a page that is so wide, with their font."""
        return [(line, font) for text, font in ((CAUTION, BOLD), (stamp, FONT))
                for line in simpleSplit(text, font, self.size, width - 2 * self.margin)]

    def foot_on(self, width: float, stamp: str) -> float:
        """The room that the foot takes."""
        return 16 + len(self.foot_lines(width, stamp)) * self.size * 1.2


def numbered(title: str, stamp: str, look: Look, contents: Contents) -> Callable[..., Canvas]:
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
                _head_and_foot(self, title, stamp, look, number, len(self._saved))
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


def _head_and_foot(canvas: Any, title: str, stamp: str, look: Look, number: int, count: int) -> None:
    width, height = canvas._pagesize
    size, lines = max(7.5, look.size), look.foot_lines(width, stamp)
    page, head = f"page {number} of {count}", height - look.top * 2 / 3
    room = width - 2 * look.margin - pdfmetrics.stringWidth(page, FONT, size) - 8
    line = look.foot_on(width, stamp) - 2
    canvas.setStrokeColor(RULE)
    canvas.line(look.margin, line, width - look.margin, line)
    canvas.setFillColor(INK)
    canvas.setFont(BOLD, size)
    canvas.drawString(look.margin, head, (simpleSplit(title, BOLD, size, room) or [""])[0])
    canvas.setFont(FONT, size)
    canvas.drawRightString(width - look.margin, head, page)
    for at, (text, font) in enumerate(lines, start=1):
        canvas.setFont(font, look.size)
        canvas.drawString(look.margin, line - 1 - at * look.size * 1.2, text)


_TALLEST_PICTURE = 468.0


def drawn(picture: Picture, printable: Printable, width: float, share: float = 1.0) -> shapes.Drawing:
    """A picture as reportlab draws it, scaled to ``width``, or to the height that a page has for it."""
    scale = share * min(width / picture.width, _TALLEST_PICTURE / picture.height)
    parts = (_shape(shape, picture.height, printable) for shape in picture.shapes)
    return shapes.Drawing(picture.width * scale, picture.height * scale, *parts,
                          transform=(scale, 0, 0, scale, 0, 0))


def _shape(shape: Shape, height: float, printable: Printable) -> Any:
    """One shape; ``height`` is that of the picture, which counts downward."""
    if isinstance(shape, Label):
        x, y = (0.0, 0.0) if shape.is_upright else (shape.x, height - shape.y)
        text = shapes.String(x, y, printable.plain(shape.text), fontSize=shape.size, textAnchor=shape.anchor,
                             fontName=BOLD if shape.is_bold else FONT, fillColor=HexColor(shape.colour))
        turned = (0, 1, -1, 0, shape.x, height - shape.y)
        return shapes.Group(text, transform=turned) if shape.is_upright else text
    if isinstance(shape, Strokes):
        path = shapes.Path(strokeColor=HexColor(shape.colour), strokeWidth=shape.width, fillColor=None)
        for x, y, to_x, to_y in shape.ends:
            path.moveTo(x, height - y)
            path.lineTo(to_x, height - to_y)
        return path
    if isinstance(shape, Area):
        return shapes.Polygon(_points(shape.points, height), fillColor=HexColor(shape.fill), strokeColor=None)
    if isinstance(shape, Line):
        return shapes.PolyLine(
            _points(shape.points, height), strokeColor=HexColor(shape.colour), strokeWidth=shape.width,
            strokeDashArray=list(shape.dash * (1 + len(shape.dash) % 2)) or None)
    look = {"fillColor": HexColor(shape.fill) if shape.fill else None, "strokeWidth": 0.5,
            "strokeColor": HexColor(shape.stroke) if shape.stroke else None}
    if isinstance(shape, Box):
        return shapes.Rect(shape.x, height - shape.y - shape.height, max(shape.width, 0.3), shape.height,
                           **look)
    look |= {"strokeWidth": 1}
    if shape.corners:
        return shapes.Polygon(_points(shape.corners, height), **look)
    return shapes.Circle(shape.x, height - shape.y, shape.size, **look)


def _points(spots: Iterable[tuple[float, float]], height: float) -> list[float]:
    return [each for x, y in spots for each in (x, height - y)]
