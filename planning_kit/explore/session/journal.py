"""Unsaved work on disk: written after every edit, so that a kernel that dies takes nothing typed with it.

A session has a file of its own in the user's state folder (``PLANNING_KIT_STATE`` names another), replaced in
one step each time. Opening a scenario looks for files of other sessions on the same folder and offers them.

A session holds a lock on its file (``<file>.lock``) for as long as the file is there. It is free again when
the process dies, whatever kills it. So a file in use is told from one that was left: only the latter is
deleted, and by one session at a time (`locked` on the state folder).
"""

import contextlib
import json
import os
import secrets
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

from filelock import FileLock, Timeout

from planning_kit.explore.session.draft import Draft
from planning_kit.explore.session.sheet import Line, Sheet
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.format_1 import in_format_2
from planning_kit.inputs.save import locked, made_state_folder, name_of, state_folder, write_flushed
from planning_kit.inputs.setting_records import FrozenMapping

_FORMAT = 2
_TRIES = 5  # another session may be tidying up just where a lock is being made


@dataclass(frozen=True, kw_only=True)
class Unsaved:
    """Work found in a journal: the draft, ``base`` from which it was typed, the named versions.

    ``bases`` says from what versions were typed that were typed from something else, by their names.
    ``written`` is when it was written last, UTC; ``is_in_use``: the session that writes it is still open.
    """

    path: Path
    written: datetime
    draft: Draft
    base: Draft
    versions: Mapping[str, Draft]
    is_in_use: bool = False
    bases: Mapping[str, Draft] = FrozenMapping({})


class Journal:
    """The file of one session on the scenario of ``folder``.

    ``trouble`` says why it could not be written last; "" when it could.
    """

    def __init__(self, folder: Path) -> None:
        """Choose a name; nothing is written yet."""
        self._folder = folder
        self._lock: FileLock | None = None
        self._choose_a_name()
        self.trouble = ""

    def _choose_a_name(self) -> None:
        self._name = f"{name_of(self._folder)}-{secrets.token_hex(8)}.json"

    @property
    def path(self) -> Path:
        """Where it is written. Raises `RuntimeError` where the user has no state folder and no home."""
        return state_folder() / self._name

    def write(self, draft: Draft, base: Draft, versions: Mapping[str, Draft],
              bases: Mapping[str, Draft] = FrozenMapping({})) -> None:
        """Put what is typed, and ``base``, from which it was, on disk: whole or not at all.

        ``bases`` are those of versions with another one, by name. Raises `OSError` when that fails.
        """
        about = {"format": _FORMAT, "folder": str(self._folder), "written": datetime.now(UTC).isoformat()}
        parts = {name: json.dumps(value) for name, value in about.items()} | {
            "draft": _text(draft), "base": _text(base),
            "versions": _object({name: _text(each) for name, each in versions.items()}),
            "bases": _object({name: _text(each) for name, each in bases.items()}),
        }
        data = _object(parts).encode("ascii")
        try:
            made_state_folder()
            self._hold()
            part = self.path.with_suffix(".part")
            _unlink(part)  # of a write that broke off
            # Flushed before it takes the place: a power cut must not leave an empty file under the name.
            write_flushed(part, data)
            os.replace(part, self.path)
            self.trouble = ""
        except (OSError, RuntimeError, ValueError) as error:  # RuntimeError: no home folder
            self.trouble = getattr(error, "strerror", None) or str(error)
            raise OSError(self.trouble) from error

    def _hold(self) -> None:
        """Hold the lock, if it is not held or its file was swept away. Raises `OSError`."""
        if self._lock is not None and Path(self._lock.lock_file).exists():
            return
        self.close()
        for _ in range(_TRIES):
            lock = _lock_of(self.path)
            try:
                lock.acquire()
            except Timeout:
                # Another session is just looking whether it is held: a new name need not wait for that.
                self._choose_a_name()
            else:
                if Path(lock.lock_file).exists():
                    self._lock = lock
                    return
                lock.release()  # it was swept away just before it was taken
        raise OSError(f"no lock can be made in {state_folder()}")

    def remove(self) -> None:
        """Delete the file: everything is saved."""
        self.trouble = ""
        with contextlib.suppress(RuntimeError):
            _unlink(self.path)
        self.close()

    def close(self) -> None:
        """The session ends: unsaved work stays on the disk and is no longer in use."""
        if self._lock is not None:
            with contextlib.suppress(OSError):
                _give_back(self._lock)
            self._lock = None

    def left_by_others(self, like: Draft) -> list[Unsaved]:
        """Work of other sessions on the same scenario, newest first; unreadable files stay.

        It has the tables, columns and settings of ``like``, whatever version of the package left it. Where no
        lock can be had all of it counts as in use. Lock files of sessions that died are cleaned up.
        """
        with contextlib.suppress(RuntimeError), contextlib.ExitStack() as stack:
            pattern, found, is_sure = f"{name_of(self._folder)}-*", [], True
            paths = [path for path in state_folder().glob(f"{pattern}.json") if path.name != self._name]
            try:
                stack.enter_context(locked(state_folder()))
            except ScenarioError:
                is_sure = False
            for path in paths:
                is_in_use = not is_sure or _is_held(path)  # first: what was left does not change any more
                if (unsaved := _read(path, like, is_in_use)) is not None:
                    found.append(unsaved)
            if is_sure:
                _tidy(pattern)
            return sorted(found, key=lambda each: each.written, reverse=True)
        return []


