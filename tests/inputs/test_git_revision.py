"""A scenario of a git revision: the names that git has for it, the ways of keeping it, damage and limits."""

from __future__ import annotations

import os
import random
import shutil
import subprocess
import sys
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
from dulwich.objects import RawObjectID
from dulwich.pack import write_pack_index_v2

import planning_kit as pk
from planning_kit.inputs.format import MAX_FILE_BYTES
from tests.inputs.git_repositories import ALONE, commit, git, outing


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A repository to look at; a test that changes one takes ``folder``."""
    return outing(tmp_path_factory.mktemp("made") / "top")


@pytest.fixture
def folder(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made.parents[1], tmp_path / "top")
    return tmp_path / "top" / "outings" / "small"


def dot_git(folder: Path) -> Path:
    return folder.parents[1] / ".git"


def title_at(folder: Path, revision: str) -> str:
    return pk.scenario_at(folder, revision).settings.title


def refusal(folder: Path, revision: str = "HEAD") -> str:
    with pytest.raises(pk.ScenarioError) as caught:
        pk.scenario_at(folder, revision)
    assert len(caught.value.problems) == 1
    return caught.value.words


NAMES = [
    "HEAD", "@", "HEAD~1", "HEAD^", "HEAD~", "HEAD~2", "HEAD^2", "HEAD^^", "HEAD^2~1", "HEAD^0", "HEAD~0",
    "main", "main~1^1", "side", "plain", "reviewed", "reviewed~1", "refs/heads/side", "heads/side",
    "tags/reviewed", "origin", "origin/main", "origin/main~1", "remotes/origin/main",
    "refs/remotes/origin/HEAD"]


@pytest.mark.parametrize("kept", ["loose", "packed"])
def test_a_name_means_what_it_means_to_git(folder: Path, kept: str) -> None:
    if kept == "packed":
        git(folder, "gc", "-q", "--aggressive")
        assert not (dot_git(folder) / "refs" / "heads" / "main").exists()
        assert not list((dot_git(folder) / "objects").glob("??"))
    for name in NAMES:
        digits = git(folder, "rev-parse", f"{name}^{{commit}}")
        shown = git(folder, "show", f"{digits}:outings/small/scenario.toml")
        expected = shown.split('title = "')[1].split('"')[0]
        for asked in (name, digits, digits.upper(), digits[:4], digits[:11]):
            assert title_at(folder, asked) == expected


def test_what_git_packs_as_changes_of_changes_is_read(folder: Path) -> None:
    settings, choose = (folder / "scenario.toml").read_text(encoding="utf-8"), random.Random(1)
    notes = [f"# {choose.random()}" for _ in range(300)]
    for number in range(30):
        notes[choose.randrange(300)] = f"# {choose.random()}"
        (folder / "scenario.toml").write_text("\n".join([settings, *notes]) + "\n", encoding="utf-8")
        commit(folder, f"longer and longer {number}")
    git(folder, "repack", "-q", "-a", "-d", "-f", "--depth=40", "--window=40")
    (index,) = (dot_git(folder) / "objects" / "pack").glob("*.idx")
    assert "chain length = 5" in git(folder, "verify-pack", "-v", str(index))
    assert [title_at(folder, f"HEAD~{back}") for back in range(30)] == [
        f"longer and longer {29 - back}" for back in range(30)]
    git(folder, "-c", "repack.useDeltaBaseOffset=false", "repack", "-q", "-a", "-d", "-f")
    assert title_at(folder, "HEAD~29") == "longer and longer 0"
    pack = next((dot_git(folder) / "objects" / "pack").glob("*.pack"))
    git(folder, "index-pack", "--index-version=1", str(pack))
    assert title_at(folder, "HEAD~29") == "longer and longer 0"


@pytest.mark.parametrize("revision", [
    "no-such", "HEAD~99", "HEAD^3", "HEAD@{1}", ":/one", "main..side", "^main", "-q", "../../../etc/passwd",
    "refs/../HEAD", "..", "HEAD\n", "a\0b", "\udcff", "main ", "0" * 40, "0000", "HEAD^{tree}", "refs/heads",
    "config", "~1", " ", "x" * 5000])
def test_a_name_that_leads_nowhere_is_one_fault(made: Path, revision: str) -> None:
    assert refusal(made, revision)


def test_what_is_not_understood_says_what_is(made: Path) -> None:
    assert "HEAD" in refusal(made, "main..side")
    assert "a tag" in refusal(made, "no-such")
    assert "is the name of no commit" in refusal(made, git(made, "rev-parse", "HEAD^{tree}"))


def test_a_name_of_two_commits_is_refused(folder: Path) -> None:
    git(folder, "tag", "side", "main")
    assert "refs/heads/side" in refusal(folder, "side")
    assert title_at(folder, "heads/side") == "one"
    git(folder, "tag", "-f", "side", "refs/heads/side")
    assert title_at(folder, "side") == "one"


def test_digits_of_two_commits_are_refused(folder: Path) -> None:
    seen: dict[str, str] = {}
    parent = git(folder, "rev-parse", "HEAD")
    for number in range(3000):  # 4 digits: two of some 300 commits agree
        data = git(folder, "commit-tree", "HEAD^{tree}", "-p", parent, "-m", str(number))
        if data[:4] in seen:
            break
        seen[data[:4]] = data
    assert "write one of them in full" in refusal(folder, data[:4])
    assert title_at(folder, data) == "two"


# --- ways of keeping ---

def test_a_linked_worktree(folder: Path, tmp_path: Path) -> None:
    git(folder, "worktree", "add", "-q", str(tmp_path / "linked"), "side")
    linked = tmp_path / "linked" / "outings" / "small"
    assert title_at(linked, "HEAD") == "one"
    assert title_at(linked, "main") == "two"
    assert title_at(folder, "HEAD") == "two"
    (tmp_path / "linked").rename(tmp_path / "moved")
    assert "that was moved" in refusal(tmp_path / "moved" / "outings" / "small")


def test_a_submodule(folder: Path, tmp_path: Path) -> None:
    git(tmp_path, "init", "-q", "above")
    git(tmp_path / "above", "-c", "protocol.file.allow=always", "submodule", "add", "-q",
        str(folder.parents[1]), "sub")
    assert title_at(tmp_path / "above" / "sub" / "outings" / "small", "HEAD") == "two"


def test_a_git_file_that_leads_to_another_repository_is_refused(folder: Path, tmp_path: Path) -> None:
    planted = tmp_path / "planted" / "outings" / "small"
    shutil.copytree(folder, planted)
    mark = tmp_path / "planted" / ".git"
    mark.write_text(f"gitdir: {dot_git(folder)}\n", encoding="utf-8")
    assert "no repository of this checkout" in refusal(planted)
    mark.write_text("nonsense\0", encoding="utf-8")
    assert refusal(planted)
    mark.unlink()
    mark.symlink_to(dot_git(folder))
    assert "is a link" in refusal(planted)


def test_a_shallow_clone_says_what_it_lacks(folder: Path, tmp_path: Path) -> None:
    git(tmp_path, "clone", "-q", "--depth=1", f"file://{folder.parents[1]}", "shallow")
    shallow = tmp_path / "shallow" / "outings" / "small"
    assert title_at(shallow, "HEAD") == "two"
    assert "does not hold it" in refusal(shallow, "HEAD~1")


@pytest.mark.parametrize("name", ["alternates", "http-alternates"])
def test_objects_of_another_repository_are_refused(folder: Path, name: str) -> None:
    (dot_git(folder) / "objects" / "info" / name).write_text("/elsewhere/objects\n", encoding="utf-8")
    assert "borrows objects" in refusal(folder)


def test_a_git_folder_that_says_its_objects_are_elsewhere_is_refused(folder: Path) -> None:
    (dot_git(folder) / "commondir").write_text("/elsewhere\n", encoding="utf-8")
    assert "commondir" in refusal(folder)


@pytest.mark.parametrize("name", ["objects", "refs/heads", "objects/pack", "HEAD", "packed-refs", "config"])
def test_links_out_of_the_repository_are_not_followed(folder: Path, tmp_path: Path, name: str) -> None:
    if name in ("objects/pack", "packed-refs"):
        git(folder, "gc", "-q")
    place = dot_git(folder) / name
    place.rename(tmp_path / "away")
    place.symlink_to(tmp_path / "away")
    assert "a link to elsewhere" in refusal(folder, "main" if name != "HEAD" else "HEAD")


def test_other_kinds_of_repository_are_named(tmp_path: Path, folder: Path) -> None:
    git(tmp_path, "init", "-q", "--object-format=sha256", "long")
    shutil.copytree(folder, tmp_path / "long" / "small")
    commit(tmp_path / "long" / "small", "long")
    assert "SHA-256" in refusal(tmp_path / "long" / "small")
    (tmp_path / "long" / ".git" / "config").unlink()
    assert "SHA-256" in refusal(tmp_path / "long" / "small")
    (dot_git(folder) / "config").write_text("[extensions]\n\trefStorage = reftable\n", encoding="utf-8")
    assert "reftable" in refusal(folder)


def test_replace_refs_are_ignored(folder: Path) -> None:
    git(folder, "replace", "-f", "HEAD", "side~1")
    assert 'title = "one"' in git(folder, "show", "HEAD:outings/small/scenario.toml")
    assert title_at(folder, "HEAD") == "two"


# --- what is written out ---

def test_a_folder_that_the_working_copy_no_longer_has(folder: Path) -> None:
    shutil.rmtree(folder.parent)
    assert title_at(folder, "HEAD") == "two"
    assert "holds no folder outings/other" in refusal(folder.parent / "other", "HEAD")
    assert "holds no folder" in refusal(folder / "steps.csv", "HEAD")


def test_a_scenario_at_the_top(tmp_path: Path) -> None:
    folder = outing(tmp_path / "top")
    git(folder, "init", "-q")
    commit(folder, "inner")
    assert title_at(folder, "HEAD") == "inner"


def test_links_folders_and_submodules_are_left_out(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (folder / "log.csv").symlink_to("/etc/passwd")
    (folder / "deep").mkdir()
    (folder / "deep" / "crew.csv").write_text("x", encoding="utf-8")
    (folder / ".unfinished-save").mkdir()
    (folder / ".unfinished-save" / "steps.csv").write_text("unfinished", encoding="utf-8")
    (folder / ".unfinished-save" / "deeper").mkdir()
    (folder / ".unfinished-save" / "deeper" / "steps.csv").write_text("x", encoding="utf-8")
    git(folder, "init", "-q", "module")
    git(folder / "module", "commit", "-q", "--allow-empty", "-m", "m")
    commit(folder, "all kinds")
    committed = set(git(folder, "ls-tree", "--name-only", "HEAD").split())
    assert {"log.csv", "deep", "module", ".unfinished-save"} <= committed
    seen: set[str] = set()

    def look(place: str) -> pk.Scenario:
        seen.update(str(each.relative_to(place)) for each in Path(place).rglob("*"))
        return pk.load_scenario(folder)

    monkeypatch.setattr("planning_kit.inputs.git_revision.load_any_format", look)
    pk.scenario_at(folder, "HEAD")
    own = {each.name for each in folder.iterdir() if each.is_file() and not each.is_symlink()}
    assert seen == own | {".unfinished-save", ".unfinished-save/steps.csv"}


def raw_tree(folder: Path, names: list[bytes]) -> str:
    """A tree that git would not make: the scenario's files, and plain files of these names."""
    entries = {each.name.encode(): git(folder, "hash-object", "-w", each.name) for each in folder.iterdir()}
    empty = git(folder, "hash-object", "-w", "--stdin")  # what is given is empty
    listed = [*entries.items(), *((name, empty) for name in names)]
    data = b"".join(b"100644 " + name + b"\0" + bytes.fromhex(digits) for name, digits in listed)
    outer = subprocess.run(["git", "hash-object", "-t", "tree", "-w", "--literally", "--stdin"], input=data,
                           cwd=folder, capture_output=True, check=True, env=ALONE).stdout.decode().strip()
    for name in ("small", "outings"):
        outer = git(folder, "mktree", given=f"040000 tree {outer}\t{name}\n")
    return git(folder, "commit-tree", outer, "-m", "raw")


