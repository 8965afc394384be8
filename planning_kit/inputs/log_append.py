"""Appending to a log so that nothing is lost: two writers, a killed process, a full disk.

The file is locked for as long as it takes to read it, to judge the new row, to write it in one call at the
end of the file (O_APPEND) and to flush it to the disk. Who gets an event id back has it on the disk. A line
that another process left unfinished is closed first, so that it damages no row but itself.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Protocol

from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.csv_cells import csv_row
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.frames import number_text
from planning_kit.inputs.log import actuals_of, log_path, raw_log
from planning_kit.inputs.log_format import EGRESS, LOG, LOG_COLUMNS, parse_when
from planning_kit.inputs.log_state import states_of
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.rows import Row, parse_table
from planning_kit.inputs.scenario import Scenario

try:
    import fcntl
except ImportError:  # pragma: no cover - Windows
    fcntl = None  # type: ignore[assignment]

_LOCKED_BYTE = 2**30  # far behind any log, so that readers are not shut out
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
    locks are advisory: all writers must come this way, and a network drive must keep locks.
    """
    cells = {"event": event, "step": step, "crew": crew, "by": by, "corrects": corrects, "note": note,
             "remaining_min": _number(remaining_min), "metabolic_w": _number(metabolic_w)}
    cells = {name: " ".join(str(text).splitlines()) for name, text in cells.items()}
    cells["logged_at"] = _utc_text(_now() if _is_left_out(logged_at) else logged_at, None, "logged_at")
    path = log_path(file_or_folder)
    if not os.path.exists(path):
        _fit(b"", cells, at, plan)  # refused, if at all, before a file is made for it
    with _locked(path) as handle:
        data = _all_of(handle)
        _write(handle, data, _fit(data, cells, at, plan), cells)
    return cells["event_id"]


def _fit(data: bytes, cells: dict[str, str], at: object, plan: Planned | None) -> RawTable:
    """The log so far; the new row gets its id and its time, and is refused if it cannot be."""
    faults = Faults()
    raw = raw_log(data, faults) if data else RawTable(LOG.name, tuple(LOG_COLUMNS), (), ())
    rows = parse_table(LOG, raw, Faults())
    cells["event_id"] = _next_id(rows)
    egress = _egress_for(cells["event"], rows, plan)
    cells["at"] = "" if _is_left_out(at) else _utc_text(at, egress, "at")
    number = max(raw.row_numbers, default=1) + 1
    _judge(raw, tuple(cells.get(name, "") for name in raw.header), number, plan)
    return raw


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


def _judge(raw: RawTable, cells: tuple[str, ...], number: int, plan: Planned | None) -> None:
    """Refuse the new row for its own faults, and with a plan for what it makes of the whole log."""
    alone = RawTable(LOG.name, raw.header, (cells,), (number,))
    faults = Faults()
    parse_table(LOG, alone, faults)
    faults.stop_if_any()
    whole = RawTable(LOG.name, raw.header, (*raw.rows, cells), (*raw.row_numbers, number))
    if plan is None:
        return
    before, after = Faults(), Faults()
    for table, found in ((raw, before), (whole, after)):
        actuals = actuals_of(parse_table(LOG, table, found), plan.egress, found)
        states_of(plan.scenario.records, actuals.events, actuals.egress or plan.egress, found)
    new = Faults([fault if fault["row"] in (number, None) else
                  fault | {"problem": f"with the new row, row {fault['row']} cannot be: {fault['problem']}"}
                  for fault in after.rows if fault not in before.rows])
    new.stop_if_any()


@contextlib.contextmanager
def _locked(path: Path) -> Iterator[int]:
    try:
        handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0), 0o666)
    except (OSError, ValueError) as error:
        raise ScenarioError.single(f"cannot be opened: {error}; give a log file or its folder",
                                   table=LOG.name, value=path) from None
    try:
        with _lock(handle, path):
            yield handle
    finally:
        os.close(handle)


@contextlib.contextmanager
def _lock(handle: int, path: Path) -> Iterator[None]:
    """Nobody else writes meanwhile. A lock that is not given is told, and nothing is written."""
    try:
        if fcntl is not None:
            fcntl.flock(handle, fcntl.LOCK_EX)
        else:
            _lock_on_windows(handle, "LK_LOCK")
    except OSError as error:
        raise ScenarioError.single(f"is held by another program ({error}); nothing was logged, try again",
                                   table=LOG.name, value=path) from None
    try:
        yield
    finally:
        if fcntl is None:  # elsewhere closing the file gives the lock back
            with contextlib.suppress(OSError):
                _lock_on_windows(handle, "LK_UNLCK")


def _lock_on_windows(handle: int, how: str) -> None:
    """Windows has no flock but locks on bytes; it waits ten seconds for one. Tested with a stand-in only."""
    locks: Any = importlib.import_module("msvcrt")
    os.lseek(handle, _LOCKED_BYTE, os.SEEK_SET)
    locks.locking(handle, getattr(locks, how), 1)


def _all_of(handle: int) -> bytes:
    os.lseek(handle, 0, os.SEEK_SET)
    parts = []
    while part := os.read(handle, 1 << 20):
        parts.append(part)
    return b"".join(parts)


def _write(handle: int, data: bytes, raw: RawTable, cells: dict[str, str]) -> None:
    """One write at the end of the file, flushed; a write that did not fit is taken back."""
    newline = "\r\n" if b"\r\n" in data else "\n"
    lines = [] if data else [",".join(raw.header)]
    lines.append(csv_row(cells.get(name, "") for name in raw.header))
    unfinished = newline if data and not data.endswith(b"\n") else ""
    row = (unfinished + "".join(line + newline for line in lines)).encode("utf-8", "backslashreplace")
    try:
        if os.write(handle, row) != len(row):
            raise OSError("no room for the whole row")
        os.fsync(handle)
    except OSError as error:
        with contextlib.suppress(OSError):
            os.ftruncate(handle, len(data))
        raise ScenarioError.single(f"was not logged: {error}; nothing was changed", table=LOG.name,
                                   value=cells["event"]) from None
