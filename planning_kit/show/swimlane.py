"""The swimlane chart of a plan: who does what, when, in which light, and what is wrong where.

It draws a finished plan and computes nothing of its own. Here are the marks over and under the bars
(hand-overs, findings, limits, nights) and all that is no trace: axes, title, legends, the content in words.
"""

import html
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

from planning_kit.inputs.shown_text import one_line, plotly_paragraph, plotly_text, shortened
from planning_kit.inputs.timeline_sheet import Baseline
from planning_kit.inputs.times import gmt_label, pet_label
from planning_kit.judge.findings import Finding
from planning_kit.plan.activities import WORK
from planning_kit.plan.network import grouped
from planning_kit.plan.timed import AnyPlan, TimedPlan, as_plan
from planning_kit.show import chart, chart_rows
from planning_kit.show.chart_rows import finding_minute
from planning_kit.show.palette import INK_ON_FILL, SEVERITY_SIGNS, Theme, theme_named
from planning_kit.show.swimlane_bars import SIGN, Trace, bar_traces
from planning_kit.show.swimlane_scene import Scene, Strip, scene_of

_LIMIT_LINES: dict[str, tuple[str | None, float]] = {
    "planned limit": ("dash", 1.6), "hard limit": ("solid", 2.2)}


def handover_traces(scene: Scene) -> list[Trace]:
    """Arrows from the lane that is done to the lane that waits: full for an item, dotted for mere order."""
    items = _arrows("item handed over", "solid", scene.theme)
    order = _arrows("comes after", "dot", scene.theme)
    for row in chart_rows.handovers(scene.plan):
        source, target = scene.lanes.people.get(row.from_crew), scene.lanes.people.get(row.to_crew)
        if source is None or target is None or source is target:
            continue
        edges = _facing(source.main, target.main)
        trace = order if row.what in ("", "after") else items
        text = chart_rows.handover_text(row)
        trace["x"] += [chart.axis_ms(row.from_min), chart.axis_ms(row.to_min), None]
        trace["y"] += [*edges, None]
        trace["hovertext"] += [text, text, ""]
        trace["customdata"] += [[row.from_step, row.from_crew, "handover"],
                                [row.to_step, row.to_crew, "handover"], ["", "", "handover"]]
        trace["marker"]["symbol"] += ["circle", "arrow", "circle"]
        trace["marker"]["size"] += [5, 11, 0]
    arrows = [items, order]
    # Below them the same lines in the colour of the ground, wider: light arrows stay in sight over bars.
    casing = chart.scatter("casing", [x for trace in arrows for x in trace["x"]],
                           [y for trace in arrows for y in trace["y"]], mode="lines", connectgaps=False,
                           opacity=0.7, line={"color": scene.theme.paper, "width": scene.theme.casing_px})
    return [casing, *arrows] if scene.theme.casing_px else arrows


def _facing(begin: Strip, end: Strip) -> tuple[float, float]:
    """The y of the edges that two strips turn to each other; of one strip its lower edge."""
    if begin.top == end.top:
        return begin.bottom, end.bottom
    return (begin.bottom, end.top) if begin.top < end.top else (begin.top, end.bottom)


def broken_line_trace(scene: Scene) -> Trace:
    """A dashed line with a cross between the two ends of a gap or an order that is broken."""
    trace = chart.scatter(
        "gap or order broken", [], [], mode="lines+markers", hovertext=[], customdata=[], hoverinfo="text",
        connectgaps=False, line={"color": scene.theme.stop, "width": 2.5, "dash": "4px,3px"}, **SIGN,
        marker={"symbol": [], "size": [], "color": scene.theme.stop, "opacity": 1,
                "line": {"color": scene.theme.stop, "width": 3}})
    for each in scene.words.broken:
        if each.line:
            (source, first), (target, last) = each.line
            y = _facing(scene.lanes.people[source].main, scene.lanes.people[target].main)
            text = plotly_paragraph(f"BROKEN: {each.words}.")
            trace["x"] += [chart.axis_ms(first), chart.axis_ms((first + last) / 2), chart.axis_ms(last), None]
            trace["y"] += [y[0], sum(y) / 2, y[1], None]
            trace["hovertext"] += [text] * 3 + [""]
            trace["customdata"] += [[each.steps[0], who, "broken"] for who in (source, "", target, "")]
            trace["marker"]["symbol"] += ["circle", "x-thin", "circle", "circle"]
            trace["marker"]["size"] += [5, 14, 5, 0]
    return trace


def _arrows(name: str, dash: str, theme: Theme) -> Trace:
    return chart.scatter(
        name, [], [], mode="lines+markers", hovertext=[], customdata=[], hoverinfo="text", connectgaps=False,
        line={"color": theme.ink, "width": 1.6 if dash == "solid" else 1.1, "dash": dash}, **SIGN,
        marker={"symbol": [], "size": [], "angleref": "previous", "color": theme.ink, "opacity": 1})