@pytest.mark.parametrize("name", [
    b"..", b".", b"../../escaped", b"/tmp/escaped", b".git", b".GIT", b"a\\b", b"C:x", b"nul", b"CON.txt",
    b"\xff", b"", b"a\nb", b"dot.", b"x" * 4000])
def test_a_name_that_is_no_plain_file_is_left_out(folder: Path, name: bytes) -> None:
    before = set(folder.parents[2].rglob("*"))
    assert title_at(folder, raw_tree(folder, [name])) == "on disk"
    new = {each for each in folder.parents[2].rglob("*") if ".git" not in each.parts} - before
    assert not new


def test_two_files_of_one_name_are_damage(folder: Path) -> None:
    assert refusal(folder, raw_tree(folder, [b"steps.csv"]))


def test_a_file_that_is_too_large_is_a_fault_where_it_is_wanted(folder: Path) -> None:
    (folder / "video.bin").write_bytes(bytes(MAX_FILE_BYTES * 3))
    commit(folder, "with a video")
    assert title_at(folder, "HEAD") == "with a video"
    git(folder, "gc", "-q")
    assert title_at(folder, "HEAD") == "with a video"
    (folder / "steps.csv").write_bytes(b"x" * (MAX_FILE_BYTES + 1))
    commit(folder, "too long")
    with pytest.raises(pk.ScenarioError, match=r"steps.*larger than 50,000,000 bytes"):
        pk.scenario_at(folder, "HEAD")


