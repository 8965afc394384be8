"""Appending to a log so that nothing is lost: two writers, a killed process, a full disk.

The log's folder is locked for as long as it takes to read the log, to judge the new rows, to write them in
one call at the end of the file (O_APPEND) and to flush it to the disk. Who gets an event id back has it on
the disk. A line that another process left unfinished is closed first, so that it damages no row but itself.
"""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Protocol

from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.csv_cells import csv_row
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.folder_files import place_of
from planning_kit.inputs.frames import number_text
from planning_kit.inputs.locks import locked
from planning_kit.inputs.log import actuals_of, log_path, raw_log
from planning_kit.inputs.log_format import EGRESS, LOG, LOG_COLUMNS, parse_when
from planning_kit.inputs.log_state import states_of
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.rows import Row, parse_table
from planning_kit.inputs.scenario import Scenario

_COUNTED = re.compile(r"e([0-9]{1,9})")


class Planned(Protocol):
    """A plan, as far as a log needs one."""

    @property
    def scenario(self) -> Scenario:
        """What was planned."""

    @property
    def egress(self) -> datetime:
        """PET 0 of the plan, UTC."""


def append_log(
    file_or_folder: str | Path,
    event: str,
    step: str = "",
    at: str | float | datetime | None = None,
    *,
    crew: str = "",
    remaining_min: float | None = None,
    metabolic_w: float | None = None,
    by: str = "",
    corrects: str = "",
    note: str = "",
    logged_at: datetime | str | None = None,
    plan: Planned | None = None,
) -> str:
    """Add one event to the log of an outing and return its ``event_id``.

    Parameters
    ----------
    file_or_folder : path
        ``log.csv``, or the folder that holds it; the file is made when the first event comes.
    event : str
        ``egress``, ``started``, ``finished``, ``partly`` (so much remains: ``remaining_min``), ``skipped``,
        ``suit`` (a metabolic rate by itself), ``ingress`` (both are inside), or ``correct``: what is given
        replaces that of the event ``corrects``; where nothing is given, that event is withdrawn.
    at : UTC time, or PET as ``h:mm``, ``h:mm:ss`` or minutes
        PET needs an egress: the one logged, or else the plan's. Written to the file in UTC.
    remaining_min : float
        Minutes that the step still takes from ``at`` on.
    metabolic_w : float
        Mean metabolic rate of ``crew`` since egress, W.
    logged_at : UTC time
        When it was written down; now, if not given.
    plan : Plan
        With it the event is judged against the plan and the log so far, and refused if it cannot be.

    Raises `ScenarioError` with every fault; nothing is written then. On return the row is on the disk. The
    lock is this package's own: all writers must come this way, as one user, and not to a network drive.
    """
    entry = LogEntry(event, step, at, crew, remaining_min, metabolic_w, by, corrects, note, logged_at)
    return append_entries(file_or_folder, [entry], plan)[0]


@dataclass(frozen=True)
class LogEntry:
    """One row to be appended; see `append_log` for what each part may be."""

    event: str
    step: str = ""
    at: str | float | datetime | None = None
    crew: str = ""
    remaining_min: float | None = None
    metabolic_w: float | None = None
    by: str = ""
    corrects: str = ""
    note: str = ""
    logged_at: datetime | str | None = None

    def cells(self) -> dict[str, str]:
        """The row but for its id and ``at``, which the log so far decides. Raises `ScenarioError`."""
        cells = {"event": self.event, "step": self.step, "crew": self.crew, "by": self.by,
                 "corrects": self.corrects, "note": self.note,
                 "remaining_min": _number(self.remaining_min), "metabolic_w": _number(self.metabolic_w)}
        cells = {name: " ".join(str(text).splitlines()) for name, text in cells.items()}
        written = _now() if _is_left_out(self.logged_at) else self.logged_at
        return cells | {"logged_at": _utc_text(written, None, "logged_at")}


def append_entries(file_or_folder: str | Path, entries: Sequence[LogEntry],
                   plan: Planned | None = None) -> list[str]:
    """Add several events to the log as one: all of them, or none. Gives their ids; raises as `append_log`."""
    rows = [(entry.cells(), entry.at) for entry in entries]
    path = log_path(file_or_folder)
    if not os.path.exists(path):
        _fit(b"", rows, plan)  # refused, if at all, before a file is made for it
    with _opened(path) as handle:
        data = _all_of(handle)
        _write(handle, data, _fit(data, rows, plan), [cells for cells, _ in rows])
    return [cells["event_id"] for cells, _ in rows]