def delete_left(path: Path) -> None:
    """Delete a file that a session left.

    Raises `ScenarioError`, and deletes nothing, where a session has it in use; `OSError` where it cannot be.
    """
    with locked(state_folder()):
        if _is_held(path):
            raise ScenarioError.single("this work is in use by another session, which is still open: it can "
                                       "be copied, and deleted once that one is closed",
                                       column="unsaved work")
        path.unlink(missing_ok=True)


def _lock_of(path: Path) -> FileLock:
    # Of the process, not of a thread: whichever thread closes the session gives it back.
    return FileLock(f"{path}.lock", timeout=0, thread_local=False)


def _is_held(path: Path) -> bool:
    """Whether a session has a file in use; in doubt yes. A lock file that nobody holds goes."""
    lock = _lock_of(path)
    try:
        lock.acquire()
    except (OSError, ValueError, RuntimeError):
        return True
    _give_back(lock)
    return False


def _give_back(lock: FileLock) -> None:
    """Delete a lock's file, then let go of it: once let go it may be another's. Raises `OSError`."""
    path = Path(lock.lock_file)
    _unlink(path)
    lock.release()
    if sys.platform == "win32":  # an open file cannot be deleted there, so that it is nobody's if this can
        _unlink(path)


def _tidy(pattern: str) -> None:
    """Sweep up what killed sessions left beside their files: locks, and files written by half."""
    for lock in state_folder().glob(f"{pattern}.json.lock"):
        _is_held(lock.with_suffix(""))
    # A part of a session that is still open is being written just now, and stays.
    for part in state_folder().glob(f"{pattern}.part"):
        if not _is_held(part.with_suffix(".json")):
            _unlink(part)


def _unlink(path: Path) -> None:
    with contextlib.suppress(OSError):
        path.unlink(missing_ok=True)


def _read(path: Path, like: Draft, is_in_use: bool) -> Unsaved | None:
    try:
        content = json.loads(path.read_bytes())
        if content["format"] != _FORMAT:
            return None
        versions, bases = ({str(name): _draft(each, like) for name, each in content.get(which, {}).items()}
                           for which in ("versions", "bases"))
        written = datetime.fromisoformat(content["written"])
        if written.utcoffset() is None:
            return None
        draft, base = (_draft(content[name], like) for name in ("draft", "base"))
        return Unsaved(path=path, written=written.astimezone(UTC), draft=draft, base=base,
                       versions=FrozenMapping(versions), is_in_use=is_in_use, bases=FrozenMapping(bases))
    except (RecursionError, OSError, ValueError, LookupError, TypeError, AttributeError, ArithmeticError):
        # Cut off, forged or of another version: whatever it is, it is passed over and stays on the disk.
        return None


def _text(draft: Draft) -> str:
    sheets = _object({name: _sheet_text(sheet) for name, sheet in draft.sheets.items()})
    return _object({"sheets": sheets, "next_id": json.dumps(draft.next_id)})


@lru_cache(maxsize=128)  # an edit changes one sheet of all those of draft, base and versions
def _sheet_text(sheet: Sheet) -> str:
    """A sheet as JSON, escaped to ASCII: half characters that a cell may hold are kept too."""
    return json.dumps({"columns": sheet.columns, "can_grow": sheet.can_grow,
                       "lines": [[line.id, line.cells] for line in sheet.lines]})


def _object(parts: Mapping[str, str]) -> str:
    """A JSON object of values that are JSON already."""
    return "{" + ", ".join(f"{json.dumps(name)}: {text}" for name, text in parts.items()) + "}"


def _draft(plain: Mapping[str, Any], like: Draft) -> Draft:
    sheets = {}
    for name, each in plain["sheets"].items():
        columns = tuple(map(str, each["columns"]))
        lines = tuple(Line(int(number), tuple(map(str, cells))) for number, cells in each["lines"])
        if any(len(line.cells) != len(columns) for line in lines):
            raise ValueError(f"{name}: a line of another length")
        sheets[str(name)] = Sheet(str(name), columns, lines, bool(each["can_grow"]))
    fitting = {name: _fitted(sheets.get(name, sheet), sheet) for name, sheet in like.sheets.items()}
    # Sheets that the journal lacks come with the ids of `like`: a new line must go behind both.
    return Draft(FrozenMapping(fitting), max(int(plain["next_id"]), like.next_id))


def _fitted(sheet: Sheet, like: Sheet) -> Sheet:
    """``sheet`` with the columns that only ``like`` has; if it cannot grow, with the rows of ``like``."""
    if not like.can_grow:
        # Left by a version of format 1, it has other keys: without them what was typed there would be lost.
        texts = in_format_2({line.cells[0]: line.cells[1] for line in sheet.lines})
        rows = tuple(Line(line.id, (line.cells[0], texts.get(*line.cells[:2]), *line.cells[2:]))
                     for line in like.lines)
        return Sheet(like.name, like.columns, rows, can_grow=False)
    absent = tuple(column for column in like.columns if column not in sheet.columns)
    lines = tuple(Line(line.id, (*line.cells, *("" for _ in absent))) for line in sheet.lines)
    return Sheet(sheet.name, (*sheet.columns, *absent), lines)
