"""The files of a folder as its last whole save left them. Nothing here writes.

A save (`save`) puts new files into the subfolder ``.unfinished-save``, then a commit record beside them,
then moves them to their places. While the record is there, what was saved is the *new set*: of each file
that it names, the staged one or the one already in its place, whichever has the digest that the record gives.
Where no record is there, the files count as they lie. So whatever the moment at which a save ended, either
the old set is read or the new one.

Where several folders were saved together, the record of each names that of the folder above, and counts only
while that is there: all of them count from one moment on. Apart from that folder they count as they lie.

A folder may come from a stranger: a record names plain files of this folder and nothing else, and a link that
leads out of the folder is a fault, not a file.
"""

import hashlib
import json
import os
import re
import secrets
import stat
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults, ScenarioError

STAGE = ".unfinished-save"
RECORD = "commit.json"
_RECORD_FORMAT = 1
_DIGEST = re.compile("[0-9a-f]{64}")
_TRIES = 100
_PAUSE_S = 0.02
_MOST_BYTES = 1_000_000_000  # of any file that is saved: packs are the largest
_MISSING = "is missing; every scenario folder holds it"
_HOW_TO_GO_ON = f"to go on with the files as they lie, delete the subfolder {STAGE}"

Read = TypeVar("Read")
Signature = tuple[int, int, int] | None


@dataclass(frozen=True)
class FileChange:
    """One file of a save: the digests of its bytes before ("" where there was none) and after."""

    name: str
    before: str
    after: str


@dataclass
class FolderFiles:
    """Reads the files of one folder. Faults of single files are noted, those of the folder raised.

    ``expected`` holds the digests of the files that the record of a save is about ("" for one that is not
    there), ``seen`` what the others looked like when they were read, ``digests`` what was read.
    """

    folder: Path
    record: bytes | None
    expected: Mapping[str, str] = field(default_factory=dict)
    seen: dict[str, Signature] = field(default_factory=dict)
    digests: dict[str, str] = field(default_factory=dict)
    has_moved: bool = False

    def has(self, name: str) -> bool:
        """Whether there is a file of that name, of whatever kind."""
        if name in self.expected:
            return bool(self.expected[name])
        # Before it is read, and only the first time: whatever changes after that shows in `is_still_so`.
        self.seen.setdefault(name, signature(self.folder / name))
        return os.path.lexists(self.folder / name)

    def read(self, name: str, faults: Faults) -> bytes | None:
        """The bytes of one file, or None with a fault noted: missing, not plain, unreadable, too large."""
        try:
            data = self._read(name)
        except ScenarioError as fault:
            faults.of_file(name, fault.words)
            return None
        self.digests[name] = digest_of(data)
        return data

    def _read(self, name: str) -> bytes:
        if not self.has(name):
            raise ScenarioError.single(_MISSING)
        if name not in self.expected:
            return read_plain(self.folder, name)
        # The staged file first: a save that is under way moves it to its place, never back.
        for folder in (self.folder / STAGE, self.folder):
            try:
                data = read_plain(folder, name)
            except ScenarioError:
                if os.path.lexists(folder / name):
                    raise
            else:
                if digest_of(data) == self.expected[name]:
                    return data
        self.has_moved = True
        raise ScenarioError.single("is changed by another program")

    def is_still_so(self) -> bool:
        """Whether no save has come between since the first of these files was read."""
        return (not self.has_moved and self.record == record_bytes(self.folder)
                and all(signature(self.folder / name) == was for name, was in self.seen.items()))


def read_settled(folder: Path, read: Callable[[FolderFiles], Read]) -> Read:
    """What ``read`` makes of the files of a folder, all of one save, though another may be saving meanwhile.

    Files change by taking each other's place: where all of them, and the record, are the same after reading
    as before, there was a moment at which all stood so. Otherwise they are read once more. Raises
    `ScenarioError` where there is no such folder, the files keep changing, or an interrupted save left no
    whole set.
    """
    stop_if_workbook(folder)
    if not folder_is_there(folder):
        raise ScenarioError.single("is not a folder; give the folder that holds scenario.toml", value=folder)
    for _ in range(_TRIES):
        record = record_bytes(folder)
        try:
            expected = {} if record is None else whole_set(folder, changes_in(record, folder))
        except ScenarioError:
            # Where the record is another by now, a save was under way: only one that stands is a fault.
            if record == record_bytes(folder):
                raise
        else:
            files = FolderFiles(folder, record, expected)
            result = read(files)
            if files.is_still_so():
                return result
        time.sleep(_PAUSE_S)
    raise ScenarioError.single("keeps changing while it is read; try again when nobody writes", value=folder)


def folder_is_there(folder: Path) -> bool:
    """Whether ``folder`` is a folder; a name that no file system takes is none."""
    try:
        return folder.is_dir()
    except (OSError, ValueError):
        return False


