"""What all charts share: the figure class, layout, legends, notes, lines at a minute, and the time axes.

The figure keeps its words and its mode bar wherever it is shown. Its time axes are PET below and GMT above,
on one grid, and are one and the same axis: milliseconds of PET on a plotly date axis whose epoch is PET 0,
so that plotly chooses round steps of hours and minutes at every zoom. Its labels are replaced by PET
``h:mm`` below and by the GMT of the same moment above; ``matches`` keeps them in step. A date axis of real
GMT would put its grid at round GMT times instead, and two grids on one chart cannot be read.
"""

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

import plotly.graph_objects as go

from planning_kit.inputs.shown_text import one_line, plotly_text
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.show.any_ground import on_any_ground
from planning_kit.show.palette import CLEAR, Theme

PLOTLY_MIME = "application/vnd.plotly.v1+json"
CHART_CONFIG: dict[str, Any] = {
    "displaylogo": False,
    "responsive": True,
    "modeBarButtonsToRemove": ["sendChartToCloud", "sendDataToCloud", "select2d", "lasso2d", "autoScale2d"],
    "toImageButtonOptions": {"format": "png", "scale": 2},
}
"""The mode bar without a logo, without upload to a cloud service, without tools that do nothing here."""

FONT = "system-ui, -apple-system, 'Segoe UI', 'Liberation Sans', Arial, sans-serif"


def shared_layout(theme: Theme, alt: str, head: str, below: str) -> dict[str, Any]:
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
        "modebar": {"orientation": "h", "bgcolor": CLEAR, "color": theme.quiet_ink, "activecolor": theme.ink}}


def days_layout(theme: Theme, alt: str, head: str, below: str, height_px: int,
                right_px: int) -> dict[str, Any]:
    """What the two charts over days share beside `shared_layout`: size, margins, legend in the corner."""
    return shared_layout(theme, alt, head, below) | {
        "height": height_px, "margin": {"l": 64, "r": right_px, "t": 70, "b": 44}, "hoverdistance": 30,
        "legend": {"orientation": "h", "x": 1, "xanchor": "right", "y": 1.02, "yanchor": "bottom",
                   "bgcolor": CLEAR}}


def days_axis(theme: Theme, title: str = "", **look: Any) -> dict[str, Any]:
    """An axis of a chart over days; ``look`` overrides and adds."""
    named = {"title": {"text": title, "font": {"size": 12}}} if title else {}
    return {"gridcolor": theme.grid, "tickfont": {"color": theme.ink, "size": 11}, **named, **look}


def plan_title(title: object, station: object, longest: int = 100) -> str:
    """Title and station of a plan, as plotly shows them."""
    return plotly_text(" · ".join(part for part in (one_line(title), one_line(station)) if part), longest)


def legend_below(y: float, theme: Theme, **look: Any) -> dict[str, Any]:
    """A legend in rows below the plot, ``y`` in shares of its height; ``look`` adds to it."""
    return {"orientation": "h", "x": 0, "xanchor": "left", "y": y, "yanchor": "top", "bgcolor": CLEAR,
            "font": {"size": 11, "color": theme.ink}, **look}


UNCLICKED = {"itemclick": False, "itemdoubleclick": False}
"""A legend whose entries do not hide what they name."""


def note(text: str, x: float, y: float, color: str, size: int = 11, **look: Any) -> dict[str, Any]:
    """An annotation without an arrow; ``text`` as plotly shows it, ``look`` says where it hangs."""
    return {"text": text, "x": x, "y": y, "showarrow": False, "font": {"size": size, "color": color}, **look}


def scatter(name: str, x: Sequence[Any], y: Sequence[Any], **look: Any) -> dict[str, Any]:
    """A trace of points or lines, without hover text and out of the legend unless ``look`` says so."""
    return {"type": "scatter", "name": name, "xaxis": "x", "yaxis": "y", "x": x, "y": y,
            "showlegend": False, "hoverinfo": "skip", **look}


def row_axis(labels: Mapping[float, str], height: float, ink: str, **look: Any) -> dict[str, Any]:
    """A y axis that counts downward from 0 to ``height`` and names rows; ``look`` overrides and adds."""
    return {"range": [height, 0], "fixedrange": True, "tickmode": "array", "tickvals": list(labels),
            "ticktext": list(labels.values()), "showgrid": False, "zeroline": False, "automargin": False,
            "tickfont": {"size": 11, "color": ink}, **look}


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
        content = on_any_ground(json.loads(self.to_json(validate=validate)))
        return {PLOTLY_MIME: {**content, "config": CHART_CONFIG}, "text/plain": self.alt or "Chart"}

    def show(self, *args: Any, **kwargs: Any) -> Any:
        """Show the chart as plotly does, with the mode bar of `CHART_CONFIG` unless ``config`` is given."""
        kwargs.setdefault("config", CHART_CONFIG)
        return super().show(*args, **kwargs)


MS_PER_MIN = 60_000
_TICK_EVERY_MIN = 30
_LONGEST_LABELLED_MIN = 3 * 24 * 60


def signed(value: float, digits: int = 1) -> str:
    """A number with its sign, a true minus."""
    return f"{value:+.{digits}f}".replace("-", "−")


def axis_ms(minutes: float) -> int:
    """Where ``minutes`` of PET (or a duration) lies on a time axis, in whole milliseconds."""
    return round(minutes * MS_PER_MIN)


def upright(name: str, minute: float, color: str, dash: str | None = None, width: float = 1.5,
            **span: Any) -> dict[str, Any]:
    """A line at a minute of PET, through the whole plot unless ``span`` says from where to where."""
    at = axis_ms(minute)
    return {"type": "line", "xref": "x", "yref": "paper", "x0": at, "x1": at, "y0": 0, "y1": 1,
            "line": {"color": color, "width": width} | ({"dash": dash} if dash else {}), "layer": "above",
            "name": name, **span}


def night_shades(nights: Iterable[Sequence[float]], theme: Theme, **span: Any) -> list[dict[str, Any]]:
    """Each night as a light shade, through the whole plot unless ``span`` says from where to where."""
    return [{"type": "rect", "xref": "x", "yref": "paper", "x0": axis_ms(float(start)),
             "x1": axis_ms(float(end)), "y0": 0, "y1": 1, "layer": "below", "line": {"width": 0},
             "fillcolor": theme.night_shade, "name": f"night {number}", **span}
            for number, (start, end) in enumerate(nights, start=1)]


def time_axes(shown: tuple[float, float], allowed: tuple[float, float], pet_zero: datetime,
              theme: Theme) -> dict[str, Any]:
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
        "labelalias": _labels(minutes, [gmt_label(moment_at(minute, pet_zero)) for minute in minutes]),
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
    return [note(text, 0, y, theme.quiet_ink, 10, xref="paper", yref="paper", xanchor="right", xshift=-31,
                 yanchor=anchor, yshift=shift, name=text[:3])
            for text, y, anchor, shift in (("GMT DDD/hh:mm", 1, "bottom", 4), ("PET h:mm", 0, "top", -4))]
