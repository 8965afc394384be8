"""Better orders of the rest, found by the optimiser while the crew is outside.

The rest of the outing (`planning_kit.explore.retime.rest`) is searched as any order is
(`planning_kit.explore.propose.order_search`): with all that is still to be done, and, where that misses a
limit, with optional and get-ahead tasks left out. What is found is a decision like any other: taken, re-timed
by the log and checked as a whole plan. Steps left out stay out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from planning_kit.explore.propose.choice import as_written
from planning_kit.explore.propose.order_search import Better, Judge, OrderSearch
from planning_kit.explore.propose.problem import Freedom
from planning_kit.explore.propose.search import Budget
from planning_kit.explore.retime.rest import Rest, rest_of
from planning_kit.plan.timed import TimedPlan

_ROUNDING_MIN = 1.0  # the solver rounds up along a chain: the present order must fit its own limit


def better_orders(plan: TimedPlan, budget: Budget) -> Iterator[Better]:
    """Better orders of the rest of a re-timed plan: with all of it, then so that it keeps a limit."""
    rest = rest_of(plan)
    if not any(len(lane) > 1 for lane in as_written(rest.records, plan.egress).lanes.values()):
        return
    limits = plan.scenario.settings.limits
    is_lost = plan.end_min > limits.hard_min  # then what keeps a limit comes first, whatever it leaves out
    if is_lost:
        yield from _keeping_a_limit(plan, rest, plan.end_min, budget)
    whole = _looked(plan, _all_kept(rest), max(limits.hard_min, plan.end_min + _ROUNDING_MIN), budget)
    if whole is not None:
        yield whole
    if not is_lost:
        end_min = plan.end_min if whole is None else whole.plan.end_min
        yield from _keeping_a_limit(plan, rest, end_min, budget)


def _keeping_a_limit(plan: TimedPlan, rest: Rest, end_min: float, budget: Budget) -> Iterator[Better]:
    """An order that keeps the planned limit, or else the hard one, where ``end_min`` does not."""
    limits = plan.scenario.settings.limits
    for limit_min in (limits.planned_min, limits.hard_min):
        if end_min > limit_min:
            found = _looked(plan, rest, limit_min, budget)
            if found is not None:
                yield found
                return


def _looked(plan: TimedPlan, rest: Rest, limit_min: float, budget: Budget) -> Better | None:
    judge = Judge(scenario=plan.scenario, records=rest.records, current=plan, limit_min=limit_min)
    start = as_written(rest.records, plan.egress)
    freedom = Freedom(earliest=plan.egress, latest=plan.egress, limit_min=limit_min, past=rest.past)
    return OrderSearch(judge=judge, before=start, budget=budget).look(freedom, budget.effort / 2)


def _all_kept(rest: Rest) -> Rest:
    tasks = tuple(replace(task, need="required") for task in rest.records.tasks)
    return replace(rest, records=replace(rest.records, tasks=tasks))
