"""The swimlane chart of a plan: who does what, when, in which light, and what is wrong where.

It draws a finished plan and computes nothing of its own: every minute comes from the plan's tables.

Marks over and under the bars of the swimlane chart: hand-overs, findings, limits, the night behind all.

All of the swimlane chart that is no trace: axes, title, limits, legends and its content in words.
"""

from __future__ import annotations

import html
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from planning_kit.inputs.shown_text import one_line, plotly_text
from planning_kit.inputs.times import gmt_label, pet_label
from planning_kit.judge.findings import Finding
from planning_kit.plan.timed import AnyPlan, TimedPlan, as_plan
from planning_kit.show.chart import Chart, axis_ms, axis_names, chart_layout, time_axes
from planning_kit.show.chart_rows import finding_lanes, finding_minute, findings_text, handover_text
from planning_kit.show.palette import SEVERITY_SIGNS, Theme, theme_named
from planning_kit.show.swimlane_bars import (
    Trace,
    ghost_traces,
    inhibit_trace,
    label_traces,
    link_trace,
    outing_trace,
    pause_traces,
    sky_traces,
    tight_trace,
    together_trace,
    work_traces,
)
from planning_kit.show.swimlane_scene import Lane, Lanes, Scene, scene_of

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


_LEFT_PX, _RIGHT_PX, _TOP_PX = 124, 18, 84
_AXIS_PX, _LEGEND_ROW_PX = 34, 20
_LEGENDS = ("legend2", "legend")
_LEGEND_FONT_PX, _LEGEND_SIGN_PX, _LEAST_ENTRY_PX = 11, 45, 100  # plotly puts the sign before the entry
_CHAR_SHARE = 0.56  # mean width of a character over its height, for the sans-serif faces in use
_NARROW_PX = 900  # a page so narrow still has room for all entries
_LEAST_TEXT_PX = 10
_LONGEST_ROW_LABEL = 17


def layout_of(scene: Scene) -> dict[str, Any]:
    """Everything but the legends, whose room depends on the traces (see `legends_of`)."""
    theme = scene.theme
    return {
        **chart_layout(theme, _alt(scene), *_title(scene)), "barmode": "overlay",
        **time_axes(scene.shown, scene.reachable, scene.egress, theme),
        "yaxis": _row_axis(scene),
        "shapes": ground_shapes(scene) + limit_lines(scene) + now_line(scene),
        "annotations": limit_labels(scene) + now_label(scene) + axis_names(theme),
        "uniformtext": {"mode": "hide", "minsize": _LEAST_TEXT_PX},
        "dragmode": "zoom", "hoverdistance": 12,
    }


