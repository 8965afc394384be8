"""The log of a watch: the file that it keeps, and one event as typed, which is appended or refused.

The file is ``log.csv`` beside the scenario, or one of the session's own, which goes when the session goes;
the planner is told so. Both are appended to in the same safe way (`planning_kit.inputs.log_append`).
"""

from __future__ import annotations

import os
import tempfile
import weakref
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import pandas as pd

from planning_kit.explore.watch.clock import typed_moment
from planning_kit.explore.watch.log_so_far import LogFault, log_faults
from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault, parse_number
from planning_kit.inputs.csv_cells import csv_row
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.folder_files import Signature, signature
from planning_kit.inputs.log import log_path, log_rows, raw_of_frame
from planning_kit.inputs.log_append import LogEntry, append_entries
from planning_kit.inputs.log_format import (
    CORRECT,
    EGRESS,
    EVENT_KINDS,
    INGRESS,
    LOG,
    LOG_COLUMNS,
    LOG_FILE,
    SUIT,
)
from planning_kit.inputs.log_state import IN_FUTURE
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.rows import Row
from planning_kit.inputs.times import gmt_label, pet_label, pet_min
from planning_kit.plan.timed import TimedPlan

WITHDRAW = "withdraw"


@dataclass(frozen=True, eq=False)
class Logbook:
    """A log file. ``is_kept``: it stays when the session ends; ``words`` say where it is."""

    path: Path
    is_kept: bool
    words: str

    @classmethod
    def at(cls, file_or_folder: str | Path) -> Logbook:
        """The log in a file or folder, whether or not it is there yet."""
        path = log_path(file_or_folder)
        return cls(path, True, f"{path.parent.name}/{path.name}")

    @classmethod
    def beside(cls, folder: Path) -> Logbook:
        """The log beside a scenario; the session's own where that folder is none, or not ours to write."""
        is_ours = (folder / fmt.SCENARIO_FILE).is_file() and os.access(folder, os.W_OK)
        return cls.at(folder) if is_ours else cls.of_rows(())

    @classmethod
    def of_rows(cls, rows: Iterable[Sequence[str]]) -> Logbook:
        """A log of the session's own that begins with some rows (cells in the order of `LOG_COLUMNS`)."""
        home = tempfile.TemporaryDirectory(prefix="outing-log-")
        book = cls(Path(home.name) / LOG_FILE, False, "kept in this session only")
        weakref.finalize(book, home.cleanup)
        rows = list(rows)
        if rows:
            text = "".join(csv_row(row) + "\n" for row in (LOG_COLUMNS, *rows))
            book.path.write_text(text, encoding="utf-8", errors="backslashreplace", newline="")
        return book

    @classmethod
    def of_frame(cls, frame: pd.DataFrame) -> Logbook:
        """A log of the session's own that begins with a DataFrame as `read_log` makes it.

        Raises `ScenarioError` for a table that is no log; cells that make no sense are faults of the log.
        """
        faults = Faults()
        raw = raw_of_frame(frame, faults)
        faults.stop_if_any()
        cells = [dict(zip(raw.header, row, strict=True)) for row in raw.rows]
        numbered = ({"event_id": f"e{number}"} | {name: text for name, text in row.items() if text}
                    for number, row in enumerate(cells, start=1))
        return cls.of_rows([[row.get(name, "") for name in LOG_COLUMNS] for row in numbered])

    def signature(self) -> Signature:
        """What changes whenever the file does; None where there is none."""
        return signature(self.path)

    def rows(self, faults: Faults) -> list[Row]:
        """All rows of the file (see `log_rows`)."""
        return log_rows(self.path, faults)


# One event as typed


@dataclass(frozen=True)
class Entry:
    """What stands in one line of entry, as typed.

    ``lane`` is who called it (a lane of the chart, or "" for egress and ingress); ``at`` empty means now.
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
        """Where it is typed: the lane, ``egress``, ``ingress``, or ``correct`` and the event it is about."""
        if self.corrects:
            return f"{CORRECT} {self.corrects}"
        return self.event if self.event in (EGRESS, INGRESS) else self.lane


@dataclass(frozen=True)
class Refused:
    """An entry that the log did not take, with what is wrong; it stays as it was typed."""

    entry: Entry
    faults: tuple[LogFault, ...]


def write(entry: Entry, book: Logbook, base: TimedPlan, egress: datetime, now: datetime) -> str:
    """Append an entry to the log and give its ``event_id``.

    It is judged against the plan ``base`` and the log so far. Raises `ScenarioError` with every fault;
    nothing was written then.
    """
    faults = Faults()
    moment = _moment(entry, egress, now, faults)
    remaining = _number(entry.remaining_min, "remaining_min", faults)
    metabolic = _number(entry.metabolic_w, "metabolic_w", faults)
    if entry.event == CORRECT and not any(map(str.strip, (entry.at, entry.remaining_min, entry.metabolic_w,
                                                          entry.step))):
        faults.add(LOG.name, None, "at", "", "type what it should have been, or withdraw the entry")
    elif entry.event not in (*EVENT_KINDS, WITHDRAW):
        faults.add(LOG.name, None, "event", entry.event, f"must be one of: {', '.join(EVENT_KINDS)}")
    if metabolic is not None and moment is not None and moment <= egress:
        faults.add(LOG.name, None, "metabolic_w", entry.metabolic_w, "a mean rate since egress needs some "
                   "minutes after it")
    faults.stop_if_any()
    row = LogEntry(entry.event, entry.step, moment, remaining_min=remaining, by=entry.by.strip(),
                   note=entry.note.strip(), logged_at=now)
    return append_entries(book.path, _rows(entry, row, metabolic, base), base)[0]


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


def _moment(entry: Entry, egress: datetime, now: datetime, faults: Faults) -> datetime | None:
    """When it happened: as typed, or now; None for a correction that leaves it as it was."""
    if not entry.at.strip():
        return None if entry.event in (CORRECT, WITHDRAW) else now
    if entry.event == WITHDRAW:
        return None
    try:
        moment = typed_moment(entry.at, egress, now)
        if moment > now:
            raise CellFault(f"{IN_FUTURE}: now is PET {pet_label(pet_min(now, egress))}, "
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


def refused(entry: Entry, error: ScenarioError) -> Refused:
    """An entry with the faults that the log, or its reading, found."""
    return Refused(entry, log_faults(error.problems.to_dict("records")))
