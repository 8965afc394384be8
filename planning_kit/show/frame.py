"""All of the swimlane chart that is no trace: axes, title, limits, legends and its content in words."""

from __future__ import annotations

import html
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from planning_kit.inputs.times import gmt_label, pet_label
from planning_kit.show.activities import finding_minute
from planning_kit.show.chart import chart_layout
from planning_kit.show.escape import one_line, plotly_text
from planning_kit.show.marks import ground_shapes, limit_labels, limit_lines, now_label, now_line
from planning_kit.show.scene import Scene
from planning_kit.show.time_axes import axis_names, time_axes

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
