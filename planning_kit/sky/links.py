"""When a geostationary relay is in view."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import datetime

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from skyfield.sgp4lib import theta_GMST1982

from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.records import Relays
from planning_kit.inputs.text_table import ShownTable
from planning_kit.sky.light import sampling_step_s
from planning_kit.sky.orbit import Orbit
from planning_kit.sky.shadow import limb_margin_rad
from planning_kit.sky.span import SECONDS_PER_DAY, Moment, Span, as_times, julian_date, span_between
from planning_kit.sky.windows import Windows, clip, windows_where

GEOSTATIONARY_RADIUS_KM = 42164.17
"""(mu / omega²)^(1/3) with mu 398 600.4418 km³/s² and omega 7.292115e-5 rad/s (WGS 84)."""


def links_between(orbit: Orbit, relays: Relays | Iterable[float], start: Moment,
                  stop: Moment) -> dict[str, Windows]:
    """For each relay, when it is in view: (n, 2) minutes after ``start``, clipped to ``start`` and ``stop``.

    ``relays``: `Relays`, or longitudes in degrees east, which have a mask of 0. The keys are labels like
    ``relay 41°E``, in the order given; a longitude given twice stands once. In view means that a cone of
    ``mask_deg`` about the line of sight clears the ellipsoidal Earth: the line passes at least that far
    above the limb, as seen from the station. The station's own structure, antenna pointing, relay
    schedules and refraction are not in it.

    Raises `ScenarioError` as `light_between` does, for longitudes outside -180 to 360, a mask outside 0 to
    90 degrees, and an orbit that reaches the relays' ring.
    """
    span = span_between(start, stop)
    return {label: clip(windows, 0.0, span.seconds) / 60
            for label, windows in _relay_windows(orbit, relays, span).items()}


def link_windows(orbit: Orbit, relays: Relays | Iterable[float], start: Moment, stop: Moment) -> pd.DataFrame:
    """Every window of every relay that overlaps ``start`` to ``stop`` (UTC), sorted by start.

    Columns: ``relay`` (a label), ``start``, ``end`` (UTC, to the millisecond), ``minutes``. A window is
    given whole even where it reaches beyond the range, up to one revolution (where one that goes on is
    cut). Arguments and errors as for `links_between`.
    """
    span = span_between(start, stop)
    padded = span.padded(orbit.period_min * 60)
    begin = span.start_s(padded)
    frames = [_frame([], padded, np.empty((0, 2)))]
    for label, windows in _relay_windows(orbit, relays, padded).items():
        windows = windows[(windows[:, 1] > begin) & (windows[:, 0] < begin + span.seconds)]
        frames.append(_frame([label] * len(windows), padded, windows))
    return pd.concat(frames).sort_values(["start", "relay"], ignore_index=True)


def relay_label(longitude_deg_east: float) -> str:
    """A relay's name from its longitude: ``relay 41°E``, ``relay 171°W``."""
    east = -((180 - longitude_deg_east) % 360 - 180)
    return f"relay {abs(east):g}°{'W' if east < 0 else 'E'}"


def relay_position_teme_km(longitude_deg_east: float, reference: datetime,
                           seconds: NDArray[np.float64]) -> NDArray[np.float64]:
    """A geostationary relay ``seconds`` (k,) after ``reference`` (UTC): (k, 3), km, TEME.

    Mean sidereal time GMST 1982 turns longitude into TEME (AIAA 2006-6753, appendix C). UT1 is taken as UTC
    (0.9 s at most, 0.004 degrees); polar motion and the relay's own station keeping and inclination are
    neglected: a relay a tenth of a degree off its place moves a window by about 2 s.
    """
    day, fraction = julian_date(reference)
    angle, _ = theta_GMST1982(day, fraction + np.asarray(seconds, dtype=float) / SECONDS_PER_DAY)
    angle = angle + math.radians(longitude_deg_east)
    return GEOSTATIONARY_RADIUS_KM * np.column_stack((np.cos(angle), np.sin(angle), np.zeros_like(angle)))


def _relay_windows(orbit: Orbit, relays: Relays | Iterable[float], span: Span) -> dict[str, Windows]:
    """Windows in view by relay label, in seconds after ``span.start``, clipped to the span."""
    relays = _checked(orbit, relays)
    mask = math.radians(relays.mask_deg)
    step = sampling_step_s(orbit)
    found: dict[str, Windows] = {}
    for longitude in relays.longitudes_deg_east:

        def clearance(seconds: NDArray[np.float64], longitude: float = longitude) -> NDArray[np.float64]:
            margin, spread = limb_margin_rad(orbit.position_teme_km(span.start, seconds),
                                             relay_position_teme_km(longitude, span.start, seconds))
            return margin - spread * mask

        found[relay_label(longitude)] = windows_where(clearance, 0.0, span.seconds, step)
    return found


def _checked(orbit: Orbit, relays: Relays | Iterable[float]) -> Relays:
    if not isinstance(relays, Relays):
        try:
            if isinstance(relays, str):
                raise TypeError("a text is no list of longitudes")
            relays = Relays(tuple(float(longitude) for longitude in relays), mask_deg=0.0)
        except (TypeError, ValueError):
            raise ScenarioError.single(
                "must be the relays of a scenario, or a list of longitudes in degrees east",
                table="relays", column="longitudes_deg_east", value=relays,
            ) from None
    faults = Faults()
    for longitude in relays.longitudes_deg_east:
        if not -180 <= longitude <= 360:
            faults.add("relays", None, "longitudes_deg_east", longitude,
                       "is no longitude; give degrees east from -180 to 360")
    if not 0 <= relays.mask_deg < 90:
        faults.add("relays", None, "mask_deg", relays.mask_deg, "must be at least 0 and less than 90 degrees")
    apogee = orbit.semi_major_axis_km * (1 + orbit.elements.eccentricity)
    if apogee >= GEOSTATIONARY_RADIUS_KM:
        faults.add("orbit", None, "MEAN_MOTION", orbit.elements.mean_motion_rev_per_day,
                   "this orbit reaches the geostationary ring; links are computed for orbits below it only")
    faults.stop_if_any()
    return relays


def _frame(labels: list[str], span: Span, windows: Windows) -> pd.DataFrame:
    return ShownTable({
        "relay": pd.Series(labels, dtype="str"), "start": as_times(span.start, windows[:, 0]),
        "end": as_times(span.start, windows[:, 1]), "minutes": (windows[:, 1] - windows[:, 0]) / 60})
