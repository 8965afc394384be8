"""Every margin of a plan: windows, links, clocks, inhibits, people, stores, limits. Exact, no samples."""

from collections.abc import Iterator, Sequence
from math import inf, isfinite, isnan, nan
from weakref import WeakKeyDictionary

import numpy as np

from planning_kit.inputs.records import Step, Task
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import measure, pet_label
from planning_kit.judge import margins
from planning_kit.judge.margins import Edge, Margin, Term, in_minutes, is_past, spread, window_margins
from planning_kit.plan.activities import WORK
from planning_kit.plan.exposures import Exposure, open_parts, spells_of
from planning_kit.plan.hazard_presence import control_windows, controlled
from planning_kit.plan.needs import left_in, needed_edges, window_of_hold
from planning_kit.plan.network import MAX_GAP, grouped
from planning_kit.plan.suits import UNIT_WORDS, WORDS
from planning_kit.plan.timed import TimedPlan

HARD_MIN = "hard_min"
_EXACT: WeakKeyDictionary[TimedPlan, tuple[Margin, ...]] = WeakKeyDictionary()


def exact_margins(plan: TimedPlan) -> tuple[Margin, ...]:
    """Every margin of a plan, the tightest first; of a re-timed one those that are not history."""
    if plan not in _EXACT:
        late = spread(plan)
        at_end = float(max((late[home.last] for home in plan.network.homes if home.last >= 0), default=0.0))
        _EXACT[plan] = tuple(margins.by_tightness((
            *window_margins(plan), *_links(plan, late), *_clocks(plan), *_inhibits(plan, late),
            *_exposures(plan), *_tethers(plan), *_returns(plan, late), *_stores(plan, at_end),
            *_limits(plan, at_end), *_last_starts(plan, late))))
    return _EXACT[plan]


def _links(plan: TimedPlan, late: np.ndarray) -> Iterator[Margin]:
    """Links that are needed and not waited for."""
    for cover in plan.link_covers:
        if cover.step.link == "yes" and not is_past(plan, cover.finish_min):
            left = left_in(plan.almanac.any_link, cover.start_min, cover.finish_min)
            yield in_minutes(plan, margins.LINK, "link", cover.step, cover.start_min, "the link", margin=left,
                             late=late[plan.position(cover.step.step)])


# Clocks and inhibits

def _clocks(plan: TimedPlan) -> Iterator[Margin]:
    for clock in plan.gap_clocks:
        gap = clock.gap
        if not is_past(plan, clock.end_min):
            first, then = (plan.position(step) for step in (gap.first_step, gap.then_step))
            term = Term(Edge(then, gap.then_at == "finish"), clock.max_gap_min,
                        Edge(first, gap.first_at == "finish"))
            why = f" ({reason})" if (reason := one_line(gap.reason)) else ""
            yield in_minutes(plan, margins.CLOCK, f"{gap.first_step} {gap.then_step}", plan.steps[then],
                             clock.end_min, f"the clock {gap.first_step} to {gap.then_step}{why}", [term],
                             late=spread(plan, clock.begin_min)[then])


def _inhibits(plan: TimedPlan, late: np.ndarray) -> Iterator[Margin]:
    """How long each may be held, until its window ends, and to its edges for those who need it."""
    # The steps that are never after each: by order of work, ``after`` or a least gap above 0.
    before: list[set[int]] = [set() for _ in plan.steps]
    for step in plan.network.sweep_order:
        for bound in plan.network.bounds_into[step]:
            if bound.kind != MAX_GAP and bound.fixed_min + bound.travel_min >= 0:
                before[step] |= {bound.before, *before[bound.before]}
    for hold in plan.inhibit_holds:
        inhibit, until = hold.inhibit, plan.position(hold.inhibit.until_step)
        if is_past(plan, hold.lift_after_min):
            continue
        begin, end = Edge(plan.position(inhibit.from_step), False), Edge(until)
        named = inhibit.inhibit, plan.steps[until], hold.lift_after_min
        if inhibit.hold_max_min is not None:
            yield in_minutes(plan, margins.INHIBIT, *named, f"inhibit {inhibit.inhibit}, held at most "
                             f"{inhibit.hold_max_min:g} min",
                             [Term(end, inhibit.hold_max_min - inhibit.lead_min, begin)],
                             late=spread(plan, hold.set_by_min + inhibit.lead_min)[until])
        if inhibit.window:
            left = left_in(window_of_hold(plan, hold), hold.set_by_min, hold.lift_after_min)
            terms = [Term(end, hold.lift_after_min + left)] if isfinite(left) else []
            yield in_minutes(plan, margins.INHIBIT, *named, f"the {inhibit.window} of inhibit "
                             f"{inhibit.inhibit}", terms, margin=left, late=late[until])
        for name, at_begin, at_end in needed_edges(plan, hold):
            step = plan.position(name)
            edges = []  # an edge that the order of work keeps is no margin
            if begin.step not in (step, *before[step]):
                edges.append((at_begin, Term(begin, inhibit.lead_min, Edge(step, False))))
            if step not in (until, *before[until]):
                edges.append((at_end, Term(Edge(step), 0.0, end)))
            if edges:
                yield in_minutes(
                    plan, margins.INHIBIT, inhibit.inhibit, plan.steps[step], float(plan.starts[step]),
                    f"inhibit {inhibit.inhibit} in force for {name}", [term for _, term in edges],
                    margin=min(left for left, _ in edges), late=late[step])


