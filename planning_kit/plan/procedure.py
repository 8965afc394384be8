"""What procedures come to in a plan: actions with their times, states as they change, settings, turns.

An action has no time of its own: its moment is its whole step. A state changes at the finish of a step that
sets it; of steps that finish at one minute the one of the later start, then of the later row, counts.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

import numpy as np
import pandas as pd

from planning_kit.inputs.procedure_records import (
    DEMATE,
    LEAVE,
    MATE,
    SET,
    TURN_IN,
    TURN_OUT,
    TURNS,
    Action,
    State,
)
from planning_kit.inputs.records import Step
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.plan.needs import gaps_between
from planning_kit.plan.network import ROUNDING_MIN, grouped, joined
from planning_kit.plan.plan_times import Times

_WORDS = ["action", "on", "value", "unit", "tool", "expected", "record", "class", "warning", "go", "if_not",
          "critical"]
ACTION_COLUMNS = ["step", "number", "who", "place", "start_min", "finish_min", *_WORDS]
STATE_COLUMNS = ["state", "title", "value", "from_min", "until_min", "by_step"]


@dataclass(frozen=True)
class Doing:
    """One action in a plan: its moment is that of its step, PET minutes."""

    action: Action
    step: Step
    start_min: float
    finish_min: float

    @property
    def people(self) -> tuple[str, ...]:
        """Who does it: crew members, actors, or the word ``inside`` or ``ground``."""
        return self.action.people(self.step.people)

    @property
    def changes(self) -> str:
        """The state, by id, that it mates, demates or sets; what it is done on, if that is no state."""
        return self.action.on if self.action.class_ in (MATE, DEMATE, SET) else ""


@dataclass(frozen=True)
class StateSpell:
    """What a state is between two minutes of PET, and the step that made it so ("" at PET 0)."""

    state: State
    value: str
    from_min: float
    until_min: float
    by_step: str


def doings(times: Times) -> tuple[Doing, ...]:
    """Every action, by the start of its step, then the row of that, then its number."""
    by_step = grouped((each.step, each) for each in times.scenario.records.actions)
    steps = sorted((each for each in times.each_step() if each[0].step in by_step), key=lambda each: each[1])
    return tuple(Doing(action, *each) for each in steps
                 for action in sorted(by_step[each[0].step], key=lambda action: action.number))


def state_spells(times: Times) -> dict[str, tuple[StateSpell, ...]]:
    """What each state is over the outing, in order."""
    states = times.scenario.records.states
    moves = sorted(((finish, start, row, entry, step.step) for row, (step, start, finish)
                    in enumerate(times.each_step()) for entry in step.sets), key=lambda move: move[:3])
    by_state = grouped((entry.state, (entry.value, at, step)) for at, _, _, entry, step in moves)
    found = {}
    for state in states:
        values = [(state.at_start, 0.0, ""), *by_state.get(state.state, ())]
        ends = [*(at for _, at, _ in values[1:]), times.end_min]
        found[state.state] = tuple(StateSpell(state, value, at, end, step)
                                   for (value, at, step), end in zip(values, ends, strict=True))
    return found


def before(spells: Sequence[StateSpell], at_min: float, step: str) -> StateSpell:
    """What a state is when ``step`` begins at that minute, which others have made of it."""
    return next((each for each in reversed(spells)
                 if each.by_step != step and each.from_min <= at_min + ROUNDING_MIN), spells[0])


def touching(times: Times, every: Sequence[Doing]) -> dict[str, list[tuple[Step, float, float, bool]]]:
    """The steps that need or change each state, with start, finish (PET) and whether they change it."""
    known = {state.state for state in times.scenario.records.states}
    by_action = grouped((each.step.step, each.changes) for each in every if each.changes in known)
    found: dict[str, list[tuple[Step, float, float, bool]]] = {}
    for step, start, finish in times.each_step() if known else ():
        changed = {*(entry.state for entry in step.sets), *by_action.get(step.step, ())}
        for name in dict.fromkeys([*(entry.state for entry in step.needs), *sorted(changed)]):
            found.setdefault(name, []).append((step, start, finish, name in changed))
    return found


def in_parallel(touched: Sequence[tuple[Step, float, float, bool]]) -> Iterator[tuple[Step, Step, float]]:
    """Two steps of different people that overlap, of which one changes what both touch, and since when."""
    ordered = sorted(touched, key=lambda each: each[1])
    for number, (one, _, finish, sets) in enumerate(ordered):
        for other, begin, end, also in islice(ordered, number + 1, None):
            if begin >= finish - ROUNDING_MIN:
                break
            if (sets or also) and end - begin > ROUNDING_MIN and not {*one.people} & {*other.people}:
                yield one, other, begin


@dataclass(frozen=True)
class Turns:
    """The turns of one thing in the whole outing, and those said to stay out; ``step``: of the last."""

    thing: str
    out: float
    back: float
    stays: float
    step: str

    @property
    def lost(self) -> float:
        """Turned out and neither turned in nor said to stay out; negative: turned in too far."""
        return self.out - self.back - self.stays


def turn_counts(every: Sequence[Doing]) -> tuple[Turns, ...]:
    """The turns of each thing of which turns are said."""
    # Without a unit those of turn in and turn out are turns; a torque is none.
    said = grouped((each.action.on, each) for each in every if each.action.on and each.action.value and (
        (each.action.class_ in (TURN_IN, TURN_OUT, LEAVE) and each.action.unit == TURNS)
        or (each.action.class_ in (TURN_IN, TURN_OUT) and not each.action.unit)))

    def total(theirs: Sequence[Doing], class_: str) -> float:
        return sum(each.action.amount for each in theirs if each.action.class_ == class_)

    return tuple(Turns(thing, total(theirs, TURN_OUT), total(theirs, TURN_IN), total(theirs, LEAVE),
                       theirs[-1].step.step) for thing, theirs in said.items())


def settings_needed(every: Sequence[Doing]) -> Iterator[tuple[Doing, str, str]]:
    """Each action that needs a setting: with the one that its tool has by then, and the step that set it.

    Both are "" where nobody has set it.
    """
    last: dict[str, tuple[str, str]] = {}
    for each in every:
        item, setting = each.action.setting
        if each.action.class_ == SET:
            last[item] = setting, each.step.step
        elif setting:
            yield each, *last.get(item, ("", ""))


def has_role(times: Times, who: str) -> bool:
    """Whether it is known who an actor, ``inside`` or ``ground`` is."""
    return any(who in (each.actor, each.role) for each in times.scenario.records.actors)


def off_loop(times: Times, who: str, start: float, finish: float) -> list[tuple[float, float]]:
    """When nobody called ``who`` is on the loop between two minutes (PET); of nobody known, never."""
    spans = joined(sorted(each.on_loop_min(times.pet_zero) for each in times.scenario.records.actors
                          if who in (each.actor, each.role)))
    if not spans or any(begin <= start and finish <= end for begin, end in spans):
        return []
    return [*gaps_between(np.array(spans), start, finish)] or ([(start, finish)] if start == finish else [])


def is_on_ground(times: Times, who: str) -> bool:
    """Whether a link is needed to hear them."""
    return any(each.role == "ground" and who in (each.actor, each.role)
               for each in times.scenario.records.actors) or who == "ground"


def actions_table(every: Sequence[Doing]) -> pd.DataFrame:
    """A row an action, in their order (columns: see `TimedPlan.actions`)."""
    rows = [(each.step.step, each.action.number, each.action.who or each.step.crew, each.step.where,
             each.start_min, each.finish_min, *(getattr(each.action, f"{name}_" if name == "class" else name)
                                                for name in _WORDS)) for each in every]
    return ShownTable(rows, columns=ACTION_COLUMNS)


def states_table(spells: Mapping[str, Sequence[StateSpell]]) -> pd.DataFrame:
    """A row a stretch of a state, by state and time (columns: see `TimedPlan.states`)."""
    rows = [(name, each.state.title, each.value, each.from_min, each.until_min, each.by_step)
            for name, theirs in spells.items() for each in theirs]
    return ShownTable(rows, columns=STATE_COLUMNS)
