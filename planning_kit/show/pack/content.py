"""What a review pack holds, apart from how it looks: sections of words, tables and pictures.

Every text is plain and untrusted; each writer escapes it for its own format. Numbers stay numbers.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from planning_kit.inputs.format import CAUTION as CAUTION
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import Side, number_label, pet_label


@dataclass(frozen=True)
class Rich:
    """A cell of several lines; those numbered in ``strong`` are shown so (the first, unless it says else)."""

    lines: tuple[str, ...]
    strong: frozenset[int] = frozenset({0})

    @property
    def text(self) -> str:
        """All lines as one text, for formats that know no paragraphs in a cell."""
        return "\n".join(one_line(line) for line in self.lines)


Cell = str | float | int | Rich | None
Row = Mapping[Any, Any]


@dataclass(frozen=True)
class Column:
    """A column: its label, what is in it, its share of the width, how many digits numbers have (None: text).

    ``value`` names a column of the rows that `table_of` is given, or makes the value of a row; ``side`` is
    the one that its numbers are rounded to.
    """

    label: str
    value: str | Callable[[Row], object] = ""
    share: float = 1.0
    digits: int | None = None
    side: Side = "nearest"


@dataclass(frozen=True)
class Table:
    """A table with a caption; ``sheet`` names its sheet in the XLSX; ``empty`` stands where no row does.

    ``joined`` are rows whose second and third cell are one (a step of both crew members); ``more`` are rows
    that only the sheet has.
    """

    sheet: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    empty: str = "None."
    joined: frozenset[int] = frozenset()
    more: tuple[tuple[Cell, ...], ...] = ()


@dataclass(frozen=True)
class Box:
    """A rectangle of a picture; points from the top left."""

    x: float
    y: float
    width: float
    height: float
    fill: str
    stroke: str = ""


@dataclass(frozen=True)
class Line:
    """A line through points of a picture; ``dash`` is how long its dashes and gaps are, 0 for none."""

    points: tuple[tuple[float, float], ...]
    colour: str
    width: float
    dash: float = 0.0


@dataclass(frozen=True)
class Mark:
    """A sign of a picture around its middle: ``disc``, ``diamond``, ``square`` or ``triangle``.

    ``size`` is its half width; an empty ``fill`` leaves it open.
    """

    x: float
    y: float
    size: float
    shape: str
    fill: str
    stroke: str

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """The corners of a sign that has some, from the top left."""
        x, y, s = self.x, self.y, self.size
        return {"square": ((x - s, y - s), (x + s, y - s), (x + s, y + s), (x - s, y + s)),
                "diamond": ((x, y - s), (x + s, y), (x, y + s), (x - s, y)),
                "triangle": ((x, y - s), (x + s, y + s), (x - s, y + s))}.get(self.shape, ())


@dataclass(frozen=True)
class Label:
    """A text of a picture; ``x``, ``y`` of its baseline; ``anchor`` start, middle or end."""

    x: float
    y: float
    text: str
    size: float
    colour: str
    anchor: str = "start"
    is_bold: bool = False


@dataclass(frozen=True)
class Area:
    """A filled polygon of a picture, without an outline."""

    points: tuple[tuple[float, float], ...]
    fill: str


Shape = Box | Line | Mark | Label | Area


@dataclass(frozen=True)
class Picture:
    """A drawing in points, with what it shows in words."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    alt: str


@dataclass(frozen=True)
class Section:
    """A numbered part of the pack; ``shorter`` are forms of it with less in them, the fullest first."""

    key: str
    title: str
    words: tuple[str, ...] = ()
    blocks: tuple[Table | Picture, ...] = ()
    shorter: tuple[Section, ...] = ()


@dataclass(frozen=True)
class Pack:
    """Everything that is written. ``facts`` head the first page, ``stamp`` is on every page."""

    title: str
    station: str
    facts: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]
    stamp: str
    pockets: tuple[Section, ...] = field(default=())


def table_of(rows: pd.DataFrame | Iterable[Row], sheet: str, caption: str, *columns: Column,
             empty: str = "None.") -> Table:
    """A `Table` of what the columns say of each row; numbers that are not known become empty."""
    each = rows.to_dict("records") if isinstance(rows, pd.DataFrame) else rows
    return Table(sheet, caption, columns, tuple(
        tuple(cell_of(row[column.value] if isinstance(column.value, str) else column.value(row))
              for column in columns) for row in each), empty)


def pet(name: str, side: Side = "nearest") -> Callable[[Row], str]:
    """A minute of PET as ``h:mm``, rounded to ``side``."""
    return lambda row: pet_label(row[name], side)


def percent(name: str, unknown: str = "") -> Callable[[Row], object]:
    """A share in percent; ``unknown`` in words where there is none."""
    return lambda row: (unknown or None) if math.isnan(row[name]) else 100 * float(row[name])


def cell_of(value: Any) -> Cell:
    """A value of a DataFrame as a cell."""
    if value is None or isinstance(value, Rich | str):
        return value
    number = float(value)
    return number if math.isfinite(number) else None


NEVER = "never"


def slack_cell(slack_min: float) -> Cell:
    """A slack as a cell: ``never`` where no start at all is in time, empty where nothing bounds it."""
    return NEVER if slack_min == -math.inf else cell_of(slack_min)


def shown(cell: Cell, column: Column) -> str:
    """A cell as text on one line (a `Rich` cell: on several)."""
    if cell is None:
        return ""
    if isinstance(cell, Rich):
        return cell.text
    return one_line(cell) if isinstance(cell, str) else number_label(cell, column.side, column.digits or 0)
