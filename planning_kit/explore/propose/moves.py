"""What a proposal changed, as a short list of moves against the current plan."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from types import MappingProxyType

from planning_kit.explore.propose.choice import Choice
from planning_kit.explore.propose.rebuild import Rebuilt, wait_for
from planning_kit.inputs.records import Records
from planning_kit.inputs.times import gmt_label


@dataclass(frozen=True)
class Move:
    """One change: ``kind`` (order, crew, task, egress, rule, note), whose, which steps or task, in words.

    ``short``: the words without what was before, where they tell it.
    """

    kind: str
    crew: str
    what: str
    words: str
    short: str = ""


@dataclass(frozen=True)
class Block:
    """Steps next to each other in the new order that were moved past others, and whom they now follow."""

    who: str
    steps: tuple[str, ...]
    follows: str
    followed: str


def moved_blocks(before: Mapping[str, Sequence[str]], now: Mapping[str, Sequence[str]]) -> Iterator[Block]:
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


def _stayed(old: Sequence[str], new: Sequence[str]) -> set[str]:
    """A longest set of steps whose order is the same (longest rising run of the old places)."""
    place = {step: number for number, step in enumerate(old)}
    best: list[tuple[int, ...]] = []
    for step in new:
        longest = max((run for run in best if run[-1] < place[step]), key=len, default=())
        best.append((*longest, place[step]))
    return {old[number] for number in max(best, key=len, default=())}


def _blocks(who: str, run: list[tuple[int, str]], old: Sequence[str], new: Sequence[str]) -> Iterator[Block]:
    place = {step: number for number, step in enumerate(old)}
    for _, group in groupby(run, key=lambda pair: place[pair[1]] - pair[0]):
        steps = list(group)
        first = steps[0][0]
        was = place[steps[0][1]]
        yield Block(who, tuple(step for _, step in steps), new[first - 1] if first else "egress",
                    old[was - 1] if was else "egress")


def undone(choice: Choice, before: Mapping[str, Sequence[str]], block: Block) -> Choice:
    """The choice with one block put back behind what it followed before."""
    lanes = dict(choice.lanes)
    for who, lane in choice.lanes.items():
        mine = [step for step in lane if step in block.steps]
        if mine:
            rest = [step for step in lane if step not in block.steps]
            old = list(before.get(who, ()))
            here = old.index(mine[0]) if mine[0] in old else 0
            ahead = [step for step in old[:here] if step in rest]
            cut = rest.index(ahead[-1]) + 1 if ahead else 0
            lanes[who] = (*rest[:cut], *mine, *rest[cut:])
    return replace(choice, lanes=lanes)


def tell_moves(records: Records, before: Choice, choice: Choice, rebuilt: Rebuilt,
               last_begun: Mapping[str, str] = MappingProxyType({})) -> list[Move]:
    """All changes in words: egress, tasks, crew, order, rules written down, notes.

    ``last_begun``: what someone has begun last, if anything; what moves to the front follows that.
    """
    before, choice = (
        replace(each, lanes={who: (*filter(None, [last_begun.get(who)]), *lane)
                             for who, lane in each.lanes.items()}) for each in (before, choice))
    tasks = {task.task: task for task in records.tasks}
    moves = []
    if choice.egress != before.egress:
        minutes = (choice.egress - before.egress).total_seconds() / 60
        word = "later" if minutes > 0 else "earlier"
        moves.append(Move("egress", "", "", f"egress {abs(minutes):g} min {word}, GMT "
                          f"{gmt_label(choice.egress)}"))
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
        if block.steps not in told:
            told.add(block.steps)
            now = f"{' '.join(block.steps)} now behind {block.follows}"
            yield Move("order", block.who, " ".join(block.steps), f"{now} (was behind {block.followed})", now)
    for who, lane in choice.lanes.items():
        for _, group in groupby(enumerate(lane), key=lambda pair: pair[1] in traded and
                                pair[1] not in before.lanes.get(who, ())):
            members = list(group)
            if members[0][1] in traded and members[0][1] not in before.lanes.get(who, ()):
                first = members[0][0]
                steps = " ".join(step for _, step in members)
                yield Move("order", who, steps, f"{who} does {steps} behind "
                           f"{lane[first - 1] if first else 'egress'}")
