"""The workbench: one widget that passes on what a session and its views say to each other.

All that is said is made in `planning_kit.desk.conversation`. Here is what needs a kernel: which view a
message goes to, what waits until the kernel is idle, what runs in a thread, the tick of the clock outside.
"""

import asyncio
import contextlib
import gc
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import anywidget
import pandas as pd

from planning_kit.desk.answers import run_beside
from planning_kit.desk.assets import module_text, style_text
from planning_kit.desk.conversation import Conversation
from planning_kit.desk.film import FilmView
from planning_kit.desk.messages import Message, notice
from planning_kit.desk.snapshot import Snapshot
from planning_kit.explore.long_question import InPieces, LongQuestion, at_once
from planning_kit.explore.session.session import Session
from planning_kit.front.plan import Plan
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.log import read_log
from planning_kit.inputs.scenario import Scenario

_NOTES_AFTER_S = 0.08  # what sends the answer and what draws it must not wait for the work that follows it
# Work in pieces stops after so long, and waits so long: what a view has sent meanwhile comes first.
_TOGETHER_S, _BETWEEN_S = 0.01, 0.003
_TIGHTEST_AFTER_S = 1.0  # a planner who types on is not to wait for samples
_SNAPSHOT_AFTER_S = 1.5
_FILMS_AFTER_S = 1.0
_BOARD_AFTER_S = 0.2
_TICK_S = 1.0
_FOR_EVERY_VIEW = ("patch", "columns", "notes", "tightest", "left", "work", "planning", "outside",
                   "outside_log", "outside_home", "options", "board")


class Workbench(anywidget.AnyWidget):
    """The live workbench of a scenario; ``plan``, ``scenario`` and ``log`` give what stands in it."""

    _esm = module_text()
    _css = style_text()

    def __init__(self, session: Session) -> None:
        """Show ``session``."""
        super().__init__()
        self._session = session
        self._conversation = Conversation(session, self._send_to_views)
        self._snapshot = Snapshot(session)
        self._timers: dict[str, asyncio.TimerHandle] = {}
        self._films: list[FilmView] = []
        self._filmed_step = ""
        self._ticking: asyncio.Task[None] | None = None
        self._asking: str | None = None
        self._is_just_run = False
        self.on_msg(self._on_message)
        self._start_ticking()
        # What stands now (modules, the plan) stays until `close`. A full collection that went through all of
        # it took 0.1 s of an edit, or of what an edit waited for: the slowest were of that alone.
        gc.collect()
        gc.freeze()

    @property
    def plan(self) -> Plan:
        """The last good plan; outside, the plan re-timed at the last tick."""
        return Plan(self._session.current_plan)

    @property
    def log(self) -> pd.DataFrame:
        """The log that is followed, as `read_log` gives it. Raises `ScenarioError` before going outside."""
        if self._session.watch is None:
            raise ScenarioError.single("there is no log before the workbench was outside", table="log")
        return read_log(self._session.watch.log.path)

    @property
    def scenario(self) -> Scenario:
        """The scenario of the last good plan."""
        return self._session.scenario

    def film(self) -> FilmView:
        """The film of ``plan``: it follows every edit, and goes to the step of a bar that is chosen."""
        self._films.append(FilmView(self._session.current_plan))
        return self._films[-1]

    def close(self) -> None:
        """Close the views; what is not saved is left for the next session on this scenario."""
        if "_session" in vars(self):  # a widget closes also where it could not be made
            self._session.close()
        gc.unfreeze()
        super().close()

    def _ipython_display_(self) -> None:
        """Show the live view, and beside it what a reader without a kernel sees, which follows every edit."""
        self._is_just_run = True
        self._snapshot.publish(self._repr_mimebundle_())

    def _on_message(self, _widget: Any, content: Message, _buffers: Any) -> None:
        self._asking = content.get("view")
        try:
            if self._conversation.answer(content):
                self._follow_up()
            if content.get("kind") == "hello" and self._is_just_run:  # not a view that came later
                self._is_just_run = False
                self._send_to_views({"kind": "stand"})
            is_other = content.get("isAgain") or content.get("step", "") != self._filmed_step
            if content.get("kind") == "explain" and is_other:
                self._filmed_step = content.get("step", "")  # asked again after an edit, it is no new choice
                for film in self._films:
                    with contextlib.suppress(ScenarioError):  # a step without a time, or not yet in the film
                        film.go(self._filmed_step)
            if content.get("kind") == "snapshot":
                self._snapshot.update()
            for question in self._conversation.questions:
                if not question.has_begun:
                    run_beside(question, partial(self._conversation.tell_progress, question),
                               partial(self._end_question, question))
        finally:
            self._asking = None
        self._start_ticking()

    def _send_to_views(self, message: Message) -> None:
        """Send to the view that asked, or to every view where it concerns all or none asked."""
        if self._asking is not None and message["kind"] not in _FOR_EVERY_VIEW:
            message = {**message, "view": self._asking}
        self.send(message)

    def _follow_up(self) -> None:
        """Let what takes longer follow the chart: findings, margins, what is seen without a kernel."""
        self._later("notes", _NOTES_AFTER_S, self._conversation.tell_details)
        self._later("tightest", _TIGHTEST_AFTER_S, self._conversation.tell_tightest)
        self._later("board", _BOARD_AFTER_S, self._conversation.tell_board)
        self._later("snapshot", _SNAPSHOT_AFTER_S, self._snapshot.updating)
        if self._films:
            self._later("films", _FILMS_AFTER_S, self._renew_films)

    def _renew_films(self) -> InPieces[None]:
        for film in self._films:
            yield from film.following(self._session.current_plan)

    def _later(self, name: str, seconds: float, work: Callable[[], InPieces[None]]) -> None:
        """Do it when the kernel is idle; what waits or is half done is replaced. At once without a loop."""
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            at_once(work())
            return
        if name in self._timers:
            self._timers[name].cancel()
        pieces = work()

        def go_on() -> None:
            until = time.monotonic() + _TOGETHER_S
            with contextlib.suppress(StopIteration):
                while time.monotonic() < until:
                    next(pieces)
                self._timers[name] = loop.call_later(_BETWEEN_S, go_on)

        self._timers[name] = loop.call_later(seconds, go_on)

    def _end_question(self, question: LongQuestion) -> None:
        if self._conversation.tell_answer(question):
            self._follow_up()

    def _start_ticking(self) -> None:
        """Tick while the session is outside, where the kernel has a loop to tick in."""
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            return
        if self._session.is_outside and (self._ticking is None or self._ticking.done()):
            self._ticking = loop.create_task(self._tick())

    async def _tick(self) -> None:
        while self._session.is_outside:
            await asyncio.sleep(_TICK_S)
            try:
                if self._conversation.tick():
                    self._follow_up()
            except Exception as error:  # whatever it is: a clock that stands in silence is worse
                self._send_to_views(notice(f"the outing cannot be followed: {error}", level="bad"))
