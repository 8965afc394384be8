"""What the two charts of odds share: labelled rows over the time axes, upright lines, shaded nights."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from planning_kit.inputs.times import pet_label
from planning_kit.show.chart import chart_layout, plan_title
from planning_kit.show.escape import plotly_text
from planning_kit.show.palette import Theme
from planning_kit.show.time_axes import axis_ms, axis_names, time_axes

ROW_PX, LEFT_PX, RIGHT_PX, TOP_PX, BELOW_PX = 27, 268, 18, 104, 84
LABEL_LENGTH = 38


def row_label(name: str, title: str) -> str:
    """The label of a row: id in bold and title, escaped and cut."""
    words = plotly_text(title, LABEL_LENGTH - min(len(name), 12))
    return f"<b>{plotly_text(name, 14)}</b> {words}" if name else f"<b>{words}</b>"


def rows_layout(odds: Any, theme: Theme, labels: Sequence[str], shown: tuple[float, float], heading: str,
                alt: str) -> dict[str, Any]:
    """The layout of rows (the first on top) over PET below and GMT above; ``shown`` in PET minutes."""
    plan, count = odds.timed, max(len(labels), 1)
    axes = time_axes(shown, (min(shown[0], -5.0), max(plan.horizon_min, shown[1])), plan.egress, theme)
    return {
        **chart_layout(theme, alt, plan_title(plan), heading), "barmode": "overlay",
        "height": count * ROW_PX + TOP_PX + BELOW_PX,
        "margin": {"l": LEFT_PX, "r": RIGHT_PX, "t": TOP_PX, "b": BELOW_PX},
        **axes,
        "yaxis": {
            "range": [count - 0.5, -0.5], "fixedrange": True, "zeroline": False, "showgrid": False,
            "tickmode": "array", "tickvals": list(range(len(labels))), "ticktext": list(labels),
            "tickfont": {"size": 12, "color": theme.ink}, "automargin": False, "anchor": "x",
        },
        "hoverdistance": 20, "dragmode": "zoom",
        "legend": {"orientation": "h", "x": 0, "xanchor": "left", "y": -36 / (count * ROW_PX),
                   "yanchor": "top", "bgcolor": "rgba(0,0,0,0)", "font": {"size": 11, "color": theme.ink},
                   "itemclick": False, "itemdoubleclick": False},
    }


def limit_lines(odds: Any, theme: Theme, shown: tuple[float, float],
                label_at: str) -> tuple[list[Any], list[Any]]:
    """Shapes and labels (at the ``top`` or ``bottom``) of the limits in range, and the names of the axes."""
    limits = odds.timed.scenario.settings.limits
    shapes, notes = [], axis_names(theme)
    for name, minute, dash in (("planned", limits.planned_min, "dash"), ("hard", limits.hard_min, "solid")):
        if shown[0] < minute < shown[1]:
            shapes.append(upright(f"{name} limit", minute, theme.stop, dash))
            notes.append({"text": f"{name} {pet_label(minute)}", "x": axis_ms(minute), "xref": "x",
                          "y": 1 if label_at == "top" else 0, "yref": "paper", "xanchor": "right",
                          "yanchor": label_at, "showarrow": False,
                          "textangle": -90, "xshift": -1, "font": {"size": 11, "color": theme.stop},
                          "name": f"{name} limit"})
    return shapes, notes


def samples_words(odds: Any) -> str:
    """How many samples, with which seed."""
    count = f"{odds.samples:,}".replace(",", "\u00a0")
    return f"{count} samples (seed {odds.seed})"


def upright(name: str, minute: float, color: str, dash: str) -> dict[str, Any]:
    """A line across all rows at a minute of PET."""
    return {"type": "line", "xref": "x", "yref": "paper", "x0": axis_ms(minute), "x1": axis_ms(minute),
            "y0": 0, "y1": 1, "line": {"color": color, "width": 1.5, "dash": dash}, "layer": "above",
            "name": name}
