"""A scenario as it stood in a git revision: read from the repository's objects, nothing checked out."""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from dataclasses import replace
from pathlib import Path

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario, load_scenario

_LONGEST_S = 30


def scenario_at(folder: str | Path, revision: str) -> Scenario:
    """The scenario of ``folder`` as committed in git ``revision`` (a hash, a branch, a tag, ``HEAD~1``).

    The folder must lie in a git repository and git be installed; the working copy is not touched. Raises
    `ScenarioError` when there is no such revision, the folder is not in it, or its files have faults.
    """
    path = Path(folder).absolute()
    if shutil.which("git") is None:
        raise ScenarioError.single("git is not installed; give two folders instead", value=revision)
    if not revision.strip() or revision.startswith("-") or ":" in revision or "\0" in revision:
        raise ScenarioError.single("is not the name of a git revision", column="revision", value=revision)
    inside = _git(_standing(path), "rev-parse", "--show-prefix").decode().strip()
    prefix = inside if path.is_dir() else f"{inside}{path.name}/"
    commit = _git(_standing(path), "rev-parse", "--verify", "--quiet", "--end-of-options",
                  f"{revision}^{{commit}}", what=revision).decode().strip()
    with tempfile.TemporaryDirectory() as place:
        _write_tree(_standing(path), commit, prefix, Path(place), revision)
        return replace(load_scenario(place), folder=path)


def _standing(path: Path) -> Path:
    """Where git is run: the folder, or the one above it when the working copy no longer has it."""
    return path if path.is_dir() else path.parent


def _write_tree(at: Path, commit: str, prefix: str, place: Path, revision: str) -> None:
    tree = f"{commit}:{prefix.rstrip('/')}"
    listed = _git(at, "ls-tree", "-z", "--full-tree", tree, what=f"{revision}:{prefix}")
    for entry in listed.split(b"\0"):
        facts, _, name = entry.partition(b"\t")
        if facts.startswith(b"100"):  # a plain file: no link, no folder, no submodule
            data = _git(at, "cat-file", "blob", facts.split()[2].decode())
            (place / name.decode("utf-8", "surrogateescape")).write_bytes(data)


def _git(at: Path, *words: str, what: str = "") -> bytes:
    """What a git command that only reads prints. Raises `ScenarioError` with git's own reason."""
    try:
        done = subprocess.run(["git", "-C", str(at), *words], capture_output=True, timeout=_LONGEST_S,
                              stdin=subprocess.DEVNULL, check=False)
    except (OSError, ValueError, subprocess.TimeoutExpired) as fault:
        raise ScenarioError.single(f"git could not be run: {fault}", value=what or at) from None
    if done.returncode != 0:
        reason = done.stderr.decode("utf-8", "replace").strip().splitlines()
        hint = reason[0] if reason else "there is no such git revision"
        raise ScenarioError.single(f"git has no such scenario: {hint}", column="revision", value=what or at)
    return done.stdout
