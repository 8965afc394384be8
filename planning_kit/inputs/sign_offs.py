"""Reviewers' notes, sign-offs and acceptances: text files beside the scenario, which are only ever added to.

``sign_offs.toml`` holds one table ``[[review]]`` an entry. It grows under the folder's lock: of two who sign
off at once both stand.
An entry names the digest of the scenario that was looked at; where the scenario says something else now, the
entry is stale. It is a record among colleagues, no signature: anyone who can write the folder can write it.

``accepted.csv`` is no part of the scenario: no digest counts it and no save writes it. It is read each time
that it is asked for, so that a row that was deleted counts no longer.
Whether a row still holds is judged in `planning_kit.judge.acceptances`.
"""

import math
import re
import tomllib
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Annotated

import pandas as pd
import tomlkit

from planning_kit.inputs.cells import CellFault, parse_moment
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.fields import Table, column, columns_of
from planning_kit.inputs.folder_files import FolderFiles, digest_of, folder_is_there, read_settled
from planning_kit.inputs.format import ABOVE, ACCEPTED_FILE, FORMAT, SIGN_OFFS_FILE, most_bytes
from planning_kit.inputs.raw import RawTable, csv_row, read_tables
from planning_kit.inputs.save import write_whole, writing
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.typed_tables import Row, number_text, parse_table
from planning_kit.inputs.utc import as_utc

REVIEW_COLUMNS = ["kind", "by", "at", "about", "words", "state", "digest"]
SIGN_OFF, NOTE = "sign-off", "note"
CURRENT, STALE = "current", "stale: the scenario has changed since"
SIGNED_IN_FORMAT_1 = "stale: signed in format 1; look at what format 2 asks for, then sign again"
_HEADER = """\
# Notes and sign-offs of reviewers, newest last. Each is tied to the digest of the scenario that was reviewed;
# it is stale when the scenario says something else. Add to this file, change nothing in it.
"""
_LONGEST = 10_000
_MOMENT, _EXAMPLE = "%Y-%m-%dT%H:%M:%SZ", "2031-05-14T11:20:00Z"
_DIGEST = re.compile("[0-9a-f]{64}")
_LINE_ENDS = re.compile("\r\n?")
_KEYS = ("kind", "by", "at", "about", "words", "digest")
_FORMAT_KEY = "format"  # a digest is one of a format; entries made in format 1 do not name it


@dataclass(frozen=True)
class Reviewed:
    """What is reviewed: a scenario's folder, digest and files, and the digests of what was on disk."""

    folder: Path
    digest: str
    files: Mapping[str, bytes]
    on_disk: Mapping[str, str]


def reviews_table(folder: Path, digest: str) -> pd.DataFrame:
    """All reviews in a scenario's folder, as ``Scenario.reviews`` gives them.

    Raises `ScenarioError` where the file cannot be read.
    """
    states = {digest: CURRENT}
    rows = [(entry["kind"], entry["by"], entry["at"], entry["about"], entry["words"],
             states.get(entry["digest"], STALE if entry[_FORMAT_KEY] else SIGNED_IN_FORMAT_1),
             entry["digest"])
            for entry in _entries(bytes_beside(folder, SIGN_OFFS_FILE) or b"")]
    return TextTable(rows, columns=REVIEW_COLUMNS)


def bytes_beside(folder: Path, name: str) -> bytes | None:
    """A file beside a scenario as it is; None where there is none. Raises `ScenarioError`."""
    if not folder_is_there(folder):
        return None

    def read(files: FolderFiles) -> tuple[bytes | None, Faults]:
        faults = Faults()
        return files.read(name, faults) if files.has(name) else None, faults

    data, faults = read_settled(folder, read)
    faults.stop_if_any()
    return data


def _entries(data: bytes) -> list[Mapping[str, str]]:
    try:
        content = tomllib.loads(data.decode("utf-8"))
    except (ValueError, RecursionError) as error:
        problem = f"cannot be read as TOML in UTF-8: {error}"
        raise ScenarioError.single(problem, table=SIGN_OFFS_FILE) from None
    given, faults, entries = content.get("review", []), Faults(), list[Mapping[str, str]]()
    for number, entry in enumerate(given if isinstance(given, list) else [None], start=1):
        values = entry if isinstance(entry, dict) else {}
        for key in _KEYS:
            if problem := _problem(key, values.get(key, "")):
                faults.add(SIGN_OFFS_FILE, None, f"review {number} {key}", values.get(key), problem)
        entries.append({**{key: _written(values.get(key, "")) for key in _KEYS},
                        _FORMAT_KEY: "given" if _FORMAT_KEY in values else ""})
    faults.stop_if_any()
    return entries


def _written(value: object) -> str:
    """A value as text; TOML knows moments of its own, and someone who edits the file may write one."""
    return value.strftime(_MOMENT) if isinstance(value, datetime) else str(value)


