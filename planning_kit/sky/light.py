"""Night, penumbra and day on an orbit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planning_kit.inputs.text_table import ShownTable
from planning_kit.sky.orbit import Orbit
from planning_kit.sky.shadow import EARTH_FLATTENING, sun_margin_rad
from planning_kit.sky.span import Span, as_times, span_between
from planning_kit.sky.sun import SunTable, sun_between
from planning_kit.sky.uncertainty import edge_uncertainty_s
from planning_kit.sky.windows import Windows, clip, complement, intersect, windows_where

SAMPLES_PER_REVOLUTION = 10

NIGHT_COLUMNS = ["penumbra_start", "night_start", "night_end", "penumbra_end"]


@dataclass(frozen=True, eq=False)
class Light:
    """When the Sun is down, partly down and up: float arrays (n, 2) of minutes after the start asked for.

    ``night``: the Sun's disc is wholly behind the ellipsoidal Earth (umbra). ``day``: it is wholly clear.
    ``penumbra``: between. The three share out the range: [start, end) each, clipped to it. Geometric:
    refraction and airglow are not in it (see `planning_kit.sky.shadow`). The arrays are made read-only.
    """

    night: Windows
    penumbra: Windows
    day: Windows

    def __post_init__(self) -> None:
        """Lock the arrays: a light that others hold does not change under them."""
        for windows in (self.night, self.penumbra, self.day):
            windows.setflags(write=False)


def light_between(orbit: Orbit, start: str | date | datetime, stop: str | date | datetime) -> Light:
    """Night, penumbra and day of an orbit from ``start`` to ``stop`` (UTC), clipped to them.

    No night at all, or penumbra only, is an answer (arrays of shape (0, 2)). Raises `ScenarioError` for
    a range that is empty, too long or outside 1950 to 2052, and where SGP4 has no position.
    """
    span = span_between(start, stop)
    dimmed, night = shadow_windows(orbit, span)
    night, dimmed = clip(night, 0.0, span.seconds) / 60, clip(dimmed, 0.0, span.seconds) / 60
    whole = (0.0, span.seconds / 60)
    return Light(night=night, penumbra=intersect(dimmed, complement(night, whole)),
                 day=complement(dimmed, whole))


def night_windows(orbit: Orbit, start: str | date | datetime, stop: str | date | datetime) -> pd.DataFrame:
    """Every pass through Earth's shadow that overlaps ``start`` to ``stop`` (UTC), a row each, in order.

    Columns: ``penumbra_start``, ``night_start``, ``night_end``, ``penumbra_end`` (UTC, to the millisecond;
    NaT in the night columns of a pass through the penumbra only), ``night_min`` (minutes, NaN without
    night) and ``uncertainty_s`` (how far the whole window may be shifted, see
    `planning_kit.sky.uncertainty`). A pass is given whole even where it reaches beyond the range, so that
    its length is true. Raises `ScenarioError` as `light_between` does.
    """
    span = span_between(start, stop)
    padded = span.padded(orbit.period_min * 60)
    dimmed, night = shadow_windows(orbit, padded)
    overlaps = (dimmed[:, 1] > span.start_s(padded)) & (dimmed[:, 0] < span.start_s(padded) + span.seconds)
    dimmed = dimmed[overlaps]
    edges = np.column_stack((dimmed[:, 0], _nights_within(dimmed, night), dimmed[:, 1]))
    frame = ShownTable({column: as_times(padded.start, edges[:, place])
                          for place, column in enumerate(NIGHT_COLUMNS)})
    frame["night_min"] = (edges[:, 2] - edges[:, 1]) / 60
    frame["uncertainty_s"] = edge_uncertainty_s(orbit, padded.start, dimmed.mean(axis=1))
    return frame


def shadow_windows(orbit: Orbit, span: Span, sun: SunTable | None = None,
                   flattening: float = EARTH_FLATTENING) -> tuple[Windows, Windows]:
    """Windows of (night or penumbra) and of night, in seconds after ``span.start``, clipped to the span.

    ``sun`` and ``flattening`` are for comparisons with other models of the shadow.
    """
    table = sun or sun_between(span.start, span.stop)

    def margins(seconds: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        return sun_margin_rad(orbit.position_teme_km(span.start, seconds),
                              table.position_teme_km(span.start, seconds), flattening)

    def dimness(seconds: NDArray[np.float64]) -> NDArray[np.float64]:
        margin, semidiameter = margins(seconds)
        return semidiameter - margin

    def darkness(seconds: NDArray[np.float64]) -> NDArray[np.float64]:
        margin, semidiameter = margins(seconds)
        return -semidiameter - margin

    step = sampling_step_s(orbit)
    return (windows_where(dimness, 0.0, span.seconds, step), windows_where(darkness, 0.0, span.seconds, step))


def midnights(orbit: Orbit, span: Span) -> NDArray[np.float64]:
    """When each revolution is deepest behind Earth, seconds after ``span.start``, (k,), sorted.

    Read off the samples, so good to a sample's length: enough to count revolutions.
    """
    count = int(np.ceil(span.seconds / sampling_step_s(orbit))) + 1
    seconds = np.linspace(0.0, span.seconds, count)
    sun = sun_between(span.start, span.stop).position_teme_km(span.start, seconds)
    margin, _ = sun_margin_rad(orbit.position_teme_km(span.start, seconds), sun)
    return seconds[1:-1][(margin[1:-1] < margin[:-2]) & (margin[1:-1] <= margin[2:])]


def sampling_step_s(orbit: Orbit) -> float:
    """Seconds between samples: a tenth of a revolution where the orbit is fastest.

    At perigee the true anomaly runs sqrt(1 + e) / (1 - e)^1.5 times faster than on average (area law).
    """
    eccentricity = orbit.elements.eccentricity
    fastest = np.sqrt(1 + eccentricity) / (1 - eccentricity) ** 1.5
    return float(orbit.period_min * 60 / SAMPLES_PER_REVOLUTION / fastest)


def _nights_within(dimmed: Windows, night: Windows) -> Windows:
    """For each window of dimmed light the night in it, or NaN: shape (n, 2)."""
    nights = np.full(dimmed.shape, np.nan)
    if len(dimmed):
        middle = night.mean(axis=1)
        place = np.searchsorted(dimmed[:, 0], middle) - 1
        inside = (place >= 0) & (middle < dimmed[np.maximum(place, 0), 1])
        nights[place[inside]] = night[inside]
    return nights
