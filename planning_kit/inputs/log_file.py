"""The file of a log: its bytes, its lines, and how it is opened and written to.

Each line is read alone: a line that was cut off (a full disk, a dead machine) damages no other.
"""

import contextlib
import csv
import os
import re
import stat
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.folder_files import place_of, system_errors_told
from planning_kit.inputs.log_format import FORMAT_1_PET_ZERO, LOG, LOG_COLUMNS, PET_ZERO
from planning_kit.inputs.raw import BOM, RawTable, cell_text, decode, stop_if_absurd
from planning_kit.inputs.save import locked, name_of

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
    """A log file as text rows (see `split_log`). Raises `ScenarioError` for one of format 1, too."""
    lines = split_log(data, faults)
    at = lines.table.header.index("event") if "event" in lines.table.header else None
    for number, row in zip(lines.table.row_numbers, lines.table.rows, strict=True):
        if at is not None and row[at] == FORMAT_1_PET_ZERO:
            raise ScenarioError.single(
                f"is what format 1 called {PET_ZERO}: write {PET_ZERO} in this cell, or have the whole "
                "folder upgraded (python -m planning_kit.inputs.upgrade FOLDER)", table=LOG.name, row=number,
                column="event", value=FORMAT_1_PET_ZERO)
    return lines


def split_log(data: bytes, faults: Faults) -> LogLines:
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
