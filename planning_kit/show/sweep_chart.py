"""The outing end against PET 0: a saw-tooth, because night does not wait, with limits and good spells."""

import math
from collections.abc import Iterator, Sequence
from typing import Any

import pandas as pd

from planning_kit.explore.sweep import HARD, PLANNED, good_spells
from planning_kit.inputs.shown_text import plotly_paragraph, shortened
from planning_kit.inputs.times import gmt_label, number_label, pet_label
from planning_kit.show.chart import Chart, days_axis, days_layout, note
from planning_kit.show.palette import Theme, theme_named

_HEIGHT_PX = 400
_BROKEN = "plan breaks rules"
_SPELL_FILL = "#44BB99"
_SPELL_OPACITY = {HARD: 0.16, PLANNED: 0.34}
_LINES = {PLANNED: {"dash": "dash", "width": 1.4}, HARD: {"dash": "solid", "width": 2.0}}
_TICK_STEPS_MIN = (10, 15, 30, 60, 120, 240)
_MOST_TICKS = 9
_LONGEST_REASON = 200  # characters

Row = dict[Any, Any]


def sweep_chart(sweep: pd.DataFrame, theme: str = "light") -> Chart:
    """Draw a sweep (what ``plan.sweep`` gives): outing end against PET 0.

    Lines mark the planned and the hard limit; bands mark the spells that keep them (deeper: the planned
    limit). Plans that break rules stand apart as crosses at their end, or at the edge it lies beyond.
    ``theme`` is ``light`` or ``dark``. Raises `ScenarioError` for another theme and for what is no sweep.
    """
    look = theme_named(theme)
    spells = good_spells(sweep).to_dict("records")
    rows = sweep.sort_values("pet_zero", kind="stable").to_dict("records")
    by_row = {limit: [None if _is_broken(row) else round(row["end_min"] + row[f"{limit}_margin_min"], 6)
                      for row in rows] for limit in _LINES}
    known = {limit: [each for each in minutes if each is not None] for limit, minutes in by_row.items()}
    # One line across where all plans have one limit; one that follows from each plan goes from row to row.
    across = {limit: minutes[0] for limit, minutes in known.items() if len(set(minutes)) == 1}
    low, high = _range(rows, [each for minutes in known.values() for each in minutes])
    traces = list(_traces(rows, (low + 0.03 * (high - low), high - 0.03 * (high - low)), look))
    traces += [_trace(rows, minutes, name=f"{limit} limit of each plan", mode="lines", connectgaps=False,
                      showlegend=True, line=_LINES[limit] | {"color": look.stop})
               for limit, minutes in by_row.items() if len(set(known[limit])) > 1]
    return Chart(data=traces, layout=_layout(rows, spells, across, (low, high), look))


def _is_broken(row: Row) -> bool:
    """Whether its plan breaks rules, so that its end is not to be counted on."""
    return not math.isfinite(row["end_min"]) or bool(row.get("reason"))


def _range(rows: list[Row], limits: list[float]) -> tuple[float, float]:
    shown = [row["end_min"] for row in rows if not _is_broken(row)] + limits
    low, high = min(shown, default=0.0), max(shown, default=60.0)
    room = max(0.06 * (high - low), 5.0)
    return low - room, high + room


def _at(moment: Any) -> str:
    return f"{pd.Timestamp(moment):%Y-%m-%dT%H:%M:%S}"


def _traces(rows: list[Row], edges: tuple[float, float], theme: Theme) -> Iterator[dict[str, Any]]:
    """The line of the outing ends, and the crosses of plans that break rules, kept between ``edges``."""
    ends = [None if _is_broken(row) else round(row["end_min"], 4) for row in rows]
    yield _trace(rows, ends, name="outing end", mode="lines" if len(rows) > 1 else "markers",
                 connectgaps=False, showlegend=False, line={"color": theme.ink, "width": 2})
    if broken := [row for row in rows if _is_broken(row)]:
        sign = {"symbol": "x-thin", "size": 7, "line": {"color": theme.stop, "width": 1.5}}
        shown = [round(max(min(edges[1], row["end_min"]), edges[0]), 4) for row in broken]
        yield _trace(broken, shown, name=_BROKEN, mode="markers", showlegend=True, cliponaxis=False,
                     marker=sign)


def _trace(rows: list[Row], values: Sequence[float | None], **look: Any) -> dict[str, Any]:
    return {"type": "scatter", "x": [_at(row["pet_zero"]) for row in rows], "y": values,
            "hovertext": [_hover(row) for row in rows], "hoverinfo": "text", **look}


