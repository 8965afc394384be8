"""The lines of the suit chart: what is left of each consumable, and the return margins."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.plan.suit.suits import UNITS, WORDS
from planning_kit.show.bars import Trace
from planning_kit.show.escape import plotly_text
from planning_kit.show.hover import Words
from planning_kit.show.palette import Theme
from planning_kit.show.time_axes import axis_ms


@dataclass(frozen=True)
class LineLook:
    """How a line is told from the others: by colour and by dash."""

    color: str
    dash: str


# The "bright" and "vibrant" qualitative schemes of P. Tol, SRON/EPS/TN/09-002 (values from memory): readable
# on white and on dark, told apart by the colour-blind; the dashes tell the same without colour.
STORE_LOOKS = {
    "oxygen": LineLook("#4477AA", "solid"), "co2": LineLook("#EE6677", "dash"),
    "energy": LineLook("#228833", "dot"), "water": LineLook("#AA3377", "dashdot"),
}


def margin_looks(theme: Theme) -> dict[str, LineLook]:
    """The looks of the return margins."""
    return {"alone": LineLook(theme.ink, "solid"), "with the partner": LineLook("#EE7733", "dash")}


def store_trace(suit: pd.DataFrame, end: Mapping[Any, Any], yaxis: str, words: Words) -> Trace:
    """What is left of a consumable in percent of the usable; ``end``: its row of ``suit_summary``."""
    name, amount, usable = end["consumable"], end["unit"], float(end["usable"])
    left = [float(value) for value in suit[f"{name}_left_{UNITS[name]}"]]
    minutes = [float(value) for value in suit["at_min"]]
    texts = [
        f"{_when(end['crew'], minute, words)}: {WORDS[name]} {100 * value / usable:.0f} %,<br>"
        f"{value:.4g} {amount} left of {usable:.4g}; reserve {_given(end['reserve'], amount)}"
        for minute, value in zip(minutes, left, strict=True)
    ]
    percent = [100 * value / usable for value in left]
    return line(WORDS[name], minutes, percent, texts, yaxis, STORE_LOOKS[name])


def margin_trace(returns: pd.DataFrame, column: str, name: str, yaxis: str, words: Words,
                 look: LineLook) -> Trace:
    """A return margin in minutes at each moment of one crew member."""
    texts = [_margin_text(row, column, words) for row in returns.to_dict("records")]
    minutes = [float(value) for value in returns["at_min"]]
    return line(name, minutes, [float(value) for value in returns[column]], texts, yaxis, look)


def _margin_text(row: Mapping[Any, Any], column: str, words: Words) -> str:
    place = " to ".join(words.place(each) for each in str(row["place"]).split(" to "))
    back = row["with_partner_min"] if column == "partner_margin_min" else row["alone_min"]
    helped = " with the partner's help" if column == "partner_margin_min" else ""
    what = WORDS.get(row["first_out"], "") if column == "suit_margin_min" else "emergency oxygen"
    return (f"{_when(row['crew'], row['at_min'], words)}, {plotly_text(place, 60)}:<br>"
            f"{back:.1f} min until inside{helped}; {signed(row[column])} min of {what} left over")


def level_trace(name: str, y: float, until_min: float, yaxis: str, theme: Theme, color: str) -> Trace:
    """A thin level line over the outing, with its name at its beginning."""
    look = LineLook(color, "solid")
    level = line(name, [0.0, until_min], [y, y], [plotly_text(name)] * 2, yaxis, look, width=1.2)
    return level | {"mode": "lines+text", "text": [plotly_text(name), ""], "textposition": "top right",
                    "textfont": {"size": 10, "color": theme.quiet_ink}}


def line(name: str, minutes: Sequence[float], values: Sequence[float], texts: Sequence[str], yaxis: str,
         look: LineLook, width: float = 2.0) -> Trace:
    """A line over PET; a value that is not known leaves a gap."""
    return {
        "type": "scatter", "mode": "lines", "name": plotly_text(name), "legendgroup": name,
        "xaxis": "x", "yaxis": yaxis, "x": [axis_ms(minute) for minute in minutes],
        "y": [round(value, 4) if math.isfinite(value) else None for value in values],
        "hovertext": list(texts), "hoverinfo": "text", "showlegend": False, "connectgaps": False,
        "line": {"color": look.color, "dash": look.dash, "width": width},
    }


def worst_trace(worst: Mapping[Any, Any], yaxis: str, theme: Theme, words: Words) -> Trace:
    """The worst point of one case, named above its line alone and below it with the partner.

    ``worst`` is a row of ``return_summary``.
    """
    place = plotly_text(" to ".join(words.place(each) for each in str(worst["place"]).split(" to ")), 40)
    text = f"{signed(worst['margin_min'])} min at {pet_label(worst['at_min'])}, {place}"
    return {
        "type": "scatter", "mode": "markers+text", "name": "worst", "xaxis": "x", "yaxis": yaxis,
        "x": [axis_ms(worst["at_min"])], "y": [round(float(worst["margin_min"]), 4)], "text": [text],
        "textposition": "top right" if worst["case"].endswith("alone") else "bottom right",
        "textfont": {"size": 11, "color": theme.ink}, "cliponaxis": False,
        "marker": {"symbol": "diamond", "size": 8, "color": theme.ink}, "hoverinfo": "skip",
        "showlegend": False,
    }


def signed(value: float) -> str:
    """A number with one decimal and a true minus sign."""
    return f"{value:.1f}".replace("-", "−")


def _when(crew: str, minute: float, words: Words) -> str:
    return f"{crew} at {pet_label(minute)} (GMT {gmt_label(moment_at(minute, words.egress))})"


def _given(amount: float, unit: str) -> str:
    return f"{amount:.4g} {unit}" if math.isfinite(amount) else "not given"
