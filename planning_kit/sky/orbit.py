"""An orbit: SGP4 mean elements or an ephemeris, where it puts the station, and how far off for its age."""

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BarycentricInterpolator, KroghInterpolator
from sgp4.api import SGP4_ERRORS, WGS72, Satrec
from skyfield.elementslib import OsculatingElements
from skyfield.framelib import ICRS, ICRS_to_J2000, InertialFrame, itrs
from skyfield.positionlib import ICRF
from skyfield.sgp4lib import TEME
from skyfield.units import Distance, Velocity

from planning_kit.inputs.faults import Faults, ScenarioError, as_path, must_be
from planning_kit.inputs.folder_files import read_path
from planning_kit.inputs.oem import Ephemeris, OrbitData, Segment, orbit_from
from planning_kit.inputs.omm import EARTH_GM_KM3_S2, EARTH_RADIUS_KM, Elements
from planning_kit.inputs.times import moment_at
from planning_kit.inputs.utc import When, as_utc
from planning_kit.sky.sun import timescale
from planning_kit.sky.windows import SECONDS_PER_DAY, Vector

MINUTES_PER_DAY = 1440.0
_SGP4_DAY_ZERO, _Y2000 = datetime(1949, 12, 31, tzinfo=UTC), datetime(2000, 1, 1, tzinfo=UTC)
_STAMP = "%Y-%m-%dT%H:%M:%SZ"


@dataclass(frozen=True)
class Orbit:
    """Mean elements, propagated by SGP4/SDP4 with WGS-72 constants, as they were fitted; or an ephemeris.

    Source: D. Vallado, P. Crawford, R. Hujsak, T. S. Kelso, "Revisiting Spacetrack Report #3", AIAA
    2006-6753, through the package `sgp4`. Positions are in TEME (true equator, mean equinox of date). The
    elements know no reboost, and UTC is taken as days of 86 400 s: a leap second in the range shifts what
    follows it by 1 s. An ephemeris is interpolated as its file says (`_interpolated`), never extrapolated.
    """

    elements: OrbitData

    def __repr__(self) -> str:
        """Name, epoch and period in one line."""
        return f"Orbit({self.name!r}, epoch {self.epoch:%Y-%m-%dT%H:%M:%SZ}, {self.period_min:.2f} min)"

    def __post_init__(self) -> None:
        """Raise `ScenarioError` when SGP4 cannot use the elements."""
        _refuse_unbound(self.mean)
        if isinstance(self.elements, Elements):
            _satrec(self.elements)

    @property
    def name(self) -> str:
        """Name of the object, as the orbit message has it (untrusted text)."""
        return self.elements.object_name

    @property
    def epoch(self) -> datetime:
        """Moment of the elements (UTC)."""
        return self.elements.epoch

    @property
    def period_min(self) -> float:
        """Minutes a revolution, from the mean motion."""
        return MINUTES_PER_DAY / self.mean.mean_motion_rev_per_day

    @property
    def mean(self) -> Elements:
        """The elements; of an ephemeris those of the ellipse at its start, for period and shape."""
        return self.elements if isinstance(self.elements, Elements) else _osculating(self.elements)

    def position_teme_km(self, reference: datetime, seconds: Vector) -> Vector:
        """Positions ``seconds`` (k,) after ``reference``: (k, 3), km, TEME.

        Raises `ScenarioError` for what is no time, and when SGP4 reports an error (a decayed orbit) at any of
        the times.
        """
        return self.state_teme(reference, seconds)[0]

    def state_teme(self, reference: datetime, seconds: Vector) -> tuple[Vector, Vector]:
        """Positions (km) and velocities (km/s), each (k, 3), TEME; see `position_teme_km`."""
        reference, seconds = as_utc(reference, "reference"), _as_numbers(seconds)
        if isinstance(self.elements, Ephemeris):
            return _ephemeris_states(self.elements, reference, seconds)
        satrec = _satrec(self.elements)
        # Counted from SGP4's own copy of the epoch, which as one float is only good to a microsecond.
        since_epoch = ((reference - self.epoch).total_seconds() + seconds) / SECONDS_PER_DAY
        codes, position, velocity = satrec.sgp4_array(
            np.full(seconds.shape, satrec.jdsatepoch), satrec.jdsatepochF + since_epoch)
        if codes.any():
            self._refuse(reference, seconds, codes)
        return position, velocity

    def _refuse(self, reference: datetime, seconds: Vector, codes: NDArray[np.uint8]) -> None:
        failed = np.flatnonzero(codes)
        first = failed[np.argmin(np.abs(seconds[failed]))]
        moment = moment_at(float(seconds[first]) / 60, reference)
        reason = SGP4_ERRORS.get(int(codes[first]), "unknown error")
        raise ScenarioError.single(
            f"SGP4 gives no position at {moment:%Y-%m-%dT%H:%MZ} ({reason}); "
            "ask for times nearer to the elements' epoch, or use newer elements",
            table="orbit", column="EPOCH", value=self.epoch.isoformat())


