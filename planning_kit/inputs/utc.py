"""Times that a user gives, read as UTC; what goes along with PET 0 to another date, and what stays."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.source import Checked
from planning_kit.inputs.times import moment_text

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


# PET 0 to another date


_DAY = timedelta(days=1)


def keys_moved(first: datetime | None, last: datetime | None, old: datetime,
               new: datetime) -> dict[str, object]:
    """The keys of ``scenario.toml`` that PET 0 (UTC) changes from ``old`` to ``new``: its range goes along.

    That says at what time of day they may leave. Where it does not hold the new one it moves by whole days
    that let it, or, where none do, by those between the two dates.
    """
    by = timedelta()
    if (first is not None and new < first) or (last is not None and new > last):
        by = (new - first) // _DAY * _DAY if first is not None and last is not None else by
        by = by if first and last and first + by <= new <= last + by else new.date() - old.date()
    ends = {"pet_zero_earliest": first, "pet_zero_latest": last} if by else {}
    return {"pet_zero_utc": moment_text(new),
            **{key: moment_text(end + by) for key, end in ends.items() if end is not None}}


def stays_put(checked: Checked, at: datetime) -> Iterator[str]:
    """What PET 0 at another time (UTC) does not take along, by name, and who misses it there."""
    records, epoch = checked.records, checked.elements.epoch
    for name in dict.fromkeys(row.window for row in records.windows if not row.is_pet):
        spans = [row.span_min(at) for row in records.windows if row.window == name]
        needs = [*(step.step for step in records.steps if name in step.windows),
                 *(f"inhibit {each.inhibit}" for each in records.inhibits if each.window == name)]
        is_met = any(begin < records.settings.horizon_h * 60 and end > 0 for begin, end in spans)
        missed = "" if is_met or not needs else f": none of it is left for {', '.join(needs)}"
        yield f"window {name} stays, as windows.csv gives it in UTC, not as PET{missed}"
    yield from (f"{each.actor} is on the loop as before, as actors.csv gives it in UTC, not as PET"
                for each in records.actors if datetime in (type(each.from_), type(each.until)))
    yield (f"the orbit data stay those of {epoch:%Y-%m-%dT%H:%MZ}, {abs(at - epoch) / _DAY:.1f} days "
           f"{'before' if epoch <= at else 'after'} PET 0")
