"""Marks over and under the bars of the swimlane chart: hand-overs, findings, limits, the night behind all."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from planning_kit.inputs.times import pet_label
from planning_kit.show.activities import Finding, finding_lanes, finding_minute
from planning_kit.show.bars import Trace
from planning_kit.show.escape import plotly_text
from planning_kit.show.hover import findings_text, handover_text
from planning_kit.show.lanes import Lane, Lanes
from planning_kit.show.palette import SEVERITY_SIGNS, Theme
from planning_kit.show.scene import Scene
from planning_kit.show.time_axes import axis_ms

_LIMIT_LINES = {"planned limit": ("dash", 1.6), "hard limit": ("solid", 2.2)}


def handover_traces(scene: Scene) -> list[Trace]:
    """Arrows from the lane that is done to the lane that waits: full for an item, dotted for mere order."""
    items = _arrows("item handed over", "solid", scene.theme)
    order = _arrows("comes after", "dot", scene.theme)
    for row in scene.handovers:
        source, target = scene.lanes.people.get(row.from_crew), scene.lanes.people.get(row.to_crew)
        if source is None or target is None or source is target:
            continue
        trace = order if row.what in ("", "after") else items
        text = handover_text(row, scene.words)
        trace["x"] += [axis_ms(row.from_min), axis_ms(row.to_min), None]
        trace["y"] += [*_facing_edges(source, target), None]
        trace["hovertext"] += [text, text, ""]
        trace["customdata"] += [[row.from_step, row.from_crew, "handover"],
                                [row.to_step, row.to_crew, "handover"], ["", "", "handover"]]
        trace["marker"]["symbol"] += ["circle", "arrow", "circle"]
        trace["marker"]["size"] += [5, 11, 0]
    casing = [_casing([items, order], scene.theme)] if scene.theme.casing_px else []
    return [*casing, items, order]


def _arrows(name: str, dash: str, theme: Theme) -> Trace:
    return {
        "type": "scatter", "mode": "lines+markers", "name": name, "xaxis": "x", "yaxis": "y",
        "x": [], "y": [], "hovertext": [], "customdata": [], "hoverinfo": "text",
        "showlegend": True, "legend": "legend2", "connectgaps": False,
        "line": {"color": theme.ink, "width": 1.6 if dash == "solid" else 1.1, "dash": dash},
        "marker": {"symbol": [], "size": [], "angleref": "previous", "color": theme.ink, "opacity": 1},
    }


def _casing(arrows: Sequence[Trace], theme: Theme) -> Trace:
    """The same lines in the colour of the ground, wider and below: light arrows stay in sight over bars."""
    return {
        "type": "scatter", "mode": "lines", "name": "casing", "xaxis": "x", "yaxis": "y",
        "x": [x for trace in arrows for x in trace["x"]], "y": [y for trace in arrows for y in trace["y"]],
        "showlegend": False, "hoverinfo": "skip", "connectgaps": False, "opacity": 0.7,
        "line": {"color": theme.paper, "width": theme.casing_px},
    }


def _facing_edges(source: Lane, target: Lane) -> tuple[float, float]:
    if source.main.top < target.main.top:
        return source.main.bottom, target.main.top
    return source.main.top, target.main.bottom


def finding_traces(scene: Scene) -> list[Trace]:
    """One sign a lane and moment, shaped by the worst severity there; more than one are counted in it."""
    spots: dict[tuple[float, float], list[Finding]] = {}
    for finding in scene.found:
        for spot in _spots(finding, scene):
            spots.setdefault(spot, []).append(finding)
    worst_last = reversed(SEVERITY_SIGNS)  # and so drawn over the others
    return [trace for severity in worst_last
            for trace in _sign_traces(severity, {spot: here for spot, here in spots.items()
                                                 if _worst(here) == severity}, scene.theme)]


def _spots(finding: Finding, scene: Scene) -> list[tuple[float, float]]:
    """(minute of PET, y) of a finding's signs, one a lane; none where it has no time."""
    minute = finding_minute(finding, scene.work)
    strips = [scene.lanes.people[who].findings if who else scene.lanes.whole_plan
              for who in finding_lanes(finding, scene.work, scene.lanes.people)]
    return [(minute, strip.mid) for strip in strips if strip is not None and math.isfinite(minute)]


def _worst(found: Sequence[Finding]) -> str:
    """The worst severity among findings; a severity that is not known counts as a remark."""
    present = {finding.severity for finding in found}
    return next((severity for severity in SEVERITY_SIGNS if severity in present), "remark")


