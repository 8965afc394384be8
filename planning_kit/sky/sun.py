"""Where the Sun is, and how high it, or anything else, stands above the Earth's limb.

The Sun's apparent place is that of DE421, tabulated once a day and interpolated. The limb is that of the
ellipsoid, and the height that of a disc of any size.

Derivation. Stretch space along the pole by k = 1/(1 - f): z becomes k z. Straight lines stay straight and
tangents stay tangents, and the ellipsoid (radii a, a, a(1 - f)) becomes a sphere of radius a. With q the
station and d the line of sight to the target, both stretched, Earth's disc seen from q has the half-angle
asin(a/|q|) about -q, exactly. The target's centre stands above the limb by

    margin = angle(d, -q) - asin(a/|q|).

A round target of angular radius s becomes an ellipse. What counts is its radius towards or away from
Earth's centre, along the unit vector n that is perpendicular to d in the plane of d and q. A ball of radius
R, stretched, reaches R |S n| in that direction (support function of an ellipsoid, S = diag(1, 1, k)), and
its distance grows from |d| unstretched to |d|, so that its angular radius there is s times

    spread = |S n| * |d unstretched| / |d stretched|,    |S n|² = 1 + (k² - 1) n_z².

All dark: margin < -spread s. All clear: margin > +spread s. Closed form, vectorised.

Neglected: that the ellipse's point nearest to the limb lies a little aside of n (second order in the 0.3 %
that k differs from 1: below 1 ms against tracing the Sun's rim ray by ray); refraction and extinction by
the atmosphere, terrain, the geoid (100 m of it are 10 to 30 ms of a low orbit), the Moon's shadow.

The idea is old: P. R. Escobal, Methods of Orbit Determination (1965), ch. 5, and S. Adhya, A. Sibthorpe,
M. Ziebart, P. Cross, "Oblate Earth eclipse state algorithm for low-Earth-orbiting satellites", Journal of
Spacecraft and Rockets 41 (2004) 157-159 (both from memory); the projection of the disc is derived above.
"""

from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from importlib.resources import files

import numpy as np
from scipy.interpolate import CubicSpline
from skyfield.api import load, load_file
from skyfield.sgp4lib import TEME
from skyfield.timelib import Timescale

from planning_kit.sky.windows import SECONDS_PER_DAY, Vector, julian_date

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

    def position_teme_km(self, reference: datetime, seconds: Vector) -> Vector:
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
    # Its own path function warns that its Earth orientation file, which is not used here, has expired.
    with closing(load_file(str(files("skyfield_data").joinpath("data", "de421.bsp")))) as ephemeris:
        earth, sun = ephemeris["earth"], ephemeris["sun"]
        place = earth.at(times).observe(sun).apparent() if is_apparent else (sun - earth).at(times)
        return SunTable(first, CubicSpline(days - first, place.frame_xyz(TEME).km.T))


@lru_cache(maxsize=1)
def timescale() -> Timescale:
    """Skyfield's built-in time scale: leap seconds and UT1 to about a second, no files, no network."""
    return load.timescale(builtin=True)


EARTH_RADIUS_KM = 6378.137
EARTH_FLATTENING = 1 / 298.257223563
"""WGS 84 (NIMA TR8350.2)."""

_LEAST_SINE = 1e-12


def limb_margin_rad(station_km: Vector, target_km: Vector,
                    flattening: float = EARTH_FLATTENING) -> tuple[Vector, Vector]:
    """How far the target's centre stands above the limb as the station sees it, and the spread of its disc.

    Both positions are geocentric, (k, 3), km, with z along Earth's pole (TEME). Returns ``margin`` (k,), in
    radians of the stretched space, negative behind Earth, and ``spread`` (k,): what an angle at the target
    is multiplied by, across the limb, to be compared with the margin (see the module's derivation). Holds
    for targets beyond the limb; for a station outside Earth.
    """
    stretch = 1 / (1 - flattening)
    qx, qy, qz = station_km[:, 0], station_km[:, 1], station_km[:, 2]
    dx, dy, dz = target_km[:, 0] - qx, target_km[:, 1] - qy, target_km[:, 2] - qz
    plain_squared = dx * dx + dy * dy + dz * dz
    qz, dz = qz * stretch, dz * stretch
    q = np.sqrt(qx * qx + qy * qy + qz * qz)
    d = np.sqrt(dx * dx + dy * dy + dz * dz)
    cosine = np.clip(-(qx * dx + qy * dy + qz * dz) / (q * d), -1.0, 1.0)
    sine = np.maximum(np.sqrt(1 - cosine * cosine), _LEAST_SINE)
    margin = np.arccos(cosine) - np.arcsin(np.minimum(EARTH_RADIUS_KM / q, 1.0))
    normal_z = (qz / q + cosine * dz / d) / sine
    spread = np.sqrt((1 + (stretch * stretch - 1) * normal_z * normal_z) * plain_squared) / d
    return margin, spread


def sun_margin_rad(station_km: Vector, sun_km: Vector,
                   flattening: float = EARTH_FLATTENING) -> tuple[Vector, Vector]:
    """The Sun's centre above the limb and its semi-diameter across the limb, both (k,), stretched radians.

    Night (umbra) is margin < -semi-diameter, day is margin > +semi-diameter, between is penumbra.
    Arguments as for `limb_margin_rad`. The semi-diameter is asin(R/D) with the Sun's own distance D from
    the station; its sine and its angle stretch alike to 2e-5 of it.
    """
    margin, spread = limb_margin_rad(station_km, sun_km, flattening)
    distance = np.sqrt(np.sum((sun_km - station_km) ** 2, axis=1))
    return margin, spread * np.arcsin(SUN_RADIUS_KM / distance)
