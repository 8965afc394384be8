"""The plan as the front door gives it: it has a `TimedPlan`, and asks the rooms what they say of that."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property
from pathlib import Path
from types import FunctionType
from typing import Generic, TypeVar, overload

import pandas as pd

from planning_kit.changes.change import changes_table
from planning_kit.explore.comparing.compare import compare as moved_steps
from planning_kit.explore.gain import gain
from planning_kit.explore.long_question import Progress
from planning_kit.explore.propose.proposals import Proposals
from planning_kit.explore.propose.propose import read_effort, search_orders
from planning_kit.explore.propose.search import Budget
from planning_kit.explore.retime.deciding import decide
from planning_kit.explore.retime.decision_table import decision_table
from planning_kit.explore.retime.going_home import ABORT, TERMINATE, going_home, home_now, ways_home
from planning_kit.explore.retime.options import options_table
from planning_kit.explore.retime.progress import (
    left_out_table,
    progress_table,
    task_table,
    updated_estimates,
    with_updated_estimates,
)
from planning_kit.explore.retime.retiming import retime
from planning_kit.explore.retime.standing import standing_of
from planning_kit.explore.revising.revisions import Given, Revision, compare_revisions
from planning_kit.explore.what_if import what_if
from planning_kit.inputs.scenario import Scenario, as_scenario
from planning_kit.judge.all_checks import findings_of
from planning_kit.plan.timed import AnyPlan, Face, TimedPlan, as_plan

Said = TypeVar("Said")


class Shown(Generic[Said]):
    """What the plan within says of itself, under the same name and with the same words."""

    def __init__(self, ask: Callable[[TimedPlan], Said]) -> None:
        """``ask`` gives it of the plan within."""
        self._ask = ask

    def __set_name__(self, owner: type, name: str) -> None:
        if isinstance(member := getattr(TimedPlan, name, None), property | cached_property | FunctionType):
            self.__doc__ = member.__doc__

    def __get__(self, face: Face | None, owner: type) -> Said:
        if face is None:
            raise AttributeError("is asked of a plan, not of its class")
        return self._ask(face.timed)


@dataclass(frozen=True, eq=False, repr=False)
class Plan(Face):
    """A timed plan to be asked: for its tables, its findings, what would be if, and outside for what to do.

    ``timed`` is the plan itself, as the rooms give it to each other. ``name`` and ``history`` say what a
    chain of what-ifs made it from.
    """

    # What it was made of, and its times
    scenario = Shown(lambda plan: plan.scenario)
    egress = Shown(lambda plan: plan.egress)
    almanac = Shown(lambda plan: plan.almanac)
    travels = Shown(lambda plan: plan.travels)
    network = Shown(lambda plan: plan.network)
    durations = Shown(lambda plan: plan.durations)
    starts = Shown(lambda plan: plan.starts)
    finishes = Shown(lambda plan: plan.finishes)
    end_min = Shown(lambda plan: plan.end_min)
    slack = Shown(lambda plan: plan.slack)
    holders = Shown(lambda plan: plan.holders)
    steps = Shown(lambda plan: plan.steps)
    light = Shown(lambda plan: plan.light)
    links = Shown(lambda plan: plan.links)
    named_windows = Shown(lambda plan: plan.named_windows)
    horizon_min = Shown(lambda plan: plan.horizon_min)
    name = Shown(lambda plan: plan.name)
    history = Shown(lambda plan: plan.history)
    outside = Shown(lambda plan: plan.outside)
    now_min = Shown(lambda plan: plan.now_min)
    whereabouts = Shown(lambda plan: plan.whereabouts)
    # What follows, as records
    lanes = Shown(lambda plan: plan.lanes)
    passages = Shown(lambda plan: plan.passages)
    suit_histories = Shown(lambda plan: plan.suit_histories)
    return_times = Shown(lambda plan: plan.return_times)
    inhibit_holds = Shown(lambda plan: plan.inhibit_holds)
    link_covers = Shown(lambda plan: plan.link_covers)
    gap_clocks = Shown(lambda plan: plan.gap_clocks)
    tracked_custody = Shown(lambda plan: plan.tracked_custody)
    tracked_tethers = Shown(lambda plan: plan.tracked_tethers)
    # And as tables and words
    timeline = Shown(lambda plan: plan.timeline)
    summary = Shown(lambda plan: plan.summary)
    handovers = Shown(lambda plan: plan.handovers)
    suits = Shown(lambda plan: plan.suits)
    suit_summary = Shown(lambda plan: plan.suit_summary)
    returns = Shown(lambda plan: plan.returns)
    return_summary = Shown(lambda plan: plan.return_summary)
    inhibit_times = Shown(lambda plan: plan.inhibit_times)
    link_cover = Shown(lambda plan: plan.link_cover)
    clocks = Shown(lambda plan: plan.clocks)
    cautions_on_the_way = Shown(lambda plan: plan.cautions_on_the_way)
    custody = Shown(lambda plan: plan.custody)
    kit_list = Shown(lambda plan: plan.kit_list)
    tethers = Shown(lambda plan: plan.tethers)
    position = Shown(lambda plan: plan.position)
    place_title = Shown(lambda plan: plan.place_title)
    delay_curve = Shown(lambda plan: plan.delay_curve)
    explain = Shown(lambda plan: plan.explain)

    def __repr__(self) -> str:
        return repr(self.timed).replace("TimedPlan", "Plan", 1)

    @property
    def findings(self) -> pd.DataFrame:
        """Everything found wrong or worth knowing, worst first.

        Columns: ``severity`` (stop, concern, remark), ``check``, ``rule`` (the one rule of the check that is
        broken), ``about`` (the item, place, inhibit, route, ... by id), ``crew``, ``step``, ``start_min``
        (PET), ``message``, ``source``, then ``value``, ``limit`` and ``margin`` where it has numbers.
        """
        return findings_of(self.timed)

    @property
    def changes(self) -> pd.DataFrame:
        """What the what-ifs behind this plan changed, in order: ``name``, ``kind``, ``change`` in words.

        Rows of the kind ``note`` say what a change brought with it: gaps and inhibits that went with a
        dropped step, an egress outside the scenario's own range. Empty for a plan as it was loaded.
        """
        return changes_table(self.history)

    def what_if(
        self,
        egress_slip_min: float = 0.0,
        stretch: Mapping[str, object] | None = None,
        drop: object = (),
        *,
        egress: str | date | datetime | None = None,
        swap: object = (),
        close: object = (),
        tether_m: float | Mapping[str, float] | None = None,
        settings: Mapping[str, object] | None = None,
        move: Mapping[str, str] | None = None,
        gaps: Mapping[str, Mapping[str, float]] | None = None,
        name: str = "",
    ) -> Plan:
        """Time another plan: this one with something changed. It can be asked again, and again.

        Parameters
        ----------
        egress_slip_min : float
            Minutes by which they leave later (negative: earlier).
        stretch : mapping
            Step, task or crew (also ``both`` or an actor) to a factor (``1.2``) or to minutes for each step
            with a sign, as text (``"+5"``, ``"-2.5"``). All three estimates change alike. Of several names
            for one step the closest counts: step, then task, then crew; of two crew members the slower.
        drop : name or names
            Steps or tasks to leave out. Precedence passes through them; gaps and inhibits go, with notes
            (see `planning_kit.changes.dropping`).
        egress : time or date, UTC
            Another egress; a date alone keeps the time of day.
        swap : names, "swappable" or "all"
            Tasks whose steps EV1 and EV2 trade, with prefixes, hooks and the items that serve nothing else.
        close : route or routes
            Routes that cannot be used, as ``"BK BO"``.
        tether_m : float, or mapping by crew member
            Other tether lengths, metres.
        settings : mapping
            Keys of ``scenario.toml``, such as ``{"suit.oxygen_g": 500}``.
        move : mapping
            Step to the step that it shall follow in the order of work.
        gaps : mapping
            Two steps, as ``"RN1 X5"``, to ``{"max_gap": 50}`` or ``{"min_gap": 5}``, minutes; where the two
            have several gaps, with the ends that count, as ``"RN1 finish X5 start"``.
        name : str
            What to call it in ``changes``.

        An id of both a step and a task is written ``step:ID`` or ``task:ID``. Raises one `ScenarioError`
        that lists every unknown name and senseless number, or why the changed scenario has no plan.
        Asked of a re-timed plan, the plan that the crew took outside is changed and re-timed by the same log:
        what has begun keeps its logged times, and cannot be dropped or change hands.
        """
        asked = {"egress_slip_min": egress_slip_min, "stretch": stretch, "drop": drop, "egress": egress,
                 "swap": swap, "close": close, "tether_m": tether_m, "settings": settings, "move": move,
                 "gaps": gaps}
        return Plan(what_if(self.timed, asked, name))

    def gain(self, step: str, minutes: float | None = None, most: int = 5) -> pd.DataFrame:
        """The smallest single changes that would start ``step`` earlier by ``minutes``.

        Without ``minutes``: that would catch the window before the one that holds the step, or holds what
        it waits for. Each row is proved by timing and checking the changed plan: ``change`` in words;
        ``by_min``, the least whole tenth of a minute that does it (0 for a move, which takes nothing from
        any step or rule; for a dropped task its minutes of work); ``kind`` (``order``, ``shorten``,
        ``min gap``, ``max gap``, ``drop``, ``egress``); ``gain_min`` and ``new_start_min`` (PET) of the
        step; side effects ``end_slip_min``, ``new_stops`` and ``new_findings`` (stops included);
        ``what_if``, the arguments that make that plan: ``plan.what_if(**row.what_if)``. Gains and slips are
        those of UTC, which differ from those of PET where egress moves.

        Smallest first, those that bring a stop finding last; at most ``most`` of each kind. Every kind that
        was searched without success has a last row that says so. Searched are: one row moved, anywhere but
        past the first and the last step of a crew member (likely moves first, all of them where none of
        these is without a stop finding); each step by itself shorter; each gap by itself relaxed; one
        optional or get-ahead task left out; for windows an egress up to 12 h earlier. Two changes together
        are not searched. Whether a move makes sense at work, the tables cannot know.

        Of a re-timed plan only what has not begun is changed, and egress is history. Raises `ScenarioError`
        for an unknown step or one that has begun, minutes not above 0, or no window to catch.
        """
        return gain(self.timed, step, minutes, most)

    # Outside

    def retime(self, actuals: object, now_min: object = None) -> Plan:
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
        return Plan(retime(self.timed, actuals, now_min))

    @property
    def standing(self) -> str:
        """Where the outing stands, in words, a line a fact. Raises `ScenarioError` before it is re-timed."""
        return standing_of(self.timed)

    @property
    def progress(self) -> pd.DataFrame:
        """Planned and actual times of every step (see `progress_table`)."""
        return progress_table(self.timed)

    @property
    def task_progress(self) -> pd.DataFrame:
        """Planned and actual minutes of every task (see `task_table`)."""
        return task_table(self.timed)

    @property
    def left_out(self) -> pd.DataFrame:
        """Steps that are skipped or cannot be done any more, and why (see `left_out_table`)."""
        return left_out_table(self.timed)

    def decide(self, skip: Sequence[str] = (), give: Sequence[str] = (), order: Sequence[str] = (),
               waits: Sequence[Mapping[str, object]] = ()) -> Plan:
        """The re-timed plan with a decision taken now (see `planning_kit.explore.retime.deciding.decide`).

        ``skip``: steps or tasks not begun any more; ``give``: swappable tasks that the two trade (of one that
        has begun: its steps that nobody has begun);
        ``order``: steps in another order of work; ``waits``: rows of ``gaps.csv`` to add, where another order
        must be kept. Who is underway goes to what is next from where they are now. What is skipped so is
        planned, not logged: log it when it is called. Raises `ScenarioError` for what there is not or has
        begun.
        """
        return Plan(decide(self.timed, skip, give, order, waits))

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


@overload
def compare(a: AnyPlan, b: AnyPlan) -> pd.DataFrame: ...
@overload
def compare(a: str | Path | Scenario, b: Given) -> Revision: ...
@overload
def compare(a: AnyPlan, b: str | Path | Scenario) -> Revision: ...
def compare(a: Given, b: Given) -> pd.DataFrame | Revision:
    """What moved between two plans, or what a revision changed.

    Two plans give the table of the steps that moved (see `planning_kit.explore.comparing.compare`). Folders,
    git revisions (``"HEAD~1:scenarios/x"``) and scenarios give a `Revision`, as `compare_revisions` does:
    inputs, times, findings, margins and a verdict.
    """
    if isinstance(a, AnyPlan) and isinstance(b, AnyPlan):
        return moved_steps(as_plan(a), as_plan(b))
    return compare_revisions(a, b)


def time_plan(scenario: Scenario, egress: str | date | datetime | None = None) -> Plan:
    """Time a scenario: the earliest plan that keeps every rule. ``egress`` (UTC) replaces its own.

    Raises `ScenarioError` that names the steps when no plan exists: rules that run in a circle, a step
    longer than any window it needs, or a step pushed past the horizon.
    """
    return Plan(TimedPlan.of(scenario, egress))


def propose(
    scenario: Scenario,
    effort: str | float = "normal",
    seconds: float = 10.0,
    egress_window: tuple[str | date | datetime, str | date | datetime] | None = None,
    progress: Callable[[Progress], None] | None = None,
    cancel: Callable[[], bool] | None = None,
    *,
    order: str = "steps",
    limit_min: float | None = None,
    cushion: float = 0.0,
    egress_every_min: float = 5.0,
) -> Proposals[Plan]:
    """Better orders of the same work: each a scenario with its timed plan and what it changes.

    Chosen are the order of each lane, who does a swappable task, which optional and get-ahead tasks are done
    and the egress. Better means: required work (always all), then the tasks that go last in the drop order
    (`planning_kit.judge.drop_order`), then the earlier end, then less walking. Each proposal is timed by
    `time_plan` and checked: one with a stop finding that the current plan does not have is never shown.

    Parameters
    ----------
    effort : "quick", "normal", "thorough" or a number
        How long to search, in passes of the timing and the solver's own deterministic time: this decides
        the answer.
    seconds : float
        A safety stop by the clock; an answer that it cut short says that it is not repeatable.
    egress_window : (earliest, latest), UTC
        Where egress may lie, in steps of ``egress_every_min``; by default the scenario's ``egress_earliest``
        and ``egress_latest``, else its egress. The present egress is always searched first.
    progress : callable
        Called with a `Progress` (``doing``, ``best_min``, ``bound_min``, ``elapsed_s``).
    cancel : callable
        Asked now and then; when it returns True the search ends with what it has.
    order : "steps" or "runs"
        ``runs`` keeps together what one crew member does for one task without a break: fewer orders, sooner
        searched.
    limit_min : float
        The outing's limit; by default the planned limit where the current plan keeps it without a stop
        finding, else the hard one.
    cushion : float
        Plan on durations so far from likely (0) towards high (1): orders that are less fragile.

    Steps of one task and one crew member keep their row order, and steps of both that open or close the
    outing stay there. Where nothing fits, ``.clash`` names requirements that cannot be met together. Raises
    `ScenarioError` for a question that makes no sense.
    """
    as_scenario(scenario).stop_if_happened("propose")
    found = search_orders(scenario, effort, seconds, egress_window, progress, cancel, order=order,
                          limit_min=limit_min, cushion=cushion, egress_every_min=egress_every_min)
    return found.faced(Plan)
