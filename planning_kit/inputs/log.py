"""A log: its file, its rows, and the events that they come to, with every fault that it can have by itself.

Between the two stand corrections. A row of the kind ``correct`` names an earlier row (``corrects``). What it
gives replaces what was there; where it gives nothing, that row is withdrawn. A correction can be corrected,
or withdrawn, like any other row: then what it said before no longer counts. Of several corrections of one row
the later come on top.

Each line is read alone: a line that was cut off (a full disk, a dead machine) damages no other.
"""

import contextlib
import csv
import os
import re
import stat
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import pandas as pd

from planning_kit.inputs import format as fmt
from planning_kit.inputs import log_format
from planning_kit.inputs.cells import CellFault, did_you_mean
from planning_kit.inputs.faults import Faults, ScenarioError, as_path
from planning_kit.inputs.folder_files import place_of, stop_if_workbook, system_errors_told
from planning_kit.inputs.log_format import CORRECT, LOG, LOG_COLUMNS, PET_ZERO, Event, by_time, parse_when
from planning_kit.inputs.raw import BOM, RawTable, cell_text, decode, stop_if_absurd
from planning_kit.inputs.save import locked, name_of
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.typed_tables import Row, parse_table, raw_from_frame

# Bytes that are no UTF-8 become lone surrogates (PEP 383), which no UTF-8 text holds.
_DAMAGED = re.compile("[\0\udc80-\udcff]")
_ROW_START = re.compile('"?e[0-9]{1,9}"?,')
_CUT = ("was cut off, has too many cells or is no text (an interrupted write, an unpaired quotation mark): "
        "complete the row or delete it; the rows after it are whole")


def log_bytes(path: Path) -> bytes | None:
    """What the file holds, up to one byte too many; None where there is none. Raises `ScenarioError`."""
    with (system_errors_told("cannot be read", table=LOG.name, value=path),
          contextlib.suppress(FileNotFoundError)):
        place = place_of(path.parent, path.name)
        _stop_unless_plain(place)
        with place.open("rb") as stream:
            return stream.read(fmt.MAX_FILE_BYTES + 1)
    return None


def _stop_unless_plain(place: Path) -> None:
    """Raise `ScenarioError` for a pipe, a device or a folder: to open one could take for ever."""
    if not stat.S_ISREG(place.stat().st_mode):
        raise ScenarioError.single("is not a plain file; give a log file or its folder", table=LOG.name,
                                   value=place)


@dataclass(frozen=True)
class LogLines:
    """A log as text. ``cut``: by their numbers, the rows that are not whole; ``table`` holds the others."""

    table: RawTable
    cut: dict[int, str]


def log_lines(data: bytes, faults: Faults) -> LogLines:
    """A log file as text rows, each line by itself; a cut line is a fault. No bytes: no rows.

    A spreadsheet may save line ends inside quotation marks: lines are joined where that makes a whole row and
    no line within looks like a row of its own.
    """
    if not data:
        return LogLines(RawTable(LOG.name, tuple(LOG_COLUMNS)), {})
    lines = log_text(data).split("\n")
    header = tuple(_cells(lines[0]) or ())
    try:
        if _DAMAGED.search(lines[0]):
            decode(data.partition(b"\n")[0])
        if not any(cell.strip() for cell in header):
            raise CellFault(f"has no header; the first row is {','.join(LOG_COLUMNS)}", 1)
    except CellFault as fault:
        raise ScenarioError.single(str(fault), table=LOG.name, row=fault.where[0]) from None
    rows, cut = {}, {}
    for number, (line, cells) in enumerate(_rows_of(lines, len(header)), start=2):
        if cells is None or (len(cells) != len(header) and any(cells)):
            cut[number] = line
            shown = line.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
            faults.add(LOG.name, number, "", shown, _CUT)
        elif any(cells):
            rows[number] = tuple(map(cell_text, cells))
    return LogLines(RawTable(LOG.name, header, tuple(rows.values()), tuple(rows)), cut)


