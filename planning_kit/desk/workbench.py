"""The workbench: one widget that shows a session and passes on what the planner does in it.

Views and kernel talk in messages, not in shared state: a view says ``hello`` and gets everything, then sends
one message an edit and gets patches. An edit is in the journal before it is answered: that takes 2 to 3 ms
for 89 to 150 steps, of the 100 that an edit may take. The chart is sent first and the findings after it, when
no newer edit waits.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import anywidget
import pandas as pd

from planning_kit.desk import messages, work_messages
from planning_kit.desk.assets import module_text, style_text
from planning_kit.desk.outside import OutsideDesk
from planning_kit.desk.snapshot import Snapshot
from planning_kit.explore.session.draft import Draft
from planning_kit.explore.session.session import Session
from planning_kit.explore.watch.watch import Watch
from planning_kit.front import Plan
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.log import read_log
from planning_kit.inputs.scenario import Scenario
from planning_kit.plan.timed import TimedPlan

T = TypeVar("T")
_NOTES_AFTER_S = 0.0
_SNAPSHOT_AFTER_S = 1.5
_FOR_EVERY_VIEW = ("patch", "notes", "left", "work", "planning", "outside", "outside_log", "outside_home",
                   "options")


class Workbench(anywidget.AnyWidget):
    """The live widget of a session; ``session``, ``plan`` and ``scenario`` give what stands in it."""

    _esm = module_text()
    _css = style_text()

    def __init__(self, session: Session,
                 actions: Mapping[str, Callable[[Workbench, dict[str, Any]], None]]) -> None:
        """Show ``session``; ``actions`` say what each kind of message of a view does."""
        super().__init__()
        self.session = session
        self._actions = actions
        self._shown: Draft = session.draft
        self._shown_plan: TimedPlan | None = session.plan
        self._revision = 0
        self._timers: dict[str, asyncio.TimerHandle] = {}
        self.outside = OutsideDesk(self)
        self._snapshot = Snapshot(session, self.outside)
        self._pointed_at: tuple[str, int] | None = None
        self._asking: str | None = None
        self.on_msg(self._on_message)

    @property
    def plan(self) -> Plan:
        """The last good plan; outside, the plan re-timed at the last tick."""
        watch = self.watch
        return Plan(self.session.plan if watch is None else watch.plan)

    @property
    def watch(self) -> Watch | None:
        """The outing that is followed, while the workbench is outside."""
        return self.outside.following

    @property
    def log(self) -> pd.DataFrame:
        """The log that is followed, as `read_log` gives it. Raises `ScenarioError` before going outside."""
        if self.outside.watch is None:
            raise ScenarioError.single("there is no log before the workbench was outside", table="log")
        return read_log(self.outside.watch.log.path)

    @property
    def scenario(self) -> Scenario:
        """The scenario of the last good plan."""
        return self.session.scenario

    def _ipython_display_(self) -> None:
        """Show the live view, and beside it what a reader without a kernel sees, which follows every edit."""
        self._snapshot.publish(self._repr_mimebundle_())

    def _on_message(self, _widget: Any, content: dict[str, Any], _buffers: Any) -> None:
        """Do what a view asks. Whatever is wrong with it is said to the planner, never raised."""
        action = self._actions.get(str(content.get("kind")))
        if action is None:
            return
        self._asking = content.get("view")
        try:
            action(self, content)
        except ScenarioError as error:
            self.say(error.words, level="bad")
        except OSError as error:
            self.say(f"this could not be done: {error.strerror or error}", level="bad")
        except (LookupError, ValueError, TypeError, ArithmeticError):  # a view that is behind
            self.say("this could not be done: the table has changed meanwhile; try again", level="bad")
        finally:  # a fault of ours is raised: the page must not wait for an answer all the same
            self.show_changes(echo=content.get("n"))
            self._asking = None

    def tell(self, message: dict[str, Any]) -> None:
        """Send one message: to the view that asked, or to every view where it concerns all or none asked."""
        if self._asking is not None and message["kind"] not in _FOR_EVERY_VIEW:
            message = {**message, "view": self._asking}
        self.send(message)

    def say(self, text: str, level: str = "good", way_back: dict[str, str] | None = None) -> None:
        """A line for the planner to read; ``way_back`` is a button beside it: a message and its label."""
        self.tell({"kind": "said", "text": text, "level": level, "way_back": way_back})

    def greet(self) -> None:
        """Everything, for a view that opens; and what other sessions have not saved."""
        self.tell(messages.everything(self.session, self._revision))
        self._later("notes", _NOTES_AFTER_S, self._tell_notes)
        for work in self.session.works.values():
            self.tell(work_messages.state(work))
        self.offer()
        self.outside.greet()

    def offer(self) -> None:
        """Offer work that other sessions have not saved, what was left before what is in use."""
        left = [{"written": f"{each.written:%Y-%m-%d %H:%M} UTC", "path": each.path.name,
                 "in_use": each.is_in_use}
                for each in sorted(self.session.unsaved_work(), key=lambda each: each.is_in_use)]
        self.tell({"kind": "left", "offers": left})

    def point_at(self, sheet: str, line: int) -> None:
        """Lead the planner to a line, once the views have it."""
        self._pointed_at = sheet, line

    def redraw(self) -> None:
        """Draw the chart anew even though the plan is the same (another baseline)."""
        self._shown_plan = None

    def show_changes(self, echo: Any = None) -> None:
        """Write the journal, tell the views what changed since; findings and snapshot follow."""
        is_new = self.session.draft is not self._shown or self.session.plan is not self._shown_plan
        self._revision += is_new
        if is_new:
            self.autosave()
        message = messages.patch(self.session, self._shown, self._shown_plan, self._revision)
        self._shown, self._shown_plan = self.session.draft, self.session.plan
        self.tell(message)
        self.outside.show_changes()
        if self._pointed_at is not None:
            self.tell({"kind": "focus", "sheet": self._pointed_at[0], "line": self._pointed_at[1]})
            self._pointed_at = None
        self.tell({"kind": "done", "echo": echo})
        if is_new:
            self.follow_up()

    def follow_up(self) -> None:
        """Let what takes longer follow the chart: findings, margins, what is seen without a kernel."""
        self._later("notes", _NOTES_AFTER_S, self._tell_notes)
        self._later("snapshot", _SNAPSHOT_AFTER_S, self._snapshot.update)

    def _tell_notes(self) -> None:
        if self.outside.is_on:
            self.outside.tell_details(self._revision)
        else:
            self.tell(messages.notes_of(self.session.plan, self.session.ghosts[1], self._revision))

    def autosave(self) -> None:
        """Write the journal; a disk that refuses is said once an edit, and stops nothing."""
        try:
            self.session.autosave()
        except OSError as error:
            self.say(f"unsaved work cannot be kept on disk: {error}. It stands here as long as the kernel "
                     "runs: save or export it", level="bad")

    def close(self) -> None:
        """Close the views; what is not saved is left for the next session on this scenario."""
        if "session" in vars(self):  # a widget closes also where it could not be made
            self.session.close()
        super().close()

    def refresh_snapshot(self) -> None:
        """What is shown without a kernel, now."""
        self._snapshot.update()

    def beside(self, do: Callable[[], T], then: Callable[[T], None]) -> asyncio.Task[None] | None:
        """Do something long in a thread, so that the planner can go on; at once without a loop."""
        async def run() -> None:
            then(await asyncio.to_thread(do))

        try:
            return asyncio.get_running_loop().create_task(run())
        except RuntimeError:
            then(do())
            return None

    def _later(self, name: str, seconds: float, do: Callable[[], None]) -> None:
        """Do it when the kernel is idle; one that is still waiting is replaced. At once without a loop."""
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            do()
            return
        if name in self._timers:
            self._timers[name].cancel()
        self._timers[name] = loop.call_later(seconds, do)