def test_too_many_files_are_a_fault(folder: Path) -> None:
    names = [f"f{number:04}".encode() for number in range(1001)]
    assert "more than 1,000 files" in refusal(folder, raw_tree(folder, names))


# --- damage ---

@pytest.mark.parametrize(("name", "data"), [
    ("HEAD", b""), ("HEAD", b"ref: HEAD\n"), ("HEAD", b"ref: refs/heads/../../HEAD\n"),
    ("HEAD", b"\xff\0\xff"), ("HEAD", b"ref: /etc/passwd\n"), ("HEAD", b"0" * 40), ("HEAD", None),
    ("HEAD", b"ref: refs/heads/none"), ("refs/heads/main", b""),
    ("refs/heads/main", b"ref: refs/heads/main\n"), ("refs/heads/main", b"ref: refs/tags/loop\n")])
def test_damaged_names(folder: Path, name: str, data: bytes | None) -> None:
    git(folder, "pack-refs", "--all")  # an older value that must not come back
    (dot_git(folder) / "refs" / "tags" / "loop").write_text("ref: refs/heads/main\n", encoding="utf-8")
    (dot_git(folder) / name).unlink(missing_ok=True)
    assert name == "HEAD" or title_at(folder, "HEAD") == "two"
    if data is not None:
        (dot_git(folder) / name).write_bytes(data)
    assert refusal(folder, "HEAD")


