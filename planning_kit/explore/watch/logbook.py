"""The log of a watch: the file, what it says at one moment, and one event as typed, appended or refused.

The file is ``log.csv`` beside the scenario, or one of the session's own, which goes when the session goes;
the planner is told so. Both are appended to in the same safe way (`planning_kit.inputs.log_append`).

A watch must go on whatever somebody has written: a row that cannot be is shown with its fault and counts for
nothing, and the rest is re-timed. Where now is set by hand, rows that were written down later do not count
yet: so a whole log can be replayed.
"""

import os
import tempfile
import weakref
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any, Self

import pandas as pd

from planning_kit.explore.watch.now import typed_moment
from planning_kit.inputs import format as fmt
from planning_kit.inputs import log_format
from planning_kit.inputs.cells import CellFault, parse_number
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.log import Actuals, actuals_of, log_path, raw_of_frame, settled_rows
from planning_kit.inputs.log_append import LogEntry, append_entries
from planning_kit.inputs.log_format import CORRECT, EVENT_KINDS, INGRESS, LOG, PET_ZERO, SUIT
from planning_kit.inputs.log_state import IN_FUTURE, states_of
from planning_kit.inputs.raw import csv_row
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.times import gmt_label, pet_label, pet_min
from planning_kit.inputs.typed_tables import Row, number_text
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
    later = tuple(row for row in rows if is_by_hand and _written(row, base.pet_zero) > now)
    later_rows = {row.number for row in later}
    known = tuple(row for row in rows if row.number not in later_rows)
    faults = Faults([fault for fault in cell_faults.rows if fault["row"] not in later_rows])
    read = actuals_of([*known], base.pet_zero, faults)
    return LogSoFar(known, later, _possible(base, read, faults, now), faults_of(faults.rows, in_rows=True))


def _written(row: Row, pet_zero: datetime) -> datetime:
    """When a row was written down; where it does not say, when it happened."""
    logged = row.values.get("logged_at")
    return logged if isinstance(logged, datetime) else _when(row, pet_zero) or pet_zero


def _possible(base: TimedPlan, read: Actuals, faults: Faults, now: datetime) -> Actuals:
    """The events without those of faulty rows; what becomes impossible without them goes as well."""
    events, pet_zero = read.events, read.pet_zero or base.pet_zero
    known = {step.step for step in base.steps}
    # Each round takes at least one event away, so that it ends.
    while True:
        bad = {fault["row"] for fault in faults.rows}
        events = tuple(event for event in events if event.row not in bad)
        found = Faults()
        states_of(base.scenario.records, events, pet_zero, found, now)
        if not found.rows:
            return Actuals(events, read.pet_zero)
        faults.rows += found.rows
        named = {event.step for event in events if event.step}
        if named and not named & known:  # the log of another outing, which is said once
            events = ()


def faults_of(problems: Iterable[Mapping[Any, Any]], in_rows: bool = False) -> tuple[LogFault, ...]:
    """Faults from rows of `ScenarioError.problems`; ``in_rows``: they say in which row of the file it is."""
    return tuple(LogFault(row if in_rows and isinstance(row := fault["row"], int) else None,
                          str(fault["column"]), str(fault["value"]), str(fault["problem"]))
                 for fault in problems)


# As a planner reads it


@dataclass(frozen=True, kw_only=True)
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


