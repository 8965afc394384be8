"""Reading a log: rows, then the events that they come to, with every fault that a log can have by itself.

Between the two stand corrections. A row of the kind ``correct`` names an earlier row (``corrects``). What it
gives replaces what was there; where it gives nothing, that row is withdrawn. A correction can be corrected,
or withdrawn, like any other row: then what it said before no longer counts. Of several corrections of one row
the later come on top.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from planning_kit.inputs import log_format
from planning_kit.inputs.cells import CellFault, did_you_mean
from planning_kit.inputs.faults import Faults, ScenarioError, as_path
from planning_kit.inputs.folder_files import stop_if_workbook
from planning_kit.inputs.log_file import log_bytes, log_lines
from planning_kit.inputs.log_format import CORRECT, LOG, PET_ZERO, Event, by_time, parse_when
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.typed_tables import Row, parse_table, raw_from_frame

_CORRECTED = ("crew", "step", "at", "remaining_min", "metabolic_w")


def settled_rows(rows: Sequence[Row], faults: Faults) -> list[Row | None]:
    """Every row with the corrections of it put in, a correction's too; None where it was withdrawn."""
    by_id = _by_id(rows, faults)
    of_row: dict[int, list[Row]] = {}
    for row in rows:
        if row.text("event") == CORRECT:
            target = by_id.get(row.text("corrects"))
            if target is None or target.number >= row.number:
                row.fault(faults, "corrects",
                          "names no earlier event of this log; give the event_id of the one that was wrong"
                          + did_you_mean(row.text("corrects"), tuple(by_id)))
            else:
                of_row.setdefault(target.number, []).append(row)
    settled: dict[int, Row | None] = {}
    for row in sorted(rows, key=lambda row: -row.number):  # a correction stands below what it corrects
        settled[id(row)] = _settled(row, [settled[id(each)] for each in of_row.get(row.number, ())])
    return [settled[id(row)] for row in rows]


def _by_id(rows: Sequence[Row], faults: Faults) -> dict[str, Row]:
    by_id: dict[str, Row] = {}
    for row in rows:
        name = row.text("event_id")
        if name in by_id:
            row.fault(faults, "event_id",
                      f"stands in row {by_id[name].number} too; every event has an id of its own")
        elif name:
            by_id[name] = row
    return by_id


def _settled(row: Row, corrections: Sequence[Row | None]) -> Row | None:
    """A row with the corrections of it put in, settled before; None where it does not count at all."""
    counts = True
    for correction in corrections:
        if correction is not None:
            given = {column: value for column in _CORRECTED
                     if (value := correction.values.get(column)) not in (None, "")}
            row = replace(row, values=row.values | given)
            counts = bool(given)
    return row if counts else None


def log_path(file_or_folder: str | Path) -> Path:
    """The log file itself: ``log.csv`` of a folder, or the file named. `ScenarioError` for no path."""
    path = as_path(file_or_folder, "log").absolute()
    stop_if_workbook(path)
    try:
        return path / log_format.LOG_FILE if path.is_dir() else path
    except (OSError, ValueError):
        return path


def read_log(file_or_folder: str | Path) -> pd.DataFrame:
    """The log of an outing as a DataFrame, one event a row; empty where there is no file yet.

    Columns: ``event_id``, ``logged_at`` (UTC), ``crew``, ``step``, ``event`` (PET 0, started, finished,
    partly, broken_off, skipped, suit, ingress, correct), ``at`` (UTC, or PET as typed), ``remaining_min``,
    ``metabolic_w``, ``by``, ``corrects``, ``note``. The index holds the rows of the file, the header being 1.

    Raises `ScenarioError` for a file that is no log and for each cell that makes no sense. Whether the
    events are possible is judged against a plan: by ``plan.retime`` and by `append_log`.
    """
    faults = Faults()
    rows = log_rows(file_or_folder, faults)
    faults.stop_if_any()
    cells = {column: [_shown(row, column) for row in rows] for column in log_format.LOG_COLUMNS}
    index = pd.Index([row.number for row in rows], name="row", dtype="int64")
    frame = TextTable(cells, index=index, columns=log_format.LOG_COLUMNS)
    types: Any = {"logged_at": "datetime64[us, UTC]", "remaining_min": float, "metabolic_w": float}
    if all(isinstance(moment, datetime) for moment in frame["at"]):
        types["at"] = "datetime64[us, UTC]"
    return frame.astype(types)


