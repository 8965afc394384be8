"""Beta and night by day: which days of a season suit an outing that needs the dark."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import Any, NamedTuple

import pandas as pd

from planning_kit.inputs.faults import table_with
from planning_kit.inputs.records import Hazard, Records
from planning_kit.inputs.scenario import Scenario, as_scenario
from planning_kit.inputs.shown_text import plotly_paragraph, plotly_text
from planning_kit.show import hazard_wording as hazards
from planning_kit.show.chart import Chart, days_axis, days_layout, signed
from planning_kit.show.palette import CLEAR, Theme, theme_named
from planning_kit.sky.light import beta_bands
from planning_kit.sky.windows import Windows, clip

_HEIGHT_PX, _LEGEND_ROW_PX = 430, 20
_COLUMNS = ("day", "beta_deg", "night_min_per_rev", "revs_with_night")
_NO_NIGHT = "days without night"
_BEYOND_DEG = 5.0
_LONGEST_NAME = 60
_HATCHES = ("/", "\\", "x", "|", "-", "+", ".")


class _Day(NamedTuple):
    """One row of a season; ``night_min`` is 0 on a day without night."""

    day: date
    beta_deg: float
    night_min: float
    revs_with_night: int


def season_chart(season: pd.DataFrame, theme: str = "light", scenario: Scenario | None = None) -> Chart:
    """Draw a season (see `planning_kit.sky.light.season`): beta above, night minutes a revolution below.

    Days without any night are shaded through both and crossed below. The bands of beta in which hazards of
    ``scenario`` are there are hatched, and under the pointer each day says whose it has at noon. ``theme`` is
    ``light`` or ``dark``. Raises `ScenarioError` for another theme, for what is no season, or no scenario.
    """
    table_with(season, _COLUMNS, "season", "must be a table such as pk.season gives")
    look, days = theme_named(theme), _days(season)
    dark = [day for day in days if day.revs_with_night == 0]
    bands = [] if scenario is None else _beta_hazards(as_scenario(scenario).records)
    layout = _layout(days, dark, look)
    layout["meta"]["alt"] += "".join(band.words(days) for band in bands)
    layout["margin"]["t"] += _LEGEND_ROW_PX * len(bands)
    layout["height"] += _LEGEND_ROW_PX * len(bands)
    if bands and days:
        layout["yaxis"]["range"] = _shown_beta(days)
    return Chart(data=[*_band_traces(bands, days, look), *_traces(days, dark, bands, look)], layout=layout)


def _days(season: pd.DataFrame) -> list[_Day]:
    known = season[list(_COLUMNS)].fillna({"night_min_per_rev": 0.0, "revs_with_night": 0})
    return [_Day(pd.Timestamp(day).date(), float(beta), float(night), int(revs))
            for day, beta, night, revs in known.itertuples(index=False)]


@dataclass(frozen=True)
class _Band:
    """A hazard that depends on beta: its bands, degrees (n, 2), and all about it in words."""

    hazard: Hazard
    bands: Windows
    text: str

    def holds(self, day: _Day) -> bool:
        return any(low <= day.beta_deg <= high for low, high in self.bands)

    @property
    def name(self) -> str:
        """What the legend says of it."""
        controls = hazards.controls_words(self.hazard)
        how = f"controlled by {controls}" if controls else hazards.limit_words(self.hazard)
        return f"{self.hazard.class_.upper()} {hazards.title_of(self.hazard)}: {how}"

    def words(self, days: list[_Day]) -> str:
        """On which days the noon lies in it."""
        runs = ", ".join(f"{first:%Y-%m-%d} to {last:%Y-%m-%d}"
                         for first, last in _runs([day for day in days if self.holds(day)])) or "no day"
        return f" {self.name}: beta in its band at noon on {runs}."


def _beta_hazards(records: Records) -> list[_Band]:
    words = hazards.HazardWords(records)
    return [_Band(each, beta_bands(each.when), hazards.hazard_text(each, words.when(each)))
            for each in sorted(records.hazards, key=lambda each: hazards.class_rank(each.class_))
            if any(term.kind.endswith(("beta", "beta)")) for term in each.when)]


def _shown_beta(days: list[_Day]) -> list[float]:
    """The range of the upper axis: the season's own, not that of bands that it never reaches."""
    betas = [day.beta_deg for day in days if math.isfinite(day.beta_deg)] or [0.0]
    return [max(-90.0, math.floor(min(betas) - _BEYOND_DEG)), min(90.0, math.ceil(max(betas) + _BEYOND_DEG))]


