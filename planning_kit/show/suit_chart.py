"""What is left in each suit and of each way back, over the same time axis as the swimlane chart."""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from planning_kit.inputs.shown_text import one_line, plotly_text
from planning_kit.inputs.times import gmt_label, measure, moment_at, number_label, pet_label
from planning_kit.plan.returns import latest_turn_back_min
from planning_kit.plan.suits import UNITS, WORDS
from planning_kit.plan.timed import AnyPlan, TimedPlan, as_plan
from planning_kit.show import chart
from planning_kit.show.chart_rows import Words
from planning_kit.show.palette import Theme, theme_named
from planning_kit.show.swimlane_bars import Trace
from planning_kit.show.swimlane_scene import EDGE_MIN
from planning_kit.show.wording import NO_WAY, NOT_KNOWN, exceptions

# The "bright" and "vibrant" qualitative schemes of P. Tol, SRON/EPS/TN/09-002 (values from memory): readable
# on white and on dark (the partner's orange is darker for it), told apart by the colour-blind; the dashes
# tell the same without colour.
_STORE_LOOKS = {
    "oxygen": {"color": "#4477AA", "dash": "solid"}, "co2": {"color": "#EE6677", "dash": "dash"},
    "energy": {"color": "#228833", "dash": "dot"}, "water": {"color": "#AA3377", "dash": "dashdot"},
}


def _margin_looks(theme: Theme) -> dict[str, dict[str, str]]:
    return {"alone": {"color": theme.ink, "dash": "solid"},
            "with the partner": {"color": "#DD6620", "dash": "dash"}}


def _store_trace(suit: pd.DataFrame, end: Mapping[Any, Any], words: Words, plan: TimedPlan) -> Trace:
    """What is left of a consumable in percent of the usable; ``end``: its row of ``suit_summary``."""
    settings, name, unit = plan.scenario.settings, end["consumable"], end["unit"]
    usable, reserve = float(end["usable"]), end["reserve"]
    kept = measure(reserve, unit, settings, "up", f"{reserve:.4g}") if math.isfinite(reserve) else "not given"
    left, minutes = suit[f"{name}_left_{UNITS[name]}"].astype(float), suit["at_min"].astype(float)
    texts = [f"{_when(end['crew'], minute, words)}: {WORDS[name]} "
             f"{number_label(100 * value / usable, 'down', 0)} %,<br>"
             f"{measure(value, unit, settings, 'down', f'{value:.4g}')} left of {usable:.4g}; reserve {kept}"
             for minute, value in zip(minutes, left, strict=True)]
    return _line(WORDS[name], minutes, 100 * left / usable, texts, _STORE_LOOKS[name])


def _margin_trace(returns: pd.DataFrame, column: str, name: str, words: Words,
                  look: Mapping[str, str]) -> Trace:
    """A return margin in minutes at each moment of one crew member."""
    texts = [_margin_text(row, column, words) for row in returns.to_dict("records")]
    return _line(name, returns["at_min"], returns[column].astype(float), texts, look)


_HOME_OF = {"emergency_margin_min": "abort_min", "partner_margin_min": "partner_abort_min",
            "suit_margin_min": "terminate_min"}


def _margin_text(row: Mapping[Any, Any], column: str, words: Words) -> str:
    home = row[_HOME_OF[column]]
    head = f"{_when(row['crew'], row['at_min'], words)}, {_place(row, words, 60)}:<br>"
    if math.isinf(home):
        return f"{head}no way for the partner to bring them inside"
    helped = " with the partner's help" if column == "partner_margin_min" else ""
    what = WORDS.get(row["first_out"], "") if column == "suit_margin_min" else "emergency oxygen"
    return (f"{head}{number_label(home, 'up')} min until safe inside{helped}; "
            f"{number_label(row[column], 'down')} min of {what} left over")


def _place(row: Mapping[Any, Any], words: Words, longest: int) -> str:
    """A place, or both ends of a route, by title."""
    return plotly_text(" to ".join(words.place(each) for each in str(row["place"]).split(" to ")), longest)


