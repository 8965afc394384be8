"""A scenario folder as bytes and text tables, before any meaning is read into the cells.

Cells of CSV files are quoted as RFC 4180 has it, and marked where a spreadsheet would compute them.
"""

import csv
import io
import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.fields import Table
from planning_kit.inputs.folder_files import FolderFiles, is_model_name, read_settled

_FORMULA = re.compile(r"\s*[=+\-@＝＋－＠]|[\t\r]")
MARK = "'"


def is_live(cell: str) -> bool:
    """Whether a spreadsheet would compute the cell instead of showing it."""
    if not _FORMULA.match(cell):
        return False
    try:
        float(cell)
    except ValueError:
        return True
    return False


def csv_cell(text: str) -> str:
    """The text as a cell of a file: marked where it, less its apostrophes, is live; quoted where needed."""
    # Apostrophes before a live text count, too: each is taken off once when the cell is read.
    marked = MARK + text if is_live(text.lstrip(MARK)) else text
    if any(mark in marked for mark in ',"\r\n'):
        return '"' + marked.replace('"', '""') + '"'
    return marked


def csv_row(texts: Iterable[str]) -> str:
    """Texts as one row of a file, without its line end."""
    return ",".join(map(csv_cell, texts))


def cell_text(cell: str) -> str:
    """What was typed into a cell that was read from a file (its quotes are off): the other way round."""
    return cell[1:] if cell.startswith(MARK) and is_live(cell.lstrip(MARK)) else cell


BOM = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class RawTable:
    """One table as text. ``data`` are the file's bytes while rows and header are exactly that file's, and
    none of its cells is one that a spreadsheet would compute.

    ``ragged``: row numbers whose count of cells differs from the header's (already a fault). ``newline`` and
    ``has_bom`` say how the file was written, so that a save keeps to it.
    """

    name: str
    header: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    row_numbers: tuple[int, ...] = ()
    data: bytes | None = None
    newline: str = "\n"
    has_bom: bool = False
    ragged: frozenset[int] = frozenset()


def read_files(files: FolderFiles, faults: Faults) -> dict[str, bytes | None]:
    """The bytes of ``scenario.toml`` and of every table of the format; None, with a fault, where that failed.

    A file that may be absent and is has no entry; one that is taken from the folder of a campaign, just
    above, has one under its name behind `format.ABOVE`.
    """
    found = {fmt.SCENARIO_FILE: files.read(fmt.SCENARIO_FILE, faults)}
    missing = [table.file for table in fmt.TABLES if not files.has(table.file)]
    found |= (above := _files_above(files.folder, missing, faults))
    for table in fmt.TABLES:
        if table.file not in missing or not (table.may_be_absent or fmt.ABOVE + table.file in above):
            found[table.file] = files.read(table.file, faults)
    return found


def _files_above(folder: Path, missing: Iterable[str], faults: Faults) -> dict[str, bytes | None]:
    """The shared tables that a folder lacks, and its campaign has: looked for one level up, nowhere else."""
    # As the folder really lies: above a link there is another one.
    campaign = Path(os.path.realpath(folder)).parent
    wanted = [table.file for table in fmt.SHARED_TABLES if table.file in missing]
    if not wanted or not os.path.lexists(campaign / fmt.CAMPAIGN_FILE):
        return {}

    def read(files: FolderFiles) -> tuple[dict[str, bytes | None], Faults]:
        wrong = Faults()
        return {fmt.ABOVE + name: files.read(name, wrong) for name in wanted if files.has(name)}, wrong

    try:
        found, wrong = read_settled(campaign, read)
    except ScenarioError as error:
        faults.of_file(fmt.ABOVE + fmt.CAMPAIGN_FILE, error.words)
        return {}
    for row in wrong.rows:
        faults.of_file(fmt.ABOVE + str(row["table"]), str(row["problem"]))
    return found


def model_names(bodies: RawTable | None) -> list[str]:
    """The model files that a table of bodies names, no more of them than are read."""
    if bodies is None or "model" not in bodies.header:
        return []
    at = bodies.header.index("model")
    named = dict.fromkeys(row[at].strip() for row in bodies.rows)
    return [name for name in named if is_model_name(name)][:fmt.MAX_MODELS + 1]


def read_models(files: FolderFiles, bodies: RawTable | None) -> dict[str, bytes | str]:
    """The bytes of the files that bodies name, or in words why there are none; missing ones are left out."""
    found: dict[str, bytes | str] = {}
    for name in model_names(bodies):
        wrong = Faults()
        if files.has(name):
            data = files.read(name, wrong)
            found[name] = str(wrong.rows[0]["problem"]) if data is None else data
    return found


