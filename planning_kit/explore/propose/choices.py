"""What was chosen, as a plan and in words: orders, trades, tasks left out, PET 0.

Back to a plan it goes by changes of the scenario, once the outing has begun by a decision: rows in the new
order, and rules where the timing would not keep it. In words it is a short list of moves against the current
plan.
"""

import heapq
from collections.abc import Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from graphlib import CycleError, TopologicalSorter
from itertools import groupby, pairwise
from types import MappingProxyType
from typing import Generic, TypeVar

from planning_kit.changes.amounts import Set
from planning_kit.changes.change import Change, made, task_named
from planning_kit.changes.dropping import Drop
from planning_kit.changes.order import Order, Trade, Wait
from planning_kit.explore.propose.order_model import Rule, minutes_of
from planning_kit.explore.retime.decisions import Decision, decide
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import Records
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import gmt_label
from planning_kit.plan.build import work_order
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan

Each = TypeVar("Each", bound=Hashable)
"""A step by its id, or by its position."""


@dataclass(frozen=True)
class Choice:
    """One answer to the order problem, in the words of the scenario.

    ``lanes`` holds everyone's step ids in order, ``rules`` what the solver kept by choice and the timing may
    not know.
    """

    lanes: Mapping[str, tuple[str, ...]]
    swapped: frozenset[str]
    dropped: frozenset[str]
    pet_zero: datetime
    rules: tuple[Rule, ...] = ()


def as_written(records: Records, pet_zero: datetime) -> Choice:
    """The choice that the rows already make."""
    lanes = {who: tuple(records.steps[i].step for i in work_order(records.steps, who))
             for who in records.lane_names}
    return Choice(lanes, frozenset(), frozenset(), pet_zero)


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
        made_so = (_changed(current, scenario, records, choice, rules)
                   if current is None or current.outside is None
                   else _decided(current, records, choice, rules))
        # A rule that is broken though it is written down is left to the checks, or this would never end.
        broken = [rule for rule in choice.rules if rule not in rules and is_broken(made_so.plan, rule)]
        if not broken:
            return made_so
        rules += tuple(broken)


def _changed(current: TimedPlan | None, scenario: Scenario, records: Records, choice: Choice,
             rules: tuple[Rule, ...]) -> Rebuilt:
    """The choice as a scenario; only what differs from the rows is changed."""
    kept, order = _rows(records, choice)
    changes: list[Change] = []
    if len(kept) < len(records.steps):
        dropped = tuple(task_named(records, task) for task in sorted(choice.dropped))
        changes.append(Drop(dropped, lets_stay=True))
    if choice.swapped:
        changes.append(Trade(tuple(sorted(choice.swapped))))
    if order != kept:
        changes.append(Order(tuple(order)))
    if choice.pet_zero != records.settings.pet_zero_utc:
        changes.append(Set({"pet_zero_utc": choice.pet_zero.strftime("%Y-%m-%dT%H:%M:%SZ")}))
    if current is not None and current.scenario is scenario and not changes and not rules:
        return Rebuilt(current, rules)
    changed = made(scenario, [*changes, *map(wait_for, rules)])
    return Rebuilt(TimedPlan.of(changed.scenario), rules, tuple(note.words for note in changed.notes))


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
    return Rebuilt(decide(plan, **how), rules, how=how)


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
    # Six decimals differ from the tick by less than `is_broken` forgives.
    return Wait({"first_step": rule.first, "then_step": rule.then, "min_gap": round(minutes_of(rule.gap), 6),
                 "max_gap": "", "first_at": rule.first_at, "then_at": rule.then_at, "reason": rule.why})


@dataclass(frozen=True)
class Move:
    """One change: ``kind`` (order, crew, task, PET 0, rule, helper, note), whose, which steps, in words.

    ``short``: the words without what was before, where they tell it.
    """

    kind: str
    crew: str
    what: str
    words: str
    short: str = ""


@dataclass(frozen=True)
class Block(Generic[Each]):
    """Steps next to each other in the new order that were moved past others, and whom they now follow.

    None: PET 0.
    """

    who: str
    steps: tuple[Each, ...]
    follows: Each | None
    followed: Each | None


def moved_blocks(before: Mapping[str, Sequence[Each]],
                 now: Mapping[str, Sequence[Each]]) -> Iterator[Block[Each]]:
    """By lane, what has to be moved to come from one order to the other: all but a longest common order.

    Steps that only one of the two has are not moves.
    """
    for who, lane in now.items():
        new = [step for step in lane if step in set(before.get(who, ()))]
        old = [step for step in before.get(who, ()) if step in set(lane)]
        stayed = _stayed(old, new)
        for has_moved, group in groupby(enumerate(new), key=lambda pair: pair[1] not in stayed):
            if has_moved:
                yield from _blocks(who, list(group), old, new)


