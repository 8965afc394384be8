"""The plan as a user holds it, and what its answers are: each has a plan that can be asked again."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import overload

import pandas as pd

from planning_kit.explore.comparison import Given, TimedComparison, compare_baseline, compare_revisions
from planning_kit.explore.gain import gain
from planning_kit.explore.odds.odds import TimedOdds, compare_odds, odds, propose_cuts
from planning_kit.explore.propose.proposals import Proposals, faced, search_orders
from planning_kit.explore.sweep import Sweep, sweep_pet_zero
from planning_kit.explore.what_if import what_if
from planning_kit.front.progress_bar import Told, shown, stoppable
from planning_kit.front.shown import OutsidePlan
from planning_kit.inputs.scenario import Scenario, as_scenario
from planning_kit.inputs.timeline_sheet import Baseline
from planning_kit.inputs.utc import When
from planning_kit.judge.acceptances import accept
from planning_kit.plan.moments import Moment, moment_of
from planning_kit.plan.timed import Face, TimedPlan
from planning_kit.show.briefing import TimedBriefing, briefing

Other = Given | Face
"""What a plan is compared with: a folder or git revision, a scenario, a plan."""


@dataclass(frozen=True, eq=False, repr=False)
class Plan(OutsidePlan):
    """A timed plan to be asked: for its tables, its findings, what would be if, and outside for what to do.

    ``name`` says what the last what-if is called. What only rooms need is asked of ``timed``.
    """

    def what_if(
        self,
        slip_min: float = 0.0,
        stretch: Mapping[str, object] | None = None,
        drop: object = (),
        *,
        pet_zero: str | date | datetime | None = None,
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
        slip_min : float
            Minutes by which they leave later (negative: earlier).
        stretch : mapping
            Step, task or crew (also ``both`` or an actor) to a factor (``1.2``) or to minutes for each step
            with a sign, as text (``"+5"``, ``"-2.5"``). All three estimates change alike. Of several names
            for one step the closest counts: step, then task, then crew; of two crew members the slower.
        drop : name or names
            Steps or tasks to leave out. Precedence passes through them; gaps and inhibits go, with notes
            (see `planning_kit.changes.dropping`).
        PET 0 : time or date, UTC
            Another PET 0; a date alone keeps the time of day.
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
        asked = {"slip_min": slip_min, "stretch": stretch, "drop": drop, "pet_zero": pet_zero,
                 "swap": swap, "close": close, "tether_m": tether_m, "settings": settings, "move": move,
                 "gaps": gaps}
        return Plan(what_if(self.timed, asked, name))

    def gain(self, step: str, minutes: float | None = None, most: int = 5,
             progress: Told = "bar") -> pd.DataFrame:
        """The smallest single changes that would start ``step`` earlier by ``minutes``.

        Without ``minutes``: that would catch the window before the one that holds the step, or holds what
        it waits for. Each row is proved by timing and checking the changed plan: ``change`` in words;
        ``by_min``, the least whole tenth of a minute that does it (0 for a move, which takes nothing from
        any step or rule; for a dropped task its minutes of work); ``kind`` (``order``, ``shorten``,
        ``min gap``, ``max gap``, ``drop``, ``pet_zero``); ``gain_min`` and ``new_start_min`` (PET) of the
        step; side effects ``end_slip_min``, ``new_stops`` and ``new_findings`` (stops included);
        ``what_if``, the arguments that make that plan: ``plan.what_if(**row.what_if)``. Gains and slips are
        those of UTC, which differ from those of PET where PET 0 moves.

        Smallest first, those that bring a stop finding last; at most ``most`` of each kind. Every kind that
        was searched without success has a last row that says so. Searched are: one row moved, anywhere but
        past the first and the last step of a crew member (likely moves first, all of them where none of
        these is without a stop finding); each step by itself shorter; each gap by itself relaxed; one
        optional or get-ahead task left out; for windows a PET 0 up to 12 h earlier. Two changes together
        are not searched. Whether a move makes sense at work, the tables cannot know.

        Of a re-timed plan only what has not begun is changed, and PET 0 is history. Raises `ScenarioError`
        for an unknown step or one that has begun, minutes not above 0, or no window to catch.
        """
        with shown(progress, "gain") as report:
            return gain(self.timed, step, minutes, most, report)

    @overload
    def compare(self, other: Other) -> Comparison: ...
    @overload
    def compare(self, other: Baseline) -> pd.DataFrame: ...
    def compare(self, other: Other | Baseline) -> Comparison | pd.DataFrame:
        """What ``other`` has otherwise than this plan: ask the earlier one, give the later one.

        The verdict is on ``other``: what is worse, better or to be looked at there.
        ``other`` is a plan, a scenario, its folder, or a git revision of that folder written as git writes
        it (``"HEAD:scenarios/mine"``, the path from the working directory). A scenario that has no plan is
        a verdict, not an error. Of a baseline (see ``read_timeline``) it is a table of this plan against it
        (`planning_kit.explore.comparison.compare_baseline`). Raises `ScenarioError` for what cannot be read.
        """
        if isinstance(other, Baseline):
            return compare_baseline(self.timed, other)
        found = compare_revisions(self.timed, timed(other))
        return Comparison(found.a, found.b, found.timed_a, found.timed_b, found.no_plan)

    def at(self, minute: float) -> Moment:
        """One minute of PET, from 0 to the end of the outing: who is where, doing and holding what.

        Raises `ScenarioError` for a minute outside the outing.
        """
        return moment_of(self.timed, minute)

    def sweep(self, start: When, stop: When, every_min: float, stops: bool = False,
              executor: Executor | None = None, progress: Told = "bar") -> Sweep:
        """The same work at every ``every_min`` minutes of PET 0 from ``start`` to ``stop`` (UTC, both ends).

        One plan a row: ``pet_zero``, ``end_min`` (PET at which both are inside), margins to the planned and
        the hard limit (negative: past it), ``wait_min`` (both crew members' waits together). Where no plan
        keeps all rules, ``reason`` says what gives way, and the row keeps no limit. With ``stops`` a last
        column of that name counts the stop findings of each plan; every row is then checked one by one, which
        takes many times as long. ``sweep.good_spells`` are the runs of rows that keep a limit. Any
        ``executor`` gives the same rows (see ``odds``). Interrupted, it keeps what it has: ``reason`` says
        which rows were not reached. ``progress`` is as in ``propose``. Raises `ScenarioError` when the range
        makes no sense, and for a plan that is re-timed.
        """
        with shown(progress, "sweep") as report, stoppable() as cancel:
            return sweep_pet_zero(self.scenario, start, stop, every_min, stops, executor, report, cancel)

    def odds(self, samples: int = 10_000, seed: int = 1, executor: Executor | None = None,
             learn_pace: bool = False, progress: Told = "bar") -> Odds:
        """Sample the durations and the travel, time every sample, and say how likely things are.

        Durations and factors: `planning_kit.explore.odds.sampled_outing`; dropped tasks:
        `planning_kit.explore.odds.sampled_outing`. The same ``samples`` and ``seed`` give the same numbers on
        every run, on any ``executor`` (any `concurrent.futures.Executor`: threads, processes, a cluster's
        own) with any number of workers. Each sample is timed as a plan is: only durations and travel are
        left to chance. Of a re-timed plan they are the odds of the rest, given what was logged; with
        ``learn_pace`` the pace so far tells of the pace to come (both in
        `planning_kit.explore.odds.sampled_past`). Raises `ScenarioError` for a number of samples, a seed, an
        executor or a distribution that makes no sense.
        """
        with shown(progress, "odds") as report:
            found = odds(self.timed, samples, seed, executor, learn_pace, report)
        return Odds(found.timed, found.study, found.tally)

    def cuts(self, level: float = 0.95, samples: int = 2_000, seed: int = 1,
             progress: Told = "bar") -> pd.DataFrame:
        """The latest start of each task that may go, at which P(inside by the hard limit) >= ``level``.

        Tasks that have begun are no lines. In the order in which they would be dropped (see
        `planning_kit.judge.review.drop_order`), of equals the later in the plan first.
        Columns: ``cut_order`` (1 goes first), ``task``, ``title``, ``need``, ``planned_start_min``,
        ``last_start_min`` (PET minutes; NaN: even begun as early as it can be, it does not keep the level),
        ``last_start`` as a PET label, ``p`` at that start and its ``se``, ``given_last_start_min`` (the
        scenario's own). ``scenario.with_cuts`` puts them into a scenario. Raises `ScenarioError` for a level
        not between 0 and 1.
        """
        with shown(progress, "cuts") as report:
            return propose_cuts(self.timed, level, samples, seed, report)

    def propose(
        self,
        effort: str | float = "normal",
        seconds: float = 120.0,
        pet_zero_window: tuple[When, When] | None = None,
        progress: Told = "bar",
        cancel: Callable[[], bool] | None = None,
        *,
        goal: str | Sequence[str] = "end",
        order: str = "steps",
        limit_min: float | None = None,
        cushion: float = 0.0,
        pet_zero_every_min: float = 5.0,
        seeds: int = 1,
        executor: Executor | None = None,
    ) -> Proposals[Plan]:
        """Better orders of the same work: each a scenario with its timed plan and what it changes.

        Chosen are the order of each lane, who does a swappable task, which optional and get-ahead tasks are
        done and the PET 0. Better means: required work (always all), then the tasks that go last in the drop
        order (`planning_kit.judge.review`), then the goal, the earlier end (with what carrying weighs),
        less carrying and less walking. Each proposal is timed by `time_plan` and checked: one with a stop
        finding that the current plan does not have, or not so badly, is never shown (see ``.rejected``).
        Where rules of the plan give way, giving less way comes first.

        Parameters
        ----------
        effort : "quick", "normal", "thorough" or a number
            How long to search, in passes of the timing and the solver's own deterministic time: this decides
            the answer.
        seconds : float
            A safety stop by the clock; an answer that it cut short says that it is not repeatable. The first
            search on a machine compiles its passes for up to a minute, which is not counted.
        pet_zero_window : (earliest, latest), UTC
            Where PET 0 may lie, in steps of ``pet_zero_every_min``; by default the scenario's
            ``pet_zero_earliest`` and ``pet_zero_latest``, else the plan's PET 0. The present PET 0 is always
            searched first.
        progress : "bar", callable or None
            After two seconds a bar shows the best so far and the bound, until the call ends; None: nothing.
            A function is called with a `Progress` (``words``, ``best_min``, ``bound_min``, ``elapsed_s``).
        cancel : callable
            Asked now and then; when it returns True the search ends with what it has. So does an interrupt.
        goal : "end", "odds" or "margin", or several of these: then the best by each, in their order
            An early end, and a second proposal where the odds can clearly be better; the odds of being inside
            by the hard limit with the required work done (to half a percent); the widest least margin (min).
        order : "steps" or "runs"
            ``runs`` keeps together what one crew member does for one task without a break: fewer orders,
            sooner searched.
        limit_min : float
            The outing's limit; by default the planned limit where the current plan keeps it without a stop
            finding, else the hard one.
        cushion : float
            Plan on durations so far from likely (0) towards high (1): orders that are less fragile.
        seeds : int
            So many searches for each goal, each with this effort and another seed: the best is given.
        executor : concurrent.futures.Executor
            Where they are done (as in ``odds``): the same answer as without. Stopped, those done count.

        Steps of one task and one crew member keep their row order, and steps of both that open or close the
        outing stay there. ``.rejected`` tells the earlier orders that do not hold, and what blocked each.
        Raises `ScenarioError` for a question that makes no sense, and for a plan that is re-timed (ask its
        ``options``).
        """
        self.scenario.stop_if_happened("propose")
        scenario = self.scenario
        if self.pet_zero != scenario.settings.pet_zero_utc:  # an order is sought for the PET 0 of this plan
            scenario = scenario.with_settings({"pet_zero_utc": self.pet_zero.isoformat()})
        with shown(progress, "propose") as report, stoppable(cancel) as is_over:
            found = search_orders(scenario, effort, seconds, pet_zero_window, report, is_over, goal,
                                  order=order, limit_min=limit_min, cushion=cushion,
                                  pet_zero_every_min=pet_zero_every_min, seeds=seeds, executor=executor)
        return faced(found, Plan)

    def accept(self, finding: object, by: str, why: str, date: When | None = None) -> pd.DataFrame:
        """Write down that somebody accepts a finding, in ``accepted.csv``; gives all ``scenario.accepted``.

        ``finding`` is a row of ``findings`` (``plan.findings.iloc[0]``), or its check, rule, about, crew and
        step as a tuple; ``date`` a date or a UTC moment (today by default). It counts in ``findings`` at
        once, as long as the margin is not worse and the limit not looser; the severity stays. Raises
        `ScenarioError` for what is no finding of this plan, without a name or a reason, and for a plan that
        is not that of the scenario as saved (edits, another PET 0, re-timed, changed on disk).
        """
        return accept(self.timed, finding, by, why, date)

    def briefing(self) -> Briefing:
        """The plan in words: purpose, way, hands, waits, hazards, inhibits, return, by PET.

        Both crew members are interwoven; parts follow day and night. Text of the scenario is shown on one
        line, without control characters; the notebook's view escapes it.
        """
        told = briefing(self.timed)
        return Briefing(told.title, told.parts, told.minute, told.timed)

    def write_pack(self, folder: str | Path, baseline: Other | None = None,
                   chances: Odds | None = None) -> pd.DataFrame:
        """Write what reviewers and the crew need into ``folder``; gives the files: ``file``, ``what``.

        ``review.html`` (one page, nothing else needed), ``review.pdf``, ``review.xlsx``, ``briefing.txt`` and
        cards in A6 and A5: for each crew member, and a cue card of responses. ``baseline`` is an earlier
        plan, scenario, folder or ``"REVISION:FOLDER"``: what changed since is then listed. ``chances`` are
        the plan's `Odds`, computed with 10 000 samples where not given. The folder is made, or is empty, or
        holds an earlier pack, which is replaced as a whole; files of others or a pack that someone edited
        raise `ScenarioError`, as does a folder that cannot be written, or odds of another plan: nothing is
        changed then. Made of the same inputs, a pack says the same; it carries no date. Where the scenario's
        folder stands in a campaign, there is a page of what earlier outings left, and one of what is left for
        the next, as those are on disk.
        """
        # Pages, sheets and pictures take long to load, and most plans write none.
        from planning_kit.show.pack.write import write_pack

        return write_pack(self.timed, folder, None if baseline is None else timed(baseline), chances)


def timed(other: Other) -> Given:
    """What a plan is compared with, without its face."""
    return other.timed if isinstance(other, Face) else other


@dataclass(frozen=True, eq=False, repr=False)
class Odds(TimedOdds):
    """What many samples of one outing say: its tables, and ``plan``, whose odds they are.

    Probabilities are shares of *all* samples. Each is played without foresight: a window is entered when the
    likely minutes of what is left fit, what then overruns is played on, and a greatest gap is judged
    afterwards. ``p_broken`` is the share in which a step does not lie in its window or a clock runs over.
    """

    @property
    def plan(self) -> Plan:
        """The plan whose odds they are."""
        return Plan(self.timed)

    def compare(self, other: Odds) -> pd.DataFrame:
        """What the plan of ``other`` makes likelier or later than this one, sample by sample.

        One row an item: the outing as a whole (see ``summary``), its mean end (PET), then P(done by the hard
        limit) of every task, P(overrun) of every step or group in windows, P(broken) of every clock with its
        mean minutes over, and P(caught) of every window that both plans use: one and the same stretch of UTC,
        named as here. What is not known is NaN. Where they have something in different
        windows (another night, another pass of a relay), both shares stand beside each other without a
        difference: they are not odds of one event. ``a`` is of this plan, ``b`` of the other, ``difference``
        b minus a; ``se`` its standard error from the paired samples, ``se_if_independent`` what it would be
        with other random numbers for each. Raises `ScenarioError` when seed or number of samples differ:
        then the samples are no pairs.
        """
        return compare_odds(self, other)


@dataclass(frozen=True, eq=False, repr=False)
class Comparison(TimedComparison):
    """Two scenarios and their plans beside each other: inputs, times, findings, margins and a verdict.

    ``a`` was asked, ``b`` is the other, on which the verdict is; ``no_plan`` says why a side has no plan.
    """

    @property
    def plan_a(self) -> Plan | None:
        """The plan that was asked."""
        return None if self.timed_a is None else Plan(self.timed_a)

    @property
    def plan_b(self) -> Plan | None:
        """The other plan; None where there is none."""
        return None if self.timed_b is None else Plan(self.timed_b)


@dataclass(frozen=True, eq=False, repr=False)
class Briefing(TimedBriefing):
    """A plan in words: ``text`` is the long form, ``one_minute`` the short one, ``table`` the events."""

    @property
    def plan(self) -> Plan:
        """The plan that is told."""
        return Plan(self.timed)


def time_plan(scenario: Scenario, pet_zero: When | None = None) -> Plan:
    """Time a scenario: the earliest plan that keeps every rule. ``pet_zero`` (UTC) replaces its own.

    Raises `ScenarioError` that names the steps when no plan exists: rules that run in a circle, a step
    longer than any window it needs, or a step pushed past the horizon. `find_plan` then looks for an order
    that has one. A scenario that a re-timing wrote says what was done and is no plan: ask the re-timed one.
    """
    as_scenario(scenario).stop_if_happened("time_plan")
    return Plan(TimedPlan.of(scenario, pet_zero))


def find_plan(scenario: Scenario, effort: str | float = "normal", seconds: float = 120.0,
              pet_zero_window: tuple[When, When] | None = None, progress: Told = "bar", *,
              goal: str | Sequence[str] = "end", seeds: int = 1,
              executor: Executor | None = None) -> Proposals[Plan]:
    """Orders of work that fit, for a scenario whose plan as it stands breaks rules; or one that breaks less.

    As ``plan.propose``, which is asked of a plan; so are ``goal``, ``seeds`` and ``executor``.
    """
    as_scenario(scenario).stop_if_happened("find_plan")
    with shown(progress, "find_plan") as report, stoppable() as is_over:
        return faced(search_orders(scenario, effort, seconds, pet_zero_window, report, is_over, goal,
                                   seeds=seeds, executor=executor), Plan)
