"""From the records of a scenario to a timing problem: one small function a kind of rule."""

import itertools
from collections.abc import Iterator, Mapping, Sequence
from functools import reduce

import numpy as np

from planning_kit.inputs.fields import SUITED
from planning_kit.inputs.records import Gap, Records, Step
from planning_kit.inputs.setting_records import Settings
from planning_kit.plan import network as kinds
from planning_kit.plan.network import Bound, Demand, Group, Home, Network, Release, grouped, on_grid
from planning_kit.plan.plan_times import Almanac
from planning_kit.plan.travel import Travel, travel_for
from planning_kit.sky.windows import intersect, shrink


def build_network(records: Records, almanac: Almanac, travels: Mapping[str, Travel]) -> Network:
    """The whole timing problem of a scenario. ``travels`` holds the fastest routes by crew member."""
    steps = records.steps
    index = {step.step: position for position, step in enumerate(steps)}
    orders = {who: work_order(steps, who) for who in (*travels, *(a.actor for a in records.actors))}
    airlock = records.settings.airlock_place
    demands = tuple(step_demands(step, almanac, records.settings.night_guard_s / 60.0) for step in steps)
    late = tuple(position for position, step in enumerate(steps) if step.when == "late")
    return Network(
        steps=tuple(index),
        releases=(*first_releases(steps, orders, travels, airlock),
                  *hatch_releases(records.settings, steps, orders, travels)),
        bounds=(*order_bounds(steps, orders, travels, airlock), *after_bounds(steps, index),
                *gap_bounds(records.gaps, index)),
        demands=demands,
        allowed=tuple(allowed_windows(each) for each in demands),
        groups=tuple(same_window_groups(steps, demands)),
        homes=tuple(ways_home(steps, orders, travels, airlock)),
        ends_min=float(on_grid(records.settings.airlock.ends_min)),
        horizon_min=almanac.horizon_min,
        late=late,
        late_margins_min=tuple(steps[position].late_margin_min for position in late))


def crew_travel(records: Records) -> dict[str, Travel]:
    """Fastest routes by crew member."""
    return {crew.crew: travel_for(crew, records.places, records.routes) for crew in records.crew}


def work_order(steps: Sequence[Step], who: str) -> list[int]:
    """Positions of the steps that ``who`` works on, in the order of work; ``both`` means EV1 and EV2."""
    return [position for position, step in enumerate(steps) if who in step.people]


def stops_into(step: Step) -> tuple[str, ...]:
    """Where a way into a step leads, in order: its ``via_places``, its waiting place, its known place."""
    return tuple(stop for stop in (*step.via_places, step.wait_at, step.place) if stop)


def placeless(steps: Sequence[Step]) -> list[str]:
    """The steps of EV1 and EV2 of which it is not known where they are done."""
    return [step.step for step in steps if not step.place and {*step.people} & {*SUITED}]


def last_places(steps: Sequence[Step], order: Sequence[int], airlock: str) -> list[str]:
    """The last place known before each step of an order of work, and after its last: (order + 1)."""
    return [*itertools.accumulate((steps[i].place for i in order), lambda here, place: place or here,
                                  initial=airlock)]


def travel_into(step: Step, travel: Travel, from_place: str) -> float:
    """Minutes on the way from ``from_place`` into a step."""
    return travel.time_over_min((from_place, *stops_into(step)))


def first_releases(steps: Sequence[Step], orders: Mapping[str, Sequence[int]],
                   travels: Mapping[str, Travel], airlock: str) -> Iterator[Release]:
    """x_first >= travel from the airlock; others at work can start at PET 0."""
    for who, order in orders.items():
        if order:
            step, moving = steps[order[0]], who in travels
            way = travel_into(step, travels[who], airlock) if moving else 0.0
            extra = step.travel_extra_min if moving else 0.0
            # Only the way is travel: extra minutes do not scale with sampled travel.
            yield Release(order[0], float(on_grid(way + extra)), way, crew=who)


def is_outside(step: Step, airlock: str) -> bool:
    """Whether a step, the wait for it or the way to it is anywhere but at the airlock, or not known."""
    return {*stops_into(step)} != {airlock}


