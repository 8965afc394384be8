"""What a plan can be asked while the crew is outside."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Self

import pandas as pd

from planning_kit.explore.long_question import Progress
from planning_kit.explore.propose.propose import read_effort
from planning_kit.explore.propose.search import Budget
from planning_kit.explore.retime.deciding import decide
from planning_kit.explore.retime.decision_table import decision_table
from planning_kit.explore.retime.effort import keeping_times
from planning_kit.explore.retime.going_home import ABORT, TERMINATE, going_home, home_at, ways_home
from planning_kit.explore.retime.options import options_table
from planning_kit.explore.retime.progress import (
    left_out_table,
    progress_table,
    task_table,
    updated_estimates,
    with_updated_estimates,
)
from planning_kit.explore.retime.retiming import Outside, moment_asked, retime_plan
from planning_kit.explore.retime.standing import standing_of
from planning_kit.explore.retime.whereabouts import Whereabouts, whereabouts_at
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario
from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True, eq=False, repr=False)
class LivePlan(TimedPlan):
    """A plan, and once it is re-timed what has happened so far (``outside``; None before the outing)."""

    outside: Outside | None = None

    @property
    def now_min(self) -> float | None:
        """The moment of the re-timing, PET minutes; None for a plan that is not re-timed."""
        return None if self.outside is None else self.outside.now_min

    def retime(self, actuals: object, now_min: object = None) -> Self:
        """The plan from ``now_min`` on, given what has happened.

        Parameters
        ----------
        actuals : path or DataFrame
            ``log.csv``, its folder, or a table as `read_log` makes it (``step``, ``event`` and ``at`` are
            enough; times as PET or UTC).
        now_min : PET minutes, PET as text ``h:mm``, or UTC
            The last event, if not given.

        Returns
        -------
        A plan of the same class. What has started stays where the log has it; a step in progress keeps its
        remaining estimate; the rest is timed from now on with the real windows. A rule that the log has
        broken is let go with a stop finding; steps that find no place are listed in ``left_out``. Its
        scenario holds what was really done: actual minutes, the order of work as it was, parts of steps as
        rows ``ID.part1``. Re-timing a re-timed plan starts again from the plan that the crew took outside.

        Raises `ScenarioError` with the row of every event that cannot be: unknown steps, finishes before
        starts, steps before their predecessors, times in the future.
        """
        base = self if self.outside is None else self.outside.base
        assert isinstance(base, type(self))
        plan, outside = retime_plan(base, actuals, now_min)
        return self._outdoors(plan, outside)

    def re_timed_as(self, changed: Self) -> Self:
        """``changed``, a variant of the plan outside, re-timed by this plan's log, if it has one.

        What the log says of steps that the variant has not is passed over.
        """
        if self.outside is None:
            return changed
        known = set(changed.network.steps)
        actuals = self.outside.actuals
        told = tuple(event for event in actuals.events if not event.step or event.step in known)
        return self._outdoors(*retime_plan(changed, replace(actuals, events=told), self.now_min,
                                           self.whereabouts))

    @property
    def whereabouts(self) -> tuple[Whereabouts, ...]:
        """Where what is decided now finds the two, also beside another decision.

        Raises `ScenarioError` before the plan is re-timed.
        """
        outside = self._outside("whereabouts")
        return outside.here or whereabouts_at(self, outside.now_min)

    def _outdoors(self, plan: Self, outside: Outside) -> Self:
        """A re-timed plan, compared with what this one is compared with."""
        if self.outside is not None:
            outside = replace(outside, planned=self.outside.planned)
        return keeping_times(plan, replace(plan, outside=outside))

    @property
    def standing(self) -> str:
        """Where the outing stands, in words, a line a fact. Raises `ScenarioError` before it is re-timed."""
        return standing_of(self, self._outside("standing"))

    @property
    def progress(self) -> pd.DataFrame:
        """Planned and actual times of every step (see `progress_table`)."""
        return progress_table(self, self._outside("progress"))

    @property
    def task_progress(self) -> pd.DataFrame:
        """Planned and actual minutes of every task (see `task_table`)."""
        return task_table(self, self._outside("task_progress"))

    @property
    def left_out(self) -> pd.DataFrame:
        """Steps that are skipped or cannot be done any more, and why (see `left_out_table`)."""
        return left_out_table(self._outside("left_out"))

    def decide(self, skip: Sequence[str] = (), give: Sequence[str] = (), order: Sequence[str] = (),
               waits: Sequence[Mapping[str, object]] = ()) -> Self:
        """The re-timed plan with a decision taken now (see `planning_kit.explore.retime.deciding.decide`).

        ``skip``: steps or tasks not begun any more; ``give``: swappable tasks that the two trade (of one that
        has begun: its steps that nobody has begun);
        ``order``: steps in another order of work; ``waits``: rows of ``gaps.csv`` to add, where another order
        must be kept. Who is underway goes to what is next from where they are now. What is skipped so is
        planned, not logged: log it when it is called. Raises `ScenarioError` for what there is not or has
        begun.
        """
        outside = self._outside("decide")
        assert isinstance(outside.base, type(self))
        plan, after = decide(outside.base, outside, self.whereabouts, skip, give, order, waits)
        return self._outdoors(plan, after)

    def options(self, most: int = 12, reorder: str | float | None = None, seconds: float = 5.0,
                samples: int = 0, progress: Callable[[Progress], None] | None = None,
                cancel: Callable[[], bool] | None = None) -> pd.DataFrame:
        """What can still be done, each option verified by re-timing, best first (see `options_table`).

        With ``reorder`` better orders of the rest are searched as well, which takes seconds: ``quick``,
        ``normal``, ``thorough`` or a number say how long, in the solver's own deterministic time (as
        `planning_kit.front.propose`); ``seconds`` is a safety stop by the clock. ``progress`` is told how
        it goes, ``cancel`` is asked whether to stop with what there is. With ``samples`` each option has its
        odds, too. Raises `ScenarioError` for an effort that there is not.
        """
        search = None if reorder is None else Budget(read_effort(reorder, seconds), seconds, progress, cancel)
        return options_table(self, self._outside("options"), most, search, samples)

    def decision_table(self, level: float = 0.95, samples: int = 2_000, seed: int = 1) -> pd.DataFrame:
        """Before the outing: what to drop when, and the odds of it (see `decision_table`)."""
        return decision_table(self, level, samples, seed)

    def terminate(self, at_min: object = None) -> pd.DataFrame:
        """The sequence of an orderly return at ``at_min`` (PET, UTC; now, if re-timed): see `going_home`."""
        return going_home(self, *self._called(at_min, TERMINATE))

    def abort(self, at_min: object = None) -> pd.DataFrame:
        """The sequence of a return at once at ``at_min`` (PET, UTC; now, if re-timed): see `going_home`."""
        return going_home(self, *self._called(at_min, ABORT))

    def home_now(self, how: str = TERMINATE) -> pd.DataFrame:
        """Time home and margins of each crew member, called now: the rows of ``ways_home`` at now."""
        return home_at(self, *self._called(None, how))

    def ways_home(self, how: str = TERMINATE, every_min: float = 1.0) -> pd.DataFrame:
        """Time home and margins at every minute, for ``terminate`` or ``abort`` (see `ways_home`)."""
        return ways_home(self, how, every_min)

    def _called(self, at_min: object, how: str) -> tuple[float, str, Mapping[str, str]]:
        """When, how, and who is on which step then: at now as logged, else as the plan has it."""
        if at_min is not None:
            return moment_asked(at_min, self.egress, how, "at_min"), how, {}
        outside = self._outside(how)
        return outside.now_min, how, outside.states.at_work

    def updated_estimates(self, weight: float = 2.0) -> pd.DataFrame:
        """Estimates that have learned from the outing, for the next plan (see `updated_estimates`)."""
        return updated_estimates(self._outside("updated_estimates"), weight)

    def with_updated_estimates(self, weight: float = 2.0) -> Scenario:
        """The scenario taken outside with these estimates in it, to be saved as the base of the next plan."""
        return with_updated_estimates(self._outside("with_updated_estimates"), weight)

    def _outside(self, what: str) -> Outside:
        if self.outside is None:
            raise ScenarioError.single(f"{what} needs a log: ask plan.retime(log, now_min) first",
                                       table="retime")
        return self.outside
