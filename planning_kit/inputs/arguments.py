"""What a user passes to a function: whether it is a number, or the kind of object that is wanted."""

from __future__ import annotations

import math
from collections.abc import Collection
from numbers import Integral, Real
from typing import TypeGuard, TypeVar

import pandas as pd

from planning_kit.inputs.faults import ScenarioError

Kind = TypeVar("Kind")


def is_number(value: object) -> TypeGuard[float]:
    """Whether ``value`` is one finite number; yes and no are none, though Python counts them."""
    if not isinstance(value, Real) or isinstance(value, bool):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number of hundreds of digits
        return False


def is_whole(value: object, least: int, most: float = math.inf) -> TypeGuard[int]:
    """Whether ``value`` is a whole number from ``least`` to ``most``; yes and no are none."""
    return isinstance(value, Integral) and not isinstance(value, bool) and least <= int(value) <= most


def table_with(given: object, columns: Collection[str], what: str, how: str) -> pd.DataFrame:
    """``given``, or a `ScenarioError` where it is no table with these columns; ``how`` as in `must_be`."""
    table = must_be(given, pd.DataFrame, what, how)
    missing = [name for name in columns if name not in table]
    if missing:
        raise ScenarioError.single(f"{how}; it has no {', '.join(missing)}", column=what)
    return table


def must_be(given: object, kind: type[Kind], what: str, how: str) -> Kind:
    """``given``, or a `ScenarioError` where it is no ``kind``; ``how`` says what to give as ``what``."""
    if not isinstance(given, kind):
        raise ScenarioError.single(how, column=what, value=type(given).__name__)
    return given
