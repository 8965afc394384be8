"""A scenario in one spreadsheet file (.xlsx): a sheet a table, the settings, the orbit, and where to begin.

What headings and pick lists say is made from the format. Cells are text, but for numbers that a spreadsheet
holds exactly. A file may come from a stranger: the sizes of its parts are known before anything is parsed;
openpyxl gets only XML parts, each without a document type and with a bounded number of elements. Nothing is
computed, no link is followed, no macro is kept.
"""

import io
import re
import warnings
import zipfile
from base64 import b64decode, b64encode
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime, time, timedelta
from itertools import zip_longest
from pathlib import Path
from typing import Any

import tomlkit
from openpyxl import Workbook, load_workbook
from openpyxl.comments import Comment
from openpyxl.styles import Font, PatternFill
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.properties import PageSetupProperties

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault, did_you_mean
from planning_kit.inputs.faults import Faults, SaveConflict, ScenarioError
from planning_kit.inputs.fields import KIND_WORDS, Field, Table
from planning_kit.inputs.folder_files import digest_in, is_workbook
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.save import write_whole, writing
from planning_kit.inputs.setting_records import FrozenMapping
from planning_kit.inputs.settings import edited, parse_toml
from planning_kit.inputs.source import Checked, Source, check, content_digest, orbit_name_in
from planning_kit.inputs.times import moment_text, units_of
from planning_kit.inputs.typed_settings import free_value, keys_in, setting_fields, setting_text, value_typed
from planning_kit.inputs.typed_tables import is_writable, number_text, raw_from_texts

START = "start"
SETTINGS = Table("scenario", "the outing, its limits and suits, a key a row", ("key",), (
    Field("table", "text", f"the table of {fmt.SCENARIO_FILE} that the key stands in; empty: none"),
    Field("key", "text", "the key"), Field("value", "text", "what it says; empty: not given"),
    Field("source", "text", "where a limit comes from", may_be_absent=True),
    Field("unit", "text", "the unit of the value; not read", may_be_absent=True),
    Field("meaning", "text", "what the key means; not read", may_be_absent=True)))
ORBIT = Table("orbit", "the text of the orbit file, a line a row", ("line",), (
    Field("line", "text", "one line of the orbit file (OMM, OEM or two-line elements) as it was received"),))
MODELS = Table("models", "the files of models as text, in pieces; not for typing", (), (
    Field("file", "text", "the name of a .glb file that the sheet bodies names"),
    Field("base64", "text", "a piece of it, in base64 (RFC 4648); the pieces in their order")),
    may_be_absent=True)
SHEETS = (SETTINGS, ORBIT, *fmt.TABLES, MODELS)
_HOW = f"""An outing in one spreadsheet file
{fmt.CAUTION}
Fill in the sheets in the order below: each names what stands in those before it. Rows that are there may go.
The note on a heading says what the column means, its unit, and whether a cell may be empty.
Type values, no formulas. Times are UTC, such as 2031-05-14T11:20:00Z. In a list spaces stand between the ids.
Sheets and columns of your own begin with {fmt.FREE_PREFIX}.
Then, in a notebook: scenario = pk.load_scenario("THIS FILE"). What does not fit is told with its cell."""

_MOST_PARTS, _MOST_SHEETS = 500, 50
_MOST_TAGS, _MOST_OTHER_TAGS, _MOST_IN_A_ROW = 2_000_000, 50_000, 20_000
_TAG = re.compile(rb"<(?:[\w.-]+:)?([A-Za-z][\w.-]*)")
_ROW = re.compile(rb"<(?:[\w.-]+:)?(?:row|si)[\s/>]")
_CELL_TAGS = (b"row", b"c", b"v", b"is", b"t", b"si")
_ESCAPED = re.compile("_x([0-9A-Fa-f]{4})_")
_TO_ESCAPE = re.compile("_(?=x[0-9A-Fa-f]{4}_)|[\x00-\x08\x0b-\x1f\ufffe\uffff]")
_FORMAT_WORDS = re.compile(r'\[\$[^]]*\]|"[^"]*"|\\.')
_NUMBER = re.compile(r"0|-?[1-9][0-9]{0,8}|-?(0|[1-9][0-9]{0,8})\.[0-9]{0,4}[1-9]")  # comes back as it was
_WIDE = {"line": 100, "meaning": 100, "title": 32, "caution": 32, "objective": 32, "source": 24, "value": 24}
_PIECE = 8_000  # characters of a model's file in a cell
_ROOM = 300  # rows below the last one that pick lists reach
Places = dict[tuple[str, int, str], str]
"""The cell (``steps!F12``) of a table's row (0: none) and column."""


