"""Reviewers' notes and sign-offs: a text file beside the scenario, each entry tied to what was reviewed.

``sign_offs.toml`` in the scenario folder holds one table ``[[review]]`` an entry and is only ever added to,
under the folder's lock: of two who sign off at once both stand.
An entry names the digest of the scenario that was looked at; where the scenario says something else now, the
entry is stale. It is a record among colleagues, no signature: anyone who can write the folder can write it.
"""

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pandas as pd
import tomlkit

from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.folder_files import FolderFiles, digest_of, folder_is_there, read_settled
from planning_kit.inputs.format import ABOVE, FORMAT, SIGN_OFFS_FILE, most_bytes
from planning_kit.inputs.save import write_whole, writing
from planning_kit.inputs.shown_text import TextTable
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
    for column, text in texts.items():
        if not isinstance(text, str):
            faults.add("", None, column, text, "must be text")
        elif len(text) > _LONGEST:
            faults.add("", None, column, text, f"must have at most {_LONGEST:,} characters")
        elif any(not char.isprintable() and char not in "\r\n\t" for char in text):
            faults.add("", None, column, text, "holds a character that cannot be seen; type it anew")
    held = {name: digest_of(data) for name, data in reviewed.files.items()}
    if held != {name: digest for name, digest in reviewed.on_disk.items() if not name.startswith(ABOVE)}:
        faults.add("", None, "scenario", reviewed.folder,
                   "has edits that are not saved; save it, then review it")
    return faults
