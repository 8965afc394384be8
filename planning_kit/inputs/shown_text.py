"""Text that someone else wrote, made safe to show: the one rule for all places, a function a place.

Whatever a scenario, a log, a file name or a wrong cell says is shown as it was typed and never acted on: no
markup, no mathematics (JupyterLab and exported pages run MathJax over HTML outputs), no line of its own in an
output of lines, no colours of a terminal, no writing turned around.

Plotly draws titles, labels, bar text and hover labels as SVG, but reads a few HTML tags (``<b>``, ``<br>``,
``<a href>``) and character references: they are shown as typed, too. Tables show text to the letter and
sentences whole (pandas cuts cells).
"""

from __future__ import annotations

import html
import textwrap
import unicodedata
from collections.abc import Iterable
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Self

import pandas as pd

from planning_kit.inputs.table_words import cells_of, head_words, is_number

if TYPE_CHECKING:
    from pandas.io.formats.style import Styler

_JOINERS_THAT_SCRIPTS_NEED = "\u200c\u200d"
# MathJax takes mathematics from one stretch of text and stops at every tag: a mark in a tag of its own begins
# none, and is copied as typed. It begins at "$" or "\" only, in MathJax 2 as in 3.
_MATHS_BROKEN = str.maketrans({"$": "<span>$</span>", "\\": "<span>\\</span>"})


def visible(text: object, kept: str = "") -> str:
    """``text`` with spaces for control characters and line breaks, without marks that turn the writing.

    ``kept``: line breaks that are our own, where no text in them can break a line any more.
    """
    text = str(text)
    if text.isprintable():  # nothing in it is unwanted, as in nearly all texts
        return text
    unwanted = {ord(char): shown for char in set(text).difference(kept)
                if (shown := _instead(char)) is not None}
    return text.translate(unwanted) if unwanted else text


@lru_cache(maxsize=2048)
def _instead(char: str) -> str | None:
    """What is shown for a character that is not; None for one that is."""
    kind = unicodedata.category(char)
    if kind in ("Cc", "Zl", "Zp"):
        return " "
    return "" if kind in ("Cf", "Cs") and char not in _JOINERS_THAT_SCRIPTS_NEED else None


def one_line(text: object) -> str:
    """``text`` without control characters, line breaks, or marks that turn the direction of writing."""
    return " ".join(visible(text).split())


def shortened(text: object, longest: int) -> str:
    """``text`` on one line, cut with an ellipsis when it has more than ``longest`` characters."""
    line = one_line(text)
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "…"


def html_text(text: object) -> str:
    """``text`` as the text of an HTML element (not of an attribute), to the letter."""
    return untypeset(html.escape(visible(text)))


def untypeset(page: str) -> str:
    """HTML of escaped texts, in whose tags stands no "$" or backslash: nothing in it is typeset.

    Without these marks it stays as it is, byte for byte.
    """
    return visible(page, kept="\n").translate(_MATHS_BROKEN)


_REFERENCES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", "$": "&#36;"})


def plotly_text(text: object, longest: int | None = None) -> str:
    """``text`` as plotly shows it literally; cut to ``longest`` characters first when that is given."""
    line = one_line(text) if longest is None else shortened(text, longest)
    return line.translate(_REFERENCES)


def plotly_paragraph(text: object, width: int = 64) -> str:
    """``text`` wrapped to lines of ``width`` characters for a hover label, each shown literally."""
    lines = textwrap.wrap(one_line(text), width, break_long_words=True) or [""]
    return "<br>".join(line.translate(_REFERENCES) for line in lines)


_LEFT, _RIGHT = "left", "right"
_LONGEST_CELL = 50  # characters, as pandas cuts them
_EVERY_ROW = 1_000_000
_UNBROKEN = "; white-space: nowrap"


