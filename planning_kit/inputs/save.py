"""Saving files into a folder as one act: whatever the moment of a kill, the old set is there or the new one.

One lock a folder is held over reading, judging and writing, by every writer of this package. Under it the
files there are compared with those that were read. Then all that is to change is staged in the subfolder
``.unfinished-save`` and flushed, and a commit record beside it makes it count (`folder_files` says how it is
read). Then the files move to their places one by one. A save that ended before its record changed nothing;
after it, the new set is read, and the next save puts it in place first.

The lock file lies in the user's state folder under the folder's real path, so that nothing of it shows in the
folder itself. A lock of a process that died is free again. It keeps apart the sessions of one user on one
machine. It knows nothing of other users. A folder on a network drive is not covered, nor one that is reached
by two real paths (a bind mount, a file system that takes two spellings for one name).
"""

import contextlib
import hashlib
import os
import stat
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from filelock import FileLock, Timeout

from planning_kit.inputs import folder_files
from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults, SaveConflict, ScenarioError
from planning_kit.inputs.folder_files import RECORD, STAGE, FileChange, digest_of

STATE_VARIABLE = "PLANNING_KIT_STATE"
_LONGEST_WAIT_S = 30


def state_folder() -> Path:
    """Where locks and journals are: a folder of the user's, not of the scenario.

    A relative one that `STATE_VARIABLE` names counts from the home folder: it is the same from everywhere.
    """
    if os.environ.get(STATE_VARIABLE):
        named = Path(os.environ[STATE_VARIABLE])
        return named if named.is_absolute() else Path.home() / named
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData" / "Local")) / "planning_kit"
    return Path(os.environ.get("XDG_STATE_HOME", Path.home() / ".local" / "state")) / "planning_kit"


def made_state_folder() -> Path:
    """The state folder, made where it is missing, for the user alone. Raises `OSError`."""
    folder = state_folder()
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    return folder


def name_of(folder: Path) -> str:
    """The name under which a folder's files lie in the state folder: from its real path."""
    real = os.path.realpath(folder)
    return hashlib.sha256(os.fsencode(real)).hexdigest()[:16]


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Nobody else writes into ``folder`` meanwhile.

    Raises `ScenarioError` where another holds it for longer than 30 s, or where no lock can be made;
    `ValueError` for a path that no file system takes.
    """
    name = name_of(folder)
    try:
        lock = FileLock(made_state_folder() / f"{name}.lock", timeout=_LONGEST_WAIT_S)
        lock.acquire()
    except Timeout:
        raise ScenarioError.single(f"another program has been writing here for {_LONGEST_WAIT_S} s; nothing "
                                   "was changed, try again", value=folder) from None
    except (OSError, ValueError, RuntimeError) as error:  # RuntimeError: no home folder
        raise ScenarioError.single(f"no lock can be made in {state_folder()}: {error}; nothing was changed. "
                                   f"{STATE_VARIABLE} may name another folder for locks and journals",
                                   value=folder) from None
    try:
        yield
    finally:
        lock.release()


def save_files(folder: Path, files: Mapping[str, bytes], known: Mapping[str, str] | None) -> None:
    """Write ``files`` (name to bytes) into ``folder``, all or none.

    ``known`` holds the digests of the files as they were read; a file of the format that is there and not in
    it, or has another digest, raises `SaveConflict` unless it already has the bytes to be written (None: what
    is there is replaced, whatever it is). Files of other names stay. Raises `ScenarioError` when the folder
    cannot be written; nothing has changed then.
    """
    with writing(folder):
        write_whole(folder, files, known)


Set = tuple[Path, Mapping[str, bytes], Mapping[str, str]]
"""A folder, its files to be written, and the digests of those that were read."""
Staged = tuple[Path, list[FileChange], Mapping[str, bytes]]
"""A folder, what changes there, and its files as they were."""


def save_together(above: Path, sets: Sequence[Set], known: Mapping[str, str]) -> None:
    """Write into several folders within ``above``, all or none; raises as `save_files` for each of them.

    ``known``: digests of files of ``above`` itself ("": there was none) on which what is written rests; one
    that is another by now is a conflict.
    Each is staged with a record that counts once there is one in ``above``. Where a file cannot take its
    place, all go back before that is deleted.
    """
    staged, save = list[Staged](), folder_files.new_save()
    with contextlib.ExitStack() as held:
        for folder in (above, *(folder for folder, *_ in sets)):
            held.enter_context(writing(folder))
        held.enter_context(folder_files.system_errors_told("cannot be saved", "; nothing was changed, in no "
                                                           "folder", value=above))
        try:
            rests_on = {name: data for name, data in _on_disk(above, known).items() if name in known}
            _stop_on_conflict(above, rests_on, {}, {name: was for name, was in known.items() if was})
            for folder, files, read in sets:
                before = _on_disk(folder, {*files, *read})
                _stop_on_conflict(folder, before, files, read, f"{folder.name}/")
                staged.append((folder, _changes(folder, files, before), before))
            if all(each.before == each.after for _, changes, _ in staged for each in changes):
                return
            for (folder, changes, _), (_, files, _) in zip(staged, sets, strict=True):
                _commit(folder, files, changes, folder_files.record_of(changes, above=save))
            _commit(above, {}, [], folder_files.record_of((), save))
        except BaseException:
            for folder, *_ in staged:
                _clear(folder)
            raise
        _move_to_places(above, staged)


@contextlib.contextmanager
def writing(folder: Path) -> Iterator[None]:
    """The folder's lock, held, with what an interrupted save left put in place. Raises `ScenarioError`."""
    folder_files.stop_if_workbook(folder)
    with (folder_files.system_errors_told("cannot be saved", "; nothing was changed", value=folder),
          locked(folder)):
        if folder.is_dir():
            _finish_interrupted(folder)
        yield


