"""What drives the spread of the outing end, the widest swing on top."""

from __future__ import annotations

import math
from typing import Any

from planning_kit.explore.odds.odds import as_odds
from planning_kit.inputs.arguments import is_whole
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.times import pet_label
from planning_kit.show.chart import Chart
from planning_kit.show.escape import one_line, plotly_paragraph
from planning_kit.show.odds_frame import limit_lines, row_label, rows_layout, samples_words, upright
from planning_kit.show.palette import INK_ON_FILL, TASK_FILLS, Theme, theme_named
from planning_kit.show.time_axes import axis_ms

_SHORT_FILL, _LONG_FILL = TASK_FILLS[5], TASK_FILLS[1]
_LEAST_SPAN_MIN = 20.0

Row = dict[Any, Any]


def tornado_chart(odds: Any, rows: int = 12, theme: str = "light") -> Chart:
    """Draw the ``rows`` strongest drivers of ``odds`` (see ``Odds.drivers``): a bar each, over PET.

    The hatched part reaches to the median outing end when the driver is in its shortest tenth, the plain part
    to that of its longest tenth; the line between them is the median of all samples with a plan. ``theme`` is
    ``light`` or ``dark``. Raises `ScenarioError` for no odds, another theme or a number of rows below 1.
    """
    as_odds(odds)
    look = theme_named(theme)
    if not is_whole(rows, 1):
        raise ScenarioError.single("must be a whole number, 1 or more", column="rows", value=rows)
    drivers = odds.drivers.sort_values("swing_min", ascending=False, kind="stable").head(rows)
    return _drawn(odds, drivers.to_dict("records"), look)


def _drawn(odds: Any, drivers: list[Row], look: Theme) -> Chart:
    median = odds.median_end_min
    shown = _range(drivers, median)
    traces = [_bars(drivers, median, "end_if_short_min", "shortest tenth", look),
              _bars(drivers, median, "end_if_long_min", "longest tenth", look), _gmt_carrier(shown[0])]
    heading = (f"What drives the outing end · {samples_words(odds)} · "
               f"median of those with a plan {pet_label(median)}")
    labels = [row_label("" if row["kind"] != "step" else row["driver"], row["title"]) for row in drivers]
    layout = rows_layout(odds, look, labels, shown, heading, _alt(drivers, median))
    layout["xaxis"] |= {"nticks": 12}
    layout["xaxis2"] |= {"nticks": 6}
    shapes, notes = limit_lines(odds, look, shown, "bottom")
    middle = [upright("median", median, look.ink, "solid")] if math.isfinite(median) else []
    layout["shapes"] = [*shapes, *middle]
    layout["annotations"] = notes
    return Chart(data=traces, layout=layout)


def _range(drivers: list[Row], median: float) -> tuple[float, float]:
    ends = [row[name] for row in drivers for name in ("end_if_short_min", "end_if_long_min")]
    ends = ends or [median if math.isfinite(median) else 0.0]
    low, high = min(ends), max(ends)
    room = max(0.08 * (high - low), (_LEAST_SPAN_MIN - (high - low)) / 2, 1.0)
    return low - room, high + room


def _bars(drivers: list[Row], median: float, column: str, name: str, theme: Theme) -> dict[str, Any]:
    is_short = column == "end_if_short_min"
    return {
        "type": "bar", "orientation": "h", "name": f"end when in its {name}", "xaxis": "x", "yaxis": "y",
        "base": [axis_ms(median) for _ in drivers],
        "x": [axis_ms(row[column]) - axis_ms(median) for row in drivers],
        "y": list(range(len(drivers))), "width": [0.62] * len(drivers),
        "hovertext": [_hover(row) for row in drivers], "hoverinfo": "text",
        "marker": {"color": _SHORT_FILL if is_short else _LONG_FILL,
                   "line": {"color": theme.bar_outline, "width": 1},
                   "pattern": {"shape": "/" if is_short else "", "size": 6, "solidity": 0.3,
                               "fgcolor": INK_ON_FILL}},
    }


def _gmt_carrier(minute: float) -> dict[str, Any]:
    """Plotly draws no axis that carries no trace: this one, unseen, carries GMT."""
    return {"type": "scatter", "x": [axis_ms(minute)], "y": [None], "xaxis": "x2", "yaxis": "y",
            "name": "", "showlegend": False, "hoverinfo": "skip"}


def _hover(row: Row) -> str:
    return "<br>".join((
        plotly_paragraph(f"{row['driver']}: {row['title']}" if row["kind"] == "step" else row["title"]),
        f"Shortest tenth: median end {pet_label(row['end_if_short_min'])}; "
        f"longest tenth: {pet_label(row['end_if_long_min'])}.",
        f"Swing {_signed(row['swing_min'], 1)} min; "
        f"rank correlation {_signed(row['own_rho'], 2)} ± {row['se']:.2f}.",
    ))


def _alt(drivers: list[Row], median: float) -> str:
    told = [f"{one_line(row['title'])} {_signed(row['swing_min'], 1)} min" for row in drivers[:5]]
    return (f"Tornado chart: median outing end {pet_label(median)}. Widest swings between shortest and "
            f"longest tenth: {'; '.join(told) or 'none'}.")


def _signed(value: float, digits: int) -> str:
    return f"{value:+.{digits}f}".replace("-", "−")
