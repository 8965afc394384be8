"""An orbit: SGP4 mean elements, where they put the station, and how far off that may be for their age."""

import math
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from sgp4.api import SGP4_ERRORS, WGS72, Satrec

from planning_kit.inputs import omm
from planning_kit.inputs.faults import Faults, ScenarioError, must_be
from planning_kit.inputs.omm import Elements
from planning_kit.inputs.times import When, as_utc, moment_at
from planning_kit.sky.windows import SECONDS_PER_DAY, Vector

MINUTES_PER_DAY = 1440.0
_SGP4_DAY_ZERO = datetime(1949, 12, 31, tzinfo=UTC)


@dataclass(frozen=True)
class Orbit:
    """Mean elements, propagated by SGP4/SDP4 with WGS-72 constants, as the elements were fitted.

    Source: D. Vallado, P. Crawford, R. Hujsak, T. S. Kelso, "Revisiting Spacetrack Report #3", AIAA
    2006-6753, through the package `sgp4`. Positions are in TEME (true equator, mean equinox of date). The
    elements know no reboost, and UTC is taken as days of 86 400 s: a leap second in the range shifts what
    follows it by 1 s.
    """

    elements: Elements

    def __repr__(self) -> str:
        """Name, epoch and period in one line."""
        return f"Orbit({self.name!r}, epoch {self.epoch:%Y-%m-%dT%H:%M:%SZ}, {self.period_min:.2f} min)"

    def __post_init__(self) -> None:
        """Raise `ScenarioError` when SGP4 cannot use the elements."""
        _refuse_unbound(self.elements)
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
        return MINUTES_PER_DAY / self.elements.mean_motion_rev_per_day

    def position_teme_km(self, reference: datetime, seconds: Vector) -> Vector:
        """Positions ``seconds`` (k,) after ``reference``: (k, 3), km, TEME.

        Raises `ScenarioError` for what is no time, and when SGP4 reports an error (a decayed orbit) at any of
        the times.
        """
        return self.state_teme(reference, seconds)[0]

    def state_teme(self, reference: datetime, seconds: Vector) -> tuple[Vector, Vector]:
        """Positions (km) and velocities (km/s), each (k, 3), TEME; see `position_teme_km`."""
        reference, seconds = as_utc(reference, "reference"), _as_numbers(seconds)
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


def load_orbit(omm_file: str | Path) -> Orbit:
    """Read an orbit message (CCSDS OMM 502.0-B: JSON, XML, KVN or CSV).

    Raises `ScenarioError` when the message cannot be read or is no orbit that SGP4 can use.
    """
    return Orbit(omm.read_omm(omm_file))


def as_orbit(given: object) -> Orbit:
    """``given``, or a `ScenarioError` where it is no orbit."""
    return must_be(given, Orbit, "orbit", "must be an orbit, such as pk.load_orbit(omm_file) gives, or "
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
    rate = 1.5 * axis_error_km / orbit.elements.semi_major_axis_km * SECONDS_PER_DAY
    drag = drag_error * orbit.elements.mean_motion_dot * orbit.period_min * 60
    return np.sqrt(FRESH_ELEMENTS_S**2 + (rate * age_days) ** 2 + (drag * age_days**2) ** 2)


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
    drag = ("The elements carry no drag, so its error is not counted. "
            if orbit.elements.mean_motion_dot == 0 else "")
    useless = (" That is a quarter of a revolution or more: these windows say nothing about single nights."
               if shift > orbit.period_min * 60 / 4 else "")
    return (
        f"Elements of {orbit.epoch:%Y-%m-%d %H:%M} UTC, {abs(age_days):.1f} days {side} this moment: a "
        f"window may be shifted by about ±{in_words}, its length hardly changes.{useless} "
        f"Assumed: {FRESH_ELEMENTS_S:g} s for fresh elements, {SEMI_MAJOR_AXIS_ERROR_KM * 1000:g} m of "
        f"semi-major axis, {DRAG_ERROR_FRACTION:.0%} of the drag. {drag}"
        "Any reboost after the elements' epoch voids the windows. They are geometric: refraction and airglow "
        "shift what an eye sees by seconds.")
