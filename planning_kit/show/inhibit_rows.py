"""The inhibits in force, in rows below the people."""

from __future__ import annotations

from planning_kit.show.bars import CLEAR, Bar, Trace, bar_trace
from planning_kit.show.escape import plotly_text
from planning_kit.show.hover import inhibit_text
from planning_kit.show.scene import Scene

_FONT_PX = 10
_LONGEST_ID = 16


def inhibit_trace(scene: Scene) -> Trace:
    """A hatched frame an inhibit, from when it must stand to when it may be lifted, with its id."""
    bars, texts = [], []
    for strip, row in zip(scene.lanes.inhibits, scene.inhibit_rows, strict=True):
        for hold in row:
            text = inhibit_text(hold, scene.words)
            about = (hold.inhibit, "", "inhibit")
            bars.append(Bar(strip, hold.set_by_min, hold.lift_after_min, text, about))
            texts.append(plotly_text(hold.inhibit, longest=_LONGEST_ID))
    theme = scene.theme
    return bar_trace(
        "inhibit in force", bars, showlegend=True, legend="legend2", text=texts, textposition="inside",
        insidetextanchor="middle", textangle=0, constraintext="inside",
        textfont={"size": _FONT_PX, "color": theme.ink},
        marker={"color": CLEAR, "line": {"color": theme.ink, "width": 1},
                "pattern": {"shape": "\\", "size": 9, "solidity": 0.12, "fgcolor": theme.quiet_ink}},
    )
