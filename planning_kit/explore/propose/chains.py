"""States that change from step to step: where an item is, where a tether is hooked.

A chain is the history of one thing as a round through the events that move it: event b can directly follow
event a only where a leaves the thing in a state that b takes it from. What needs the thing in some state is
tied to the event that brings it there, and must be over before the next one. Some steps it forces into an
order, whatever is chosen.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field

from ortools.sat.python import cp_model

from planning_kit.explore.propose.order_model import Literal, OrderModel, Placed, Requirement, Rule, Ticks
from planning_kit.inputs.format import SUITED

START, FINISH = "start", "finish"
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
    """A step that needs the thing in a ``good`` state from one end to another, where ``when`` holds.

    ``brought``: by the number of each event that may bring it there, when that is the one.
    """

    step: Placed
    when: Literal
    good: frozenset[str]
    since: str
    until: str
    brought: dict[int, Literal] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Chain:
    """The history of one thing: ``arcs[a, b]`` between events by number, -1 for how it begins and ends.

    ``may_end``: the states that it may end in once it was moved (None: any). ``other``: a state, and when it
    begins in that one. ``stays``: by event, until when the thing is at least as that left it.
    """

    name: str
    initial: str
    events: tuple[Event, ...]
    inside: dict[int, Literal]
    may_end: frozenset[str] | None
    other: tuple[str, Literal] | None = None
    arcs: dict[tuple[int, int], Literal] = field(default_factory=dict)
    needs: list[Need] = field(default_factory=list)
    stays: dict[int, cp_model.IntVar] = field(default_factory=dict)

    def state_after(self, number: int) -> str:
        """The state after an event; after -1 the one at the beginning."""
        return self.initial if number < 0 else self.events[number].after

    def may_be(self, model: OrderModel, number: int, states: frozenset[str]) -> Literal | None:
        """The literal under which the state after an event is one of ``states``; None where it never is."""
        is_so = self.state_after(number) in states
        if number >= 0 or self.other is None or is_so == (self.other[0] in states):
            return model.yes if is_so else None
        return ~self.other[1] if is_so else self.other[1]

    def parts(self, a: int, b: int) -> bool:
        """Whether two numbers are events of two steps."""
        return a >= 0 and b >= 0 and self.events[a].step is not self.events[b].step

    def next_at(self, a: int, b: int) -> str:
        """At which end b may follow a: what is handed over can be left in the step in which it comes."""
        # Else who has it has whole steps.
        one, other = self.events[a], self.events[b]
        return FINISH if one.at_finish and other.at_finish and one.after in SUITED else START

    def rules(self, holds: Callable[[Literal], bool]) -> Iterator[Rule]:
        """What a solution keeps by choice: events in turn, and over before the next what needs the thing."""
        chosen = [pair for pair, arc in self.arcs.items() if holds(arc)]
        for a, b in (pair for pair in chosen if self.parts(*pair)):
            yield Rule(self.events[a].step.name, self.events[b].step.name, 0, (), self.name, FINISH,
                       self.next_at(a, b))
        following = {a: self.events[b].step for a, b in chosen if b >= 0}
        for need in self.needs:
            for a in (a for a, by in need.brought.items() if holds(by) and holds(need.when)):
                if a >= 0 and (brought := self.events[a].step) is not need.step:
                    yield Rule(brought.name, need.step.name, 0, (), self.name, FINISH, need.since)
                if (taken := following.get(a, need.step)) is not need.step:
                    yield Rule(need.step.name, taken.name, 0, (), self.name, need.until, START)


def add_chain(model: OrderModel, name: str, initial: str, events: Iterable[Event], *,
              may_end: frozenset[str] | None, asked: Requirement, ending: Requirement | None = None,
              other: tuple[str, Literal] | None = None) -> Chain:
    """b directly follows a: state after a in states before b, and s_b >= s_a + d_a (for two steps).

    What nobody moves may stay where it is. ``ending``: that it ends well, where that can be switched off.
    """
    events = tuple(events)
    inside = {i: _inside(model, event, asked) for i, event in enumerate(events)}
    chain = Chain(name, initial, events, inside, may_end, other)
    arcs = chain.arcs
    for a in range(-1, len(events)):
        for b in range(len(events)):
            if a != b and (may_follow := _may_follow(model, chain, a, b)) is not None:
                arcs[a, b] = model.literal(f"{name} {a}->{b}")
                model.cp.add_implication(arcs[a, b], may_follow)
        if a < 0 or may_end is None or events[a].after in may_end:
            arcs[a, -1] = model.literal(f"{name} {a}->end")
        elif ends_well := model.switch(ending):
            arcs[a, -1] = model.literal(f"{name} {a}->end")
            model.cp.add_bool_or(~arcs[a, -1], *(~each for each in ends_well))
    model.cp.add_circuit([
        *((a + 1, b + 1, arc) for (a, b), arc in arcs.items()),
        *((i + 1, i + 1, ~here) for i, here in inside.items()),
    ])
    chain.stays.update((a, model.cp.new_int_var(0, model.horizon, f"{name} stays")) for a in (-1, *inside))
    for (a, b), arc in arcs.items():
        if b >= 0:
            model.cp.add(chain.stays[a] <= events[b].step.start).only_enforce_if(arc)
        if chain.parts(a, b):
            _in_turn(model, events[a].step, events[b].step, (arc,), chain.next_at(a, b))
    return chain


def _inside(model: OrderModel, event: Event, requirement: Requirement) -> Literal:
    """The event's place in the round: always where it happens, unless the requirement is switched off."""
    asked = model.switch(requirement)
    if not asked:
        return event.when
    inside = model.literal("inside")
    model.cp.add(inside == 1).only_enforce_if(event.when, *asked)
    return inside


