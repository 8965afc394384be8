"""The workbench while the crew is outside: it holds the watch, lets it tick, and tells the views."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from datetime import datetime
from functools import partial
from typing import Any, Protocol, TypeVar

import pandas as pd

from planning_kit.desk import outside_messages
from planning_kit.explore.session.session import Session
from planning_kit.explore.watch.clock import HELD, utc_now
from planning_kit.explore.watch.logbook import Logbook
from planning_kit.explore.watch.watch import Watch, first_clock
from planning_kit.front import Plan
from planning_kit.inputs.faults import ScenarioError
from planning_kit.plan.timed import TimedPlan

_TICK_S = 1.0
_SEARCH_S = 5.0
T = TypeVar("T")


class Bench(Protocol):
    """What following an outing needs of the workbench that it is shown on."""

    session: Session

    def tell(self, message: dict[str, Any]) -> None:
        """Send one message to the views."""

    def say(self, text: str, level: str = "good") -> None:
        """A line for the planner to read."""

    def redraw(self) -> None:
        """Draw the chart anew."""

    def follow_up(self) -> None:
        """Let what takes longer follow the chart."""

    def beside(self, do: Callable[[], T], then: Callable[[T], None]) -> object:
        """Do something long in a thread, then the rest here."""


class OutsideDesk:
    """``watch`` is the outing that is followed, None until the planner goes outside; ``is_on``: shown now."""

    def __init__(self, bench: Bench) -> None:
        """Begin with planning."""
        self._bench = bench
        self.watch: Watch | None = None
        self.is_on = False
        self._is_stale = False
        self._shown: tuple[TimedPlan, TimedPlan] | None = None
        self._ticking: asyncio.Task[None] | None = None
        self._is_looking = self._is_stopped = False

    @property
    def following(self) -> Watch | None:
        """The watch while it is shown."""
        return self.watch if self.is_on else None

    def go(self, log: Logbook | None = None, now: object = None) -> None:
        """Follow the outing of the last good plan. Raises `ScenarioError` for a ``now`` that is not in it."""
        plan = self._bench.session.plan
        if self.watch is None:
            log = log or Logbook.beside(self._bench.session.base.folder)
            self.watch = Watch(plan, log, first_clock(plan, log, utc_now()))
            if now is not None:
                self.watch.set_clock(HELD, now.isoformat() if isinstance(now, datetime) else str(now))
        self.is_on = self._is_stale = True
        self._shown = None
        self._start()

    def come_back(self) -> None:
        """Plan again; the log, the clock and the plan taken outside are kept for the next time."""
        self.is_on = False
        if self._ticking is not None:
            self._ticking.cancel()
        self._bench.redraw()
        self._bench.tell({"kind": "planning"})

    def greet(self) -> None:
        """A view has opened: it needs the chart too."""
        self._shown = None
        self.show()

    def touch(self) -> Watch:
        """The watch, about to be changed. Raises `ScenarioError` when nobody is outside."""
        if self.watch is None or not self.is_on:
            raise ScenarioError.single("switch to Outside first", column="outside")
        self._is_stale = True
        return self.watch

    def show_changes(self) -> bool:
        """Tell the views what has changed; whether something has."""
        if self.watch is None or not self.is_on:
            return False
        plan = self._bench.session.plan
        if self.watch.base is not plan:
            self.watch.rebase(plan)
            self._is_stale = True
        if self._is_stale:
            self.show()
        return self._is_stale

    def show(self) -> None:
        """Tell the views where the outing stands."""
        if self.watch is None or not self.is_on:
            return
        shown = self.watch.shown
        is_new = self._shown is None or any(a is not b for a, b in zip(shown, self._shown, strict=True))
        self._shown = shown
        self._bench.tell(outside_messages.picture(self.watch, with_chart=is_new))
        self._bench.follow_up()
        self._is_stale = False

    def tell_details(self, revision: int) -> None:
        """Findings, margins, log, ways home: after the chart."""
        assert self.watch is not None
        for message in outside_messages.details(self.watch, revision, self._is_looking):
            self._bench.tell(message)

    # Time

    def _start(self) -> None:
        """Tick as long as the kernel has a loop to tick in."""
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            return
        if self._ticking is None or self._ticking.done():
            self._ticking = loop.create_task(self._tick())

    async def _tick(self) -> None:
        while self.is_on and self.watch is not None:
            await asyncio.sleep(_TICK_S)
            try:
                if self.watch.tick():
                    self.show()
            except Exception as error:  # whatever it is: a clock that stands in silence is worse
                self._bench.say(f"the outing cannot be followed: {error}", level="bad")

    # Options

    def find_options(self, with_orders: bool) -> None:
        """Look for options: each is a whole plan, and entries must not wait for them."""
        watch = self.touch()
        if not self._is_looking:
            self._is_looking, self._is_stopped = True, False
            self._bench.beside(partial(_options, watch.plan, with_orders, lambda: self._is_stopped),
                               partial(self._found, watch, watch.plan))

    def stop_options(self) -> None:
        """End the search for other orders with what it has."""
        self._is_stopped = True

    def _found(self, watch: Watch, plan: TimedPlan, table: pd.DataFrame | str) -> None:
        self._is_looking = False
        if isinstance(table, str):
            self._bench.say(f"no options could be found: {table}", level="bad")
        else:
            watch.keep_options(plan, table)
        self._bench.tell(outside_messages.told_options(watch))


def _options(plan: TimedPlan, with_orders: bool, cancel: Callable[[], bool]) -> pd.DataFrame | str:
    """The options, or in words why there are none."""
    try:
        return Plan(plan).options(reorder="normal" if with_orders else None, seconds=_SEARCH_S, cancel=cancel)
    except ScenarioError as error:
        return error.words
    except Exception as error:  # a fault of ours, in a thread that nobody watches: said, and they go on
        return f"{type(error).__name__}: {error}"


def log_for(actuals: object) -> Logbook:
    """The log to follow: a file or folder, or a table, which is copied and never written back."""
    return Logbook.of_frame(actuals) if isinstance(actuals, pd.DataFrame) else Logbook.at(str(actuals))