def _fit(data: bytes, new: Sequence[tuple[dict[str, str], object]], plan: Planned | None) -> tuple[str, ...]:
    """The log's columns; the new rows get their ids and times, and are refused if one of them cannot be."""
    raw = raw_log(data, Faults()) if data else RawTable(LOG.name, tuple(LOG_COLUMNS), (), ())
    whole, faults = raw, Faults()
    for cells, at in new:
        rows = parse_table(LOG, whole, Faults())
        cells["event_id"] = _next_id(rows)
        egress = _egress_for(cells["event"], rows, plan)
        cells["at"] = "" if _is_left_out(at) else _utc_text(at, egress, "at")
        number = max(whole.row_numbers, default=1) + 1
        row = tuple(cells.get(name, "") for name in raw.header)
        parse_table(LOG, RawTable(LOG.name, raw.header, (row,), (number,)), faults)
        whole = RawTable(LOG.name, raw.header, (*whole.rows, row), (*whole.row_numbers, number))
    faults.stop_if_any()
    if plan is not None:
        _judge(raw, whole, plan)
    return raw.header


def _is_left_out(given: object) -> bool:
    return given is None or (isinstance(given, str) and not given)


def _now() -> datetime:
    return datetime.now(UTC).replace(microsecond=0)


def _number(value: float | None) -> str:
    return "" if value is None else number_text(value) if isinstance(value, int | float) else str(value)


def _utc_text(when: object, egress: datetime | None, column: str) -> str:
    try:
        moment = parse_when(when, egress)
    except CellFault as fault:
        raise ScenarioError.single(str(fault), table=LOG.name, column=column, value=when) from None
    return moment.isoformat().replace("+00:00", "Z")


def _egress_for(event: str, rows: list[Row], plan: Planned | None) -> datetime | None:
    """What PET counts from: egress as logged, else as planned; egress itself from the planned one."""
    planned = None if plan is None else plan.egress
    if event == EGRESS:
        return planned
    return actuals_of([_copy(row) for row in rows], planned, Faults()).egress or planned


def _copy(row: Row) -> Row:
    return Row(row.number, dict(row.values), dict(row.texts))


def _next_id(rows: list[Row]) -> str:
    numbers = [int(match[1]) for row in rows if (match := _COUNTED.fullmatch(row.text("event_id")))]
    return f"e{max(numbers, default=0) + 1}"


def _judge(raw: RawTable, whole: RawTable, plan: Planned) -> None:
    """Refuse new rows for what they make of the whole log."""
    before, after = Faults(), Faults()
    for table, found in ((raw, before), (whole, after)):
        actuals = actuals_of(parse_table(LOG, table, found), plan.egress, found)
        states_of(plan.scenario.records, actuals.events, actuals.egress or plan.egress, found)
    own = {None, *whole.row_numbers[len(raw.row_numbers):]}
    new = Faults([fault if fault["row"] in own else
                  fault | {"problem": f"with the new row, row {fault['row']} cannot be: {fault['problem']}"}
                  for fault in after.rows if fault not in before.rows])
    new.stop_if_any()


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[int]:
    """The log file, open for appending, with its folder's lock held."""
    with locked(path.parent):
        try:
            place = place_of(path.parent, path.name)
            handle = os.open(place, os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0), 0o666)
        except (OSError, ValueError) as error:
            if isinstance(error, ScenarioError):
                raise
            raise ScenarioError.single(f"cannot be opened: {error}; give a log file or its folder",
                                       table=LOG.name, value=path) from None
        try:
            yield handle
        finally:
            os.close(handle)


def _all_of(handle: int) -> bytes:
    os.lseek(handle, 0, os.SEEK_SET)
    parts = []
    while part := os.read(handle, 1 << 20):
        parts.append(part)
    return b"".join(parts)


def _write(handle: int, data: bytes, header: tuple[str, ...], new: list[dict[str, str]]) -> None:
    """One write at the end of the file, flushed; a write that did not fit is taken back."""
    newline = "\r\n" if b"\r\n" in data else "\n"
    lines = [] if data else [",".join(header)]
    lines += [csv_row(cells.get(name, "") for name in header) for cells in new]
    unfinished = newline if data and not data.endswith(b"\n") else ""
    rows = (unfinished + "".join(line + newline for line in lines)).encode("utf-8", "backslashreplace")
    try:
        if os.write(handle, rows) != len(rows):
            raise OSError("no room for all that is to be written")
        os.fsync(handle)
    except OSError as error:
        with contextlib.suppress(OSError):
            os.ftruncate(handle, len(data))
        raise ScenarioError.single(f"was not logged: {error}; nothing was changed", table=LOG.name,
                                   value=new[0]["event"]) from None
