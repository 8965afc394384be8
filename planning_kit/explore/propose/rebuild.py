"""From a choice back to a plan: rows in the new order, and rules where the timing would not keep it.

Before an outing it is a scenario with changes, once it has begun a decision.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from planning_kit.changes.amounts import Set
from planning_kit.changes.change import Change, made, task_named
from planning_kit.changes.dropping import Drop
from planning_kit.changes.order import Order, Trade, Wait
from planning_kit.explore.propose.choice import Choice
from planning_kit.explore.propose.model import Rule
from planning_kit.explore.propose.ticks import minutes_of
from planning_kit.explore.retime.deciding import Decision, decided_whole
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import Records
from planning_kit.inputs.scenario import Scenario
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True)
class Rebuilt:
    """The plan of a choice, the rules that had to be written down, and notes in words.

    ``how``: outside, the arguments of `decide` that make it.
    """

    plan: TimedPlan
    written: tuple[Rule, ...]
    notes: tuple[str, ...] = ()
    how: Decision = field(default_factory=Decision)


def rebuild(current: TimedPlan | None, scenario: Scenario, records: Records, choice: Choice) -> Rebuilt:
    """The plan of a choice for ``records``: all of ``scenario``, or what is left of ``current`` outside.

    Custody, room and inhibits never delay a step, so where the earliest plan of the new order would break
    what the solver kept, the order is written down as ``after`` or as a gap: only those rules, one round at
    a time. Raises `ScenarioError` where the result cannot be timed, or loses steps that it should hold.
    """
    rules: tuple[Rule, ...] = ()
    while True:
        if current is not None and current.outside is not None:
            made_so = _decided(current, records, choice, rules)
        else:
            changed = made(scenario, changes_of(records, choice, rules))
            made_so = Rebuilt(TimedPlan.of(changed.scenario), rules, tuple(n.words for n in changed.notes))
        broken = [rule for rule in choice.rules if rule not in rules and is_broken(made_so.plan, rule)]
        if not broken:
            return made_so
        rules += tuple(broken)


def changes_of(records: Records, choice: Choice, rules: Iterable[Rule] = ()) -> list[Change]:
    """A choice, and the rules to write down, as changes of the scenario that it was made for."""
    kept, order = _rows(records, choice)
    changes: list[Change] = []
    if len(kept) < len(records.steps):
        changes.append(Drop(tuple(task_named(records, task) for task in choice.dropped), lets_stay=True))
    if choice.swapped:
        changes.append(Trade(tuple(choice.swapped)))
    if order != kept:
        changes.append(Order(tuple(order)))
    if choice.egress != records.settings.egress:
        changes.append(Set({"egress": choice.egress.strftime("%Y-%m-%dT%H:%M:%SZ")}))
    return [*changes, *map(wait_for, rules)]


def _decided(plan: TimedPlan, records: Records, choice: Choice, rules: tuple[Rule, ...]) -> Rebuilt:
    """The choice as a decision; only what differs from carrying on."""
    kept, order = _rows(records, choice)
    how: Decision = {}
    if len(kept) < len(records.steps):
        how["skip"] = [step.step for step in records.steps if step.task in choice.dropped]
    if choice.swapped:
        how["give"] = sorted(choice.swapped)
    if order != kept:
        how["order"] = order
    if rules:
        how["waits"] = [dict(wait_for(rule).row) for rule in rules]
    return Rebuilt(decided_whole(plan, how), rules, how=how)


def _rows(records: Records, choice: Choice) -> tuple[list[str], list[str]]:
    """The steps that are done, in row order and in the order of the choice."""
    kept = [step.step for step in records.steps if step.task not in choice.dropped]
    return kept, in_order(kept, choice.lanes)


def in_order(steps: Sequence[str], lanes: Mapping[str, Iterable[str]]) -> list[str]:
    """The steps so that every lane has its order; else as near to the given order as can be.

    Raises `ScenarioError` where two lanes contradict each other about steps that both have.
    """
    sorter = TopologicalSorter[str](dict.fromkeys(steps, ()))
    for lane in lanes.values():
        for before, after in pairwise(lane):
            sorter.add(after, before)
    try:
        sorter.prepare()
    except CycleError as error:
        raise ScenarioError.single("is asked to stand before and behind another step", table="steps",
                                   column="step", value=error.args[1][0]) from None
    row = {step: number for number, step in enumerate(steps)}
    ready: list[int] = []
    order: list[str] = []
    while sorter:
        for step in sorter.get_ready():
            heapq.heappush(ready, row[step])
        order.append(steps[heapq.heappop(ready)])  # of all that can be next, the one that stands first
        sorter.done(order[-1])
    return order


def is_broken(plan: TimedPlan, rule: Rule) -> bool:
    """Whether a plan does not keep a rule; one about steps that it does not hold is kept."""
    names = plan.network.steps
    if rule.first not in names or rule.then not in names:
        return False
    ends = {"start": plan.starts, "finish": plan.finishes}
    gap = ends[rule.then_at][plan.position(rule.then)] - ends[rule.first_at][plan.position(rule.first)]
    return bool(gap < minutes_of(rule.gap) - ROUNDING_MIN)


def wait_for(rule: Rule) -> Wait:
    """A rule written down: one against the order of its steps is a greatest gap the other way."""
    return Wait({"first_step": rule.first, "then_step": rule.then, "min_gap": round(minutes_of(rule.gap), 6),
                 "max_gap": "", "first_at": rule.first_at, "then_at": rule.then_at, "reason": rule.why})
