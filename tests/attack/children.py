"""Work in a child process that is killed at a moment of the parent's choice. Needs `os.fork`: no Windows."""

from __future__ import annotations

import os
import signal
import time
import traceback
import warnings
from collections.abc import Callable
from dataclasses import dataclass

Say = Callable[[str], None]
Work = Callable[[Say], None]


@dataclass(frozen=True)
class Ended:
    """How a child ended: what it had said until then, and whether it was killed before it was done."""

    said: tuple[str, ...]
    was_killed: bool


class Child:
    """A child process at work. ``work`` is given a function to say lines to the parent with.

    It waits for `go` before it begins, so that several can begin at once.
    """

    def __init__(self, work: Work) -> None:
        """Fork."""
        start, self._start = os.pipe()
        self._said, said = os.pipe()
        with warnings.catch_warnings():  # of forks beside threads: the child uses none of the parent's
            warnings.simplefilter("ignore")
            self._pid = os.fork()
        if self._pid:
            os.close(start)
            os.close(said)
            return
        try:
            os.close(self._start)
            os.read(start, 1)
            work(lambda line: os.write(said, f"{line}\n".encode()) and None)
        except BaseException:
            os.write(said, f"failed: {traceback.format_exc()!r}\n".encode())
        finally:
            os._exit(0)

    def go(self) -> None:
        """Let it begin."""
        os.write(self._start, b"x")
        os.close(self._start)

    def end(self, after_s: float | None = None) -> Ended:
        """Kill it after so many seconds (None: let it finish), and hear what it had said."""
        if after_s is not None:
            time.sleep(after_s)
            os.kill(self._pid, signal.SIGKILL)
        _, status = os.waitpid(self._pid, 0)
        parts = []
        while part := os.read(self._said, 1 << 16):
            parts.append(part)
        os.close(self._said)
        return Ended(tuple(b"".join(parts).decode().splitlines()), os.WIFSIGNALED(status))


def killed(work: Work, after_s: float) -> Ended:
    """Begin, and kill after so many seconds."""
    child = Child(work)
    child.go()
    return child.end(after_s)


def seconds_of(work: Work) -> float:
    """How long the work takes when nobody kills it: the longest of three runs, with the child's beginning."""
    longest = 0.0
    for _ in range(3):
        begun = time.perf_counter()
        child = Child(work)
        child.go()
        said = child.end().said
        assert not any(line.startswith("failed") for line in said), said
        longest = max(longest, time.perf_counter() - begun)
    return longest
