"""The rules of an order that delay nobody in the timing: hardware, tethers, room at worksites, inhibits.

The checks judge them on the timed plan. Items are the same facts as custody in `plan/`, as chains: an item
must be left before it is taken, must be at hand while it is used, and hands and bags hold only so much.
Neglected here and left to the checks: whether the partner stands there when an item is handed over in a
step of one, and a second foothold strapped beside a socket.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from ortools.sat.python import cp_model

from planning_kit.explore.propose.chains import Chain, Event, add_chain, need_state
from planning_kit.explore.propose.order_model import (
    Literal,
    OrderModel,
    Requirement,
    Rule,
    Ticks,
    ticks_down,
    ticks_up,
)
from planning_kit.explore.propose.order_problem import Problem, crews_of, is_here, swapped_moves
from planning_kit.explore.propose.timed_rules import between_ends, lane_way
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import INSIDE, Inhibit, Item, Place, Records, Step
from planning_kit.plan.build import light_demand, stops_into
from planning_kit.plan.network import MAX_GAP, MIN_GAP, Bound
from planning_kit.plan.travel import Travel

# Slots may be fractions, and the solver counts in whole numbers.
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
    ending = ending_asked(item)
    may_end = None if ending in problem.model.let_go else _ends(problem.work.records, item)
    asked = Requirement("hardware", item.item, f"{item.item} is where it is taken")
    return add_chain(problem.model, item.item, item.at, _events(problem, item.item), may_end=may_end,
                     asked=asked, ending=ending)


def ending_asked(item: Item) -> Requirement:
    """That an item ends where it must, once somebody has moved it."""
    return Requirement("hardware", item.item, f"{item.item} ends where it must ({item.end_at or 'anywhere'})")


def _events(problem: Problem, name: str) -> Iterator[Event]:
    airlock, along = problem.work.records.settings.airlock_place, problem.work.goes_along
    for i, step, is_swapped, when in problem.ways():
        here, placed = step.place or INSIDE, problem.placed[i]
        named_so = is_swapped and name not in along  # what goes along is where it would have been
        for move, who, _ in swapped_moves(step.takes, step.crew, named_so):
            if move.item == name:
                # Who stands at the airlock can be handed what is inside.
                spots = {move.out_of} if move.out_of else {here, INSIDE} if here == airlock else {here}
                yield Event(placed, when, frozenset(spots), who, at_finish=False)
        for move, who, into in swapped_moves(step.leaves, step.crew, named_so):
            if move.item == name:
                yield Event(placed, when, frozenset({who}), into or here, at_finish=True)


def _ends(records: Records, item: Item) -> frozenset[str] | None:
    """The states that an item may end in; None: any."""
    if item.end_at != INSIDE:
        return frozenset({item.end_at}) if item.end_at else None
    bags = {each.item for each in records.hardware if each.end_at == INSIDE}
    return frozenset({INSIDE, records.settings.airlock_place, *(crew.crew for crew in records.crew), *bags})


def _near(problem: Problem, position: int, is_swapped: bool) -> frozenset[str]:
    """Where what a step needs is at hand: at its place, and in the hands of those who do it."""
    return frozenset({problem.work.steps[position].place or INSIDE, *crews_of(problem, position, is_swapped)})


def _add_uses(problem: Problem, chains: dict[str, Chain]) -> None:
    """What a step uses is in its crew's hands, lies there, or is in a bag that does."""
    for i, step, is_swapped, when in problem.ways():
        for name in step.uses:
            near = _near(problem, i, is_swapped and name not in problem.work.goes_along)
            asked = Requirement("steps", step.step, f"{step.step} has {name} at hand (uses)")
            chain, placed = chains[name], problem.placed[i]
            states = {a: chain.state_after(a) for a in range(-1, len(chain.events))}
            bags = chains.keys() & states.values()
            by = need_state(problem.model, chain, placed, when, near | bags, asked)
            for bag in sorted(bags):
                for is_it in (by[a] for a in by if states[a] == bag):
                    need_state(problem.model, chains[bag], placed, is_it, near, asked)


def _add_bag_hands(problem: Problem, chains: dict[str, Chain]) -> None:
    """A bag that something is taken out of or put into is at hand."""
    for i, step, is_swapped, when in problem.ways():
        near = _near(problem, i, is_swapped)
        bags = {move.out_of for move in step.takes} | {move.into for move in step.leaves}
        for bag in sorted(bags & chains.keys()):
            asked = Requirement("steps", step.step, f"{step.step} has the bag {bag} at hand")
            need_state(problem.model, chains[bag], problem.placed[i], when, near, asked)


def _add_footholds(problem: Problem, chains: dict[str, Chain]) -> None:
    """A foothold is in the socket of the place where a step needs it: in one place at a time."""
    sockets = {place.place for place in problem.work.records.places if place.socket}
    for step, placed in zip(problem.work.steps, problem.placed, strict=True):
        if step.foothold:
            asked = Requirement("steps", step.step, f"{step.step} has {step.foothold} in the socket of "
                                f"{step.place}")
            need_state(problem.model, chains[step.foothold], placed, problem.tasks[step.task],
                       sockets & {step.place}, asked)


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
                 for span in _kept_by(problem, chains[name], holder)]
        problem.model.no_more_than(round(limit * _SLOT_PARTS), spans)


