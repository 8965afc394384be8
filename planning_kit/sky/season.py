"""A season at a glance: beta and the length of nights, day by day."""

from collections.abc import Iterable
from datetime import datetime, timedelta

import numpy as np
import pandas as pd

from planning_kit.inputs.hazard_words import Term
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.inputs.utc import When
from planning_kit.sky import windows as win
from planning_kit.sky.light import midnights, shadow_windows
from planning_kit.sky.orbit import Orbit, as_orbit
from planning_kit.sky.sun import sun_between
from planning_kit.sky.windows import Span, Vector, Windows


def season(orbit: Orbit, start: When, stop: When) -> pd.DataFrame:
    """A row for each UTC day that ``start`` to ``stop`` touches, whole days.

    Columns: ``day`` (midnight UTC at which it begins), ``beta_deg`` (at noon), ``night_min_per_rev`` (mean
    minutes of night of the revolutions of that day, those without night counted as 0) and
    ``revs_with_night``. A revolution belongs to the day in which it passes its midnight, where the station
    is deepest behind Earth, so that a night over 0:00 is counted once and whole. Raises `ScenarioError` as
    `light_between` does.
    """
    orbit, span = as_orbit(orbit), _whole_days(win.span_between(start, stop))
    # One revolution more at each end: a night of the first or last day may reach beyond it.
    count = round(span.seconds / win.SECONDS_PER_DAY)
    padded = span.padded(orbit.period_min * 60)
    begin = span.start_s(padded)
    turn = midnights(orbit, padded)
    _, night = shadow_windows(orbit, padded)
    night_s = np.zeros(turn.size)
    if turn.size:
        nearest = np.searchsorted((turn[1:] + turn[:-1]) / 2, night.mean(axis=1))
        # Not +=, which would count only one of two nights that fall to one midnight.
        np.add.at(night_s, nearest, night[:, 1] - night[:, 0])
    day_of_turn = np.floor((turn - begin) / win.SECONDS_PER_DAY).astype(int)
    inside = (day_of_turn >= 0) & (day_of_turn < count)
    day_of_turn, night_s = day_of_turn[inside], night_s[inside]
    turns = np.bincount(day_of_turn, minlength=count)
    seconds = np.bincount(day_of_turn, weights=night_s, minlength=count)
    noons = np.arange(0.5, count) * win.SECONDS_PER_DAY
    return ShownTable({
        "day": pd.date_range(span.start, periods=count, freq="D", unit="us"),
        "beta_deg": beta_deg(orbit, span, noons),
        # A slow orbit has days without a midnight: 0 minutes, not 0 of 0.
        "night_min_per_rev": seconds / 60 / np.maximum(turns, 1),
        "revs_with_night": np.bincount(day_of_turn, weights=night_s > 0, minlength=count).astype(int),
    })


BETA_IN_DOUBT_DEG = 0.05
"""The osculating plane swings about the mean one by some hundredths of a degree: so near, a rule holds."""

_BETA_STEP_MIN = 5.0  # the swing has half a revolution's period, so that nine samples see each of its waves


def beta_windows(orbit: Orbit, start: datetime, stop: datetime, sign: str, degrees: float,
                 is_absolute: bool = False) -> Windows:
    """When beta (or ``is_absolute`` its amount) is ``sign`` (<=, <, >, >=) so many degrees: (n, 2).

    In minutes after ``start`` (UTC), clipped to ``stop``. What lies nearer than `BETA_IN_DOUBT_DEG` to the
    limit, on its other side, counts as well, as these windows are of hazards. Beta as in `beta_deg`.
    """
    span, side = win.span_between(start, stop), 1.0 if sign in (">", ">=") else -1.0

    def over(minutes: Vector) -> Vector:
        beta = beta_deg(orbit, span, minutes * 60.0)
        return side * ((np.abs(beta) if is_absolute else beta) - degrees) + BETA_IN_DOUBT_DEG

    return win.windows_where(over, 0.0, span.seconds / 60.0, _BETA_STEP_MIN)


def beta_bands(when: Iterable[Term]) -> Windows:
    """The bands of beta in which all terms about beta hold, degrees, (n, 2); as wide as `beta_windows`."""
    bands = np.array([[-90.0, 90.0]])
    for term in when:
        if term.kind in ("beta", "abs(beta)"):
            is_above = term.sign in (">", ">=")
            limit = term.degrees + (-BETA_IN_DOUBT_DEG if is_above else BETA_IN_DOUBT_DEG)
            holds = np.array([[limit, 90.0] if is_above else [-90.0, limit]])
            if term.kind == "abs(beta)":  # the same on the other side: either above it, both below
                holds = (win.union if is_above else win.intersect)(holds, -holds[:, ::-1])
            bands = win.intersect(bands, holds[holds[:, 1] > holds[:, 0]])
    return bands


def beta_from_vectors_deg(normal: Vector, sun: Vector) -> Vector:
    """Beta from the orbit normal and the direction of the Sun, both (k, 3), of any length: (k,), degrees.

    sin(beta) = normal . sun. With inclination i, node W, and the Sun at right ascension A and declination D
    the normal is (sin i sin W, -sin i cos W, cos i) and this is
    cos D sin i sin(W - A) + sin D cos i (Vallado, Fundamentals of Astrodynamics and Applications, from
    memory). The tangent form keeps its accuracy near 90 degrees.
    """
    along = np.sum(normal * sun, axis=1)
    across = np.linalg.norm(np.cross(normal, sun), axis=1)
    return np.asarray(np.degrees(np.arctan2(along, across)))


def beta_deg(orbit: Orbit, span: Span, seconds: Vector) -> Vector:
    """The Sun's angle above the orbit plane ``seconds`` after the start of the span, degrees, both (k,).

    Positive where the Sun is on the side of the orbit's angular momentum. The plane is the osculating one,
    which swings about the mean plane by some hundredths of a degree within a revolution; the Sun is apparent.
    """
    position, velocity = orbit.state_teme(span.start, seconds)
    sun = sun_between(span.start, span.stop).position_teme_km(span.start, seconds)
    return beta_from_vectors_deg(np.cross(position, velocity), sun)


def _whole_days(span: Span) -> Span:
    first = span.start.replace(hour=0, minute=0, second=0, microsecond=0)
    last = span.stop.replace(hour=0, minute=0, second=0, microsecond=0)
    return Span(first, last if last == span.stop else last + timedelta(days=1))
