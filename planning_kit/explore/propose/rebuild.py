"""From a choice back to a scenario: rows in the new order, and rules where the timing would not keep it."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from planning_kit.changes.amounts import Set
from planning_kit.changes.change import Change, apply, made, task_named
from planning_kit.changes.dropping import Drop
from planning_kit.changes.order import Order, Trade, Wait
from planning_kit.explore.propose.choice import Choice
from planning_kit.explore.propose.model import Rule
from planning_kit.explore.propose.ticks import minutes_of
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan

Timer = Callable[[Scenario], TimedPlan]


@dataclass(frozen=True)
class Rebuilt:
    """The plan of a choice, the rules that had to be written down, and notes in words."""

    plan: TimedPlan
    written: tuple[Rule, ...]
    notes: tuple[str, ...]


def rebuild(scenario: Scenario, choice: Choice, timed: Timer) -> Rebuilt:
    """Make the scenario of a choice and time it.

    Custody, room and inhibits never delay a step, so where the earliest plan of the new order would break
    what the solver kept, the order is written down as ``after`` or as a gap: only those rules, one round at
    a time. Raises `ScenarioError` where the result cannot be timed.
    """
    first = made(scenario, changes_of(scenario, choice))
    changed = first.scenario
    plan = timed(changed)
    written: tuple[Rule, ...] = ()
    while broken := [rule for rule in choice.rules if rule not in written and is_broken(plan, rule)]:
        written += tuple(broken)
        changed = apply(changed, map(wait_for, broken))
        plan = timed(changed)
    return Rebuilt(plan, written, tuple(note.words for note in first.notes))


def changes_of(scenario: Scenario, choice: Choice) -> list[Change]:
    """A choice as changes of the scenario that it was made for."""
    records = scenario.records
    gone = {step.step for step in records.steps if step.task in choice.dropped}
    kept = [step.step for step in records.steps if step.step not in gone]
    order = in_order(kept, choice.lanes)
    changes: list[Change] = []
    if gone:
        changes.append(Drop(tuple(task_named(records, task) for task in choice.dropped), lets_stay=True))
    if choice.swapped:
        changes.append(Trade(tuple(choice.swapped)))
    if order != kept:
        changes.append(Order(tuple(order)))
    if choice.egress != records.settings.egress:
        changes.append(Set({"egress": choice.egress.strftime("%Y-%m-%dT%H:%M:%SZ")}))
    return changes


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
