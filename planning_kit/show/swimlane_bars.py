"""The bars of the swimlane chart: work, travel and wait with their words, inhibits, light and links.

Traces are plain dicts of lists, so that the figure's JSON is the same every time and diffs well.
"""

import math
import textwrap
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from planning_kit.inputs.shown_text import one_line, plotly_paragraph, plotly_text
from planning_kit.inputs.times import pet_label
from planning_kit.plan.activities import WORK, Activity
from planning_kit.plan.moments import LIGHT_KINDS
from planning_kit.show.chart import axis_ms
from planning_kit.show.chart_rows import activity_lines, ghost_line, inhibit_text, is_tight
from planning_kit.show.palette import CLEAR, INK_ON_FILL, NO_TASK_FILL
from planning_kit.show.swimlane_scene import Lane, Scene, Strip
from planning_kit.show.wording import against

LABEL_FONT_PX = 11
LONGEST_TASK_NAME = 44  # in the legend: two such entries fit beside each other on a narrow page
_HEIGHT_SHARES = {"work": 1.0, "wait": 0.34, "travel": 0.16}  # of a lane
_LEAST_HEIGHT_PX = 6
_PAUSE_PATTERNS: dict[str, dict[str, Any]] = {
    "travel": {"shape": "/", "size": 5, "solidity": 0.45},
    "wait": {"shape": ".", "size": 5, "solidity": 0.3},
}
SIGN: dict[str, Any] = {"showlegend": True, "legend": "legend2"}
"""An entry of the upper legend, which explains the signs; the lower one names the tasks."""
UNSEEN: dict[str, Any] = {"color": CLEAR, "line": {"width": 0}}
"""The marker of bars that carry nothing but their words."""

Trace = dict[str, Any]


@dataclass(frozen=True)
class Bar:
    """One bar: its strip, its minutes, the (step, crew, kind) it stands for, its hover text and label."""

    strip: Strip
    start_min: float
    finish_min: float
    about: tuple[str, str, str]
    hover: str = ""
    label: str = ""


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


def labelled_trace(name: str, bars: Sequence[Bar], ink: str, font_px: int = LABEL_FONT_PX,
                   **look: Any) -> Trace:
    """The same with the labels in the bars, as large as ``font_px`` or as fits."""
    return bar_trace(name, bars, **({
        "text": [bar.label for bar in bars], "textposition": "inside", "insidetextanchor": "middle",
        "textangle": 0, "constraintext": "inside", "textfont": {"size": font_px, "color": ink}} | look))


def work_traces(scene: Scene) -> list[Trace]:
    """One trace a task, in the scenario's order; tasks without work in this plan get none."""
    traces = []
    outline = {"color": scene.theme.bar_outline, "width": 1}
    for rank, (task, (fill, letter)) in enumerate(scene.fills.items()):
        title = f"{letter}: {task} {scene.words.tasks.get(task, '')}" if task else "outside any task"
        traces.append(bar_trace(
            plotly_text(title, longest=LONGEST_TASK_NAME),
            [_activity_bar(row, scene) for row in scene.rows if row.kind == WORK and row.task == task],
            showlegend=True, legend="legend", legendrank=1000 + rank,
            marker={"color": fill, "line": outline}))
    return traces


def pause_traces(scene: Scene) -> list[Trace]:
    """Travel (a thin hatched band) and wait (a dotted block), both along the middle of their lane."""
    theme = scene.theme
    return [
        bar_trace(kind, [_activity_bar(row, scene) for row in scene.rows if row.kind == kind], **SIGN,
                  marker={"color": theme.paper, "pattern": pattern | {"fgcolor": theme.ink},
                          "line": {"color": theme.ink, "width": 1}})
        for kind, pattern in _PAUSE_PATTERNS.items()]


def _activity_bar(row: Activity, scene: Scene) -> Bar:
    lane = scene.lanes.people[row.crew].main
    height = max(_LEAST_HEIGHT_PX, lane.height * _HEIGHT_SHARES[row.kind])
    hover = "<br>".join(map(plotly_paragraph, activity_lines(row, scene.words)))
    return Bar(Strip(lane.mid - height / 2, height), row.start_min, row.finish_min,
               (row.step, row.crew, row.kind), hover)


def tight_trace(scene: Scene) -> Trace:
    """A bold outline around the work that has no slack to plan: a delay there delays ingress."""
    return bar_trace("no slack to plan", [_activity_bar(row, scene) for row in scene.rows if is_tight(row)],
                     **SIGN, hoverinfo="skip",
                     marker={"color": CLEAR, "line": {"color": scene.theme.ink, "width": 2.5}})


_BEYOND_PX = 4  # so far the frame of a broken rule stands out of its lane
_PALER = "rgba(255,255,255,0.4)"