def write_workbook(path: Path, checked: Checked, known: Mapping[str, str]) -> None:
    """Write a workbook, in one act. Raises as `Scenario.write_workbook`; ``known`` as in `write_whole`."""
    if not is_workbook(path):
        raise ScenarioError.single(f"must be the name of a file that ends in {fmt.WORKBOOK}", value=path)
    data = workbook_bytes(checked)
    with writing(path.parent):
        if (before := digest_in(path.parent, path.name)) and before != known.get(path.name):
            raise SaveConflict.single("is there already, and was not read; choose another name", value=path)
        write_whole(path.parent, {path.name: data}, None)


def workbook_bytes(checked: Checked) -> bytes:
    """A workbook that says what ``checked`` says. Raises `ScenarioError` where a workbook cannot hold it."""
    book, out, sheets = Workbook(), io.BytesIO(), _sheets_of(checked.source)
    book.active.title = START
    for line in (*((how,) for how in _HOW.split("\n")), (), ("order", "sheet", "rows now", "holds")):
        book.active.append(line)
    for number, table in enumerate(SHEETS, start=1):
        book.worksheets[0].append((number, table.name, len(sheets[table.name].rows), table.about))
        if table is not MODELS or sheets[table.name].rows:
            _fill(book.create_sheet(table.name), table, sheets)
    for sheet in book.worksheets:  # on paper, as wide as a page
        sheet.page_setup.orientation, sheet.page_setup.fitToHeight = "landscape", 0
        sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    book.save(out)
    if content_digest(checked_workbook(out.getvalue(), "workbook")) != content_digest(checked):
        raise ScenarioError.single("says something that one spreadsheet file cannot hold (an empty table of "
                                   f"{fmt.SCENARIO_FILE}, a free key of another kind); save it as a folder")
    return out.getvalue()


def _sheets_of(source: Source) -> dict[str, RawTable]:
    """Every sheet as a text table, with all columns of the format."""
    sheets = {}
    for table in fmt.TABLES:
        raw = source.tables.get(table.name, RawTable(table.name))
        more = [name for name in table.by_name if name not in raw.header]
        sheets[table.name] = RawTable(table.name, (*raw.header, *more),
                                      tuple((*row, *("" for _ in more)) for row in raw.rows))
    given, known, rows = keys_in(source.toml), setting_fields(), []
    for key in dict.fromkeys((*known, *given)):
        (where, _, name), value, field = key.rpartition("."), given.get(key), known.get(key)
        if field is None:
            rows.append((where, name, tomlkit.item(value).as_string(), "", "", "a free key"))
        elif not name.endswith(fmt.SOURCE_SUFFIX) and (value is not None or not where.startswith("suit.EV")):
            rows.append((where, name, setting_text(value), setting_text(given.get(key + fmt.SOURCE_SUFFIX)),
                         field.unit, f"{field.about}{' (needed)' * field.needed}"))
    lines = tuple((line,) for line in source.orbit.decode("utf-8-sig").splitlines())
    pieces = ((name, b64encode(data).decode()) for name, data in source.models.items())
    models = [(name, text[at:at + _PIECE]) for name, text in pieces for at in range(0, len(text), _PIECE)]
    return sheets | {MODELS.name: RawTable(MODELS.name, tuple(MODELS.by_name), tuple(models)),
                     ORBIT.name: RawTable(ORBIT.name, ("line",), lines),
                     SETTINGS.name: RawTable(SETTINGS.name, tuple(SETTINGS.by_name), tuple(rows))}