def is_workbook(path: Path) -> bool:
    """Whether ``path`` names a spreadsheet file, there or not."""
    return path.suffix.lower() == fmt.WORKBOOK and not folder_is_there(path)


def stop_if_workbook(folder: Path) -> None:
    """Raise `ScenarioError` where a folder is needed and ``folder`` is one spreadsheet file."""
    if is_workbook(folder):
        raise ScenarioError.single("is one spreadsheet file, and this needs a folder: scenario.save(FOLDER) "
                                   "writes one, and gives the scenario to go on with", value=folder)


def holds_something(folder: Path) -> bool:
    """Whether there is anything at ``folder`` but an empty folder, or one where a first save broke off."""
    try:
        if not os.path.lexists(folder):
            return False
        return not folder.is_dir() or any(path.name != STAGE for path in folder.iterdir()) or (
            record_bytes(folder) is not None)
    except (OSError, ValueError):
        return True


def signature(path: Path) -> Signature:
    """What changes whenever a file is replaced or written; None where there is none."""
    try:
        found = path.stat()
    except (OSError, ValueError):
        return None
    # With the file's number: one that takes the place of another may have its time and size.
    return found.st_mtime_ns, found.st_size, found.st_ino


def place_of(folder: Path, name: str) -> Path:
    """Where a file of ``folder`` really lies. Raises `ScenarioError` for a link out of it or to nothing."""
    path = folder / name
    if not path.is_symlink():
        return path
    real = Path(os.path.realpath(path))
    if not real.is_relative_to(os.path.realpath(folder)):
        raise ScenarioError.single("is a link that leads out of its folder; put the file itself there",
                                   table=name, value=path)
    if not real.exists():
        raise ScenarioError.single("is a link to nothing; put the file itself there", table=name, value=path)
    return real


def read_plain(folder: Path, name: str) -> bytes:
    """The bytes of a file of a folder as it lies. Raises `ScenarioError`, for a link out of it too."""
    return read_path(place_of(folder, name), name)


def read_path(path: Path, name: str) -> bytes:
    """The bytes of the file at ``path``, told as ``name``. Raises `ScenarioError`."""
    most = fmt.most_bytes(name)
    with system_errors_told("cannot be read", table=name):
        if not os.path.lexists(path):
            raise ScenarioError.single("is missing: there is no such file", table=name)
        if not path.is_file():
            raise ScenarioError.single("is not a plain file", table=name)
        with path.open("rb") as stream:
            # One byte more tells what is too large, even of a file that grows while it is read.
            data = stream.read(most + 1)
    if len(data) > most:
        raise ScenarioError.single(f"is larger than {most:,} bytes; this is no scenario file", table=name)
    return data


def reason_of(error: OSError | ValueError) -> str:
    """Why a file could not be used, in the system's words."""
    return error.strerror if isinstance(error, OSError) and error.strerror else str(error)


@contextmanager
def system_errors_told(what: str, after: str = "", **where: Any) -> Iterator[None]:
    """What the system refuses, as a `ScenarioError`: ``what``, the reason, and what comes ``after`` it.

    ``where`` as in `ScenarioError.single`.
    """
    try:
        yield
    except ScenarioError:
        raise
    except (OSError, ValueError) as error:  # ValueError: a path that no file system takes
        raise ScenarioError.single(f"{what}: {reason_of(error)}{after}", **where) from error


