"""Appending to a log so that nothing is lost: two writers, a killed process, a full disk.

The log's folder is locked for as long as it takes to read the log, to judge the new rows, to write them in
one call at the end of the file (O_APPEND) and to flush it to the disk. Who gets an event id back has it on
the disk. A line that another process left unfinished is closed first, so that it damages no row but itself.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Protocol, runtime_checkable

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.log import Actuals, actuals_of, log_path
from planning_kit.inputs.log_file import all_of, log_lines, log_text, opened, write
from planning_kit.inputs.log_format import CORRECT, LOG, PET_ZERO, is_pet, parse_when
from planning_kit.inputs.log_state import states_of
from planning_kit.inputs.raw import RawTable, csv_row
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import moment_text
from planning_kit.inputs.typed_tables import Row, number_text, parse_table

_COUNTED = re.compile(r"e([0-9]{1,9})")


@runtime_checkable
class Planned(Protocol):
    """A plan, as far as a log needs one."""

    @property
    def scenario(self) -> Scenario:
        """What was planned."""

    @property
    def pet_zero(self) -> datetime:
        """PET 0 of the plan, UTC."""

    @property
    def taken_outside(self) -> Planned:
        """The plan that a log is about: of a re-timed one, whose rows say what was done, the one before."""


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
        ``pet_zero``, ``started``, ``finished``, ``partly`` (so much remains: ``remaining_min``),
        ``broken_off`` (it is only made safe, which takes so long), ``skipped``, ``suit`` (a metabolic rate by
        itself), ``ingress`` (both are inside), or ``correct``: what is given replaces that of the event
        ``corrects``; where nothing is given, that event is withdrawn.
    at : UTC time, or PET as ``h:mm``, ``h:mm:ss`` or minutes
        PET needs a PET 0: the one logged, or else the plan's. Written to the file in UTC.
    remaining_min : float
        Minutes that the step still takes from ``at`` on; of a step skipped, to put its task back there.
    metabolic_w : float
        Mean metabolic rate of ``crew`` since PET 0, W.
    logged_at : UTC time
        When it was written down; now, if not given.
    plan : Plan
        With it the event is judged against the plan and the log so far, and refused if it cannot be. Of a
        re-timed plan it is the one that the crew took outside, with what was decided since.

    Raises `ScenarioError` with every fault; nothing is written then. On return the row is on the disk. The
    lock is this package's own: all writers must come this way, as one user, and not to a network drive.
    """
    entry = LogEntry(event=event, step=step, at=at, crew=crew, remaining_min=remaining_min,
                     metabolic_w=metabolic_w, by=by, corrects=corrects, note=note, logged_at=logged_at)
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
        given = {**vars(self), "remaining_min": _number(self.remaining_min),
                 "metabolic_w": _number(self.metabolic_w)}
        # A log is read line by line: a line break in a note would cut the row.
        cells = {name: " ".join(str(value).splitlines()) for name, value in given.items() if name != "at"}
        written = datetime.now(UTC).replace(microsecond=0) if _is_left_out(self.logged_at) else self.logged_at
        return cells | {"logged_at": _utc_text(written, None, "logged_at")}


def append_entries(file_or_folder: str | Path, entries: Sequence[LogEntry],
                   plan: Planned | None = None) -> list[str]:
    """Add several events to the log as one: all of them, or none. Gives their ids; raises as `append_log`."""
    if not isinstance(plan, Planned | None):
        raise ScenarioError.single("must be a plan, such as pk.time_plan(scenario) gives, or None",
                                   column="plan", value=type(plan).__name__)
    plan = None if plan is None else plan.taken_outside
    if not entries:
        return []
    rows = [(entry.cells(), entry.at) for entry in entries]
    path = log_path(file_or_folder)
    if not os.path.exists(path):
        _fit(b"", rows, plan)  # refused, if at all, before a file is made for it
    with opened(path) as handle:
        data = all_of(handle, path)
        write(handle, len(data), _fit(data, rows, plan), entries[0].event)
    return [cells["event_id"] for cells, _ in rows]


def _fit(data: bytes, new: Sequence[tuple[dict[str, str], object]], plan: Planned | None) -> bytes:
    """What is to be added to the log, as bytes. The new rows get their ids and times.

    Raises `ScenarioError` where one of them cannot be, or could not be read back from this file.
    """
    lines = log_lines(data, Faults())
    raw, old_faults, faults = lines.table, Faults(), Faults()
    highest_id = _highest_id_in(raw.header, lines.cut.values())
    log = _Log(parse_table(LOG, raw, old_faults), plan, old_faults, highest_id)
    _note_lost(raw.header, [cells for cells, _ in new], faults)
    for number, (cells, at) in enumerate(new, start=max([1, *raw.row_numbers, *lines.cut]) + 1):
        cells["event_id"] = f"e{log.highest_id + 1}"
        cells["at"] = "" if _is_left_out(at) else _utc_text(at, log.pet_zero_for(cells["event"], at), "at")
        row = tuple(cells.get(name, "") for name in raw.header)
        # Parsed as it will be read back: what the file would not give again is refused now.
        log.add(*parse_table(LOG, RawTable(LOG.name, raw.header, (row,), (number,)), faults))
    faults.stop_if_any()
    if plan is not None:
        _judge(log, plan)
    return _bytes_for(data, raw.header, [cells for cells, _ in new])