def _level_trace(name: str, y: float, until_min: float, theme: Theme, color: str) -> Trace:
    """A thin level line over the outing, with its name at its beginning."""
    look = {"color": color, "dash": "solid"}
    level = _line(name, [0.0, until_min], [y, y], [plotly_text(name)] * 2, look, 1.2)
    return level | {"mode": "lines+text", "text": [plotly_text(name), ""], "textposition": "top right",
                    "textfont": {"size": 10, "color": theme.quiet_ink}}


def _line(name: str, minutes: Iterable[float], values: Iterable[float], texts: Sequence[str],
          look: Mapping[str, str], width: float = 2.0) -> Trace:
    """A line over PET; a value that is not known leaves a gap."""
    return chart.scatter(
        plotly_text(name), [chart.axis_ms(minute) for minute in minutes],
        [round(value, 4) if math.isfinite(value) else None for value in values], mode="lines",
        legendgroup=name, hovertext=list(texts), hoverinfo="text", connectgaps=False,
        line={**look, "width": width})


def _worst_trace(worst: Mapping[Any, Any], theme: Theme, words: Words) -> Trace:
    """The worst point of one case, named above its line alone and below it with the partner.

    ``worst`` is a row of ``return_summary``. Where there is no way at all it stands on the line of none left.
    """
    margin = float(worst["margin_min"])
    text = f"{_left_words(margin)} at {pet_label(worst['at_min'])}, {_place(worst, words, 40)}"
    return chart.scatter(
        "worst", [chart.axis_ms(worst["at_min"])], [round(margin, 4) if math.isfinite(margin) else 0.0],
        mode="markers+text", text=[text], cliponaxis=False, textfont={"size": 11, "color": theme.ink},
        textposition="top right" if worst["case"].endswith("alone") else "bottom right",
        marker={"symbol": "diamond", "size": 8, "color": theme.ink})


def _left_words(margin_min: float) -> str:
    return NOT_KNOWN if math.isnan(margin_min) else (
        f"{number_label(margin_min, 'down')} min" if math.isfinite(margin_min) else NO_WAY)


def _when(crew: str, minute: float, words: Words) -> str:
    return f"{crew} at {pet_label(minute)} (GMT {gmt_label(moment_at(minute, words.pet_zero))})"


_LEFT_PX, _RIGHT_PX = 124, 18  # as in the swimlane chart, so that the two stand one under the other
_TOP_PX, _BELOW_PX, _PANEL_PX, _GAP_PX = 84, 100, 132, 26
_LEAST_SPAN_MIN = 20.0  # of a panel of minutes, so that small margins look small


@dataclass(frozen=True)
class Panel:
    """One of the charts that share the time axis: its heading, side label, lines and y range."""

    heading: str
    side: str
    traces: list[Trace]
    low: float
    high: float


def suit_chart(plan: AnyPlan, theme: str = "light") -> chart.Chart:
    """Draw the suits and the ways back of ``plan`` over PET, nights shaded.

    From above: what is left of each consumable of each suit, in percent of what is usable, with the reserve;
    for each crew member the emergency oxygen left over after the way back, alone and with the partner; for
    both what the consumables last beyond the way back. ``theme`` is ``light`` or ``dark``. Axis and margins
    are those of `planning_kit.show.swimlane.swimlane`. Raises `ScenarioError` for another theme and for what
    is no plan.
    """
    plan, look = as_plan(plan), theme_named(theme)
    panels = panels_of(plan, look)
    traces = [trace | {"yaxis": f"y{number}" if number > 1 else "y"}
              for number, panel in enumerate(panels, start=1) for trace in panel.traces]
    traces += [_line(name, [0.0], [math.nan], [""], line) | {"showlegend": True, "hoverinfo": "skip"}
               for name, line in line_looks(look).items()]  # drawn nowhere
    traces[0]["xaxis"] = "x2"  # plotly draws no axis that carries no trace
    return chart.Chart(data=traces, layout=_layout(plan, panels, look))


def panels_of(plan: TimedPlan, theme: Theme) -> list[Panel]:
    """What the chart has, from above."""
    words = Words.of(plan)
    return [*_suit_panels(plan, theme, words), *_oxygen_panels(plan, theme, words),
            _lasting_panel(plan, theme, words)]


