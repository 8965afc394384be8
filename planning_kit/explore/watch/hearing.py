"""What a log says at one moment, with its impossible rows told and left out.

A watch must go on whatever somebody has written: a row that cannot be is shown with its fault and counts for
nothing, and the rest is re-timed. Where now is set by hand, rows that were written down later are not heard
yet: so a whole log can be replayed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.log import Actuals, actuals_of
from planning_kit.inputs.log_format import Event, parse_when
from planning_kit.inputs.log_state import states_of
from planning_kit.inputs.rows import Row
from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True)
class LogFault:
    """One thing in the log that cannot be. ``row`` is that of the file, None for the file as a whole."""

    row: int | None
    column: str
    value: str
    problem: str


@dataclass(frozen=True)
class Heard:
    """``rows`` as they stand in the file, ``later`` ones not heard yet; ``actuals`` without faulty rows."""

    rows: tuple[Row, ...]
    later: tuple[Row, ...]
    actuals: Actuals
    faults: tuple[LogFault, ...]

    @property
    def faulty_rows(self) -> frozenset[int]:
        """The rows that count for nothing."""
        return frozenset(fault.row for fault in self.faults if fault.row is not None)


def heard(rows: Sequence[Row], cell_faults: Faults, base: TimedPlan, now: datetime,
          is_by_hand: bool) -> Heard:
    """What ``rows`` say at ``now`` about the plan ``base``."""
    is_later = [is_by_hand and _written(row, base.egress) > now for row in rows]
    known = tuple(row for row, later in zip(rows, is_later, strict=True) if not later)
    later = tuple(row for row, later in zip(rows, is_later, strict=True) if later)
    unheard = {row.number for row in later}
    faults = Faults([fault for fault in cell_faults.rows if fault["row"] not in unheard])
    read = actuals_of([Row(row.number, dict(row.values), dict(row.texts)) for row in known],
                      base.egress, faults)
    return Heard(known, later, _possible(base, read, faults, now), _log_faults(faults))


def _written(row: Row, egress: datetime) -> datetime:
    """When a row was written down; where it does not say, when it happened."""
    logged = row.values.get("logged_at")
    if isinstance(logged, datetime):
        return logged
    try:
        return parse_when(row.text("at"), egress)
    except CellFault:
        return egress


def _possible(base: TimedPlan, read: Actuals, faults: Faults, now: datetime) -> Actuals:
    """The events without those of faulty rows; what becomes impossible without them goes as well."""
    events, egress = read.events, read.egress or base.egress
    known = {step.step for step in base.steps}
    while True:
        bad = {fault["row"] for fault in faults.rows}
        events = tuple(event for event in events if event.row not in bad)
        found = Faults()
        states_of(base.scenario.records, events, egress, found, now)
        if not found.rows:
            return Actuals(events, read.egress)
        faults.rows += found.rows
        named = {event.step for event in events if event.step}
        if named and not named & known:  # the log of another outing, which is said once
            events = ()


def _log_faults(faults: Faults) -> tuple[LogFault, ...]:
    return tuple(LogFault(row if isinstance(row := fault["row"], int) else None, str(fault["column"]),
                          str(fault["value"]), str(fault["problem"])) for fault in faults.rows)


def without_rates(actuals: Actuals) -> Actuals:
    """The same without metabolic rates: for a rate that cannot be believed."""
    events: Iterable[Event] = (replace(event, metabolic_w=None) for event in actuals.events
                               if event.step or event.metabolic_w is None)
    return Actuals(tuple(events), actuals.egress)