def finding_traces(scene: Scene) -> list[Trace]:
    """One sign a lane and moment, shaped by the worst severity there; more than one are counted in it."""
    spots = grouped((spot, finding) for finding in scene.found for spot in _spots(finding, scene))
    worst = {spot: min((finding.severity for finding in here), key=list(SEVERITY_SIGNS).index)
             for spot, here in spots.items()}
    worst_last = reversed(SEVERITY_SIGNS)  # and so drawn over the others
    return [trace for severity in worst_last for trace in _sign_traces(
        severity, {spot: here for spot, here in spots.items() if worst[spot] == severity}, scene.theme)]


def _spots(finding: Finding, scene: Scene) -> list[tuple[float, float]]:
    """(minute of PET, y) of a finding's signs, one a lane; none where it has no time."""
    minute = finding_minute(finding, scene.work)
    strips = [scene.lanes.people[who].findings if who else scene.lanes.whole_plan
              for who in chart_rows.finding_lanes(finding, scene.work, scene.lanes.people)]
    return [(minute, strip.mid) for strip in strips if strip is not None and math.isfinite(minute)]


def _sign_traces(severity: str, spots: dict[tuple[float, float], list[Finding]], theme: Theme) -> list[Trace]:
    symbol, size = SEVERITY_SIGNS[severity]
    fill, ink = {"stop": (theme.stop, theme.paper), "concern": (theme.concern, INK_ON_FILL),
                 "remark": (theme.remark, theme.ink)}[severity]
    x, y = [chart.axis_ms(minute) for minute, _ in spots], [y for _, y in spots]
    signs = chart.scatter(
        severity, x, y, legendgroup=severity, mode="markers", hoverinfo="text", **SIGN,
        legendrank=2000 + list(SEVERITY_SIGNS).index(severity),
        hovertext=[chart_rows.findings_text(here) for here in spots.values()],
        customdata=[[here[0].step, here[0].crew, "finding"] for here in spots.values()],
        marker={"symbol": symbol, "size": size, "color": fill, "opacity": 1,
                "line": {"color": theme.ink, "width": 1}})
    counts = chart.scatter(
        f"{severity} counts", x, y, legendgroup=severity, mode="text", textposition="middle center",
        text=[f"<b>{len(here)}</b>" if len(here) > 1 else "" for here in spots.values()],
        textfont={"size": 9, "color": ink})
    return [signs, counts]


def ground_shapes(scene: Scene) -> list[dict[str, Any]]:
    """The ground of the lanes, and the night as a light shade through all of them."""
    lanes, theme = scene.lanes, scene.theme
    grounds = [
        {"type": "rect", "xref": "paper", "yref": "y", "x0": 0, "x1": 1, "y0": lane.main.top,
         "y1": lane.main.bottom, "line": {"width": 0}, "layer": "below", "fillcolor": theme.lane,
         "name": "lane"}
        for lane in lanes.people.values()]
    return grounds + chart.night_shades(scene.plan.light.night, theme, yref="y", y0=lanes.light.top,
                                        y1=lanes.work_bottom)


