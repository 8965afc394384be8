"""When each task is finished, as bands of likelihood, with P(done by the hard limit)."""

from __future__ import annotations

import math
from typing import Any

from planning_kit.explore.odds.odds import as_odds
from planning_kit.inputs.times import pet_label
from planning_kit.show.chart import Chart
from planning_kit.show.escape import plotly_paragraph
from planning_kit.show.odds_frame import RIGHT_PX, limit_lines, row_label, rows_layout, samples_words
from planning_kit.show.palette import TASK_FILLS, Theme, theme_named
from planning_kit.show.time_axes import axis_ms

_FILL = TASK_FILLS[0]
_WIDE, _HALF = ("q05", "q95"), ("q25", "q75")
_P_PX = 118

Row = dict[Any, Any]


def fan_chart(odds: Any, theme: str = "light") -> Chart:
    """Draw the finish of each task and the outing end of ``odds`` over PET, in the order of the plan.

    Thin bar: 5 to 95 % of the samples; thick bar: the middle half; upright tick: median; circle: the plan on
    likely durations. At the right P(done by the hard limit), dropped and no plan counting as not done. Nights
    are shaded. ``theme`` is ``light`` or ``dark``. Raises `ScenarioError` for no odds and for
    another theme.
    """
    look, rows = theme_named(theme), _rows(as_odds(odds))
    limits = odds.timed.scenario.settings.limits
    known = [row[name] for row in rows for name in _WIDE if math.isfinite(row[name])]
    shown = (min([0.0, *known]) - 5.0, max([limits.hard_min, *known]) + 8.0)
    heading = (f"When each task is finished, nights shaded · {samples_words(odds)} · "
               f"no plan in {100 * odds.no_plan:.1f} %")
    layout = rows_layout(odds, look, [row_label(row["task"], row["title"]) for row in rows], shown, heading,
                         _alt(odds, rows))
    shapes, notes = limit_lines(odds, look, shown, "top")
    layout["xaxis"] |= {"nticks": 10}
    layout["xaxis2"] |= {"nticks": 5}
    layout["margin"] = layout["margin"] | {"r": RIGHT_PX + _P_PX}
    layout["shapes"] = [*_nights(odds, look), *shapes]
    layout["annotations"] = [*notes, *_chances(rows, look)]
    traces = [_bar(rows, _WIDE, 0.28, "5 to 95 % (thin)", look),
              _bar(rows, _HALF, 0.66, "middle half (thick)", look),
              _marks(rows, "q50", "median", look), _marks(rows, "planned_min", "on likely durations", look)]
    return Chart(data=traces, layout=layout)


def _rows(odds: Any) -> list[Row]:
    chances = odds.tasks.set_index("task")[["p_hard", "p_hard_se"]]
    tasks = odds.task_finish.set_index("task").join(chances).reset_index()
    rows = tasks.sort_values("planned_min", kind="stable").to_dict("records")
    finish = odds.finish.set_index("quantile")["end_min"]
    quantiles = {f"q{round(100 * at):02d}": finish[at] for at in (0.05, 0.25, 0.5, 0.75, 0.95)}
    hard = odds.summary.set_index("item").loc["both inside by the hard limit"]
    return [*rows, {"task": "", "title": "Both inside", "planned_min": odds.timed.end_min, "share": 1.0,
                    "p_hard": hard["p"], "p_hard_se": hard["se"], **quantiles}]


def _bar(rows: list[Row], ends: tuple[str, str], width: float, name: str, theme: Theme) -> dict[str, Any]:
    drawn = [(number, row) for number, row in enumerate(rows) if math.isfinite(row[ends[0]])]
    tops = [row[ends[1]] if math.isfinite(row[ends[1]]) else _last_known(row) for _, row in drawn]
    return {
        "type": "bar", "orientation": "h", "name": name, "xaxis": "x", "yaxis": "y",
        "base": [axis_ms(row[ends[0]]) for _, row in drawn],
        "x": [axis_ms(top) - axis_ms(row[ends[0]]) for top, (_, row) in zip(tops, drawn, strict=True)],
        "y": [number for number, _ in drawn], "width": [width] * len(drawn),
        "hovertext": [_hover(row) for _, row in drawn], "hoverinfo": "text",
        "marker": {"color": _FILL, "opacity": 1.0, "line": {"color": theme.ink, "width": 1}},
    }


