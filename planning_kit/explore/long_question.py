"""A question that takes long to answer: it tells how far it is, and can be stopped.

It knows no thread. Whoever asks runs it where it disturbs nobody (`planning_kit.desk.answers`).
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from planning_kit.inputs.faults import ScenarioError

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
        self.report: Callable[[Progress], None] = lambda progress: None

    def run(self, report: Callable[[Progress], None]) -> None:
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