def shown_min(plan: TimedPlan) -> tuple[float, float]:
    """From when until when it is drawn, PET minutes."""
    last = max(plan.safe_min, plan.scenario.records.settings.limits.planned_min, plan.hard_min)
    return -EDGE_MIN, last + EDGE_MIN


def line_looks(theme: Theme) -> dict[str, dict[str, str]]:
    """What each kind of line looks like, by its name in the legend."""
    return {**{name: _STORE_LOOKS[key] for key, name in WORDS.items()}, **_margin_looks(theme),
            "reserve": {"color": theme.stop, "dash": "solid"}}


def _suit_panels(plan: TimedPlan, theme: Theme, words: Words) -> Iterator[Panel]:
    suits, ends = plan.suits, plan.suit_summary
    for crew in plan.travels:
        own = [row for row in ends.to_dict("records") if row["crew"] == crew]
        known = [row for row in own if math.isfinite(row["usable"]) and row["usable"] > 0]
        traces = [_level_trace(name, share, plan.safe_min, theme, theme.stop)
                  for share, name in _reserves(known)]
        traces += [_store_trace(suits[suits["crew"] == crew], row, words, plan) for row in known]
        lowest = min((value for trace in traces for value in trace["y"]), default=0.0)
        first = next((f"{WORDS[row['consumable']]} would run out first, at "
                      f"{pet_label(row['runs_out_min'], 'down')}"
                      for row in own if row["first"]), "nothing is known of this suit: see the findings")
        yield Panel(f"<b>{crew}: left in the suit</b> · {first}", "% of usable", traces,
                     min(0.0, lowest) - 2, 102.0)


def _reserves(rows: list[dict[Any, Any]]) -> Iterator[tuple[float, str]]:
    """The levels of the reserves in percent, each with the consumables that it is for."""
    shares = {row["consumable"]: round(100 * row["reserve"] / row["usable"], 6) for row in rows
              if math.isfinite(row["reserve"])}
    for share in sorted(set(shares.values())):
        names = [WORDS[name] for name, own in shares.items() if own == share]
        yield share, f"reserve {share:g} %: {', '.join(names)}"


def _oxygen_panels(plan: TimedPlan, theme: Theme, words: Words) -> Iterator[Panel]:
    returns, summary = plan.returns, plan.return_summary
    for crew in plan.travels:
        own, worst = returns[returns["crew"] == crew], summary[summary["crew"] == crew]
        columns = ("emergency_margin_min", "partner_margin_min")
        traces = _with_levels(plan, theme, [
            _margin_trace(own, column, name, words, look)
            for column, (name, look) in zip(columns, _margin_looks(theme).items(), strict=True)])
        traces += [_worst_trace(row, theme, words) for row in worst.to_dict("records")
                   if row["case"].startswith("emergency") and not math.isnan(row["margin_min"])]
        heading = f"<b>{crew}: emergency oxygen left over after the way back</b> · {_turn_back(plan, worst)}"
        yield Panel(heading, "min", traces, *_span(traces))


def _turn_back(plan: TimedPlan, worst: pd.DataFrame) -> str:
    if worst.empty:
        return "no margin is known: see the findings"
    by = latest_turn_back_min(worst, str(worst["crew"].iloc[0]))
    if broken := list(exceptions(plan, str(worst["crew"].iloc[0]), "alone")):
        return plotly_text(f"exception, no time to turn back by: {'; '.join(broken)}")
    if math.isnan(by):
        return f"{NOT_KNOWN}, nor when to turn back: a step has no place"
    if by < plan.end_min - plan.network.ends_min:
        return f"alone, turn back by {pet_label(by, 'down')}"
    return f"alone the reserve is kept all the way; begin ingress by {pet_label(by, 'down')} at the latest"


def _lasting_panel(plan: TimedPlan, theme: Theme, words: Words) -> Panel:
    returns = plan.returns
    traces = _with_levels(plan, theme, [
        _margin_trace(returns[returns["crew"] == crew], "suit_margin_min", crew, words,
                      {"color": theme.ink, "dash": dash})
        for crew, dash in zip(plan.travels, ("solid", "dash"), strict=False)])
    heading = "<b>What the suits last beyond the way back alone</b> · at the rate of travel; EV2 dashed"
    return Panel(heading, "min", traces, *_span(traces))


