"""The controller of an outing that is under way: a plan, its log, a clock, and what they come to at now.

It knows no widget. A view asks it to log, to set the clock or to look at an option, then reads ``plan`` and
the rest. Whatever stands in the log, there is always a plan: the last good one stays. To look at an option is
to see its plan as a preview; to take it is to decide: skips are logged, the rest changes the plan.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import pandas as pd

from planning_kit.explore.long_question import LongQuestion
from planning_kit.explore.propose.proposals import read_effort
from planning_kit.explore.propose.solving import Budget
from planning_kit.explore.retime.decisions import Decision, decide
from planning_kit.explore.retime.going_home import going_home, home_now
from planning_kit.explore.retime.options import options_table
from planning_kit.explore.retime.retiming import keeping_times, retime_plan
from planning_kit.explore.watch.logbook import Entry, Logbook, LogSoFar, Refused, faults_of, log_so_far, write
from planning_kit.explore.watch.now import CLOCK_KINDS, HELD, WALL, Clock, is_in_outing, typed_moment, utc_now
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.folder_files import signature
from planning_kit.inputs.log import Actuals, log_rows
from planning_kit.inputs.log_format import LOG_COLUMNS, STARTED
from planning_kit.inputs.log_state import IN_FUTURE
from planning_kit.inputs.procedure_records import ABORT, TERMINATE
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.times import moment_at, pet_min
from planning_kit.plan.past import Whereabouts
from planning_kit.plan.timed import Outside, TimedPlan

_SEARCH_S = 5.0


@dataclass(frozen=True)
class Preview:
    """An option that is looked at, not decided: its words, what it would decide, and its plan."""

    words: str
    how: Decision
    plan: TimedPlan


@dataclass(frozen=True)
class Options:
    """The options at one moment (`options_table`)."""

    table: pd.DataFrame
    now_min: float


class Watch:
    """One planner following one outing.

    ``planned`` is the plan that the crew took outside, with which all is compared; ``base`` is what is
    re-timed: the same, or what a decision has made of it; ``plan`` is re-timed at ``now_min``. ``wall`` gives
    the wall clock. Raises `ScenarioError` where now is no moment of this outing.
    """

    def __init__(self, base: TimedPlan, log: Logbook, clock: Clock,
                 wall: Callable[[], datetime] = utc_now) -> None:
        """Begin with what the log says now."""
        self._wall = wall
        self.planned = self.base = base
        self.log, self.clock = log, clock
        self.refused: dict[str, Refused] = {}
        self.trouble = ""
        self.preview: Preview | None = None
        self.asked: LongQuestion | None = None
        self._answered: LongQuestion | None = None
        self.log_so_far = LogSoFar((), (), Actuals((), None), ())
        self._here: tuple[Whereabouts, ...] = ()
        self._here_min = 0.0
        self._check(clock)
        self._read()

    @property
    def now(self) -> datetime:
        """Now, UTC, as the clock of this watch has it."""
        return self.clock.now(self._wall())

    @property
    def outside(self) -> Outside:
        """What is known of the outing at the last re-timing."""
        return self.plan.known_outside("the watch")

    @property
    def now_min(self) -> float:
        """The moment of the last re-timing, PET minutes."""
        return self.outside.now_min

    @property
    def shown(self) -> tuple[TimedPlan, TimedPlan]:
        """The plan to draw, and what its ghosts are: the plan taken outside; in a preview, carrying on."""
        return (self.plan, self.planned) if self.preview is None else (self.preview.plan, self.plan)

    # Time

    def set_clock(self, kind: str, text: str = "") -> None:
        """Follow the wall clock, or set now by hand and let it run or hold it.

        ``text`` is PET or UTC (see `typed_moment`); empty, now stays what it is. Raises `ScenarioError` for
        no time, and for one that is no moment of this outing.
        """
        wall = self._wall()
        if kind not in CLOCK_KINDS:
            raise ScenarioError.single(f"must be one of: {', '.join(CLOCK_KINDS)}", column="clock",
                                       value=kind)
        try:
            at = typed_moment(text, self.plan.pet_zero, self.now) if text.strip() else self.now
        except CellFault as fault:
            raise ScenarioError.single(f"now {fault}", column="clock", value=text) from None
        clock = Clock.wall(wall) if kind == WALL else Clock(kind, at, wall)
        self._check(clock)
        self.clock = clock
        self._read()

    def _check(self, clock: Clock) -> None:
        now, pet_zero = clock.now(self._wall()), self.base.pet_zero
        latest = pet_zero + timedelta(minutes=self.base.horizon_min)
        if not is_in_outing(now, self.base):
            raise ScenarioError.single(
                f"{'the wall clock says' if clock.kind == WALL else 'now would be'} {now:%Y-%m-%d %H:%M} "
                f"UTC, which is no moment of this outing (PET 0 {pet_zero:%Y-%m-%d %H:%M}, computed until "
                f"{latest:%Y-%m-%d %H:%M} UTC): set now by hand", column="clock")

    def tick(self) -> bool:
        """Look at the clock and the file; whether anything is to be shown anew.

        Re-timed is when the file has changed and at every whole minute, or sooner where a row lies just
        ahead of now: another's clock may be some seconds off.
        """
        minute = pet_min(self.now, self.plan.pet_zero)
        is_waiting = any(fault.problem.startswith(IN_FUTURE) for fault in self.log_so_far.faults)
        is_due = int(minute) != int(self.now_min) or (is_waiting and self.clock.kind != HELD)
        if not is_due and signature(self.log.path) == self._signature:
            return False
        self._read()
        return True

    # The log

    def enter(self, entry: Entry) -> str:
        """Log an event; its id, or "" where it was refused: ``refused`` then holds it as it was typed."""
        try:
            done = self.enter_all([entry])
        except ScenarioError as error:
            self.refused[entry.slot] = Refused(entry, faults_of(error.problems.to_dict("records")))
            self._read()
            return ""
        self.refused.pop(entry.slot, None)
        return done[0]

    def enter_all(self, entries: Sequence[Entry]) -> list[str]:
        """Log events as one, and give the ids of their rows; raises `ScenarioError`, and logs none."""
        self.stop_if_log_goes_on()
        done = write(entries, self.log, self.base, self.plan.pet_zero, self.now)
        self.preview = None
        self._read()
        return done

    def forget(self, slot: str) -> None:
        """Give up an entry that was refused."""
        self.refused.pop(slot, None)

    def rehearse(self) -> None:
        """Go on from now in a log of the session's own: later rows stay out, and the file is left alone."""
        rows = [[row.texts.get(name, "") for name in LOG_COLUMNS] for row in self.log_so_far.rows]
        self.log = Logbook.of_rows(rows)
        self._read()

    def stop_if_log_goes_on(self) -> None:
        """Raise `ScenarioError` where rows come after the now that was set: nothing is put between."""
        if count := len(self.log_so_far.later):
            raise ScenarioError.single(
                f"the log goes on: {count} of its rows were written after the now that was set. Set now to "
                "its end, or rehearse from here in a log of your own", table="log")

    def rebase(self, base: TimedPlan, here: tuple[Whereabouts, ...] = ()) -> None:
        """Re-time another plan by the same log: an edit, or a decision, which found the two ``here``.

        While nothing has been logged it is also the one that the crew take outside.
        """
        self._here, self._here_min = here, self.now_min
        # With steps that the plan taken outside has not, the two cannot be compared: it takes its place.
        if not self.outside.actuals.events or not set(base.network.steps) <= set(self.planned.network.steps):
            self.planned = base
        self.base = base
        self._read()

    # Decisions

    def look_at(self, words: str, how: Decision) -> None:
        """Preview an option: nothing is decided. Raises `ScenarioError` where it is not open any more."""
        self.preview = Preview(words, how, decide(self.plan, **how))

    def look_away(self) -> None:
        """End the preview."""
        self.preview = None

    def ask_options(self, with_orders: bool = False) -> LongQuestion:
        """Ask what can still be done, with other orders of the rest if wanted: to be run by whoever asks.

        The answer is old once something is logged or the plan changes. Until it comes the last one stays.
        """
        self.stop_options()
        plan, asked_of = self.plan, self._what_options_know()

        def answer(question: LongQuestion) -> Options:
            search = Budget(read_effort("normal", _SEARCH_S), _SEARCH_S, question.report,
                            lambda: question.is_stopping) if with_orders else None
            return Options(options_table(plan, search=search), plan.known_outside("options").now_min)

        self._answered = self._last_answered()
        self.asked = LongQuestion("options", answer, lambda: self._what_options_know() == asked_of)
        return self.asked

    def stop_options(self) -> None:
        """End the search for other orders with what it has."""
        if self.asked is not None:
            self.asked.stop()

    @property
    def is_looking(self) -> bool:
        """Whether options are being looked for."""
        return self.asked is not None and self.asked.is_running

    @property
    def options(self) -> Options | None:
        """The options that were found last."""
        found = self._last_answered()
        return None if found is None else found.result

    @property
    def are_options_old(self) -> bool:
        """Whether something was logged, or the plan changed, since the options were asked for."""
        found = self._last_answered()
        return found is not None and found.is_old

    def _last_answered(self) -> LongQuestion | None:
        return self._answered if self.asked is None or self.asked.result is None else self.asked

    def _what_options_know(self) -> tuple[int, TimedPlan]:
        return len(self.outside.actuals.events), self.outside.base

    def ways_home(self) -> dict[str, tuple[pd.DataFrame, pd.DataFrame]]:
        """For terminate and abort, called now: the sequence, and time and margins of each crew member.

        Raises `ScenarioError` before PET 0 and once both are inside.
        """
        return {how: (going_home(self.plan, how), home_now(self.plan, how)) for how in (TERMINATE, ABORT)}

    # Reading

    def _read(self) -> None:
        """Read the log and time the plan anew; where that cannot be, the last good plan stays, with words."""
        self.trouble, now, found = "", self.now, Faults()
        # Taken before the rows are read: what is appended in between shows at the next tick.
        self._signature = signature(self.log.path)
        try:
            rows = log_rows(self.log.path, found)
        except ScenarioError as error:
            self.trouble = f"the log cannot be read: {error.words}"
            rows, found = list(self.log_so_far.rows), Faults()
        self.log_so_far = log_so_far(rows, found, self.base, now, self.clock.is_by_hand)
        try:
            self.plan = self._re_timed(self.log_so_far.actuals, now)
        except ScenarioError as error:
            if not hasattr(self, "plan"):
                raise
            self.trouble = f"the plan cannot be timed anew: {error.words}"
        self._look_again()

    def _re_timed(self, actuals: Actuals, now: datetime) -> TimedPlan:
        now_min = pet_min(now, actuals.pet_zero or self.base.pet_zero)
        here = self._still_here(actuals)
        try:  # a rate that cannot be believed is a fault of the log, and must not stop the watch
            plan = retime_plan(self.base, actuals, now_min, here, self.planned)
        except ScenarioError as error:
            known = tuple(replace(event, metabolic_w=None) for event in actuals.events
                          if event.step or event.metabolic_w is None)
            plan = retime_plan(self.base, Actuals(known, actuals.pet_zero), now_min, here, self.planned)
            faults = faults_of(error.problems.to_dict("records"))
            self.log_so_far = replace(self.log_so_far, faults=(*self.log_so_far.faults, *faults))
        # The next decision finds them where this plan has brought them by then, not where the last one did.
        outside = replace(plan.known_outside("the watch"), here=())
        return keeping_times(plan, replace(plan, outside=outside))

    def _still_here(self, actuals: Actuals) -> tuple[Whereabouts, ...]:
        """Where the last decision found those who have begun nothing since."""
        since = moment_at(self._here_min, actuals.pet_zero or self.base.pet_zero)
        begun = {event.step for event in actuals.events if event.event == STARTED and event.at > since}
        busy = {step.crew for step in self.base.steps if step.step in begun}
        return tuple(each for each in self._here if not {each.crew, BOTH} & busy)

    def _look_again(self) -> None:
        if self.preview is not None:
            try:
                self.look_at(self.preview.words, self.preview.how)
            except ScenarioError as error:
                self.trouble = f"“{self.preview.words}” is not open any more: {error.words}"
                self.preview = None
