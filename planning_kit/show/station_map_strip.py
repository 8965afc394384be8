"""The swimlanes under the station map, low enough for both to be seen at once: the same bars, small."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from planning_kit.show.bars import CLEAR, LABEL_FONT_PX, Bar, Trace, bar_trace, pause_traces, work_traces
from planning_kit.show.escape import plotly_text
from planning_kit.show.inhibit_rows import inhibit_trace
from planning_kit.show.lanes import Lane, Lanes, Strip
from planning_kit.show.marks import finding_traces, ground_shapes
from planning_kit.show.palette import INK_ON_FILL
from planning_kit.show.scene import Scene
from planning_kit.show.sky_rows import sky_traces
from planning_kit.show.time_axes import time_axes

_LIGHT_PX, _CREW_PX, _ACTOR_PX, _FINDINGS_PX, _INHIBIT_PX = 20, 30, 12, 16, 19
_LONGEST_ROW_LABEL = 14
_EDGE_SHARE = 0.012  # of the outing, shown before and after it: as wide as the ends of the slider below


def strip_scene(scene: Scene) -> Scene:
    """The scene of a swimlane chart with low lanes, without ghosts, links and limits."""
    return replace(scene, before=None, limits={}, links={}, lanes=_low_lanes(scene.lanes))


def strip_traces(scene: Scene) -> list[Trace]:
    """Light, work, travel and waits, inhibits and findings; none of them in the legend."""
    traces = [*sky_traces(scene), *work_traces(scene), *pause_traces(scene), _ids(scene),
              inhibit_trace(scene), *finding_traces(scene)]
    return [trace | {"showlegend": False} for trace in traces if trace["x"]]


def strip_layout(scene: Scene, domain: Sequence[float]) -> dict[str, Any]:
    """Axes and grounds of the strip in ``domain`` (shares of the plot's height)."""
    edge_min = scene.end_min * _EDGE_SHARE
    shown = (-edge_min, scene.end_min + edge_min)
    axes = time_axes(shown, shown, scene.egress, scene.theme)
    for axis in axes.values():
        axis |= {"fixedrange": True, "showspikes": False}
    axes["xaxis2"] |= {"showticklabels": False, "ticks": ""}  # the clock above says GMT
    labels = _row_labels(scene)
    rows = {"domain": list(domain), "range": [scene.lanes.height, 0], "fixedrange": True, "ticks": "",
            "tickmode": "array", "tickvals": list(labels), "ticktext": list(labels.values()),
            "showgrid": False, "zeroline": False, "tickfont": {"size": 11, "color": scene.theme.ink},
            "automargin": False, "ticklabelstandoff": 4}
    return {**axes, "yaxis": rows, "shapes": ground_shapes(scene)}


def _low_lanes(full: Lanes) -> Lanes:
    at = 3.0

    def take(height: float, gap: float = 2.0) -> Strip:
        nonlocal at
        strip = Strip(at, height)
        at += height + gap
        return strip

    light = take(_LIGHT_PX)
    whole_plan = take(_FINDINGS_PX) if full.whole_plan else None
    people = {}
    for who, lane in full.people.items():
        findings = take(_FINDINGS_PX, 1.0) if lane.findings and lane.is_crew else None
        people[who] = Lane(who, lane.is_crew, take(_CREW_PX if lane.is_crew else _ACTOR_PX), findings, None)
    inhibits = [take(_INHIBIT_PX) for _ in full.inhibits]
    none = Strip(at - 3.0, 0.0)
    return Lanes(light, {}, whole_plan, people, inhibits, none, none, none)


def _ids(scene: Scene) -> Trace:
    """Step ids in the bars, lying or upright, whichever fits; where none fits none is shown."""
    bars, texts = [], []
    for row in scene.rows:
        if row.kind == "work":
            strip = scene.lanes.people[row.crew].main
            bars.append(Bar(strip, row.start_min, row.finish_min, "", (row.step, row.crew, "label")))
            texts.append(f"<b>{plotly_text(row.step or row.title, 12)}</b>")
    return bar_trace(
        "ids", bars, hoverinfo="skip", text=texts, textposition="inside", insidetextanchor="middle",
        constraintext="inside", textfont={"size": LABEL_FONT_PX, "color": INK_ON_FILL},
        marker={"color": CLEAR, "line": {"width": 0}})


def _row_labels(scene: Scene) -> dict[float, str]:
    lanes = scene.lanes
    labels = {lanes.light.mid: "light"}
    for lane in lanes.people.values():
        name = plotly_text(lane.who, _LONGEST_ROW_LABEL)
        labels[lane.main.mid] = f"<b>{name}</b>" if lane.is_crew else name
    labels |= {strip.mid: "inhibits" for strip in lanes.inhibits[:1]}
    return labels