def write_whole(folder: Path, files: Mapping[str, bytes], known: Mapping[str, str] | None) -> None:
    """As `save_files`, for those who hold the folder by `writing` already."""
    is_new = not os.path.lexists(folder)
    if is_new:
        if not folder.parent.is_dir():
            raise ScenarioError.single("the folder above it is missing; make it first", value=folder)
        folder.mkdir()
    elif not folder.is_dir():
        raise ScenarioError.single("is not a folder; choose another name", value=folder)
    try:
        before = _on_disk(folder, {*files, *(known or ())})
        if known is not None:
            _stop_on_conflict(folder, before, files, known)
        changes = _changes(folder, files, before)
        if any(each.before != each.after for each in changes):
            _commit(folder, files, changes, folder_files.record_of(changes))
            _move_to_places(folder, [(folder, changes, before)])
    except BaseException:
        if is_new:
            with contextlib.suppress(OSError):
                folder.rmdir()
        raise
    if is_new:
        # A new folder is an entry of the one above: a power cut could take it along with all that was saved.
        flush_folder(folder.parent)


def _changes(folder: Path, files: Mapping[str, bytes], before: Mapping[str, bytes]) -> list[FileChange]:
    """What a save changes. Raises `ScenarioError` at links."""
    changes = [FileChange(name, digest_of(before[name]) if name in before else "", digest_of(data))
               for name, data in files.items()]
    _stop_at_links(folder, changes)
    return changes


def _commit(folder: Path, files: Mapping[str, bytes], changes: list[FileChange], record: bytes) -> None:
    """Stage what changes and write the record: from its last line on the new set counts."""
    stage = folder / STAGE
    stage.mkdir(exist_ok=True)
    try:
        for each in changes:
            if each.before != each.after:
                write_flushed(stage / each.name, files[each.name])
                if each.before:
                    os.chmod(stage / each.name, stat.S_IMODE((folder / each.name).stat().st_mode))
        # Under another name first, so that half a record is never read as one. All that it vouches for is on
        # the disk before it counts.
        write_flushed(stage / f".{RECORD}", record)
        flush_folder(stage)
        flush_folder(folder)
        os.replace(stage / f".{RECORD}", stage / RECORD)
    except BaseException:
        # Whatever stops it, an interrupt too: without a record the old set counts.
        _clear(folder)
        raise
    flush_folder(stage)


def _move_to_places(counts: Path, staged: Sequence[Staged]) -> None:
    """Move what is staged to its place; where one move fails, go back to the old set, if that can be done.

    ``counts``: the folder whose record makes all of it count.
    """
    moved: dict[Path, list[str]] = {folder: [] for folder, *_ in staged}
    folders = dict.fromkeys([*moved, counts])
    try:
        for folder, changes, _ in staged:
            for each in changes:
                if each.before != each.after:
                    os.replace(folder / STAGE / each.name, folder / each.name)
                    moved[folder].append(each.name)
    except OSError as error:
        try:
            for folder, _, before in staged:
                _go_back(folder, moved[folder], before)
            (counts / STAGE / RECORD).unlink()
        except OSError:
            raise ScenarioError.single(
                f"was saved, but not every file could take its place: {folder_files.reason_of(error)}. What "
                "was saved is read from the folder all the same; the next save puts the files in place",
                value=counts) from error
        for folder in folders:
            _clear(folder)
        raise
    for folder in folders:
        flush_folder(folder)
    for folder in folders:
        _clear(folder)


