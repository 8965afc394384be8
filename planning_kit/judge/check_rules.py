"""Rules that the times themselves break, and what the log of an outing gives a reviewer to know.

``rules``, where no plan keeps all of them: ``min-gap``, ``max-gap`` and ``after`` (about the step before),
``outside-window`` (about the window), ``window-left`` (about the group).

``log``: ``min-gap``, ``max-gap``, ``after``, ``quick-way`` and ``hatch`` (about the step before),
``outside-window`` and ``window-left`` (about the window, the group): rules that the log breaks. ``used-up``,
``left``, ``apart``, ``skipped``, ``not-done`` and ``put-back`` (about the task), ``went-with-it`` (about the
gap, inhibit or item), ``passed-over`` (about the step logged after it), ``written-early`` (about the event),
``effort``, ``assumed`` (about the step that waits for it).
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import isnan, nan

import numpy as np

from planning_kit.changes.dropping import touched_by
from planning_kit.inputs.log_format import Event
from planning_kit.inputs.log_state import IN_PROGRESS, LEFT, TO_DO, State, States
from planning_kit.inputs.records import Step
from planning_kit.inputs.times import measure, number_label, pet_label, pet_min
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan import network as kinds
from planning_kit.plan.build import work_order
from planning_kit.plan.network import ROUNDING_MIN, Bound, Broken, Demand, Group, Network
from planning_kit.plan.past import NOT_DONE, SKIPPED, LeftOut
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import earliest_starts

RULES = "rules"


def check_rules(plan: TimedPlan) -> Iterator[Finding]:
    """Every rule that gives way, as no plan within the horizon keeps them all (stop)."""
    longer = plan.network.longer_end_min
    least = "breaks least" if isnan(longer) else (
        f"breaks least by the hard limit (past it, until {pet_label(longer, 'up')}, less would break)")
    for each in given_way(plan):
        yield broken_finding(plan, each, RULES, "as timed", f"No plan keeps all rules, and this one {least}: "
                             "shorten or drop work, take another PET 0, or let the rule be changed by "
                             "whoever set it")


def given_way(plan: TimedPlan) -> list[Broken]:
    """What gives way; what a group as a whole lacks is not told of each of its steps again."""
    given = plan.network.given_way
    groups = [each.rule for each in given if isinstance(each.rule, Group)]
    of_groups = {(member, group.demand.label) for group in groups for member in group.members}
    return [each for each in given
            if not (isinstance(each.rule, Demand) and (each.step, each.rule.label) in of_groups)]


def broken_finding(plan: TimedPlan, broken: Broken, check: str, how: str, remedy: str) -> Finding:
    """A rule that the plan's times break, as a finding of this ``check``."""
    told, finish = broken_numbers(plan, broken), plan.finishes[broken.step]
    return replace(told, check=check, message=f"{told.step} ({pet_label(told.start_min)} to "
                                              f"{pet_label(finish)}) {how}: {told.message}. {remedy}")


def broken_numbers(plan: TimedPlan, broken: Broken) -> Finding:
    """The same for everybody whom the rule binds; its message says by how much and no more."""
    rule, by_min, source = broken.rule, broken.by_min, "steps.same_window"
    if isinstance(rule, Bound):
        severity, name, words, source = _bound(plan, rule, by_min)
        about = plan.steps[rule.before].step
    elif isinstance(rule, Demand):
        severity, name, about, source = STOP, "outside-window", rule.label, "steps.light, windows or link"
        words = _outside_words(plan, rule, broken.steps, by_min)
    else:
        severity, name, about = STOP, "window-left", rule.name
        words = _outside_words(plan, rule.demand, broken.steps, by_min)
    whose = dict.fromkeys(who for each in broken.steps for who in plan.steps[each].people)
    return Finding(severity, RULES, name, about, " ".join(whose), plan.steps[broken.step].step,
                   start_min=float(plan.starts[broken.step]), message=words, source=source, value=by_min,
                   limit=0.0, margin=-by_min)


