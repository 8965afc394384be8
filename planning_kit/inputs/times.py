"""Times, numbers and units as people write and read them; phase elapsed time (PET) in minutes between.

Labels follow the trade: PET ``h:mm`` and GMT ``DDD/hh:mm`` (day of year, as in the day-of-year form of
CCSDS 301.0-B, ASCII time code B). Leap seconds inside an outing are neglected: minutes are plain differences.

The factors are exact by definition (NIST SP 811, 2008, appendix B): a foot 0.3048 m, a pound 0.45359237 kg,
standard gravity 9.80665 m/s2, the Btu of the International Table 1055.05585262 J (2326 J/kg times a pound).
"""

import math
import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Literal, Protocol

from planning_kit.inputs.setting_records import SI

_FOOT_M, _INCH_M, _POUND_KG = Fraction("0.3048"), Fraction("0.0254"), Fraction("0.45359237")
_POUND_FORCE_N, _BTU_J = _POUND_KG * Fraction("9.80665"), _POUND_KG * 2326

_DIMENSIONS: tuple[dict[str, Fraction], ...] = (
    {"m": Fraction(1), "cm": Fraction(1, 100), "km": Fraction(1000), "ft": _FOOT_M, "in": _INCH_M},
    {"kg": Fraction(1), "g": Fraction(1, 1000), "lb": _POUND_KG},
    {"kPa": Fraction(1000), "psi": _POUND_FORCE_N / _INCH_M**2},
    {"N m": Fraction(1), "ft-lb": _POUND_FORCE_N * _FOOT_M},
    {"W": Fraction(1), "Btu/h": _BTU_J / 3600},
    {"W h": Fraction(3600), "Btu": _BTU_J},
    {"m/min": Fraction(1), "ft/min": _FOOT_M},
    {"min": Fraction(60), "h": Fraction(3600), "s": Fraction(1)},
)


def units_of(unit: str) -> Mapping[str, Fraction]:
    """The units that a number of a field in ``unit`` may be typed with, itself first, each in the SI unit.

    Empty for a unit that no other one stands for.
    """
    known = next((each for each in _DIMENSIONS if unit in each), {})
    return {unit: known[unit]} | known if known else known


def converted(value: float, unit: str, to: str) -> float:
    """A finite ``value`` in ``unit`` as one in ``to``, the nearest float there is to the decimal number.

    So 85 ft and 25.908 m are one. Raises KeyError for a unit of another kind, OverflowError.
    """
    known = units_of(to)
    # Of the shortest decimal that reads back as the float, which is what was typed.
    return float(Fraction(repr(float(value))) * known[unit] / known[to])


class _InUnits(Protocol):
    @property
    def units(self) -> str: ...


PET_PATTERN = r"([-−]?)([0-9]{1,3}):([0-5][0-9])(?::([0-5][0-9](?:\.[0-9]+)?))?"
_PET = re.compile(PET_PATTERN)


def pet_typed(text: str) -> float | None:
    """Minutes of PET typed as ``h:mm`` or ``h:mm:ss``, with a minus before PET 0; None for anything else."""
    match = _PET.fullmatch(text.strip())
    if not match:
        return None
    sign, hours, minutes, seconds = match.groups()
    pet = int(hours) * 60 + int(minutes) + float(seconds or 0) / 60
    return -pet if sign else pet


def moment_text(moment: datetime) -> str:
    """A moment (UTC) as the file has it."""
    return moment.isoformat().replace("+00:00", "Z")


def pet_min(moment: datetime, pet_zero: datetime) -> float:
    """Minutes of PET at ``moment``: negative before PET 0."""
    return (moment - pet_zero).total_seconds() / 60.0


def moment_at(pet: float, pet_zero: datetime) -> datetime:
    """The UTC datetime at ``pet`` minutes of PET, to the nearest microsecond."""
    return pet_zero + timedelta(minutes=pet)


Side = Literal["down", "nearest", "up"]
"""To which side a number is rounded for people: the safe one.

``down``: when something must stand, the latest that something may be, what is available, left or a margin.
``up``: when something may be lifted, the earliest that something may be, what is needed or missing.
``nearest``: what merely is so, such as a planned start (halves up).
"""

# Of the last place shown: floats that should be whole are not moved by a whole place.
_NO_MORE_THAN_ROUNDING = 1e-6
_CUSTOMARY = {"m": ("ft", 1), "g": ("lb", 2), "kg": ("lb", 1), "W": ("Btu/h", 0), "W h": ("Btu", 0)}
_ADDED = {"down": _NO_MORE_THAN_ROUNDING, "nearest": 0.5, "up": 1 - _NO_MORE_THAN_ROUNDING}


def rounded(value: float, side: Side, digits: int = 0) -> float:
    """``value`` with so many digits after the point, rounded to ``side``; as it is when not finite."""
    if not math.isfinite(value):
        return value
    scale = 10.0 ** digits
    return math.floor(value * scale + _ADDED[side]) / scale


def number_label(value: float, side: Side, digits: int = 1) -> str:
    """A number in words, rounded to ``side``, with a true minus; ``–`` when not finite."""
    return f"{rounded(value, side, digits):.{digits}f}".replace("-", "−") if math.isfinite(value) else "–"


def measure(value: float, unit: str, shown: _InUnits, side: Side, text: str = "") -> str:
    """A value with its unit, ``25.9 m``; with the customary one beside it where the scenario asks for that.

    ``shown``: the settings, or what has their ``units``. ``text``: the value as told, where that is not all
    its digits; the customary one is rounded to ``side``.
    """
    told = f"{text or f'{value:g}'} {unit}"
    if shown.units == SI or unit not in _CUSTOMARY or not math.isfinite(value):
        return told
    other, digits = _CUSTOMARY[unit]
    return f"{told} ({number_label(converted(value, unit, other), side, digits)} {other})"


def margin_label(margin_min: float, kept: str = "left", broken: str = "over") -> str:
    """A margin as ``h:mm`` with a word for one that is kept and for one that is broken, to the safe side."""
    if margin_min >= -_NO_MORE_THAN_ROUNDING:
        return f"{pet_label(max(margin_min, 0.0), 'down')} {kept}"
    return f"{pet_label(-margin_min, 'up')} {broken}"


def pet_label(pet: float, side: Side = "nearest") -> str:
    """PET as ``h:mm``, rounded to ``side``; ``−h:mm`` before PET 0, ``–`` when not finite."""
    if not math.isfinite(pet):
        return "–"
    whole = int(rounded(pet, side))
    sign = "−" if whole < 0 else ""
    hours, minutes = divmod(abs(whole), 60)
    return f"{sign}{hours}:{minutes:02d}"


def pet_spans(*spans: tuple[float, float]) -> str:
    """Stretches of PET, none told shorter than it is: ``0:39 to 1:23``, joined by commas."""
    return ", ".join(f"{pet_label(begin, 'down')} to {pet_label(end, 'up')}" for begin, end in spans)


def gmt_label(moment: datetime, side: Side = "nearest") -> str:
    """UTC as day of year and time, ``DDD/hh:mm``, rounded to ``side``."""
    return (moment + timedelta(minutes=_ADDED[side])).astimezone(UTC).strftime("%j/%H:%M")
