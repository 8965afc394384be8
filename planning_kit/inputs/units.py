"""Units that a number may be typed with, beside the SI unit that its field declares.

The factors are exact by definition (NIST SP 811, 2008, appendix B): a foot 0.3048 m, a pound 0.45359237 kg,
standard gravity 9.80665 m/s2, the Btu of the International Table 1055.05585262 J (2326 J/kg times a pound).
"""

from collections.abc import Mapping
from fractions import Fraction

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
