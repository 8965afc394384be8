"""Rules that the times themselves break: those that give way where no plan keeps all, and those of a log.

``rules``: ``min-gap``, ``max-gap`` and ``after`` (about the step before), ``outside-window`` (about the
window), ``window-left`` (about the group).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from planning_kit.inputs.times import number_label, pet_label
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.network import HATCH, MAX_GAP, MIN_GAP, ORDER, Bound, Broken, Demand, Group
from planning_kit.plan.timed import TimedPlan

CHECK = "rules"


def check_rules(plan: TimedPlan) -> Iterator[Finding]:
    """Every rule that gives way, as no plan within the horizon keeps them all (stop)."""
    given = plan.network.given_way
    groups = [each.rule for each in given if isinstance(each.rule, Group)]
    of_groups = {(member, group.demand.label) for group in groups for member in group.members}
    for each in given:
        # What a group as a whole lacks is not told of each of its steps again.
        if not (isinstance(each.rule, Demand) and (each.step, each.rule.label) in of_groups):
            yield broken_finding(plan, each, CHECK, "as timed", "No plan keeps all rules, and this one "
                                 "breaks least: shorten or drop work, take another PET 0, or let the rule be "
                                 "changed by whoever set it")


def broken_finding(plan: TimedPlan, broken: Broken, check: str, how: str, remedy: str) -> Finding:
    """A rule that the plan's times break, as a finding of this ``check``, with its numbers."""
    step, severity = plan.steps[broken.step], STOP
    if isinstance(broken.rule, Bound):
        about = plan.steps[broken.rule.before].step
        severity, rule, words, source = _broken_bound(plan, broken.rule, broken.by_min)
    elif isinstance(broken.rule, Demand):
        rule, about, source = "outside-window", broken.rule.label, "steps.light, windows or link"
        words = _outside_words(plan, broken.rule, [broken.step], broken.by_min)
    else:
        rule, about, source = "window-left", broken.rule.name, "steps.same_window"
        words = (f"the steps of {about!r} do not lie in one {broken.rule.demand.label}: "
                 + _outside_words(plan, broken.rule.demand, broken.rule.members, broken.by_min))
    start, finish = plan.span(step.step)
    return Finding(
        severity, check, rule, about=about, crew=step.crew, step=step.step, start_min=start,
        message=f"{step.step} ({pet_label(start)} to {pet_label(finish)}) {how}: {words}. {remedy}",
        source=source, value=broken.by_min, limit=0.0, margin=-broken.by_min)


def _outside_words(plan: TimedPlan, demand: Demand, steps: tuple[int, ...] | list[int], by_min: float) -> str:
    """What the steps need of a window, and what the one that holds most of them offers."""
    first, last = float(plan.starts[list(steps)].min()), float(plan.finishes[list(steps)].max())
    names = [plan.steps[each].step for each in steps]
    who = f"{names[0]} to {names[-1]} need" if len(names) > 1 else f"{names[0]} needs"
    needed = f"{who} {number_label(last - first, 'up')} min of one {demand.label}"
    if not len(demand.windows):
        return f"{needed}, and none is known before the horizon ({pet_label(plan.horizon_min, 'down')})"
    shared = np.minimum(demand.windows[:, 1], last) - np.maximum(demand.windows[:, 0], first)
    begin, end = demand.windows[int(shared.argmax())].tolist()
    name = demand.name_at(begin).partition(":")[2].replace("-", " ")
    guards = " after guards" if demand.guard_min else ""
    return (f"{needed}; {name} ({pet_label(begin, 'up')} to {pet_label(end, 'down')}) offers "
            f"{number_label(end - begin, 'down')}{guards}: {number_label(by_min, 'up')} min outside it")


def _broken_bound(plan: TimedPlan, bound: Bound, by_min: float) -> tuple[str, str, str, str]:
    """Severity, rule, words and source of a bound that is broken by so many minutes."""
    before = plan.steps[bound.before].step
    if bound.kind == ORDER:
        return REMARK, "quick-way", (f"{bound.crew} was there {number_label(by_min, 'up')} min sooner than "
                                     "the way takes in the plan"), "crew.metres_per_min"
    if bound.kind == HATCH:
        return CONCERN, "hatch", (f"{bound.crew} was there {number_label(by_min, 'up')} min sooner than the "
                                  "planned opening of the hatch allows"), "airlock.hatch_open_min"
    reason = next((f" ({gap.reason})" for gap in plan.scenario.records.gaps if gap.reason and
                   {gap.first_step, gap.then_step} == {before, plan.steps[bound.after].step}), "")
    if bound.kind == MAX_GAP:
        allowed = -bound.fixed_min
        return STOP, "max-gap", (f"the clock to {before} is broken, "
                                 f"{number_label(allowed + by_min, 'up')} of {allowed:g} "
                                 f"min{reason}"), "gaps.max_gap"
    if bound.kind == MIN_GAP:
        return STOP, "min-gap", (f"{number_label(by_min, 'up')} min sooner after {before} than the "
                                 f"{bound.fixed_min:g} min asked{reason}"), "gaps.min_gap"
    return STOP, "after", (f"it begins {number_label(by_min, 'up')} min before {before} is "
                           "finished"), "steps.after"