def _last_known(row: Row) -> float:
    return max(float(row[name]) for name in ("q05", "q25", "q50", "q75", "q95") if math.isfinite(row[name]))


def _marks(rows: list[Row], column: str, name: str, theme: Theme) -> dict[str, Any]:
    drawn = [(number, row) for number, row in enumerate(rows) if math.isfinite(row[column])]
    is_median = column == "q50"
    marker = {"symbol": "circle", "size": 8, "color": theme.paper, "line": {"color": theme.ink, "width": 1.5}}
    if is_median:
        marker = {"symbol": "line-ns", "size": 15, "line": {"color": theme.ink, "width": 2.5}}
    return {
        "type": "scatter", "mode": "markers", "name": name, "xaxis": "x" if is_median else "x2", "yaxis": "y",
        "x": [axis_ms(row[column]) for _, row in drawn], "y": [number for number, _ in drawn],
        "hovertext": [_hover(row) for _, row in drawn], "hoverinfo": "text", "marker": marker,
    }


def _chances(rows: list[Row], theme: Theme) -> list[dict[str, Any]]:
    common = {"xref": "paper", "x": 1, "xanchor": "left", "xshift": 8, "showarrow": False, "align": "left"}
    head = common | {"text": "P(by hard limit)", "yref": "paper", "y": 1, "yanchor": "bottom", "yshift": 26,
                     "font": {"size": 11, "color": theme.quiet_ink}, "name": "heading"}
    each = common | {"yref": "y", "yanchor": "middle", "font": {"size": 12, "color": theme.ink},
                     "name": "chance"}
    return [head, *(each | {"y": number, "text": _percent(row)} for number, row in enumerate(rows))]


def _percent(row: Row) -> str:
    return f"{100 * row['p_hard']:.1f} % ± {100 * row['p_hard_se']:.1f}"


def _nights(odds: Any, theme: Theme) -> list[dict[str, Any]]:
    return [
        {"type": "rect", "xref": "x", "yref": "paper", "x0": axis_ms(float(start)), "x1": axis_ms(float(end)),
         "y0": 0, "y1": 1, "layer": "below", "line": {"width": 0}, "fillcolor": theme.night_shade,
         "name": f"night {number}"}
        for number, (start, end) in enumerate(odds.timed.light.night, start=1)
    ]


def _hover(row: Row) -> str:
    what = f"{row['task']}: {row['title']}" if row["task"] else row["title"]
    return "<br>".join((
        plotly_paragraph(what),
        f"Median {pet_label(row['q50'])}, plan {pet_label(row['planned_min'])}.",
        f"Middle half {pet_label(row['q25'])} to {pet_label(row['q75'])}; "
        f"5 to 95 % {pet_label(row['q05'])} to {pet_label(row['q95'])}.",
        f"By the hard limit in {_percent(row)}.",
    ))


def _alt(odds: Any, rows: list[Row]) -> str:
    end = rows[-1]
    weakest = min(rows[:-1], key=lambda row: row["p_hard"], default=None)
    told = f" Least likely done: {weakest['task']}, {100 * weakest['p_hard']:.1f} %." if weakest else ""
    return (f"Fan chart: both inside at {pet_label(end['q05'])} to {pet_label(end['q95'])} in 90 % of "
            f"{samples_words(odds)}, median {pet_label(end['q50'])}; by the hard limit in "
            f"{100 * end['p_hard']:.1f} %; no plan in {100 * odds.no_plan:.1f} %.{told}")