def _outside_words(plan: TimedPlan, demand: Demand, steps: Sequence[int], by_min: float) -> str:
    """What the steps need of a window, and what the one that holds most of them offers."""
    members = sorted(steps, key=lambda each: plan.starts[each])
    names, need = [plan.steps[each].step for each in members], _least_span_min(plan, members)
    who = f"{names[0]} to {names[-1]} need" if len(names) > 1 else f"{names[0]} needs"
    one = f"the period {demand.label}" if demand.kind == kinds.WINDOW else f"one {demand.label}"
    needed = f"{who} {number_label(need, 'up')} min of {one}"
    window = demand.nearest(float(plan.starts[members].min()), float(plan.finishes[members].max()))
    if window is None:
        return f"{needed}, and none is known before the horizon ({pet_label(plan.horizon_min, 'down')})"
    begin, end = window
    name = f"{demand.title_at(begin)} ({pet_label(begin, 'up')} to {pet_label(end, 'down')})"
    reach = demand.windows[demand.windows[:, 0] < plan.end_min]
    if len(reach) > 1 and end - begin >= np.ptp(reach, axis=1).max() - ROUNDING_MIN:
        name = f"the longest in reach, {name},"
    short, by = need - (end - begin), f"{number_label(by_min, 'up')} min outside it"
    lacks = by if short <= ROUNDING_MIN else f"{number_label(short, 'up')} min short" + (
        f", {by} as timed" if by_min > short + ROUNDING_MIN else "")
    guards = " after guards" if demand.guard_min else ""
    return f"{needed}; {name} offers {number_label(end - begin, 'down')}{guards}: {lacks}"


def _least_span_min(plan: TimedPlan, members: Sequence[int]) -> float:
    """The least minutes from the first start to the last finish of some steps, whatever the light."""
    bounds = tuple(each for each in plan.network.bounds if each.kind != kinds.MAX_GAP)
    # Each of them in turn begins at 0, and nothing else has to begin: how far are the others then?
    since = np.full((len(plan.steps), len(members)), -np.inf)
    since[members, range(len(members))] = 0.0
    starts = earliest_starts(Network(plan.network.steps, bounds=bounds), plan.durations, not_before=since)
    return float((starts + plan.durations[:, None])[members].max())


def _bound(plan: TimedPlan, bound: Bound, by_min: float) -> tuple[str, str, str, str]:
    """Severity, rule, words and source of a bound that is broken by so many minutes."""
    before, after = plan.steps[bound.before].step, plan.steps[bound.after].step
    by, sooner = f"{number_label(by_min, 'up')} min", f"{number_label(by_min, 'up')} min sooner"
    if bound.kind == kinds.ORDER:
        words = f"{bound.crew} was there {sooner} than the way takes in the plan"
        return REMARK, "quick-way", words, "crew.metres_per_min"
    if bound.kind == kinds.HATCH:
        words = f"{bound.crew} was there {sooner} than the planned opening of the hatch allows"
        return CONCERN, "hatch", words, "airlock.hatch_open_min"
    reason = next((f" ({gap.reason})" for gap in plan.scenario.records.gaps
                   if gap.reason and gap.row == bound.row), "")
    if bound.kind == kinds.MAX_GAP:
        allowed = -bound.fixed_min
        words = f"{number_label(allowed + by_min, 'up')} of {allowed:g} min: {by} too long{reason}"
        return STOP, "max-gap", f"the clock to {before} is broken, {words}", "gaps.max_gap"
    if bound.kind == kinds.MIN_GAP:
        words = f"{after} begins {sooner} after {before} than the {bound.fixed_min:g} min asked{reason}"
        return STOP, "min-gap", words, "gaps.min_gap"
    return STOP, "after", f"{after} begins {by} before {before} is finished", "steps.after"


