"""The two charts of odds: when each task is finished, and what drives the spread of the outing end."""

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from planning_kit.explore.odds.odds import as_odds
from planning_kit.explore.odds.odds_tables import share_words
from planning_kit.inputs.faults import ScenarioError, is_whole
from planning_kit.inputs.shown_text import one_line, plotly_paragraph, plotly_text
from planning_kit.inputs.times import pet_label
from planning_kit.show import chart
from planning_kit.show.palette import INK_ON_FILL, TASK_FILLS, Theme, theme_named

ROW_PX, LEFT_PX, RIGHT_PX, TOP_PX, BELOW_PX = 27, 268, 18, 104, 84
LABEL_LENGTH = 38


def row_label(name: str, title: str) -> str:
    """The label of a row: id in bold and title, escaped and cut."""
    words = plotly_text(title, LABEL_LENGTH - min(len(name), 12))
    return f"<b>{plotly_text(name, 14)}</b> {words}" if name else f"<b>{words}</b>"


def rows_layout(odds: Any, theme: Theme, labels: Sequence[str], shown: tuple[float, float], heading: str,
                alt: str, labels_at: str) -> dict[str, Any]:
    """The layout of rows (the first on top) over PET below and GMT above; ``shown`` in PET minutes.

    The limits in range are lines, named at the ``top`` or ``bottom``.
    """
    plan, settings, count = odds.timed, odds.timed.scenario.settings, max(len(labels), 1)
    # Where the hard limit follows from the suits each sample has its own: drawn is that of the plan.
    of_plan = " of the plan" if settings.limits.fixed_hard_min is None else ""
    limits = [(name, minute, dash) for name, minute, dash in (
        ("planned", settings.limits.planned_min, "dash"), ("hard", plan.hard_min, "solid"))
        if shown[0] < minute < shown[1]]
    return {
        **chart.shared_layout(theme, alt, chart.plan_title(settings.title, settings.station), heading),
        "barmode": "overlay", "height": count * ROW_PX + TOP_PX + BELOW_PX,
        "margin": {"l": LEFT_PX, "r": RIGHT_PX, "t": TOP_PX, "b": BELOW_PX},
        **chart.time_axes(shown, (min(shown[0], -5.0), max(plan.horizon_min, shown[1])), plan.pet_zero,
                          theme),
        "yaxis": chart.row_axis(dict(enumerate(labels)), 0, theme.ink, range=[count - 0.5, -0.5], anchor="x",
                                tickfont={"size": 12, "color": theme.ink}),
        "hoverdistance": 20, "dragmode": "zoom",
        "legend": chart.legend_below(-36 / (count * ROW_PX), theme, **chart.UNCLICKED),
        "shapes": [chart.upright(f"{name} limit", minute, theme.stop, dash) for name, minute, dash in limits],
        "annotations": chart.axis_names(theme) + [
            chart.note(f"{name}{of_plan if name == 'hard' else ''} {pet_label(minute, 'down')}",
                       chart.axis_ms(minute), int(labels_at == "top"), theme.stop, xref="x", yref="paper",
                       xanchor="right", yanchor=labels_at, textangle=-90, xshift=-1, name=f"{name} limit")
            for name, minute, _ in limits],
    }


def samples_words(odds: Any) -> str:
    """How many samples, with which seed."""
    count = f"{odds.samples:,}".replace(",", "\u00a0")
    return f"{count} samples (seed {odds.seed})"


_FILL = TASK_FILLS[0]
_WIDE, _HALF = ("q05", "q95"), ("q25", "q75")
_P_PX = 118

Row = dict[Any, Any]


def fan_chart(odds: Any, theme: str = "light") -> chart.Chart:
    """Draw the finish of each task and the outing end of ``odds`` over PET, in the order of the plan.

    Thin bar: 5 to 95 % of the samples; thick bar: the middle half; upright tick: median; circle: the plan on
    likely durations. At the right P(done by the hard limit), what is given up counting as not done. Nights
    are shaded. ``theme`` is ``light`` or ``dark``. Raises `ScenarioError` for no odds and for
    another theme.
    """
    look, rows = theme_named(theme), _rows(as_odds(odds))
    known = [row[name] for row in rows for name in _WIDE if math.isfinite(row[name])]
    shown = (min([0.0, *known]) - 5.0, max([odds.timed.hard_min, *known]) + 8.0)
    heading = (f"When each task is finished, nights shaded · {samples_words(odds)} · "
               f"something broken in {share_words(odds.p_broken)}")
    layout = rows_layout(odds, look, [row_label(row["task"], row["title"]) for row in rows], shown, heading,
                         _task_alt(odds, rows), "top")
    layout["xaxis"] |= {"nticks": 10}
    layout["xaxis2"] |= {"nticks": 5}
    layout["margin"] |= {"r": RIGHT_PX + _P_PX}
    layout["shapes"] = chart.night_shades(odds.timed.light.night, look) + layout["shapes"]
    layout["annotations"] += _chances(rows, look)
    traces = [_bar(rows, _WIDE, 0.28, "5 to 95 % (thin)", look),
              _bar(rows, _HALF, 0.66, "middle half (thick)", look),
              _marks(rows, "q50", "median", look), _marks(rows, "planned_min", "on likely durations", look)]
    return chart.Chart(data=traces, layout=layout)


