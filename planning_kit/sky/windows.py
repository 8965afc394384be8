"""When is a function positive? One search for every kind of window, the algebra of windows, and their times.

A set of windows is a float array of shape (n, 2): starts and ends, sorted, disjoint, each half open
[start, end) with end > start. The unit is the caller's (seconds or minutes), the same for all arguments.
Windows that touch are one window; a window of no length is none.

A `Span` is the stretch of time in which windows are looked for. Moments become Julian dates and timestamps
here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import elementwise
from sgp4.api import jday

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.utc import When, as_utc

SECONDS_PER_DAY = 86400.0

FIRST_YEAR, LAST_YEAR = 1950, 2052
"""Whole years that both SGP4 and the Sun's ephemeris cover, with room for looking a little beyond."""

LONGEST_DAYS = 1100
"""Three years: far beyond what SGP4 elements can say anything about."""

Vector = NDArray[np.float64]
Windows = NDArray[np.float64]


@dataclass(frozen=True)
class Span:
    """From ``start`` to ``stop``, both UTC datetimes, stop later than start."""

    start: datetime
    stop: datetime

    @property
    def seconds(self) -> float:
        """Length in seconds."""
        return (self.stop - self.start).total_seconds()

    def padded(self, seconds: float) -> Span:
        """The span made longer by ``seconds`` at each end."""
        return Span(self.start - timedelta(seconds=seconds), self.stop + timedelta(seconds=seconds))

    def start_s(self, reference: Span) -> float:
        """Seconds from the start of ``reference`` to this start."""
        return (self.start - reference.start).total_seconds()


def span_between(start: When, stop: When) -> Span:
    """Read ``start`` and ``stop`` (ISO 8601 text, date or datetime; UTC where no zone is given).

    Raises `ScenarioError` for what is no time, years that are not covered, a stop that is not after the
    start, and more than `LONGEST_DAYS`.
    """
    first, last = covered_moment(start, "start"), covered_moment(stop, "stop")
    if last <= first:
        raise ScenarioError.single(f"must be later than the start, {first.isoformat()}",
                                   column="stop", value=last.isoformat())
    if last - first > timedelta(days=LONGEST_DAYS):
        raise ScenarioError.single(
            f"is {(last - first).days} days after the start; ask for at most {LONGEST_DAYS} days at a time",
            column="stop", value=last.isoformat())
    return Span(first, last)


def covered_moment(value: When, what: str) -> datetime:
    """Read a moment as UTC; `ScenarioError` for what is no time or lies outside the years covered."""
    moment = as_utc(value, what)
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise ScenarioError.single(
            f"orbit and Sun are computed for the years {FIRST_YEAR} to {LAST_YEAR}; choose a date within",
            column=what, value=moment.isoformat())
    return moment


def as_times(reference: datetime, seconds: Vector) -> pd.Series:
    """UTC timestamps ``seconds`` after ``reference``, to the nearest millisecond; NaT for NaN."""
    micros = np.round(np.asarray(seconds, dtype=float) * 1e6)
    is_none = np.isnan(micros)  # as a whole number it has no meaning, which numpy warns of
    after = np.where(is_none, 0, micros).astype("timedelta64[us]")
    after[is_none] = np.timedelta64("NaT")
    return pd.Series((pd.Timestamp(reference) + pd.to_timedelta(after)).round("ms").as_unit("us"))


def julian_date(moment: datetime) -> tuple[float, float]:
    """The UTC Julian date of ``moment`` as a day that ends in .5 and a fraction of a day."""
    utc = moment.astimezone(UTC)
    day, fraction = jday(utc.year, utc.month, utc.day, utc.hour, utc.minute,
                         utc.second + utc.microsecond / 1e6)
    return float(day), float(fraction)


SignedFunction = Callable[[Vector], Vector]

_ROOT_TOLERANCE = 1e-7
# A peak only has to be found on the other side of zero: where exactly does not move the edges beside it.
_PEAK_TOLERANCE = 1e-3


def no_windows() -> Windows:
    """The empty set of windows, shape (0, 2)."""
    return np.empty((0, 2))


# --- search -------------------------------------------------------------------------------------------------


def windows_where(signed_function: SignedFunction, start: float, stop: float, step: float) -> Windows:
    """Windows inside [start, stop] in which ``signed_function(times) > 0``; shape (n, 2).

    The function takes and gives a float array of shape (k,), is continuous, and is also asked up to one
    ``step`` outside the range, so that a peak at its edge is seen. ``step`` must be short enough that no
    three neighbours of the grid hold two extrema; windows (and the gaps between them) may be far shorter.

    1. Sample on an even grid of at most ``step``.
    2. Polish near misses: where a sample is a local maximum at or below zero, or a local minimum above it,
       the true extremum between its neighbours may lie across zero. It is found by bracketed minimisation
       [2] and, if it does, joins the samples.
    3. Refine all changes of sign together by Chandrupatla's method [1].

    Edges are found to 1e-7 of the time unit. With seconds, a window shorter than about 2 ms may be missed.

    [1] T. R. Chandrupatla, "A new hybrid quadratic/bisection algorithm for finding the zero of a nonlinear
    function without using derivatives", Advances in Engineering Software 28 (1997), 145-149.
    [2] T. R. Chandrupatla, "An efficient quadratic fit-sectioning algorithm for minimization without
    derivatives", Computer Methods in Applied Mechanics and Engineering 152 (1998), 211-217.
    """
    # An even grid that ends exactly on the range, and one more sample on either side.
    intervals = max(1, int(np.ceil((stop - start) / step)))
    width = (stop - start) / intervals
    times = start + width * np.arange(-1.0, intervals + 2)
    values = signed_function(times)
    times, values = _with_polished_extrema(signed_function, times, values)
    is_positive = values > 0
    left = np.flatnonzero(is_positive[1:] != is_positive[:-1])
    edges = _roots(signed_function, times[left], times[left + 1])
    # A window that is open at the grid's end is closed there; clipping then cuts it to the range.
    if is_positive[0]:
        edges = np.concatenate(([times[0]], edges))
    if is_positive[-1]:
        edges = np.concatenate((edges, [times[-1]]))
    return clip(edges.reshape(-1, 2), start, stop)


