"""A decision taken outside: steps skipped from now on, tasks given to the other, another order of work.

Each makes another plan to be re-timed with the same log; nothing that has started is touched. A better order
from elsewhere (an optimiser) comes in by the same door: as ``order``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from numbers import Real
from typing import TypedDict

from planning_kit.changes.asked import as_names
from planning_kit.changes.change import Change, apply
from planning_kit.changes.order import Order, Trade, Wait
from planning_kit.explore.retime.retiming import re_timed_as
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.log_format import SKIPPED, Event
from planning_kit.inputs.log_state import OPEN, TO_DO
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import moment_at
from planning_kit.plan.build import build_network
from planning_kit.plan.timed import Outside, TimedPlan

TABLE = "decide"


class Decision(TypedDict, total=False):
    """The arguments of `decide`."""

    skip: Sequence[str]
    give: Sequence[str]
    order: Sequence[str]
    waits: Sequence[Mapping[str, object]]


def decide(plan: TimedPlan, skip: Sequence[str] = (), give: Sequence[str] = (), order: Sequence[str] = (),
           waits: Sequence[Mapping[str, object]] = ()) -> TimedPlan:
    """A re-timed plan with a decision taken at its now.

    ``skip``: steps or tasks that are not begun any more; ``give``: swappable tasks whose steps the two trade,
    once it has begun those that nobody has begun (what is in someone's hands stays there); ``order``: steps
    in the order in which they shall stand (the places in the order of work that they have now are dealt out
    anew; steps not named stay where they are); ``waits``: rows of ``gaps.csv`` to add, where an order must be
    kept that no other rule keeps. Raises `ScenarioError` for a plan that is not re-timed, for names that
    there are not, for what has begun, and for an order that runs in a circle.
    """
    outside = plan.known_outside("decide")
    base, faults = outside.base, Faults()
    skip, give, order = (tuple(map(str, as_names(names))) for names in (skip, give, order))
    skipped = _steps_of(base, outside, skip, faults)
    _check_give(base, outside, give, faults)
    _check_order(base, order, faults)
    _check_waits(base, waits, faults)
    faults.stop_if_any()
    changes: list[Change] = [_given(outside, task) for task in give]
    changes += [Order(order)] if order else []
    changes += [Wait(row) for row in waits]
    changed = _as_if_planned(base, apply(base.scenario, changes)) if changes else base
    now = moment_at(outside.now_min, outside.actuals.egress or base.egress)
    events = tuple(Event(0, f"decision {name}", SKIPPED, "", name, now, None, None, "") for name in skipped)
    actuals = replace(outside.actuals, events=(*outside.actuals.events, *events))
    return re_timed_as(plan, changed, actuals)


def _as_if_planned(base: TimedPlan, scenario: Scenario) -> TimedPlan:
    """The plan outside with other rows, each step where it was planned: the past stays comparable."""
    network = build_network(scenario.records, base.almanac, base.travels)
    order = [base.position(step) for step in network.steps]
    return replace(base, scenario=scenario, network=network, durations=base.durations[order],
                   starts=base.starts[order])


def to_do(outside: Outside, task: str) -> list[str]:
    """The steps of a task that are still to begin or to be taken up again."""
    return [name for name, state in outside.states.by_step.items()
            if state.step.task == task and state.status in OPEN]


def _steps_of(base: TimedPlan, outside: Outside, names: Sequence[str], faults: Faults) -> list[str]:
    tasks = {task.task for task in base.scenario.records.tasks}
    found: list[str] = []
    for name in names:
        state = outside.states.by_step.get(name)
        if state is not None and state.status in OPEN:
            found.append(name)
        elif state is not None:
            faults.add(TABLE, None, "skip", name, f"is {state.status}: log it as skipped, do not plan it so")
        elif name in tasks:
            found += to_do(outside, name)
        else:
            known = (*outside.states.by_step, *tasks)
            faults.add(TABLE, None, "skip", name, f"is no step or task here{did_you_mean(name, known)}")
    return list(dict.fromkeys(found))


def _check_give(base: TimedPlan, outside: Outside, names: Sequence[str], faults: Faults) -> None:
    tasks = {task.task: task for task in base.scenario.records.tasks}
    for name in names:
        own = [state for state in outside.states.by_step.values() if state.step.task == name]
        if name not in tasks:
            faults.add(TABLE, None, "give", name, f"is no task here{did_you_mean(name, tuple(tasks))}")
        elif not tasks[name].swappable:
            faults.add(TABLE, None, "give", name, "is not swappable (tasks.csv)")
        elif all(state.status != TO_DO for state in own):
            faults.add(TABLE, None, "give", name, "has no step left that nobody has begun")


def _check_waits(base: TimedPlan, waits: Sequence[Mapping[str, object]], faults: Faults) -> None:
    columns = ("first_step", "then_step", "min_gap", "first_at", "then_at")
    if not isinstance(waits, Sequence):
        faults.add(TABLE, None, "waits", waits, "must be a list of rows of gaps.csv")
        return
    for row in waits:
        if not isinstance(row, Mapping) or not all(isinstance(row.get(name), str | Real) for name in columns):
            faults.add(TABLE, None, "waits", str(row), f"is no row of gaps.csv with {', '.join(columns)}")
            continue
        for column in ("first_step", "then_step"):
            if row.get(column) not in base.network.steps:
                faults.add(TABLE, None, "waits", row.get(column), f"is no step here; {column} names one")


def _given(outside: Outside, task: str) -> Trade:
    """A task given to the other: all of it, or what nobody has begun."""
    own = [state for state in outside.states.by_step.values() if state.step.task == task]
    if all(state.status == TO_DO for state in own):
        return Trade((task,))
    return Trade((), tuple(state.step.step for state in own if state.status == TO_DO))


def _check_order(base: TimedPlan, order: Sequence[str], faults: Faults) -> None:
    for name in order:
        if name not in base.network.steps:
            faults.add(TABLE, None, "order", name,
                       f"is no step here{did_you_mean(name, base.network.steps)}")
        elif list(order).count(name) > 1:
            faults.add(TABLE, None, "order", name, "stands twice")