def _holder(problem: Problem, chain: Chain, number: int) -> str:
    """Who or what really has the thing after an event: what goes along with a traded task, the partner."""
    state = chain.state_after(number)
    if number < 0 or chain.name not in problem.work.goes_along:
        return state
    event = chain.events[number]
    task = problem.work.steps[problem.work.number(event.step)].task
    return PARTNER.get(state, state) if event.when is problem.done[task, True] else state


def _kept_by(problem: Problem, chain: Chain, holder: str) -> Iterator[cp_model.IntervalVar]:
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


def add_tethers(problem: Problem) -> None:
    """Metres from the hook to a worksite <= the tether's length, at every step and on the way home.

    Exact where routes form a tree (the way never leaves reach between two places in reach); on loops it is
    necessary at the ends of the way, and the check on the timed plan judges the rest.
    """
    records = problem.work.records
    anchors = {place.place for place in records.places if place.anchor}
    airlock = records.settings.airlock_place
    for person in records.crew:
        if person.tether_m is None or not problem.positions[person.crew]:
            continue
        travel, most_m = problem.travels[person.crew], person.tether_m
        hooked = problem.freedom.past.hooks[person.crew] if problem.freedom.past else airlock
        reach = {place.place: frozenset(hook for hook in anchors | {hooked}
                                        if metres(travel, hook, place.place) <= most_m)
                 for place in records.places}
        asked = Requirement("crew", person.crew, f"the tether of {person.crew} ({most_m:g} m) reaches every "
                            "worksite from its hook")
        events = [Event(problem.placed[i], when, reach[step.place], step.place, at_finish=True)
                  for i, step, when in _hooking(problem, person.crew) if step.place in anchors]
        chain = add_chain(problem.model, f"tether of {person.crew}", hooked, events, may_end=reach[airlock],
                          asked=asked)
        problem.chains.append(chain)
        for i in problem.positions[person.crew]:
            step = problem.work.steps[i]
            good = frozenset.intersection(*(reach[stop] for stop in stops_into(step)))
            need_state(problem.model, chain, problem.placed[i], is_here(problem, person.crew, i), good, asked)


def _hooking(problem: Problem, crew: str) -> Iterator[tuple[int, Step, Literal]]:
    """The steps that move the hook of ``crew``, who is there, and when they do."""
    for i, step, is_swapped, when in problem.ways():
        hooks = [PARTNER[each] if is_swapped else each for each in step.hooks]
        if crew in hooks and crew in crews_of(problem, i, is_swapped):
            yield i, step, when


def metres(travel: Travel, from_place: str, to_place: str) -> float:
    """Metres of the fastest way; infinite where there is none."""
    if travel.time_min(from_place, to_place) == float("inf"):
        return float("inf")
    return sum(route.metres for route in travel.routes_on(travel.way(from_place, to_place)))


@dataclass(frozen=True)
class _Stay:
    """One crew member at a place: from arrival (or the start of work, where they wait elsewhere)."""

    position: int
    number: int
    begin: Ticks
    here: Literal
    counts_wait: bool


def add_room(problem: Problem) -> None:
    """Where only one fits, one leaves before the other arrives: s_i + d_i <= arrival_j, or the other way."""
    crews = problem.work.crews
    for place in problem.work.records.places:
        if place.crew_at_once == 1 and len(crews) == 2:
            stays = [list(_stays(problem, crew, place)) for crew in crews]
            for mine, theirs in product(*stays):
                if mine.position != theirs.position:
                    _apart(problem, place, mine, theirs)


def _stays(problem: Problem, crew: str, place: Place) -> Iterator[_Stay]:
    lane = problem.lanes.get(crew)
    for number, i in enumerate(problem.positions[crew] if lane else []):
        step = problem.work.steps[i]
        if step.place == place.place and lane:
            waits_here = step.wait_at in ("", place.place)
            # Who comes early and waits there is in the way already.
            begin = _arrival(problem, crew, number) if waits_here else problem.placed[i].start
            yield _Stay(i, number, begin, lane.members[number].here, waits_here)


def _arrival(problem: Problem, crew: str, number: int) -> cp_model.IntVar:
    """arrival_j = s_i + d_i + way(i, j) on the chosen arc: they travel as soon as they are free."""
    model, lane, way = problem.model, problem.lanes[crew], lane_way(problem, crew)
    arrival = model.cp.new_int_var(0, model.horizon, f"{crew} arrives {number}")
    for (i, j), arc in lane.arcs.items():
        if j == number:
            leave = problem.pet_zero if i < 0 else lane.members[i].step.finish
            model.cp.add(arrival == leave + (way(i, j) or 0)).only_enforce_if(arc)
    return arrival


