"""Bar traces of the swimlane chart: the work, travel and wait of everybody.

Traces are plain dicts of lists, so that the figure's JSON is the same every time and diffs well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from planning_kit.plan.activities import Activity
from planning_kit.show.escape import plotly_text
from planning_kit.show.hover import activity_text
from planning_kit.show.lanes import Strip
from planning_kit.show.palette import INK_ON_FILL, NO_TASK_FILL, RULING
from planning_kit.show.scene import Scene
from planning_kit.show.time_axes import axis_ms

CLEAR = "rgba(0,0,0,0)"
LABEL_FONT_PX = 11
LONGEST_TASK_NAME = 44  # in the legend: two such entries fit beside each other on a narrow page
_HEIGHT_SHARES = {"work": 1.0, "wait": 0.34, "travel": 0.16}  # of a lane
_LEAST_HEIGHT_PX = 6
_PAUSE_PATTERNS: dict[str, dict[str, Any]] = {
    "travel": {"shape": "/", "size": 5, "solidity": 0.45},
    "wait": {"shape": ".", "size": 5, "solidity": 0.3},
}
_TIGHT_MIN = 0.5  # slack that rounds to nothing in whole minutes

Trace = dict[str, Any]


@dataclass(frozen=True)
class Bar:
    """One bar: its strip, its minutes, its hover text and the (step, crew, kind) it stands for."""

    strip: Strip
    start_min: float
    finish_min: float
    hover: str
    about: tuple[str, str, str]


def bar_trace(name: str, bars: Sequence[Bar], **look: Any) -> Trace:
    """A plotly bar trace of ``bars``; ``look`` overrides any of its attributes.

    A pattern lies over the bar's colour. Plotly's own default takes the colour away, its template does not; a
    spec that never becomes a figure has no template.
    """
    trace: Trace = {
        "type": "bar", "orientation": "h", "name": name, "xaxis": "x", "yaxis": "y",
        "base": [axis_ms(bar.start_min) for bar in bars],
        "x": [axis_ms(bar.finish_min) - axis_ms(bar.start_min) for bar in bars],
        "y": [bar.strip.mid for bar in bars],
        "width": [bar.strip.height for bar in bars],
        "customdata": [list(bar.about) for bar in bars],
        "showlegend": False,
    }
    if look.get("hoverinfo") != "skip":
        trace |= {"hovertext": [bar.hover for bar in bars], "hoverinfo": "text"}
    trace |= look
    if "pattern" in (marker := trace.get("marker", {})):
        trace["marker"] = marker | {"pattern": {"fillmode": "overlay"} | marker["pattern"]}
    return trace


def work_traces(scene: Scene) -> list[Trace]:
    """One trace a task, in the scenario's order; tasks without work in this plan get none."""
    traces = []
    outline = {"color": scene.theme.bar_outline, "width": 1}
    for rank, (task, (fill, texture)) in enumerate(scene.fills.items()):
        bars = [_activity_bar(row, scene) for row in scene.rows if row.kind == "work" and row.task == task]
        title = f"{task} {scene.words.tasks.get(task, '')}" if task else "outside any task"
        pattern = {"shape": texture, "size": 6, "solidity": 0.18, "fgcolor": RULING}
        traces.append(bar_trace(
            plotly_text(title, longest=LONGEST_TASK_NAME), bars,
            showlegend=True, legend="legend", legendrank=1000 + rank,
            marker={"color": fill, "pattern": pattern, "line": outline},
        ))
    return traces


def pause_traces(scene: Scene) -> list[Trace]:
    """Travel (a thin hatched band) and wait (a dotted block), both along the middle of their lane."""
    theme = scene.theme
    return [
        bar_trace(
            kind, [_activity_bar(row, scene) for row in scene.rows if row.kind == kind],
            showlegend=True, legend="legend2",
            marker={"color": theme.paper, "pattern": pattern | {"fgcolor": theme.ink},
                    "line": {"color": theme.ink, "width": 1}},
        )
        for kind, pattern in _PAUSE_PATTERNS.items()
    ]


def _activity_bar(row: Activity, scene: Scene) -> Bar:
    lane = scene.lanes.people[row.crew].main
    height = max(_LEAST_HEIGHT_PX, lane.height * _HEIGHT_SHARES[row.kind])
    strip = Strip(lane.mid - height / 2, height)
    text = activity_text(row, scene.words)
    return Bar(strip, row.start_min, row.finish_min, text, (row.step, row.crew, row.kind))


def tight_trace(scene: Scene) -> Trace:
    """A bold outline around the work that has no slack to plan: a delay there delays ingress."""
    tight = [row for row in scene.rows if row.kind == "work" and row.slack_to_plan_min < _TIGHT_MIN]
    return bar_trace(
        "no slack to plan", [_activity_bar(row, scene) for row in tight],
        showlegend=True, legend="legend2", hoverinfo="skip",
        marker={"color": CLEAR, "line": {"color": scene.theme.ink, "width": 2.5}},
    )


def together_trace(scene: Scene) -> Trace:
    """Steps that both do: the gutter between the two crew lanes is bridged while they last."""
    bars, fills = [], []
    upper, lower = scene.lanes.crew[0], scene.lanes.crew[-1]
    gutter = Strip(upper.main.bottom, lower.main.top - upper.main.bottom)
    partner = {(row.step, row.start_min) for row in scene.rows
               if row.crew == lower.who and row.kind == "work"}
    for row in scene.rows:
        if row.crew == upper.who and row.is_work_on(row.step) and (row.step, row.start_min) in partner:
            bars.append(Bar(gutter, row.start_min, row.finish_min, "", (row.step, "both", "together")))
            fills.append(scene.fills.get(row.task, (NO_TASK_FILL, ""))[0])
    return bar_trace(
        "done together", bars, showlegend=True, legend="legend2", hoverinfo="skip", opacity=0.4,
        marker={"color": fills, "line": {"width": 0, "color": INK_ON_FILL}},
    )
