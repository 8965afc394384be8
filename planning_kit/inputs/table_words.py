"""The tables of the package as people read them: heads in words with their units, PET as ``h:mm``, GMT.

A column's name says what it holds (``start_min``, ``reach_m``, ``is_cliff``); here is the one place that
reads it, for notebooks, the workbench and saved pages.
Numbers that must stand, are latest or left are rounded down; what is needed or may be lifted, up.
"""

import math
from collections.abc import Hashable
from datetime import UTC, datetime

import numpy as np
import pandas as pd

from planning_kit.inputs.times import Side, gmt_label, moment_at, number_label, pet_label

_UNITS = {"_min": "min", "_m": "m", "_g": "g", "_wh": "Wh", "_h": "h", "_deg": "°", "_s": "s", "_km": "km",
          "_utc": "GMT", "_gmt": "GMT", "_minutes": "min"}
_DIGITS = {"PET": 0, "min": 1, "m": 1, "g": 0, "Wh": 0, "h": 1, "°": 1, "s": 0, "km": 0, "chance": 3}
_WORDS = {"p": "chance", "se": "standard error", "co2": "CO2", "pet zero": "PET 0", "utc": "GMT"}
# Minutes that are moments of the outing; all others are lengths.
_MOMENTS = frozenset(
    f"{name}_min" for name in (
        "at", "begin", "best_end", "deadline", "drop_after", "earliest", "end", "end_if_long", "end_if_short",
        "end_without", "ends", "finish", "finish_a", "finish_b", "finish_now", "finish_then", "from",
        "given_last_start", "home", "inside", "last_start", "latest", "latest_end", "lift_after",
        "light_until", "longer_end", "must_by", "new_start", "next_cover", "now", "open_until", "opens",
        "out", "pet", "planned_finish", "planned_start", "ready", "runs_out", "set_by", "start", "start_a",
        "start_b", "start_now", "start_then", "to", "turn_back_by", "until"))
# What is latest, left or available; what may be lifted, is needed or used.
_DOWN = frozenset((
    "deadline_min", "drop_after_min", "given_last_start_min", "last_start_min", "latest_end_min",
    "latest_min", "left", "light_until_min", "must_by_min", "open_until_min", "runs_out_min",
    "set_by_min", "stay_min", "tether_m", "turn_back_by_min", "usable"))
_UP = frozenset((
    "abort_min", "alone_min", "inside_min", "lift_after_min", "open_min", "reach_m", "reserve",
    "safe_now_min", "safe_orderly_min", "terminate_min", "time_back_min", "total_min", "used", "used_before",
    "with_partner_min"))


_HELD_WORDS = {
    "light": "Starts when {id} begins",
    "late": "Starts as late as it can: {id} needs it",
    "late_end": "Starts as late as it can: {id} ends",
    "group": "Starts when its whole group {id} fits in one window",
    "max_gap": "Starts no earlier, so that {id} can follow in time",
    "partner": "Starts when {id} is ready too",
    "after": "Starts when {id} is finished",
    "min_gap": "Starts the least time after {id}",
    "link": "Starts when there is a link ({id})",
    "window": "Starts when the window {id} opens",
}


def head_words(column: Hashable) -> tuple[str, str]:
    """A column's name as words, and the unit of what it holds: PET, GMT, a unit of measure, or ""."""
    name = " ".join(map(str, column)) if isinstance(column, tuple) else str(column)
    if name in _MOMENTS:
        return name.removesuffix("_min").replace("_", " "), "PET"
    if name == "p" or name.startswith("p_"):
        return name[2:].replace("_", " ") or "chance", "chance" if name != "p" else ""
    if name.startswith("minutes_"):
        return name[8:], "min"
    ending = next((each for each in _UNITS if name.endswith(each) and len(name) > len(each)), "")
    words = name.removesuffix(ending).removeprefix("is_").replace("_", " ")
    return _WORDS.get(words, words), _UNITS.get(ending, "")


def side_of(column: Hashable) -> Side:
    """To which side numbers of a column are rounded: the safe one."""
    name = str(column).removeprefix("partner_")
    if name in _DOWN or "margin" in name or name.startswith("slack_") or "_left_" in name:
        return "down"
    return "up" if name in _UP or "_reserve_" in name else "nearest"


def cells_of(column: Hashable, values: pd.Series, pet_zero: datetime | None = None) -> list[str]:
    """What the cells of a column say; with ``pet_zero`` (UTC) a moment of the outing has its GMT as well."""
    if pd.api.types.is_datetime64_any_dtype(values):
        is_day = bool((values.dropna() == values.dropna().dt.normalize()).all())
        return ["–" if pd.isna(each) else f"{each:%Y-%m-%d}" if is_day else gmt_label(_zoned(each))
                for each in values]
    if str(column).startswith("held_by"):
        return [held_words(str(each)) for each in values]
    floats = [each for each in values if isinstance(each, float) and math.isfinite(each)]
    unit, side = head_words(column)[1], side_of(column)
    digits = 0 if all(each == round(each) for each in floats) else _DIGITS.get(unit)
    return [_cell(each, unit, side, digits, pet_zero) for each in values]


def _cell(value: object, unit: str, side: Side, digits: int | None, pet_zero: datetime | None) -> str:
    if isinstance(value, bool | np.bool_):
        return "yes" if value else "no"
    if value is None or value is pd.NA or value is pd.NaT:
        return "–"
    if isinstance(value, datetime):
        return gmt_label(_zoned(value))
    if not isinstance(value, float):
        return str(value)
    if unit == "PET":
        shown = pet_label(value, side)
        return (f"{shown} ({gmt_label(moment_at(value, pet_zero), side)})"
                if pet_zero is not None and math.isfinite(value) else shown)
    if math.isinf(value):
        return "∞" if value > 0 else "−∞"
    return number_label(value, side, _three_figures(value) if digits is None else digits)


def _three_figures(value: float) -> int:
    """Places after the point of a number without a unit of its own."""
    return max(0, min(3, 2 - math.floor(math.log10(abs(value))))) if value and math.isfinite(value) else 0


def _zoned(moment: datetime) -> datetime:
    """A moment without a zone as one of UTC."""
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def is_number(values: pd.Series) -> bool:
    """Whether a column holds numbers, which stand to the right; words stand to the left."""
    return pd.api.types.is_numeric_dtype(values) and not pd.api.types.is_bool_dtype(values)


def held_words(held_by: str) -> str:
    """What holds a start, in words; "" where nothing is known."""
    kind, _, name = held_by.partition(":")
    if kind == "order":
        return f"Starts as soon as {name} is done" if name != "pet_zero" else "Nothing but PET 0 holds it"
    if kind in ("light", "late_end"):
        name = name.replace("-", " ")
    pattern = _HELD_WORDS.get(kind)
    return pattern.format(id=name) if pattern else held_by
