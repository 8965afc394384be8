"""Reading a log: rows, corrections, and every fault that a log can have by itself.

Each line of the file is read alone: a line that was cut off (a full disk, a dead machine) damages no other.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.csv_cells import cell_text
from planning_kit.inputs.faults import Faults, ScenarioError, as_path
from planning_kit.inputs.folder_files import place_of, reason_of
from planning_kit.inputs.frames import raw_from_frame
from planning_kit.inputs.log_corrections import with_corrections
from planning_kit.inputs.log_format import (
    EGRESS,
    FARTHEST_EGRESS,
    LOG,
    LOG_COLUMNS,
    LOG_FILE,
    Event,
    by_time,
    parse_when,
)
from planning_kit.inputs.raw import RawTable, absurd_text, decode
from planning_kit.inputs.rows import Row, parse_table
from planning_kit.inputs.text_table import TextTable


def log_path(file_or_folder: str | Path) -> Path:
    """The log file itself: ``log.csv`` of a folder, or the file named. `ScenarioError` for no path."""
    path = as_path(file_or_folder, "log").absolute()
    try:
        return path / LOG_FILE if path.is_dir() else path
    except (OSError, ValueError):
        return path


def read_log(file_or_folder: str | Path) -> pd.DataFrame:
    """The log of an outing as a DataFrame, one event a row; empty where there is no file yet.

    Columns: ``event_id``, ``logged_at`` (UTC), ``crew``, ``step``, ``event`` (egress, started, finished,
    partly, skipped, suit, ingress, correct), ``at`` (UTC, or PET as typed), ``remaining_min``,
    ``metabolic_w``, ``by``, ``corrects``, ``note``. The index holds the rows of the file, the header being 1.

    Raises `ScenarioError` for a file that is no log and for each cell that makes no sense. Whether the
    events are possible is judged against a plan: by ``plan.retime`` and by `append_log`.
    """
    faults = Faults()
    rows = log_rows(file_or_folder, faults)
    faults.stop_if_any()
    cells = {column: [_shown(row, column) for row in rows] for column in LOG_COLUMNS}
    index = pd.Index([row.number for row in rows], name="row", dtype="int64")
    frame = TextTable(cells, index=index, columns=LOG_COLUMNS)
    types: Any = {"logged_at": "datetime64[us, UTC]", "remaining_min": float, "metabolic_w": float}
    if all(isinstance(moment, datetime) for moment in frame["at"]):
        types["at"] = "datetime64[us, UTC]"
    return frame.astype(types)


def log_rows(file_or_folder: str | Path, faults: Faults) -> list[Row]:
    """The rows of a log file, parsed as far as they can be; none where there is no file yet.

    Cells that make no sense and rows that were cut off are noted in ``faults``. Raises `ScenarioError` for a
    file that cannot be read as a log at all.
    """
    data = _bytes_of(log_path(file_or_folder), faults)
    raw = raw_log(data, faults) if data else RawTable(LOG.name, tuple(LOG_COLUMNS), (), ())
    return parse_table(LOG, raw, faults)


def _shown(row: Row, column: str) -> object:
    if column == "at":
        text = row.text("at")
        try:
            return parse_when(text, None) if text else None
        except CellFault:
            return text  # PET, which only an egress can place
    return row.values.get(column)


def _bytes_of(path: Path, faults: Faults) -> bytes | None:
    try:
        with place_of(path.parent, path.name).open("rb") as stream:
            data = stream.read(fmt.MAX_FILE_BYTES + 1)
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        if isinstance(error, ScenarioError):
            raise
        problem = f"cannot be read: {reason_of(error)}"
        raise ScenarioError.single(problem, table=LOG.name, value=path) from None
    if len(data) > fmt.MAX_FILE_BYTES:
        faults.add(LOG.name, None, "", path, f"is larger than {fmt.MAX_FILE_BYTES:,} bytes; this is no log")
        faults.stop_if_any()
    return data


def raw_log(data: bytes, faults: Faults) -> RawTable:
    """A log file as text rows, each line by itself. Faults are noted; a cut line has no cells.

    A file saved by a spreadsheet may hold line ends inside quotation marks: such a file is read as a whole.
    """
    text = decode(data, LOG.name, faults)
    faults.stop_if_any()
    text = (text or "").replace("\r\n", "\n").removesuffix("\n")
    _stop_if_absurd(text, faults)
    lines = text.split("\n")
    records = _plain_cells(lines) or [_cells(line) for line in lines]
    if lines and any(record is None for record in records):
        whole = _cells_of_all(lines)
        records = whole if whole is not None else records
    header = tuple((records[0] if records else None) or ())
    if not any(cell.strip() for cell in header):
        faults.add(LOG.name, 1, "", "", f"has no header; the first row is {','.join(LOG_COLUMNS)}")
        faults.stop_if_any()
    numbered = [(number, record) for number, record in enumerate(records[1:], start=2)
                if record is None or any(record)]
    for number, record in numbered:
        if record is None or len(record) != len(header):
            faults.add(LOG.name, number, "", lines[number - 1] if number <= len(lines) else "",
                       "was cut off or has too many cells (an interrupted write, an unpaired quotation "
                       "mark): complete the row or delete it; the rows after it are whole")
    whole_rows = [(n, tuple(map(cell_text, r))) for n, r in numbered
                  if r is not None and len(r) == len(header)]
    return RawTable(LOG.name, header, tuple(r for _, r in whole_rows), tuple(n for n, _ in whole_rows))


def _stop_if_absurd(text: str, faults: Faults) -> None:
    """Lines are counted before they are split into cells; a header and a blank line are no rows."""
    most = fmt.most_rows(LOG.name)
    problem = absurd_text(text)
    if problem:
        faults.add(LOG.name, None, "", "", problem)
    elif text.count("\n") > most and sum(map(bool, text.split("\n"))) > most + 1:
        faults.add(LOG.name, None, "", "", f"has more than {most:,} rows; this is no log of one outing")
    faults.stop_if_any()


def _plain_cells(lines: list[str]) -> list[list[str] | None] | None:
    """All lines at once, where no quotation mark or line end in a cell can join or break any; else None."""
    if any('"' in line or "\r" in line for line in lines):
        return None
    try:
        return [*csv.reader(lines, strict=True)]
    except csv.Error:
        return None


def _cells(line: str) -> list[str] | None:
    if not line:
        return []
    try:
        return next(csv.reader([line], strict=True), [])
    except csv.Error:
        return None


def _cells_of_all(lines: list[str]) -> list[list[str] | None] | None:
    try:
        records = list(csv.reader([line + "\n" for line in lines], strict=True))
    except csv.Error:
        return None
    return [*records] if all(len(r) in (0, len(records[0])) for r in records) else None


@dataclass(frozen=True)
class Actuals:
    """What a log says: the events by time, corrections applied, and the egress (UTC) if it was logged."""

    events: tuple[Event, ...]
    egress: datetime | None


def read_actuals(actuals: object, planned_egress: datetime, faults: Faults) -> Actuals:
    """The events of a log: a file, a folder, or a DataFrame with at least ``step``, ``event`` and ``at``.

    Faults are noted; an event with one is left out.
    """
    if isinstance(actuals, Actuals):
        return actuals
    if isinstance(actuals, str | Path):
        data = _bytes_of(log_path(actuals), faults)
        if not data:
            raise ScenarioError.single("there is no log; append_log starts one", table=LOG.name,
                                       value=log_path(actuals))
        raw = raw_log(data, faults)
    elif isinstance(actuals, pd.DataFrame):
        raw = raw_of_frame(actuals, faults)
    else:
        raise ScenarioError.single("give a log: a file, its folder, or a DataFrame as read_log makes it",
                                   table=LOG.name, value=type(actuals).__name__)
    return actuals_of(parse_table(LOG, raw, faults), planned_egress, faults)


def raw_of_frame(frame: pd.DataFrame, faults: Faults) -> RawTable:
    """A log given as a DataFrame, as text rows; a frame that `read_log` made keeps the rows of its file."""
    raw = raw_from_frame(LOG, frame, None, faults)
    keeps_rows = frame.index.name == "row" and len(raw.rows) == len(frame)
    if not keeps_rows:
        return raw
    numbers = tuple(int(number) for number in frame.index)
    return RawTable(raw.name, raw.header, raw.rows, numbers)


def actuals_of(rows: list[Row], planned_egress: datetime | None, faults: Faults) -> Actuals:
    """Parsed rows as events by time. PET of a log without an egress is a fault where none is planned."""
    plain = with_corrections(rows, faults)
    called = [row for row in plain if row.text("event") == EGRESS]
    egress = _egress(called, planned_egress, faults)
    events = []
    for row in plain:
        moment = egress if row in called else _moment(row, egress or planned_egress, faults)
        if moment is not None and "event" in row.values:
            events.append(Event(row.number, row.text("event_id") or f"row {row.number}", row.text("event"),
                                row.text("crew"), row.text("step"), moment, row.number_of("remaining_min"),
                                row.number_of("metabolic_w"), row.text("note"), _logged_at(row)))
    return Actuals(tuple(by_time(events)), egress)


def _logged_at(row: Row) -> datetime | None:
    value = row.values.get("logged_at")
    return value if isinstance(value, datetime) else None


def _egress(called: list[Row], planned: datetime | None, faults: Faults) -> datetime | None:
    for row in called[1:]:
        faults.add(LOG.name, row.number, "event", EGRESS,
                   f"egress is logged in row {called[0].number} already; log it as correct instead")
    moment = _moment(called[0], planned, faults) if called else None
    if moment is not None and planned is not None and abs(moment - planned) > FARTHEST_EGRESS:
        faults.add(LOG.name, called[0].number, "at", called[0].text("at"),
                   f"lies {abs(moment - planned).days} days from the egress planned for "
                   f"{planned:%Y-%m-%d}: correct the date, or plan for that day first")
    return moment


def _moment(row: Row, egress: datetime | None, faults: Faults) -> datetime | None:
    text = row.text("at")
    try:
        if not text.strip():
            raise CellFault("is empty; say when it happened, in UTC or PET")
        return parse_when(text, egress)
    except CellFault as fault:
        faults.add(LOG.name, row.number, "at", text, str(fault))
        return None
