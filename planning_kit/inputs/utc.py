"""Times that a user gives, read as UTC."""

from datetime import UTC, date, datetime

import numpy as np
import pandas as pd

from planning_kit.inputs.faults import ScenarioError

When = str | date | datetime
"""What reads as a time: ISO 8601 text, a date, a datetime; UTC where it names no zone."""


def as_utc(value: str | date | datetime | np.datetime64, what: str = "time") -> datetime:
    """Read an ISO 8601 text, a date or a datetime as a UTC datetime; without a zone it is taken as UTC.

    Raises `ScenarioError` when the text is no time.
    """
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value.strip())
        except ValueError:
            raise ScenarioError.single("is not an ISO 8601 UTC time; write it like 2031-05-14T11:20:00Z",
                                       column=what, value=value) from None
    if isinstance(value, np.datetime64):
        value = pd.Timestamp(value)
    if not isinstance(value, date) or pd.isna(value):
        raise ScenarioError.single(
            "is not a time; give an ISO 8601 text such as 2031-05-14T11:20:00Z, a date or a datetime",
            column=what, value=value)
    if not isinstance(value, datetime):
        value = datetime(value.year, value.month, value.day)
    try:
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
    except OverflowError:
        raise ScenarioError.single("lies outside the years 1 to 9999 in UTC", column=what,
                                   value=value.isoformat()) from None


def pet_zero_asked(value: When, present: datetime) -> datetime:
    """Another PET 0 (UTC); a date without a time of day keeps that of the ``present`` one."""
    moment = as_utc(value, "pet_zero")
    is_date = len(value.strip()) <= 10 if isinstance(value, str) else not isinstance(value, datetime)
    return datetime.combine(moment.date(), present.timetz()) if is_date else moment