def decode(data: bytes) -> str:
    """UTF-8 text of ``data`` without its byte order mark. Raises `CellFault`."""
    try:
        text = data.removeprefix(BOM).decode("utf-8")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise CellFault(f"is not UTF-8 text (line {line} of the file); save it as UTF-8") from None
    if "\0" in text:
        raise CellFault("holds NUL characters; this is no text file")
    return text


def read_tables(files: Mapping[str, bytes | None], faults: Faults,
                known: Iterable[Table] = fmt.TABLES) -> dict[str, RawTable]:
    """Every ``known`` table that ``files`` hold and that can be split into rows; faults of the others."""
    tables = {}
    for table in known:
        try:
            if (data := files.get(table.file, files.get(fmt.ABOVE + table.file))) is not None:
                tables[table.name] = read_table(table, data, faults)
        except CellFault as fault:
            faults.add(table.name, *fault.where, str(fault))
    return tables


def read_table(table: Table, data: bytes, faults: Faults) -> RawTable:
    """Split one CSV file (RFC 4180) into header and rows. Raises `CellFault` where that fails."""
    text = decode(data)
    stop_if_absurd(text)
    records = _records(table, text)
    if not records or records[0][0] > 1 or not any(cell.strip() for cell in records[0][1]):
        raise CellFault("has no header; the first row holds the column names", 1)
    header, numbered = tuple(records[0][1]), records[1:]
    width = len(header)
    if width == 1 and any(mark in header[0] for mark in ";\t"):
        raise CellFault("the cells are not separated by commas; save the table as comma-separated values", 1,
                        header[0], header[0])
    ragged = {number: len(row) for number, row in numbered if len(row) != width}
    for number, count in ragged.items():
        faults.add(table.name, number, "", "", f"has {count} cells where the header has {width}; "
                   "put text that holds a comma into quotation marks")
    # Ragged rows are cut or filled up, so that their keys can still be read; the rest of them is not.
    rows = tuple(tuple(cell_text(cell) for cell in (row + [""] * width)[:width]) for _, row in numbered)
    # Bytes with a live cell are not kept: a save then writes the table anew, with the cell marked.
    is_harmless = not any(is_live(cell) for _, row in numbered for cell in row)
    return RawTable(table.name, header, rows, tuple(number for number, _ in numbered),
                    data=data if is_harmless else None, newline="\r\n" if "\r\n" in text else "\n",
                    has_bom=data.startswith(BOM), ragged=frozenset(ragged))


def _records(table: Table, text: str) -> list[tuple[int, list[str]]]:
    """The rows that are not blank, with their numbers. Raises `CellFault` at the first of an absurd size."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    records: list[tuple[int, list[str]]] = []
    number = 0
    try:
        for number, record in enumerate(reader, start=1):
            if not any(record):
                continue
            if len(records) > fmt.most_rows(table.name):
                raise CellFault(f"has more than {fmt.most_rows(table.name):,} rows")
            if len(record) > fmt.MAX_COLUMNS:
                raise CellFault(f"has more than {fmt.MAX_COLUMNS} columns", number, value=len(record))
            if longest := next((cell for cell in record if len(cell) > fmt.MAX_CELL_CHARS), ""):
                raise CellFault(f"a cell holds more than {fmt.MAX_CELL_CHARS:,} characters", number,
                                value=longest)
            records.append((number, record))
    except csv.Error as error:
        raise CellFault(f"is not CSV as RFC 4180 has it ({error}); look for an unpaired quotation mark",
                        number + 1) from None
    return records


def stop_if_absurd(text: str) -> None:
    """Raise `CellFault` for the text of a table that no splitting into cells should be tried on."""
    most = fmt.MAX_COLUMNS * fmt.MAX_CELL_CHARS
    if max(text.count("\n"), text.count("\r")) > fmt.MAX_LINES:
        raise CellFault(f"has more than {fmt.MAX_LINES:,} lines; delete the empty ones")
    if len(text) > most and max(map(len, text.split("\n"))) > most:
        raise CellFault(f"has a line of more than {most:,} characters")


def table_bytes(table: RawTable) -> bytes:
    """The file of ``table``: its own bytes if it came from one unchanged, else CSV without a live formula."""
    if table.data is not None:
        return table.data
    lines = (csv_row(row) + table.newline for row in (table.header, *table.rows))
    return (BOM if table.has_bom else b"") + "".join(lines).encode("utf-8")
