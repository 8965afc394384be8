"""The rules of an order that delay nobody in the timing: hardware, tethers, room at worksites, inhibits.

The checks judge them on the timed plan, `order_screen` on an order with its times. The model forbids nothing
that these allow, but that somebody takes what they have, or that an item ends in a bag. Items are the same
facts as custody in `plan/`, as chains. Neglected: whether the partner stands there when an item is handed
over in a step of one, and a second foothold strapped beside a socket.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from math import ceil, inf

import numpy as np
from ortools.sat.python import cp_model

from planning_kit.changes.order import tasks_touching
from planning_kit.explore.propose.chains import FINISH, START, Chain, Event, add_chain, need_state
from planning_kit.explore.propose.order_model import (
    Literal,
    OrderModel,
    Requirement,
    Rule,
    Ticks,
    ticks_down,
    ticks_up,
)
from planning_kit.explore.propose.order_problem import Problem, is_here
from planning_kit.explore.propose.timed_rules import between_ends, lane_way
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import INSIDE, Inhibit, Item, Place, Records, Step
from planning_kit.plan.build import light_demand, stops_into
from planning_kit.plan.custody import is_in, room_in, taken_from
from planning_kit.plan.network import MAX_GAP, MIN_GAP, Bound

# Slots may be fractions, and the solver counts in whole numbers.
_SLOT_PARTS = 1000
_HAIR = 1e-6  # more than floats are off


def add_hardware(problem: Problem) -> None:
    """A chain for every item that some step moves or needs; needs, hands and bags on top of them."""
    chains = {item.item: _item_chain(problem, item) for item in problem.work.records.hardware}
    _add_uses(problem, chains)
    _add_bag_hands(problem, chains)
    _add_footholds(problem, chains)
    _add_capacities(problem, chains)
    _add_bag_ends(problem, chains)
    problem.chains += chains.values()


def _item_chain(problem: Problem, item: Item) -> Chain:
    ending, events = ending_asked(item), list(_events(problem, item.item))
    may_end = None if ending in problem.model.let_go else _ends(problem.work.records, item, events)
    asked = Requirement("hardware", item.item, f"{item.item} is where it is taken")
    along = _goes_along(problem, item)
    return add_chain(problem.model, item.item, item.at, events, may_end=may_end, asked=asked, ending=ending,
                     other=None if along is None else (PARTNER[item.at], along))


def _goes_along(problem: Problem, item: Item) -> Literal | None:
    """Where an item begins with the partner, as all that touch it are traded; None: never."""
    work, model, tasks = problem.work, problem.model, {task.task for task in problem.work.records.tasks}
    # What no step touches goes along where the whole outing is mirrored.
    tasks = tasks_touching(work.steps).get(item.item, tasks)
    if item.at not in PARTNER or not tasks <= work.swappable:
        return None
    if len(tasks) == 1:
        return problem.done[min(tasks), True]
    along = model.literal(f"{item.item} goes along")
    model.cp.add_bool_or(~along, *(problem.done[task, True] for task in tasks))
    for task in tasks:
        model.cp.add_bool_or(~along, ~problem.done[task, False])
        model.cp.add_bool_or(along, ~problem.done[task, True], *(problem.done[each, False] for each in tasks))
    return along


def ending_asked(item: Item) -> Requirement:
    """That an item ends where it must, once somebody has moved it."""
    return Requirement("hardware", item.item, f"{item.item} ends where it must ({item.end_at or 'anywhere'})")


def _events(problem: Problem, name: str) -> Iterator[Event]:
    for i, step, when in problem.ways:
        for move in step.takes:
            if move.item == name:
                yield Event(problem.placed[i], when, taken_from(problem.work.records, step, move),
                            move.crew or step.crew, at_finish=False)
        for move in step.leaves:
            if move.item == name:
                yield Event(problem.placed[i], when, frozenset({move.crew or step.crew}),
                            move.into or step.where, at_finish=True)


def _ends(records: Records, item: Item, events: Sequence[Event]) -> frozenset[str] | None:
    """The states that an item may end in; None: any. Of what is in a bag, `_add_bag_ends` asks more."""
    if item.end_at != INSIDE:
        return frozenset({item.end_at}) if item.end_at else None
    return frozenset(event.after for event in events if is_in(records, event.after))


def _add_bag_ends(problem: Problem, chains: dict[str, Chain]) -> None:
    """What is in a bag at the end and must be inside is so with its bag, which nobody moved or is inside."""
    records = problem.work.records
    for item in records.hardware:
        for (a, b), arc in chains[item.item].arcs.items():
            bag = chains.get(chains[item.item].state_after(a)) if b < 0 and item.end_at == INSIDE else None
            if bag is not None and (asked := ending_asked(item)) not in problem.model.let_go:
                problem.model.cp.add_bool_or(
                    last for (x, y), last in bag.arcs.items()
                    if y < 0 and (x < 0 or is_in(records, bag.state_after(x)))
                ).only_enforce_if(arc, *problem.model.switch(asked))


def _near(step: Step) -> frozenset[str]:
    """Where what a step needs is at hand: at its place, and in the hands of those who do it."""
    return frozenset({step.where, *step.people})


def _add_uses(problem: Problem, chains: dict[str, Chain]) -> None:
    """What a step uses is in its crew's hands, lies there, or is in a bag that does."""
    for i, step, when in problem.ways:
        for name in step.uses:
            asked = Requirement("steps", step.step, f"{step.step} has {name} at hand (uses)")
            chain, placed, near = chains[name], problem.placed[i], _near(step)
            states = {a: chain.state_after(a) for a in range(-1, len(chain.events))}
            bags = chains.keys() & states.values()
            by = need_state(problem.model, chain, placed, when, near | bags, asked)
            for bag in sorted(bags):
                for is_it in (by[a] for a in by if states[a] == bag):
                    need_state(problem.model, chains[bag], placed, is_it, near, asked)


