"""A decision taken outside, and the table of those that may come: if this has not begun by then, drop it.

Steps are skipped from now on, tasks given up or given to the other, the rest is done in another order. Each
decision makes another plan to be re-timed with the same log; nothing that has started is touched. A better
order from elsewhere (an optimiser) comes in by the same door: as ``order``.

The table says which task goes, and by when (`planning_kit.explore.odds.odds`), how likely it comes
to that with the whole table in force (`planning_kit.explore.odds.odds`), and what the outing is then. It is
made before the outing, and anew outside for the tasks that have not begun.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from numbers import Real
from typing import TypedDict

import pandas as pd

from planning_kit.changes.asked import as_names
from planning_kit.changes.change import Change, apply
from planning_kit.changes.dropping import GivenUp
from planning_kit.changes.order import Order, Trade, Wait
from planning_kit.explore.long_question import Report, silent, told
from planning_kit.explore.odds.hanging import ItemMoves
from planning_kit.explore.odds.odds import odds, propose_cuts
from planning_kit.explore.retime.retiming import re_timed_as
from planning_kit.explore.what_if import what_if
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.log_format import SKIPPED, Event
from planning_kit.inputs.log_state import OPEN, TO_DO, State
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.times import moment_at, pet_label
from planning_kit.plan.build import build_network
from planning_kit.plan.timed import Outside, TimedPlan

TABLE = "decide"
NOT_KNOWN = ("begun, and nobody says how long it takes to put it back (tasks.put_back_min, "
             "steps.safe_orderly_min)")
DECISION_COLUMNS = ["line", "task", "step", "drop_after_min", "planned_start_min", "p_dropped", "se",
                    "end_without_min", "words"]


class Decision(TypedDict, total=False):
    """The arguments of `decide`."""

    skip: Sequence[str]
    give_up: Sequence[str]
    give: Sequence[str]
    order: Sequence[str]
    waits: Sequence[Mapping[str, object]]


def decide(plan: TimedPlan, skip: Sequence[str] = (), give: Sequence[str] = (), order: Sequence[str] = (),
           waits: Sequence[Mapping[str, object]] = (), give_up: Sequence[str] = ()) -> TimedPlan:
    """A re-timed plan with a decision taken at its now.

    ``skip``: steps or tasks that are not begun any more; ``give``: swappable tasks whose steps the two trade,
    once it has begun those that nobody has begun (what is in someone's hands stays there); ``order``: steps
    in the order in which they shall stand (the places in the order of work that they have now are dealt out
    anew; steps not named stay where they are); ``waits``: rows of ``gaps.csv`` to add, where an order must be
    kept that no other rule keeps; ``give_up``: tasks given up, as `planning_kit.changes.dropping` says,
    with what hangs on them by its items.
    Raises `ScenarioError` for a plan that is not re-timed, for names that there are not, for what has begun,
    for a task that nobody knows how to put back, and for an order that runs in a circle.
    """
    outside = plan.known_outside("decide")
    base, faults = outside.base, Faults()
    skip, give, order, give_up = (tuple(map(str, as_names(names))) for names in (skip, give, order, give_up))
    skipped = _steps_of(base, outside, skip, faults)
    ways = _given_up(plan, give_up, faults)
    _check_give(base, outside, give, faults)
    _check_order(base, order, faults)
    _check_waits(base, waits, faults)
    faults.stop_if_any()
    changes: list[Change] = [_given(outside, task) for task in give]
    changes += [Order(order)] if order else []
    changes += [Wait(row) for row in waits]
    changed = _as_if_planned(base, apply(base.scenario, changes)) if changes else base
    now = moment_at(outside.now_min, outside.actuals.pet_zero or base.pet_zero)
    gone = frozenset[str]().union(skipped, *(way.gone for way in ways.values()))
    back = {way.put_back: way.minutes for way in ways.values() if way.put_back}
    # Told as the log would tell it, so that the re-timing knows one kind of skip.
    events = tuple(Event(row=0, event_id=f"decision {name}", event=SKIPPED, crew="", step=name, at=now,
                         remaining_min=back.get(name), metabolic_w=None, note="")
                   for name in outside.states.by_step if name in gone | back.keys())
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
    return [state.step.step for state in states_in(outside, task) if state.status in OPEN]


def states_in(outside: Outside, task: str) -> list[State]:
    """What has come of each step of a task."""
    return [state for state in outside.states.by_step.values() if state.step.task == task]


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


def ways_out(plan: TimedPlan, tasks: Sequence[str]) -> dict[str, GivenUp]:
    """How tasks are given up now, and what hangs on them by its items; none of a task nobody knows how."""
    outside, found = plan.known_outside("decide"), dict[str, GivenUp]()
    states, moves = outside.states, ItemMoves.of(plan)
    begun = [name for name, state in states.by_step.items() if state.pieces]
    for task in tasks:
        left = [name for name, state in states.by_step.items() if state.status in OPEN
                and state.step.task not in {*found, *states.tasks_put_back}]
        if any(states.by_step[name].step.task == task for name in left):
            found |= moves.given_up(outside.base.scenario.records, task, left, begun, "", found.values())[0]
    return found


def _given_up(plan: TimedPlan, names: Sequence[str], faults: Faults) -> dict[str, GivenUp]:
    outside, ways = plan.known_outside("decide"), ways_out(plan, names)
    tasks = tuple(task.task for task in outside.base.scenario.records.tasks)
    for name in names:
        is_open = to_do(outside, name) and name not in outside.states.tasks_put_back
        if name not in ways:
            faults.add(TABLE, None, "give_up", name, f"is no task here{did_you_mean(name, tasks)}"
                       if name not in tasks else NOT_KNOWN if is_open else "has no step left to give up")
    return ways


def _check_give(base: TimedPlan, outside: Outside, names: Sequence[str], faults: Faults) -> None:
    tasks = {task.task: task for task in base.scenario.records.tasks}
    for name in names:
        if name not in tasks:
            faults.add(TABLE, None, "give", name, f"is no task here{did_you_mean(name, tuple(tasks))}")
        elif not tasks[name].swappable:
            faults.add(TABLE, None, "give", name, "is not swappable (tasks.csv)")
        elif all(state.status != TO_DO for state in states_in(outside, name)):
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
    own = states_in(outside, task)
    if all(state.status == TO_DO for state in own):
        return Trade((task,))
    return Trade((), tuple(state.step.step for state in own if state.status == TO_DO))


def _check_order(base: TimedPlan, order: Sequence[str], faults: Faults) -> None:
    for name in order:
        if name not in base.network.steps:
            faults.add(TABLE, None, "order", name, f"is no step here{did_you_mean(name, base.network.steps)}")
        elif list(order).count(name) > 1:
            faults.add(TABLE, None, "order", name, "stands twice")


def decision_table(plan: TimedPlan, level: float = 0.95, samples: int = 2_000, seed: int = 1,
                   report: Report = silent) -> pd.DataFrame:
    """A line a task that may be dropped, in the order of the cuts.

    ``drop_after_min`` (PET): if ``step``, the task's first, has not begun by then, drop the task; the hard
    limit is then kept with probability ``level`` at least. ``p_dropped`` with its standard error ``se``: how
    likely it comes to that, all lines in force. ``end_without_min``: the outing end on likely durations
    without this task and all of the lines above. ``words``: the line as it is read out. A line whose time is
    NaN cannot keep the level at all: drop it beforehand, or accept less. It has no odds, and the other lines'
    are those with its task still to be done.
    """
    cuts = propose_cuts(plan, level, samples, seed, report)
    lines = cuts[cuts["last_start_min"].notna()]
    base = plan.taken_outside
    ruled = re_timed_as(plan, TimedPlan.of(base.scenario.with_cuts(lines), base.pet_zero))
    p = odds(ruled, samples, seed).tasks.set_index("task")
    rows, dropped = [], []
    for line in told(cuts.to_dict("records"), report, "lines", len(cuts)):
        task, by_min = line["task"], line["last_start_min"]
        dropped.append(f"task:{task}")
        first = min((step for step in plan.steps if step.task == task),
                    key=lambda step: float(plan.starts[plan.position(step.step)]))
        if by_min != by_min:  # not in force
            chance = float("nan"), float("nan")
            words = f"{task} cannot keep the limit so surely, whenever it begins: decide before PET 0"
        else:
            chance = float(p["p_dropped"][task]), float(p["p_dropped_se"][task])
            words = (f"If {first.step} has not begun by {pet_label(by_min, 'down')}, drop {task} "
                     f"({line['title']})")
        rows.append((line["cut_order"], task, first.step, by_min, line["planned_start_min"], *chance,
                     what_if(plan, {"drop": dropped}).end_min, words))
    return TextTable(rows, columns=DECISION_COLUMNS)
