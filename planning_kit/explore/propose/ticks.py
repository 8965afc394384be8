"""Minutes as whole numbers for the solver.

The solver counts in seconds. Whatever holds a start back is rounded up and whatever lets it go is rounded
down, so that a set of starts that the solver accepts keeps every rule of the timing in exact minutes too; the
timing, which gives the earliest starts of that order, agrees or is earlier. The price: two orders whose ends
differ by less than a second a link of the chain can be told apart only by the timing.
"""

from __future__ import annotations

import math

import numpy as np

from planning_kit.plan.network import on_grid

TICKS_PER_MIN = 60


def ticks_up(minutes: float) -> int:
    """Ticks that last at least ``minutes``."""
    return math.ceil(float(on_grid(minutes)) * TICKS_PER_MIN)


def ticks_down(minutes: float) -> int:
    """Ticks that last at most ``minutes``."""
    return math.floor(float(on_grid(minutes)) * TICKS_PER_MIN)


def minutes_of(ticks: float) -> float:
    """Minutes of a number of ticks."""
    return ticks / TICKS_PER_MIN


def start_windows(windows: np.ndarray, length_min: float) -> list[tuple[int, int]]:
    """Ranges of ticks in which a step of this length may start to lie wholly in one of ``windows`` (min)."""
    ranges = [(ticks_up(begin), ticks_down(end - length_min)) for begin, end in windows.tolist()]
    return [(first, last) for first, last in ranges if first <= last]