def _add_bag_hands(problem: Problem, chains: dict[str, Chain]) -> None:
    """A bag that something is taken out of is at hand at the start, one that it is put into at the finish."""
    for i, step, when in problem.ways:
        ends = [(START, {move.out_of for move in step.takes}), (FINISH, {move.into for move in step.leaves})]
        for at, bag in ((at, bag) for at, bags in ends for bag in sorted(bags & chains.keys())):
            asked = Requirement("steps", step.step, f"{step.step} has the bag {bag} at hand")
            need_state(problem.model, chains[bag], problem.placed[i], when, _near(step), asked, at, at)


def _add_footholds(problem: Problem, chains: dict[str, Chain]) -> None:
    """A foothold is in the socket of the place where a step needs it: in one place at a time."""
    sockets = {place.place for place in problem.work.records.places if place.socket}
    for step, placed in zip(problem.work.steps, problem.placed, strict=True):
        if step.foothold:
            asked = Requirement("steps", step.step, f"{step.step} has {step.foothold} in the socket of "
                                f"{step.place}")
            need_state(problem.model, chains[step.foothold], placed, problem.tasks[step.task],
                       sockets & {step.place}, asked)


def _add_capacities(problem: Problem, chains: dict[str, Chain]) -> None:
    """The slots in someone's hands never sum to more than they can carry, nor those in a bag."""
    # Fractions are rounded to the side that forbids nothing.
    slots = {item.item: int((item.slots or 0.0) * _SLOT_PARTS + _HAIR)
             for item in problem.work.records.hardware}
    for holder, room in room_in(problem.work.records).items():
        limit = inf if room is None else ceil(room * _SLOT_PARTS - _HAIR)
        spans = {name: list(_kept_by(problem, chain, holder)) for name, chain in chains.items()
                 if slots[name] and limit < inf}
        if sum(slots[name] for name in spans if spans[name]) > limit:
            problem.model.no_more_than(
                int(limit), [(span, slots[name]) for name in spans for span in spans[name]])


