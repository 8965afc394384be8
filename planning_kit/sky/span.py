"""The stretch of time that windows are asked for, and moments as Julian dates and timestamps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from sgp4.api import jday

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.times import as_utc

SECONDS_PER_DAY = 86400.0

FIRST_YEAR, LAST_YEAR = 1950, 2052
"""Whole years that both SGP4 and the Sun's ephemeris cover, with room for looking a little beyond."""

LONGEST_DAYS = 1100
"""Three years: far beyond what SGP4 elements can say anything about."""

Moment = str | date | datetime


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


def span_between(start: Moment, stop: Moment) -> Span:
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


def covered_moment(value: Moment, what: str) -> datetime:
    """Read a moment as UTC; `ScenarioError` for what is no time or lies outside the years covered."""
    moment = as_utc(value, what)
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise ScenarioError.single(
            f"orbit and Sun are computed for the years {FIRST_YEAR} to {LAST_YEAR}; choose a date within",
            column=what, value=moment.isoformat())
    return moment


def as_times(reference: datetime, seconds: NDArray[np.float64]) -> pd.Series:
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