LOG = "log"
SOURCE = "log.csv"
# Less than the first is two clocks that differ; more than the second a rehearsal, on another day.
_CLOCK_MIN, _REHEARSAL_MIN = 1.0, 720.0
_QUICKER_MIN = 1.0  # on a way: less is how exactly people call and log


def check_log(plan: TimedPlan) -> Iterator[Finding]:
    """Everything that the log and the re-timing have to say of a re-timed plan, beside the other checks."""
    if plan.outside is None:
        return
    outside, now_min = plan.outside, plan.outside.now_min
    for each in outside.broken:
        is_quick_way = isinstance(each.rule, Bound) and each.rule.kind in (kinds.ORDER, kinds.HATCH)
        if not is_quick_way or each.by_min >= _QUICKER_MIN:
            yield broken_finding(plan, each, LOG, "as logged", "The re-timing has let this rule go: make "
                                 "sure that it is safe, or correct the log")
    for state in outside.states.by_step.values():
        if state.status == IN_PROGRESS and state.left_to_do_min(now_min) <= 0:
            yield _used_up(state, now_min)
        elif state.status == LEFT:
            yield _left(plan, state)
        if state.assumed_for:
            yield _assumed(plan, state)
        for words in state.apart:
            yield _of(state.step, REMARK, "apart", now_min, words)
    for name, since in outside.states.put_back.items():
        if name in plan.network.steps:  # else it was left out itself, and is told so
            yield _put_back(plan, name, since)
    for left in outside.happened.left_out:
        yield _left_out(outside.base, left, now_min)
    for about, words in outside.happened.went_with_it:
        yield Finding(
            REMARK, LOG, "went-with-it", about=about, start_min=now_min, message=words, source=SOURCE)
    yield from _passed_over(plan, outside.base, outside.states)
    yield from _clocks(plan, outside.actuals.events)
    for crew, ratio in outside.effort.items():
        logged, settings = outside.states.suited[crew], plan.scenario.settings
        rate = measure(logged.metabolic_w, "W", settings, "nearest", f"{logged.metabolic_w:.0f}")
        yield Finding(
            REMARK, LOG, "effort", crew=crew, start_min=logged.at_min,
            message=f"{crew} has worked at {rate} on average until {pet_label(logged.at_min)}, {ratio:.2f} "
                    "times what was assumed: the suit is reckoned so from PET 0 to the end",
            source=SOURCE, value=logged.metabolic_w, limit=logged.metabolic_w / ratio,
            margin=logged.metabolic_w / ratio - logged.metabolic_w)


def _of(step: Step, severity: str, rule: str, at_min: float, message: str, about: str = "",
        value: float = nan, limit: float = nan) -> Finding:
    return Finding(severity, LOG, rule, about=about, crew=step.crew, step=step.step, start_min=at_min,
                   message=message, source=SOURCE, value=value, limit=limit, margin=limit - value)


def _used_up(state: State, now_min: float) -> Finding:
    step, start = state.step, state.pieces[-1][0]
    return _of(step, CONCERN, "used-up", start,
               f"{step.step} has used up its estimate ({now_min - start:.1f} min since {pet_label(start)}) "
               "and is taken to finish now: ask how long it will still take and log it as partly, with "
               "remaining_min", value=now_min - start, limit=step.minutes_likely)


def _assumed(plan: TimedPlan, state: State) -> Finding:
    """An actor's step that nobody called; a stop where it is what confirms an inhibit."""
    step, at = state.step, pet_label(state.pieces[-1][1])
    confirms = any(each.confirmed_by == step.step for each in plan.scenario.records.inhibits)
    return _of(step, STOP if confirms else CONCERN, "assumed", state.pieces[-1][0],
               f"{step.step} of {step.crew} was not called; {state.assumed_for} waits for it, so it is taken "
               f"to be done when that began, at {at}: ask, and log it as it was", about=state.assumed_for)


