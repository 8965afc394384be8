"""A git repository as data: where it is, what its names stand for, the objects it holds.

git itself runs commands that a repository names (a partial clone's fetch, hooks, filters), so it is not
asked: a folder may be a stranger's. Here files are read and nothing else: no command, no network, no setting
but those that say how and for whom the repository is kept. Every file must be a plain one inside the
repository, and every object must hash to its name. Packs are taken apart by dulwich's lowest layer; those
above it would follow settings and other repositories.
"""

from __future__ import annotations

import hashlib
import re
import stat
import zlib
from bisect import bisect_left
from contextlib import ExitStack
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, Self

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.format import MAX_FILE_BYTES

if TYPE_CHECKING:
    from dulwich.pack import PackIndex

_KINDS = {1: "commit", 2: "tree", 3: "blob", 4: "tag"}
_MOST_SYMBOLIC = 5  # as many as git follows
_LONGEST_CHAIN_BYTES = 20 * MAX_FILE_BYTES  # an object and all that it is a change of
_LONGEST_PACKED_REFS_BYTES = 100_000_000
_MOST_ALIKE = 100
_REF = re.compile(r"(?!.*(\.\.|//|/\.|@\{|\.lock(/|$)|[./]$))"  # as git has it; never a way out of a folder
                  r"(refs/[^\x00-\x20\x7f~^:?*\[\\]+|[A-Z_]+)")
_OF_THE_CHECKOUT = ("refs/bisect/", "refs/worktree/", "refs/rewritten/")


class TooLarge(Exception):  # noqa: N818 - not a fault yet: a file that no one asks for may be so
    """An object that is larger than any file of a scenario."""


def is_ref_name(name: str) -> bool:
    """Whether ``name`` may be the full name of a branch, a tag or the like."""
    return _REF.fullmatch(name) is not None


def no_such_scenario(why: str, value: object) -> ScenarioError:
    """The fault of a revision that cannot be read."""
    return ScenarioError.single(f"git has no such scenario: {why}", column="revision", value=value)


