"""Items, bags, footholds and hands in the order problem: the same facts as custody in `plan/`, as chains.

An item must be left before it is taken, must be at hand while it is used, and hands and bags hold only so
much. Neglected here and left to the checks on the timed plan: whether the partner stands there when an item
is handed over in a step of one, and a second foothold strapped beside a socket.
"""

from __future__ import annotations

from collections.abc import Iterator

from ortools.sat.python import cp_model

from planning_kit.explore.propose.chains import Chain, Event, add_chain, need_state
from planning_kit.explore.propose.model import Literal, OrderModel, Requirement
from planning_kit.explore.propose.problem import Problem, crews_of
from planning_kit.explore.propose.work import swapped_moves
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import INSIDE, Item, Records

_SLOT_PARTS = 1000


def add_hardware(problem: Problem) -> None:
    """A chain for every item that some step moves or needs; needs, hands and bags on top of them."""
    chains = {item.item: _item_chain(problem, item) for item in problem.work.records.hardware}
    _add_uses(problem, chains)
    _add_bag_hands(problem, chains)
    _add_footholds(problem, chains)
    _add_capacities(problem, chains)
    problem.chains += chains.values()


def _item_chain(problem: Problem, item: Item) -> Chain:
    asked = Requirement("hardware", item.item, f"{item.item} is where it is taken")
    ending, let_go = ending_asked(item), problem.model.let_go
    return add_chain(problem.model, item.item, item.at, list(_events(problem, item.item)),
                     lambda state: ending in let_go or _may_end(problem, item, state), asked, ending)


def ending_asked(item: Item) -> Requirement:
    """That an item ends where it must, once somebody has moved it."""
    return Requirement("hardware", item.item, f"{item.item} ends where it must ({item.end_at or 'anywhere'})")


def _events(problem: Problem, name: str) -> Iterator[Event]:
    airlock, along = problem.work.records.settings.airlock, problem.work.goes_along
    for i, step in enumerate(problem.work.steps):
        here, placed = step.place or INSIDE, problem.placed[i]
        for is_swapped in problem.modes(step.task):
            when = problem.done[step.task, is_swapped]
            named_so = is_swapped and name not in along  # what goes along is where it would have been
            for move, who, _ in swapped_moves(step.takes, step.crew, named_so):
                if move.item == name:
                    spots = {move.out_of} if move.out_of else {here, INSIDE} if here == airlock else {here}
                    yield Event(placed, when, frozenset(spots), who, at_finish=False)
            for move, who, into in swapped_moves(step.leaves, step.crew, named_so):
                if move.item == name:
                    yield Event(placed, when, frozenset({who}), into or here, at_finish=True)


def _may_end(problem: Problem, item: Item, state: str) -> bool:
    if not item.end_at:
        return True
    if item.end_at != INSIDE:
        return state == item.end_at
    bags = {each.item for each in problem.work.records.hardware if each.end_at == INSIDE}
    return state in {INSIDE, problem.work.records.settings.airlock, *problem.work.crews, *bags}


def _add_uses(problem: Problem, chains: dict[str, Chain]) -> None:
    """What a step uses is in its crew's hands, lies there, or is in a bag that does."""
    for i, step in enumerate(problem.work.steps):
        for is_swapped in problem.modes(step.task):
            for name in step.uses:
                named_so = is_swapped and name not in problem.work.goes_along
                near = {step.place or INSIDE, *crews_of(problem, i, named_so)}
                asked = Requirement("steps", step.step, f"{step.step} has {name} at hand (uses)")
                _at_hand(problem, chains, name, i, problem.done[step.task, is_swapped], near, asked)


def _at_hand(problem: Problem, chains: dict[str, Chain], name: str, position: int, when: Literal,
             near: set[str], asked: Requirement) -> None:
    chain, placed = chains[name], problem.placed[position]
    bags = {chain.state_after(a) for a in range(-1, len(chain.events))} & set(chains)
    by = need_state(problem.model, chain, placed, when, lambda state: state in near | bags, asked)
    for bag in sorted(bags):
        for a, is_it in by.items():
            if chain.state_after(a) == bag:
                need_state(problem.model, chains[bag], placed, is_it, lambda state: state in near, asked)


