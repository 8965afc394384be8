"""A scenario as it stood in a git revision: read from the repository's objects; nothing is run."""

import os
import re
import tempfile
from collections.abc import Container, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from stat import S_ISDIR, S_ISREG

from planning_kit.inputs.faults import ScenarioError, as_path
from planning_kit.inputs.folder_files import STAGE, is_model_name, is_plain_name
from planning_kit.inputs.format import CAMPAIGN_FILE, MAX_FILE_BYTES, SHARED_TABLES
from planning_kit.inputs.git_repository import Repository, TooLarge, is_ref_name, no_such_scenario
from planning_kit.inputs.scenario import Scenario, load_any_format

_MOST_FILES = 1_000
_MOST_BYTES = 200_000_000
_MOST_TAGS = 10
_OF_A_CAMPAIGN = {CAMPAIGN_FILE, *(table.file for table in SHARED_TABLES)}
_UNDERSTOOD = ("it is no revision of this repository; give the hash of a commit (4 digits of it or more), a "
               "branch, a tag, a branch of a remote (origin/main) or HEAD; after it, where wanted, ~2 (two "
               "commits before) or ^2 (second parent)")
_RULES = ("{}", "refs/{}", "refs/tags/{}", "refs/heads/{}", "refs/remotes/{}", "refs/remotes/{}/HEAD")
_WINDOWS_NAME = re.compile(r"(?i)(?!(con|prn|aux|nul|com\d|lpt\d)(\.|$))[^*?\"<>|]+(?<![. ])")


def scenario_at(folder: str | Path, revision: str) -> Scenario:
    """The scenario of ``folder`` as committed in git ``revision`` (a hash, a branch, a tag, ``HEAD~1``).

    The folder must lie in a git repository. git need not be installed; nothing that the repository names is
    run or fetched, and the working copy is not touched. A repository that borrows objects of another is
    refused. A revision of format 1 is upgraded in memory: ``scenario.is_upgraded``, and its repr says so.
    Raises `ScenarioError` when there is no such revision, the repository does not hold it, the
    folder is not in it, or its files have faults.
    """
    path = as_path(folder, "folder").absolute()
    if not isinstance(revision, str) or not revision.strip():
        raise ScenarioError.single("is not the name of a git revision", column="revision", value=revision)
    with tempfile.TemporaryDirectory() as place:
        with _damage_told(revision), Repository.around(path.resolve()) as repository:
            commit = _commit_named(repository, revision)
            tree = _folder_in(repository, commit, repository.parts, revision)
            # With what a campaign above it says, and nothing else that may lie above.
            inner = Path(place) / "outing"
            inner.mkdir()
            _copy(repository, tree, inner, revision)
            if repository.parts:
                above = _folder_in(repository, commit, repository.parts[:-1], revision)
                _copy(repository, above, Path(place), revision, _OF_A_CAMPAIGN)
        return replace(load_any_format(inner), folder=path)


@contextmanager
def _damage_told(revision: str) -> Iterator[None]:
    """Whatever a damaged repository brings about, as a `ScenarioError`."""
    try:
        yield
    except ScenarioError:
        raise
    except TooLarge:
        raise no_such_scenario(f"an object that is needed is larger than {MAX_FILE_BYTES:,} bytes",
                               revision) from None
    except OSError as fault:
        why = f"the repository cannot be read: {fault.strerror or fault}"
        raise no_such_scenario(why, revision) from None
    except Exception:  # what a decoder makes of damage has no common kind
        raise no_such_scenario("the repository is damaged: a file cannot be unpacked", revision) from None


def _commit_named(repository: Repository, revision: str) -> str:
    """The hash of the commit that ``revision`` names."""
    parsed = re.fullmatch(r"(?P<name>[^~^:\0]+)(?P<steps>([~^]\d{0,6})*)", revision)
    if parsed is None:
        raise no_such_scenario(_UNDERSTOOD, revision)
    commit = _start(repository, "HEAD" if parsed["name"] == "@" else parsed["name"])
    for mark, digits in re.findall(r"([~^])(\d*)", parsed["steps"]):
        count = int(digits or 1)
        for number in [1] * count if mark == "~" else [count] * (count > 0):
            parents = _head(repository, commit, "commit", "parent")
            if number > len(parents):
                raise no_such_scenario("it goes beyond the first commit, or to a parent that is not there",
                                       revision)
            commit = parents[number - 1]
    return commit