@dataclass(eq=False)
class Repository:
    """A repository, and ``parts``: the way from the top of its checkout to the folder that was asked about.

    ``own`` holds what is this checkout's alone (``HEAD``), ``common`` all else; the two are one folder but in
    a linked worktree. A context manager, because packs stay open. Raises `ScenarioError` for what is missing
    or refused; damage can raise anything, so a caller is to guard.
    """

    parts: tuple[str, ...]
    own: Path
    common: Path
    _open: ExitStack = field(default_factory=ExitStack)

    @classmethod
    def around(cls, folder: Path) -> Self:
        """The repository whose checkout ``folder`` (resolved; it may be gone) lies in."""
        for top in (folder, *folder.parents):
            mark = top / ".git"
            if mark.is_symlink():
                raise no_such_scenario(".git is a link; only a repository in its own place is read", mark)
            if mark.exists():
                own, common = _named_by(mark) if mark.is_file() else (mark, mark)
                found = cls(folder.relative_to(top).parts, own, common)
                found._stop_if_refused()
                return found
        raise no_such_scenario("the folder is in no git repository", folder)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    def _stop_if_refused(self) -> None:
        if self.own == self.common and (self.own / "commondir").exists():
            raise no_such_scenario("its .git folder says that its objects are elsewhere (commondir); only "
                                   "its own are read; give two folders instead", self.own)
        for name in ("alternates", "http-alternates"):
            if (self.common / "objects" / "info" / name).exists():
                raise no_such_scenario(f"the repository borrows objects from another (objects/info/{name}); "
                                       "only its own are read; give two folders instead", self.common)
        if _setting(self.common, "refstorage", "files") != "files" or (self.common / "reftable").exists():
            raise no_such_scenario("the repository keeps its names in a table (reftable), which is not read "
                                   "here", self.common)
        if _setting(self.common, "objectformat", "sha1") != "sha1":
            self._stop_at_sha256()
        if not (self.own / "HEAD").exists() or not (self.common / "objects").is_dir():
            raise no_such_scenario("its .git is no repository: it lacks HEAD or objects", self.own)

    def _stop_at_sha256(self) -> None:
        raise no_such_scenario("the repository names its objects by SHA-256; only SHA-1 is read here",
                               self.common)

    # --- names ---

    def ref(self, name: str) -> str | None:
        """The hash that a full name (``HEAD``, ``refs/heads/main``) stands for; None where there is none."""
        given = name
        for _ in range(_MOST_SYMBOLIC + 1):
            if not is_ref_name(name):
                break
            is_own = not name.startswith("refs/") or name.startswith(_OF_THE_CHECKOUT)
            text = _text(self.own if is_own else self.common, name)
            if text is None:  # and not where it is empty: then it is damaged, and what was packed is older
                text = self._packed_refs.get(name)
            if text is None:
                return None
            if re.match(r"[0-9a-f]{64}\b", text):
                self._stop_at_sha256()
            if found := re.match(r"[0-9a-f]{40}\b", text):
                return found[0]
            if not text.startswith("ref:"):
                break
            name = text.removeprefix("ref:").strip()
        raise no_such_scenario("the name leads to no hash: the repository is damaged", given)

    @cached_property
    def _packed_refs(self) -> dict[str, str]:
        lines = (_text(self.common, "packed-refs", _LONGEST_PACKED_REFS_BYTES) or "").split("\n")
        pairs = (line.split(" ", 1) for line in lines if line[:1] not in "#^" and " " in line)
        return {name.strip(): digits for digits, name in pairs}

    def beginning_with(self, digits: str) -> list[str]:
        """The hashes that begin with ``digits`` (hexadecimal, 2 at least); some of them, if they are many."""
        found = set()
        folder = self.common / "objects" / digits[:2]
        if folder.is_dir():
            found = {digits[:2] + each.name for each in folder.iterdir() if len(each.name) == 38}
        low = bytes.fromhex(digits.ljust(40, "0"))
        for index, _ in self._packs:
            first = bisect_left(range(len(index)), low, key=index.object_sha_at_position)
            last = min(first + _MOST_ALIKE, len(index))
            found.update(index.object_sha_at_position(at).hex() for at in range(first, last))
        return sorted(each for each in found if each.startswith(digits))[:_MOST_ALIKE]

    # --- objects ---

    def read(self, name: str) -> tuple[str, bytes]:
        """Kind (commit, tree, blob, tag) and bytes of the object of a hash. Raises `TooLarge`."""
        found = self._loose(name) or self._packed(name)
        if found is None:
            raise no_such_scenario("the repository does not hold it (a shallow or partial clone?), and "
                                   "nothing is fetched", name)
        kind, data = found
        head = f"{kind} {len(data)}".encode() + b"\0"
        if hashlib.sha1(head + data, usedforsecurity=False).hexdigest() != name:
            raise no_such_scenario("the object is not what its name says: the repository is damaged", name)
        return kind, data

    def _loose(self, name: str) -> tuple[str, bytes] | None:
        packed = _bytes(self.common, f"objects/{name[:2]}/{name[2:]}")
        if packed is None:
            return None
        unpacker = zlib.decompressobj()
        head, nul, start = unpacker.decompress(packed, 64).partition(b"\0")
        kind, size = head.decode("ascii").split(" ")
        if int(size) > MAX_FILE_BYTES:
            raise TooLarge(size)
        data = start + unpacker.decompress(unpacker.unconsumed_tail, MAX_FILE_BYTES + 1)
        if not nul or len(data) != int(size):
            raise ValueError(f"object {name} is cut short or too long")
        return kind, data

    def _packed(self, name: str) -> tuple[str, bytes] | None:
        for index, place in self._packs:
            try:
                offset = index.object_offset(bytes.fromhex(name))  # type: ignore[arg-type]
            except KeyError:
                continue
            with place.open("rb") as pack:
                return _unpacked(pack, index, offset)
        return None

    @cached_property
    def _packs(self) -> list[tuple[PackIndex, Path]]:
        """The index and the place of every pack."""
        from dulwich.object_format import SHA1
        from dulwich.pack import load_pack_index
        found = []
        for listed in sorted((self.common / "objects" / "pack").glob("*.idx")):
            pack = listed.with_suffix(".pack")
            if _plain(self.common, listed) and _plain(self.common, pack):
                index = load_pack_index(listed, SHA1)
                self._open.callback(index.close)
                found.append((index, pack))
        return found