def log_text(data: bytes) -> str:
    """The text of a log file, lone surrogates for what is no UTF-8.

    Raises `ScenarioError` for a file larger, or with more lines or rows, than a log may be. Lines are counted
    before they are split into cells; a header and a blank line are no rows.
    """
    most = fmt.most_rows(LOG.name)
    try:
        if len(data) > fmt.MAX_FILE_BYTES:
            raise CellFault(f"is larger than {fmt.MAX_FILE_BYTES:,} bytes; this is no log")
        plain = data.removeprefix(BOM).replace(b"\r\n", b"\n").removesuffix(b"\n")
        text = plain.decode("utf-8", "surrogateescape")
        stop_if_absurd(text)
        if text.count("\n") > most and sum(map(bool, text.split("\n"))) > most + 1:
            raise CellFault(f"has more than {most:,} rows; this is no log of one outing")
    except CellFault as fault:
        raise ScenarioError.single(str(fault), table=LOG.name) from None
    return text


def _rows_of(lines: Sequence[str], width: int) -> Iterator[tuple[str, list[str] | None]]:
    """The rows after the header, each with its (first) line; None for the cells of one that is not whole."""
    at = 1
    while at < len(lines):
        line, cells, count = lines[at], _cells(lines[at]), 1
        if cells is None and '"' in line:
            joined, more = _joined(lines, at, width)
            if joined is not None and len(joined) == width:
                cells, count = joined, more
        yield line, cells
        at += count


def _joined(lines: Sequence[str], at: int, width: int) -> tuple[list[str] | None, int]:
    """One row that begins in a line and ends in a later one, if there is such a row, and its count of lines.

    A line that could be a row of its own is not joined: what was logged does not vanish in the note of
    another row, which was cut off after a quotation mark.
    """
    taken = 0  # lines that the reader has asked for, beyond the first

    def following() -> Iterator[str]:
        nonlocal taken
        yield lines[at] + "\n"
        for taken in range(1, len(lines) - at):
            line = lines[at + taken]
            if _DAMAGED.search(line) or _ROW_START.match(line) or len(_cells(line) or ()) == width:
                return
            yield line + "\n"

    try:
        return next(csv.reader(following(), strict=True), None), taken + 1
    except csv.Error:
        return None, 1


def _cells(line: str) -> list[str] | None:
    if not line:
        return []
    if _DAMAGED.search(line):
        return None
    if '"' not in line and "\r" not in line and len(line) <= fmt.MAX_CELL_CHARS:
        return line.split(",")
    try:
        return next(csv.reader([line], strict=True), [])
    except csv.Error:
        return None


# Writing


@contextlib.contextmanager
def opened(path: Path) -> Iterator[int]:
    """The log file, open for appending, with the locks held of its folder and of the one where it lies.

    These differ where ``log.csv`` is a link into a subfolder: the first keeps off a save of the scenario, the
    second whoever logs under the other name.
    """
    with contextlib.ExitStack() as held:
        try:
            place = place_of(path.parent, path.name)
            folders = {name_of(folder): folder for folder in (path.parent, place.parent)}
            for _, folder in sorted(folders.items()):  # in one order, so that no two wait for each other
                held.enter_context(locked(folder))
            if place_of(path.parent, path.name) != place:
                raise ScenarioError.single("now lies elsewhere; nothing was logged, try again", value=path)
            with contextlib.suppress(FileNotFoundError):
                _stop_unless_plain(place)
            handle = os.open(place, os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0), 0o666)
        except (OSError, ValueError) as error:
            if isinstance(error, ScenarioError):
                raise
            raise ScenarioError.single(f"cannot be opened: {error}; give a log file or its folder",
                                       table=LOG.name, value=path) from None
        held.callback(os.close, handle)
        yield handle


def all_of(handle: int, path: Path) -> bytes:
    """All bytes, or so many that they are too many for a log."""
    data = b""
    with system_errors_told("cannot be read", "; nothing was logged", table=LOG.name, value=path):
        os.lseek(handle, 0, os.SEEK_SET)
        while len(data) <= fmt.MAX_FILE_BYTES and (part := os.read(handle, fmt.MAX_FILE_BYTES + 1)):
            data += part
    return data


def write(handle: int, size: int, rows: bytes, event: str) -> None:
    """One write at the end of the file, flushed; a write that did not fit is taken back."""
    try:
        if os.write(handle, rows) != len(rows):
            raise OSError("no room for all that is to be written")
        os.fsync(handle)
    except OSError as error:
        with contextlib.suppress(OSError):
            os.ftruncate(handle, size)
        raise ScenarioError.single(f"was not logged: {error}; nothing was changed", table=LOG.name,
                                   value=event) from None


# Rows and events


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