def _go_back(folder: Path, moved: list[str], before: Mapping[str, bytes]) -> None:
    """Put the old files back, the new ones staged first: the new set is whole until the record goes."""
    for name in moved:
        place = folder / name
        write_flushed(folder / STAGE / name, place.read_bytes())
        if name in before:
            # Written beside its place, so that at no moment half a file lies there.
            write_flushed(folder / STAGE / f".{name}", before[name])
            os.chmod(folder / STAGE / f".{name}", stat.S_IMODE(place.stat().st_mode))
            os.replace(folder / STAGE / f".{name}", place)
        else:
            place.unlink()
    flush_folder(folder)


def _finish_interrupted(folder: Path) -> None:
    """Put the set that an interrupted save left whole in its place, and delete what else it left."""
    record = folder_files.record_bytes(folder)
    if record is not None:
        for each in sorted(folder.iterdir()):  # folders that count by this record
            if not each.is_symlink() and os.path.lexists(each / STAGE / RECORD):
                with writing(each):
                    pass
        for name, digest in folder_files.whole_set(folder, folder_files.changes_in(record, folder)).items():
            # Only what is staged whole is moved; all else of the set is in its place already.
            if digest and folder_files.digest_in(folder / STAGE, name) == digest:
                os.replace(folder / STAGE / name, folder / name)
        flush_folder(folder)
    if os.path.lexists(folder / STAGE):
        _clear(folder)


def _clear(folder: Path) -> None:
    """Delete the stage, its record first: from then on the files count as they lie.

    All is in its place before: what cannot be deleted does no harm, and the next save tries again. What is
    not ours (a subfolder) stays.
    """
    stage = folder / STAGE
    with contextlib.suppress(OSError):
        (stage / RECORD).unlink(missing_ok=True)
        flush_folder(stage)
        for path in stage.iterdir():
            if not path.is_dir() or path.is_symlink():
                path.unlink()
        stage.rmdir()


def _on_disk(folder: Path, names: Iterable[str]) -> dict[str, bytes]:
    """Bytes of the files of the format that are in ``folder``, and of ``names``."""
    found = {}
    # Also tables that were not there when the folder was read: one that has come since is a conflict.
    for name in {fmt.SCENARIO_FILE, *(table.file for table in fmt.TABLES), *names}:
        path = folder_files.place_of(folder, name)
        if os.path.lexists(path):
            folder_files.stop_if_not_plain(path, name)
            found[name] = path.read_bytes()
    return found


def _stop_at_links(folder: Path, changes: Iterable[FileChange]) -> None:
    """A link is not written through: what it leads to may be another file of the same save."""
    faults = Faults()
    for each in changes:
        if each.before != each.after and (folder / each.name).is_symlink():
            faults.of_file(each.name, "is a link, and only plain files are written; put the file "
                       "itself there. Nothing was changed")
    faults.stop_if_any()


def _stop_on_conflict(folder: Path, before: Mapping[str, bytes], files: Mapping[str, bytes],
                      known: Mapping[str, str], where: str = "") -> None:
    faults = Faults()
    for name in sorted({*before, *known}):
        if name not in before:
            faults.of_file(f"{where}{name}", "was deleted on disk since it was read")
        elif before[name] != files.get(name) and digest_of(before[name]) != known.get(name):
            faults.of_file(f"{where}{name}", "changed on disk since it was read" if name in known else
                       "is in the folder but was not read from it")
    if faults.rows:
        faults.add("", None, "", folder,
                   "nothing was saved; load the folder again and repeat the edit, or save "
                   "into a new folder")
        raise SaveConflict(faults.frame())


def write_flushed(path: Path, data: bytes) -> None:
    """Make a file and flush it to the disk. Raises `OSError`, also where there is one already."""
    # Never into what is there already: it may be a link that leads elsewhere.
    with path.open("xb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def flush_folder(folder: Path) -> None:
    """Flush the folder's own entries, where the system can open a folder."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
