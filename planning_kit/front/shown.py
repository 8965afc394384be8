"""What a plan says of itself, tables and plain values under their names, and what it is asked outside."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from importlib import import_module
from pathlib import Path
from types import FunctionType
from typing import Any, Generic, Self, TypeVar

import pandas as pd

from planning_kit.campaign.end_state import EndState, end_state
from planning_kit.changes.change import changes_table
from planning_kit.explore.propose.proposals import read_effort
from planning_kit.explore.propose.solving import Budget
from planning_kit.explore.retime import outing_progress
from planning_kit.explore.retime.decisions import decide, decision_table
from planning_kit.explore.retime.going_home import (
    Answer,
    answer,
    going_home,
    home_now,
    ways_home,
)
from planning_kit.explore.retime.options import options_table
from planning_kit.explore.retime.retiming import retime
from planning_kit.explore.tightest import tightest, tightest_exact, tightest_margins, told_summary
from planning_kit.front.progress_bar import Told, shown, stoppable
from planning_kit.inputs.procedure_records import ABORT, TERMINATE
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.judge.acceptances import told_findings
from planning_kit.judge.promises import Promises, promises_of
from planning_kit.plan.shots import shots_table
from planning_kit.plan.timed import Face, TimedPlan
from planning_kit.show.film.film_page import write_film
from planning_kit.show.still import Still, still

Said = TypeVar("Said")


class Shown(Generic[Said]):
    """What the plan within says of itself, in the same words."""

    def __init__(self, ask: Callable[[TimedPlan], Said], about: str | None = None) -> None:
        """``ask`` gives it of the plan within: a function with its words, or a lambda that names a part."""
        self._ask = ask
        # By the part that the lambda asks for: records have another name there than their table has here.
        part = getattr(TimedPlan, ask.__code__.co_names[-1], None) if ask.__doc__ is None else ask
        if isinstance(part, property | cached_property | FunctionType):
            self.__doc__ = part.__doc__
        self.__doc__ = about or self.__doc__

    def __get__(self, face: Face | None, owner: type) -> Said:
        if face is None:
            raise AttributeError("is asked of a plan, not of its class")
        told = self._ask(face.timed)
        return told.told_from(face.timed.pet_zero) if isinstance(told, ShownTable) else told


@dataclass(frozen=True, eq=False)
class PlanRecords(Face):
    """What the tables of a plan are made of: ``plan.records.links`` gives the records of ``plan.links``."""

    timeline = Shown(lambda plan: plan.lanes)
    suits = Shown(lambda plan: plan.suit_histories)
    returns = Shown(lambda plan: plan.return_times)
    inhibits = Shown(lambda plan: plan.inhibit_holds)
    links = Shown(lambda plan: plan.link_covers)
    clocks = Shown(lambda plan: plan.gap_clocks)
    custody = Shown(lambda plan: plan.tracked_custody)
    tethers = Shown(lambda plan: plan.tracked_tethers)
    exposures = Shown(lambda plan: plan.tracked_exposures)
    actions = Shown(lambda plan: plan.doings)
    states = Shown(lambda plan: plan.state_spells)
    changes = Shown(lambda plan: plan.history, "What the what-ifs behind the plan changed.")
    tightest = Shown(tightest_margins)


@dataclass(frozen=True, eq=False, repr=False)
class ShownPlan(Face):
    """The values and tables of a plan.

    ``timed`` is the plan itself, as the rooms give it to each other: what only they need is asked of it.
    """

    # Plain values
    scenario = Shown(lambda plan: plan.scenario, "The scenario that was timed.")
    pet_zero = Shown(lambda plan: plan.pet_zero, "PET 0:00, UTC.")
    end_min = Shown(lambda plan: plan.end_min)
    now_min = Shown(lambda plan: plan.now_min)
    name = Shown(lambda plan: plan.name, "What the last what-if is called.")
    light = Shown(lambda plan: plan.light)
    # Tables
    findings = Shown(told_findings)
    timeline = Shown(lambda plan: plan.timeline)
    summary = Shown(told_summary)
    tightest = Shown(tightest)
    tightest_exact = Shown(tightest_exact)
    handovers = Shown(lambda plan: plan.handovers)
    suits = Shown(lambda plan: plan.suits)
    suit_summary = Shown(lambda plan: plan.suit_summary)
    returns = Shown(lambda plan: plan.returns)
    return_summary = Shown(lambda plan: plan.return_summary)
    inhibits = Shown(lambda plan: plan.inhibits)
    links = Shown(lambda plan: plan.links)
    clocks = Shown(lambda plan: plan.clocks)
    cautions_on_the_way = Shown(lambda plan: plan.cautions_on_the_way)
    custody = Shown(lambda plan: plan.custody)
    kit_list = Shown(lambda plan: plan.kit_list)
    tethers = Shown(lambda plan: plan.tethers)
    exposures = Shown(lambda plan: plan.exposures)
    actions = Shown(lambda plan: plan.actions)
    states = Shown(lambda plan: plan.states)
    shots = Shown(shots_table)
    # Asked with arguments
    delay_curve = Shown(lambda plan: plan.delay_curve)
    explain = Shown(lambda plan: plan.explain)

    def __repr__(self) -> str:
        return repr(self.timed).replace("TimedPlan", "Plan", 1)

    def still(self, minute: float, look: str = "both") -> Still:
        """The station, the crew and their tethers at a minute of PET, as a picture (SVG) without a browser.

        ``look``: a crew member, ``both``, a place, a body or ``station``. ``svg`` is its text, ``words`` what
        is true in the minute: light, links, inhibits; who does, holds and must mind what, hooked where.
        Raises `ScenarioError` for a minute outside the outing, and for what is nothing to look at.
        """
        return still(self.timed, minute, look)

    @property
    def records(self) -> PlanRecords:
        """The records that the tables are made of, under the tables' names."""
        return PlanRecords(self.timed)

    @property
    def changes(self) -> pd.DataFrame:
        """What the what-ifs behind this plan changed, in order: ``name``, ``kind``, ``change`` in words.

        Rows of the kind ``note`` say what a change brought with it: gaps and inhibits that went with a
        dropped step, a PET 0 outside the scenario's own range. Empty for a plan as it was loaded.
        """
        return changes_table(self.timed.history)

    def film(self, file: str | Path | None = None) -> Any:
        """The outing as a film: station, crew, tethers, light and words at every minute, to be moved through.

        Without ``file`` it is a view in a notebook (`planning_kit.desk.film.FilmView`): ``follow`` shows
        another plan in it, ``go`` goes to a step. With one it is written there: one HTML page
        (``.html``) that needs no network and opens by a double-click; its path is given. The camera goes by
        ``shots.csv``, or by shots that are proposed from the plan; whoever looks on may move it by hand. A
        video is made by a button of either, or by ``python -m planning_kit.show.film FOLDER``. Raises
        `ScenarioError` where the file cannot be written.
        """
        if file is not None:
            return write_film(self.timed, file)
        # By its name: the desk, which has all widgets, stands after this room, and loads where it is wanted.
        return import_module("planning_kit.desk.film").FilmView(self.timed)

    def end_state(self, minute: object = None) -> EndState:
        """What the outing leaves behind at its end, or if it is ended at ``minute`` (PET, UTC) and made safe.

        Every item and where it is, tethers, cable ends, states, inhibits still in force, the share done of
        each task: ``frame`` is a table in words. Of a re-timed plan it goes by the log. Raises
        `ScenarioError` for a minute at which the outing cannot be ended any more.
        """
        return end_state(self.timed, minute)

    def promises(self) -> Promises:
        """What this plan keeps now, to be asserted of later ones: windows, margins, findings, required work.

        ``.assertions(folder)`` gives Python that holds for this plan and fails, with its numbers, for one
        that has lost something; ``.write(path, folder)`` a notebook. Raises `ScenarioError` for a re-timed
        plan.
        """
        return promises_of(self.timed)