class ShownTable(pd.DataFrame):
    """A DataFrame in every way, but people see words: heads with units, PET as ``h:mm``, text as typed.

    So is what is selected from it. As text (``print``) it is pandas' own, with the names of the columns.
    """

    _metadata = ["_pet_zero"]  # noqa: RUF012 - pandas' way to hand on to what is selected
    _longest: int | None = _LONGEST_CELL

    @property
    def _constructor(self) -> type[ShownTable]:
        return type(self)

    def __repr__(self) -> str:
        return visible(super().__repr__(), kept="\n")

    def _repr_html_(self) -> str:
        return self._page(pd.get_option("display.max_rows") or _EVERY_ROW)

    def _page(self, most: int) -> str:
        frame = pd.DataFrame(self)
        names = [name for name in frame.index.names if name is not None]
        if names or not pd.api.types.is_integer_dtype(frame.index):
            frame = frame.reset_index(names=names or [""])
        half = most // 2 if len(frame) > most else 0
        rows = pd.concat([frame[:half], frame[-half:]]) if half else frame
        heads, columns = [], []
        for at, name in enumerate(rows.columns):
            values = rows.iloc[:, at]
            words, unit = head_words(name)
            side = _RIGHT if is_number(values) else _LEFT
            heads.append(_cell("th", side, html_text(words) + (f"<br><small>{unit}</small>" if unit else "")))
            columns.append([_cell("td", side, html_text(self._cut(each)))
                            for each in cells_of(name, values, getattr(self, "_pet_zero", None))])
        lines = ["".join(cells) for cells in zip(*columns, strict=True)]
        if half:
            lines.insert(half, _cell("td", _LEFT, f"… {len(frame) - 2 * half} more rows"))
        body = "".join(f"<tr>{line}</tr>\n" for line in lines)
        return (f'<table class="dataframe">\n<thead><tr>{"".join(heads)}</tr></thead>\n'
                f"<tbody>{body}</tbody>\n</table>")

    def _cut(self, text: str) -> str:
        return text if self._longest is None or len(text) <= self._longest else shortened(text, self._longest)

    def told_from(self, pet_zero: datetime) -> Self:
        """The same table, which tells GMT beside PET from now on, unless it has columns of GMT."""
        if not any(str(name).endswith(("_utc", "_gmt")) for name in self.columns):
            object.__setattr__(self, "_pet_zero", pet_zero)
        return self

    def to_html(self, *args: Any, **kwargs: Any) -> Any:
        """As pandas; nothing in the page that it gives is typeset."""
        page: str | None = super().to_html(*args, **kwargs)
        return page and untypeset(page)

    @property
    def style(self) -> Styler:
        """As pandas, but of texts that are HTML already: a Styler escapes nothing unless it is told to."""
        return pd.DataFrame(self.map(_as_html)).rename(index=_as_html, columns=_as_html).style


def _cell(tag: str, side: str, content: str) -> str:
    look = f"text-align: {side}{_UNBROKEN if side == _RIGHT and tag == 'td' else ''}"
    return f'<{tag} style="{look}">{content}</{tag}>'


def _as_html(value: object) -> object:
    return html_text(str(value)) if isinstance(value, (str, list, tuple, dict)) else value


class TextTable(ShownTable):
    """A table whose text cells are shown in full, here and in what is selected from it."""

    _options: tuple[Any, ...] = ("display.max_colwidth", None)
    _longest = None

    def __repr__(self) -> str:
        with pd.option_context(*self._options):
            return super().__repr__()


class WholeTable(TextTable):
    """A table to look things up in: every row is shown, too."""

    _options = (*TextTable._options, "display.max_rows", None)

    def _repr_html_(self) -> str:
        return self._page(_EVERY_ROW)


def facts_html(caption: str, facts: Iterable[tuple[str, str]]) -> str:
    """Name and value a row, as an HTML table with every text to the letter."""
    left = 'style="text-align:left"'
    rows = "".join(f'<tr><th scope="row" {left}>{html_text(name)}</th><td {left}>{html_text(value)}</td></tr>'
                   for name, value in facts)
    return f"<table><caption>{html_text(caption)}</caption>{rows}</table>"