def _rows(odds: Any) -> list[Row]:
    chances = odds.tasks.set_index("task")[["p_hard", "p_hard_se"]]
    tasks = odds.task_finish.set_index("task").join(chances).reset_index()
    rows = tasks.sort_values("planned_min", kind="stable").to_dict("records")
    finish = odds.finish.set_index("quantile")["end_min"]
    quantiles = {f"q{round(100 * at):02d}": finish[at] for at in (0.05, 0.25, 0.5, 0.75, 0.95)}
    hard = odds.summary.set_index("item").loc["both inside by the hard limit"]
    return [*rows, {"task": "", "title": "Both inside", "planned_min": odds.timed.end_min, "share": 1.0,
                    "p_hard": hard["p"], "p_hard_se": hard["se"], **quantiles}]


def _bars(name: str, rows: Mapping[int, str], ends: Iterable[tuple[float, float]], width: float,
          **marker: Any) -> dict[str, Any]:
    """Bars between ``ends`` (PET minutes); ``rows`` are the y of each to what the pointer shows."""
    spans = [(chart.axis_ms(begin), chart.axis_ms(end)) for begin, end in ends]
    return {"type": "bar", "orientation": "h", "name": name, "xaxis": "x", "yaxis": "y",
            "base": [begin for begin, _ in spans], "x": [end - begin for begin, end in spans],
            "y": list(rows), "width": [width] * len(rows), "hovertext": list(rows.values()),
            "hoverinfo": "text", "marker": marker}


def _bar(rows: list[Row], ends: tuple[str, str], width: float, name: str, theme: Theme) -> dict[str, Any]:
    drawn = _with(rows, ends[0])
    known = ("q05", "q25", "q50", "q75", "q95")  # a bar whose end is not known goes to the last that is
    spans = [(row[ends[0]], row[ends[1]] if math.isfinite(row[ends[1]]) else
              max(float(row[name]) for name in known if math.isfinite(row[name]))) for row in drawn.values()]
    return _bars(name, {number: _task_hover(row) for number, row in drawn.items()}, spans, width,
                 color=_FILL, opacity=1.0, line={"color": theme.ink, "width": 1})


def _with(rows: list[Row], column: str) -> dict[int, Row]:
    """The rows that have a number in ``column``, by their place."""
    return {number: row for number, row in enumerate(rows) if math.isfinite(row[column])}


def _marks(rows: list[Row], column: str, name: str, theme: Theme) -> dict[str, Any]:
    drawn, is_median = _with(rows, column), column == "q50"
    marker = {"symbol": "circle", "size": 8, "color": theme.paper, "line": {"color": theme.ink, "width": 1.5}}
    if is_median:
        marker = {"symbol": "line-ns", "size": 15, "line": {"color": theme.ink, "width": 2.5}}
    return {
        "type": "scatter", "mode": "markers", "name": name, "xaxis": "x" if is_median else "x2", "yaxis": "y",
        "x": [chart.axis_ms(row[column]) for row in drawn.values()], "y": list(drawn),
        "hovertext": [_task_hover(row) for row in drawn.values()], "hoverinfo": "text", "marker": marker}


def _chances(rows: list[Row], theme: Theme) -> list[dict[str, Any]]:
    common: dict[str, Any] = {"xref": "paper", "xanchor": "left", "xshift": 8, "align": "left"}
    head = chart.note("P(by hard limit)", 1, 1, theme.quiet_ink, yref="paper", yanchor="bottom", yshift=26,
                      name="heading", **common)
    return [head, *(chart.note(_percent(row), 1, number, theme.ink, 12, yref="y", yanchor="middle",
                               name="chance", **common) for number, row in enumerate(rows))]


def _percent(row: Row) -> str:
    return share_words(row["p_hard"], row["p_hard_se"])


def _task_hover(row: Row) -> str:
    what = f"{row['task']}: {row['title']}" if row["task"] else row["title"]
    return "<br>".join((
        plotly_paragraph(what),
        f"Median {pet_label(row['q50'])}, plan {pet_label(row['planned_min'])}.",
        f"Middle half {pet_label(row['q25'])} to {pet_label(row['q75'])}; "
        f"5 to 95 % {pet_label(row['q05'])} to {pet_label(row['q95'])}.",
        f"By the hard limit in {_percent(row)}.",
    ))


