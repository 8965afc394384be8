"""Who may write: one lock a folder, held over reading, judging and writing, by every writer of this package.

The lock file lies in the user's state folder under the folder's real path, so that nothing of it shows in the
folder itself. A lock of a process that died is free again. It keeps apart the sessions of one user on one
machine: it knows nothing of other users; a folder on a network drive, and one that is reached by two real
paths (a bind mount, a file system that takes two spellings for one name), is not covered.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import sys
from collections.abc import Iterator
from pathlib import Path

from filelock import FileLock, Timeout

from planning_kit.inputs.faults import ScenarioError

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
