"""A campaign drawn: the board, the thread of an item or state, its dates, what an early end costs."""

import math
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

import pandas as pd

from planning_kit.campaign.standing import IS_ON, MAY_BE, MUST_BY, REST
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import plotly_text
from planning_kit.inputs.times import number_label, pet_label
from planning_kit.show.chart import (
    Chart,
    axis_ms,
    days_axis,
    days_layout,
    legend_below,
    note,
    row_axis,
    scatter,
    shared_layout,
)
from planning_kit.show.palette import CLEAR, INK_ON_FILL, TASK_FILLS, theme_named
from planning_kit.show.season_chart import season_chart
from planning_kit.sky.light import season
from planning_kit.sky.orbit import Orbit
from planning_kit.sky.windows import LONGEST_DAYS

_ROW_PX, _HEAD_PX, _FOOT_PX, _LONGEST = 26, 104, 56, 44
_SIGNS = {"done": "circle", "planned": "square", "left undone": "x", "on no outing": "diamond-open"}
_NOWHERE = "no outing"
_WHOLE_DAY = timedelta(days=1)
_APART: dict[str, Any] = {"ticks": "outside", "ticklen": 6, "tickcolor": CLEAR}


def board_chart(board: pd.DataFrame, outings: pd.DataFrame, theme: str = "light") -> Chart:
    """Outings by tasks: a sign where an outing has a task, beside it the chance and the margin, in words.

    ``board`` and ``outings`` are tables of a campaign. Raises `ScenarioError` for another theme.
    """
    look, columns = theme_named(theme), [*outings["outing"], ""]
    tasks = list(dict.fromkeys(board["task"]))
    rows = board.to_dict("records")
    traces = [scatter(status, *(list(each) for each in zip(*(
        (columns.index(row["outing"]), tasks.index(row["task"])) for row in rows if row["status"] == status),
        strict=True)), mode="markers+text", textposition="middle right", hoverinfo="text", showlegend=True,
        # Of what is on no outing the head of its column says so, and words might not fit in the last one.
        text=[f" {chance_words(row)}" if row["outing"] else "" for row in rows if row["status"] == status],
        hovertext=[_board_words(row) for row in rows if row["status"] == status], cliponaxis=False,
        textfont={"size": 11, "color": look.ink},
        marker={"symbol": sign, "size": 11, "color": look.crew[0] if status != "left undone" else look.stop})
        for status, sign in _SIGNS.items() if any(row["status"] == status for row in rows)]
    titles = {row["task"]: plotly_text(f"{row['task']} {row['title']}", _LONGEST) for row in rows}
    needs = {row["task"]: row["need"] for row in rows}
    labels = {float(number): f"{titles[task]}  <i>{needs[task]}</i>" for number, task in enumerate(tasks)}
    dates = dict(zip(outings["outing"], outings["pet_zero_utc"].str[:10], strict=True))
    heads = [f"<b>{plotly_text(name, 20)}</b><br>{dates[name]}" if name else f"<b>{_NOWHERE}</b><br>"
             for name in columns]
    missing = sum(row["status"] in ("on no outing", "left undone") for row in rows)
    below = f"{len(tasks)} tasks · chance to be done and inside in time, least minutes that a start can slip"
    return Chart(data=traces, layout=shared_layout(look, _board_alt(rows), "Outings by tasks", below) | {
        "height": _HEAD_PX + _FOOT_PX + _ROW_PX * len(tasks), "legend": legend_below(-0.01, look),
        "margin": {"l": 330, "r": 16, "t": _HEAD_PX, "b": _FOOT_PX},
        "xaxis": {"range": [-0.25, len(columns) - 0.25], "side": "top", "tickmode": "array",
                  "fixedrange": True, "tickvals": list(range(len(columns))), "ticktext": heads,
                  "showgrid": False, "zeroline": False, "tickfont": {"size": 11, "color": look.ink},
                  "tickangle": 0},
        "yaxis": row_axis(labels, 0, look.ink, **_APART) | {"range": [len(tasks) - 0.5, -0.5]},
        "shapes": [{"type": "rect", "xref": "paper", "yref": "y", "x0": 0, "x1": 1, "y0": number - 0.5,
                    "y1": number + 0.5, "layer": "below", "line": {"width": 0}, "fillcolor": look.lane}
                   for number in range(0, len(tasks), 2)],
        "meta": {"alt": _board_alt(rows), "missing": missing}})