def broken_traces(scene: Scene) -> list[Trace]:
    """What breaks a rule: a frame that stands out of its lane, hatched where it lies outside its window."""
    hatched = [replace(_activity_bar(row, scene), start_min=first, finish_min=last)
               for each in scene.words.broken for step, first, last in each.outside
               for row in scene.work[step]]
    framed = [_activity_bar(row, scene) for step in scene.words.breaking for row in scene.work[step]]
    frames = [replace(bar, strip=Strip(bar.strip.top - _BEYOND_PX, bar.strip.height + 2 * _BEYOND_PX))
              for bar in framed]
    pattern = {"shape": "x", "size": 7, "solidity": 0.35, "fgcolor": INK_ON_FILL}
    return [bar_trace("outside its window", hatched, **SIGN, hoverinfo="skip",
                      marker={"color": _PALER, "pattern": pattern, "line": {"width": 0}}),
            bar_trace("breaks a rule", frames, **SIGN, hoverinfo="skip",
                      marker={"color": CLEAR, "line": {"color": scene.theme.stop, "width": 2.5}})]


def together_trace(scene: Scene) -> Trace:
    """Steps that both do: the gutter between the two crew lanes is bridged while they last."""
    upper, lower = scene.lanes.crew[0], scene.lanes.crew[-1]
    gutter = Strip(upper.main.bottom, lower.main.top - upper.main.bottom)
    partner = {(row.step, row.start_min) for row in scene.rows if row.crew == lower.who and row.kind == WORK}
    shared = [row for row in scene.rows if row.crew == upper.who and row.is_work_on(row.step)
              and (row.step, row.start_min) in partner]
    return bar_trace(
        "done together", [Bar(gutter, row.start_min, row.finish_min, (row.step, "both", "together"))
                          for row in shared], **SIGN, hoverinfo="skip", opacity=0.4,
        marker={"color": [scene.fills.get(row.task, (NO_TASK_FILL, ""))[0] for row in shared],
                "line": {"width": 0, "color": INK_ON_FILL}})


NOMINAL_PLOT_PX = 700  # of a 1280 px laptop screen, beside the file browser and the margins of a notebook
SMALL_FONT_PX = 10
ID_SHARE = 0.42  # of the height of a crew lane; the rest is for the title
_CHAR_SHARE = 0.62  # mean width of a bold character over its height, for the sans-serif faces in use
_PADDING_PX = 8
_LEAST_UPRIGHT_PX = 6  # a narrower bar takes no text until it is zoomed
_TITLE_LINES, _SHORTEST_TITLE_LINE = 3, 10
_LONGEST_ID, _LONGEST_INHIBIT = 12, 16


def label_traces(scene: Scene) -> list[Trace]:
    """Step ids and titles, as the text of invisible bars over the work.

    Lying text goes where it does not fit and comes back with zooming, titles last. An id that fits only
    upright at the chart's nominal width stands, and keeps its size.
    """
    lying: list[Bar] = []
    upright: list[Bar] = []
    titles: list[Bar] = []
    px_per_min = NOMINAL_PLOT_PX / (scene.shown[1] - scene.shown[0])
    for row in scene.rows:
        if row.kind != WORK:
            continue
        lane = scene.lanes.people[row.crew]
        above, below = _id_and_title_strips(row, lane)
        name = plotly_text(row.step or row.title, longest=_LONGEST_ID)
        lying_px = len(name) * LABEL_FONT_PX * _CHAR_SHARE + _PADDING_PX
        stands = lane.is_crew and _LEAST_UPRIGHT_PX <= row.minutes * px_per_min < lying_px
        letter = scene.fills.get(row.task, ("", ""))[1] if row.step and not stands else ""
        (upright if stands else lying).append(label_bar(above, row, f"<b>{name}</b> {letter}".rstrip()))
        if below is not None:
            titles.append(label_bar(below, row, _title_lines(row.title)))
    look: dict[str, Any] = {"hoverinfo": "skip", "marker": UNSEEN}
    return [labelled_trace("ids", lying, INK_ON_FILL, **look),
            labelled_trace("upright ids", upright, INK_ON_FILL, **look, textangle=-90, constraintext="none"),
            labelled_trace("titles", titles, INK_ON_FILL, **look)]


def _id_and_title_strips(row: Activity, lane: Lane) -> tuple[Strip, Strip | None]:
    if not (lane.is_crew and row.step and row.title):
        return lane.main, None
    above = Strip(lane.main.top, lane.main.height * ID_SHARE)
    return above, Strip(above.bottom, lane.main.height - above.height)


def _title_lines(title: str) -> str:
    line = one_line(title)
    width = max(_SHORTEST_TITLE_LINE, math.ceil(len(line) / _TITLE_LINES) + 2)
    return "<br>".join(plotly_text(part) for part in textwrap.wrap(line, width)[:_TITLE_LINES])


