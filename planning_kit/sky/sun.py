"""Where the Sun is: apparent place from DE421, tabulated once a day and interpolated."""

from __future__ import annotations

from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from skyfield.api import load, load_file
from skyfield.sgp4lib import TEME
from skyfield.timelib import Timescale

from planning_kit.sky.span import SECONDS_PER_DAY, julian_date

SUN_RADIUS_KM = 695_700.0
"""Nominal solar radius, IAU 2015 Resolution B3."""

_KNOTS_BEYOND = 4


@dataclass(frozen=True)
class SunTable:
    """The Sun's geocentric position in TEME (km) between two days, by cubic spline over daily knots.

    Interpolation error: the spline of a curve with fourth derivative M4 and knots h apart errs by at most
    5/384 M4 h⁴ (C. Hall, W. Meyer, "Optimal error bounds for cubic spline interpolation", J. Approx. Theory
    16 (1976), from memory). The Sun's yearly circle (0.0172 rad a day) gives 1.2e-9 rad, the monthly swing
    of Earth about the barycentre (31 microradians, 0.23 rad a day) 1.2e-9 rad, nutation's fortnightly term
    (1e-6 rad, 0.46 rad a day) 0.6e-9 rad: 3e-9 rad in all, which moves a shadow edge by 3 microseconds.
    Four knots beyond each end keep the spline's free ends out of the range.
    """

    day_zero: float
    spline: CubicSpline

    def position_teme_km(self, reference: datetime, seconds: NDArray[np.float64]) -> NDArray[np.float64]:
        """The Sun ``seconds`` (k,) after ``reference`` (UTC): (k, 3), km, TEME."""
        day, fraction = julian_date(reference)
        since = day - self.day_zero + fraction
        return np.asarray(self.spline(since + np.asarray(seconds, dtype=float) / SECONDS_PER_DAY))


def sun_between(start: datetime, stop: datetime, is_apparent: bool = True) -> SunTable:
    """The Sun from ``start`` to ``stop`` (and a few days beyond each).

    ``is_apparent`` corrects for light time and for the aberration of Earth's own motion: in a frame that
    moves with Earth, a ray that grazes the limb comes from there. (The station's velocity plays no part:
    aberration moves the limb, as it sees it, by as much as the Sun.) False gives the geometric place, for
    comparisons. How the Sun's own mass bends the light of its rim (milliarcseconds) is neglected.
    DE421 covers July 1899 to October 2053, so all that `Span` lets through.
    """
    first, last = julian_date(start)[0], julian_date(stop)[0]
    return _tabulate(first - _KNOTS_BEYOND, last + 1 + _KNOTS_BEYOND, is_apparent)


@lru_cache(maxsize=16)
def _tabulate(first: float, last: float, is_apparent: bool) -> SunTable:
    days = np.arange(first, last + 0.5)
    # Count days from one calendar day: a Julian date that ends in .5 is a midnight UTC.
    base = datetime(2000, 1, 1, tzinfo=UTC)
    times = timescale().utc(base.year, base.month, base.day + (days - julian_date(base)[0]))
    # Opened and closed each time: it takes half a millisecond, and no handle outlives its use.
    with closing(load_file(str(_ephemeris_file()))) as ephemeris:
        earth, sun = ephemeris["earth"], ephemeris["sun"]
        place = earth.at(times).observe(sun).apparent() if is_apparent else (sun - earth).at(times)
        return SunTable(first, CubicSpline(days - first, place.frame_xyz(TEME).km.T))


@lru_cache(maxsize=1)
def timescale() -> Timescale:
    """Skyfield's built-in time scale: leap seconds and UT1 to about a second, no files, no network."""
    return load.timescale(builtin=True)


def _ephemeris_file() -> Path:
    """DE421 as the package `skyfield-data` installs it.

    The package's own path function warns that its Earth orientation file has expired. We do not use that
    file, so do not ask it.
    """
    return Path(str(files("skyfield_data").joinpath("data", "de421.bsp")))