def test_a_pipe_is_not_waited_for(folder: Path) -> None:
    (dot_git(folder) / "refs" / "heads" / "main").unlink()
    os.mkfifo(dot_git(folder) / "refs" / "heads" / "main")
    assert refusal(folder, "main")


def test_an_object_that_unpacks_without_end_is_stopped(folder: Path) -> None:
    digits = git(folder, "rev-parse", "HEAD:outings/small/steps.csv")
    place = dot_git(folder) / "objects" / digits[:2] / digits[2:]
    place.chmod(0o644)
    for head in (b"blob 100\0", b"blob 50000000\0", b"blob -1\0", b"blob x\0", b"tree 0\0", b"a" * 5000):
        place.write_bytes(zlib.compress(head + bytes(50_000_000), 1))
        with pytest.raises(pk.ScenarioError):
            pk.scenario_at(folder, "HEAD")


def number(value: int, first_bits: int = 7, first: int = 0) -> bytes:
    """A number as packs hold it, the lowest bits first."""
    data = [value & (1 << first_bits) - 1 | first]
    value >>= first_bits
    while value:
        data[-1] |= 128
        data.append(value & 127)
        value >>= 7
    return bytes(data)


def entry(kind: int, size: int, data: bytes, base: bytes = b"") -> bytes:
    return number(size, 4, kind << 4) + base + zlib.compress(data, 1)


BOMBS = {
    "more than declared": lambda own: entry(3, 100, bytes(50_000_000)),
    "less than declared": lambda own: entry(3, 100, b"x"),
    "too large": lambda own: entry(3, 4_000_000_000, bytes(50_000_000)),
    "another kind": lambda own: entry(1, 1, b"x"),
    "no kind": lambda own: entry(5, 1, b"x"),
    "a change of itself": lambda own: entry(7, 3, number(0) * 2 + b"\0", own),
    "a change of its own place": lambda own: entry(6, 3, number(0) * 2 + b"\0", b"\0"),
    "a change of what is before the pack": lambda own: entry(6, 3, number(0) * 2 + b"\0", b"\x7f"),
    "a change of what there is not": lambda own: entry(7, 3, number(0) * 2 + b"\0", bytes(20)),
    "a number without end": lambda own: b"\xff" * 1000,
}


