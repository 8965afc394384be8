"""Where the parts of the station map stand, and what can be pressed: play, pause, a slider, two lists.

All of it is plotly's own and part of the figure, JSON that every viewer draws alike and that runs nothing of
ours: it works in a page without a kernel, by the mouse. The keys come as a second output beside the chart,
one fixed script and a line that says which keys there are; a viewer that does not run it (a notebook that is
not trusted) leaves the map to the mouse.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from math import isfinite
from typing import Any

import plotly.graph_objects as go
from IPython.display import display

from planning_kit.inputs.shown_text import one_line, plotly_text
from planning_kit.inputs.times import gmt_label, pet_label
from planning_kit.show.chart import CLEAR, UNCLICKED, Chart, legend_below, note, plan_title, shared_layout
from planning_kit.show.chart_rows import finding_minute
from planning_kit.show.palette import Theme
from planning_kit.show.station_map_views import View, Views
from planning_kit.show.swimlane_scene import Scene

_SPEEDS = (("▶ slow", 500), ("▶ play", 200), ("▶ fast", 60))  # milliseconds a minute of the outing
_LONGEST_ENTRY = 26


def frame_name(minute: float) -> str:
    """The name of the frame of a minute."""
    return f"{minute:.2f}".rstrip("0").rstrip(".")


def controls(scene: Scene, minutes: Sequence[float], height: float) -> dict[str, Any]:
    """Layout entries ``updatemenus`` and ``sliders``; ``height`` is that of the plot in pixels."""
    look = {"bgcolor": scene.theme.paper, "bordercolor": scene.theme.quiet_ink, "borderwidth": 1,
            "font": {"size": 11, "color": scene.theme.ink}, "yanchor": "bottom", "y": 1 + 6 / height,
            "pad": {"t": 0, "b": 0, "l": 0, "r": 0}}
    return {"updatemenus": [
        look | _play_buttons(minutes),
        look | _list("Jump to a step", [(row.start_min, f"{row.step} {row.title}")
                                        for row, *_ in scene.work.values()], minutes, 0.66),
        look | _list("Jump to a finding", [
            (minute, f"{each.severity} {f'{each.crew} {each.step}'.strip()} {each.check}")
            for each in scene.found if isfinite(minute := finding_minute(each, scene.work))], minutes, 1.0),
    ], "sliders": [_slider(minutes, scene.theme, height)]}


def _play_buttons(minutes: Sequence[float]) -> dict[str, Any]:
    every_min = minutes[1] - minutes[0] if len(minutes) > 1 else 1.0
    buttons = [_button(label, None, round(pace * every_min), True) for label, pace in _SPEEDS]
    buttons.append(_button("❚❚ pause", [None]))
    return {"type": "buttons", "direction": "left", "showactive": False, "buttons": buttons,
            "x": 0, "xanchor": "left", "name": "play"}


def _button(label: str, frames: list[str] | list[None] | None, duration: float = 0,
            from_current: bool = False) -> dict[str, Any]:
    """Plotly takes None for all frames from here on, and a list of None for none: stop."""
    return {"label": label, "method": "animate", "args": [frames, {
        "mode": "immediate", "fromcurrent": from_current, "transition": {"duration": 0},
        "frame": {"duration": duration, "redraw": True}}]}


def _list(head: str, entries: Sequence[tuple[float, str]], minutes: Sequence[float],
          x: float) -> dict[str, Any]:
    buttons = [{"label": head, "method": "skip", "args": []}]
    for minute, text in entries:
        # The first frame at or after the minute: there what begins at that minute has begun.
        frame = minutes[min(bisect_left(minutes, minute - 1e-6), len(minutes) - 1)]
        buttons.append(_button(plotly_text(f"{pet_label(minute)} {text}", _LONGEST_ENTRY),
                               [frame_name(frame)]))
    return {"type": "dropdown", "direction": "down", "showactive": True, "active": 0, "buttons": buttons,
            "x": x, "xanchor": "right", "name": head}


def _slider(minutes: Sequence[float], theme: Theme, height: float) -> dict[str, Any]:
    # Without labels: plotly measures the label of every step anew each time it draws, seen or not.
    steps = [_button("", [frame_name(minute)]) for minute in minutes]
    return {"active": 0, "steps": steps, "x": 0, "len": 1, "y": -44 / height, "yanchor": "top",
            "pad": {"t": 4, "b": 0, "l": 0, "r": 0}, "ticklen": 0, "minorticklen": 0, "tickcolor": CLEAR,
            "font": {"size": 1, "color": CLEAR}, "currentvalue": {"visible": False},
            "transition": {"duration": 0}, "bgcolor": theme.grid, "activebgcolor": theme.stop,
            "bordercolor": theme.quiet_ink, "borderwidth": 1}


KEYS = ("By keyboard: Tab to a control of the map; Enter presses a button; the arrow keys move the slider "
        "(Page Up and Down by ten) and step through the lists of steps and findings.")


class Film(Chart):
    """A chart with frames that shows itself with its keys.

    The frames are plotly's JSON as it is: to make plotly's own objects of them, which check every attribute,
    takes most of the time of a map, and is left to whoever asks for ``frames``.
    """

    def __init__(self, data: Any = None, layout: Any = None, frames: Any = None, **kwargs: Any) -> None:
        """Hold the parts of a figure, or a figure as a mapping, as plotly does."""
        if isinstance(data, Mapping) and "data" in data:
            data, layout, frames = data["data"], data.get("layout", layout), data.get("frames", frames)
        super().__init__(data=data, layout=layout, **kwargs)
        self._film = tuple(frames or ())

    @property
    def frames(self) -> Any:
        """The frames as plotly's objects."""
        film, self._film = self._film, ()
        if film:
            go.Figure.frames.fset(self, film)
        return super().frames

    @frames.setter
    def frames(self, frames: Any) -> None:
        self._film = ()
        go.Figure.frames.fset(self, frames)

    def to_dict(self) -> dict[str, Any]:
        """The figure as plain data, its frames not copied."""
        told: dict[str, Any] = super().to_dict()
        return told | ({"frames": [*self._film]} if self._film else {})

    def _ipython_display_(self) -> None:
        display(self._repr_mimebundle_(), raw=True)
        display(keys_bundle(), raw=True)


