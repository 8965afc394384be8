"""What a plan is asked during the outing, and what it says of it then."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Self

import pandas as pd

from planning_kit.explore.long_question import Progress
from planning_kit.explore.propose.proposals import read_effort
from planning_kit.explore.propose.solving import Budget
from planning_kit.explore.retime.decisions import decide, decision_table
from planning_kit.explore.retime.going_home import ABORT, TERMINATE, going_home, home_now, ways_home
from planning_kit.explore.retime.options import options_table
from planning_kit.explore.retime.outing_progress import (
    left_out_table,
    progress_table,
    standing_of,
    task_table,
    updated_estimates,
    with_updated_estimates,
)
from planning_kit.explore.retime.retiming import retime
from planning_kit.front.shown import Shown, ShownPlan
from planning_kit.inputs.scenario import Scenario


@dataclass(frozen=True, eq=False, repr=False)
class OutsidePlan(ShownPlan):
    """A plan that can be re-timed by a log, and says then where the outing stands and what can be done."""

    standing = Shown(standing_of)
    progress = Shown(progress_table)
    task_progress = Shown(task_table)
    left_out = Shown(left_out_table)

    @property
    def taken_outside(self) -> Self:
        """The plan that a log is about: what the crew took outside, with what was decided since.

        Before a plan is re-timed it is that plan itself.
        """
        return type(self)(self.timed.taken_outside)

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
        A plan. What has started stays where the log has it; a step in progress keeps its
        remaining estimate; the rest is timed from now on with the real windows. A rule that the log has
        broken is let go with a stop finding; steps that find no place are listed in ``left_out``. Its
        scenario holds what was really done: actual minutes, the order of work as it was, parts of steps as
        rows ``ID.part1``. Re-timing a re-timed plan starts again from the plan that the crew took outside.

        Raises `ScenarioError` with the row of every event that cannot be: unknown steps, finishes before
        starts, steps before their predecessors, times in the future.
        """
        return type(self)(retime(self.timed, actuals, now_min))

    def decide(self, skip: Sequence[str] = (), give: Sequence[str] = (), order: Sequence[str] = (),
               waits: Sequence[Mapping[str, object]] = (), give_up: Sequence[str] = ()) -> Self:
        """The re-timed plan with a decision taken now (see `planning_kit.explore.retime.decisions.decide`).

        ``skip``: steps or tasks not begun any more; ``give``: swappable tasks that the two trade (of one that
        has begun: its steps that nobody has begun);
        ``order``: steps in another order of work; ``waits``: rows of ``gaps.csv`` to add, where another order
        must be kept; ``give_up``: tasks given up, what has begun of them put back. Who is underway goes to
        what is next from where they are now. What is skipped so is planned, not logged: log it when it is
        called. Raises `ScenarioError` for what there is not or has begun.
        """
        return type(self)(decide(self.timed, skip, give, order, waits, give_up))

    def options(self, most: int = 12, reorder: str | float | None = None, seconds: float = 5.0,
                samples: int = 0, progress: Callable[[Progress], None] | None = None,
                cancel: Callable[[], bool] | None = None) -> pd.DataFrame:
        """What can still be done, each option verified by re-timing, best first (see `options_table`).

        With ``reorder`` better orders of the rest are searched as well, which takes seconds: ``quick``,
        ``normal``, ``thorough`` or a number say how long, in the solver's own deterministic time (as
        ``propose``); ``seconds`` is a safety stop by the clock. ``progress`` is told how
        it goes, ``cancel`` is asked whether to stop with what there is. With ``samples`` each option has its
        odds, too. Raises `ScenarioError` for an effort that there is not.
        """
        search = None if reorder is None else Budget(read_effort(reorder, seconds), seconds, progress, cancel)
        return options_table(self.timed, most, search, samples)

    def decision_table(self, level: float = 0.95, samples: int = 2_000, seed: int = 1) -> pd.DataFrame:
        """Before the outing: what to drop when, and the odds of it (see `decision_table`)."""
        return decision_table(self.timed, level, samples, seed)

    def terminate(self, at_min: object = None) -> pd.DataFrame:
        """The sequence of an orderly return at ``at_min`` (PET, UTC; now, if re-timed): see `going_home`."""
        return going_home(self.timed, TERMINATE, at_min)

    def abort(self, at_min: object = None) -> pd.DataFrame:
        """The sequence of a return at once at ``at_min`` (PET, UTC; now, if re-timed): see `going_home`."""
        return going_home(self.timed, ABORT, at_min)

    def home_now(self, how: str = TERMINATE) -> pd.DataFrame:
        """Time home and margins of each crew member, called now: the rows of ``ways_home`` at now."""
        return home_now(self.timed, how)

    def ways_home(self, how: str = TERMINATE, every_min: float = 1.0) -> pd.DataFrame:
        """Time home and margins at every minute, for ``terminate`` or ``abort`` (see `ways_home`)."""
        return ways_home(self.timed, how, every_min)

    def updated_estimates(self, weight: float = 2.0) -> pd.DataFrame:
        """Estimates that have learned from the outing, for the next plan (see `updated_estimates`)."""
        return updated_estimates(self.timed, weight)

    def with_updated_estimates(self, weight: float = 2.0) -> Scenario:
        """The scenario taken outside with these estimates in it, to be saved as the base of the next plan."""
        return with_updated_estimates(self.timed, weight)