def _problem(key: str, value: object) -> str:
    """What is wrong with a value of an entry; "" for nothing."""
    if not isinstance(value, str) and not (key == "at" and isinstance(value, datetime)):
        return "must be text in quotation marks"
    text = _written(value)
    if key in ("kind", "by", "digest") and not text.strip():
        return "is missing"
    if key == "kind" and text not in (SIGN_OFF, NOTE):
        return f"must be {SIGN_OFF} or {NOTE}"
    if key == "digest" and not _DIGEST.fullmatch(text):
        return "must be a digest: 64 digits 0 to 9, a to f"
    try:
        datetime.fromisoformat(text if key == "at" and text else _EXAMPLE)
    except ValueError:
        return f"must be a UTC time such as {_EXAMPLE}"
    return ""


def add_review(reviewed: Reviewed, kind: str, by: str, words: str, about: str,
               at: str | datetime | None) -> pd.DataFrame:
    """Add a note or a sign-off to the file, under the folder's lock; gives all reviews.

    Raises `ScenarioError` for what is no review, `SaveConflict` where the scenario was changed on disk.
    """
    faults = unfit_texts(reviewed, by=by, words=words, about=about)
    if kind == NOTE and isinstance(words, str) and not words.strip():
        faults.add("", None, "words", words, "says nothing; write the note")
    if isinstance(by, str) and not by.strip():
        faults.add("", None, "by", by, "is empty; say who reviewed it")
    faults.stop_if_any()
    words = _LINE_ENDS.sub("\n", words)
    when = as_utc(at, "at") if at is not None else datetime.now(UTC)
    entry = tomlkit.table()
    for key, value in zip(_KEYS, (kind, by.strip(), when.strftime(_MOMENT), about.strip(),
                                  words.strip(), reviewed.digest), strict=True):
        entry[key] = tomlkit.string(value, multiline="\n" in value)
    entry[_FORMAT_KEY] = FORMAT
    added = "\n[[review]]\n" + tomlkit.dumps(entry)
    write_beside(reviewed, SIGN_OFFS_FILE, lambda before: _with_entry(before, added))
    return reviews_table(reviewed.folder, reviewed.digest)


def _with_entry(before: bytes | None, added: str) -> bytes:
    _entries(before or b"")  # a file that cannot be read is not added to
    data = (before or _HEADER.encode()) + added.encode()
    _entries(data)
    return data


def write_beside(reviewed: Reviewed, name: str, grown: Callable[[bytes | None], bytes]) -> None:
    """Put what ``grown`` makes of a file beside the scenario in its place, under the folder's lock.

    Raises `ScenarioError` where that cannot be, `SaveConflict` where the scenario was changed on disk.
    """
    with writing(reviewed.folder):
        before = bytes_beside(reviewed.folder, name)
        data = grown(before)
        if len(data) > most_bytes(name):
            raise ScenarioError.single("is full; move it away to begin another", table=name)
        known = {**reviewed.on_disk, **({} if before is None else {name: digest_of(before)})}
        # The scenario's own files go along: they are as on disk, or someone changed them (a conflict).
        write_whole(reviewed.folder, {**reviewed.files, name: data}, known)


def unfit_texts(reviewed: Reviewed, **texts: object) -> Faults:
    """What of ``texts``, by column, cannot be written beside a scenario, and whether it has unsaved edits."""
    faults = Faults()
    for name, text in texts.items():
        if not isinstance(text, str):
            faults.add("", None, name, text, "must be text")
        elif len(text) > _LONGEST:
            faults.add("", None, name, text, f"must have at most {_LONGEST:,} characters")
        elif any(not char.isprintable() and char not in "\r\n\t" for char in text):
            faults.add("", None, name, text, "holds a character that cannot be seen; type it anew")
    held = {name: digest_of(data) for name, data in reviewed.files.items()}
    if held != {name: digest for name, digest in reviewed.on_disk.items() if not name.startswith(ABOVE)}:
        faults.add("", None, "scenario", reviewed.folder,
                   "has edits that are not saved; save it, then review it")
    return faults


# What somebody has accepted


@dataclass(frozen=True)
class Acceptance:
    """One row: which finding, at which numbers (NaN where there is none), by whom, why and when."""

    row: int
    rule: Annotated[str, column("text", "check and rule, such as return/helped-too-far", needed=True)]
    about: Annotated[str, column("text", "what it is about, as in plan.findings")]
    crew: Annotated[str, column("text", "whom it concerns, as in plan.findings")]
    step: Annotated[str, column("text", "its step; it may be empty where the rule shows at any step")]
    value: Annotated[float, column("number", "the value that was accepted, in the unit of the finding")]
    limit: Annotated[float, column("number", "the limit that it was held against")]
    by: Annotated[str, column("text", "who accepted it", needed=True)]
    why: Annotated[str, column("text", "why it can be accepted", needed=True)]
    date: Annotated[str, column("text", "when: an ISO date or a UTC moment", needed=True)]


ACCEPTED = Table("accepted", "one finding of the plan that somebody has accepted", ("rule",),
                 columns_of(Acceptance), may_be_absent=True, is_unique=False)
