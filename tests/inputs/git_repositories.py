"""Repositories for tests, made with the git command line; the package itself never runs it."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

from tests.inputs.small_folder import write_small

WHO = {f"GIT_{role}_{what}": value for role in ("AUTHOR", "COMMITTER")
       for what, value in (("NAME", "T"), ("EMAIL", "t@example.invalid"), ("DATE", "2031-01-01T00:00:00Z"))}
ALONE = {**os.environ, **WHO, "GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1",
         "GIT_TERMINAL_PROMPT": "0"}


def git(folder: Path, *words: str, given: str = "", check: bool = True) -> str:
    """What a git command prints."""
    done = subprocess.run(["git", "-C", str(folder), *words], check=check, capture_output=True, text=True,
                          env=ALONE, input=given)
    return done.stdout.strip()


def title(folder: Path, text: str) -> None:
    """Give the scenario another title."""
    place = folder / "scenario.toml"
    lines = (f'title = "{text}"' if line.startswith("title") else line
             for line in place.read_text(encoding="utf-8").splitlines())
    place.write_text("\n".join(lines) + "\n", encoding="utf-8")


def commit(folder: Path, text: str) -> str:
    """Commit all, the scenario's title being ``text``; gives the hash."""
    title(folder, text)
    git(folder, "add", "-A")
    git(folder, "commit", "-q", "-m", text)
    return git(folder, "rev-parse", "HEAD")


def outing(top: Path) -> Path:
    """A scenario below ``top``: commits one, two (tag ``reviewed``), side (a branch), and their merge."""
    top.mkdir()
    git(top, "init", "-q", "-b", "main")
    folder = write_small(top / "outings" / "small")
    commit(folder, "one")
    git(folder, "branch", "side")
    commit(folder, "two")
    git(folder, "tag", "-a", "reviewed", "-m", "as reviewed")
    git(folder, "tag", "plain")
    git(folder, "checkout", "-q", "side")
    (folder / "note.txt").write_text("of the side\n", encoding="utf-8")
    git(folder, "add", "-A")
    git(folder, "commit", "-q", "-m", "side")
    git(folder, "checkout", "-q", "main")
    git(folder, "merge", "-q", "--no-ff", "-m", "merge", "side")
    git(folder, "update-ref", "refs/remotes/origin/main", "main~1")
    git(folder, "symbolic-ref", "refs/remotes/origin/HEAD", "refs/remotes/origin/main")
    title(folder, "on disk")
    return folder
