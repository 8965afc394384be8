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
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import pandas as pd

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


_WHOLE = ("display.max_colwidth", None)
_LEFT_CELL = '<td style="text-align: left">'


class ShownTable(pd.DataFrame):
    """A DataFrame in every way, but its text is shown by the one rule of `planning_kit.inputs.shown_text`.

    So is what is selected, grouped or joined from it. Harmless tables look as pandas shows them.
    """

    @property
    def _constructor(self) -> type[ShownTable]:
        return type(self)

    def __repr__(self) -> str:
        return visible(super().__repr__(), kept="\n")

    def _repr_html_(self) -> str | None:
        shown: str | None = super()._repr_html_()  # type: ignore[misc]  # the stubs leave it out
        return shown and untypeset(shown)

    def to_html(self, *args: Any, **kwargs: Any) -> Any:
        """As pandas; nothing in the page that it gives is typeset."""
        page: str | None = super().to_html(*args, **kwargs)
        return page and untypeset(page)

    @property
    def style(self) -> Styler:
        """As pandas, but of texts that are HTML already: a Styler escapes nothing unless it is told to."""
        return pd.DataFrame(self.map(_as_html)).rename(index=_as_html, columns=_as_html).style


def _as_html(value: object) -> object:
    return html_text(str(value)) if isinstance(value, (str, list, tuple, dict)) else value


class TextTable(ShownTable):
    """A table whose text cells are shown in full, here and in what is selected from it."""

    _options: tuple[Any, ...] = _WHOLE

    def __repr__(self) -> str:
        with pd.option_context(*self._options):
            return super().__repr__()

    def _repr_html_(self) -> str | None:
        with pd.option_context(*self._options):
            shown = super()._repr_html_()
        return shown and shown.replace("<td>", _LEFT_CELL)  # a "<td>" in a text would be escaped


class WholeTable(TextTable):
    """A table to look things up in: every row is shown, too."""

    _options = (*_WHOLE, "display.max_rows", None)


def facts_html(caption: str, facts: Iterable[tuple[str, str]]) -> str:
    """Name and value a row, as an HTML table with every text to the letter."""
    left = 'style="text-align:left"'
    rows = "".join(f'<tr><th scope="row" {left}>{html_text(name)}</th><td {left}>{html_text(value)}</td></tr>'
                   for name, value in facts)
    return f"<table><caption>{html_text(caption)}</caption>{rows}</table>"
