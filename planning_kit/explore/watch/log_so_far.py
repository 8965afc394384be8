"""What a log says at one moment: what counts then, what cannot be, and its rows as a planner reads them.

A watch must go on whatever somebody has written: a row that cannot be is shown with its fault and counts for
nothing, and the rest is re-timed. Where now is set by hand, rows that were written down later do not count
yet: so a whole log can be replayed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.frames import number_text
from planning_kit.inputs.log import Actuals, actuals_of
from planning_kit.inputs.log_corrections import settled_rows
from planning_kit.inputs.log_format import CORRECT, Event, parse_when
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
class LogSoFar:
    """``rows`` as they stand in the file, ``later`` ones not counted yet; ``actuals`` without faulty rows."""

    rows: tuple[Row, ...]
    later: tuple[Row, ...]
    actuals: Actuals
    faults: tuple[LogFault, ...]


def log_so_far(rows: Sequence[Row], cell_faults: Faults, base: TimedPlan, now: datetime,
               is_by_hand: bool) -> LogSoFar:
    """What ``rows`` say at ``now`` about the plan ``base``."""
    is_later = [is_by_hand and _written(row, base.egress) > now for row in rows]
    known = tuple(row for row, later in zip(rows, is_later, strict=True) if not later)
    later = tuple(row for row, later in zip(rows, is_later, strict=True) if later)
    later_rows = {row.number for row in later}
    faults = Faults([fault for fault in cell_faults.rows if fault["row"] not in later_rows])
    read = actuals_of([*known], base.egress, faults)
    return LogSoFar(known, later, _possible(base, read, faults, now), log_faults(faults.rows, in_rows=True))


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


def log_faults(problems: Iterable[Mapping[Any, Any]], in_rows: bool = False) -> tuple[LogFault, ...]:
    """Faults from rows of `ScenarioError.problems`; ``in_rows``: they say in which row of the file it is."""
    return tuple(LogFault(row if in_rows and isinstance(row := fault["row"], int) else None,
                          str(fault["column"]), str(fault["value"]), str(fault["problem"]))
                 for fault in problems)


def without_rates(actuals: Actuals) -> Actuals:
    """The same without metabolic rates: for a rate that cannot be believed."""
    events: Iterable[Event] = (replace(event, metabolic_w=None) for event in actuals.events
                               if event.step or event.metabolic_w is None)
    return Actuals(tuple(events), actuals.egress)


# As a planner reads it


@dataclass(frozen=True)
class LogLine:
    """One row of the log with corrections put in. ``at`` is UTC, None where it is no time.

    ``corrected_by``: the ids of the rows that changed it; ``is_withdrawn``: it counts for nothing any more;
    ``problem``: why it cannot be, "" where it can. ``was_at``: when it was said to be before its correction.
    """

    row: int
    event_id: str
    event: str
    crew: str
    step: str
    at: datetime | None
    remaining_min: str
    metabolic_w: str
    by: str
    note: str
    corrects: str
    corrected_by: tuple[str, ...]
    is_withdrawn: bool
    was_at: datetime | None
    problem: str


def log_lines(log: LogSoFar, egress: datetime) -> list[LogLine]:
    """Every row that counts, or cannot, at now, the latest first."""
    problems: dict[int, list[str]] = {}
    for fault in log.faults:
        if fault.row is not None:
            problems.setdefault(fault.row, []).append(fault.problem)
    settled = settled_rows(log.rows, Faults())
    by_row: dict[str, list[str]] = {}
    for row in log.rows:
        if row.text("event") == CORRECT:
            by_row.setdefault(row.text("corrects"), []).append(row.text("event_id"))
    return [_line(row, now, egress, "; ".join(problems.get(row.number, ())),
                  tuple(by_row.get(row.text("event_id"), ())))
            for row, now in zip(log.rows, settled, strict=True)][::-1]


def _line(row: Row, settled: Row | None, egress: datetime, problem: str,
          corrected_by: tuple[str, ...]) -> LogLine:
    """``settled`` is the row with its corrections in it, None where it was withdrawn."""
    now = settled or row
    at, first = _when(now, egress), _when(row, egress)
    return LogLine(
        row.number, row.texts.get("event_id", ""), row.texts.get("event", ""), now.text("crew"),
        now.text("step"), at, _number(now, "remaining_min"), _number(now, "metabolic_w"),
        row.texts.get("by", ""), row.texts.get("note", ""), row.texts.get("corrects", ""), corrected_by,
        settled is None and row.text("event") != CORRECT and bool(corrected_by),
        first if first != at else None, problem)


def _number(row: Row, column: str) -> str:
    value = row.number_of(column)
    return row.texts.get(column, "") if value is None else number_text(value)


def _when(row: Row, egress: datetime) -> datetime | None:
    try:
        return parse_when(row.text("at"), egress) if row.text("at") else None
    except CellFault:
        return None