def label_bar(strip: Strip, row: Activity, label: str) -> Bar:
    """A bar that is there for its label alone."""
    return Bar(strip, row.start_min, row.finish_min, (row.step, row.crew, "label"), label=label)


def ghost_traces(scene: Scene) -> list[Trace]:
    """Where each step of the baseline was: hollow bars with its id, in a strip beside the lane."""
    if scene.before is None:
        return []
    quiet = scene.theme.quiet_ink
    bars = [Bar(lane.ghosts, old.start_min, old.finish_min, (old.step, old.crew, "ghost"),
                plotly_paragraph(ghost_line(old, scene.work.get(old.step, ()), scene.words)),
                plotly_text(old.step, _LONGEST_ID))
            for old in scene.before if old.is_work_on(old.step)
            and (lane := scene.lanes.people.get(old.crew)) is not None and lane.ghosts is not None]
    return [labelled_trace("baseline", bars, quiet, SMALL_FONT_PX, **SIGN,
                           marker={"color": CLEAR, "line": {"color": quiet, "width": 1}})]


def inhibit_trace(scene: Scene) -> Trace:
    """A hatched frame an inhibit, from when it must stand to when it may be lifted, with its id."""
    theme = scene.theme
    bars = [Bar(strip, hold.set_by_min, hold.lift_after_min, (hold.inhibit.inhibit, "", "inhibit"),
                inhibit_text(hold, scene.words), plotly_text(hold.inhibit.inhibit, _LONGEST_INHIBIT))
            for strip, row in zip(scene.lanes.inhibits, scene.inhibit_rows, strict=True) for hold in row]
    return labelled_trace(
        "inhibit in force", bars, theme.ink, SMALL_FONT_PX, **SIGN,
        marker={"color": CLEAR, "line": {"color": theme.ink, "width": 1},
                "pattern": {"shape": "\\", "size": 9, "solidity": 0.12, "fgcolor": theme.quiet_ink}})


def sky_traces(scene: Scene) -> list[Trace]:
    """The light lane: night, penumbra and day windows, told apart by text and pattern too.

    They stand on the GMT axis (``x2``): plotly draws no axis that carries no trace.
    """
    theme, strip = scene.theme, scene.lanes.light
    looks = {"night": (theme.night, theme.night_ink, ""), "penumbra": (theme.penumbra, INK_ON_FILL, "x"),
             "day": (theme.day, theme.day_ink, "")}
    traces = []
    for kind in LIGHT_KINDS:
        fill, ink, pattern = looks[kind]
        bars = []
        for number, (start, finish) in enumerate(getattr(scene.plan.light, kind), start=1):
            label = "" if kind == "penumbra" else f"{kind} {number}"
            bars.append(_period_bar(scene, strip, label or kind, start, finish, "light", label))
        traces.append(labelled_trace(
            kind, bars, ink, xaxis="x2",
            marker={"color": fill, "line": {"color": theme.quiet_ink, "width": 1},
                    "pattern": {"shape": pattern, "size": 4, "fgcolor": theme.paper}}))
    return traces


def link_trace(scene: Scene) -> Trace:
    """One thin row a relay or named window."""
    bars = [_period_bar(scene, scene.lanes.links[name], name, start, finish, "link")
            for name, periods in scene.links.items() for start, finish in periods]
    look = {"color": scene.theme.link, "line": {"color": scene.theme.link, "width": 1}}
    return bar_trace("links and named windows", bars, marker=look)


def outing_trace(scene: Scene) -> Trace:
    """The outing as a whole, from PET 0 to the end of ingress, against the planned limit."""
    end_min, theme = scene.plan.end_min, scene.theme
    planned_min = scene.limits["planned limit"][0]
    text = f"outing ends {pet_label(end_min)}, {against(planned_min, end_min)} the planned limit"
    bar = _period_bar(scene, scene.lanes.outing, "Outing", 0.0, end_min, "outing", text, "")
    return labelled_trace("outing", [bar], theme.paper, insidetextanchor="start",
                          marker={"color": theme.quiet_ink, "line": {"width": 0}})


def _period_bar(scene: Scene, strip: Strip, name: str, start: float, finish: float, kind: str,
                label: str = "", about: str | None = None) -> Bar:
    words = scene.words
    hover = f"{plotly_text(name)}, {words.span(start, finish)}.<br>{words.gmt_span(start, finish)}."
    return Bar(strip, start, finish, (name if about is None else about, "", kind), hover, label)


def bar_traces(scene: Scene) -> Iterator[Trace]:
    """All bars, from the ground up: what comes later is drawn over what came before."""
    yield from (*sky_traces(scene), link_trace(scene), together_trace(scene))
    yield from (*work_traces(scene), *pause_traces(scene), tight_trace(scene), *broken_traces(scene))
    yield from label_traces(scene)
    yield from (*ghost_traces(scene), inhibit_trace(scene), outing_trace(scene))
