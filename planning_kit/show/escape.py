"""Text that came from a scenario, made safe for the places that read a little markup.

Plotly draws titles, labels, bar text and hover labels as SVG, but reads a few HTML tags (``<b>``, ``<br>``,
``<a href>``), character references and, where MathJax is on the page, TeX between dollar signs. All of that
must be shown as it was typed, never acted on.
"""

from __future__ import annotations

import textwrap
import unicodedata
from functools import lru_cache

_REFERENCES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", "$": "&#36;"})
_MARKS_IN_FORMAT_CLASS_KEPT = "\u200c\u200d"  # the joiners that some scripts need


def one_line(text: object) -> str:
    """``text`` without control characters, line breaks, or marks that turn the direction of writing."""
    return _one_line(str(text))


@lru_cache(maxsize=2048)
def _one_line(text: str) -> str:
    if text.isascii() and text.isprintable():
        return " ".join(text.split())
    kept = []
    for char in text:
        kind = unicodedata.category(char)
        if kind in ("Cc", "Zl", "Zp"):
            kept.append(" ")
        elif (kind != "Cf" and kind != "Cs") or char in _MARKS_IN_FORMAT_CLASS_KEPT:
            kept.append(char)
    return " ".join("".join(kept).split())


def shortened(text: object, longest: int) -> str:
    """``text`` on one line, cut with an ellipsis when it has more than ``longest`` characters."""
    line = one_line(text)
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "…"


def plotly_text(text: object, longest: int | None = None) -> str:
    """``text`` as plotly shows it literally; cut to ``longest`` characters first when that is given."""
    line = one_line(text) if longest is None else shortened(text, longest)
    return line.translate(_REFERENCES)


def plotly_paragraph(text: object, width: int = 64) -> str:
    """``text`` wrapped to lines of ``width`` characters for a hover label, each shown literally."""
    lines = textwrap.wrap(one_line(text), width, break_long_words=True) or [""]
    return "<br>".join(line.translate(_REFERENCES) for line in lines)
