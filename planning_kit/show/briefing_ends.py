"""How a briefing opens (purpose, time, what goes out) and closes (inside, margins, what comes home)."""

from __future__ import annotations

import math
from collections.abc import Iterator

from planning_kit.explore.retime.live_plan import LivePlan
from planning_kit.inputs.records import Task
from planning_kit.inputs.times import pet_label
from planning_kit.judge.findings import REMARK
from planning_kit.judge.new_findings import findings_of
from planning_kit.plan.suit.suits import WORDS
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.escape import one_line
from planning_kit.show.names import Names, minutes, signed

NEEDS = {"required": "Required", "optional": "Optional", "get-ahead": "Get-ahead"}


def opening_lines(plan: TimedPlan) -> Iterator[str]:
    """Purpose in the planner's words, the zero of the clock, the tasks, what goes out with whom."""
    settings, names = plan.scenario.settings, Names(plan)
    if one_line(settings.summary):
        yield f"Purpose: {one_line(settings.summary)}"
    zero = f" PET 0:00 is: {one_line(settings.pet_zero)}." if one_line(settings.pet_zero) else ""
    yield f"Egress, PET {names.times(0.0)}, {plan.egress:%Y-%m-%d}.{zero}"
    yield from retimed_lines(plan)
    yield from _tasks(plan)
    yield from _hands(plan, names, "goes_out_with", "Taken out by", "out")
    for row in findings_of(plan).to_dict("records"):
        if row["severity"] != REMARK and row["start_min"] != row["start_min"]:
            yield f"{row['severity'].capitalize()} ({row['check']}): {one_line(row['message'])}."


def _tasks(plan: TimedPlan) -> Iterator[str]:
    for need, word in NEEDS.items():
        told = []
        for task in planned_tasks(plan, need):
            objective = f" ({one_line(task.objective)})" if one_line(task.objective) else ""
            told.append((one_line(task.title) or task.task) + objective)
        if told:
            yield f"{word}: {'; '.join(told)}."
    left_out = [one_line(task.title) or task.task for task in tasks_left_out(plan)]
    if left_out:
        yield f"Not in this plan, no step of it is left: {'; '.join(left_out)}."


def planned_tasks(plan: TimedPlan, need: str) -> list[Task]:
    """The tasks of one need that have a step in the plan."""
    used = {step.task for step in plan.steps}
    return [task for task in plan.scenario.records.tasks if task.need == need and task.task in used]


def tasks_left_out(plan: TimedPlan) -> list[Task]:
    """The tasks of the scenario of which the plan holds no step."""
    used = {step.task for step in plan.steps}
    return [task for task in plan.scenario.records.tasks if task.task not in used]


def retimed_lines(plan: TimedPlan) -> Iterator[str]:
    """That a plan is re-timed, when and from what; nothing for a plan before the outing."""
    if isinstance(plan, LivePlan) and plan.outside is not None:
        count = len(plan.outside.actuals.events)
        yield (f"Re-timed at PET {pet_label(plan.outside.now_min)} from a log of {count} "
               f"event{'s' if count != 1 else ''}: what had begun by then is told as logged, the rest as "
               "planned from there.")


def _hands(plan: TimedPlan, names: Names, column: str, words: str, way: str) -> Iterator[str]:
    """What each takes out (``way`` out) or brings home, with the moment where it is not the first or last."""
    kit = plan.kit_list
    for crew in plan.travels:
        told = []
        for row in kit[kit[column] == crew].to_dict("records"):
            bag = f" in {names.item(row['in_bag'])}" if way == "out" and row["in_bag"] else ""
            step = row[f"{way}_step"]
            when = f" (from {pet_label(row['out_min'])}, {step})" if way == "out" and step else (
                f" (until {pet_label(row['home_min'])}, {step})" if step else "")
            told.append(f"{names.item(row['item'])}{bag}{when}")
        if told:
            yield f"{words} {crew}: {'; '.join(told)}."


def closing_lines(plan: TimedPlan) -> Iterator[str]:
    """When both are inside, against which limits; what comes home, what stays out; the worst margins."""
    names, limits = Names(plan), plan.scenario.settings.limits
    yield (f"Both inside at PET {names.times(plan.end_min)}: {against(limits.planned_min, plan.end_min)} the "
           f"planned limit of {pet_label(limits.planned_min)}, {against(limits.hard_min, plan.end_min)} the "
           f"hard limit of {pet_label(limits.hard_min)}.")
    yield from _hands(plan, names, "comes_back_with", "Brought home by", "home")
    out = [f"{names.item(row['item'])} {names.where(row['ends'])}" for row in plan.kit_list.to_dict("records")
           if row["ends"] != "inside"]
    if out:
        yield f"Stays outside: {'; '.join(out)}."
    yield from margin_lines(plan, names)


def against(limit: float, end: float) -> str:
    """How far an end is from a limit, in words."""
    margin = limit - end
    return f"{pet_label(abs(margin))} {'before' if margin >= 0 else 'after'}"


def margin_lines(plan: TimedPlan, names: Names) -> Iterator[str]:
    """The worst point of each way back, and what each suit runs out of first."""
    for row in plan.return_summary.to_dict("records"):
        yield (f"{row['crew']}, way back, {row['case']}: least margin {signed(row['margin_min'])} at "
               f"{pet_label(row['at_min'])}, {names.title(row['place'])}, {minutes(row['time_back_min'])} "
               "from being inside.")
    for row in plan.suit_summary.to_dict("records"):
        if row["first"] and math.isfinite(row["runs_out_min"]):
            yield (f"{row['crew']}'s suit would run out of {WORDS[row['consumable']]} first, at "
                   f"{pet_label(row['runs_out_min'])}.")
