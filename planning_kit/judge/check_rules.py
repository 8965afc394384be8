"""Rules that the times themselves break: those that give way where no plan keeps all, and those of a log.

``rules``: ``min-gap``, ``max-gap`` and ``after`` (about the step before), ``outside-window`` (about the
window), ``window-left`` (about the group).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import isnan

import numpy as np

from planning_kit.inputs.times import number_label, pet_label
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.giving_way import window_of
from planning_kit.plan.network import (
    HATCH,
    MAX_GAP,
    MIN_GAP,
    ORDER,
    ROUNDING_MIN,
    WINDOW,
    Bound,
    Broken,
    Demand,
    Group,
)
from planning_kit.plan.timed import TimedPlan

CHECK = "rules"


def check_rules(plan: TimedPlan) -> Iterator[Finding]:
    """Every rule that gives way, as no plan within the horizon keeps them all (stop)."""
    longer = plan.network.longer_end_min
    least = "breaks least" if isnan(longer) else (
        "breaks least of those that end by the hard limit; one that breaks less ends at "
        f"{pet_label(longer, 'up')}")
    for each in given_way(plan):
        yield broken_finding(plan, each, CHECK, "as timed", f"No plan keeps all rules, and this one {least}: "
                             "shorten or drop work, take another PET 0, or let the rule be changed by whoever "
                             "set it")


def given_way(plan: TimedPlan) -> list[Broken]:
    """What gives way; what a group as a whole lacks is not told of each of its steps again."""
    given = plan.network.given_way
    groups = [each.rule for each in given if isinstance(each.rule, Group)]
    of_groups = {(member, group.demand.label) for group in groups for member in group.members}
    return [each for each in given
            if not (isinstance(each.rule, Demand) and (each.step, each.rule.label) in of_groups)]


@dataclass(frozen=True)
class Told:
    """A broken rule in words, with the steps that it is about besides its own."""

    severity: str
    rule: str
    about: str
    words: str
    source: str
    steps: tuple[int, ...]


def broken_finding(plan: TimedPlan, broken: Broken, check: str, how: str, remedy: str) -> Finding:
    """A rule that the plan's times break, as a finding of this ``check``, with its numbers and all it binds."""
    step, told = plan.steps[broken.step], told_of(plan, broken)
    start, finish = plan.span(step.step)
    whose = dict.fromkeys(who for each in told.steps for who in plan.steps[each].people)
    return Finding(
        told.severity, check, told.rule, about=told.about, crew=" ".join(whose), step=step.step,
        start_min=start, message=(f"{step.step} ({pet_label(start)} to {pet_label(finish)}) {how}: "
                                  f"{told.words}. {remedy}"),
        source=told.source, value=broken.by_min, limit=0.0, margin=-broken.by_min)


def told_of(plan: TimedPlan, broken: Broken) -> Told:
    """A rule that the plan's times break, in words with its numbers."""
    rule, own = broken.rule, (broken.step,)
    if isinstance(rule, Bound):
        return _broken_bound(plan, rule, broken.by_min)
    if isinstance(rule, Demand):
        return Told(STOP, "outside-window", rule.label, _outside_words(plan, rule, own, broken.by_min),
                    "steps.light, windows or link", own)
    return Told(STOP, "window-left", rule.name, _outside_words(plan, rule.demand, rule.members, broken.by_min),
                "steps.same_window", rule.members)


def _outside_words(plan: TimedPlan, demand: Demand, steps: Sequence[int], by_min: float) -> str:
    """What the steps need of a window, and what the one that holds most of them offers."""
    first, last = float(plan.starts[list(steps)].min()), float(plan.finishes[list(steps)].max())
    names = [plan.steps[each].step for each in sorted(steps, key=lambda each: plan.starts[each])]
    who = f"{names[0]} to {names[-1]} need" if len(names) > 1 else f"{names[0]} needs"
    one = f"the period {demand.label}" if demand.kind == WINDOW else f"one {demand.label}"
    needed = f"{who} {number_label(last - first, 'up')} min of {one}"
    window = window_of(demand.windows, first, last)
    if window is None:
        return f"{needed}, and none is known before the horizon ({pet_label(plan.horizon_min, 'down')})"
    begin, end = window
    name = demand.name_at(begin).partition(":")[2]
    name = name if demand.kind == WINDOW else name.replace("-", " ")
    reach = demand.windows[demand.windows[:, 0] < plan.end_min]
    longest = "" if len(reach) < 2 or end - begin < np.ptp(reach, axis=1).max() - ROUNDING_MIN else (
        "the longest in reach, ")
    is_short = by_min <= last - first - (end - begin) + ROUNDING_MIN
    return (f"{needed}; {longest}{name} ({pet_label(begin, 'up')} to {pet_label(end, 'down')}), offers "
            f"{number_label(end - begin, 'down')}{' after guards' if demand.guard_min else ''}: "
            f"{number_label(by_min, 'up')} min {'short' if is_short else 'outside it'}")


def _broken_bound(plan: TimedPlan, bound: Bound, by_min: float) -> Told:
    """A bound that is broken by so many minutes."""
    by, steps = number_label(by_min, "up"), tuple(dict.fromkeys((bound.after, bound.before)))
    before = plan.steps[bound.before].step

    def told(rule: str, words: str, source: str, severity: str = STOP) -> Told:
        return Told(severity, rule, before, words, source, steps)

    if bound.kind == ORDER:
        return told("quick-way", f"{bound.crew} was there {by} min sooner than the way takes in the plan",
                    "crew.metres_per_min", REMARK)
    if bound.kind == HATCH:
        return told("hatch", f"{bound.crew} was there {by} min sooner than the planned opening of the hatch "
                    "allows", "airlock.hatch_open_min", CONCERN)
    reason = next((f" ({gap.reason})" for gap in plan.scenario.records.gaps if gap.reason and
                   {gap.first_step, gap.then_step} == {before, plan.steps[bound.after].step}), "")
    if bound.kind == MAX_GAP:
        allowed = -bound.fixed_min
        return told("max-gap", f"the clock to {before} is broken, {number_label(allowed + by_min, 'up')} of "
                    f"{allowed:g} min: {by} min too long{reason}", "gaps.max_gap")
    if bound.kind == MIN_GAP:
        return told("min-gap", f"{by} min sooner after {before} than the {bound.fixed_min:g} min "
                    f"asked{reason}", "gaps.min_gap")
    return told("after", f"it begins {by} min before {before} is finished", "steps.after")