def _fill(sheet: Any, table: Table, sheets: Mapping[str, RawTable]) -> None:
    """A sheet with headings, notes, text columns and pick lists."""
    raw, known = sheets[table.name], setting_fields()
    sheet.freeze_panes = "D2" if table is SETTINGS else "B2"
    for at, name in enumerate(raw.header, start=1):
        field, letter = table.by_name.get(name), get_column_letter(at)
        head = _put(sheet.cell(1, at), name, None)
        head.font, head.fill = Font(bold=True), PatternFill("solid", fgColor="FFE9EBEE")
        sheet.column_dimensions[letter].width = _WIDE.get(name, len(name) + 4)
        if field is None or not field.is_number:
            sheet.column_dimensions[letter].number_format = "@"
        if field is not None:
            allowed = (*field.choices, *field.words, *(f"of the sheet {each}" for each in field.refers_to))
            head.comment = Comment("\n".join(filter(None, (
                field.about, field.unit and f"Unit: {' or '.join(units_of(field.unit)) or field.unit}",
                KIND_WORDS[field.kind], ", ".join(allowed),
                "A value must be given." if field.needed else "May be empty."))), "planning_kit", 140, 320)
            _add_pick_list(sheet, f"{letter}2:{letter}{len(raw.rows) + _ROOM}", field, sheets)
        for row, cells in enumerate(raw.rows, start=2):
            if table is SETTINGS and name == "value":
                field = known.get(".".join(filter(None, cells[:2])))
                _add_pick_list(sheet, f"{letter}{row}", field or Field("", "text", ""), sheets)
            if cells[at - 1]:
                _put(sheet.cell(row, at), cells[at - 1], field)


def _put(cell: Any, text: str, field: Field | None) -> Any:
    """One cell: text is marked as text, so that nothing that looks like a formula is one."""
    if field is not None and field.is_number and _NUMBER.fullmatch(text):
        cell.value = float(text)
        return cell
    cell.value = _TO_ESCAPE.sub(lambda match: f"_x{ord(match[0]):04X}_", text)
    cell.data_type, cell.number_format = "s", "@"
    cell.quotePrefix = text[:1] in tuple("=+-@\t\r")  # stays text when someone edits the cell
    return cell


def _add_pick_list(sheet: Any, cells: str, field: Field, sheets: Mapping[str, RawTable]) -> None:
    """What may be picked; only where nothing else is allowed is all else refused."""
    words = field.choices or (("yes", "no") if field.kind == "yes_no" else ())
    if words or field.refers_to == ("crew", "actors"):
        formula = f'"{",".join(words or (*fmt.SUITED, *field.words))}"'
    elif field.refers_to or field.kind == "moves":
        target = fmt.TABLE_BY_NAME[(*field.refers_to, "hardware")[0]]
        raw = sheets[target.name]
        letter = get_column_letter(raw.header.index(target.key[0]) + 1)
        formula = f"{target.name}!${letter}$2:${letter}${len(raw.rows) + _ROOM}"
    else:
        return
    rule = DataValidation("list", formula1=formula, allow_blank=True, showErrorMessage=bool(words))
    rule.add(cells)
    sheet.add_data_validation(rule)


def checked_workbook(data: bytes, name: str) -> Checked:
    """What the bytes of a workbook say. Raises `ScenarioError` with every fault and its cell."""
    faults, places, tables, unreadable = Faults(), Places(), dict[str, RawTable](), set[str]()
    own = (START, *(table.name for table in SHEETS))
    with _damage_told(name):
        book = load_workbook(safe_parts(data), read_only=True, keep_links=False)
        sheets = {sheet.title: sheet for sheet in book.worksheets}
        for each in sheets:
            if each not in own and not each.startswith(fmt.FREE_PREFIX):
                faults.of_file(each, "is no sheet of a scenario; free sheets begin with "
                               f"{fmt.FREE_PREFIX}{did_you_mean(each, own)}")
        for table in SHEETS:
            try:
                raw = _table(table, sheets.get(table.name), places, faults)
                tables |= {} if raw is None else {table.name: raw}
            except CellFault as fault:
                unreadable.add(table.name)
                faults.add(table.name, *fault.where, str(fault))
    try:
        toml = _toml(tables.pop(SETTINGS.name, RawTable("")), places, faults)
        orbit_name, lines = orbit_name_in(parse_toml(toml, Faults())), tables.pop(ORBIT.name, RawTable(""))
        texts = dict(zip(lines.row_numbers, (row[0] for row in lines.rows), strict=True))
        orbit = "\n".join(texts.get(number, "") for number in range(2, max(texts, default=0) + 1)).encode()
        places |= {(orbit_name, number - 1, ""): f"{ORBIT.name}!A{number}" for number in texts}
        places[orbit_name, 0, ""] = f"{ORBIT.name}!A2 and below"
        models = _models(tables.pop(MODELS.name, RawTable("")), faults)
        source = Source(toml, FrozenMapping(tables), orbit_name, orbit, models=FrozenMapping(models))
        return check(source, None, faults, unreadable)
    except ScenarioError as error:
        problems = error.problems
    keys = zip(problems["table"], problems["row"].fillna(0), problems["column"], strict=True)
    cells = [places.get((table, row, column)) or places.get((table, row, "")) for table, row, column in keys]
    told = [f"{problem} (cell {cell})" if cell else problem
            for problem, cell in zip(problems["problem"], cells, strict=True)]
    is_again = problems.duplicated(["table", "column"]) & (problems["table"] == fmt.SCENARIO_FILE)
    raise ScenarioError(problems.assign(problem=told)[~is_again].reset_index(drop=True))


