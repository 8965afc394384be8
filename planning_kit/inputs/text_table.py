"""Tables as a notebook shows them: sentences whole (pandas cuts cells at 50 characters), facts as rows."""

from __future__ import annotations

import html
from collections.abc import Iterable

import pandas as pd

_WHOLE = ("display.max_colwidth", None)
_LEFT_CELL = '<td style="text-align: left">'


class TextTable(pd.DataFrame):
    """A DataFrame in every way, but text cells are shown in full, here and in what is selected from it."""

    @property
    def _constructor(self) -> type[TextTable]:
        return TextTable

    def __repr__(self) -> str:
        with pd.option_context(*_WHOLE):
            return super().__repr__()

    def _repr_html_(self) -> str | None:
        with pd.option_context(*_WHOLE):
            shown: str | None = super()._repr_html_()  # type: ignore[misc]  # the stubs leave it out
        return shown and shown.replace("<td>", _LEFT_CELL)  # a "<td>" in a text would be escaped


def facts_html(caption: str, facts: Iterable[tuple[str, str]]) -> str:
    """Name and value a row, as an escaped HTML table."""
    left = 'style="text-align:left"'
    rows = "".join(f'<tr><th scope="row" {left}>{html.escape(name)}</th>'
                   f'<td {left}>{html.escape(value)}</td></tr>' for name, value in facts)
    return f"<table><caption>{html.escape(caption)}</caption>{rows}</table>"
