"""Tables as a notebook shows them: text to the letter, sentences whole (pandas cuts cells), facts as rows."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import pandas as pd

from planning_kit.inputs.shown_text import html_text, untypeset, visible_lines

if TYPE_CHECKING:
    from pandas.io.formats.style import Styler

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
        return visible_lines(super().__repr__())

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
    return html_text(value) if isinstance(value, str) else value


class TextTable(ShownTable):
    """A table whose text cells are shown in full, here and in what is selected from it."""

    def __repr__(self) -> str:
        with pd.option_context(*_WHOLE):
            return super().__repr__()

    def _repr_html_(self) -> str | None:
        with pd.option_context(*_WHOLE):
            shown = super()._repr_html_()
        return shown and shown.replace("<td>", _LEFT_CELL)  # a "<td>" in a text would be escaped


def facts_html(caption: str, facts: Iterable[tuple[str, str]]) -> str:
    """Name and value a row, as an HTML table with every text to the letter."""
    left = 'style="text-align:left"'
    rows = "".join(f'<tr><th scope="row" {left}>{html_text(name)}</th><td {left}>{html_text(value)}</td></tr>'
                   for name, value in facts)
    return f"<table><caption>{html_text(caption)}</caption>{rows}</table>"
