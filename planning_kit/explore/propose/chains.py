"""States that change from step to step: where an item is, where a tether is hooked.

A chain is the history of one thing as a round through the events that move it: event b can directly follow
event a only where a leaves the thing in a state that b takes it from. What needs the thing in some state is
tied to the event that brings it there, and must be over before the next one. Once tasks and crew are chosen a
`History` is left of it: which steps it forces, and whether given times keep it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from math import inf

from planning_kit.explore.propose.order_model import Literal, OrderModel, Placed, Requirement, Rule, Ticks

_SAME_MIN = 1e-6
Number = Callable[[Placed], int]
"""The position of a step of the model."""


@dataclass(frozen=True)
class Event:
    """A step that moves the thing from one of the states ``before`` (None: any) to ``after``.

    It acts at the step's start (``at_finish`` False) or finish, where ``when`` holds.
    """

    step: Placed
    when: Literal
    before: frozenset[str] | None
    after: str
    at_finish: bool

    @property
    def moment(self) -> Ticks:
        """The tick at which it acts."""
        return self.step.finish if self.at_finish else self.step.start


@dataclass(frozen=True, eq=False)
class Need:
    """A step during which the thing is in one of the ``good`` states, where ``when`` holds."""

    step: Placed
    when: Literal
    good: frozenset[str]


@dataclass(frozen=True, eq=False)
class Chain:
    """The history of one thing: ``arcs[a, b]`` between events by number, -1 for how it begins and ends.

    ``may_end``: the states that it may end in once it was moved (None: any).
    """

    name: str
    initial: str
    events: tuple[Event, ...]
    inside: dict[int, Literal]
    may_end: frozenset[str] | None
    arcs: dict[tuple[int, int], Literal] = field(default_factory=dict)
    needs: list[Need] = field(default_factory=list)

    def state_after(self, number: int) -> str:
        """The state after an event; after -1 the one at the beginning."""
        return self.initial if number < 0 else self.events[number].after


def add_chain(model: OrderModel, name: str, initial: str, events: Iterable[Event], *,
              may_end: frozenset[str] | None, asked: Requirement, ending: Requirement | None = None) -> Chain:
    """b directly follows a: state after a in states before b, and s_b >= s_a + d_a (for two steps).

    What nobody moves may stay where it is. ``ending``: that it ends well, where that can be switched off.
    """
    events = tuple(events)
    inside = {i: _inside(model, event, asked) for i, event in enumerate(events)}
    chain = Chain(name, initial, events, inside, may_end)
    arcs = chain.arcs
    for a in range(-1, len(events)):
        for b in range(len(events)):
            if a != b and _can_follow(chain, a, b):
                arcs[a, b] = model.literal(f"{name} {a}->{b}")
        if a < 0 or may_end is None or events[a].after in may_end:
            arcs[a, -1] = model.literal(f"{name} {a}->end")
        elif ends_well := model.switch(ending):
            arcs[a, -1] = model.literal(f"{name} {a}->end")
            model.cp.add_bool_or(~arcs[a, -1], *(~each for each in ends_well))
    model.cp.add_circuit([
        *((a + 1, b + 1, arc) for (a, b), arc in arcs.items()),
        *((i + 1, i + 1, ~here) for i, here in inside.items()),
    ])
    for (a, b), arc in arcs.items():
        # Whole steps in turn, though each acts only at one of its ends: stricter than custody, never laxer.
        if a >= 0 and b >= 0 and events[a].step is not events[b].step:
            _in_turn(model, name, events[a].step, events[b].step, (arc,))
    return chain


def _inside(model: OrderModel, event: Event, requirement: Requirement) -> Literal:
    """The event's place in the round: always where it happens, unless the requirement is switched off."""
    asked = model.switch(requirement)
    if not asked:
        return event.when
    inside = model.literal("inside")
    model.cp.add(inside == 1).only_enforce_if(event.when, *asked)
    return inside


