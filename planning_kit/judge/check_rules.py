"""Rules that the times themselves break: those that give way where no plan keeps all, and those of a log.

``rules``: ``min-gap``, ``max-gap`` and ``after`` (about the step before), ``outside-window`` (about the
window), ``window-left`` (about the group).
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import isnan

import numpy as np

from planning_kit.inputs.times import number_label, pet_label
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan import network as kinds
from planning_kit.plan.network import ROUNDING_MIN, Bound, Broken, Demand, Group, Network
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import earliest_starts

CHECK = "rules"


def check_rules(plan: TimedPlan) -> Iterator[Finding]:
    """Every rule that gives way, as no plan within the horizon keeps them all (stop)."""
    longer = plan.network.longer_end_min
    least = "breaks least" if isnan(longer) else (
        f"breaks least by the hard limit (past it, until {pet_label(longer, 'up')}, less would break)")
    for each in given_way(plan):
        yield broken_finding(plan, each, CHECK, "as timed", f"No plan keeps all rules, and this one {least}: "
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
    return Finding(severity, CHECK, name, about, " ".join(whose), plan.steps[broken.step].step,
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