def _apart(problem: Problem, place: Place, mine: _Stay, theirs: _Stay) -> None:
    model = problem.model
    asked = Requirement("places", place.place, f"one person at a time at {place.title or place.place}")
    # The switch is on the choice alone: where neither is chosen nothing keeps them apart.
    first, second = model.literal("mine first"), model.literal("theirs first")
    model.cp.add_bool_or(first, second).only_enforce_if(mine.here, theirs.here, *model.switch(asked))
    for is_it, one, other in ((first, mine, theirs), (second, theirs, mine)):
        model.cp.add(other.begin >= problem.placed[one.position].finish).only_enforce_if(
            is_it, mine.here, theirs.here)
        _tell(problem, place, is_it, one, other)


def _tell(problem: Problem, place: Place, is_it: Literal, one: _Stay, other: _Stay) -> None:
    """As a rule for the scenario: the later one leaves the step before only when the place will be free."""
    why, names = f"room at {place.title or place.place}", problem.work.steps
    crew = next(c for c in problem.work.crews if other.number < len(problem.positions[c])
                and problem.positions[c][other.number] == other.position)
    if not other.counts_wait:
        problem.model.rules.append(Rule(names[one.position].step, names[other.position].step, 0,
                                        (is_it, one.here, other.here), why))
        return
    way = lane_way(problem, crew)
    for (i, j), arc in problem.lanes[crew].arcs.items():
        if j == other.number and i >= 0:
            # The timing sends everyone on as soon as they are free: only the step before can hold them back.
            problem.model.rules.append(Rule(
                names[one.position].step, names[problem.positions[crew][i]].step,
                -(way(i, j) or 0), (is_it, one.here, arc), why, then_at="finish"))


def add_inhibits(problem: Problem) -> None:
    """The steps that need an inhibit lie inside it; it is not held too long; it fits its window."""
    work = problem.work
    for inhibit in work.records.inhibits:
        name = f"inhibit {inhibit.inhibit}"
        lead = inhibit.lead_min
        for needs in inhibit.needed_by:
            asked = Requirement("inhibits", inhibit.inhibit, f"{needs} lies inside {name} (needed_by)")
            _at_least(problem, inhibit.from_step, needs, -lead, asked, ("start", "start"))
            _at_least(problem, needs, inhibit.until_step, 0.0, asked, ("finish", "finish"))
        if inhibit.hold_max_min is not None:
            asked = Requirement("inhibits", inhibit.inhibit, f"{name} is held at most "
                                f"{inhibit.hold_max_min:g} min")
            _at_least(problem, inhibit.until_step, inhibit.from_step, lead - inhibit.hold_max_min, asked,
                      ("finish", "start"))
        if inhibit.window:
            _in_window(problem, inhibit)


def _at_least(problem: Problem, first: str, then: str, gap_min: float, asked: Requirement,
              ends: tuple[str, str]) -> None:
    """then - first >= gap between these ends; told to the scenario as a gap where the timing needs it."""
    if first == then and ends[0] == ends[1] and gap_min <= 0:
        return
    a, b = problem.work.index[first], problem.work.index[then]
    ticks = ticks_up(gap_min + between_ends(problem, a, b, *ends))
    problem.model.order(problem.placed[a], problem.placed[b], ticks, asked)
    problem.model.rules.append(Rule(first, then, ticks_up(gap_min),
                                    (problem.placed[a].present, problem.placed[b].present), asked.words,
                                    *ends))
    if first != then:
        # A negative gap as a greatest one: as a least one the steps could run in a circle.
        problem.more_bounds.append(Bound(
            a, b, MIN_GAP if gap_min >= 0 else MAX_GAP, first, fixed_min=gap_min,
            from_finish=ends[0] == "finish", to_finish=ends[1] == "finish"))


def inhibit_windows(problem: Problem, inhibit: Inhibit) -> np.ndarray:
    """The windows (n, 2) that an inhibit must fit in, in minutes."""
    if inhibit.window not in ("night", "day"):
        return problem.almanac.named[inhibit.window]
    return light_demand(inhibit.window, problem.almanac,
                        problem.work.records.settings.night_guard_s / 60).windows


def _in_window(problem: Problem, inhibit: Inhibit) -> None:
    windows = inhibit_windows(problem, inhibit)
    model = problem.model
    first, last = (problem.placed[problem.work.index[name]]
                   for name in (inhibit.from_step, inhibit.until_step))
    asked = Requirement("inhibits", inhibit.inhibit, f"inhibit {inhibit.inhibit} lies in one window of "
                        f"{inhibit.window}")
    chosen = [model.literal("window") for _ in range(len(windows))]
    model.cp.add_bool_or(*chosen).only_enforce_if(first.present, last.present, *model.switch(asked))
    for is_it, (begin, end) in zip(chosen, windows.tolist(), strict=True):
        model.cp.add(first.start >= ticks_up(begin + inhibit.lead_min)).only_enforce_if(is_it)
        model.cp.add(last.finish <= ticks_down(end)).only_enforce_if(is_it)
