"""What was chosen: an order for everyone, who trades tasks, what is left out, when to go out."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from planning_kit.explore.propose.model import Literal, Rule
from planning_kit.explore.propose.problem import Problem
from planning_kit.explore.propose.ticks import minutes_of
from planning_kit.inputs.records import Records
from planning_kit.plan.build import work_order


@dataclass(frozen=True)
class Choice:
    """One answer to the order problem, in the words of the scenario.

    ``lanes`` holds everyone's step ids in order, ``rules`` what the solver kept by choice and the timing may
    not know.
    """

    lanes: Mapping[str, tuple[str, ...]]
    swapped: frozenset[str]
    dropped: frozenset[str]
    egress: datetime
    rules: tuple[Rule, ...] = ()


def as_written(records: Records, egress: datetime) -> Choice:
    """The choice that the rows already make."""
    names = (*(crew.crew for crew in records.crew), *(actor.actor for actor in records.actors))
    lanes = {who: tuple(records.steps[i].step for i in work_order(records.steps, who)) for who in names}
    return Choice(lanes, frozenset(), frozenset(), egress)


def read_choice(problem: Problem, values: Sequence[int]) -> Choice:
    """The choice that a solution (a value a variable) stands for."""
    def holds(literal: Literal) -> bool:
        return literal_value(literal, values)

    steps = problem.work.steps
    lanes = dict.fromkeys(problem.work.lanes, ()) | {
        who: tuple(steps[problem.positions[who][number]].step for number in _sequence(lane.arcs, holds))
        for who, lane in problem.lanes.items()
    }
    swapped = {task for (task, is_swapped), literal in problem.done.items() if is_swapped and holds(literal)}
    dropped = {task for task, literal in problem.tasks.items() if not holds(literal)}
    egress = problem.freedom.earliest + timedelta(minutes=minutes_of(values[problem.egress.index]))
    rules = tuple(rule for rule in problem.model.rules if all(holds(each) for each in rule.when))
    return Choice(lanes, frozenset(swapped), frozenset(dropped), egress, rules)


def literal_value(literal: Literal, values: Sequence[int]) -> bool:
    """Whether a literal, negated or not, holds in a solution."""
    index = literal.index  # type: ignore[union-attr]
    return bool(values[index]) if index >= 0 else not values[-index - 1]


def _sequence(arcs: Mapping[tuple[int, int], Literal], holds: Callable[[Literal], bool]) -> Iterator[int]:
    following = {i: j for (i, j), arc in arcs.items() if holds(arc)}
    here = following.get(-1, -1)
    while here >= 0:
        yield here
        here = following[here]


def hints_for(problem: Problem, choice: Choice) -> Iterator[tuple[Literal, int]] | None:
    """Every choice literal with its value under ``choice``; None where the model has no such arc."""
    index = problem.work.index
    hints: list[tuple[Literal, int]] = []
    for who, lane in problem.lanes.items():
        numbers = [-1, *(problem.positions[who].index(index[step]) for step in choice.lanes[who]), -1]
        chosen = set(pairwise(numbers)) if len(numbers) > 2 else set()
        if not chosen <= set(lane.arcs):
            return None
        hints += [(arc, int(pair in chosen)) for pair, arc in lane.arcs.items()]
    for task, literal in problem.tasks.items():
        hints.append((literal, int(task not in choice.dropped)))
    for (task, is_swapped), literal in problem.done.items():
        is_done = task not in choice.dropped and is_swapped == (task in choice.swapped)
        hints.append((literal, int(is_done)))
    return iter(hints)