@dataclass(frozen=True, eq=False, repr=False)
class OutsidePlan(ShownPlan):
    """A plan that can be re-timed by a log, and says then where the outing stands and what can be done."""

    standing = Shown(outing_progress.standing_of)
    progress = Shown(outing_progress.progress_table)
    task_progress = Shown(outing_progress.task_table)
    left_out = Shown(outing_progress.left_out_table)

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
        must be kept; ``give_up``: tasks given up with what hangs on them by items, what has begun of them put
        back. Who is underway goes to what is next from where they are now. What is skipped so is planned, not
        logged: log it when it is called. Raises `ScenarioError` for what there is not or has begun.
        """
        return type(self)(decide(self.timed, skip, give, order, waits, give_up))

    def options(self, most: int = 12, reorder: str | float | None = None, seconds: float = 5.0,
                samples: int = 0, progress: Told = "bar",
                cancel: Callable[[], bool] | None = None) -> pd.DataFrame:
        """What can still be done, each option verified by re-timing, best first (see `options_table`).

        With ``reorder`` better orders of the rest are searched as well, which takes seconds: ``quick``,
        ``normal``, ``thorough`` or a number say how long, in the solver's own deterministic time (as
        ``propose``); ``seconds`` is a safety stop by the clock; ``progress`` and
        ``cancel`` are as there. With ``samples`` each option has its odds, too. Raises `ScenarioError` for an
        effort that there is not.
        """
        with shown(progress, "options") as report, stoppable(cancel) as is_over:
            search = None if reorder is None else Budget(
                read_effort(reorder, seconds), seconds, report, is_over)
            return options_table(self.timed, most, search, samples, report)

    def decision_table(self, level: float = 0.95, samples: int = 2_000, seed: int = 1,
                       progress: Told = "bar") -> pd.DataFrame:
        """Before the outing: what to drop when, and the odds of it (see `decision_table`)."""
        with shown(progress, "decision_table") as report:
            return decision_table(self.timed, level, samples, seed, report)

    def terminate(self, at_min: object = None) -> pd.DataFrame:
        """The sequence of an orderly return at ``at_min`` (PET, UTC; now, if re-timed): see `going_home`."""
        return going_home(self.timed, TERMINATE, at_min)

    def abort(self, at_min: object = None) -> pd.DataFrame:
        """The sequence of a return at once at ``at_min`` (PET, UTC; now, if re-timed): see `going_home`."""
        return going_home(self.timed, ABORT, at_min)

    def response(self, asked: str, minute: object = None, crew: str = "") -> Answer:
        """A response, by its id or cause, called at ``minute`` (PET, UTC; now, if re-timed): see `answer`."""
        return answer(self.timed, asked, minute, crew)

    def home_now(self, how: str = TERMINATE) -> pd.DataFrame:
        """Time home and margins of each crew member, called now: the rows of ``ways_home`` at now."""
        return home_now(self.timed, how)

    def ways_home(self, how: str = TERMINATE, every_min: float = 1.0) -> pd.DataFrame:
        """Time home and margins at every minute, for ``terminate`` or ``abort`` (see `ways_home`)."""
        return ways_home(self.timed, how, every_min)

    def updated_estimates(self, weight: float = 2.0) -> pd.DataFrame:
        """Estimates that have learned from the outing, for the next plan (see `updated_estimates`)."""
        return outing_progress.updated_estimates(self.timed, weight)

    def with_updated_estimates(self, weight: float = 2.0) -> Scenario:
        """The scenario taken outside with these estimates in it, to be saved as the base of the next plan."""
        return outing_progress.with_updated_estimates(self.timed, weight)
