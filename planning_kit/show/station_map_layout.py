"""Where the parts of the station map stand: the views, the words below them, the swimlanes, the legend."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from planning_kit.inputs.times import gmt_label, pet_label
from planning_kit.show.chart import chart_layout
from planning_kit.show.escape import one_line, plotly_text
from planning_kit.show.palette import Theme
from planning_kit.show.scene import Scene
from planning_kit.show.station_map_views import View, Views

_LEFT_PX, _RIGHT_PX = 62, 14
_MAP_PX, _WORDS_PX, _GAP_PX, _AXIS_PX = 336, 134, 6, 24
_TITLE_PX, _CONTROLS_PX, _SLIDER_PX, _LEGEND_PX = 52, 36, 34, 44
_FLAT_PX = (_MAP_PX - 60) / 2
_SPACE_SHARE, _FLAT_FROM = 0.60, 0.64
WORD_COLUMNS = (0.0, 0.345, 0.68)


@dataclass(frozen=True)
class Rows:
    """Heights on the page, from the top: the views, the words, the strip; ``is_still`` has no controls."""

    strip_px: float
    is_still: bool

    @property
    def height(self) -> float:
        """Height of the plot in pixels, without margins."""
        return _MAP_PX + _WORDS_PX + _GAP_PX + self.strip_px

    @property
    def top_px(self) -> float:
        """The margin above."""
        return _TITLE_PX + (8 if self.is_still else _CONTROLS_PX)

    @property
    def below_px(self) -> float:
        """The margin below."""
        return _AXIS_PX + (6 if self.is_still else _SLIDER_PX) + _LEGEND_PX

    def domain(self, top_px: float, height_px: float) -> list[float]:
        """A stretch, pixels from the top of the plot, as shares of its height from below."""
        low, high = 1 - (top_px + height_px) / self.height, 1 - top_px / self.height
        return [round(max(low, 0.0), 5), round(min(high, 1.0), 5)]

    @property
    def strip(self) -> list[float]:
        """The domain of the swimlanes."""
        return self.domain(_MAP_PX + _WORDS_PX + _GAP_PX, self.strip_px)


def map_layout(scene: Scene, views: Views, rows: Rows, shown: str) -> dict[str, Any]:
    """All but the strip and the controls; ``shown`` says what the picture shows, in the title."""
    theme = scene.theme
    return {
        **chart_layout(theme, _alt(scene, shown), *_title(scene, shown)),
        "plot_bgcolor": "rgba(0,0,0,0)", "barmode": "overlay",
        "height": round(rows.height + rows.top_px + rows.below_px),
        "margin": {"l": _LEFT_PX, "r": _RIGHT_PX, "t": rows.top_px, "b": rows.below_px},
        "scene": _space(views, rows),
        **_square_axes(3, rows.domain(0, _MAP_PX)),
        **_square_axes(6, rows.domain(_MAP_PX + 8, _WORDS_PX - 8)),
        **_flat_axes(views.side, views, rows.domain(14, _FLAT_PX), theme),
        **_flat_axes(views.above, views, rows.domain(28 + _FLAT_PX, _FLAT_PX), theme),
        "annotations": _view_names(views, rows, theme),
        "hoverdistance": 12, "dragmode": "orbit", "uirevision": "station map",
        "legend": {"orientation": "h", "x": 0, "xanchor": "left", "yanchor": "top",
                   "y": -(rows.below_px - _LEGEND_PX) / rows.height, "bgcolor": "rgba(0,0,0,0)",
                   "entrywidth": 128, "entrywidthmode": "pixels", "itemsizing": "trace",
                   "font": {"size": 11, "color": theme.ink}, "traceorder": "normal",
                   "itemclick": False, "itemdoubleclick": False},
        "uniformtext": {"mode": "hide", "minsize": 9},
    }


def _title(scene: Scene, shown: str) -> tuple[str, str]:
    head = " · ".join(part for part in (scene.title, scene.station) if part)
    below = f"{shown} · egress {scene.egress:%Y-%m-%d}, GMT {gmt_label(scene.egress)}"
    return plotly_text(head, longest=90), plotly_text(below)


def _alt(scene: Scene, shown: str) -> str:
    return (f"Station map: {one_line(scene.title)}. {shown}: crew, tethers, footholds and bags on the "
            f"worksites and routes of {one_line(scene.station) or 'the station'}, in space, from the side "
            f"and from above, with the swimlanes below. Outing: {pet_label(scene.end_min)}.")


def _space(views: Views, rows: Rows) -> dict[str, Any]:
    return {
        "domain": {"x": [0, _SPACE_SHARE], "y": rows.domain(0, _MAP_PX)},
        "aspectmode": "manual", "aspectratio": views.aspect,
        "bgcolor": "rgba(0,0,0,0)", "camera": views.camera, "dragmode": "orbit",
        **{f"{name}axis": {"visible": False, "showspikes": False,
                           "range": list(views.range_of(f"+{name}"))} for name in "xyz"},
    }


def _square_axes(number: int, domain: list[float]) -> dict[str, Any]:
    """Unseen axes from 0 to 1 across the whole width."""
    common = {"range": [0, 1], "visible": False, "fixedrange": True}
    return {f"xaxis{number}": common | {"anchor": f"y{number}", "domain": [0, 1]},
            f"yaxis{number}": common | {"anchor": f"x{number}", "domain": domain}}


def _flat_axes(view: View, views: Views, domain: list[float], theme: Theme) -> dict[str, Any]:
    common = {"showgrid": True, "gridcolor": theme.grid, "zeroline": False, "nticks": 5, "ticks": "",
              "tickfont": {"size": 9, "color": theme.quiet_ink}}
    title = {"font": {"size": 10, "color": theme.quiet_ink}, "standoff": 2}
    return {
        f"xaxis{view.number}": common | {
            "domain": [_FLAT_FROM, 1], "anchor": f"y{view.number}", "constrain": "domain",
            "range": list(views.range_of(view.across)), "showticklabels": view is views.above,
            "title": title | {"text": f"{view.across[1]} m" if view is views.above else ""}},
        f"yaxis{view.number}": common | {
            "domain": domain, "anchor": f"x{view.number}", "scaleanchor": f"x{view.number}",
            "constrain": "domain", "range": list(views.range_of(view.up)),
            "title": title | {"text": f"{view.up[1]} m"}},
    }


def _view_names(views: Views, rows: Rows, theme: Theme) -> list[dict[str, Any]]:
    spots = {views.space: (0.005, "left", 4), views.side: (1, "right", 0),
             views.above: (1, "right", 14 + _FLAT_PX)}
    return [{"xref": "paper", "yref": "paper", "x": x, "y": rows.domain(top, 0)[1], "xanchor": side,
             "yanchor": "top", "showarrow": False, "text": view.name, "borderpad": 0,
             "font": {"size": 11, "color": theme.quiet_ink}} for view, (x, side, top) in spots.items()]