def log_lines(log: LogSoFar, pet_zero: datetime) -> list[LogLine]:
    """Every row that counts, or cannot, at now, the latest first."""
    problems, corrected_by = defaultdict[int | None, list[str]](list), defaultdict[str, list[str]](list)
    for fault in log.faults:
        problems[fault.row].append(fault.problem)
    for row in log.rows:
        if row.text("event") == CORRECT:
            corrected_by[row.text("corrects")].append(row.text("event_id"))
    lines = []
    for row, settled in zip(log.rows, settled_rows(log.rows, Faults()), strict=True):
        now, by = settled or row, tuple(corrected_by[row.text("event_id")])  # None: it was withdrawn
        at, first = _when(now, pet_zero), _when(row, pet_zero)
        lines.append(LogLine(
            **{name: row.texts.get(name, "") for name in ("event_id", "event", "by", "note", "corrects")},
            **{name: now.texts.get(name, "") if (value := now.number_of(name)) is None else number_text(value)
               for name in ("remaining_min", "metabolic_w")},
            row=row.number, crew=now.text("crew"), step=now.text("step"), at=at, corrected_by=by,
            is_withdrawn=settled is None and row.text("event") != CORRECT and bool(by),
            was_at=first if first != at else None, problem="; ".join(problems[row.number])))
    return lines[::-1]


def _when(row: Row, pet_zero: datetime) -> datetime | None:
    try:
        return log_format.parse_when(row.text("at"), pet_zero) if row.text("at") else None
    except CellFault:
        return None


WITHDRAW = "withdraw"


@dataclass(frozen=True, eq=False)
class Logbook:
    """A log file. ``is_kept``: it stays when the session ends; ``words`` say where it is."""

    path: Path
    is_kept: bool
    words: str

    @classmethod
    def at(cls, file_or_folder: str | Path) -> Self:
        """The log in a file or folder, whether or not it is there yet."""
        path = log_path(file_or_folder)
        return cls(path, True, f"{path.parent.name}/{path.name}")

    @classmethod
    def beside(cls, folder: Path) -> Self:
        """The log beside a scenario; the session's own where that folder is none, or not ours to write."""
        is_ours = (folder / fmt.SCENARIO_FILE).is_file() and os.access(folder, os.W_OK)
        return cls.at(folder) if is_ours else cls.of_rows(())

    @classmethod
    def of_rows(cls, rows: Iterable[Sequence[str]]) -> Self:
        """A log of the session's own that begins with some rows (cells in the order of `LOG_COLUMNS`)."""
        home = tempfile.TemporaryDirectory(prefix="outing-log-")
        book = cls(Path(home.name) / log_format.LOG_FILE, False, "kept in this session only")
        weakref.finalize(book, home.cleanup)
        if rows := list(rows):
            text = "".join(csv_row(row) + "\n" for row in (log_format.LOG_COLUMNS, *rows))
            book.path.write_text(text, encoding="utf-8", errors="backslashreplace", newline="")
        return book

    @classmethod
    def of_frame(cls, frame: pd.DataFrame) -> Self:
        """A log of the session's own that begins with a DataFrame as `read_log` makes it.

        Raises `ScenarioError` for a table that is no log; cells that make no sense are faults of the log.
        """
        faults = Faults()
        raw = raw_of_frame(frame, faults)
        faults.stop_if_any()
        cells = [dict(zip(raw.header, row, strict=True)) for row in raw.rows]
        numbered = ({"event_id": f"e{number}"} | {name: text for name, text in row.items() if text}
                    for number, row in enumerate(cells, start=1))
        return cls.of_rows([[row.get(name, "") for name in log_format.LOG_COLUMNS] for row in numbered])


# One event as typed


@dataclass(frozen=True)
class Entry:
    """What stands in one line of entry, as typed.

    ``lane`` is who called it (a lane of the chart, or "" for PET 0 and ingress); ``at`` empty means now.
    ``event`` is one of the log's, or `WITHDRAW`: a correction that takes the event ``corrects`` back.
    ``alone``, if not empty: of a step of both only this one has begun or finished.
    """

    lane: str
    event: str
    step: str = ""
    at: str = ""
    remaining_min: str = ""
    metabolic_w: str = ""
    note: str = ""
    by: str = ""
    corrects: str = ""
    alone: str = ""

    @property
    def slot(self) -> str:
        """Where it is typed: the lane, ``pet_zero``, ``ingress``, or ``correct`` and what it is about."""
        if self.corrects:
            return f"{CORRECT} {self.corrects}"
        return self.event if self.event in (PET_ZERO, INGRESS) else self.lane