# People

def _exposures(plan: TimedPlan) -> Iterator[Margin]:
    """How much longer each may stay in a hazard, in all, and under its controls."""
    each = plan.tracked_exposures
    spells = [*spells_of(each, "stay"), *spells_of(each, "keep_out", "no_contact")]
    totals = grouped(((one.hazard.hazard, one.crew), one) for one in each if one.hazard.limit == "total")
    by_inhibit = control_windows(plan.inhibit_holds) if spells else {}
    for spell in (*spells, *totals.values()):
        hazard, parts, until = spell[0].hazard, open_parts(spell), max(one.until_min for one in spell)
        if is_past(plan, until):
            continue
        if hazard.limit in ("stay", "total"):
            minutes = [end - begin for begin, end in parts]
            used = max(minutes, default=0.0) if hazard.limit == "stay" else sum(minutes)
            way = "at a time" if hazard.limit == "stay" else "in all"
            if used:
                yield _inside(plan, spell, (hazard.limit_min or 0.0) - used,
                              f"at most {hazard.limit_min or 0.0:g} min {way} in {hazard.hazard}")
        elif hazard.controls is not None or parts:
            held = controlled(hazard.controls, by_inhibit) if hazard.controls else np.empty((0, 2))
            left = (-sum(end - begin for begin, end in parts) if parts else
                    left_in(held, spell[0].from_min, until))
            yield _inside(plan, spell, left, f"the control of {hazard.hazard}" if hazard.controls else
                          f"nobody in {hazard.hazard}")


def _inside(plan: TimedPlan, spell: Sequence[Exposure], margin: float, what: str) -> Margin:
    last = spell[-1]
    steps = [step for step in dict.fromkeys(one.step for one in spell if one.doing == WORK) if step]
    late = max(spread(plan, spell[0].from_min)[[plan.position(step) for step in steps]], default=0.0)
    return Margin(margins.EXPOSURE, last.hazard.hazard, last.crew, last.step, last.until_min, margin, "min",
                  what, margin, late, steps=tuple(steps))


def _tethers(plan: TimedPlan) -> Iterator[Margin]:
    """The greatest reach from each hook."""
    for tether in plan.tracked_tethers.values():
        lies = [lie for lie in tether.lies if not is_past(plan, lie.passage.finish_min)]
        for hook, own in grouped((lie.line[0], lie) for lie in lies).items():
            worst = max(own, key=lambda lie: lie.reach_m)
            if tether.tether_m is not None and not any(isnan(lie.reach_m) for lie in own):
                at_min = max(worst.passage.start_min, plan.now_min or 0.0)
                length = measure(tether.tether_m, "m", plan.scenario.settings, "down")
                yield Margin(margins.TETHER, hook, tether.crew, worst.passage.step, at_min,
                             tether.tether_m - worst.reach_m, "m",
                             f"{tether.crew}'s tether of {length}, hooked at "
                             f"{plan.place_title(hook)}", nan, units=plan.scenario.settings.units)