def _can_follow(chain: Chain, a: int, b: int) -> bool:
    event = chain.events[b]
    if event.before is not None and chain.state_after(a) not in event.before:
        return False
    # Of one step, only what it takes at its start can be followed by what it leaves at its finish.
    same = a >= 0 and chain.events[a].step is event.step
    return not same or (event.at_finish and not chain.events[a].at_finish
                        and event.when is chain.events[a].when)


def _in_turn(model: OrderModel, name: str, before: Placed, after: Placed, when: tuple[Literal, ...]) -> None:
    """s_after >= s_before + d_before, to be written into the scenario where the timing does not know it."""
    model.order(before, after, before.length, when=when)
    model.rules.append(Rule(before.name, after.name, 0, when, name))


def need_state(model: OrderModel, chain: Chain, step: Placed, when: Literal, good: Iterable[str],
               requirement: Requirement) -> dict[int, Literal]:
    """During ``step`` the thing is in a good state: the step lies between the event before and the next.

    Exactly one event a (or the beginning) with y_a: s >= s_a + d_a; and where b follows a: s_b >= s + d.
    Returns the literals y by event.
    """
    need = Need(step, when, frozenset(good))
    chain.needs.append(need)
    brought: dict[int, Literal] = {}
    for a in range(-1, len(chain.events)):
        is_too_late = a >= 0 and chain.events[a].step is step and chain.events[a].at_finish
        if chain.state_after(a) in need.good and not is_too_late:
            brought[a] = model.literal(f"{chain.name} for {step.name} by {a}")
    model.cp.add(sum(brought.values()) == 1).only_enforce_if(when, *model.switch(requirement))
    for a, by in brought.items():
        if a >= 0:
            model.cp.add_implication(by, chain.inside[a])
            if chain.events[a].step is not step:
                _in_turn(model, chain.name, chain.events[a].step, step, (by, when))
        for b, event in enumerate(chain.events):
            if (a, b) in chain.arcs:
                _until(model, chain, step, (by, chain.arcs[a, b], when), event)
    return brought


def _until(model: OrderModel, chain: Chain, step: Placed, when: tuple[Literal, ...], event: Event) -> None:
    if event.step is not step:
        _in_turn(model, chain.name, step, event.step, when)
    # The step itself would take the thing away as it begins.
    elif not event.at_finish:
        model.cp.add_bool_or(*(~each for each in when))


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
    needs: tuple[tuple[int, frozenset[str]], ...]
    may_end: frozenset[str] | None

    @classmethod
    def of(cls, chain: Chain, number: Number, holds: Callable[[Literal], bool | None]) -> History:
        """What is left of a chain where ``holds`` says which literals do (None: not known, left out)."""
        return cls(
            chain.name, chain.initial,
            tuple(Act(number(e.step), e.at_finish, e.before, e.after) for e in chain.events if holds(e.when)),
            tuple((number(need.step), need.good) for need in chain.needs if holds(need.when)),
            chain.may_end,
        )

    def spells(self, starts: Sequence[float], minutes: Sequence[float]) -> list[Spell] | None:
        """The states in turn; None where an act does not find the thing or comes before the last is over.

        What nobody moves may stay where it is, as in the model.
        """
        # Of steps that begin together one of no length comes first: the next may follow it at once.
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
        return spells if not acts or self.may_end is None or state in self.may_end else None

    def are_met(self, spells: Sequence[Spell], starts: Sequence[float], minutes: Sequence[float]) -> bool:
        """Whether each need has the thing in a good state from its start to its finish."""
        for step, good in self.needs:
            # A little inside the step: a spell that only touches it, by rounding, is not during it.
            start, finish = starts[step] + _SAME_MIN, starts[step] + minutes[step] - _SAME_MIN
            during = [spell for spell in spells if spell.end_min > start and spell.begin_min < finish]
            if not during or not all(spell.state in good for spell in during):
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
    needs = _by_step(((need, need.good & brought.keys()) for need in chain.needs), number, is_certain)
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
