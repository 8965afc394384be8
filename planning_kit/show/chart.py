"""The figure class of every chart here: a plotly figure that keeps its words and its mode bar when shown."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go

PLOTLY_MIME = "application/vnd.plotly.v1+json"
CHART_CONFIG: dict[str, Any] = {
    "displaylogo": False,
    "responsive": True,
    "modeBarButtonsToRemove": ["sendChartToCloud", "sendDataToCloud", "select2d", "lasso2d", "autoScale2d"],
    "toImageButtonOptions": {"format": "png", "scale": 2},
}
"""The mode bar without a logo, without upload to a cloud service, without tools that do nothing here."""

FONT = "system-ui, -apple-system, 'Segoe UI', 'Liberation Sans', Arial, sans-serif"


class Chart(go.Figure):
    """A plotly figure that shows itself the same way everywhere.

    A notebook output holds the chart, its configuration and a sentence that says what it shows (for readers
    that draw no charts). It does not depend on plotly's choice of renderer, so that saved outputs compare.
    """

    # Jupyter is to use the bundle below alone, not plotly's renderer and not an HTML copy under a random id.
    _ipython_display_: Any = None
    _repr_html_ = None

    @property
    def alt(self) -> str:
        """What the chart shows, in words."""
        meta = self.layout.meta
        return str(meta.get("alt", "")) if isinstance(meta, Mapping) else ""

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None, validate: bool = True,
                          **kwargs: Any) -> dict[str, Any]:
        content = json.loads(self.to_json(validate=validate))
        return {PLOTLY_MIME: {**content, "config": CHART_CONFIG}, "text/plain": self.alt or "Chart"}

    def show(self, *args: Any, **kwargs: Any) -> Any:
        """Show the chart as plotly does, with the mode bar of `CHART_CONFIG` unless ``config`` is given."""
        kwargs.setdefault("config", CHART_CONFIG)
        return super().show(*args, **kwargs)