def _hover(row: Row) -> str:
    pet_zero = pd.Timestamp(row["pet_zero"]).to_pydatetime()
    when = f"PET 0 {pet_zero:%Y-%m-%d}, GMT {gmt_label(pet_zero)}"
    if _is_broken(row):
        why = plotly_paragraph(shortened(row.get("reason") or "", _LONGEST_REASON))
        return f"{when}: {_BROKEN}, both inside at PET {pet_label(row['end_min'])}.<br>{why}"
    words = ", ".join(_margin_words(row[f"{limit}_margin_min"], limit) for limit in _LINES)
    stops = f", stop findings {row['stops']:.0f}" if math.isfinite(row.get("stops", math.nan)) else ""
    return (f"{when}: both inside at PET {pet_label(row['end_min'])}, {words}, "
            f"waiting {row['wait_min']:.0f} min in all{stops}.")


def _margin_words(margin_min: float, limit: str) -> str:
    told = f"{number_label(abs(margin_min), 'down' if margin_min >= 0 else 'up')} min"
    return f"{told} {'inside' if margin_min >= 0 else 'past'} the {limit} limit"


def _layout(rows: list[Row], spells: list[Row], limits: dict[str, float], shown: tuple[float, float],
            theme: Theme) -> dict[str, Any]:
    ticks, pet_zeros = _ticks(shown), [f"{pd.Timestamp(row['pet_zero']):%Y-%m-%d %H:%M}" for row in rows]
    span = f"{pet_zeros[0]} to {pet_zeros[-1]} UTC" if rows else "no rows"
    formats = [{"dtickrange": [None, 86_399_999], "value": "%H:%M\n%Y-%m-%d"},
               {"dtickrange": [86_400_000, None], "value": "%Y-%m-%d"}]
    return {
        **days_layout(theme, _alt(rows, spells), "Outing end against PET 0", span, _HEIGHT_PX, 92),
        "xaxis": days_axis(theme, "PET 0, UTC", type="date", nticks=10, tickformatstops=formats),
        "yaxis": days_axis(theme, "outing end, PET h:mm", range=list(shown), tickmode="array", tickvals=ticks,
                           ticktext=[pet_label(tick) for tick in ticks], zeroline=False, fixedrange=True),
        "shapes": _bands(spells) + [
            {"type": "line", "xref": "paper", "x0": 0, "x1": 1, "yref": "y", "y0": minute, "y1": minute,
             "name": f"{limit} limit", "line": _LINES[limit] | {"color": theme.stop}}
            for limit, minute in limits.items()],
        "annotations": [
            note(f"{limit} {pet_label(minute, 'down')}", 1, minute, theme.ink, xref="paper", xanchor="left",
                 xshift=4, yref="y") for limit, minute in limits.items()]}


def _ticks(shown: tuple[float, float]) -> list[int]:
    step = next((each for each in _TICK_STEPS_MIN if (shown[1] - shown[0]) / each <= _MOST_TICKS),
                math.ceil((shown[1] - shown[0]) / _MOST_TICKS / 240) * 240)
    return list(range(math.ceil(shown[0] / step) * step, math.floor(shown[1]) + 1, step))


def _bands(spells: list[Row]) -> list[dict[str, Any]]:
    """A band a spell; the first of each kind stands in the legend."""
    return [
        {"type": "rect", "xref": "x", "yref": "paper", "x0": _at(spell["from"]), "x1": _at(spell["until"]),
         "y0": 0, "y1": 1, "layer": "below", "fillcolor": _SPELL_FILL, "name": f"{limit} limit kept",
         "opacity": opacity, "line": {"width": 1, "color": _SPELL_FILL}, "showlegend": number == 0}
        for limit, opacity in _SPELL_OPACITY.items()
        for number, spell in enumerate(spell for spell in spells if spell["limit"] == limit)]


def _alt(rows: list[Row], spells: list[Row]) -> str:
    if not rows:
        return "Sweep chart without rows."
    ends = [row["end_min"] for row in rows if not _is_broken(row)]
    ranged = f"outing end {pet_label(min(ends))} to {pet_label(max(ends))} PET" if ends else "all break rules"
    planned = [f"{_at(spell['from'])[:16]} to {_at(spell['until'])[:16]}" for spell in spells
               if spell["limit"] == PLANNED]
    listed = ", ".join(planned[:8]) + (f" and {len(planned) - 8} more" if len(planned) > 8 else "")
    span = f"{_at(rows[0]['pet_zero'])[:16]} to {_at(rows[-1]['pet_zero'])[:16]} UTC"
    broken = f"plans that break rules: {len(rows) - len(ends)}"
    return f"Sweep chart, PET 0 {span}: {ranged}; {broken}. Within the planned limit: {listed or 'never'}."
