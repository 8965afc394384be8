"""Tethers, crowded worksites and inhibits in the order problem: the checks know them, the timing does not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np
from ortools.sat.python import cp_model

from planning_kit.explore.propose.chains import Event, add_chain, need_state
from planning_kit.explore.propose.model import Literal, Requirement, Rule, Ticks
from planning_kit.explore.propose.problem import Problem, crews_of, first_way, is_here
from planning_kit.explore.propose.ticks import ticks_down, ticks_up
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import Inhibit, Place
from planning_kit.plan.build import light_demand
from planning_kit.plan.network import MAX_GAP, MIN_GAP, Bound
from planning_kit.plan.travel import Travel


def add_tethers(problem: Problem) -> None:
    """Metres from the hook to a worksite <= the tether's length, at every step and on the way home.

    Exact where routes form a tree (the way never leaves reach between two places in reach); on loops it is
    necessary at the ends of the way, and the check on the timed plan judges the rest.
    """
    records = problem.work.records
    anchors = {place.place for place in records.places if place.anchor}
    airlock = records.settings.airlock
    for person in records.crew:
        if person.tether_m is None or not problem.positions[person.crew]:
            continue
        travel, most_m = problem.travels[person.crew], person.tether_m

        def reaches(hook: str, place: str, travel: Travel = travel, most_m: float = most_m) -> bool:
            return metres(travel, hook, place) <= most_m

        asked = Requirement("crew", person.crew, f"the tether of {person.crew} ({most_m:g} m) reaches every "
                            "worksite from its hook")
        events = [
            Event(problem.placed[i], when, frozenset(a for a in anchors if reaches(a, step.place)),
                  step.place, at_finish=True)
            for i, step in enumerate(problem.work.steps) for when in _hooking(problem, i, person.crew)
            if step.place in anchors
        ]
        hooked = problem.freedom.past.hooks[person.crew] if problem.freedom.past else airlock
        chain = add_chain(problem.model, f"tether of {person.crew}", hooked, events,
                          lambda hook, reaches=reaches: reaches(hook, airlock), asked)  # type: ignore[misc]
        problem.chains.append(chain)
        for i in problem.positions[person.crew]:
            spots = [spot for spot in (problem.work.steps[i].place, problem.work.steps[i].wait_at) if spot]
            need_state(
                problem.model, chain, problem.placed[i], is_here(problem, person.crew, i),
                lambda hook, spots=spots, reaches=reaches: all(reaches(hook, s) for s in spots),  # type: ignore[misc]
                asked)


def _hooking(problem: Problem, position: int, crew: str) -> Iterator[Literal]:
    """When a step moves the hook of ``crew``, who is there."""
    step = problem.work.steps[position]
    for is_swapped in problem.modes(step.task):
        hooks = [PARTNER[each] if is_swapped else each for each in step.hooks]
        if crew in hooks and crew in crews_of(problem, position, is_swapped):
            yield problem.done[step.task, is_swapped]


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
            begin = _arrival(problem, crew, number) if waits_here else problem.placed[i].start
            yield _Stay(i, number, begin, lane.members[number].here, waits_here)


def _arrival(problem: Problem, crew: str, number: int) -> cp_model.IntVar:
    """arrival_j = s_i + d_i + way(i, j) on the chosen arc: they travel as soon as they are free."""
    model, lane = problem.model, problem.lanes[crew]
    arrival = model.cp.new_int_var(0, model.horizon, f"{crew} arrives {number}")
    for (i, j), arc in lane.arcs.items():
        if j == number:
            leave = problem.egress if i < 0 else lane.members[i].step.finish
            model.cp.add(arrival == leave + _way_ticks(problem, crew, i, j)).only_enforce_if(arc)
    return arrival


def _way_ticks(problem: Problem, crew: str, i: int, j: int) -> int:
    if i < 0 and problem.freedom.past:
        return first_way(problem, crew, problem.positions[crew][j]) or 0
    travel, steps = problem.travels[crew], problem.work.steps
    here = steps[problem.positions[crew][i]].place if i >= 0 else problem.work.records.settings.airlock
    step = steps[problem.positions[crew][j]]
    return ticks_up(travel.time_min(here, step.place) + step.travel_extra_min)


def _apart(problem: Problem, place: Place, mine: _Stay, theirs: _Stay) -> None:
    model = problem.model
    asked = Requirement("places", place.place, f"one person at a time at {place.title or place.place}")
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
    for (i, j), arc in problem.lanes[crew].arcs.items():
        if j == other.number and i >= 0:
            problem.model.rules.append(Rule(
                names[one.position].step, names[problem.positions[crew][i]].step,
                -_way_ticks(problem, crew, i, j), (is_it, one.here, arc), why, then_at="finish"))


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
    extra = (problem.work.minutes[a] if ends[0] == "finish" else 0.0) - (
        problem.work.minutes[b] if ends[1] == "finish" else 0.0)
    problem.model.order(problem.placed[a], problem.placed[b], ticks_up(gap_min + extra), asked)
    problem.model.rules.append(Rule(first, then, ticks_up(gap_min),
                                    (problem.placed[a].present, problem.placed[b].present), asked.words,
                                    *ends))
    if first != then:
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