def _note_lost(header: Sequence[str], new: Sequence[dict[str, str]], faults: Faults) -> None:
    """Note each cell that the log has no column for, or that is longer than a cell may be."""
    for field in LOG.fields:
        longest = max((cells.get(field.name, "") for cells in new), key=len)
        if len(longest) > fmt.MAX_CELL_CHARS:
            faults.add(LOG.name, None, field.name, longest,
                       f"a cell holds at most {fmt.MAX_CELL_CHARS:,} characters; shorten it")
        elif longest and field.may_be_absent and field.name not in (*header, "event_id", "logged_at"):
            faults.add(LOG.name, 1, field.name, longest, f"has no column in this log; add {field.name} to "
                       "the header and a comma to each row, or log the event without it")


def _bytes_for(data: bytes, header: Sequence[str], new: Sequence[dict[str, str]]) -> bytes:
    """The new rows as bytes. Raises `ScenarioError` where the log could not be read with them."""
    newline = "\r\n" if b"\r\n" in data else "\n"
    lines = [] if data else [",".join(header)]
    lines += [csv_row(cells.get(name, "") for name in header) for cells in new]
    unfinished = newline if data and not data.endswith(b"\n") else ""
    rows = (unfinished + "".join(line + newline for line in lines)).encode("utf-8", "backslashreplace")
    try:
        log_text(data + rows)
    except ScenarioError as fault:
        raise ScenarioError.single("was not logged: the log is full, for with this it could not be read (it "
                                   f"{fault.words})", table=LOG.name, value=new[0]["event"]) from None
    return rows


class _Log:
    """A log and the rows to be added to it, each parsed once, and what they need of each other.

    ``old_faults``: those of the cells of ``old``, then all faults of it. ``highest_id``: of the rows that
    were cut off, whose ids are not given again.
    """

    def __init__(self, old: list[Row], plan: Planned | None, old_faults: Faults, highest_id: int) -> None:
        self.old, self.old_faults = old, old_faults
        self.new: list[Row] = []
        self.highest_id = max([highest_id, *(_id_number(row.text("event_id")) for row in old)])
        self._planned = None if plan is None else plan.pet_zero

    def add(self, row: Row) -> None:
        """One more row at the end."""
        self.new.append(row)
        self.highest_id = max(self.highest_id, _id_number(row.text("event_id")))

    @cached_property
    def actuals(self) -> Actuals:
        """What the log says without the new rows."""
        return actuals_of(self.old, self._planned, self.old_faults)

    def pet_zero_for(self, event: str, at: object) -> datetime | None:
        """What PET counts from: PET 0 as logged, else as planned; PET 0 itself from the planned one.

        ``at`` may be a UTC time, which needs none: then none is looked for.
        """
        if event == PET_ZERO or not is_pet(at):
            return self._planned
        logged = self.actuals.pet_zero
        # Rows added together: a PET 0 among them counts for those behind it.
        if any(row.text("event") in (PET_ZERO, CORRECT) for row in self.new):
            logged = actuals_of([*self.old, *self.new], self._planned, Faults()).pet_zero
        return logged or self._planned


def _id_number(event_id: str) -> int:
    match = _COUNTED.fullmatch(event_id)
    return int(match[1]) if match else 0


def _highest_id_in(header: Sequence[str], cut: Iterable[str]) -> int:
    """The highest number of the ids that can still be made out in rows that were cut off."""
    if "event_id" not in header:
        return 0
    place = header.index("event_id")
    cells = [line.split(",")[place:place + 1] for line in cut]
    return max((_id_number(text.strip('"\r\0 ')) for texts in cells for text in texts), default=0)


def _is_left_out(given: object) -> bool:
    return given is None or (isinstance(given, str) and not given)


def _number(value: float | None) -> str:
    return "" if value is None else number_text(value) if isinstance(value, int | float) else str(value)


def _utc_text(when: object, pet_zero: datetime | None, column: str) -> str:
    try:
        return moment_text(parse_when(when, pet_zero))
    except CellFault as fault:
        raise ScenarioError.single(str(fault), table=LOG.name, column=column, value=when) from None


def _judge(log: _Log, plan: Planned) -> None:
    """Refuse new rows for what they make of the whole log."""
    before, after, records = log.old_faults, Faults(), plan.scenario.records
    states_of(records, log.actuals.events, log.actuals.pet_zero or plan.pet_zero, before)
    whole = actuals_of([*log.old, *log.new], plan.pet_zero, after)
    states_of(records, whole.events, whole.pet_zero or plan.pet_zero, after)
    # Old faults are held against no new row: outside, logging must go on.
    known = {tuple(fault.values()) for fault in before.rows}
    own = {None, *(row.number for row in log.new)}
    found = Faults([fault if fault["row"] in own else
                    fault | {"problem": f"with the new row, row {fault['row']} cannot be: {fault['problem']}"}
                    for fault in after.rows if tuple(fault.values()) not in known])
    found.stop_if_any()
