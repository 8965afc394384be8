"""The plan as the front door gives it: times from `plan/`, and what the rooms to its right say of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Self, overload

import pandas as pd

from planning_kit.changes.asked import leaving_after, read_asked
from planning_kit.changes.change import Told, changes_table, made
from planning_kit.explore.comparing.compare import compare as moved_steps
from planning_kit.explore.gaining.gain import gain
from planning_kit.explore.long_question import Progress
from planning_kit.explore.propose.proposals import Proposals
from planning_kit.explore.propose.propose import search_orders
from planning_kit.explore.retime.live_plan import LivePlan
from planning_kit.explore.retime.past_of import stop_if_past
from planning_kit.explore.revising.revisions import Given, Revision, compare_revisions
from planning_kit.explore.session.going_outside import go_outside, log_for
from planning_kit.explore.session.session import Session
from planning_kit.inputs.scenario import Scenario, as_scenario
from planning_kit.judge.all_checks import find_all
from planning_kit.plan.timed import TimedPlan

if TYPE_CHECKING:
    from planning_kit.desk.workbench import Workbench


@dataclass(frozen=True, eq=False, repr=False)
class Plan(LivePlan):
    """A timed plan with its findings.

    Times and words (``timeline``, ``summary``, ``explain``, ``delay_curve``, ``handovers``, ``light``,
    ``links``) come from `planning_kit.plan.timed.TimedPlan`. ``name`` and ``history`` say what a chain of
    what-ifs made it from.
    """

    name: str = ""
    history: tuple[Told, ...] = ()

    @cached_property
    def _findings(self) -> pd.DataFrame:
        if self.outside is None:
            return find_all(self)
        return find_all(self, self.outside.findings, self.outside.untouched)

    @property
    def findings(self) -> pd.DataFrame:
        """Everything found wrong or worth knowing, worst first.

        Columns: ``severity`` (stop, concern, remark), ``check``, ``rule`` (the one rule of the check that is
        broken), ``about`` (the item, place, inhibit, route, ... by id), ``crew``, ``step``, ``start_min``
        (PET), ``message``, ``source``, then ``value``, ``limit`` and ``margin`` where it has numbers.
        """
        return self._findings.copy()

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
    ) -> Self:
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
        base = self if self.outside is None else self.outside.base
        changes = read_asked(base.scenario.records, base.egress, {
            "egress_slip_min": egress_slip_min, "stretch": stretch, "drop": drop, "egress": egress,
            "swap": swap, "close": close, "tether_m": tether_m, "settings": settings, "move": move,
            "gaps": gaps})
        changed, leaving = made(base.scenario, changes, name), leaving_after(changes, base.egress)
        if self.outside is not None:
            stop_if_past(self.outside, changed.scenario, leaving)
        plan = self.re_timed_as(type(self).of(changed.scenario, leaving))
        return replace(plan, name=name or self.name, history=(*self.history, *changed.told))

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
        return gain(self, self.what_if, step, minutes, most)


@overload
def compare(a: TimedPlan, b: TimedPlan) -> pd.DataFrame: ...
@overload
def compare(a: str | Path | Scenario, b: Given) -> Revision: ...
@overload
def compare(a: TimedPlan, b: str | Path | Scenario) -> Revision: ...
def compare(a: Given, b: Given) -> pd.DataFrame | Revision:
    """What moved between two plans, or what a revision changed.

    Two plans give the table of the steps that moved (see `planning_kit.explore.comparing.compare`). Folders,
    git revisions (``"HEAD~1:scenarios/x"``) and scenarios give a `Revision`, as `compare_revisions` does:
    inputs, times, findings, margins and a verdict.
    """
    if isinstance(a, TimedPlan) and isinstance(b, TimedPlan):
        return moved_steps(a, b)
    return compare_revisions(a, b)


def time_plan(scenario: Scenario, egress: str | date | datetime | None = None) -> Plan:
    """Time a scenario: the earliest plan that keeps every rule. ``egress`` (UTC) replaces its own.

    Raises `ScenarioError` that names the steps when no plan exists: rules that run in a circle, a step
    longer than any window it needs, or a step pushed past the horizon.
    """
    return Plan.of(scenario, egress)


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
) -> Proposals:
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
    return search_orders(scenario, effort, seconds, egress_window, progress, cancel, order=order,
                         limit_min=limit_min, cushion=cushion, egress_every_min=egress_every_min,
                         plan_type=Plan)


def workbench(scenario: Scenario, actuals: str | Path | pd.DataFrame | None = None,
              now: str | float | datetime | None = None) -> Workbench:
    """The live workbench of a scenario, for JupyterLab: its tables, chart, findings and margins.

    Edits change a draft; ``.scenario`` and ``.plan`` of what is returned are those of the last draft
    without a fault. Nothing is written to the scenario's folder before Save.

    Outside, which is a switch above the chart, the outing is followed: the log (``log.csv`` in the scenario's
    folder) is written from one-key buttons and the plan is re-timed at every entry and every minute;
    ``.plan`` is then the re-timed plan and ``.log`` the log.

    Parameters
    ----------
    actuals : path or DataFrame
        Open outside, with this log: a file or its folder is appended to; a table, as `read_log` makes it, is
        copied and kept in the session only.
    now : PET minutes, PET as text ``h:mm``, or UTC
        Open outside, with now held at this moment, for a rehearsal or a replay. By default the wall clock is
        followed where it lies in the outing, else now is held at the end of the log.

    Raises `ScenarioError` when the scenario has no plan, for a log that is none, and for a ``now`` outside
    the outing.
    """
    from planning_kit.desk.workbench import Workbench  # widgets load only where they are wanted

    session = Session(as_scenario(scenario), time_plan)
    if actuals is not None or now is not None:
        go_outside(session, None if actuals is None else log_for(actuals), now)
    return Workbench(session)
