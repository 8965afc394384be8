"""What time it is for a watch: the wall clock, or a now set by hand that runs on or is held.

A rehearsal or a replay happens in another year than the outing: then now is set by hand.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
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
    if clock := _UTC_TIME.fullmatch(text):
        hour, minute, second = (int(part or 0) for part in clock.groups())
        today = near.replace(hour=hour, minute=minute, second=second, microsecond=0)
        return _nearest(near, (today, today - timedelta(days=1), today + timedelta(days=1)))
    if gmt := _GMT_TIME.fullmatch(text):
        day, hour, minute, second = (int(part or 0) for part in gmt.groups())
        if not 1 <= day <= 366:
            raise CellFault("has no such day of the year; write GMT like 134/13:02")
        minutes = 1440.0 * (day - 1) + 60.0 * hour + minute + second / 60.0
        return _nearest(near, (moment_at(minutes, datetime(near.year + by, 1, 1, tzinfo=UTC))
                               for by in (-1, 0, 1)))
    try:
        return parse_when(text, egress)
    except CellFault as fault:
        problem = str(fault).partition(";")[0]
        raise CellFault(f"{problem}; write PET like 1:23, or UTC like 13:02Z or 134/13:02") from None


def _nearest(near: datetime, moments: Iterable[datetime]) -> datetime:
    """The one of ``moments`` that lies nearest to ``near``, the first of equals."""
    return min(moments, key=lambda moment: abs(moment - near))
