"""What time it is for a watch: the wall clock, or a now set by hand that runs on or is held.

A rehearsal or a replay happens in another year than the outing: then now is set by hand.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.log_format import parse_when
from planning_kit.inputs.times import moment_at, pet_min
from planning_kit.plan.timed import TimedPlan

WALL, RUNNING, HELD = "wall", "running", "held"
CLOCK_KINDS = (WALL, RUNNING, HELD)

_UTC_TIME = re.compile(r"([01]?[0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9]))?\s*[zZ]")
_GMT_TIME = re.compile(r"([0-9]{3})/([01][0-9]|2[0-3]):([0-5][0-9])(?::([0-5][0-9]))?\s*[zZ]?")
_DAY_MIN = 24 * 60.0
_HALF_DAY = timedelta(hours=12)


def utc_now() -> datetime:
    """The wall clock, UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class Clock:
    """It was ``at`` (UTC) when the wall clock said ``since``; from then on it runs, or is held."""

    kind: str
    at: datetime
    since: datetime

    @classmethod
    def wall(cls, wall: datetime) -> Clock:
        """The wall clock itself."""
        return cls(WALL, wall, wall)

    def now(self, wall: datetime) -> datetime:
        """Now, to the second below: what is called is logged to a second."""
        moment = self.at if self.kind == HELD else self.at + (wall - self.since)
        return moment.replace(microsecond=0)

    @property
    def is_by_hand(self) -> bool:
        """Whether now is something else than the wall clock's time."""
        return self.kind != WALL


def is_in_outing(moment: datetime, plan: TimedPlan) -> bool:
    """Whether a moment lies in the outing of a plan, or in the day before its egress."""
    return -_DAY_MIN <= pet_min(moment, plan.egress) <= plan.horizon_min


def typed_moment(text: str, egress: datetime, near: datetime) -> datetime:
    """UTC from what is typed on a console.

    PET as ``1:23``, ``1:23:30`` or minutes; UTC as ``13:02Z`` (of the day that lies nearest to ``near``), as
    GMT ``134/13:02`` (of the nearest year), or in full as ISO 8601. Raises `CellFault` for anything else.
    """
    text = text.strip()
    clock = _UTC_TIME.fullmatch(text)
    if clock:
        return _nearest_day(near, *(int(part or 0) for part in clock.groups()))
    gmt = _GMT_TIME.fullmatch(text)
    if gmt:
        return _nearest_year(near, *(int(part or 0) for part in gmt.groups()))
    try:
        return parse_when(text, egress)
    except CellFault as fault:
        problem = str(fault).partition(";")[0]
        raise CellFault(f"{problem}; write PET like 1:23, or UTC like 13:02Z or 134/13:02") from None


def _nearest_day(near: datetime, hour: int, minute: int, second: int) -> datetime:
    moment = near.replace(hour=hour, minute=minute, second=second, microsecond=0)
    if moment - near > _HALF_DAY:
        return moment - timedelta(days=1)
    return moment + timedelta(days=1) if near - moment > _HALF_DAY else moment


def _nearest_year(near: datetime, day: int, hour: int, minute: int, second: int) -> datetime:
    if not 1 <= day <= 366:
        raise CellFault("has no such day of the year; write GMT like 134/13:02")
    minutes = 1440.0 * (day - 1) + 60.0 * hour + minute + second / 60.0
    years = (moment_at(minutes, datetime(near.year + by, 1, 1, tzinfo=UTC)) for by in (-1, 0, 1))
    return min(years, key=lambda moment: abs(moment - near))