def _with_levels(plan: TimedPlan, theme: Theme, traces: list[Trace]) -> list[Trace]:
    reserve = plan.scenario.records.settings.limits.return_reserve_min or 0.0
    zero = _level_trace("", 0.0, plan.end_min, theme, theme.quiet_ink)
    level = _level_trace(f"reserve {reserve:g} min", reserve, plan.end_min, theme, theme.stop)
    return [zero, level, *(trace for trace in traces if any(y is not None for y in trace["y"]))]


def _span(traces: list[Trace]) -> tuple[float, float]:
    values = [value for trace in traces for value in trace["y"] if value is not None]
    low, high = min(values, default=0.0), max(values, default=0.0)
    pad = max(high - low, _LEAST_SPAN_MIN) * 0.12
    return low - 2 * pad, high + pad  # more below, where the worst points are named


def _layout(plan: TimedPlan, panels: list[Panel], theme: Theme) -> dict[str, Any]:
    settings = plan.scenario.records.settings
    shown = shown_min(plan)
    axes = chart.time_axes(shown, (-EDGE_MIN, max(plan.horizon_min, shown[1])), plan.pet_zero, theme)
    axes["xaxis"] |= {"anchor": f"y{len(panels)}"}
    axes["xaxis2"] |= {"anchor": "free", "position": 1}  # above the heading of the first panel
    inner = len(panels) * (_PANEL_PX + _GAP_PX)
    return {
        **chart.shared_layout(theme, alt_words(plan), chart.plan_title(settings.title, settings.station),
                       f"Suits and ways back · both inside at {pet_label(plan.end_min)}"),
        "height": inner + _TOP_PX + _BELOW_PX,
        "margin": {"l": _LEFT_PX, "r": _RIGHT_PX, "t": _TOP_PX, "b": _BELOW_PX},
        **axes, **_y_axes(panels, inner, theme), "shapes": chart.night_shades(plan.light.night, theme),
        "annotations": [
            chart.note(panel.heading, 0, _domain(number, inner)[1], theme.ink, 12, xref="paper", yref="paper",
                 xanchor="left", yanchor="bottom", yshift=2, name=f"heading {number + 1}")
            for number, panel in enumerate(panels)],
        "hoverdistance": 20, "dragmode": "zoom",
        "legend": chart.legend_below(-34 / inner, theme, **chart.UNCLICKED),
    }


def _domain(number: int, inner: int) -> tuple[float, float]:
    """Bottom and top of a panel, in shares of the plot from below."""
    top = inner - _GAP_PX - number * (_PANEL_PX + _GAP_PX)
    return (top - _PANEL_PX) / inner, top / inner


def _y_axes(panels: list[Panel], inner: int, theme: Theme) -> dict[str, Any]:
    return {
        f"yaxis{number + 1}" if number else "yaxis": {
            "domain": list(_domain(number, inner)), "range": [panel.low, panel.high], "fixedrange": True,
            "anchor": "x", "gridcolor": theme.grid, "zeroline": False, "nticks": 6, "automargin": False,
            "tickfont": {"size": 11, "color": theme.ink},
            "title": {"text": panel.side, "font": {"size": 11, "color": theme.quiet_ink}, "standoff": 8}}
        for number, panel in enumerate(panels)}


def alt_words(plan: TimedPlan) -> str:
    """What the chart shows, in words."""
    parts = [f"Suit chart: {one_line(plan.scenario.records.settings.title)}."]
    for crew in plan.travels:
        rows = plan.suit_summary.query("crew == @crew").to_dict("records")
        left = [f"{WORDS[row['consumable']]} {number_label(100 * row['left'] / row['usable'], 'down', 0)} %"
                for row in rows if math.isfinite(row["usable"]) and row["usable"] > 0]
        parts.append(f"{crew} ends with {', '.join(left) or 'nothing known'}.")
    parts += [f"{row['crew']}, {row['case']}: least margin {_left_words(row['margin_min'])} at "
              f"{pet_label(row['at_min'])} ({row['place']})."
              for row in plan.return_summary.to_dict("records")]
    return " ".join(parts)