def load_orbit(orbit_file: str | Path) -> Orbit:
    """Read an orbit file: OMM (JSON, XML, KVN or CSV) or OEM (KVN) of CCSDS 502.0-B, or two-line elements.

    Raises `ScenarioError` when it cannot be read or is no orbit that can be computed.
    """
    path, faults = as_path(orbit_file, "orbit file"), Faults()
    orbit = orbit_from(read_path(path, path.name), path.name, faults)
    faults.stop_if_any()
    assert orbit is not None
    return Orbit(orbit)


def as_orbit(given: object) -> Orbit:
    """``given``, or a `ScenarioError` where it is no orbit."""
    return must_be(given, Orbit, "orbit", "must be an orbit, such as pk.load_orbit(orbit_file) gives, or "
                   "pk.Orbit(scenario.elements)")


def _as_numbers(seconds: object) -> Vector:
    try:
        numbers = np.asarray(seconds, dtype=float)
    except (TypeError, ValueError, OverflowError):
        numbers = np.empty((0, 0))
    if numbers.ndim != 1:
        raise ScenarioError.single("must be a list of numbers", column="seconds", value=seconds)
    return numbers


def _refuse_unbound(elements: Elements) -> None:
    """Raise `ScenarioError` for elements that SGP4 would turn into NaN, or that are no closed orbit."""
    faults = Faults()
    for name, value in asdict(elements).items():
        if isinstance(value, float) and not math.isfinite(value):
            faults.add("orbit", None, name, value, "must be a finite number")
    if elements.mean_motion_rev_per_day <= 0:
        faults.add("orbit", None, "MEAN_MOTION", elements.mean_motion_rev_per_day,
                   "must be more than 0 revolutions a day")
    if not 0 <= elements.eccentricity < 1:
        faults.add("orbit", None, "ECCENTRICITY", elements.eccentricity, "must be at least 0 and less than 1")
    faults.stop_if_any()


@lru_cache(maxsize=64)
def _satrec(elements: Elements) -> Satrec:
    """SGP4's own record of the elements; kept apart so that an `Orbit` can be compared and pickled."""
    # SGP4 counts in radians and minutes, the message in revolutions, degrees and days.
    rate = 2 * math.pi / MINUTES_PER_DAY
    since = elements.epoch.astimezone(UTC) - _SGP4_DAY_ZERO
    satrec = Satrec()
    satrec.sgp4init(
        WGS72, "i", 0, since.days + (since.seconds + since.microseconds / 1e6) / SECONDS_PER_DAY,
        elements.bstar, elements.mean_motion_dot * rate / MINUTES_PER_DAY,
        elements.mean_motion_ddot * rate / MINUTES_PER_DAY**2, elements.eccentricity,
        math.radians(elements.arg_perigee_deg), math.radians(elements.inclination_deg),
        math.radians(elements.mean_anomaly_deg), elements.mean_motion_rev_per_day * rate,
        math.radians(elements.raan_deg))
    if satrec.error:
        raise ScenarioError.single(
            f"SGP4 refuses these elements: {SGP4_ERRORS.get(satrec.error, 'unknown error')}; "
            "check mean motion, eccentricity and BSTAR in the orbit message",
            table="orbit", column="MEAN_MOTION", value=elements.mean_motion_rev_per_day)
    return satrec


_FRAMES = {**dict.fromkeys(("EME2000", "J2000"), InertialFrame("EME2000", ICRS_to_J2000)),
           "ICRF": ICRS, "GCRF": ICRS}  # and each ITRF


