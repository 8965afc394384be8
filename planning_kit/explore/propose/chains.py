"""States that change from step to step: where an item is, where a tether is hooked.

A chain is the history of one thing as a round through the events that move it: event b can directly follow
event a only where a leaves the thing in a state that b takes it from. What needs the thing in some state is
tied to the event that brings it there, and must be over before the next one.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from planning_kit.explore.propose.model import Literal, OrderModel, Placed, Requirement, Rule, Ticks


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
    """A step during which the thing is in a good state, where ``when`` holds."""

    step: Placed
    when: Literal
    is_good: Callable[[str], bool]


@dataclass(frozen=True, eq=False)
class Chain:
    """The history of one thing: ``arcs[a, b]`` between events by number, -1 for how it begins and ends."""

    name: str
    initial: str
    events: tuple[Event, ...]
    arcs: dict[tuple[int, int], Literal]
    requirement: Requirement
    may_end: Callable[[str], bool]
    inside: dict[int, Literal] = field(default_factory=dict)
    needs: list[Need] = field(default_factory=list)

    def state_after(self, number: int) -> str:
        """The state after an event; after -1 the one at the beginning."""
        return self.initial if number < 0 else self.events[number].after


def add_chain(model: OrderModel, name: str, initial: str, events: Sequence[Event],
              may_end: Callable[[str], bool], requirement: Requirement,
              ending: Requirement | None = None) -> Chain:
    """b directly follows a: state after a in states before b, and s_b >= s_a + d_a (for two steps).

    What nobody moves may stay where it is. ``ending``: that it ends well, where that can be switched off.
    """
    arcs: dict[tuple[int, int], Literal] = {}
    inside = {i: _inside(model, event, requirement) for i, event in enumerate(events)}
    chain = Chain(name, initial, tuple(events), arcs, requirement, may_end, inside)
    for a in range(-1, len(events)):
        for b in range(len(events)):
            if a != b and _can_follow(chain, a, b):
                arcs[a, b] = model.literal(f"{name} {a}->{b}")
        if a < 0 or may_end(events[a].after):
            arcs[a, -1] = model.literal(f"{name} {a}->end")
        elif ends_well := model.switch(ending):
            arcs[a, -1] = model.literal(f"{name} {a}->end")
            model.cp.add_bool_or(~arcs[a, -1], *(~each for each in ends_well))
    model.cp.add_circuit([
        *((a + 1, b + 1, arc) for (a, b), arc in arcs.items()),
        *((i + 1, i + 1, ~here) for i, here in inside.items()),
    ])
    for (a, b), arc in arcs.items():
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
    same = a >= 0 and chain.events[a].step is event.step
    return not same or (event.at_finish and not chain.events[a].at_finish
                        and event.when is chain.events[a].when)


def _in_turn(model: OrderModel, name: str, before: Placed, after: Placed, when: tuple[Literal, ...]) -> None:
    """s_after >= s_before + d_before, to be written into the scenario where the timing does not know it."""
    model.order(before, after, before.length, when=when)
    model.rules.append(Rule(before.name, after.name, 0, when, name))


def need_state(model: OrderModel, chain: Chain, step: Placed, when: Literal, is_good: Callable[[str], bool],
               requirement: Requirement) -> dict[int, Literal]:
    """During ``step`` the thing is in a good state: the step lies between the event before and the next.

    Exactly one event a (or the beginning) with y_a: s >= s_a + d_a; and where b follows a: s_b >= s + d.
    Returns the literals y by event.
    """
    chain.needs.append(Need(step, when, is_good))
    brought: dict[int, Literal] = {}
    for a in range(-1, len(chain.events)):
        if is_good(chain.state_after(a)) and not (a >= 0 and _is_too_late(chain.events[a], step)):
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


def _is_too_late(event: Event, step: Placed) -> bool:
    return event.step is step and event.at_finish


def _until(model: OrderModel, chain: Chain, step: Placed, when: tuple[Literal, ...], event: Event) -> None:
    if event.step is not step:
        _in_turn(model, chain.name, step, event.step, when)
    elif not event.at_finish:
        model.cp.add_bool_or(*(~each for each in when))