ACCEPTED_COLUMNS = [field.name for field in ACCEPTED.fields]
_RULE = re.compile("[a-z-]+/[a-z-]+")


def acceptances_of(folder: Path) -> tuple[Acceptance, ...]:
    """What was accepted beside the scenario in ``folder``, in the order of the file; none without a file.

    Raises `ScenarioError` with every fault of the file.
    """
    data = bytes_beside(folder, ACCEPTED_FILE)
    return () if data is None else _read(data)[1]


def accepted_table(folder: Path) -> pd.DataFrame:
    """The same as a table, as ``Scenario.accepted`` gives it."""
    rows = [[getattr(each, name) for name in ACCEPTED_COLUMNS] for each in acceptances_of(folder)]
    return TextTable(rows, columns=ACCEPTED_COLUMNS).astype({"value": float, "limit": float})


def add_acceptance(reviewed: Reviewed, texts: Mapping[str, str], given_date: object) -> None:
    """Add a row under the folder's lock; ``texts`` by column, all but the date (today, if None).

    Raises `ScenarioError` for what is no acceptance and for a scenario with edits that are not saved,
    `SaveConflict` where it was changed on disk.
    """
    faults = unfit_texts(reviewed, **texts)
    for name, what in (("by", "who"), ("why", "why")):
        if isinstance(texts[name], str) and not texts[name].strip():
            faults.add(ACCEPTED.name, None, name, "", f"is empty; say {what}")
    when = ""
    try:
        when = _date_text(datetime.now(UTC).date() if given_date is None else given_date)
    except CellFault as fault:
        faults.add(ACCEPTED.name, None, "date", given_date, str(fault))
    faults.stop_if_any()
    cells = {**{name: " ".join(text.split()) for name, text in texts.items()}, "date": when}
    write_beside(reviewed, ACCEPTED_FILE, lambda before: _with_row(before, cells))


def _with_row(before: bytes | None, cells: Mapping[str, str]) -> bytes:
    """The file with a row more; what stood in it stays byte for byte, in its own order of columns."""
    if before is None:
        before = (csv_row(ACCEPTED_COLUMNS) + "\n").encode()
    raw = _read(before)[0]  # a file that cannot be read is not added to
    end = b"" if before.endswith((b"\n", b"\r")) else raw.newline.encode()
    row = csv_row(cells.get(name, "") for name in raw.header) + raw.newline
    after = before + end + row.encode()
    _read(after)
    return after


@lru_cache(maxsize=4)
def _read(data: bytes) -> tuple[RawTable, tuple[Acceptance, ...]]:
    faults = Faults()
    tables = read_tables({ACCEPTED.file: data}, faults, (ACCEPTED,))
    rows = parse_table(ACCEPTED, tables[ACCEPTED.name], faults) if tables else []
    for row in rows:
        _check(row, faults)
    faults.stop_if_any()
    return tables[ACCEPTED.name], tuple(map(_acceptance, rows))


def _check(row: Row, faults: Faults) -> None:
    """What the kinds of the columns do not say."""
    for name in ("by", "why"):
        if row.text(name).isspace():
            row.fault(faults, name, "says nothing; write it, or delete the row")
    if row.text("rule") and not _RULE.fullmatch(row.text("rule").strip()):
        row.fault(faults, "rule", "must be check and rule, such as return/helped-too-far")
    has_value, has_limit = (row.number_of(name) is not None for name in ("value", "limit"))
    if has_value != has_limit and {"value", "limit"} <= set(row.values):
        row.fault(faults, "limit" if has_value else "value", "is empty; value and limit stand together")
    if row.text("date"):
        try:
            _date_text(row.text("date"))
        except CellFault as fault:
            row.fault(faults, "date", str(fault))


def _acceptance(row: Row) -> Acceptance:
    texts = {name: " ".join(row.text(name).split()) for name in ACCEPTED_COLUMNS}
    numbers = {name: math.nan if (number := row.number_of(name)) is None else number
               for name in ("value", "limit")}
    return Acceptance(row.number, **{**texts, **numbers})  # type: ignore[arg-type]


def _date_text(given: object) -> str:
    """An ISO date or a UTC moment as text. Raises `CellFault`."""
    text = given.strip() if isinstance(given, str) else given
    if isinstance(text, str) and len(text) == len("2031-05-14"):
        with suppress(ValueError):
            text = date.fromisoformat(text)
    if isinstance(text, date) and not isinstance(text, datetime):
        return text.isoformat()
    try:
        return parse_moment(text).strftime("%Y-%m-%dT%H:%M:%SZ")
    except CellFault:
        raise CellFault("must be a date of the calendar like 2031-05-14 or a UTC time like "
                        "2031-05-14T11:20:00Z") from None


def numbers_text(value: float, limit: float) -> dict[str, str]:
    """The cells of value and limit; both empty where one of them is no number."""
    is_known = math.isfinite(value) and math.isfinite(limit)
    return {"value": number_text(value) if is_known else "", "limit": number_text(limit) if is_known else ""}
