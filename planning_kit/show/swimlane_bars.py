"""The bars of the swimlane chart: work, travel and wait with their words, inhibits, light and links.

Traces are plain dicts of lists, so that the figure's JSON is the same every time and diffs well.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from planning_kit.inputs.shown_text import one_line, plotly_text
from planning_kit.inputs.times import pet_label
from planning_kit.plan.activities import Activity
from planning_kit.show.chart import axis_ms
from planning_kit.show.chart_rows import activity_text, ghost_text, inhibit_text
from planning_kit.show.palette import INK_ON_FILL, NO_TASK_FILL, RULING
from planning_kit.show.swimlane_scene import Lane, Scene, Strip

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


NOMINAL_PLOT_PX = 700  # of a 1280 px laptop screen, beside the file browser and the margins of a notebook
GHOST_FONT_PX = 10
ID_SHARE = 0.42  # of the height of a crew lane; the rest is for the title
_CHAR_SHARE = 0.62  # mean width of a bold character over its height, for the sans-serif faces in use
_PADDING_PX = 8
_LEAST_UPRIGHT_PX = 6  # a narrower bar takes no text until it is zoomed
_TITLE_LINES, _SHORTEST_TITLE_LINE = 3, 10
_LONGEST_ID = 12


def label_traces(scene: Scene) -> list[Trace]:
    """Step ids and titles, as the text of invisible bars over the work.

    Lying text goes where it does not fit and comes back with zooming, titles last. An id that fits only
    upright at the chart's nominal width stands, and keeps its size.
    """
    lying: list[tuple[Bar, str]] = []
    upright: list[tuple[Bar, str]] = []
    titles: list[tuple[Bar, str]] = []
    for row in scene.rows:
        if row.kind != "work":
            continue
        lane = scene.lanes.people[row.crew]
        above, below = _id_and_title_strips(row, lane)
        name = plotly_text(row.step or row.title, longest=_LONGEST_ID)
        stands = lane.is_crew and _fits_only_upright(name, _nominal_px(row, scene))
        (upright if stands else lying).append((_label_bar(above, row), f"<b>{name}</b>"))
        if below is not None:
            titles.append((_label_bar(below, row), _title_lines(row.title)))
    return [
        _label_trace("ids", lying),
        _label_trace("upright ids", upright, textangle=-90, constraintext="none"),
        _label_trace("titles", titles),
    ]


def _id_and_title_strips(row: Activity, lane: Lane) -> tuple[Strip, Strip | None]:
    if not (lane.is_crew and row.step and row.title):
        return lane.main, None
    above = Strip(lane.main.top, lane.main.height * ID_SHARE)
    return above, Strip(above.bottom, lane.main.height - above.height)


def _nominal_px(row: Activity, scene: Scene) -> float:
    first, last = scene.shown
    return row.minutes * NOMINAL_PLOT_PX / (last - first)


def _lying_px(name: str, font_px: float) -> float:
    return len(name) * font_px * _CHAR_SHARE + _PADDING_PX


def _fits_only_upright(name: str, width_px: float) -> bool:
    return _LEAST_UPRIGHT_PX <= width_px < _lying_px(name, LABEL_FONT_PX)


def _title_lines(title: str) -> str:
    line = one_line(title)
    width = max(_SHORTEST_TITLE_LINE, math.ceil(len(line) / _TITLE_LINES) + 2)
    return "<br>".join(plotly_text(part) for part in textwrap.wrap(line, width)[:_TITLE_LINES])


def _label_bar(strip: Strip, row: Activity) -> Bar:
    return Bar(strip, row.start_min, row.finish_min, "", (row.step, row.crew, "label"))


def _label_trace(name: str, labelled: Sequence[tuple[Bar, str]], **look: Any) -> Trace:
    common: Trace = {
        "hoverinfo": "skip", "text": [text for _, text in labelled],
        "textposition": "inside", "insidetextanchor": "middle", "textangle": 0, "constraintext": "inside",
        "textfont": {"size": LABEL_FONT_PX, "color": INK_ON_FILL},
        "marker": {"color": CLEAR, "line": {"width": 0}},
    }
    return bar_trace(name, [bar for bar, _ in labelled], **(common | look))


def ghost_traces(scene: Scene) -> list[Trace]:
    """Where each step of the baseline was: hollow bars with its id, in a strip beside the lane."""
    if scene.before is None:
        return []
    bars, texts = [], []
    for old in scene.before:
        lane = scene.lanes.people.get(old.crew)
        if not old.is_work_on(old.step) or lane is None or lane.ghosts is None:
            continue
        text = ghost_text(old, _same_step(old, scene.rows), scene.words)
        bars.append(Bar(lane.ghosts, old.start_min, old.finish_min, text, (old.step, old.crew, "ghost")))
        texts.append(plotly_text(old.step, longest=_LONGEST_ID))
    theme = scene.theme
    return [bar_trace(
        "baseline", bars, showlegend=True, legend="legend2", text=texts, textposition="inside",
        insidetextanchor="middle", textangle=0, constraintext="inside",
        textfont={"size": GHOST_FONT_PX, "color": theme.quiet_ink},
        marker={"color": CLEAR, "line": {"color": theme.quiet_ink, "width": 1}},
    )]


def _same_step(old: Activity, rows: Sequence[Activity]) -> Activity | None:
    """The work on the same step now: of the same crew member if there is any, else of another."""
    now = [row for row in rows if row.is_work_on(old.step)]
    return next((row for row in now if row.crew == old.crew), now[0] if now else None)


_FONT_PX = 10
_LONGEST_INHIBIT = 16


def inhibit_trace(scene: Scene) -> Trace:
    """A hatched frame an inhibit, from when it must stand to when it may be lifted, with its id."""
    bars, texts = [], []
    for strip, row in zip(scene.lanes.inhibits, scene.inhibit_rows, strict=True):
        for hold in row:
            text = inhibit_text(hold, scene.words)
            about = (hold.inhibit, "", "inhibit")
            bars.append(Bar(strip, hold.set_by_min, hold.lift_after_min, text, about))
            texts.append(plotly_text(hold.inhibit, longest=_LONGEST_INHIBIT))
    theme = scene.theme
    return bar_trace(
        "inhibit in force", bars, showlegend=True, legend="legend2", text=texts, textposition="inside",
        insidetextanchor="middle", textangle=0, constraintext="inside",
        textfont={"size": _FONT_PX, "color": theme.ink},
        marker={"color": CLEAR, "line": {"color": theme.ink, "width": 1},
                "pattern": {"shape": "\\", "size": 9, "solidity": 0.12, "fgcolor": theme.quiet_ink}},
    )


def sky_traces(scene: Scene) -> list[Trace]:
    """The light lane: night, penumbra and day windows, told apart by text and pattern too.

    They stand on the GMT axis (``x2``): plotly draws no axis that carries no trace.
    """
    theme, strip = scene.theme, scene.lanes.light
    looks = (("night", theme.night, theme.night_ink, ""), ("penumbra", theme.penumbra, theme.ink, "x"),
             ("day", theme.day, theme.day_ink, ""))
    traces = []
    for kind, fill, ink, pattern in looks:
        names = [kind if kind == "penumbra" else f"{kind} {number}"
                 for number in range(1, len(scene.light[kind]) + 1)]
        bars = [Bar(strip, start, finish, _period_text(scene, name, start, finish), (name, "", "light"))
                for name, (start, finish) in zip(names, scene.light[kind], strict=True)]
        traces.append(bar_trace(
            kind, bars, xaxis="x2", text=["" if kind == "penumbra" else name for name in names],
            textposition="inside", insidetextanchor="middle", textangle=0, constraintext="inside",
            textfont={"color": ink, "size": LABEL_FONT_PX},
            marker={"color": fill, "line": {"color": theme.quiet_ink, "width": 1},
                    "pattern": {"shape": pattern, "size": 4, "fgcolor": theme.paper}},
        ))
    return traces


def link_trace(scene: Scene) -> Trace:
    """One thin row a relay or named window."""
    bars = [Bar(scene.lanes.links[name], start, finish, _period_text(scene, name, start, finish),
                (name, "", "link"))
            for name, periods in scene.links.items() for start, finish in periods]
    look = {"color": scene.theme.link, "line": {"color": scene.theme.link, "width": 1}}
    return bar_trace("links and named windows", bars, marker=look)


def outing_trace(scene: Scene) -> Trace:
    """The outing as a whole, from egress to the end of ingress, against the planned limit."""
    end_min, theme = scene.end_min, scene.theme
    margin = scene.limits["planned limit"][0] - end_min
    side = "before" if margin >= 0 else "after"
    text = f"outing ends {pet_label(end_min)}, {pet_label(abs(margin))} {side} the planned limit"
    hover = _period_text(scene, "Outing", 0.0, end_min)
    bar = Bar(scene.lanes.outing, 0.0, end_min, hover, ("", "", "outing"))
    return bar_trace(
        "outing", [bar], text=[text], textposition="inside", insidetextanchor="start", textangle=0,
        constraintext="inside", textfont={"size": LABEL_FONT_PX, "color": theme.paper},
        marker={"color": theme.quiet_ink, "line": {"width": 0}},
    )


def _period_text(scene: Scene, name: str, start: float, finish: float) -> str:
    words = scene.words
    return f"{plotly_text(name)}, {words.span(start, finish)}.<br>{words.gmt_span(start, finish)}."