def _models(sheet: RawTable, faults: Faults) -> dict[str, bytes]:
    """The files of the sheet of models, pieces of one put together."""
    texts = dict[str, str]()
    for row in sheet.rows:
        name, piece = (dict(zip(sheet.header, row, strict=True)).get(column, "") for column in MODELS.by_name)
        texts[name] = texts.get(name, "") + piece
    found = {}
    for name, text in texts.items():
        try:
            found[name] = b64decode(text, validate=True)
        except ValueError:
            faults.add(MODELS.name, None, "base64", name, "is no file as base64; save the workbook anew")
    return found


@contextmanager
def _damage_told(name: str) -> Iterator[None]:
    """What is no plain workbook of a sane size, as a `ScenarioError`: damaged parts break a reader anyhow."""
    try:
        with warnings.catch_warnings(action="ignore"):  # of what is left out on purpose, such as validations
            yield
    except ScenarioError:
        raise
    except Exception as error:
        problem = str(error) if isinstance(error, CellFault) else (
            f"is damaged, encrypted or no workbook ({type(error).__name__}); save it again as .xlsx")
        raise ScenarioError.single(problem, table=name) from None


def safe_parts(data: bytes) -> io.BytesIO:
    """The workbook with its XML parts only, once none of them is one that no parsing should be tried on."""
    tags, safe = Counter[bytes](), io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as given, zipfile.ZipFile(safe, "w") as kept:
        parts = {part.filename: part for part in given.infolist()}
        if any(part.flag_bits & 1 or "vbaproject" in name.lower() for name, part in parts.items()):
            raise CellFault("is encrypted or holds macros; save it as .xlsx, without a password")
        if len(parts) > _MOST_PARTS or sum(part.file_size for part in parts.values()) > fmt.MAX_FILE_BYTES:
            raise CellFault(f"has more than {_MOST_PARTS} parts or {fmt.MAX_FILE_BYTES:,} bytes unpacked")
        for name in (each for each in parts if each.lower().endswith((".xml", ".rels"))):
            part = given.read(parts[name])
            tags.update(match[1] for match in _TAG.finditer(part))
            others = tags.total() - sum(tags[each] for each in _CELL_TAGS)
            is_cells = name.startswith(("xl/worksheets/", "xl/shared"))
            is_absurd = (len(part) > fmt.MAX_TEXT_BYTES and not is_cells) or (
                tags.total() > _MOST_TAGS or others > _MOST_OTHER_TAGS or tags[b"sheet"] > _MOST_SHEETS
                or max(row.count(b"<") for row in _ROW.split(part)) > _MOST_IN_A_ROW)
            if is_absurd or b"\0" in part or b"<!DOCTYPE" in part:
                raise CellFault(f"its part {name[:80]!r} is too large (cells in a row, formats, sheets), has "
                                "a document type or is not UTF-8; delete what is no part of the scenario")
            kept.writestr(name, part)
    return safe


