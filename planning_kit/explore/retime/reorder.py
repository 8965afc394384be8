"""Better orders of the rest, found by the optimiser while the crew is outside.

The rest of the outing (`planning_kit.explore.retime.rest`) is searched as any order is
(`planning_kit.explore.propose.stages`): first with all that is still to be done, and, where that misses a
limit, with optional and get-ahead tasks left out by the weights of the search. What the solver finds is a
decision like any other: it is taken, re-timed by the log and checked as a whole plan, and kept only where
it brings no new stop finding and is better. Moves that win nothing are put back. Steps left out stay out.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from planning_kit.explore.propose.choice import Choice
from planning_kit.explore.propose.judge import Judge, only_what_matters
from planning_kit.explore.propose.model import Rule
from planning_kit.explore.propose.moves import Move, tell_moves
from planning_kit.explore.propose.problem import Freedom
from planning_kit.explore.propose.rebuild import Rebuilt, in_order, is_broken, wait_for
from planning_kit.explore.propose.search import Budget, completed
from planning_kit.explore.propose.stages import Found, best_order, build_problem
from planning_kit.explore.propose.work import BY_STEPS
from planning_kit.explore.retime.rest import Rest, rest_of
from planning_kit.explore.retime.whereabouts import Whereabouts
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import Records
from planning_kit.judge.review import is_worse
from planning_kit.plan.build import work_order
from planning_kit.plan.timed import TimedPlan

Plan = Any  # the front door's plan: times, findings and ``decide``
_MOST_REJECTED = 3
_LET_GO_EFFORT = 0.1  # to find most of what carrying on keeps; the last of it may take many times as long
_ROUNDING_MIN = 1.0  # the solver rounds up along a chain: the present order must fit its own limit


@dataclass(frozen=True)
class Reordered:
    """A better order of the rest: ``how`` are the arguments of ``decide``, ``moves`` say what it changes."""

    plan: Plan
    how: Mapping[str, Any]
    moves: tuple[Move, ...]
    dropped: frozenset[str]
    is_proven: bool
    is_repeatable: bool


@dataclass(frozen=True)
class _OutsideJudge(Judge):
    """Judges a choice by deciding it: re-timed by the log, checked, compared with carrying on."""

    rest: Rest = field(kw_only=True)

    def how(self, choice: Choice, written: tuple[Rule, ...] = ()) -> dict[str, Any]:
        """The choice as arguments of ``decide``; only what differs from carrying on."""
        skip = [step.step for step in self.rest.records.steps if step.task in choice.dropped]
        rows = [step.step for step in self.rest.records.steps if step.task not in choice.dropped]
        order = in_order(rows, choice.lanes)
        how = {"skip": skip, "give": sorted(choice.swapped), "order": order if order != rows else [],
               "waits": [dict(wait_for(rule).row) for rule in written]}
        return {name: value for name, value in how.items() if value}

    def try_out(self, choice: Choice) -> Rebuilt | None:
        """The re-timed plan of a choice, with the rules that its earliest times would break written down."""
        assert self.current is not None
        current: Plan = self.current
        written: tuple[Rule, ...] = ()
        try:
            plan = current.decide(**self.how(choice))
            while broken := [rule for rule in choice.rules if rule not in written and is_broken(plan, rule)]:
                written += tuple(broken)
                plan = current.decide(**self.how(choice, written))
        except ScenarioError:
            return None
        if lost_steps(current, plan, self.how(choice).get("skip", ())):
            return None
        return Rebuilt(plan, written, ())


def lost_steps(plan: TimedPlan, changed: TimedPlan, skipped: Collection[str]) -> frozenset[str]:
    """Steps that ``changed`` does not hold, though the decision does not skip them."""
    return frozenset(plan.network.steps) - frozenset(changed.network.steps) - frozenset(skipped)


def better_orders(plan: Plan, here: tuple[Whereabouts, ...], now_min: float,
                  budget: Budget) -> Iterator[Reordered]:
    """Better orders of the rest of a re-timed plan: with all of it, then so that it keeps a limit."""
    rest = rest_of(plan, here, now_min)
    if not any(len(lane) > 1 for lane in rest.lanes.values()):
        return
    limits = plan.scenario.settings.limits
    is_lost = plan.end_min > limits.hard_min  # then what keeps a limit comes first, whatever it leaves out
    if is_lost:
        yield from _keeping_a_limit(plan, rest, plan.end_min, budget)
    whole = _looked(plan, _all_kept(rest), max(limits.hard_min, plan.end_min + _ROUNDING_MIN), budget,
                    budget.effort / 2)
    if whole is not None:
        yield whole
    if not is_lost:
        end_min = plan.end_min if whole is None else whole.plan.end_min
        yield from _keeping_a_limit(plan, rest, end_min, budget)


def _keeping_a_limit(plan: Plan, rest: Rest, end_min: float, budget: Budget) -> Iterator[Reordered]:
    """An order that keeps the planned limit, or else the hard one, where ``end_min`` does not."""
    limits = plan.scenario.settings.limits
    for limit_min in (limits.planned_min, limits.hard_min):
        if end_min > limit_min and not budget.is_over():
            found = _looked(plan, rest, limit_min, budget, budget.effort / 2)
            if found is not None:
                yield found
                return


def _all_kept(rest: Rest) -> Rest:
    tasks = tuple(replace(task, need="required") for task in rest.records.tasks)
    return replace(rest, records=replace(rest.records, tasks=tasks))


def _looked(plan: Plan, rest: Rest, limit_min: float, budget: Budget, effort: float) -> Reordered | None:
    """Search until an order holds and is better, or enough were rejected."""
    freedom = Freedom(plan.egress, plan.egress, limit_min, free=BY_STEPS, past=rest.past)
    start = Choice(rest.lanes, frozenset(), frozenset(), plan.egress)
    freedom = _as_far_as_kept(rest.records, plan, freedom, start, budget)
    judge = _OutsideJudge(plan.scenario, type(plan).of, plan, limit_min, rest=rest)
    forbidden: list[Choice] = []
    while len(forbidden) <= _MOST_REJECTED and not budget.is_over():
        found = best_order(rest.records, plan.scenario.elements, freedom, start, budget, effort, forbidden)
        if found is None:
            return None
        rebuilt = judge.try_out(found.choice)
        if rebuilt is not None and judge.holds(rebuilt.plan):
            return _kept(plan, judge, start, found, rebuilt, budget)
        forbidden.append(found.choice)
    return None


def _as_far_as_kept(records: Records, plan: Plan, freedom: Freedom, start: Choice,
                    budget: Budget) -> Freedom:
    """Without the requirements that carrying on does not keep: what is lost is no other order's fault."""
    elements = plan.scenario.elements
    if completed(build_problem(records, elements, freedom, freedom.free), start, budget):
        return freedom
    problem = build_problem(records, elements, freedom, freedom.free, explains=True)
    switches = problem.model.switches
    problem.model.cp.maximize(sum(switches.values()))
    kept = completed(problem, start, budget, _LET_GO_EFFORT)
    if kept is None or freedom.past is None:
        return freedom
    let_go = frozenset(asked for asked, switch in switches.items()
                       if asked.table != "limits" and not kept.values[switch.index])
    return replace(freedom, past=replace(freedom.past, let_go=let_go))


def _kept(plan: Plan, judge: _OutsideJudge, start: Choice, found: Found, rebuilt: Rebuilt,
          budget: Budget) -> Reordered | None:
    """The order without the moves that win nothing; None where it is no better than carrying on."""
    choice, rebuilt = only_what_matters(judge, found.choice, rebuilt, start.lanes, budget)
    now, then = judge.review(plan, frozenset()), judge.review(rebuilt.plan, choice.dropped)
    if not is_worse(now.rank, then.rank):
        return None
    heads = {who: _done(plan, who) for who in start.lanes}
    before, after = (replace(each, lanes={who: (*heads[who], *lane) for who, lane in each.lanes.items()})
                     for each in (start, choice))
    moves = tuple(tell_moves(judge.rest.records, before, after, rebuilt))
    return Reordered(rebuilt.plan, judge.how(choice, rebuilt.written), moves, choice.dropped,
                     found.tasks_proven and found.end_proven, not budget.cut_short)


def _done(plan: Plan, who: str) -> tuple[str, ...]:
    """What someone has begun last, if anything: what moves to the front follows that."""
    begun = [position for position in work_order(plan.steps, who) if position in plan.network.fixed]
    return tuple(plan.steps[position].step for position in begun[-1:])
