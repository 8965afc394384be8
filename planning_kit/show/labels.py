"""Step ids and titles in the bars of the swimlane chart, and the baseline beside them."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from typing import Any

from planning_kit.plan.activities import Activity
from planning_kit.show.bars import CLEAR, LABEL_FONT_PX, Bar, Trace, bar_trace
from planning_kit.show.escape import one_line, plotly_text
from planning_kit.show.hover import ghost_text
from planning_kit.show.lanes import Lane, Strip
from planning_kit.show.palette import INK_ON_FILL
from planning_kit.show.scene import Scene

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