def _kept_by(problem: Problem, chain: Chain, holder: str) -> Iterator[cp_model.IntervalVar]:
    """[event, next event) for every event that brings the thing to ``holder``."""
    model: OrderModel = problem.model
    for a in range(-1, len(chain.events)):
        here = chain.may_be(model, a, frozenset({holder}))
        if here is None:
            continue
        begin = chain.events[a].moment if a >= 0 else 0
        until = model.cp.new_int_var(0, 2 * model.horizon, f"{chain.name} until")
        length = model.cp.new_int_var(0, 2 * model.horizon, f"{chain.name} stays")
        for b in range(-1, len(chain.events)):
            if (a, b) in chain.arcs:
                moment = chain.events[b].moment if b >= 0 else problem.end
                model.cp.add(until == moment).only_enforce_if(chain.arcs[a, b])
        yield model.cp.new_optional_interval_var(
            begin, length, until, chain.inside[a] if a >= 0 else here, f"{chain.name} {a}")


def add_tethers(problem: Problem) -> None:
    """Metres of the shortest chain of routes from the hook to a worksite <= the tether's length, and home.

    Exact where routes form a tree. Round a loop the line walked may be longer, never shorter: the screen
    judges it, and the arcs that it names are a cut. Whose hook somebody else moves is left to the screen.
    """
    records = problem.work.records
    anchors = {place.place for place in records.places if place.anchor}
    airlock = records.settings.airlock_place
    for person in records.crew:
        is_helped = any(person.crew in {*step.hooks} - {*step.people} for _, step, _ in problem.ways)
        if person.tether_m is None or not problem.positions[person.crew] or is_helped:
            continue
        travel, most_m = problem.travels[person.crew], person.tether_m
        hooked = problem.freedom.past.hooks[person.crew] if problem.freedom.past else airlock
        reach = {place.place: frozenset(hook for hook in anchors | {hooked}
                                        if travel.least_m(hook, place.place) <= most_m + _HAIR)
                 for place in records.places}
        asked = Requirement("crew", person.crew, f"the tether of {person.crew} ({most_m:g} m) reaches every "
                            "worksite from its hook")
        events = [Event(problem.placed[i], when, reach[step.place], step.place, at_finish=True)
                  for i, step, when in problem.ways if person.crew in step.hooks and step.place in anchors]
        chain = add_chain(problem.model, f"tether of {person.crew}", hooked, events, may_end=reach[airlock],
                          asked=asked)
        problem.chains.append(chain)
        for i in problem.positions[person.crew]:
            step = problem.work.steps[i]
            good = frozenset.intersection(*(reach[stop] for stop in stops_into(step)))
            need_state(problem.model, chain, problem.placed[i], is_here(problem, person.crew, i), good, asked)


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
    for inhibit in problem.work.records.inhibits:
        for gap in _asked_by(inhibit):
            _at_least(problem, *gap)
        if inhibit.window:
            _in_window(problem, inhibit)


def _asked_by(inhibit: Inhibit) -> Iterator[tuple[str, str, float, Requirement, tuple[str, str]]]:
    """Steps that are so many minutes apart, at least, between these ends: first, then, minutes, why, ends."""
    name, lead = f"inhibit {inhibit.inhibit}", inhibit.lead_min
    for needs in inhibit.needed_by:
        asked = Requirement("inhibits", inhibit.inhibit, f"{needs} lies inside {name} (needed_by)")
        yield inhibit.from_step, needs, -lead, asked, ("start", "start")
        yield needs, inhibit.until_step, 0.0, asked, ("finish", "finish")
    if inhibit.hold_max_min is not None:
        held = f"{name} is held at most {inhibit.hold_max_min:g} min"
        yield (inhibit.until_step, inhibit.from_step, lead - inhibit.hold_max_min,
               Requirement("inhibits", inhibit.inhibit, held), ("finish", "start"))


def bound_by_inhibits(problem: Problem) -> None:
    """The same for the timing of an order, but for the windows."""
    for inhibit in problem.work.records.inhibits:
        for first, then, gap_min, _, (first_at, then_at) in _asked_by(inhibit):
            if first != then:
                # A negative gap as a greatest one: as a least one the steps could run in a circle.
                problem.more_bounds.append(Bound(
                    problem.work.index[first], problem.work.index[then],
                    MIN_GAP if gap_min >= 0 else MAX_GAP, first, fixed_min=gap_min,
                    from_finish=first_at == "finish", to_finish=then_at == "finish"))


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