def _ephemeris_states(ephemeris: Ephemeris, reference: datetime, seconds: Vector) -> tuple[Vector, Vector]:
    """As `Orbit.state_teme`; where two segments meet, the later one counts. ITRF by UT1 to about a second."""
    states = np.full((seconds.size, 6), np.nan)
    for each in ephemeris.segments:
        since = seconds + (reference - each.start).total_seconds()
        inside = (since >= 0) & (since <= (each.stop - each.start).total_seconds())
        if not inside.any():
            continue
        states[inside] = _interpolated(each, since[inside])
        if each.frame != "TEME":
            days = ((reference - _Y2000).total_seconds() + seconds[inside]) / SECONDS_PER_DAY
            place = ICRF.from_time_and_frame_vectors(
                timescale().utc(2000, 1, 1 + days), _FRAMES.get(each.frame, itrs),
                Distance(km=states[inside, :3].T), Velocity(km_per_s=states[inside, 3:].T))
            position, velocity = place.frame_xyz_and_velocity(TEME)
            states[inside] = np.vstack((position.km, velocity.km_per_s)).T
    if np.isnan(states).any():
        known = ", ".join(f"{each.start:{_STAMP}} to {each.stop:{_STAMP}}" for each in ephemeris.segments)
        first, last = (moment_at(float(at) / 60, reference) for at in (seconds.min(), seconds.max()))
        raise ScenarioError.single(
            f"the ephemeris covers {known[:99]}; {first:{_STAMP}} to {last:{_STAMP}} is needed: horizon_h"
            " and up to 1.1 revolutions at each end; get one that covers it without a gap, or change "
            "pet_zero_utc, horizon_h or the times asked for", table="orbit", column="USEABLE_STOP_TIME")
    return states[:, :3], states[:, 3:]


