"""Saving a scenario folder: all or nothing as far as a file system allows, and never over another's change.

A new folder is written beside its place and moved there in one step. In a folder that is there, every changed
file is first written in full beside its place and flushed to the disk; only then do the files take their
places, one by one: a crash between two of these moves leaves each file either old or new, never half. No lock
is held, so that nothing stale can block a folder; the files are compared once more just before the moves.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import stat
from collections.abc import Mapping
from pathlib import Path

from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults, SaveConflict, ScenarioError
from planning_kit.inputs.source import digest_of


def save_files(folder: Path, files: Mapping[str, bytes], known: Mapping[str, str]) -> None:
    """Write ``files`` (name to bytes) into ``folder``.

    ``known`` holds the digests of the files as they were read; a file of the format that is there and not in
    it, or has another digest, raises `SaveConflict` unless it already has the bytes to be written. Files of
    other names stay. Raises `ScenarioError` when the folder cannot be written; nothing has changed then.
    """
    try:
        if not os.path.lexists(folder):
            _write_new_folder(folder, files)
        elif not folder.is_dir():
            raise ScenarioError.single("is not a folder; choose another name", value=folder)
        else:
            _write_into(folder, files, known)
    except (OSError, ValueError) as error:
        if isinstance(error, ScenarioError):
            raise
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise ScenarioError.single(f"cannot be saved: {reason}; nothing was changed", value=folder) from error


def _write_new_folder(folder: Path, files: Mapping[str, bytes]) -> None:
    if not folder.parent.is_dir():
        raise ScenarioError.single("the folder above it is missing; make it first", value=folder)
    building = folder.parent / f".{folder.name[:100]}.{secrets.token_hex(6)}.part"
    building.mkdir()
    try:
        for name, data in files.items():
            _write_flushed(building / name, data)
        _flush_folder(building)
        os.rename(building, folder)
    except BaseException:
        shutil.rmtree(building, ignore_errors=True)
        raise
    _flush_folder(folder.parent)


def _write_into(folder: Path, files: Mapping[str, bytes], known: Mapping[str, str]) -> None:
    before = _on_disk(folder, files)
    _stop_on_conflict(folder, before, files, known)
    changed = {name: data for name, data in files.items() if before.get(name) != data}
    waiting: dict[str, Path] = {}
    try:
        for name, data in changed.items():
            place = Path(os.path.realpath(folder / name))
            waiting[name] = place.parent / f".{name[:100]}.{secrets.token_hex(6)}.part"
            _write_flushed(waiting[name], data)
            if name in before:
                os.chmod(waiting[name], stat.S_IMODE(place.stat().st_mode))
        _stop_on_conflict(folder, _on_disk(folder, files), files, known)
        _move_all(folder, waiting, before)
    finally:
        for part in waiting.values():
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
    _flush_folder(folder)


def _move_all(folder: Path, waiting: Mapping[str, Path], before: Mapping[str, bytes]) -> None:
    """Move every part to its place; where one move fails, bring back what was there, as far as that works."""
    moved: dict[str, Path] = {}
    try:
        for name, part in waiting.items():
            place = Path(os.path.realpath(folder / name))
            os.replace(part, place)
            moved[name] = place
    except OSError:
        for name, place in moved.items():
            _bring_back(place, before.get(name))
        raise


def _bring_back(place: Path, data: bytes | None) -> None:
    with contextlib.suppress(OSError):
        if data is None:
            place.unlink()
        else:
            part = place.parent / f".{place.name[:100]}.{secrets.token_hex(6)}.part"
            _write_flushed(part, data)
            os.replace(part, place)


def _on_disk(folder: Path, files: Mapping[str, bytes]) -> dict[str, bytes]:
    """Bytes of the files of the format that are in ``folder``, and of those to be written."""
    found = {}
    for name in {fmt.SCENARIO_FILE, *(table.file for table in fmt.TABLES), *files}:
        path = folder / name
        if os.path.lexists(path):
            if not path.is_file():
                raise ScenarioError.single("is in the way: it is not a plain file", table=name, value=path)
            found[name] = path.read_bytes()
    return found


def _stop_on_conflict(folder: Path, before: Mapping[str, bytes], files: Mapping[str, bytes],
                      known: Mapping[str, str]) -> None:
    faults = Faults()
    for name in sorted({*before, *known}):
        if name not in before:
            faults.add(name, None, "", "", "was deleted on disk since it was read")
        elif before[name] != files.get(name) and digest_of(before[name]) != known.get(name):
            faults.add(name, None, "", "", "changed on disk since it was read" if name in known else
                       "is in the folder but was not read from it")
    if faults.rows:
        faults.add("", None, "", folder,
                   "nothing was saved; load the folder again and repeat the edit, or save "
                   "into a new folder")
        raise SaveConflict(faults.frame())


def _write_flushed(path: Path, data: bytes) -> None:
    with path.open("xb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _flush_folder(folder: Path) -> None:
    """Flush the folder's own entries, where the system can open a folder."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
