"""A question that takes long to answer: it tells how far it is, and can be stopped.

It knows no thread. Whoever asks runs it where it disturbs nobody (`planning_kit.desk.answers`).
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import Executor
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

from planning_kit.inputs.faults import ScenarioError, must_be
from planning_kit.inputs.times import pet_label

T = TypeVar("T")
InPieces = Generator[None, None, T]
"""Yields between its pieces, each of some hundredths of a second; what it returns is the answer."""


def at_once(work: InPieces[T]) -> T:
    """The answer, without a pause."""
    while True:
        try:
            next(work)
        except StopIteration as done:
            answer: T = done.value
            return answer


RUNNING, DONE, STOPPED, FAILED = "running", "done", "stopped", "failed"


@dataclass(frozen=True)
class Progress:
    """How far a long question is: what is being done, and the seconds that it has taken.

    ``share`` is how much of it is done, 0 to 1. Of a search for an order, ``best_min`` and ``bound_min`` are
    the outing's length so far and the least it can be (minutes). NaN: not known, or there is none. ``part``
    is what was found just now.
    """

    doing: str
    elapsed_s: float
    share: float = math.nan
    best_min: float = math.nan
    bound_min: float = math.nan
    part: Any = None

    @property
    def words(self) -> str:
        """What is being done; of a search, the best so far and the least that it can be, once known."""
        if not math.isfinite(self.best_min):
            return self.doing
        least = f", at least {pet_label(self.bound_min)}" if math.isfinite(self.bound_min) else ""
        return f"best so far {pet_label(self.best_min)}{least}"


Report = Callable[[Progress], None]


def silent(progress: Progress) -> None:
    """Tell nobody."""


def mapped(executor: Executor | None, together: int = 1) -> Callable[..., Iterator[Any]]:
    """``map``, here or on ``executor`` (so many ``together``): the same answers in the same order.

    Raises `ScenarioError` for what is no executor.
    """
    if executor is None:
        return map
    how = "must be a concurrent.futures.Executor, or None"
    return partial(must_be(executor, Executor, "executor", how).map, chunksize=together)


def told(work: Iterable[T], report: Report, what: str, count: int) -> Iterator[T]:
    """What ``work`` yields; ``report`` hears how many of ``count`` are done with, as "3 of 12 rows"."""
    begun_s = time.monotonic()
    for done, part in enumerate(work):
        report(Progress(f"{done:,} of {count:,} {what}", time.monotonic() - begun_s, done / count))
        yield part


class LongQuestion:
    """What ``answer`` works out, while ``is_same`` says that what was asked about is still the same.

    ``state`` is running until it is done, stopped (``result`` is what was found so far, perhaps None) or
    failed (``words`` say why). ``has_begun``: somebody runs it already.
    """

    def __init__(self, name: str, answer: Callable[[LongQuestion], Any], is_same: Callable[[], bool]) -> None:
        """Ready to `run`."""
        self.name, self._answer, self._is_same = name, answer, is_same
        self.state, self.words, self.result = RUNNING, "", None
        self.has_begun = False
        self._stop = threading.Event()
        self._begun_s = time.monotonic()
        self.report: Report = silent

    def run(self, report: Report) -> None:
        """Work it out, in whatever thread this is called; ``report`` is called there. Raises nothing."""
        self.report, self._begun_s = report, time.monotonic()
        try:
            self.result = self._answer(self)
            self.state = STOPPED if self.is_stopping else DONE
        except ScenarioError as error:
            self.state, self.words = FAILED, error.words
        except Exception as error:
            # Whatever it is, a fault of ours, in a thread that nobody watches: said, and the planner goes on.
            self.state, self.words = FAILED, f"this could not be worked out ({type(error).__name__}: {error})"

    def tell(self, doing: str, share: float = math.nan, part: Any = None) -> None:
        """Say how far it is."""
        self.report(Progress(doing, time.monotonic() - self._begun_s, share, part=part))

    def stop(self) -> None:
        """Ask it to end soon."""
        self._stop.set()

    @property
    def is_stopping(self) -> bool:
        """Whether it was asked to end."""
        return self._stop.is_set()

    @property
    def is_running(self) -> bool:
        """Whether the answer is still to come."""
        return self.state == RUNNING

    @property
    def is_old(self) -> bool:
        """Whether what it was asked about is another by now."""
        return not self._is_same()