def _band_traces(bands: Sequence[_Band], days: list[_Day], theme: Theme) -> Iterator[dict[str, Any]]:
    """Each hazard as hatched bands over all days; one that the season never reaches in the legend alone."""
    inks, ends = hazards.class_inks(theme), _shown_beta(days)
    for number, band in enumerate(bands if days else ()):
        first, last = (days[0].day - timedelta(days=1), days[-1].day)
        left, right = f"{first}T12:00:00", f"{last}T12:00:00"
        corners = [corner for low, high in clip(band.bands, *ends).tolist() for corner in (
            (left, low), (left, high), (right, high), (right, low), (left, low), (None, None))]
        ink, note = inks[band.hazard.class_], "" if corners else " (not reached)"
        yield {"type": "scatter", "mode": "lines", "fill": "toself", "hoveron": "fills", "hoverinfo": "text",
               "x": [x for x, _ in corners] or [None], "y": [y for _, y in corners] or [None],
               "name": plotly_text(band.name, _LONGEST_NAME) + note, "text": plotly_paragraph(band.text),
               "showlegend": True, "xaxis": "x", "yaxis": "y", "line": {"color": ink, "width": 1},
               "fillpattern": {"shape": _HATCHES[number % len(_HATCHES)], "fgcolor": ink, "size": 8,
                               "bgcolor": CLEAR, "fgopacity": 0.5, "solidity": 0.15}}


def _hover(day: _Day, bands: Sequence[_Band]) -> str:
    night = (f"night {day.night_min:.1f} min a revolution, in {day.revs_with_night} of the day's revolutions"
             if day.revs_with_night else "no night on this day")
    lines = [f"{day.day:%Y-%m-%d} (day {day.day:%j}): beta {signed(day.beta_deg)}°, {night}."]
    return "<br>".join([*lines, *(plotly_text(f"In the band of {band.name}.", 90)
                                  for band in bands if band.holds(day))])


def _traces(days: list[_Day], dark: list[_Day], bands: Sequence[_Band],
            theme: Theme) -> Iterator[dict[str, Any]]:
    yield _line(days, bands, [round(day.beta_deg, 4) for day in days], name="beta", yaxis="y",
                line={"color": theme.ink, "width": 2})
    yield _line(days, bands, [round(day.night_min, 4) for day in days], name="night", fill="tozeroy",
                fillcolor=theme.night_shade, line={"color": theme.link, "width": 2})
    if dark:
        sign = {"symbol": "x-thin", "size": 7, "line": {"color": theme.stop, "width": 1.5}}
        yield _line(dark, bands, [0.0] * len(dark), name=_NO_NIGHT, mode="markers", showlegend=True,
                    marker=sign)


def _line(days: list[_Day], bands: Sequence[_Band], values: list[float], **look: Any) -> dict[str, Any]:
    return {"type": "scatter", "mode": "lines", "x": [day.day.isoformat() for day in days], "y": values,
            "hovertext": [_hover(day, bands) for day in days], "hoverinfo": "text", "showlegend": False,
            "xaxis": "x", "yaxis": "y2", **look}


def _layout(days: list[_Day], dark: list[_Day], theme: Theme) -> dict[str, Any]:
    panel = {"fixedrange": True, "anchor": "x"}
    span = f"{days[0].day:%Y-%m-%d} to {days[-1].day:%Y-%m-%d}" if days else "no days"
    return {
        **days_layout(theme, _alt(days, dark), "Beta and night by day",
                      f"{span} · {_NO_NIGHT}: {len(dark)}", _HEIGHT_PX, 18),
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


def _alt(days: list[_Day], dark: list[_Day]) -> str:
    if not days:
        return "Season chart without days."
    betas = [day.beta_deg for day in days if math.isfinite(day.beta_deg)]
    nights = [day.night_min for day in days]
    runs = ", ".join(f"{first:%Y-%m-%d} to {last:%Y-%m-%d}" for first, last in _runs(dark)) or "none"
    return (f"Season chart, {days[0].day:%Y-%m-%d} to {days[-1].day:%Y-%m-%d}: "
            f"beta {signed(min(betas))}° to {signed(max(betas))}°, "
            f"night {min(nights):.1f} to {max(nights):.1f} min a revolution. Days without night: {runs}.")


def _runs(dark: list[_Day]) -> list[tuple[date, date]]:
    """First and last day of each unbroken run of days."""
    # Days that follow each other keep one distance to their place in the list.
    runs = groupby(enumerate(dark), lambda placed: placed[1].day - timedelta(days=placed[0]))
    ends = [[day.day for _, day in run] for _, run in runs]
    return [(days[0], days[-1]) for days in ends]
