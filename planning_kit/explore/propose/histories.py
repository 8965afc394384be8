"""What the history of a thing says of an order: which steps it forces, and whether given times keep it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import inf

from planning_kit.explore.propose.chains import Chain, Event, Need
from planning_kit.explore.propose.model import Literal, Placed

_SAME_MIN = 1e-6
Number = Callable[[Placed], int]
"""The position of a step of the model."""


@dataclass(frozen=True)
class Act:
    """An event by the position of its step."""

    step: int
    at_finish: bool
    before: frozenset[str] | None
    after: str


@dataclass(frozen=True)
class Spell:
    """A stretch of one state, from an act (None: from the beginning) to the next."""

    state: str
    begun: Act | None
    begin_min: float
    end_min: float


@dataclass(frozen=True)
class History:
    """A chain with the choice of tasks and crew made: what moves the thing, and what needs it where."""

    name: str
    initial: str
    acts: tuple[Act, ...]
    needs: tuple[tuple[int, Callable[[str], bool]], ...]
    may_end: Callable[[str], bool]

    @classmethod
    def of(cls, chain: Chain, number: Number, holds: Callable[[Literal], bool | None]) -> History:
        """What is left of a chain where ``holds`` says which literals do (None: not known, left out)."""
        return cls(
            chain.name, chain.initial,
            tuple(Act(number(e.step), e.at_finish, e.before, e.after) for e in chain.events if holds(e.when)),
            tuple((number(need.step), need.is_good) for need in chain.needs if holds(need.when)),
            chain.may_end,
        )

    def spells(self, starts: Sequence[float], minutes: Sequence[float]) -> list[Spell] | None:
        """The states in turn; None where an act does not find the thing or comes before the last is over.

        What nobody moves may stay where it is, as in the model.
        """
        acts = sorted(self.acts, key=lambda act: (
            starts[act.step], starts[act.step] + minutes[act.step], act.step, act.at_finish))
        state, begun, begin_min, spells = self.initial, None, -inf, []
        for act in acts:
            if begun is not None and begun.step != act.step and (
                    starts[act.step] < starts[begun.step] + minutes[begun.step] - _SAME_MIN):
                return None
            if act.before is not None and state not in act.before:
                return None
            at_min = starts[act.step] + (minutes[act.step] if act.at_finish else 0.0)
            spells.append(Spell(state, begun, begin_min, at_min))
            state, begun, begin_min = act.after, act, at_min
        spells.append(Spell(state, begun, begin_min, inf))
        return spells if not acts or self.may_end(state) else None

    def are_met(self, spells: Sequence[Spell], starts: Sequence[float], minutes: Sequence[float]) -> bool:
        """Whether each need has the thing in a good state from its start to its finish."""
        for step, is_good in self.needs:
            start, finish = starts[step] + _SAME_MIN, starts[step] + minutes[step] - _SAME_MIN
            during = [spell for spell in spells if spell.end_min > start and spell.begin_min < finish]
            if not during or not all(is_good(spell.state) for spell in during):
                return False
        return True


def forced_orders(chain: Chain, number: Number,
                  is_certain: Callable[[int, Iterable[Literal]], bool]) -> Iterator[tuple[int, int]]:
    """Pairs of steps (first, then) that any history of the chain keeps.

    Where only one step can bring the thing into the states that another one takes it from or needs, it comes
    first. Where a state comes only once, what needs it comes before what takes the thing out of it.
    ``is_certain`` says whether a step happens so whoever does its task.
    """
    brought: dict[str, set[int]] = {chain.initial: {-1}}
    for event in chain.events:
        brought.setdefault(event.after, set()).add(number(event.step))
    takes = _by_step(((event, event.before) for event in chain.events if event.before is not None),
                     number, is_certain)
    needs = _by_step(((need, frozenset(filter(need.is_good, brought))) for need in chain.needs),
                     number, is_certain)
    for wanted in (takes, needs):
        for step, states in wanted.items():
            sources = set().union(*(brought.get(state, set()) for state in states))
            if len(sources) == 1 and not sources & {-1, step}:
                yield sources.pop(), step
    for user, states in needs.items():
        for taker, out_of in takes.items():
            if user != taker and states == out_of and len(states) == 1 and len(brought[min(states)]) == 1:
                yield user, taker


def _by_step(wanted: Iterable[tuple[Event | Need, frozenset[str]]], number: Number,
             is_certain: Callable[[int, Iterable[Literal]], bool]) -> dict[int, frozenset[str]]:
    """By step the states that any of its events or needs takes, where they happen whoever does it."""
    states: dict[int, frozenset[str]] = {}
    whens: dict[int, list[Literal]] = {}
    for each, good in wanted:
        step = number(each.step)
        states[step] = states.get(step, frozenset()) | good
        whens.setdefault(step, []).append(each.when)
    return {step: good for step, good in states.items() if is_certain(step, whens[step])}