def _start(repository: Repository, name: str) -> str:
    """The commit of a name without steps: a hash, else a branch or tag, else the first digits of a hash."""
    if re.fullmatch(r"[0-9a-f]{40}", name.lower()):
        return _peeled(repository, name.lower())
    found: dict[str, str] = {}
    for rule in _RULES if name != "HEAD" else _RULES[:1]:
        full = rule.format(name)
        if is_ref_name(full) and (digits := repository.ref(full)):
            found.setdefault(_peeled(repository, digits), full)
    if not found and re.fullmatch(r"[0-9a-f]{4,39}", name.lower()):
        alike = repository.beginning_with(name.lower())
        found = {_peeled(repository, each): each for each in alike if _may_be_commit(repository, each)}
    if len(found) > 1:
        several = " or ".join(sorted(found.values())[:3])
        raise no_such_scenario(f"it may be {several}; write one of them in full", name)
    if not found:
        raise no_such_scenario(_UNDERSTOOD, name)
    return next(iter(found))


def _may_be_commit(repository: Repository, digits: str) -> bool:
    try:
        return repository.read(digits)[0] in ("commit", "tag")
    except TooLarge:
        return False


def _peeled(repository: Repository, digits: str) -> str:
    """The commit that a commit is or a tag leads to."""
    for _ in range(_MOST_TAGS):
        kind, _ = repository.read(digits)
        if kind == "commit":
            return digits
        if kind != "tag":
            break
        digits = _head(repository, digits, "tag", "object")[0]
    raise no_such_scenario("it is the name of no commit", digits)


def _head(repository: Repository, digits: str, kind: str, key: str) -> list[str]:
    """The hashes under ``key`` in the head of a commit or a tag."""
    found, data = repository.read(digits)
    head = data.partition(b"\n\n")[0].decode("utf-8", "replace")
    if found != kind:
        raise no_such_scenario(f"it is a {found} where a {kind} should be: the repository is damaged", digits)
    return re.findall(rf"(?m)^{key} ([0-9a-f]{{40}})$", head)


def _entries(repository: Repository, tree: str) -> Iterator[tuple[str, int, str]]:
    """Name, mode and hash of all that a folder holds."""
    from dulwich.objects import parse_tree
    kind, data = repository.read(tree)
    if kind != "tree":
        raise no_such_scenario(f"it is a {kind} where a folder should be: the repository is damaged", tree)
    for name, mode, digits in parse_tree(data, 20):
        yield name.decode("utf-8", "surrogateescape"), mode, digits.decode("ascii")


def _folder_in(repository: Repository, commit: str, parts: tuple[str, ...], revision: str) -> str:
    """The tree of the folder at ``parts`` in ``commit``."""
    tree = _head(repository, commit, "commit", "tree")[0]
    for number, part in enumerate(parts, start=1):
        found = [digits for name, mode, digits in _entries(repository, tree)
                 if name == part and S_ISDIR(mode)]
        if len(found) != 1:
            raise no_such_scenario(f"it holds no folder {'/'.join(parts[:number])}", revision)
        tree = found[0]
    return tree


def _plain_files(repository: Repository, tree: str, unfinished: str = STAGE) -> Iterator[tuple[str, str]]:
    """Way and hash of each file of a folder: no links, submodules, folders but that of an unfinished save."""
    for name, mode, digits in _entries(repository, tree):
        if name == unfinished and S_ISDIR(mode):
            yield from ((f"{name}/{each}", inner) for each, inner in _plain_files(repository, digits, ""))
        elif S_ISREG(mode) and is_plain_name(name) and (os.name != "nt" or _WINDOWS_NAME.fullmatch(name)):
            yield name, digits


def _copy(repository: Repository, tree: str, place: Path, revision: str,
          names: Container[str] | None = None) -> None:
    """Write plain files of a folder of a revision to one on disk: all, or those of ``names`` and models."""
    size_bytes = 0
    every = ((name, digits) for name, digits in _plain_files(repository, tree)
             if names is None or name in names or is_model_name(name))
    for number, (name, digits) in enumerate(every, start=1):
        kind, data, target = "blob", b"", place / name
        target.parent.mkdir(exist_ok=True)
        with target.open("xb") as stream:
            try:
                kind, data = repository.read(digits)
                stream.write(data)
            except TooLarge:  # a stand-in: the loader says which file it is, if it is one that it wants
                stream.truncate(MAX_FILE_BYTES + 1)
        size_bytes += len(data)
        if number > _MOST_FILES or size_bytes > _MOST_BYTES:
            raise no_such_scenario(f"the folder holds more than {_MOST_FILES:,} files or {_MOST_BYTES:,} "
                                   "bytes; keep a scenario in a folder of its own", revision)
        if kind != "blob":
            raise no_such_scenario(f"{target.name} is a {kind}: the repository is damaged", revision)
