"""The figure class of every chart here: a plotly figure that keeps its words and its mode bar when shown.

The two time axes of the charts: PET below, GMT above, one grid.

Both are one and the same axis: milliseconds of PET on a plotly date axis whose epoch is PET 0, so that plotly
chooses round steps of hours and minutes at every zoom. Its labels are replaced by PET ``h:mm`` below and by
the GMT of the same moment above; ``matches`` keeps them in step. A date axis of real GMT would put its grid
at round GMT times instead, and two grids on one chart cannot be read.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import plotly.graph_objects as go

from planning_kit.inputs.shown_text import one_line, plotly_text
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.plan.timed import TimedPlan
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


MS_PER_MIN = 60_000
_TICK_EVERY_MIN = 30
_LONGEST_LABELLED_MIN = 3 * 24 * 60


def axis_ms(minutes: float) -> int:
    """Where ``minutes`` of PET (or a duration) lies on a time axis, in whole milliseconds."""
    return round(minutes * MS_PER_MIN)


def time_axes(shown: tuple[float, float], allowed: tuple[float, float], egress: datetime, theme: Theme,
              ) -> dict[str, Any]:
    """Layout entries ``xaxis`` (PET, below) and ``xaxis2`` (GMT, above).

    ``shown`` is the first view and ``allowed`` the range that panning may reach, both in minutes of PET.
    """
    first = math.floor(allowed[0])
    last = min(math.ceil(allowed[1]), first + _LONGEST_LABELLED_MIN)
    minutes, view_min = range(first, last + 1), shown[1] - shown[0]
    common: dict[str, Any] = {
        "type": "date", "range": [axis_ms(end) for end in shown],
        "minallowed": axis_ms(first), "maxallowed": axis_ms(last),
        "nticks": math.ceil(view_min / _TICK_EVERY_MIN) + 1,
        "ticks": "outside", "ticklen": 5, "tickcolor": theme.quiet_ink, "zeroline": False,
        "tickfont": {"size": 11, "color": theme.ink}, "tickangle": 0, "fixedrange": False,
    }
    pet = common | {
        "labelalias": _labels(minutes, [pet_label(minute) for minute in minutes]),
        "tickformatstops": _formats("%-H:%M:%S"), "gridcolor": theme.grid, "showgrid": True, "side": "bottom",
        "showspikes": True, "spikemode": "across", "spikesnap": "cursor", "spikethickness": 1,
        "spikedash": "dot", "spikecolor": theme.quiet_ink, "anchor": "y",
    }
    gmt = common | {
        "labelalias": _labels(minutes, [gmt_label(moment_at(minute, egress)) for minute in minutes]),
        "tickformatstops": _formats(" "), "showgrid": False, "side": "top", "overlaying": "x", "matches": "x",
        "anchor": "y",
        # Wider labels, so half as many. Not "sync", the default: it puts ticks a rounding error too early.
        "tickmode": "auto", "nticks": math.ceil(view_min / (2 * _TICK_EVERY_MIN)) + 1,
    }
    return {"xaxis": pet, "xaxis2": gmt}


def _labels(minutes: Sequence[int], texts: Sequence[str]) -> dict[str, str]:
    """Alias of each whole minute: plotly formats a tick as seconds (``%s``), which name it without doubt."""
    return {str(minute * 60): text for minute, text in zip(minutes, texts, strict=True)}


def _formats(below_a_minute: str) -> list[dict[str, Any]]:
    """Formats by the distance of ticks: the seconds that `_labels` replaces, or that for finer ticks."""
    return [{"dtickrange": [None, MS_PER_MIN - 1], "value": below_a_minute},
            {"dtickrange": [MS_PER_MIN, None], "value": "%s"}]


def axis_names(theme: Theme) -> list[dict[str, Any]]:
    """What stands at the left of both axes: which times they show."""
    common = {"xref": "paper", "yref": "paper", "x": 0, "xanchor": "right", "xshift": -31, "showarrow": False,
              "font": {"size": 10, "color": theme.quiet_ink}}
    return [common | {"y": 1, "yanchor": "bottom", "yshift": 4, "text": "GMT DDD/hh:mm", "name": "GMT"},
            common | {"y": 0, "yanchor": "top", "yshift": -4, "text": "PET h:mm", "name": "PET"}]