def _with_polished_extrema(signed_function: SignedFunction, times: Vector,
                           values: Vector) -> tuple[Vector, Vector]:
    """Samples plus those extrema between samples that lie on the other side of zero than the samples."""
    found_times, found_values = [times], [values]
    for sign in (1.0, -1.0):
        # A height of just 0 counts as not positive: maxima at 0 are polished, minima at 0 are not.
        heights = sign * values
        before, here, after = heights[:-2], heights[1:-1], heights[2:]
        middle = 1 + np.flatnonzero((here >= before) & (here >= after) & ((here > before) | (here > after))
                                    & ((here <= 0) if sign > 0 else (here < 0)))
        if middle.size == 0:
            continue
        result = elementwise.find_minimum(
            lambda t, sign=sign: -sign * signed_function(t),
            (times[middle - 1], times[middle], times[middle + 1]),
            tolerances={"xatol": _PEAK_TOLERANCE, "xrtol": 0.0, "fatol": 0.0, "frtol": 0.0},
        )
        peaks = -sign * result.f_x
        across = (peaks > 0) if sign > 0 else (peaks <= 0)
        found_times.append(result.x[across])
        found_values.append(peaks[across])
    all_times, all_values = np.concatenate(found_times), np.concatenate(found_values)
    order = np.argsort(all_times, kind="stable")
    return all_times[order], all_values[order]


def _roots(signed_function: SignedFunction, left: Vector, right: Vector) -> Vector:
    if left.size == 0:
        return np.empty(0)
    result = elementwise.find_root(signed_function, (left, right),
                                   tolerances={"xatol": _ROOT_TOLERANCE, "xrtol": 0.0, "fatol": 0.0})
    return np.asarray(result.x)


# --- algebra ------------------------------------------------------------------------------------------------


def union(first: Windows, second: Windows) -> Windows:
    """Times in either set. Windows that touch become one."""
    return covered_at_least(1, first, second)


def intersect(first: Windows, second: Windows) -> Windows:
    """Times in both sets."""
    return covered_at_least(2, first, second)


def complement(windows: Windows, within: tuple[float, float]) -> Windows:
    """Times in the half-open range ``within`` that are in no window."""
    start, stop = within
    inside = clip(windows, start, stop)
    edges = np.concatenate(([start], inside.ravel(), [stop])).reshape(-1, 2)
    return edges[edges[:, 1] > edges[:, 0]]


def clip(windows: Windows, start: float, stop: float) -> Windows:
    """The parts of the windows inside [start, stop)."""
    cut = np.clip(np.asarray(windows, dtype=float).reshape(-1, 2), start, stop)
    return np.asarray(cut[cut[:, 1] > cut[:, 0]])


def shrink(windows: Windows, guard: float, within: tuple[float, float] | None = None) -> Windows:
    """Windows with ``guard`` (>= 0) taken off each end; those of at most twice the guard are dropped.

    With ``within``, an edge that lies on that range's own start or stop is a cut, not an event, and keeps
    its place.
    """
    windows = np.asarray(windows, dtype=float).reshape(-1, 2)
    starts, ends = windows[:, 0] + guard, windows[:, 1] - guard
    if within is not None:
        starts = np.where(windows[:, 0] <= within[0], windows[:, 0], starts)
        ends = np.where(windows[:, 1] >= within[1], windows[:, 1], ends)
    keep = ends > starts
    return np.column_stack((starts[keep], ends[keep]))


def total(windows: Windows) -> float:
    """The summed length of the windows."""
    windows = np.asarray(windows, dtype=float).reshape(-1, 2)
    return float(np.sum(windows[:, 1] - windows[:, 0]))


def covered_at_least(depth: int, *sets: Windows) -> Windows:
    """Times covered by at least ``depth`` windows of all ``sets``: a sweep over all edges.

    Here the windows of one set may overlap; each counts.
    """
    windows = np.concatenate([np.reshape(each, (-1, 2)) for each in sets]).astype(float)
    edges = windows.T.ravel()
    change = np.repeat((1, -1), len(windows))
    # At equal times starts go first, so that windows that touch are joined; what an intersection gains
    # by that has no length and falls away below.
    order = np.lexsort((-change, edges))
    edges, change = edges[order], change[order]
    cover = np.cumsum(change)
    starts = edges[(change > 0) & (cover == depth)]
    ends = edges[(change < 0) & (cover == depth - 1)]
    keep = ends > starts
    return np.column_stack((starts[keep], ends[keep]))
