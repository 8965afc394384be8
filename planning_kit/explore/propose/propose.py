"""Better orders: searched by the solver, timed by the timing, judged by the checks, told as moves."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from math import inf

from planning_kit.explore.long_question import Progress
from planning_kit.explore.propose.choice import Choice
from planning_kit.explore.propose.clash import find_clash
from planning_kit.explore.propose.judge import Judge, only_what_matters
from planning_kit.explore.propose.moves import tell_moves
from planning_kit.explore.propose.problem import Freedom
from planning_kit.explore.propose.proposals import Proposal, Proposals
from planning_kit.explore.propose.rebuild import Rebuilt
from planning_kit.explore.propose.search import Budget
from planning_kit.explore.propose.stages import Found, best_order
from planning_kit.explore.propose.work import BY_RUNS, BY_STEPS
from planning_kit.inputs.faults import Faults, ScenarioError, is_number
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import as_utc
from planning_kit.judge.all_checks import findings_of
from planning_kit.judge.findings import STOP
from planning_kit.judge.review import cushioned_end_min, is_worse, keeps
from planning_kit.plan.build import work_order
from planning_kit.plan.timed import TimedPlan

EFFORTS = {"quick": 1.0, "normal": 1.5, "thorough": 40.0}
_MOST_REJECTED = 5
_LEAST_EVERY_MIN = 0.1
_MOST_EGRESSES = 20_000
_MOST_EFFORT, _MOST_LIMIT_MIN = 1e6, 7 * 1440.0  # beyond any use, and far from where numbers overflow
Moment = str | date | datetime


def search_orders(
    scenario: Scenario,
    effort: str | float = "normal",
    seconds: float = 10.0,
    egress_window: tuple[Moment, Moment] | None = None,
    progress: Callable[[Progress], None] | None = None,
    cancel: Callable[[], bool] | None = None,
    *,
    order: str = BY_STEPS,
    limit_min: float | None = None,
    cushion: float = 0.0,
    egress_every_min: float = 5.0,
) -> Proposals[TimedPlan]:
    """Search for better orders: ``plan.propose`` says how."""
    amount = _read_question(effort, seconds, order, limit_min, cushion, egress_every_min)
    settings = scenario.settings
    earliest, latest = _read_window(scenario, egress_window, egress_every_min)
    try:
        current: TimedPlan | None = TimedPlan.of(scenario)
    except ScenarioError:
        current = None
    limits = settings.limits
    judge = Judge(scenario, current, limits.planned_min, cushion)
    if limit_min is None:
        fits = current is not None and judge.holds(current) and not _stops(current)
        limit_min = limits.planned_min if fits else limits.hard_min
    judge = replace(judge, limit_min=limit_min)
    freedom = Freedom(earliest, latest, limit_min, egress_every_min, cushion, order)
    names = [step.step for step in scenario.records.steps]
    lanes = {who: tuple(names[i] for i in work_order(scenario.records.steps, who)) for who in (
        *(crew.crew for crew in scenario.records.crew), *(a.actor for a in scenario.records.actors))}
    before = Choice(lanes, frozenset(), frozenset(), settings.egress)
    return _Search(scenario, freedom, Budget(amount, seconds, progress, cancel), judge, before).run()


@dataclass
class _Search:
    """One call: what was asked, the current plan, and what was found so far."""

    scenario: Scenario
    freedom: Freedom
    budget: Budget
    judge: Judge
    before: Choice
    found: list[Proposal[TimedPlan]] = field(default_factory=list)
    rejected: int = 0
    last: Found | None = None

    def run(self) -> Proposals[TimedPlan]:
        """With the egress kept, then, where there is a choice of it, with any."""
        egress = self.scenario.settings.egress
        keeps = replace(self.freedom, earliest=egress, latest=egress)
        freedoms = [("same egress", keeps)]
        if self.freedom.earliest != self.freedom.latest:
            freedoms.append(("any egress", self.freedom))
        elif self.freedom.earliest != egress:
            freedoms = [("other egress", self.freedom)]
        for name, freedom in freedoms:
            if not self.budget.is_over():
                self._look(name, freedom, self.budget.effort / len(freedoms))
        self.found.sort(key=self._rank)
        return self._result()

    def _look(self, name: str, freedom: Freedom, effort: float) -> None:
        """Search under one freedom until an order holds, is no better, or enough were rejected."""
        forbidden: list[Choice] = []
        start = self._start(freedom)
        while len(forbidden) <= _MOST_REJECTED:
            found = best_order(self.scenario.records, self.scenario.elements, freedom, start, self.budget,
                               effort, forbidden)
            if found is None:
                return
            self.last = found
            rebuilt = self.judge.try_out(found.choice)
            if rebuilt is not None and self.judge.holds(rebuilt.plan):
                self._keep(name, found, rebuilt)
                return
            forbidden.append(found.choice)
            self.rejected += 1
            if self.budget.is_over():
                return

    def _start(self, freedom: Freedom) -> Choice | None:
        """The order to begin with: the best so far, else the rows; its egress moved into the range."""
        best = min(self.found, key=self._rank, default=None)
        lanes, egress = self.before.lanes, self.before.egress
        if best is not None and not best.dropped and not any(m.kind == "crew" for m in best.changes):
            names = [step.step for step in best.scenario.records.steps]
            lanes = {who: tuple(names[i] for i in work_order(best.scenario.records.steps, who))
                     for who in lanes}
        if not freedom.earliest <= egress <= freedom.latest:
            egress = freedom.earliest
        late_min = (egress - freedom.earliest).total_seconds() / 60
        whole = timedelta(minutes=late_min // freedom.egress_every_min * freedom.egress_every_min)
        return replace(self.before, lanes=lanes, egress=freedom.earliest + whole)

    def _keep(self, name: str, found: Found, rebuilt: Rebuilt) -> None:
        """Keep an order that holds if it is better than the current and than any kept before."""
        proposal, current = self._proposal(name, found, rebuilt), self.judge.current
        mine = self._rank(proposal)
        if current is not None and self._keeps_limit(current):
            theirs = (float(_stops(current)), *self.judge.worth(current, frozenset()))
            if not is_worse(theirs, mine):
                return
        if all(is_worse(self._rank(other), mine) for other in self.found):
            self.found.append(proposal)

    def _proposal(self, name: str, found: Found, rebuilt: Rebuilt) -> Proposal[TimedPlan]:
        """An order that holds, without the moves that win nothing."""
        choice, rebuilt = only_what_matters(self.judge, found.choice, rebuilt, self.before.lanes,
                                            self.budget)
        reached_min = cushioned_end_min(rebuilt.plan, self.freedom.cushion)
        # The solver's bound counts in ticks, each link rounded up; the end is exact and may lie below it.
        bound_min = min(found.bound_min, reached_min)
        return Proposal(
            name, rebuilt.plan.scenario, rebuilt.plan, self.judge.current,
            tuple(tell_moves(self.scenario.records, self.before, choice, rebuilt)), choice.dropped,
            reached_min, bound_min, found.tasks_proven, found.end_proven, not self.budget.cut_short,
            self.judge.review(rebuilt.plan, choice.dropped).new_concerns)

    def _keeps_limit(self, plan: TimedPlan) -> bool:
        return keeps(cushioned_end_min(plan, self.freedom.cushion), self.freedom.limit_min)

    def _rank(self, proposal: Proposal[TimedPlan]) -> tuple[float, ...]:
        return float(_stops(proposal.plan)), *self.judge.worth(proposal.plan, proposal.dropped)

    def _result(self) -> Proposals[TimedPlan]:
        repeatable = not self.budget.cut_short
        if self.found or self.last is not None:
            return Proposals(self.judge.current, tuple(self.found), self._verdict(), (), repeatable,
                             self.rejected)
        clash = None if self.budget.is_over() else find_clash(
            self.scenario.records, self.scenario.elements, self.freedom, self.budget, self.budget.effort)
        repeatable = not self.budget.cut_short
        if clash is None:
            words = "no order found, and not shown that there is none: raise effort and seconds"
        elif clash:
            words = "nothing fits: " + "; ".join(each.words for each in clash)
        else:
            words = ("nothing fits: the row order inside the tasks, the required tasks and the travel "
                     "between them clash by themselves")
        return Proposals(self.judge.current, (), self._cut(words), clash or (), repeatable, self.rejected)

    def _verdict(self) -> str:
        current, last = self.judge.current, self.last
        if self.found:
            best = self.found[0]
            order = "a better order" if current else "an order that fits"
            gain = f", {current.end_min - best.end_min:.1f} min earlier" if current else ""
            out = f", {' '.join(sorted(best.dropped))} left out" if best.dropped else ""
            return self._cut(f"{order}{gain}{out}: {best.verdict}")
        assert last is not None
        if self.rejected > _MOST_REJECTED:
            return self._cut(f"no better order holds: {self.rejected} were rejected by the checks")
        if last.tasks_proven and last.end_proven:
            return "the current order is proven best"
        left = (max(cushioned_end_min(current, self.freedom.cushion) - last.bound_min, 0.0)
                if current else float("nan"))
        return self._cut(f"no better order found; at most {left:.1f} min can be won")

    def _cut(self, words: str) -> str:
        if self.budget.cancelled:
            return f"{words} (cancelled: not repeatable)"
        return f"{words} (stopped by the clock: not repeatable)" if self.budget.cut_short else words


def _stops(plan: TimedPlan) -> int:
    return int((findings_of(plan)["severity"] == STOP).sum())


def read_effort(effort: str | float, seconds: float, table: str = "reorder") -> float:
    """An effort by name or number as deterministic time; `ScenarioError` for none, and for no seconds."""
    faults = Faults()
    amount = _amount(effort, seconds, table, faults)
    faults.stop_if_any()
    return amount


def _amount(effort: object, seconds: object, table: str, faults: Faults) -> float:
    amount = EFFORTS.get(effort, 0.0) if isinstance(effort, str) else effort
    found = float(amount) if is_number(amount) and 0 < amount <= _MOST_EFFORT else 0.0
    if not found:
        faults.add(table, None, "effort", effort,
                   f"must be one of {', '.join(EFFORTS)}, or a number above 0, at most {_MOST_EFFORT:,.0f}")
    has_no_clock = isinstance(seconds, float) and seconds == inf
    if not (has_no_clock or (is_number(seconds) and seconds > 0)):
        faults.add(table, None, "seconds", seconds, "must be above 0")
    return found


def _read_question(effort: str | float, seconds: float, order: str, limit_min: float | None, cushion: float,
                   egress_every_min: float) -> float:
    faults = Faults()
    amount = _amount(effort, seconds, "propose", faults)
    if order not in (BY_STEPS, BY_RUNS):
        faults.add("propose", None, "order", order, f"must be {BY_STEPS} or {BY_RUNS}")
    if not (is_number(cushion) and 0 <= cushion <= 1):
        faults.add("propose", None, "cushion", cushion, "must be from 0 (likely) to 1 (high)")
    if limit_min is not None and not (is_number(limit_min) and 0 < limit_min <= _MOST_LIMIT_MIN):
        faults.add("propose", None, "limit_min", limit_min,
                   f"must be above 0 minutes, at most {_MOST_LIMIT_MIN:,.0f}")
    if not (is_number(egress_every_min) and egress_every_min >= _LEAST_EVERY_MIN):
        faults.add("propose", None, "egress_every_min", egress_every_min,
                   f"must be minutes, at least {_LEAST_EVERY_MIN:g}")
    faults.stop_if_any()
    return amount


def _read_window(scenario: Scenario, window: Sequence[Moment] | None,
                 every_min: float) -> tuple[datetime, datetime]:
    """The range of egress asked for, else the scenario's own, else its egress."""
    settings = scenario.settings
    if window is None:
        return settings.egress_earliest or settings.egress, settings.egress_latest or settings.egress
    if isinstance(window, str) or not isinstance(window, Sequence) or len(window) != 2:
        raise ScenarioError.single("must be two UTC times, (earliest, latest)", table="propose",
                                   column="egress_window", value=str(window))
    earliest, latest = as_utc(window[0], "egress_window"), as_utc(window[1], "egress_window")
    if latest < earliest:
        raise ScenarioError.single("ends before it begins", table="propose", column="egress_window",
                                   value=f"{window[0]} {window[1]}")
    count = (latest - earliest).total_seconds() / 60 / every_min
    if count > _MOST_EGRESSES:
        raise ScenarioError.single(
            f"asks for {count:.0f} times of egress, at most {_MOST_EGRESSES}: narrow the range, or raise it",
            table="propose", column="egress_every_min", value=every_min)
    return earliest, latest