def _may_follow(model: OrderModel, chain: Chain, a: int, b: int) -> Literal | None:
    event = chain.events[b]
    # Of one step, only what it takes at its start can be followed by what it leaves at its finish.
    if a >= 0 and chain.events[a].step is event.step and not (
            event.at_finish and not chain.events[a].at_finish and event.when is chain.events[a].when):
        return None
    return model.yes if event.before is None else chain.may_be(model, a, event.before)


def _in_turn(model: OrderModel, before: Placed, after: Placed, when: tuple[Literal, ...],
             then_at: str) -> None:
    """One step is over before an end of another."""
    model.order(before, after, before.length - (after.length if then_at == FINISH else 0), when=when)


def need_state(model: OrderModel, chain: Chain, step: Placed, when: Literal, good: Iterable[str],
               requirement: Requirement, since: str = START, until: str = FINISH) -> dict[int, Literal]:
    """From one end of ``step`` to the other the thing is in a good state, from the event before to the next.

    Exactly one event a (or the beginning) with y_a: s >= s_a + d_a; and where b follows a: s_b >= s + d.
    Returns the literals y by event.
    """
    brought: dict[int, Literal] = {}
    need = Need(step, when, frozenset(good), since, until, brought)
    chain.needs.append(need)
    for a in range(-1, len(chain.events)):
        is_too_late = a >= 0 and chain.events[a].step is step and chain.events[a].at_finish and since == START
        may_be = chain.may_be(model, a, need.good)
        if may_be is not None and not is_too_late:
            brought[a] = model.literal(f"{chain.name} for {step.name} by {a}")
            model.cp.add_implication(brought[a], may_be)
    model.cp.add(sum(brought.values()) == 1).only_enforce_if(when, *model.switch(requirement))
    own = [number for number, event in enumerate(chain.events) if event.step is step]
    # What the step itself takes on is no other's: of that only the end counts.
    alone = {a: [~chain.arcs[a, b] for b in own if (a, b) in chain.arcs] for a in brought}
    end = step.finish if until == FINISH else step.start
    for a, by in brought.items():
        if a >= 0:
            model.cp.add_implication(by, chain.inside[a])
            if chain.events[a].step is not step:
                _in_turn(model, chain.events[a].step, step, (by, when), since)
        model.cp.add(chain.stays[a] >= end).only_enforce_if(by, when, *alone[a])
        for b in own:
            if (a, b) in chain.arcs and not chain.events[b].at_finish and until == FINISH:
                # The step itself would take the thing away as it begins.
                model.cp.add_bool_or(~by, ~chain.arcs[a, b], ~when)
    return brought


def forced_orders(chain: Chain, number: Number,
                  is_certain: Callable[[int, Iterable[Literal]], bool]) -> Iterator[tuple[int, int]]:
    """Pairs of steps (first, then) that any history of the chain keeps.

    Where only one step can bring the thing into the states that another one takes it from or needs, it comes
    first. Where a state comes only once, what needs it comes before what takes the thing out of it.
    ``is_certain`` says whether a step happens so whoever does its task.
    """
    brought: dict[str, set[int]] = {chain.initial: {-1}} | ({chain.other[0]: {-1}} if chain.other else {})
    for event in chain.events:
        brought.setdefault(event.after, set()).add(number(event.step))
    # What is handed over can be left in the step in which it comes: that waits for nothing.
    handed = {event.after for event in chain.events if event.at_finish} & {*SUITED}
    takes = _by_step(((event, event.before) for event in chain.events if event.before is not None
                      and not (event.at_finish and event.before & handed)), number, is_certain)
    needs, users = (_by_step(((need, need.good & brought.keys()) for need in some), number, is_certain)
                    for some in ([need for need in chain.needs if need.since == START],
                                 [need for need in chain.needs if need.until == FINISH]))
    for wanted in (takes, needs):
        for step, states in wanted.items():
            sources = set().union(*(brought.get(state, set()) for state in states))
            if len(sources) == 1 and not sources & {-1, step}:
                yield sources.pop(), step
    for user, states in users.items():
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