def _add_bag_hands(problem: Problem, chains: dict[str, Chain]) -> None:
    """A bag that something is taken out of or put into is at hand."""
    for i, step in enumerate(problem.work.steps):
        for is_swapped in problem.modes(step.task):
            near = {step.place or INSIDE, *crews_of(problem, i, is_swapped)}
            bags = {m.out_of for m in step.takes} | {m.into for m in step.leaves}
            for bag in sorted(bags & set(chains)):
                asked = Requirement("steps", step.step, f"{step.step} has the bag {bag} at hand")
                need_state(problem.model, chains[bag], problem.placed[i], problem.done[step.task, is_swapped],
                           lambda state, near=near: state in near, asked)  # type: ignore[misc]


def _add_footholds(problem: Problem, chains: dict[str, Chain]) -> None:
    """A foothold is in the socket of the place where a step needs it: in one place at a time."""
    sockets = {place.place for place in problem.work.records.places if place.socket}
    for i, step in enumerate(problem.work.steps):
        if step.foothold:
            asked = Requirement("steps", step.step, f"{step.step} has {step.foothold} in the socket of "
                                f"{step.place}")
            need_state(problem.model, chains[step.foothold], problem.placed[i], problem.tasks[step.task],
                       lambda state, place=step.place: state == place and place in sockets,  # type: ignore[misc]
                       asked)


def room_in(records: Records) -> dict[str, float]:
    """The slots of hands and bags, where they are known."""
    room = {crew.crew: crew.carry_slots for crew in records.crew}
    room |= {item.item: item.holds for item in records.hardware if item.kind == "bag"}
    return {holder: slots for holder, slots in room.items() if slots is not None}


def slots_of(records: Records) -> dict[str, float]:
    """The slots that each item takes."""
    return {item.item: item.slots or 0.0 for item in records.hardware}


def _add_capacities(problem: Problem, chains: dict[str, Chain]) -> None:
    """The slots in someone's hands never sum to more than they can carry, nor those in a bag."""
    room, slots = room_in(problem.work.records), slots_of(problem.work.records)
    for holder, limit in room.items():
        inside = [name for name, chain in chains.items() if slots[name] and any(
            _holder(problem, chain, a) == holder for a in range(-1, len(chain.events)))]
        if sum(slots[name] for name in inside) <= limit:
            continue
        spans = [(span, round(slots[name] * _SLOT_PARTS)) for name in inside
                 for span in _stays(problem, chains[name], holder)]
        problem.model.no_more_than(round(limit * _SLOT_PARTS), spans)


def _holder(problem: Problem, chain: Chain, number: int) -> str:
    """Who or what really has the thing after an event: what goes along with a traded task, the partner."""
    state = chain.state_after(number)
    if number < 0 or chain.name not in problem.work.goes_along:
        return state
    event = chain.events[number]
    task = problem.work.steps[problem.work.number(event.step)].task
    return PARTNER.get(state, state) if event.when is problem.done[task, True] else state


def _stays(problem: Problem, chain: Chain, holder: str) -> Iterator[cp_model.IntervalVar]:
    """[event, next event) for every event that brings the thing to ``holder``."""
    model: OrderModel = problem.model
    for a in range(-1, len(chain.events)):
        if _holder(problem, chain, a) != holder:
            continue
        begin = chain.events[a].moment if a >= 0 else 0
        until = model.cp.new_int_var(0, 2 * model.horizon, f"{chain.name} until")
        length = model.cp.new_int_var(0, 2 * model.horizon, f"{chain.name} stays")
        for b in range(-1, len(chain.events)):
            if (a, b) in chain.arcs:
                moment = chain.events[b].moment if b >= 0 else problem.end
                model.cp.add(until == moment).only_enforce_if(chain.arcs[a, b])
        here = chain.inside[a] if a >= 0 else model.yes
        yield model.cp.new_optional_interval_var(begin, length, until, here, f"{chain.name} {a}")