@dataclass(frozen=True)
class Refused:
    """An entry that the log did not take, with what is wrong; it stays as it was typed."""

    entry: Entry
    faults: tuple[LogFault, ...]


def write(entries: Sequence[Entry], book: Logbook, base: TimedPlan, pet_zero: datetime,
          now: datetime) -> list[str]:
    """Append entries to the log as one, and give the ids of their rows.

    They are judged against the plan ``base`` and the log so far. Raises `ScenarioError` with every fault of
    the first that has one; nothing was written then.
    """
    return append_entries(book.path, [row for each in entries for row in _typed(each, base, pet_zero, now)],
                          base)


def _typed(entry: Entry, base: TimedPlan, pet_zero: datetime, now: datetime) -> list[LogEntry]:
    """The rows of an entry as typed. Raises `ScenarioError` for what cannot be read."""
    faults = Faults()
    moment = _moment(entry, pet_zero, now, faults)
    remaining = _number(entry.remaining_min, "remaining_min", faults)
    metabolic = _number(entry.metabolic_w, "metabolic_w", faults)
    if entry.event == CORRECT and not any(map(str.strip, (entry.at, entry.remaining_min, entry.metabolic_w,
                                                          entry.step))):
        faults.add(LOG.name, None, "at", "", "type what it should have been, or withdraw the entry")
    elif entry.event not in (*EVENT_KINDS, WITHDRAW):
        faults.add(LOG.name, None, "event", entry.event, f"must be one of: {', '.join(EVENT_KINDS)}")
    if metabolic is not None and moment is not None and moment <= pet_zero:
        faults.add(LOG.name, None, "metabolic_w", entry.metabolic_w, "a mean rate since PET 0 needs some "
                   "minutes after it")
    faults.stop_if_any()
    row = LogEntry(entry.event, entry.step, moment, remaining_min=remaining, by=entry.by.strip(),
                   note=entry.note.strip(), logged_at=now)
    return _rows(entry, row, metabolic, base)


def _rows(entry: Entry, row: LogEntry, metabolic: float | None, base: TimedPlan) -> list[LogEntry]:
    """The rows of an entry. A rate called with a step of both is that of one of them: a row of its own."""
    if entry.event in (CORRECT, WITHDRAW):
        step = "" if entry.event == WITHDRAW else entry.step
        return [replace(row, event=CORRECT, step=step, metabolic_w=metabolic, corrects=entry.corrects)]
    is_shared = entry.step in {step.step for step in base.steps if step.crew == BOTH}
    if entry.alone or (metabolic is not None and not is_shared):
        return [replace(row, crew=entry.lane, metabolic_w=metabolic)]
    rate = LogEntry(SUIT, at=row.at, crew=entry.lane, metabolic_w=metabolic, by=row.by,
                    logged_at=row.logged_at)
    return [row] if metabolic is None else [row, rate]


def _moment(entry: Entry, pet_zero: datetime, now: datetime, faults: Faults) -> datetime | None:
    """When it happened: as typed, or now; None for a correction that leaves it as it was."""
    if not entry.at.strip():
        return None if entry.event in (CORRECT, WITHDRAW) else now
    if entry.event == WITHDRAW:
        return None
    try:
        moment = typed_moment(entry.at, pet_zero, now)
        if moment > now:
            raise CellFault(f"{IN_FUTURE}: now is PET {pet_label(pet_min(now, pet_zero))}, "
                            f"{gmt_label(now)} GMT")
        return moment
    except CellFault as fault:
        faults.add(LOG.name, None, "at", entry.at, str(fault))
        return None


def _number(text: str, column: str, faults: Faults) -> float | None:
    if not text.strip():
        return None
    try:
        return float(parse_number(text, LOG.by_name[column]))
    except CellFault as fault:
        faults.add(LOG.name, None, column, text, str(fault))
        return None
