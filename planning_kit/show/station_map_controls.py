"""What the reader of the station map can press: play at three speeds, pause, a slider, two lists to jump.

All of it is plotly's own and part of the figure: it works in a page without a kernel. Plotly hears the mouse
only; `station_map_keys` adds the keys.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from math import isfinite
from typing import Any

from planning_kit.inputs.times import pet_label
from planning_kit.show.activities import finding_minute
from planning_kit.show.escape import plotly_text
from planning_kit.show.palette import Theme
from planning_kit.show.scene import Scene

_SPEEDS = (("▶ slow", 500), ("▶ play", 200), ("▶ fast", 60))  # milliseconds a minute of the outing
_STEP_CHARS, _FINDING_CHARS = 26, 26


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
        look | _list("Jump to a step", _step_entries(scene, minutes), 0.66),
        look | _list("Jump to a finding", _finding_entries(scene, minutes), 1.0),
    ], "sliders": [_slider(minutes, scene.theme, height)]}


def _play_buttons(minutes: Sequence[float]) -> dict[str, Any]:
    every_min = minutes[1] - minutes[0] if len(minutes) > 1 else 1.0
    buttons = [_button(label, None, _options(round(pace * every_min), True)) for label, pace in _SPEEDS]
    buttons.append(_button("❚❚ pause", [None], _options(0, False)))
    return {"type": "buttons", "direction": "left", "showactive": False, "buttons": buttons,
            "x": 0, "xanchor": "left", "name": "play"}


def _button(label: str, frames: list[str] | list[None] | None, options: dict[str, Any]) -> dict[str, Any]:
    """Plotly takes None for all frames from here on, and a list of None for none: stop."""
    return {"label": label, "method": "animate", "args": [frames, options]}


def _options(duration: float, from_current: bool) -> dict[str, Any]:
    return {"mode": "immediate", "fromcurrent": from_current, "transition": {"duration": 0},
            "frame": {"duration": duration, "redraw": True}}


def _list(head: str, entries: Sequence[tuple[str, str]], x: float) -> dict[str, Any]:
    buttons = [{"label": head, "method": "skip", "args": []},
               *(_button(label, [name], _options(0, False)) for label, name in entries)]
    return {"type": "dropdown", "direction": "down", "showactive": True, "active": 0, "buttons": buttons,
            "x": x, "xanchor": "right", "name": head}


def _step_entries(scene: Scene, minutes: Sequence[float]) -> list[tuple[str, str]]:
    entries: dict[str, tuple[str, str]] = {}
    for row in sorted(scene.rows, key=lambda row: row.start_min):
        if row.kind == "work" and row.step:
            text = f"{pet_label(row.start_min)} {row.step} {row.title}"
            entries.setdefault(row.step, (plotly_text(text, _STEP_CHARS), _frame_at(row.start_min, minutes)))
    return list(entries.values())


def _finding_entries(scene: Scene, minutes: Sequence[float]) -> list[tuple[str, str]]:
    entries = []
    for finding in scene.found:
        minute = finding_minute(finding, scene.work)
        if isfinite(minute):
            who = " ".join(part for part in (finding.crew, finding.step) if part)
            text = f"{pet_label(minute)} {finding.severity} {who} {finding.check}"
            entries.append((plotly_text(text, _FINDING_CHARS), _frame_at(minute, minutes)))
    return entries


def _frame_at(minute: float, minutes: Sequence[float]) -> str:
    """The first frame at or after a minute: there what begins at that minute has begun."""
    return frame_name(minutes[min(bisect_left(minutes, minute - 1e-6), len(minutes) - 1)])


def _slider(minutes: Sequence[float], theme: Theme, height: float) -> dict[str, Any]:
    # Without labels: plotly measures the label of every step anew each time it draws, seen or not.
    steps = [_button("", [frame_name(minute)], _options(0, False)) for minute in minutes]
    clear = "rgba(0,0,0,0)"
    return {"active": 0, "steps": steps, "x": 0, "len": 1, "y": -44 / height, "yanchor": "top",
            "pad": {"t": 4, "b": 0, "l": 0, "r": 0}, "ticklen": 0, "minorticklen": 0, "tickcolor": clear,
            "font": {"size": 1, "color": clear}, "currentvalue": {"visible": False},
            "transition": {"duration": 0}, "bgcolor": theme.grid, "activebgcolor": theme.stop,
            "bordercolor": theme.quiet_ink, "borderwidth": 1}