def _task_alt(odds: Any, rows: list[Row]) -> str:
    end = rows[-1]
    # What is not known stands before the least likely.
    weakest = min(rows[:-1], key=lambda row: (row["p_hard"] >= 0, row["p_hard"]), default=None)
    told = f" Least likely done: {weakest['task']}, {share_words(weakest['p_hard'])}." if weakest else ""
    return (f"Fan chart: both inside at {pet_label(end['q05'])} to {pet_label(end['q95'])} in 90 % of "
            f"{samples_words(odds)}, median {pet_label(end['q50'])}; by the hard limit in "
            f"{100 * end['p_hard']:.1f} %; something broken in {share_words(odds.p_broken)}.{told}")


_SHORT_FILL, _LONG_FILL = TASK_FILLS[:2]
_LEAST_SPAN_MIN = 20.0


def tornado_chart(odds: Any, rows: int = 12, theme: str = "light") -> chart.Chart:
    """Draw the ``rows`` strongest drivers of ``odds`` (see ``Odds.drivers``): a bar each, over PET.

    The hatched part reaches to the median outing end when the driver is in its shortest tenth, the plain part
    to that of its longest tenth; the line between them is the median of all samples. ``theme`` is
    ``light`` or ``dark``. Raises `ScenarioError` for no odds, another theme or a number of rows below 1.
    """
    as_odds(odds)
    look = theme_named(theme)
    if not is_whole(rows, 1):
        raise ScenarioError.single("must be a whole number, 1 or more", column="rows", value=rows)
    strongest = odds.drivers.sort_values("swing_min", ascending=False, kind="stable").head(rows)
    drivers, median = strongest.to_dict("records"), odds.median_end_min
    shown = _range(drivers, median)
    traces = [_tenth(drivers, median, "short", look), _tenth(drivers, median, "long", look),
              # Plotly draws no axis that carries no trace: this one, unseen, carries GMT.
              chart.scatter("", [chart.axis_ms(shown[0])], [None], xaxis="x2")]
    heading = f"What drives the outing end · {samples_words(odds)} · median {pet_label(median)}"
    labels = [row_label("" if row["kind"] != "step" else row["driver"], row["title"]) for row in drivers]
    swings = [f"{one_line(row['title'])} {chart.signed(row['swing_min'])} min" for row in drivers[:5]]
    alt = (f"Tornado chart: median outing end {pet_label(median)}. Widest swings between shortest and "
           f"longest tenth: {'; '.join(swings) or 'none'}.")
    layout = rows_layout(odds, look, labels, shown, heading, alt, "bottom")
    layout["xaxis"] |= {"nticks": 12}
    layout["xaxis2"] |= {"nticks": 6}
    layout["shapes"] += [chart.upright("median", median, look.ink, "solid")] if math.isfinite(median) else []
    return chart.Chart(data=traces, layout=layout)


def _range(drivers: list[Row], median: float) -> tuple[float, float]:
    ends = [row[name] for row in drivers for name in ("end_if_short_min", "end_if_long_min")]
    ends = ends or [median if math.isfinite(median) else 0.0]
    low, high = min(ends), max(ends)
    room = max(0.08 * (high - low), (_LEAST_SPAN_MIN - (high - low)) / 2, 1.0)
    return low - room, high + room


def _tenth(drivers: list[Row], median: float, which: str, theme: Theme) -> dict[str, Any]:
    """The bars to the median end of the ``short`` or ``long`` tenth of each driver."""
    fill, shape = (_SHORT_FILL, "/") if which == "short" else (_LONG_FILL, "")
    return _bars(f"end when in its {which}est tenth", dict(enumerate(map(_driver_hover, drivers))),
                 [(median, row[f"end_if_{which}_min"]) for row in drivers], 0.62, color=fill,
                 line={"color": theme.bar_outline, "width": 1},
                 pattern={"shape": shape, "size": 6, "solidity": 0.3, "fgcolor": INK_ON_FILL})


def _driver_hover(row: Row) -> str:
    return "<br>".join((
        plotly_paragraph(f"{row['driver']}: {row['title']}" if row["kind"] == "step" else row["title"]),
        f"Shortest tenth: median end {pet_label(row['end_if_short_min'])}; "
        f"longest tenth: {pet_label(row['end_if_long_min'])}.",
        f"Swing {chart.signed(row['swing_min'])} min; "
        f"rank correlation {chart.signed(row['own_rho'], 2)} ± {row['se']:.2f}.",
    ))