def _limits_and_now(scene: Scene) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Upright lines through all lanes, and what stands to the left of each on a line of its own.

    The planned limit is dashed, the hard one full; now is the moment of a re-timing.
    """
    theme, lanes, now_min = scene.theme, scene.lanes, scene.plan.now_min
    strips = {"planned limit": lanes.planned_label, "hard limit": lanes.hard_label}
    shown = [(name, minute, strips[name], plotly_text(text, longest=90), (theme.stop, *_LIMIT_LINES[name]))
             for name, (minute, text) in scene.limits.items()]
    if now_min is not None:
        label = f"<b>now {pet_label(now_min)}</b>"
        shown.append(("now", now_min, lanes.hard_label, label, (theme.ink, None, 3)))
    lines = [chart.upright(name, minute, *look, yref="y", y0=lanes.light.top, y1=lanes.outing.bottom)
             for name, minute, _, _, look in shown]
    labels = [chart.note(text, chart.axis_ms(minute), strip.mid, theme.ink, xref="x", yref="y",
                         xanchor="right", yanchor="middle", xshift=-4, name=name, bgcolor=theme.paper,
                         borderpad=0) for name, minute, strip, text, _ in shown]
    return lines, labels


_LEFT_PX, _RIGHT_PX, _TOP_PX = 124, 18, 84
_AXIS_PX, _LEGEND_ROW_PX = 34, 20
_LEGENDS = ("legend2", "legend")
_LEGEND_FONT_PX, _LEGEND_SIGN_PX, _LEAST_ENTRY_PX = 11, 45, 100  # plotly puts the sign before the entry
_CHAR_SHARE = 0.56  # mean width of a character over its height, for the sans-serif faces in use
_NARROW_PX = 900  # a page so narrow still has room for all entries
_LEAST_TEXT_PX = 10
_LONGEST_ROW_LABEL, _LONGEST_BROKEN = 17, 160


def layout_of(scene: Scene) -> dict[str, Any]:
    """Everything but the legends, whose room depends on the traces (see `legends_of`)."""
    theme, plan, (lines, labels) = scene.theme, scene.plan, _limits_and_now(scene)
    title = chart.plan_title(scene.settings.title, scene.settings.station)
    below = (f"PET 0 {plan.pet_zero:%Y-%m-%d}, GMT {gmt_label(plan.pet_zero)} · "
             f"outing {pet_label(plan.end_min)} · {_findings_words(scene)}")
    return {
        **chart.shared_layout(theme, _alt(scene), title, plotly_text(below)), "barmode": "overlay",
        **chart.time_axes(scene.shown, scene.reachable, scene.plan.pet_zero, theme),
        "yaxis": chart.row_axis(_row_labels(scene), scene.lanes.height, theme.ink, ticks="",
                                ticklabelstandoff=6),
        "shapes": ground_shapes(scene) + lines, "annotations": labels + chart.axis_names(theme),
        "uniformtext": {"mode": "hide", "minsize": _LEAST_TEXT_PX},
        "dragmode": "zoom", "hoverdistance": 12,
    }


def legends_of(scene: Scene, traces: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """The signs, below them the tasks; ``height`` and ``margin`` leave room for both down to 900 px width."""
    entries = Counter(trace["legend"] for trace in traces if trace.get("showlegend"))
    layout: dict[str, Any] = {}
    below_px = _AXIS_PX
    for name in _LEGENDS:
        names = [html.unescape(trace["name"]) for trace in traces if trace.get("legend") == name]
        # Room for the longest name: plotly cuts none, it runs into the next entry.
        longest_px = max(map(len, names), default=0) * _LEGEND_FONT_PX * _CHAR_SHARE
        entry_px = max(_LEAST_ENTRY_PX, math.ceil(longest_px))
        a_row = max(1, (_NARROW_PX - _LEFT_PX - _RIGHT_PX) // (_LEGEND_SIGN_PX + entry_px))
        layout[name] = chart.legend_below(
            -below_px / scene.lanes.height, scene.theme, entrywidth=entry_px, entrywidthmode="pixels",
            font={"size": _LEGEND_FONT_PX, "color": scene.theme.ink}, itemsizing="trace", traceorder="normal")
        below_px += math.ceil(entries[name] / a_row) * _LEGEND_ROW_PX + 6
    layout["height"] = round(scene.lanes.height + _TOP_PX + below_px)
    layout["margin"] = {"l": _LEFT_PX, "r": _RIGHT_PX, "t": _TOP_PX, "b": below_px}
    return layout


def _findings_words(scene: Scene) -> str:
    if not scene.found:
        return "no findings"
    counts = Counter(finding.severity for finding in scene.found)
    text = ", ".join(f"{count} {severity}" for severity, count in counts.items())
    unmarked = sum(not math.isfinite(finding_minute(finding, scene.work)) for finding in scene.found)
    return f"findings: {text}" + (f" ({unmarked} without a time, not marked)" if unmarked else "")


def _alt(scene: Scene) -> str:
    plan = scene.plan
    doers = ", ".join(one_line(who) for who in sorted({row.crew for row in scene.rows if row.kind == WORK}))
    nights = sum(start < plan.end_min for start, _ in plan.light.night)
    return (f"Swimlane chart: {one_line(scene.settings.title)}. Steps: {len(scene.work)}, of {doers}. "
            f"Outing: {pet_label(plan.end_min)} from PET 0 at GMT {gmt_label(plan.pet_zero)}. "
            f"Nights begun in it: {nights}. {_findings_words(scene).capitalize()}."
            + "".join(f" Broken: {shortened(each.words, _LONGEST_BROKEN)}." for each in scene.words.broken))


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


def swimlane(plan: AnyPlan, baseline: AnyPlan | Baseline | None = None,
             theme: str = "light") -> chart.Chart:
    """Draw ``plan`` as lanes over time: light, links, EV1, EV2, others at work, inhibits, limits.

    ``baseline`` is another plan, or what an old sheet said (`read_timeline`): its steps are shown as hollow
    ghosts beside the lanes. ``theme`` is
    ``light`` or ``dark``; the chart brings its own ground, so that either reads in any notebook. The x axis
    counts milliseconds of PET and is labelled in PET below and GMT above; bars carry ``[step, crew, kind]``
    as custom data. Raises `ScenarioError` for another theme and for what is no plan.
    """
    timed = as_plan(plan)
    before = baseline if baseline is None or isinstance(baseline, Baseline) else as_plan(baseline, "baseline")
    return chart.Chart(**swimlane_spec(timed, before, theme))


def swimlane_spec(plan: TimedPlan, baseline: TimedPlan | Baseline | None = None,
                  theme: str = "light") -> dict[str, Any]:
    """The same chart as plain ``data`` and ``layout`` of a plotly figure, for a widget that redraws often.

    Making a figure of it costs several times as much as drawing it does: plotly checks every attribute.
    """
    scene = scene_of(plan, baseline, theme_named(theme))
    every = (*bar_traces(scene), *handover_traces(scene), broken_line_trace(scene), *finding_traces(scene))
    traces = [trace for trace in every if trace["x"]]
    return {"data": traces, "layout": layout_of(scene) | legends_of(scene, traces)}