def _stayed(old: Sequence[Each], new: Sequence[Each]) -> set[Each]:
    """A longest set of steps whose order is the same (longest rising run of the old places)."""
    place = {step: number for number, step in enumerate(old)}
    best: list[tuple[int, ...]] = []
    for step in new:
        longest = max((run for run in best if run[-1] < place[step]), key=len, default=())
        best.append((*longest, place[step]))
    return {old[number] for number in max(best, key=len, default=())}


def _blocks(who: str, run: list[tuple[int, Each]], old: Sequence[Each],
            new: Sequence[Each]) -> Iterator[Block[Each]]:
    place = {step: number for number, step in enumerate(old)}
    # Equal shifts are neighbours before and now: what moves together is one move to tell.
    for _, group in groupby(run, key=lambda pair: place[pair[1]] - pair[0]):
        steps = list(group)
        first = steps[0][0]
        was = place[steps[0][1]]
        yield Block(who, tuple(step for _, step in steps), new[first - 1] if first else None,
                    old[was - 1] if was else None)


def undone(lanes: Mapping[str, tuple[Each, ...]], before: Mapping[str, Sequence[Each]],
           block: Block[Each]) -> dict[str, tuple[Each, ...]]:
    """The lanes with one block put back behind what it followed before."""
    put = dict(lanes)
    for who, lane in lanes.items():
        mine = [step for step in lane if step in block.steps]
        if mine:
            rest = [step for step in lane if step not in block.steps]
            old = list(before.get(who, ()))
            here = old.index(mine[0]) if mine[0] in old else 0
            # What it followed may be left out or in the other lane: then what came before that.
            ahead = [step for step in old[:here] if step in rest]
            cut = rest.index(ahead[-1]) + 1 if ahead else 0
            put[who] = (*rest[:cut], *mine, *rest[cut:])
    return put


def tell_moves(records: Records, before: Choice, choice: Choice, rebuilt: Rebuilt,
               last_begun: Mapping[str, str] = MappingProxyType({})) -> list[Move]:
    """All changes in words: PET 0, tasks, crew, order, rules written down, notes.

    ``last_begun``: what someone has begun last, if anything; what moves to the front follows that.
    """
    before, choice = (
        replace(each, lanes={who: (*filter(None, [last_begun.get(who)]), *lane)
                             for who, lane in each.lanes.items()}) for each in (before, choice))
    tasks = {task.task: task for task in records.tasks}
    moves = []
    if choice.pet_zero != before.pet_zero:
        minutes = (choice.pet_zero - before.pet_zero).total_seconds() / 60
        word = "later" if minutes > 0 else "earlier"
        moves.append(Move("pet_zero", "", "", f"PET 0 {abs(minutes):g} min {word}, GMT "
                          f"{gmt_label(choice.pet_zero)}"))
    for name in sorted(choice.dropped):
        task = tasks[name]
        moves.append(Move("task", "", name, f"leave out {name} ({task.title}): {task.need}, priority "
                          f"{task.priority or 'not given'}"))
    for name in sorted(choice.swapped):
        moves.append(Move("crew", "EV1 EV2", name, f"EV1 and EV2 trade the steps of {name} "
                          f"({tasks[name].title})"))
    traded = {step.step for step in records.steps if step.task in choice.swapped}
    moves += _orders(before, choice, traded)
    moves += [Move("rule", "", rule.then, wait_for(rule).words) for rule in rebuilt.written]
    return [*moves, *(Move("note", "", "", note) for note in rebuilt.notes)]


def _orders(before: Choice, choice: Choice, traded: Collection[str]) -> Iterator[Move]:
    told: set[tuple[str, ...]] = set()
    for block in moved_blocks(before.lanes, choice.lanes):
        # A step of both moves in two lanes, and is told once.
        if block.steps not in told:
            told.add(block.steps)
            now = f"{' '.join(block.steps)} now behind {block.follows or 'pet_zero'}"
            yield Move("order", block.who, " ".join(block.steps),
                       f"{now} (was behind {block.followed or 'pet_zero'})", now)
    for who, lane in choice.lanes.items():
        come = set(traded) - set(before.lanes.get(who, ()))
        for has_come, group in groupby(enumerate(lane), key=lambda pair: pair[1] in come):
            if has_come:
                numbers, names = zip(*group, strict=True)
                follows = lane[numbers[0] - 1] if numbers[0] else "pet_zero"
                yield Move("order", who, " ".join(names), f"{who} does {' '.join(names)} behind {follows}")