def _interpolated(segment: Segment, since: Vector) -> Vector:
    """States (k, 6) in the frame of the segment: polynomials through as many on one side as on the other."""
    times, nodes = segment.table[:, 0], segment.nodes
    beside = times if nodes % 2 == 0 else (times[1:] + times[:-1]) / 2
    firsts = np.clip(np.searchsorted(beside, since, "right") - nodes // 2, 0, len(times) - nodes)
    states = np.empty((since.size, 6))
    for first in np.unique(firsts):
        states[firsts == first] = _polynomial(segment, int(first))(since[firsts == first])
    return states


@lru_cache(maxsize=20_000)
def _polynomial(segment: Segment, first: int) -> Callable[[Vector], Vector]:
    table = segment.table[first:first + segment.nodes]
    if not segment.is_hermite:
        lagrange: Callable[[Vector], Vector] = BarycentricInterpolator(table[:, 0], table[:, 1:])
        return lagrange
    # The same time twice is a value and then its rate: just what a row of the table holds.
    hermite = KroghInterpolator(np.repeat(table[:, 0], 2), table[:, 1:].reshape(-1, 3))
    return lambda times: np.hstack(tuple(hermite.derivatives(times, 2)))


@lru_cache(maxsize=64)
def _osculating(ephemeris: Ephemeris) -> Elements:
    start = ephemeris.segments[0].start
    position, velocity = _ephemeris_states(ephemeris, start, np.zeros(1))
    found = OsculatingElements(Distance(km=position[0]), Velocity(km_per_s=velocity[0]),
                               timescale().from_datetime(start), EARTH_GM_KM3_S2)
    return Elements(
        ephemeris.object_name, ephemeris.object_id, start, found.mean_motion_per_day.degrees / 360,
        float(found.eccentricity), found.inclination.degrees, found.longitude_of_ascending_node.degrees,
        found.argument_of_periapsis.degrees, found.mean_anomaly.degrees, 0.0, 0.0, 0.0, 0)


def _interpolation_error_s(orbit: Orbit) -> float:
    """How far the polynomials of an ephemeris may shift an edge, s: their remainder on a circular orbit.

    In their outermost interval, where it is largest, of n states h apart at the rate w: the angle
    (w h)^m prod |1/2 - j|^(m/n) / m!, j < n, m = n or Hermite's 2 n; along the orbit, and in height, which
    moves the limb R / sqrt(a² - R²) times as much.
    """
    rate, worst, axis = 2 * math.pi / (orbit.period_min * 60), 0.0, orbit.mean.semi_major_axis_km
    for each in orbit.elements.segments if isinstance(orbit.elements, Ephemeris) else ():
        angle, power = rate * float(np.diff(each.table[:, 0]).max()), 2 if each.is_hermite else 1
        apart = math.prod(angle * abs(0.5 - at) for at in range(each.nodes)) ** power
        worst = max(worst, apart / math.factorial(power * each.nodes) / rate)
    return worst * (1 + EARTH_RADIUS_KM / math.sqrt(max(axis**2 - EARTH_RADIUS_KM**2, 1.0)))


FRESH_ELEMENTS_S = 1.0
"""Assumed error of a shadow edge from elements of no age: 7 to 8 km along a low orbit. An assumption."""

SEMI_MAJOR_AXIS_ERROR_KM = 0.05
"""Assumed error of the elements' semi-major axis. An assumption."""

DRAG_ERROR_FRACTION = 0.2
"""Assumed relative error of the drag to come, against the drag in the elements. An assumption."""


def edge_uncertainty_s(orbit: Orbit, reference: datetime, seconds: Vector,
                       axis_error_km: float = SEMI_MAJOR_AXIS_ERROR_KM,
                       drag_error: float = DRAG_ERROR_FRACTION) -> Vector:
    """Plus or minus seconds (k,) by which a window ``seconds`` (k,) after ``reference`` may be shifted.

    The error of old elements lies along the orbit: the station is early or late, so a window is shifted and
    hardly lengthened. With t days between window and elements (before counts like after),

        sqrt(fresh² + (1.5 δa/a * 86 400 t)² + (ε * n' P t²)²)

    where Kepler's third law turns an axis error δa into a rate (δn/n = -1.5 δa/a; 0.02 s a day for each
    metre in low orbit), and n' = half the first derivative of the mean motion (rev/day²) makes n' t²
    revolutions of P seconds, ε of which are in doubt. Roughly a standard deviation, of assumptions that are
    named above. Neglected: what is across the orbit, how beta drifts, how long after t = 0 the axis error
    itself grows; any reboost, which voids the windows.
    """
    age_s = (reference - orbit.epoch).total_seconds() + np.asarray(seconds, dtype=float)
    age_days = age_s / SECONDS_PER_DAY
    rate = 1.5 * axis_error_km / orbit.mean.semi_major_axis_km * SECONDS_PER_DAY
    drag = drag_error * orbit.mean.mean_motion_dot * orbit.period_min * 60
    return np.sqrt(FRESH_ELEMENTS_S**2 + _interpolation_error_s(orbit)**2 + (rate * age_days) ** 2
                   + (drag * age_days**2) ** 2)


def elements_age_note(orbit: Orbit, moment: When) -> str:
    """How old the elements are at ``moment`` (UTC), what that means for windows, and how it was judged.

    Plain text in whole sentences, without the object's name. Raises `ScenarioError` when ``moment`` is no
    time, ``orbit`` no orbit.
    """
    orbit, when = as_orbit(orbit), as_utc(moment, "moment")
    age_days = (when - orbit.epoch).total_seconds() / SECONDS_PER_DAY
    shift = float(edge_uncertainty_s(orbit, when, np.zeros(1))[0])
    in_words = f"{shift:.0f} s" if shift < 100 else f"{shift / 60:.0f} min"
    side = "before" if age_days >= 0 else "after"
    drag = "They carry no drag rate: its error is not counted. " if orbit.mean.mean_motion_dot == 0 else ""
    useless = (" That is a quarter of a revolution or more: these windows say nothing about single nights."
               if shift > orbit.period_min * 60 / 4 else "")
    return (
        f"Orbit data of {orbit.epoch:%Y-%m-%d %H:%M} UTC, {abs(age_days):.1f} days {side} this moment: a "
        f"window may be shifted by about ±{in_words}, its length hardly changes.{useless} "
        f"Assumed: {FRESH_ELEMENTS_S:g} s for fresh elements, {SEMI_MAJOR_AXIS_ERROR_KM * 1000:g} m of "
        f"semi-major axis, {DRAG_ERROR_FRACTION:.0%} of the drag. {drag}Any "
        "later reboost that no ephemeris holds voids the windows. They are geometric: refraction and airglow "
        "shift what an eye sees by seconds.")