def _returns(plan: TimedPlan, late: np.ndarray) -> Iterator[Margin]:
    """The least margin over the reserve of each way home, from now on."""
    reserve = plan.scenario.settings.limits.return_reserve_min or 0.0
    for returns, case in ((each, case) for each in plan.return_times for case in each.cases):
        to_come = np.flatnonzero(returns.at_min >= (plan.now_min or 0.0))
        # Of a way that is not known at some minute the least margin is not known.
        is_known = case.way.is_known[to_come].all() and not np.isnan(case.margin_min[to_come]).all()
        if len(to_come) and is_known:
            worst = int(to_come[np.nanargmin(case.margin_min[to_come])])
            at_min, margin = float(returns.at_min[worst]), float(case.margin_min[worst]) - reserve
            begun = [late[plan.position(each.step)] for each in plan.lanes[returns.crew]
                     if each.kind == WORK and each.step and each.start_min <= at_min]
            yield Margin(margins.RETURN, case.name, returns.crew, returns.step[worst], at_min, margin, "min",
                         f"the reserve of {reserve:g} min on {returns.crew}'s way home, {case.name}", margin,
                         begun[-1] if begun else 0.0)


def _stores(plan: TimedPlan, at_end: float) -> Iterator[Margin]:
    for store in (store for suit in plan.suit_histories for store in suit.stores if store.is_known):
        has_reserve = not isnan(store.reserve)
        margin = store.left_at_end - (store.reserve if has_reserve else 0.0)
        rate, unit = store.mean_rate, UNIT_WORDS[store.unit]
        yield Margin(margins.STORE, store.consumable, store.crew, "", plan.safe_min, margin, unit,
                     f"{store.crew}'s {'reserve of ' if has_reserve else ''}{WORDS[store.consumable]}",
                     margin / rate if rate > 0 else inf, at_end, units=plan.scenario.settings.units)


# The outing

def _limits(plan: TimedPlan, at_end: float) -> Iterator[Margin]:
    for key, limit in (("planned_min", plan.scenario.settings.limits.planned_min), (HARD_MIN, plan.hard_min)):
        yield in_minutes(plan, margins.LIMIT, key, None, plan.end_min,
                         f"the {key[:-4]} limit of {pet_label(limit, 'down')}", [Term(Edge(-1), limit)],
                         late=at_end)


def last_starts(plan: TimedPlan) -> Iterator[tuple[Task, Step, float, float]]:
    """Each task with a last start and steps: its first step, when that starts, and the last start (PET)."""
    work = grouped((step.task, (start, step)) for step, start, _ in plan.each_step())
    for task in plan.scenario.records.tasks:
        if task.last_start_min is not None and task.task in work:
            start, step = min(work[task.task], key=lambda each: each[0])
            yield task, step, start, task.last_start_min


def _last_starts(plan: TimedPlan, late: np.ndarray) -> Iterator[Margin]:
    for task, step, start, last in last_starts(plan):
        if not is_past(plan, start):
            position = plan.position(step.step)
            own = max(step.minutes_high - plan.durations[position], 0.0)
            yield in_minutes(
                plan, margins.LAST_START, task.task, step, start,
                f"task {task.task}, not begun after {pet_label(last, 'down')}",
                [Term(Edge(position, False), last)], late=late[position] - own)


def nearest_edges(plan: TimedPlan) -> np.ndarray:
    """By step (steps,) how far its start can slip before the nearest edge.

    An edge is that of a window, a clock, an inhibit, a stay in a hazard, a last start or the hard limit. Of a
    clock or a hold that has begun the step that it began with stays. NaN where a start is history.
    """
    room = np.minimum(plan.slack.to_limit, plan.slack.to_window)
    for each in exact_margins(plan):
        for step in each.steps:
            room[plan.position(step)] = np.minimum(room[plan.position(step)], each.margin)
        for term in each.terms:
            if term.late.step < 0 or each.kind in margins.IN_WINDOWS:  # slack says it
                continue
            left = float(term.left_min(plan.starts, plan.finishes, plan.end_min))
            to_late = _float_to(plan, term.late.step)
            to_since = to_late + inf if term.since is None else _float_to(plan, term.since.step)
            # A delay that moves both edges alike uses nothing up.
            with np.errstate(invalid="ignore"):  # where neither edge moves
                uses_up = np.isfinite(to_late) & (to_since - to_late > max(left, 0.0))
            room = np.where(uses_up, np.minimum(room, to_late + left), room)
    return np.asarray(room)


def _float_to(plan: TimedPlan, last: int) -> np.ndarray:
    """By step (steps,) how far its start can slip before that of ``last`` does; inf where it never does."""
    found = np.full(len(plan.steps), inf)
    found[last] = 0.0
    for step in reversed(plan.network.sweep_order):
        for bound in plan.network.bounds_into[step] if np.isfinite(found[step]) else ():
            if bound.kind != MAX_GAP:
                ready = plan.starts[bound.before] + bound.weight_min(plan.durations)
                found[bound.before] = min(found[bound.before], found[step] + plan.starts[step] - ready)
    return found