@cache
def keys_bundle() -> dict[str, Any]:
    """The output that brings the keys; the same for every map."""
    text = (files("planning_kit.show") / "station_map.bundle.js").read_text(encoding="utf-8")
    script = text.partition("\n")[2].strip()  # without the line that says what it was joined from
    return {"text/html": f"<p><small>{KEYS}</small></p><script>{script}</script>", "text/plain": KEYS}


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
    theme, pet_zero = scene.theme, scene.plan.pet_zero
    below = f"{shown} · PET 0 {pet_zero:%Y-%m-%d}, GMT {gmt_label(pet_zero)}"
    title = plan_title(scene.settings.title, scene.settings.station, 90)
    return {
        **shared_layout(theme, _alt(scene, shown), title, plotly_text(below)),
        "plot_bgcolor": CLEAR, "barmode": "overlay",
        "height": round(rows.height + rows.top_px + rows.below_px),
        "margin": {"l": _LEFT_PX, "r": _RIGHT_PX, "t": rows.top_px, "b": rows.below_px},
        "scene": _space(views, rows),
        **_square_axes(3, rows.domain(0, _MAP_PX)),
        **_square_axes(6, rows.domain(_MAP_PX + 8, _WORDS_PX - 8)),
        **_flat_axes(views.side, views, rows.domain(14, _FLAT_PX), theme),
        **_flat_axes(views.above, views, rows.domain(28 + _FLAT_PX, _FLAT_PX), theme),
        "annotations": [
            note(view.name, x, rows.domain(top, 0)[1], theme.quiet_ink, xref="paper", yref="paper",
                 xanchor=side, yanchor="top", borderpad=0) for view, x, side, top in (
                     (views.space, 0.005, "left", 4), (views.side, 1, "right", 0),
                     (views.above, 1, "right", 14 + _FLAT_PX))],
        "hoverdistance": 12, "dragmode": "orbit", "uirevision": "station map",
        "legend": legend_below(-(rows.below_px - _LEGEND_PX) / rows.height, theme, entrywidth=128,
                               entrywidthmode="pixels", itemsizing="trace", traceorder="normal", **UNCLICKED),
        "uniformtext": {"mode": "hide", "minsize": 9},
    }


def _alt(scene: Scene, shown: str) -> str:
    settings = scene.settings
    return (f"Station map: {one_line(settings.title)}. {shown}: crew, tethers, footholds and bags on the "
            f"worksites and routes of {one_line(settings.station) or 'the station'}, in space, from the side "
            f"and from above, with the swimlanes below. Outing: {pet_label(scene.plan.end_min)}.")


def _space(views: Views, rows: Rows) -> dict[str, Any]:
    return {
        "domain": {"x": [0, _SPACE_SHARE], "y": rows.domain(0, _MAP_PX)},
        "aspectmode": "manual", "aspectratio": views.aspect,
        "bgcolor": CLEAR, "camera": views.camera, "dragmode": "orbit",
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