def digest_of(data: bytes) -> str:
    """SHA-256 of ``data`` in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


# The commit record


def record_bytes(folder: Path) -> bytes | None:
    """The commit record of a save that is under way or was interrupted; None where none counts."""
    record = _own_record(folder)
    if record is not None and (above := _named_in(record, "above")):
        whole = _own_record(folder.parent)
        return record if whole is not None and _named_in(whole, "save") == above else None
    return record


def _named_in(record: bytes, key: str) -> object:
    try:
        return json.loads(record).get(key)
    except (ValueError, AttributeError, RecursionError):  # as such it is told where it is used
        return None


def _own_record(folder: Path) -> bytes | None:
    stage = folder / STAGE
    with (system_errors_told("the record of an interrupted save cannot be read", f"; {_HOW_TO_GO_ON}",
                             table=f"{STAGE}/{RECORD}", value=folder),
          suppress(FileNotFoundError, NotADirectoryError)):
        # lstat, here and below: a link could lead to files of another folder.
        if not stat.S_ISDIR(os.lstat(stage).st_mode):
            raise ScenarioError.single(f"is in the way: it is not a plain folder; {_HOW_TO_GO_ON}",
                                       table=STAGE, value=folder)
        if not stat.S_ISREG(os.lstat(stage / RECORD).st_mode):
            raise _no_record(folder, "is not a plain file")
        with (stage / RECORD).open("rb") as stream:
            return stream.read(fmt.MAX_TEXT_BYTES)
    return None


def new_save() -> str:
    """What no other save is called."""
    return secrets.token_hex(8)


def record_of(changes: Iterable[FileChange], save: str = "", above: str = "") -> bytes:
    """A commit record as bytes, unlike any other: two saves of the same files are told apart.

    ``above``: the save that must count in the folder above for this to count.
    """
    files = {each.name: [each.before, each.after] for each in changes}
    content = {"format": _RECORD_FORMAT, "save": save or new_save(), "files": files}
    content |= {"above": above} if above else {}
    return json.dumps(content, indent=1).encode("ascii")


def changes_in(record: bytes, folder: Path) -> tuple[FileChange, ...]:
    """What a record says. Raises `ScenarioError` for anything but plain files of this folder with digests."""
    try:
        content = json.loads(record)
        if {*content} - {"above"} != {"format", "save", "files"} or content["format"] != _RECORD_FORMAT:
            raise ValueError("it is not of a format that is known here")
        changes = tuple(FileChange(name, *digests) for name, digests in content["files"].items())
        for each in changes:
            if not is_plain_name(each.name):
                raise ValueError(f"{each.name[:80]!r} is no plain file of the folder")
            if not _DIGEST.fullmatch(each.after) or not _DIGEST.fullmatch(each.before or each.after):
                raise ValueError(f"a digest of {each.name[:80]!r} is none")
    except (ValueError, TypeError, AttributeError, RecursionError) as error:
        raise _no_record(folder, f"is not one that a save writes: {error}") from None
    return changes


def is_plain_name(name: str) -> bool:
    """Whether ``name`` names a visible file in a folder and nothing beyond it."""
    # Backslash and colon, too: on other systems they lead out of the folder.
    return (0 < len(name) <= 200 and name.isprintable() and not name.startswith(".")
            and not any(mark in name for mark in "/\\:"))


def is_model_name(name: str) -> bool:
    """Whether it is the plain name of a model's file in the folder."""
    return is_plain_name(name) and name == name.strip() and name.lower().endswith(fmt.MODEL)


def whole_set(folder: Path, changes: Iterable[FileChange]) -> dict[str, str]:
    """Digests of the files that a record names, as one set ("" for none): the new set, or else the old one.

    The old one counts where nothing new took its place and what was staged is lost. Where every file took its
    place and some were changed since, the record says nothing any more: no file is expected. Raises
    `ScenarioError` that names the files where neither set is whole.
    """
    changes = tuple(changes)
    # What is staged is looked at first: a save that is under way moves it to its place meanwhile.
    for each in changes:
        for path in (folder / STAGE / each.name, folder / each.name):
            if path.is_symlink() and each.before != each.after:
                raise _no_record(folder, f"names {each.name}, which is a link: no save writes one")
    staged = {each.name: digest_in(folder / STAGE, each.name) for each in changes}
    lying = {each.name: digest_in(folder, each.name) for each in changes}
    waiting = [each for each in changes if each.before != each.after
               and (lying[each.name] == each.before or staged[each.name] == each.after)]
    lost = [each.name for each in waiting if staged[each.name] != each.after != lying[each.name]]
    foreign = [each.name for each in changes if lying[each.name] not in (each.before, each.after)]
    if not lost and not foreign:
        return {each.name: each.after for each in changes}
    if all(lying[each.name] == each.before for each in changes):
        return {each.name: each.before for each in changes}
    if not waiting:
        return {}
    raise _torn(folder, foreign or lost)


def digest_in(folder: Path, name: str) -> str:
    """The digest of a plain file as it lies; "" where there is none.

    Raises `ScenarioError` for anything else: a link that leads out, a folder, a device, a monstrous file.
    """
    path = place_of(folder, name)
    with system_errors_told("cannot be read", table=name, value=path), suppress(FileNotFoundError):
        stop_if_not_plain(path, name)
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    return ""


def stop_if_not_plain(path: Path, name: str) -> None:
    """Raise `ScenarioError` where ``path`` is no plain file, or too large for any that is saved here."""
    found = os.lstat(path)
    if not stat.S_ISREG(found.st_mode):
        raise ScenarioError.single("is in the way: it is not a plain file", table=name, value=path)
    if found.st_size > _MOST_BYTES:
        raise ScenarioError.single(f"is larger than {_MOST_BYTES:,} bytes", table=name, value=path)


def _torn(folder: Path, names: Iterable[str]) -> ScenarioError:
    faults = Faults()
    for name in names:
        faults.of_file(name, "is neither what was saved nor what was there before: a save into "
                   "this folder was interrupted, and the file has changed or was lost since")
    faults.add("", None, "", folder, f"holds no whole set of files; {_HOW_TO_GO_ON}")
    return ScenarioError(faults.frame())


def _no_record(folder: Path, problem: str) -> ScenarioError:
    return ScenarioError.single(f"the record of an interrupted save {problem}; {_HOW_TO_GO_ON}",
                                table=f"{STAGE}/{RECORD}", value=folder)
