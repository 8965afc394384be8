"""Text that came from a scenario, made safe for the places that read a little markup.

Plotly draws titles, labels, bar text and hover labels as SVG, but reads a few HTML tags (``<b>``, ``<br>``,
``<a href>``), character references and, where MathJax is on the page, TeX between dollar signs. All of that
must be shown as it was typed, never acted on. What holds for every place is `planning_kit.inputs.shown_text`.
"""

from __future__ import annotations

import textwrap

from planning_kit.inputs.shown_text import one_line, shortened

__all__ = ["one_line", "plotly_paragraph", "plotly_text", "shortened"]

_REFERENCES = str.maketrans({"&": "&amp;", "<": "&lt;", ">": "&gt;", "$": "&#36;"})


def plotly_text(text: object, longest: int | None = None) -> str:
    """``text`` as plotly shows it literally; cut to ``longest`` characters first when that is given."""
    line = one_line(text) if longest is None else shortened(text, longest)
    return line.translate(_REFERENCES)


def plotly_paragraph(text: object, width: int = 64) -> str:
    """``text`` wrapped to lines of ``width`` characters for a hover label, each shown literally."""
    lines = textwrap.wrap(one_line(text), width, break_long_words=True) or [""]
    return "<br>".join(line.translate(_REFERENCES) for line in lines)
