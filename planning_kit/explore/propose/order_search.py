"""The search for better orders: before an outing, and of the rest of one that has begun.

The solver offers an order (`stages`); the timing and the checks judge the plan that comes of it (`Judge`).
Solver and checks do not know the same rules, so what does not hold is forbidden and searched again. What is
found comes without the moves that win nothing. What has happened is in the freedom (`Past`); without it this
is the search before an outing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta

from planning_kit.explore.propose.choices import (
    Choice,
    Move,
    Rebuilt,
    moved_blocks,
    rebuild,
    tell_moves,
    undone,
)
from planning_kit.explore.propose.order_problem import Freedom, Problem
from planning_kit.explore.propose.solving import Budget, completed
from planning_kit.explore.propose.stages import Found, best_order, build_problem
from planning_kit.explore.propose.untimed_rules import ending_asked
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import Records
from planning_kit.inputs.scenario import Scenario
from planning_kit.judge.all_checks import findings_of
from planning_kit.judge.findings import STOP, findings_table
from planning_kit.judge.review import Review, is_worse, review
from planning_kit.plan.timed import TimedPlan

MOST_REJECTED = 5
_MOST_UNDONE = 40
_LET_GO_EFFORT = 0.1  # finds most of what the present order keeps; the last of it may take many times as long


@dataclass(frozen=True, kw_only=True)
class Judge:
    """Judges choices of an order for ``records``: what holds, and what is better.

    ``current`` is the plan that others are compared with (None: the rows have none). ``records`` are all of
    ``scenario``, or what is left to do of a ``current`` outside. The end must keep ``limit_min`` (PET), with
    the ``cushion``, too; where ``own_limit`` is given, what that says of each plan instead.
    """

    scenario: Scenario
    records: Records
    current: TimedPlan | None
    limit_min: float
    cushion: float = 0.0
    own_limit: Callable[[TimedPlan], float] | None = None

    def review(self, plan: TimedPlan, dropped: frozenset[str] = frozenset()) -> Review:
        """A plan against the current one and its limit."""
        known = findings_table(()) if self.current is None else self.current
        limit_min = self.limit_min if self.own_limit is None else self.own_limit(plan)
        return review(known, plan, (limit_min,), self.scenario.records.tasks, dropped, self.cushion)

    def holds(self, plan: TimedPlan) -> bool:
        """Whether a plan keeps its limit and brings no stop finding that the current plan does not have."""
        return self.review(plan).holds

    def rank(self, plan: TimedPlan, dropped: frozenset[str] = frozenset()) -> tuple[float, ...]:
        """Smaller is better: stop findings, the limit kept or not, then what the plan is worth."""
        # All of them, not only the new ones: an order that mends one is better.
        stops = float((findings_of(plan)["severity"] == STOP).sum())
        return stops, *self.review(plan, dropped).rank

    def try_out(self, choice: Choice) -> Rebuilt | None:
        """The timed plan of a choice; None where it cannot be timed."""
        try:
            return rebuild(self.current, self.scenario, self.records, choice)
        except ScenarioError:
            return None


@dataclass(frozen=True, kw_only=True)
class Better:
    """A better order: the choice, its plan, the moves that lead to it, and what the solver says of it.

    ``rank`` is that of its judge.
    """

    choice: Choice
    rebuilt: Rebuilt
    moves: tuple[Move, ...]
    solved: Found
    rank: tuple[float, ...]

    @property
    def plan(self) -> TimedPlan:
        """The plan of it."""
        return self.rebuilt.plan

    @property
    def is_proven_best(self) -> bool:
        """Whether neither more tasks nor an earlier end are possible under the same freedom."""
        return self.solved.tasks_proven and self.solved.end_proven


@dataclass(kw_only=True)
class OrderSearch:
    """One search, from the order ``before``; ``found`` has the best first.

    ``last`` is what the solver offered last; ``rejected`` counts what it offered and what did not hold.
    """

    judge: Judge
    before: Choice
    budget: Budget
    found: list[Better] = field(default_factory=list)
    rejected: int = 0
    last: Found | None = None

    def look(self, freedom: Freedom, effort: float) -> Better | None:
        """Search under one freedom until an order holds: it, if it is better than all that are known."""
        start, forbidden = self._start(freedom), list[Choice]()
        if freedom.past is not None:
            freedom = self._as_far_as_kept(freedom, start)
        while len(forbidden) <= MOST_REJECTED and not self.budget.is_over():
            found = best_order(self.problem(freedom), start, self.budget, effort, forbidden)
            if found is None:
                # Before an outing only where no order is found: else what the rows break is to be mended.
                kept = freedom if freedom.past or freedom.let_go else self._as_far_as_kept(freedom, start)
                if kept == freedom:
                    return None
                freedom = kept
                continue
            self.last = found
            rebuilt = self.judge.try_out(found.choice)
            if rebuilt is not None and self.judge.holds(rebuilt.plan):
                return self._kept_if_better(freedom, found, rebuilt)
            # It breaks what only the checks know, and the solver would offer it again.
            forbidden.append(found.choice)
            self.rejected += 1
        return None

    def problem(self, freedom: Freedom, explains: bool = False) -> Problem:
        """The model of what is searched (see `planning_kit.explore.propose.stages.build_problem`)."""
        return build_problem(self.judge.records, self.judge.scenario.elements, freedom, explains)

    def _start(self, freedom: Freedom) -> Choice:
        """The order to begin with: the best so far with the same work, else that before."""
        best = self.found[0].choice if self.found else self.before
        # Tasks and crew begin as they were before, and the lanes must hold just these steps.
        lanes = self.before.lanes if best.dropped or best.swapped else best.lanes
        pet_zero = self.before.pet_zero
        if not freedom.earliest <= pet_zero <= freedom.latest:
            pet_zero = freedom.earliest
        late_min = (pet_zero - freedom.earliest).total_seconds() / 60
        # The model knows only a PET 0 every so many minutes: one between them would fit no order.
        whole = timedelta(minutes=late_min // freedom.pet_zero_every_min * freedom.pet_zero_every_min)
        return replace(self.before, lanes=lanes, pet_zero=freedom.earliest + whole)

    def _as_far_as_kept(self, freedom: Freedom, start: Choice) -> Freedom:
        """Without what the present order does not keep: what is lost is no other order's fault.

        Outside that is any requirement but the limit: the past has brought it about. Before an outing, where
        a rule that is broken is to be mended, it is only that an item ends where it must.
        """
        if completed(self.problem(freedom), start, self.budget):
            return freedom
        problem = self.problem(freedom, explains=True)
        switches, endings = problem.model.switches, set(map(ending_asked, self.judge.records.hardware))
        # Of an item that ends elsewhere that is let go, and not all that is known of it.
        problem.model.cp.maximize(sum((1 if asked in endings else 2) * switch
                                      for asked, switch in switches.items()))
        kept = completed(problem, start, self.budget, _LET_GO_EFFORT)
        # Nothing is known of what it keeps: then all is asked, the strict side.
        if kept is None:
            return freedom
        # The small effort may let go of more than it must: the judge still rejects a new stop finding.
        lost = {asked for asked, switch in switches.items() if not kept.values[switch.index]}
        may_go = {asked for asked in switches if asked.table != "limits"} if freedom.past else endings
        return replace(freedom, let_go=frozenset(lost & may_go))

    def _kept_if_better(self, freedom: Freedom, found: Found, rebuilt: Rebuilt) -> Better | None:
        choice, rebuilt = only_what_matters(self.judge, found.choice, rebuilt, self.before.lanes, self.budget)
        rank, current = self.judge.rank(rebuilt.plan, choice.dropped), self.judge.current
        known = [each.rank for each in self.found] + ([] if current is None else [self.judge.rank(current)])
        if not all(is_worse(other, rank) for other in known):
            return None
        moves = tell_moves(self.judge.records, self.before, choice, rebuilt,
                           freedom.past.last_begun if freedom.past else {})
        if freedom.past is None:
            let_go = sorted(freedom.let_go, key=lambda asked: asked.row)
            moves += [Move("note", "", each.row, f"let go, as the plan so far does not keep it: {each.words}")
                      for each in let_go]
        better = Better(choice=choice, rebuilt=rebuilt, moves=tuple(moves), solved=found, rank=rank)
        self.found.insert(0, better)
        return better


def only_what_matters(judge: Judge, choice: Choice, rebuilt: Rebuilt, before: Mapping[str, Sequence[str]],
                      budget: Budget) -> tuple[Choice, Rebuilt]:
    """The choice without the moves that win nothing: each is put back as long as the plan is as good."""
    best, tried = judge.review(rebuilt.plan, choice.dropped).worth, 0
    has_changed = True
    while has_changed and tried < _MOST_UNDONE:
        has_changed = False
        for block in list(moved_blocks(before, choice.lanes)):
            if budget.is_over() or tried >= _MOST_UNDONE:
                return choice, rebuilt
            tried += 1
            simpler = undone(choice, before, block)
            other = judge.try_out(simpler)
            # An order that holds only by one more written rule is not simpler.
            if other is None or len(other.written) > len(rebuilt.written):
                continue
            found = judge.review(other.plan, choice.dropped)
            if found.holds and not is_worse(found.worth, best):
                choice, rebuilt, best, has_changed = simpler, other, found.worth, True
                break
    return choice, rebuilt
