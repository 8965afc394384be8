"""The figure class of every chart here: a plotly figure that keeps its words and its mode bar when shown."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import plotly.graph_objects as go

from planning_kit.plan.timed import TimedPlan
from planning_kit.show.escape import one_line, plotly_text
from planning_kit.show.palette import Theme

PLOTLY_MIME = "application/vnd.plotly.v1+json"
CHART_CONFIG: dict[str, Any] = {
    "displaylogo": False,
    "responsive": True,
    "modeBarButtonsToRemove": ["sendChartToCloud", "sendDataToCloud", "select2d", "lasso2d", "autoScale2d"],
    "toImageButtonOptions": {"format": "png", "scale": 2},
}
"""The mode bar without a logo, without upload to a cloud service, without tools that do nothing here."""

FONT = "system-ui, -apple-system, 'Segoe UI', 'Liberation Sans', Arial, sans-serif"


def chart_layout(theme: Theme, alt: str, head: str, below: str) -> dict[str, Any]:
    """What the layouts of all charts share: ground, letters, words, hover labels, mode bar.

    ``head`` and ``below`` are the two lines of the title, as plotly shows them: escaped by the caller.
    """
    small = f'<span style="font-size:12px;color:{theme.quiet_ink}">{below}</span>'
    return {
        "paper_bgcolor": theme.paper, "plot_bgcolor": theme.paper, "meta": {"alt": alt},
        "font": {"family": FONT, "size": 12, "color": theme.ink},
        "title": {"text": f"<b>{head}</b><br>{small}", "x": 0, "xref": "container", "xanchor": "left", "y": 1,
                  "yref": "container", "yanchor": "top", "pad": {"l": 14, "t": 26},
                  "font": {"size": 16, "color": theme.ink}},
        "hovermode": "closest",
        "hoverlabel": {"align": "left", "namelength": 0, "bgcolor": theme.paper, "bordercolor": theme.ink,
                       "font": {"family": FONT, "color": theme.ink, "size": 12}},
        "modebar": {"orientation": "h", "bgcolor": "rgba(0,0,0,0)", "color": theme.quiet_ink,
                    "activecolor": theme.ink},
    }


def plan_title(plan: TimedPlan) -> str:
    """Title and station of a plan, as plotly shows them."""
    settings = plan.scenario.records.settings
    head = " · ".join(part for part in (one_line(settings.title), one_line(settings.station)) if part)
    return plotly_text(head, longest=100)


def axis_title(text: str) -> dict[str, Any]:
    """The title of an axis in the size that all charts have."""
    return {"text": text, "font": {"size": 12}}


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