def log_rows(file_or_folder: str | Path, faults: Faults) -> list[Row]:
    """The rows of a log file, parsed as far as they can be; none where there is no file yet.

    Cells that make no sense and rows that were cut off are noted in ``faults``. Raises `ScenarioError` for a
    file that cannot be read as a log at all.
    """
    data = log_bytes(log_path(file_or_folder))
    return parse_table(LOG, log_lines(data or b"", faults).table, faults)


def _shown(row: Row, column: str) -> object:
    if column == "at":
        text = row.text("at")
        try:
            return parse_when(text, None) if text else None
        except CellFault:
            return text  # PET, which only a PET 0 can place
    return row.values.get(column)


@dataclass(frozen=True)
class Actuals:
    """What a log says: the events by time, corrections applied, and PET 0 (UTC) if it was logged."""

    events: tuple[Event, ...]
    pet_zero: datetime | None


def read_actuals(actuals: object, planned_pet_zero: datetime, faults: Faults) -> Actuals:
    """The events of a log: a file, a folder, or a DataFrame with at least ``step``, ``event`` and ``at``.

    Faults are noted; an event with one is left out.
    """
    if isinstance(actuals, Actuals):
        return actuals
    if isinstance(actuals, str | Path):
        data = log_bytes(log_path(actuals))
        if not data:
            raise ScenarioError.single("there is no log; append_log starts one", table=LOG.name,
                                       value=log_path(actuals))
        raw = log_lines(data, faults).table
    elif isinstance(actuals, pd.DataFrame):
        raw = raw_of_frame(actuals, faults)
    else:
        raise ScenarioError.single("give a log: a file, its folder, or a DataFrame as read_log makes it",
                                   table=LOG.name, value=type(actuals).__name__)
    return actuals_of(parse_table(LOG, raw, faults), planned_pet_zero, faults)


def raw_of_frame(frame: pd.DataFrame, faults: Faults) -> RawTable:
    """A log given as a DataFrame, as text rows; a frame that `read_log` made keeps the rows of its file."""
    raw = raw_from_frame(LOG, frame, None, faults)
    if frame.index.name != "row" or len(raw.rows) != len(frame):
        return raw
    return replace(raw, row_numbers=tuple(int(number) for number in frame.index))


def actuals_of(rows: list[Row], planned_pet_zero: datetime | None, faults: Faults) -> Actuals:
    """Parsed rows as events by time. PET of a log without a PET 0 is a fault where none is planned."""
    plain = [row for row in settled_rows(rows, faults) if row is not None and row.text("event") != CORRECT]
    called = [row for row in plain if row.text("event") == PET_ZERO]
    pet_zero = _pet_zero(called, planned_pet_zero, faults)
    events = []
    for row in plain:
        moment = pet_zero if row in called else _moment(row, pet_zero or planned_pet_zero, faults)
        if moment is not None and "event" in row.values:
            events.append(Event(
                row=row.number, event_id=row.text("event_id") or f"row {row.number}", event=row.text("event"),
                crew=row.text("crew"), step=row.text("step"), at=moment, note=row.text("note"),
                remaining_min=row.number_of("remaining_min"), metabolic_w=row.number_of("metabolic_w"),
                logged_at=row.moment("logged_at")))
    return Actuals(tuple(by_time(events)), pet_zero)


def _pet_zero(called: list[Row], planned: datetime | None, faults: Faults) -> datetime | None:
    for row in called[1:]:
        row.fault(faults, "event",
                  f"PET 0 is logged in row {called[0].number} already; log it as correct instead")
    moment = _moment(called[0], planned, faults) if called else None
    if moment is not None and planned is not None and abs(moment - planned) > log_format.FARTHEST_PET_ZERO:
        called[0].fault(faults, "at", f"lies {abs(moment - planned).days} days from the PET 0 planned for "
                        f"{planned:%Y-%m-%d}: correct the date, or plan for that day first",
                        called[0].text("at"))
    return moment


def _moment(row: Row, pet_zero: datetime | None, faults: Faults) -> datetime | None:
    text = row.text("at")
    try:
        if not text.strip():
            raise CellFault("is empty; say when it happened, in UTC or PET")
        return parse_when(text, pet_zero)
    except CellFault as fault:
        row.fault(faults, "at", str(fault), text)
        return None