def in_a_pack(folder: Path, name: str, made: Callable[[bytes], bytes], *others: tuple[bytes, bytes]) -> None:
    """Replace the object ``name`` by what ``made`` gives, in a pack with ``others``: hash and entry."""
    digits = git(folder, "rev-parse", name)
    (dot_git(folder) / "objects" / digits[:2] / digits[2:]).unlink()
    entries = [(bytes.fromhex(digits), made(bytes.fromhex(digits))), *others]
    data, places = b"PACK" + bytes([0, 0, 0, 2, 0, 0, 0, len(entries)]), []
    for own, packed in entries:
        places.append((RawObjectID(own), len(data), 0))
        data += packed
    pack = dot_git(folder) / "objects" / "pack" / "pack-made.pack"
    pack.write_bytes(data + bytes(20))
    with pack.with_suffix(".idx").open("wb") as stream:
        write_pack_index_v2(stream, sorted(places), bytes(20))


@pytest.mark.parametrize("bomb", BOMBS)
def test_a_pack_that_is_made_to_harm_is_a_fault(folder: Path, bomb: str) -> None:
    in_a_pack(folder, "HEAD:outings/small/steps.csv", BOMBS[bomb])
    with pytest.raises(pk.ScenarioError):
        pk.scenario_at(folder, "HEAD")


def test_changes_that_grow_without_end_are_stopped(folder: Path) -> None:
    copies = 100_000  # each a copy of 64 kB
    change = number(1_000_000) + number(65536 * copies) + b"\x80" * copies
    in_a_pack(folder, "HEAD:outings/small/steps.csv", lambda own: entry(7, len(change), change, b"b" * 20),
              (b"b" * 20, entry(3, 1_000_000, bytes(1_000_000))))
    with pytest.raises(pk.ScenarioError, match="larger than 50,000,000"):
        pk.scenario_at(folder, "HEAD")


@pytest.mark.parametrize("kept", ["loose", "packed"])
def test_damage_anywhere_is_a_fault_or_no_difference(folder: Path, kept: str) -> None:
    """Bits are changed, or the end cut off, in any file of the repository."""
    if kept == "packed":
        git(folder, "gc", "-q")
    said = {name: title_at(folder, name) for name in ("HEAD", "side", "reviewed", "plain~1")}
    choose, refused = random.Random(7), 0
    files = sorted(each for each in dot_git(folder).rglob("*")
                   if each.is_file() and each.parent.name != "hooks")
    files += [each for each in files if each.suffix in (".idx", ".pack")] * 10
    for place in files * (2 if kept == "packed" else 1):
        whole = place.read_bytes()
        bad = bytearray(whole)
        for _ in range(choose.choice([1, 1, 20])):
            bad[choose.randrange(len(bad))] ^= 1 << choose.randrange(8)
        place.chmod(0o644)
        place.write_bytes(bad[: choose.choice([len(bad), len(bad), choose.randrange(len(bad) + 1)])])
        for revision in [*said, f"{choose.randrange(16**4):04x}"]:
            try:
                scenario = pk.scenario_at(folder, revision)
            except pk.ScenarioError:
                refused += 1
            else:
                assert scenario.settings.title in {*said.values(), "two"}
        place.write_bytes(whole)
    assert refused > len(files) // 4
    assert {name: title_at(folder, name) for name in said} == said


def test_dulwich_is_imported_only_when_a_revision_is_read(folder: Path) -> None:
    git(folder, "gc", "-q")
    program = f"""if True:
        import sys, planning_kit as pk
        assert not any(name.split('.')[0] == 'dulwich' for name in sys.modules)
        pk.scenario_at({str(folder)!r}, 'HEAD')
        print(*sorted(name for name in sys.modules if name.startswith('dulwich.')))"""
    done = subprocess.run([sys.executable, "-W", "error", "-c", program], capture_output=True, text=True,
                          check=True)
    assert "dulwich.pack" in done.stdout
    assert not {"dulwich.repo", "dulwich.config", "dulwich.client"} & set(done.stdout.split())