def chance_words(row: Mapping[Any, Any]) -> str:
    """The chance of a row of the board and the margin in it, each told no better than it is."""
    if row["status"] in ("done", "on no outing", "left undone"):
        return str(row["status"])
    # Where all samples do it, nobody knows that it is certain.
    p = "not known" if math.isnan(row["p_done"]) else (
        "over 99 %" if row["p_done"] == 1 else f"{math.floor(100 * row['p_done'])} %")
    return p if math.isnan(row["margin_min"]) else f"{p}, {number_label(row['margin_min'], 'down', 0)} min"


def _board_words(row: Mapping[Any, Any]) -> str:
    head = plotly_text(f"{row['task']} {row['title']} ({row['need']}, value {row['value']:g})", 90)
    if math.isnan(row["start_min"]):
        return f"{head}<br>{plotly_text(row['outing'] or _NOWHERE, 40)}: {row['status']}"
    when = f"PET {pet_label(row['start_min'])} to {pet_label(row['finish_min'])}"
    return f"{head}<br>{plotly_text(row['outing'], 40)}, {row['date']}, {when}<br>{chance_words(row)}"


def _board_alt(rows: Sequence[Mapping[Any, Any]]) -> str:
    parts = [f"{row['task']}: {row['outing'] or _NOWHERE}, {chance_words(row)}" for row in rows]
    return "Outings by tasks. " + "; ".join(parts) + "."


def pet_ticks(last_min: float) -> range:
    """Every hour of PET; of a short outing so often that there are some."""
    every = next(each for each in (10, 15, 30, 60) if last_min <= 8 * each or each == 60)
    return range(0, int(last_min) + every, every)


def thread_chart(thread: pd.DataFrame, name: str, theme: str = "light") -> Chart:
    """Where one item is, or what one state is: an outing a row, a bar a stretch, with words in it.

    ``thread`` is a table of a campaign. Raises `ScenarioError` for another theme.
    """
    look, outings = theme_named(theme), list(dict.fromkeys(thread["outing"]))
    kinds = list(dict.fromkeys(thread["is"]))
    rows = thread.to_dict("records")
    traces = []
    for number, what in enumerate(kinds):
        own = [row for row in rows if row["is"] == what]
        words = [f"{plotly_text(what, 60)}<br>{plotly_text(row['outing'], 40)}, PET "
                 f"{pet_label(row['from_min'])} to {pet_label(row['until_min'])}"
                 + (f", by {row['by_step']}" if row["by_step"] else "") for row in own]
        traces.append({
            "type": "bar", "orientation": "h", "name": plotly_text(what, 30), "showlegend": True,
            "y": [outings.index(row["outing"]) for row in own], "base": [row["from_min"] for row in own],
            "x": [row["until_min"] - row["from_min"] for row in own], "width": 0.62, "hoverinfo": "text",
            "hovertext": words, "text": [plotly_text(what, 30)] * len(own), "textposition": "inside",
            "insidetextanchor": "middle", "textangle": 0, "constraintext": "none",
            "textfont": {"color": INK_ON_FILL, "size": 11},
            "marker": {"color": TASK_FILLS[number % len(TASK_FILLS)],
                       "line": {"color": look.bar_outline, "width": 1}}})
    last = max((row["until_min"] for row in rows), default=60.0)
    ticks = pet_ticks(last)
    alt = f"{name} over all outings: " + "; ".join(
        f"{row['outing']} {pet_label(row['from_min'])} {row['is']}" for row in rows) + "."
    return Chart(data=traces, layout=shared_layout(
        look, alt, f"Thread of {plotly_text(name, 60)}", "an outing a row, PET h:mm") | {
        "barmode": "overlay", "height": _HEAD_PX + _FOOT_PX + 44 * len(outings),
        "legend": legend_below(-0.2, look), "uniformtext": {"mode": "hide", "minsize": 10},
        "margin": {"l": 120, "r": 24, "t": 70, "b": _FOOT_PX + 24},
        "xaxis": days_axis(look, range=[0, last], tickmode="array", tickvals=list(ticks), zeroline=False,
                           ticktext=[pet_label(each) for each in ticks]),
        "yaxis": row_axis({float(number): plotly_text(each, 16) for number, each in enumerate(outings)}, 0,
                          look.ink, **_APART) | {"range": [len(outings) - 0.5, -0.5]}})