def _unpacked(pack: BinaryIO, index: PackIndex, offset: int) -> tuple[str, bytes]:
    """The object at ``offset``: whole, or another and the changes to it. Sizes are looked at first."""
    from dulwich.pack import OFS_DELTA, REF_DELTA, apply_delta, unpack_object
    changes, total = [], 0
    while True:
        size = _declared_size(pack, offset)
        total += size + 10_000  # so that a ring of empty changes ends, too
        if size > MAX_FILE_BYTES or total > _LONGEST_CHAIN_BYTES:
            raise TooLarge(size)
        pack.seek(offset)
        part = unpack_object(pack.read, hashlib.sha1)[0]
        data = b"".join(part.decomp_chunks)
        if part.pack_type_num not in (OFS_DELTA, REF_DELTA):
            break
        changes.append(data)
        base = part.delta_base
        offset = offset - base if isinstance(base, int) else index.object_offset(base)  # type: ignore[arg-type]
    for change in reversed(changes):
        _, after = _varint(change[:20], 0)
        if _varint(change[:40], after)[0] > MAX_FILE_BYTES:
            raise TooLarge
        data = b"".join(apply_delta(data, change))
    return _KINDS[part.pack_type_num], data


def _declared_size(pack: BinaryIO, offset: int) -> int:
    """Bytes of what lies at ``offset``, as its head says; 4 bits in the first byte, then 7 in each."""
    pack.seek(offset)
    head = pack.read(20)
    return head[0] & 15 if head[0] < 128 else head[0] & 15 | _varint(head, 1)[0] << 4


def _varint(data: bytes, at: int) -> tuple[int, int]:
    """The number at ``at``, 7 bits a byte and the lowest first, and where it ends."""
    value = shift = 0
    while True:
        value |= (data[at] & 127) << shift
        at, shift = at + 1, shift + 7
        if data[at - 1] < 128:
            return value, at


def _named_by(mark: Path) -> tuple[Path, Path]:
    """The folders that a ``.git`` file names: a linked worktree's or a submodule's, if they name it back.

    Without that, a folder could pass off another repository of this machine as its own.
    """
    own = Path(mark.parent, (_text(mark.parent, ".git") or "").removeprefix("gitdir:").strip()).resolve()
    if own.is_dir() and own != mark.parent:
        back, common = _text(own, "gitdir"), _text(own, "commondir")
        if back is None and common is None:
            checkout = _setting(own, "worktree", "")
            if checkout and Path(own, checkout).resolve() == mark.parent:
                return own, own
        elif (back and common and Path(own, back).resolve() == mark
              and own.parent.name == "worktrees" and Path(own, common).resolve() == own.parent.parent):
            return own, own.parent.parent
    raise no_such_scenario("the .git file names a folder that is no repository of this checkout (a worktree "
                           "that was moved?); give two folders instead", mark)


def _setting(repository: Path, key: str, default: str) -> str:
    """A setting of the repository's own file, under any heading; no file that it includes is looked at."""
    config = _text(repository, "config") or ""
    found = re.findall(rf"(?im)(?:^|\])[ \t]*{key}[ \t]*=[ \t]*(.*?)[ \t\r]*$", config)
    return found[-1].strip('"') if found else default


def _text(root: Path, name: str, longest_bytes: int = MAX_FILE_BYTES) -> str | None:
    data = _bytes(root, name, longest_bytes)
    return None if data is None else data.decode("utf-8", "surrogateescape").strip()


def _bytes(root: Path, name: str, longest_bytes: int = 2 * MAX_FILE_BYTES) -> bytes | None:
    """The bytes of a file of the repository, or None."""
    place = _plain(root, root / name)
    if place is None:
        return None
    with place.open("rb") as stream:
        data = stream.read(longest_bytes + 1)
    if len(data) > longest_bytes:
        raise TooLarge(len(data))
    return data


def _plain(root: Path, place: Path) -> Path | None:
    """``place`` if it is a plain file (a pipe would never end) of the repository at ``root``; else None."""
    try:
        true = place.resolve(strict=True)
        is_plain = stat.S_ISREG(true.stat().st_mode)
    except (FileNotFoundError, NotADirectoryError):
        return None
    if not true.is_relative_to(root):
        raise no_such_scenario("a file of the repository is a link to elsewhere; it is not followed", place)
    return place if is_plain else None