def hatch_releases(settings: Settings, steps: Sequence[Step], orders: Mapping[str, Sequence[int]],
                   travels: Mapping[str, Travel]) -> Iterator[Release]:
    """x >= hatch_open_min + travel from the airlock, for every step outside: nobody is out sooner.

    For all of them, so that it holds in any order of work: behind another step outside it asks for nothing
    more, since no way is longer than one with a stop on it.
    """
    opens, airlock = settings.airlock.hatch_open_min, settings.airlock_place
    for who, position in ((crew, each) for crew in travels for each in orders[crew] if opens is not None):
        step = steps[position]
        if is_outside(step, airlock):
            way = travel_into(step, travels[who], airlock)
            at_min = float(on_grid(opens or 0.0) + on_grid(way + step.travel_extra_min))
            yield Release(position, at_min, way, kinds.HATCH, "hatch", who)


def order_bounds(steps: Sequence[Step], orders: Mapping[str, Sequence[int]],
                 travels: Mapping[str, Travel], airlock: str) -> Iterator[Bound]:
    """x_next >= x_before + d_before + travel, along each one's order of work.

    Travel counts from the last place known; into a step whose place is not known there is none.
    """
    for who, order in orders.items():
        known = last_places(steps, order, airlock)[1:]
        for (before, after), here in zip(itertools.pairwise(order), known, strict=False):
            step, moving = steps[after], who in travels
            yield Bound(
                before, after, kinds.ORDER, steps[before].step, crew=who,
                fixed_min=step.travel_extra_min if moving else 0.0,
                travel_min=travel_into(step, travels[who], here) if moving else 0.0)


def after_bounds(steps: Sequence[Step], index: Mapping[str, int]) -> Iterator[Bound]:
    """x_step >= x_named + d_named for every step named in ``after``."""
    for position, step in enumerate(steps):
        for name in step.after:
            yield Bound(index[name], position, kinds.AFTER, name)


def gap_bounds(gaps: Sequence[Gap], index: Mapping[str, int]) -> Iterator[Bound]:
    """then - first >= least gap, and as a bound on the first step: first >= then - greatest gap."""
    for gap in gaps:
        first, then = index[gap.first_step], index[gap.then_step]
        first_finish, then_finish = gap.first_at == "finish", gap.then_at == "finish"
        yield Bound(first, then, kinds.MIN_GAP, gap.first_step, gap.min_gap,
                    from_finish=first_finish, to_finish=then_finish, row=gap.row)
        if gap.max_gap is not None:
            yield Bound(then, first, kinds.MAX_GAP, gap.then_step, -gap.max_gap,
                        from_finish=then_finish, to_finish=first_finish, row=gap.row)


def step_demands(step: Step, almanac: Almanac, guard_min: float) -> tuple[Demand, ...]:
    """The sets of windows that a step must fit in: light (inside its guard), link to wait for, named."""
    demands = []
    if step.light in ("night", "day"):
        demands.append(light_demand(step.light, almanac, guard_min))
    if step.link == "wait":
        demands.append(Demand.of(kinds.LINK, "link", almanac.any_link))
    demands += [Demand.of(kinds.WINDOW, name, almanac.named[name]) for name in step.windows]
    return tuple(demands)


def light_demand(light: str, almanac: Almanac, guard_min: float) -> Demand:
    """Nights or days of the almanac, with the guard kept free at each end."""
    whole = almanac.light.night if light == "night" else almanac.light.day
    return Demand.of(kinds.LIGHT, light, whole, shrink(whole, guard_min, (0.0, almanac.horizon_min)),
                     guard_min, almanac.horizon_min)


def allowed_windows(demands: Sequence[Demand]) -> np.ndarray | None:
    """Windows that meet all demands at once; None where there is no demand."""
    return reduce(intersect, (demand.windows for demand in demands)) if demands else None


def same_window_groups(steps: Sequence[Step], demands: Sequence[tuple[Demand, ...]]) -> Iterator[Group]:
    """The groups named in ``same_window``; members share one light, which the loader has checked."""
    members = grouped((step.same_window, position) for position, step in enumerate(steps) if step.same_window)
    for name, positions in members.items():
        # The first demand of a lit step is its light (`step_demands`).
        yield Group(name, tuple(positions), demands[positions[0]][0])


def ways_home(steps: Sequence[Step], orders: Mapping[str, Sequence[int]],
              travels: Mapping[str, Travel], airlock: str) -> Iterator[Home]:
    """For each crew member the travel to the airlock from the last step, or the last place known."""
    for who, travel in travels.items():
        last = orders[who][-1] if orders[who] else -1
        here = last_places(steps, orders[who], airlock)[-1]
        yield Home(who, last, float(on_grid(travel.time_min(here, airlock))))