def _sign_traces(severity: str, spots: dict[tuple[float, float], list[Finding]], theme: Theme) -> list[Trace]:
    sign = SEVERITY_SIGNS[severity]
    fill, ink = {"stop": (theme.stop, theme.paper), "concern": (theme.concern, "#15181C"),
                 "remark": (theme.remark, theme.ink)}[severity]
    where: Trace = {"type": "scatter", "xaxis": "x", "yaxis": "y", "legendgroup": severity,
                    "x": [axis_ms(minute) for minute, _ in spots], "y": [y for _, y in spots]}
    signs = where | {
        "name": severity, "mode": "markers", "showlegend": True, "legend": "legend2", "hoverinfo": "text",
        "legendrank": 2000 + list(SEVERITY_SIGNS).index(severity),
        "hovertext": [findings_text(here) for here in spots.values()],
        "customdata": [[here[0].step, here[0].crew, "finding"] for here in spots.values()],
        "marker": {"symbol": sign.symbol, "size": sign.size, "color": fill, "opacity": 1,
                   "line": {"color": theme.ink, "width": 1}},
    }
    counts = where | {
        "name": f"{severity} counts", "mode": "text", "showlegend": False, "hoverinfo": "skip",
        "text": [f"<b>{len(here)}</b>" if len(here) > 1 else "" for here in spots.values()],
        "textposition": "middle center", "textfont": {"size": 9, "color": ink},
    }
    return [signs, counts]


def ground_shapes(scene: Scene) -> list[dict[str, Any]]:
    """The ground of the lanes, and the night as a light shade through all of them."""
    lanes, theme = scene.lanes, scene.theme
    common = {"type": "rect", "yref": "y", "line": {"width": 0}, "layer": "below"}
    grounds = [
        common | {"xref": "paper", "x0": 0, "x1": 1, "y0": lane.main.top, "y1": lane.main.bottom,
                  "fillcolor": theme.lane, "name": "lane"}
        for lane in lanes.people.values()
    ]
    nights = [
        common | {"xref": "x", "x0": axis_ms(start), "x1": axis_ms(finish), "y0": lanes.light.top,
                  "y1": lanes.work_bottom, "fillcolor": theme.night_shade, "name": f"night {number}"}
        for number, (start, finish) in enumerate(scene.light["night"], start=1)
    ]
    return grounds + nights


def limit_lines(scene: Scene) -> list[dict[str, Any]]:
    """An upright line a limit, through all lanes: the planned one dashed, the hard one full."""
    return [
        {"type": "line", "xref": "x", "x0": axis_ms(minute), "x1": axis_ms(minute), "yref": "y",
         "y0": scene.lanes.light.top, "y1": scene.lanes.outing.bottom, "name": name, "layer": "above",
         "line": dict(zip(("dash", "width"), _LIMIT_LINES[name], strict=True)) | {"color": scene.theme.stop}}
        for name, (minute, _) in scene.limits.items()
    ]


def now_line(scene: Scene) -> list[dict[str, Any]]:
    """An upright line at the moment of the re-timing, through all lanes; none before the outing."""
    if scene.now_min is None:
        return []
    at = axis_ms(scene.now_min)
    return [{"type": "line", "xref": "x", "x0": at, "x1": at, "yref": "y", "y0": scene.lanes.light.top,
             "y1": scene.lanes.outing.bottom, "name": "now", "layer": "above",
             "line": {"color": scene.theme.ink, "width": 3}}]


def now_label(scene: Scene) -> list[dict[str, Any]]:
    """What time it is, beside the line."""
    if scene.now_min is None:
        return []
    return [{"x": axis_ms(scene.now_min), "xref": "x", "y": _label_strips(scene.lanes)["hard limit"],
             "yref": "y", "xanchor": "right", "yanchor": "middle", "showarrow": False, "xshift": -4,
             "text": f"<b>now {pet_label(scene.now_min)}</b>", "name": "now",
             "font": {"size": 11, "color": scene.theme.ink}, "bgcolor": scene.theme.paper, "borderpad": 0}]


def limit_labels(scene: Scene) -> list[dict[str, Any]]:
    """What each limit is, with its source, to the left of its line; each on a line of its own."""
    strips = _label_strips(scene.lanes)
    return [
        {"x": axis_ms(minute), "xref": "x", "y": strips[name], "yref": "y",
         "xanchor": "right", "yanchor": "middle", "showarrow": False, "xshift": -4,
         "text": plotly_text(text, longest=90), "name": name,
         "font": {"size": 11, "color": scene.theme.ink}, "bgcolor": scene.theme.paper, "borderpad": 0}
        for name, (minute, text) in scene.limits.items()
    ]


def _label_strips(lanes: Lanes) -> dict[str, float]:
    return {"planned limit": lanes.planned_label.mid, "hard limit": lanes.hard_label.mid}