def legends_of(scene: Scene, traces: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """The signs, below them the tasks; ``height`` and ``margin`` leave room for both down to 900 px width."""
    entries = Counter(trace["legend"] for trace in traces if trace.get("showlegend"))
    layout: dict[str, Any] = {}
    below_px = _AXIS_PX
    for name in _LEGENDS:
        entry_px = _entry_px([trace["name"] for trace in traces if trace.get("legend") == name])
        a_row = max(1, (_NARROW_PX - _LEFT_PX - _RIGHT_PX) // (_LEGEND_SIGN_PX + entry_px))
        layout[name] = {
            "orientation": "h", "x": 0, "xanchor": "left", "yanchor": "top",
            "y": -below_px / scene.lanes.height, "entrywidth": entry_px,
            "entrywidthmode": "pixels", "bgcolor": "rgba(0,0,0,0)",
            "font": {"size": _LEGEND_FONT_PX, "color": scene.theme.ink},
            "itemsizing": "trace", "traceorder": "normal",
        }
        below_px += math.ceil(entries[name] / a_row) * _LEGEND_ROW_PX + 6
    layout["height"] = round(scene.lanes.height + _TOP_PX + below_px)
    layout["margin"] = {"l": _LEFT_PX, "r": _RIGHT_PX, "t": _TOP_PX, "b": below_px}
    return layout


def _entry_px(names: Sequence[str]) -> int:
    """Room for the longest name: plotly cuts none, it runs into the next entry."""
    longest = max((len(html.unescape(name)) for name in names), default=0)
    return max(_LEAST_ENTRY_PX, math.ceil(longest * _LEGEND_FONT_PX * _CHAR_SHARE))


def _title(scene: Scene) -> tuple[str, str]:
    head = " · ".join(part for part in (scene.title, scene.station) if part)
    below = (f"Egress {scene.egress:%Y-%m-%d}, GMT {gmt_label(scene.egress)} · "
             f"outing {pet_label(scene.end_min)} · {_findings_words(scene)}")
    return plotly_text(head, longest=100), plotly_text(below)


def _findings_words(scene: Scene) -> str:
    if not scene.found:
        return "no findings"
    counts = Counter(finding.severity for finding in scene.found)
    text = ", ".join(f"{count} {severity}" for severity, count in counts.items())
    unmarked = sum(not math.isfinite(finding_minute(finding, scene.work)) for finding in scene.found)
    return f"findings: {text}" + (f" ({unmarked} without a time, not marked)" if unmarked else "")


def _alt(scene: Scene) -> str:
    steps = {row.step for row in scene.rows if row.is_work_on(row.step)}
    doers = ", ".join(one_line(who) for who in sorted({row.crew for row in scene.rows if row.kind == "work"}))
    nights = sum(start < scene.end_min for start, _ in scene.light["night"])
    return (f"Swimlane chart: {scene.title}. Steps: {len(steps)}, of {doers}. "
            f"Outing: {pet_label(scene.end_min)} from egress at GMT {gmt_label(scene.egress)}. "
            f"Nights begun in it: {nights}. {_findings_words(scene).capitalize()}.")


def _row_axis(scene: Scene) -> dict[str, Any]:
    labels = _row_labels(scene)
    return {
        "range": [scene.lanes.height, 0], "fixedrange": True, "tickmode": "array", "tickvals": list(labels),
        "ticktext": list(labels.values()), "showgrid": False, "zeroline": False, "ticks": "",
        "ticklabelstandoff": 6, "tickfont": {"size": 11, "color": scene.theme.ink}, "automargin": False,
    }


def _row_labels(scene: Scene) -> dict[float, str]:
    """y of each row that has a name, to that name as plotly shows it."""
    lanes = scene.lanes
    labels = {lanes.light.mid: "light", lanes.outing.mid: "outing"}
    labels |= {strip.mid: plotly_text(name, _LONGEST_ROW_LABEL) for name, strip in lanes.links.items()}
    quiet = [(lanes.whole_plan, "whole plan"), *((strip, "inhibits") for strip in lanes.inhibits[:1])]
    for lane in lanes.people.values():
        name = plotly_text(lane.who, _LONGEST_ROW_LABEL)
        labels[lane.main.mid] = f'<b><span style="font-size:15px">{name}</span></b>' if lane.is_crew else name
        quiet += [(lane.ghosts, "baseline"), (lane.findings, "findings")]
    for strip, text in quiet:
        if strip is not None:
            labels[strip.mid] = f'<span style="color:{scene.theme.quiet_ink}">{text}</span>'
    return labels


def swimlane(plan: AnyPlan, baseline: AnyPlan | None = None, theme: str = "light") -> Chart:
    """Draw ``plan`` as lanes over time: light, links, EV1, EV2, others at work, inhibits, limits.

    ``baseline`` is another plan, whose steps are shown as hollow ghosts beside the lanes. ``theme`` is
    ``light`` or ``dark``; the chart brings its own ground, so that either reads in any notebook. The x axis
    counts milliseconds of PET and is labelled in PET below and GMT above; bars carry ``[step, crew, kind]``
    as custom data. Raises `ScenarioError` for another theme and for what is no plan.
    """
    timed = as_plan(plan)
    before = None if baseline is None else as_plan(baseline, "baseline")
    return Chart(**swimlane_spec(timed, before, theme))


def swimlane_spec(plan: TimedPlan, baseline: TimedPlan | None = None,
                  theme: str = "light") -> dict[str, Any]:
    """The same chart as plain ``data`` and ``layout`` of a plotly figure, for a widget that redraws often.

    Making a figure of it costs several times as much as drawing it does: plotly checks every attribute.
    """
    scene = scene_of(plan, baseline, theme_named(theme))
    traces = [trace for trace in _traces(scene) if trace["x"]]
    return {"data": traces, "layout": layout_of(scene) | legends_of(scene, traces)}


def _traces(scene: Scene) -> list[Trace]:
    """From the ground up: what comes later is drawn over what came before."""
    return [
        *sky_traces(scene),
        link_trace(scene),
        together_trace(scene),
        *work_traces(scene),
        *pause_traces(scene),
        tight_trace(scene),
        *label_traces(scene),
        *ghost_traces(scene),
        inhibit_trace(scene),
        outing_trace(scene),
        *handover_traces(scene),
        *finding_traces(scene),
    ]
