"""Text that someone else wrote, made safe to show: the one rule for all places, a function a place.

Whatever a scenario, a log, a file name or a wrong cell says is shown as it was typed and never acted on: no
markup, no mathematics (JupyterLab and exported pages run MathJax over HTML outputs), no line of its own in an
output of lines, no colours of a terminal, no writing turned around. What plotly reads besides is
`planning_kit.show.escape`'s business.
"""

from __future__ import annotations

import html
import unicodedata
from functools import lru_cache

_JOINERS_THAT_SCRIPTS_NEED = "\u200c\u200d"
# MathJax takes mathematics from one stretch of text and stops at every tag: a mark in a tag of its own begins
# none, and is copied as typed. It begins at "$" or "\" only, in MathJax 2 as in 3.
_MATHS_BROKEN = str.maketrans({"$": "<span>$</span>", "\\": "<span>\\</span>"})


def visible(text: object) -> str:
    """``text`` with spaces for control characters and line breaks, without marks that turn the writing."""
    return _seen(str(text))


def visible_lines(text: str) -> str:
    """Our own lines, each `visible`: for text whose cells cannot break them any more."""
    return _seen(text, kept="\n")


def _seen(text: str, kept: str = "") -> str:
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
    return visible_lines(page).translate(_MATHS_BROKEN)