def _left(plan: TimedPlan, state: State) -> Finding:
    step, to_do = state.step, state.left_to_do_min(0.0)
    again, at_min = f"the plan takes it up again at {pet_label(plan.span(step.step)[0])}", state.pieces[-1][1]
    return _of(step, CONCERN, "left", at_min, f"{step.step} was left at {pet_label(at_min)} with {to_do:.1f} "
               f"min to do; {again}: log it as skipped if it stays so")


def _left_out(base: TimedPlan, left: LeftOut, now_min: float) -> Finding:
    step = base.steps[base.position(left.step)]
    need = _need(base, step.task)
    severity = STOP if left.kind == NOT_DONE and need == "required" else CONCERN
    title = f" ({step.title})" if step.title else ""
    why = left.why if left.kind == SKIPPED else f"is {left.kind}: it {left.why}"
    return _of(step, severity, left.kind.replace(" ", "-"), now_min,
               f"{left.step}{title} of task {step.task} ({need}) {why}", about=step.task)


def _put_back(plan: TimedPlan, name: str, since: float) -> Finding:
    (start, finish), step = plan.span(name), plan.steps[plan.position(name)]
    return _of(step, CONCERN, "put-back", start,
               f"{step.task} ({_need(plan, step.task)}) is given up since {pet_label(since)}: {name}, "
               f"{pet_label(start)} to {pet_label(finish)}, puts it back", about=step.task)


def _need(plan: TimedPlan, name: str) -> str:
    return next(task.need for task in plan.scenario.records.tasks if task.task == name)


def untouched_items(plan: TimedPlan) -> frozenset[str]:
    """Items and states that only skipped steps, and those put back, would have touched: nobody does now.

    None before the outing.
    """
    if plan.outside is None:
        return frozenset()
    base, left = plan.outside.base, plan.outside.happened.left_out
    undone = {each.step for each in left if each.kind == NOT_DONE}
    gone = {each.step for each in left} - undone | plan.outside.states.put_back.keys()
    touched = touched_by(step for step in base.steps if step.step in gone)
    still = touched_by((*plan.steps, *(each for each in base.steps if each.step in undone)))
    return frozenset(touched - still - {""})


def _passed_over(plan: TimedPlan, base: TimedPlan, states: States) -> Iterator[Finding]:
    """Steps not logged that come before logged ones in the order of work."""
    found: set[str] = set()
    for who in base.scenario.records.lane_names:
        # As it was taken outside: in the re-timed plan what has begun stands in front.
        order = [base.steps[position].step for position in work_order(base.steps, who)]
        begun = [number for number, name in enumerate(order) if states.by_step[name].pieces]
        for name in order[:max(begun, default=0)]:
            if states.by_step[name].status == TO_DO and name not in found:
                found.add(name)
                later = next(order[n] for n in begun if n > order.index(name))
                start = plan.span(name)[0]
                yield _of(base.steps[base.position(name)], CONCERN, "passed-over", start,
                          f"{name} comes before {later} in the order of work and is not logged; it follows "
                          f"now at {pet_label(start)}: log it if it was done, or as skipped if it is not to "
                          "be done", about=later)


def _clocks(plan: TimedPlan, events: Sequence[Event]) -> Iterator[Finding]:
    """Events written down before they happened: a clock or a time is wrong. Days are those of a rehearsal."""
    for event in events:
        if event.logged_at is None:
            continue
        early = (event.at - event.logged_at).total_seconds() / 60
        if _CLOCK_MIN < early < _REHEARSAL_MIN:
            yield Finding(
                CONCERN, LOG, "written-early", about=event.event_id, crew=event.crew, step=event.step,
                start_min=pet_min(event.at, plan.pet_zero),
                message=f"{event.event_id}, {event.step or 'no step'} {event.event}, was written down "
                        f"{early:.0f} min before it happened (logged_at, at): correct the time, or set the "
                        "clock of who logs",
                source=SOURCE, value=early, limit=0.0, margin=-early)
