"""A long computation beside the editing: about one draft, telling how far it is, stopped when not wanted."""

from __future__ import annotations

import threading
from collections.abc import Callable, Collection
from dataclasses import dataclass
from typing import Any

from planning_kit.explore.session.draft import Draft
from planning_kit.explore.session.settings_sheet import KEY, SETTINGS, VALUE
from planning_kit.explore.session.sheet import Cell, with_cells
from planning_kit.inputs.faults import ScenarioError
from planning_kit.plan.timed import TimedPlan

RUNNING, DONE, STOPPED, FAILED = "running", "done", "stopped", "failed"


@dataclass(frozen=True)
class Progress:
    """How far a work is: a share (0 to 1; NaN: not known), in words, and what was found just now."""

    share: float
    words: str
    part: Any = None


class LongWork:
    """What ``do`` works out about ``plan``, the plan of ``draft``.

    ``state`` is running until it is done, stopped (``result`` is what was found so far, perhaps None) or
    failed (``words`` say why). ``free`` are settings that the answer does not depend on.
    """

    def __init__(self, name: str, draft: Draft, plan: TimedPlan, do: Callable[[LongWork], Any],
                 free: Collection[str] = ()) -> None:
        """Ready to `run`."""
        self.name, self.draft, self.plan = name, draft, plan
        self.state, self.words, self.result = RUNNING, "", None
        self._do, self._free = do, free
        self._stop = threading.Event()
        self._report: Callable[[Progress], None] = lambda progress: None

    def run(self, report: Callable[[Progress], None]) -> None:
        """Work it out, in whatever thread this is called; ``report`` is called there. Raises nothing."""
        self._report = report
        try:
            self.result = self._do(self)
            self.state = STOPPED if self.is_stopping else DONE
        except ScenarioError as error:
            self.state, self.words = FAILED, error.words
        except Exception as error:
            # Whatever it is, a fault of ours, in a thread that nobody watches: said, and the planner goes on.
            self.state, self.words = FAILED, f"this could not be worked out ({type(error).__name__}: {error})"

    def tell(self, share: float, words: str, part: Any = None) -> None:
        """Say how far it is."""
        self._report(Progress(share, words, part))

    def stop(self) -> None:
        """Ask it to end soon."""
        self._stop.set()

    @property
    def is_stopping(self) -> bool:
        """Whether it was asked to end."""
        return self._stop.is_set()

    def is_about(self, draft: Draft) -> bool:
        """Whether ``draft`` says what was asked about: otherwise the answer is old."""
        return self._neutral(self.draft).says_the_same_as(self._neutral(draft))

    def _neutral(self, draft: Draft) -> Draft:
        if not self._free:
            return draft
        sheet = draft[SETTINGS]
        cells: dict[Cell, str] = {(line.id, VALUE): "" for line in sheet.lines
                                  if line.cells[sheet.columns.index(KEY)] in self._free}
        return draft.with_sheet(with_cells(sheet, cells))