def _table(table: Table, sheet: Any, places: Places, faults: Faults) -> RawTable | None:
    """One sheet as a text table; None where it may be absent and says nothing. Raises `CellFault`."""
    if sheet is None and table.may_be_absent:
        return None
    rows, head = dict[int, tuple[str, ...]](), tuple[str, ...]()
    most = fmt.MAX_LINES if table is ORBIT else fmt.most_rows(table.name)
    if sheet is not None:
        sheet.reset_dimensions()  # what the file says of its size is not believed
    for number, row in enumerate(sheet.iter_rows() if sheet else (), start=1):
        width = max((at for at, cell in enumerate(row, 1) if cell.value not in (None, "")), default=0)
        if number > fmt.MAX_LINES or len(rows) > most or width > fmt.MAX_COLUMNS:
            raise CellFault(f"has more than {most:,} rows, or {fmt.MAX_COLUMNS} columns", number)
        if not width:
            continue
        if number > 1 and not set(head) & {*table.by_name}:
            raise CellFault("the first row of the sheet does not hold the column names", 1)
        texts = []
        for at, (cell, column) in enumerate(zip_longest(row[:width], head), start=1):
            name = column if column is not None else "" if number > 1 else str(cell.value or "")
            places[table.name, number, name] = f"{table.name}!{get_column_letter(at)}{number}"
            try:
                texts.append(_text(cell, table.by_name.get(name) if number > 1 else None))
                if number > 1 and column is None and texts[-1]:
                    raise CellFault("stands in a column without a name")
            except CellFault as fault:
                faults.add(table.name, number, name, cell.value, str(fault))
                texts.append("")
        head = tuple(texts) if number == 1 else head
        if any(texts):
            rows[number] = tuple(texts[:len(head)])
    if 1 not in rows or (table in SHEETS[:2] and table.fields[0].name not in head):
        raise CellFault("there is no such sheet, or its first row does not hold the column names")
    del rows[1]
    if table.may_be_absent and not rows and set(head) <= set(table.by_name):
        return None
    return raw_from_texts(table, head, list(rows.values()), None, tuple(rows))


def _text(cell: Any, field: Field | None) -> str:
    """A cell as the format would have it. Raises `CellFault` where it may not be what was typed any more.

    In a free column (no field), and among settings, whatever a spreadsheet made of it will do.
    """
    value, kind = getattr(cell, "value", None), field.kind if field else ""
    if value is None:
        return ""
    if cell.data_type in ("f", "e"):
        raise CellFault("is a formula, or its error, and none is computed here; put its value in its place")
    if isinstance(value, str):
        text = _ESCAPED.sub(lambda match: chr(int(match[1], 16)), value)
        if len(text) > fmt.MAX_CELL_CHARS or not is_writable(text):
            raise CellFault(f"holds more than {fmt.MAX_CELL_CHARS:,} characters, or one no text may hold")
        return text
    if isinstance(value, bool):
        text, fits = "yes" if value else "no", kind == "yes_no"
    elif isinstance(value, int | float):
        text, fits = number_text(value), (field is not None and field.is_number) or (
            float(value).is_integer() and abs(value) < 1e15)
    else:
        text, fits = time_text(value, cell.number_format), kind in ("moment", "datetime", "number", "count")
    if not (fits or field is None or field in SETTINGS.fields):
        raise CellFault(f"the spreadsheet made {text} of it; format the cell as text and type it again")
    return text


def time_text(value: Any, number_format: str) -> str:
    """A date and time as UTC, a time or a duration as PET; a date without a time of day as just that."""
    if isinstance(value, datetime):
        has_time = value.time() != time() or "h" in _FORMAT_WORDS.sub("", number_format).lower()
        return moment_text(value.replace(tzinfo=UTC)) if has_time else value.date().isoformat()
    if isinstance(value, time):
        value = datetime.combine(datetime.min, value) - datetime.min
    if not isinstance(value, timedelta):
        return str(value)
    sign, seconds = "-" if value < timedelta() else "", round(abs(value).total_seconds(), 3)
    rest = f":{seconds % 60:06.3f}".rstrip("0").rstrip(".") if seconds % 60 else ""
    return f"{sign}{int(seconds // 3600)}:{int(seconds // 60 % 60):02d}{rest}"


def _toml(settings: RawTable, places: Places, faults: Faults) -> bytes:
    """The sheet of settings as ``scenario.toml``."""
    values, known = dict[str, object](), setting_fields()
    for number, row in zip(settings.row_numbers, settings.rows, strict=True):
        cells = dict(zip(settings.header, row, strict=True))
        name = ".".join(filter(None, (cells.get("table", "").strip(), cells.get("key", "").strip())))
        for key, column in ((name, "value"), (f"{name}{fmt.SOURCE_SUFFIX}", "source")):
            if place := places.get((settings.name, number, column)):
                places.setdefault((fmt.SCENARIO_FILE, 0, key), place)
            text = cells.get(column, "")
            try:
                if text and key in values:
                    raise CellFault("stands twice in the sheet; keep one")
                if text:
                    values[key] = value_typed(text, known[key]) if key in known else free_value(text)
            except CellFault as fault:
                faults.add(fmt.SCENARIO_FILE, None, key, text, str(fault))
    return edited("", values, faults).encode("utf-8", "surrogatepass")
