"""Beta and night by day: which days of a season suit an outing that needs the dark."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import date, timedelta
from itertools import groupby
from typing import Any, NamedTuple

import pandas as pd

from planning_kit.inputs.faults import table_with
from planning_kit.show.chart import Chart, days_axis, days_layout, signed
from planning_kit.show.palette import Theme, theme_named

_HEIGHT_PX = 430
_COLUMNS = ("day", "beta_deg", "night_min_per_rev", "revs_with_night")
_NO_NIGHT = "days without night"


class _Day(NamedTuple):
    """One row of a season; ``night_min`` is 0 on a day without night."""

    day: date
    beta_deg: float
    night_min: float
    revs_with_night: int


def season_chart(season: pd.DataFrame, theme: str = "light") -> Chart:
    """Draw a season (see `planning_kit.sky.season.season`): beta above, night minutes a revolution below.

    Days without any night are shaded through both and crossed below. ``theme`` is ``light`` or ``dark``.
    Raises `ScenarioError` for another theme and for what is no season.
    """
    table_with(season, _COLUMNS, "season", "must be a table such as pk.season gives")
    look, days = theme_named(theme), _days(season)
    dark = [day for day in days if day.revs_with_night == 0]
    return Chart(data=list(_traces(days, dark, look)), layout=_layout(days, dark, look))


def _days(season: pd.DataFrame) -> list[_Day]:
    known = season[list(_COLUMNS)].fillna({"night_min_per_rev": 0.0, "revs_with_night": 0})
    return [_Day(pd.Timestamp(day).date(), float(beta), float(night), int(revs))
            for day, beta, night, revs in known.itertuples(index=False)]


def _hover(day: _Day) -> str:
    night = (f"night {day.night_min:.1f} min a revolution, in {day.revs_with_night} of the day's revolutions"
             if day.revs_with_night else "no night on this day")
    return f"{day.day:%Y-%m-%d} (day {day.day:%j}): beta {signed(day.beta_deg)}°, {night}."


def _traces(days: list[_Day], dark: list[_Day], theme: Theme) -> Iterator[dict[str, Any]]:
    yield _line(days, [round(day.beta_deg, 4) for day in days], name="beta", yaxis="y",
                line={"color": theme.ink, "width": 2})
    yield _line(days, [round(day.night_min, 4) for day in days], name="night", fill="tozeroy",
                fillcolor=theme.night_shade, line={"color": theme.link, "width": 2})
    if dark:
        sign = {"symbol": "x-thin", "size": 7, "line": {"color": theme.stop, "width": 1.5}}
        yield _line(dark, [0.0] * len(dark), name=_NO_NIGHT, mode="markers", showlegend=True, marker=sign)


def _line(days: list[_Day], values: list[float], **look: Any) -> dict[str, Any]:
    return {"type": "scatter", "mode": "lines", "x": [day.day.isoformat() for day in days], "y": values,
            "hovertext": [_hover(day) for day in days], "hoverinfo": "text", "showlegend": False,
            "xaxis": "x", "yaxis": "y2", **look}


def _layout(days: list[_Day], dark: list[_Day], theme: Theme) -> dict[str, Any]:
    panel = {"fixedrange": True, "anchor": "x"}
    return {
        **days_layout(theme, _alt(days, dark), "Beta and night by day", _span(days, dark), _HEIGHT_PX, 18),
        "xaxis": days_axis(theme, type="date", anchor="y2", hoverformat="%Y-%m-%d", tickformat="%Y-%m-%d",
                           nticks=10),
        "yaxis": days_axis(theme, "beta, degrees", domain=[0.54, 1], zeroline=True,
                           zerolinecolor=theme.quiet_ink, **panel),
        "yaxis2": days_axis(theme, "night, min a revolution", domain=[0, 0.46], zeroline=False,
                            rangemode="tozero", **panel),
        # From half a day before the first day to half a day after the last, as points stand at 0:00.
        "shapes": [{"type": "rect", "xref": "x", "yref": "paper", "layer": "below", "fillcolor": theme.day,
                    "x0": f"{first - timedelta(days=1)}T12:00:00", "x1": f"{last}T12:00:00", "y0": 0, "y1": 1,
                    "opacity": 0.6, "line": {"width": 0}, "name": "no night"} for first, last in _runs(dark)],
    }


def _span(days: list[_Day], dark: list[_Day]) -> str:
    span = f"{days[0].day:%Y-%m-%d} to {days[-1].day:%Y-%m-%d}" if days else "no days"
    return f"{span} · {_NO_NIGHT}: {len(dark)}"


def _alt(days: list[_Day], dark: list[_Day]) -> str:
    if not days:
        return "Season chart without days."
    betas = [day.beta_deg for day in days if math.isfinite(day.beta_deg)]
    nights = [day.night_min for day in days]
    runs = ", ".join(f"{first:%Y-%m-%d} to {last:%Y-%m-%d}" for first, last in _runs(dark)) or "none"
    return (f"Season chart, {days[0].day:%Y-%m-%d} to {days[-1].day:%Y-%m-%d}: "
            f"beta {signed(min(betas))}° to {signed(max(betas))}°, "
            f"night {min(nights):.1f} to {max(nights):.1f} min a revolution. "
            f"Days without night: {runs}.")


def _runs(dark: list[_Day]) -> list[tuple[date, date]]:
    """First and last day of each unbroken run of days."""
    # Days that follow each other keep one distance to their place in the list.
    runs = groupby(enumerate(dark), lambda placed: placed[1].day - timedelta(days=placed[0]))
    ends = [[day.day for _, day in run] for _, run in runs]
    return [(days[0], days[-1]) for days in ends]