_BEFORE, _AFTER = 3 * _WHOLE_DAY, 4 * _WHOLE_DAY  # of the season around the dates


def near_dates(dates: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """The dates of a campaign that one season holds, and in words those that are too far from its outings.

    The dates that the outings have always count, the others the nearest first.
    """
    rows = dates.to_dict("records")
    own, far = [row for row in rows if row["kind"] == IS_ON], set[int]()
    first, last = begin, end = min(row["first"] for row in own), max(row["last"] for row in own)
    for at in sorted((at for at, row in enumerate(rows) if row["kind"] != IS_ON), key=lambda at: max(
            begin - rows[at]["first"], rows[at]["last"] - end)):
        ends = min(first, rows[at]["first"]), max(last, rows[at]["last"])
        if _fits(*ends):
            first, last = ends
        else:
            far.add(at)
    words = [f"{row['about'] or row['outing']} {row['kind']} {row['first']}" + (
        f" to {row['last']}" if row["last"] > row["first"] else "")
        for at, row in enumerate(rows) if at in far]
    return dates.loc[[at not in far for at in range(len(rows))]], words


def _fits(first: date, last: date) -> bool:
    return (last - first) + _BEFORE + _AFTER < timedelta(days=LONGEST_DAYS)


def season_of(scenario: Scenario, dates: pd.DataFrame) -> pd.DataFrame:
    """Light by day (`planning_kit.sky.light.season`) around the dates of a campaign, by a scenario's orbit.

    No row where they are further apart than a season may be.
    """
    first, last = min(dates["first"]), max(dates["last"])
    if not _fits(first, last):
        return pd.DataFrame(columns=["day", "beta_deg", "night_min_per_rev", "revs_with_night"])
    return season(Orbit(scenario.elements), (first - _BEFORE).isoformat(), (last + _AFTER).isoformat())


def dates_chart(scenario: Scenario, dates: pd.DataFrame, theme: str = "light") -> Chart:
    """The season by one scenario's orbit data, with all dates of a campaign.

    ``dates`` is a table of a campaign. Raises `ScenarioError`.
    """
    near, far = near_dates(dates)
    look, rows = theme_named(theme), near.to_dict("records")
    chart = season_chart(season_of(scenario, near), theme, scenario)
    may = {row["outing"]: (row["first"], row["last"]) for row in rows if row["kind"] == MAY_BE}
    spans = {row["outing"]: (*may.get(row["outing"], (row["first"], row["first"])), row["first"])
             for row in rows if row["kind"] == IS_ON}
    for number, (name, (earliest, latest, day)) in enumerate(spans.items()):
        ends = (f"{earliest - _WHOLE_DAY}T12:00:00", f"{latest}T12:00:00")
        chart.add_shape(type="rect", xref="x", yref="paper", x0=ends[0], x1=ends[1], y0=0, y1=1, opacity=0.35,
                        layer="below", line={"width": 1, "color": look.quiet_ink}, name=f"dates of {name}",
                        fillcolor=TASK_FILLS[number % len(TASK_FILLS)])
        chart.add_shape(type="line", xref="x", yref="paper", x0=f"{day}T00:00:00", x1=f"{day}T00:00:00", y0=0,
                        y1=1, line={"width": 2, "color": look.ink, "dash": "dot"}, name=f"date of {name}")
        chart.add_annotation(**note(plotly_text(f"{name} {day:%m-%d}", 24), 0.0, 1.0 - 0.06 * (number % 3),
                                    look.ink, xref="x", yref="paper", yanchor="top", xanchor="left",
                                    bgcolor=look.paper, borderpad=2) | {"x": f"{day}T00:00:00"})
    for row in (each for each in rows if each["kind"] == REST):
        chart.add_shape(type="rect", xref="x", yref="paper", y0=0, y1=0.04, layer="below", line={"width": 0},
                        x0=f"{row['first'] - _WHOLE_DAY}T12:00:00", x1=f"{row['last']}T12:00:00",
                        fillcolor=look.quiet_ink, opacity=0.5, name=f"rest after {row['outing']}")
    limits = [row for row in rows if row["kind"] == MUST_BY]
    for number, row in enumerate(limits):
        day = f"{row['last']}T12:00:00"
        chart.add_shape(type="line", xref="x", yref="paper", x0=day, x1=day, y0=0, y1=1,
                        line={"width": 1, "color": look.stop}, name=f"last date of {row['about']}")
        chart.add_annotation(**note(plotly_text(f"{row['about']} by {row['last']:%m-%d}", 24), 0.0,
                                    0.06 + 0.06 * (number % 3), look.stop, xref="x", yref="paper",
                                    yanchor="bottom", xanchor="right", bgcolor=look.paper) | {"x": day})
    told = "; ".join(f"{name} on {day}, between {earliest} and {latest}"
                     for name, (earliest, latest, day) in spans.items())
    told += "".join(f"; {row['about']} ({row['outing'] or _NOWHERE}) by {row['last']}" for row in limits)
    told += "".join(f"; rest after {row['outing']} to {row['last']}" for row in rows if row["kind"] == REST)
    told += "".join(f"; not drawn, as it is too far from the outings: {each}" for each in far)
    if far:
        chart.add_annotation(**note(plotly_text(f"too far to be drawn: {'; '.join(far)}", 110), 0.0, 1.0,
                                    look.stop, xref="paper", yref="paper", xanchor="left", yanchor="top",
                                    bgcolor=look.paper))
    chart.add_annotation(**note("shaded: dates that an outing may have; dotted: the one it has; foot: rest"
                                + ("; red: last date of a task" if limits else ""), 1.0, 1.0,
                                look.quiet_ink, xref="paper", yref="paper", xanchor="right",
                                yanchor="bottom"))
    chart.update_xaxes(**_APART)
    chart.update_layout(meta={"alt": f"{chart.alt} Outings: {told}."})
    return chart


def early_end_chart(early: pd.DataFrame, end_min: float, outing: str, theme: str = "light") -> Chart:
    """Value and likely minutes of the backlog left for later, by the minute at which the work ends (PET).

    ``early`` is a table of a campaign; ``end_min``: the outing's own end. Raises `ScenarioError`.
    """
    look, x = theme_named(theme), [axis_ms(minute) for minute in early["minute"]]
    lines = (("value left", "value_left", "y", "solid", look.crew[0]),
             ("minutes left to do", "minutes_left", "y2", "dash", look.crew[1]))
    rows = early.to_dict("records")
    left = [f"{row['value_left']:g} of value, {number_label(row['minutes_left'], 'up', 0)} min"
            for row in rows]
    words = [f"work ends at PET {pet_label(row['minute'])}: {much} left<br>"
             f"{plotly_text(row['tasks_left'] or 'nothing', 90)}"
             for row, much in zip(rows, left, strict=True)]
    traces = [scatter(name, x, list(early[column]), yaxis=axis, mode="lines", showlegend=True,
                      hoverinfo="text", hovertext=words,
                      line={"shape": "hv", "dash": dash, "width": 2, "color": ink})
              for name, column, axis, dash, ink in lines]
    ticks = pet_ticks(early["minute"].max())
    alt = f"What an early end of {outing} leaves for later: " + "; ".join(
        f"{pet_label(row['minute'])} {much}" for row, much in [*zip(rows, left, strict=True)][::6]) + "."
    return Chart(data=traces, layout=days_layout(
        look, alt, f"What an early end of {plotly_text(outing, 40)} leaves for later",
        f"by the PET at which work ends; planned end {pet_label(end_min)}", 330, 64) | {
        "xaxis": days_axis(look, tickmode="array", tickvals=[axis_ms(each) for each in ticks], zeroline=False,
                           ticktext=[pet_label(each) for each in ticks], **_APART),
        "yaxis": days_axis(look, "value left", rangemode="tozero", fixedrange=True, zeroline=False),
        "yaxis2": days_axis(look, "minutes left to do", overlaying="y", side="right", showgrid=False,
                            tickmode="auto", rangemode="tozero", fixedrange=True, zeroline=False)})
