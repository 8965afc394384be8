"""The plan in one minute: what, when, which windows, which inhibits, how tight, what is open."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from planning_kit.inputs.records import Task
from planning_kit.inputs.times import gmt_label, pet_label
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_ends import NEEDS, against, planned_tasks, retimed_lines, tasks_left_out
from planning_kit.show.escape import shortened
from planning_kit.show.names import Names, minutes, signed
from planning_kit.show.open_findings import OpenFindings

_MOST_NAMED = 8
_LONGEST = 60


def minute_lines(plan: TimedPlan) -> Iterator[str]:
    """Sentences to read aloud; about a hundred and fifty words for an outing of fifteen tasks."""
    settings, limits = plan.scenario.settings, plan.scenario.settings.limits
    head = shortened(settings.title, 2 * _LONGEST) or "The outing"
    yield (f"{head}: egress at GMT {gmt_label(plan.egress)}, both inside at PET {pet_label(plan.end_min)}, "
           f"{against(limits.planned_min, plan.end_min)} the planned limit.")
    yield from retimed_lines(plan)
    yield from _tasks(plan)
    yield from _windows(plan)
    yield from _inhibits(plan)
    yield from _tightest(plan)
    yield _open(plan)


def _tasks(plan: TimedPlan) -> Iterator[str]:
    for need, word in NEEDS.items():
        yield from _named(word, planned_tasks(plan, need))
    yield from _named("No longer in it", tasks_left_out(plan))


def _named(word: str, tasks: Sequence[Task]) -> Iterator[str]:
    named = [shortened(task.title, _LONGEST) or task.task for task in tasks]
    more = f" and {len(named) - _MOST_NAMED} more" if len(named) > _MOST_NAMED else ""
    if named:
        yield f"{word}: {', '.join(named[:_MOST_NAMED])}{more}."


def _windows(plan: TimedPlan) -> Iterator[str]:
    """What must be done in which light, by task, with its times."""
    titles = {task.task: shortened(task.title, _LONGEST) or task.task for task in plan.scenario.records.tasks}
    for light, word in (("night", "In night"), ("day", "In daylight")):
        spans: dict[str, tuple[float, float]] = {}
        for position, step in enumerate(plan.steps):
            if step.light == light:
                begin, end = spans.get(step.task, (math.inf, -math.inf))
                spans[step.task] = (min(begin, float(plan.starts[position])),
                                    max(end, float(plan.finishes[position])))
        told = [f"{titles.get(task, task)} {pet_label(begin)} to {pet_label(end)}"
                for task, (begin, end) in spans.items()]
        if told:
            yield f"{word}: {'; '.join(told[:_MOST_NAMED])}."


def _inhibits(plan: TimedPlan) -> Iterator[str]:
    holds = sorted(plan.inhibit_holds, key=lambda hold: -hold.hold_min)
    if holds:
        longest = holds[0]
        count = f"{len(holds)} inhibits; longest" if len(holds) > 1 else "One inhibit:"
        yield (f"{count} {longest.inhibit.inhibit}, {pet_label(longest.set_by_min)} to "
               f"{pet_label(longest.lift_after_min)}.")


def _tightest(plan: TimedPlan) -> Iterator[str]:
    names = Names(plan)
    rows = [row for row in plan.return_summary.to_dict("records") if math.isfinite(row["margin_min"])]
    if rows:
        worst = min(rows, key=lambda row: row["margin_min"])
        yield (f"Least way-back margin {signed(worst['margin_min'])}: {worst['crew']}, {worst['case']}, at "
               f"{names.title(worst['place'])}, {pet_label(worst['at_min'])}.")
    clocks = sorted(plan.gap_clocks, key=lambda clock: clock.left_min)
    if clocks:
        gap = clocks[0].gap
        yield f"Tightest clock: {gap.first_step} to {gap.then_step}, {minutes(clocks[0].left_min)} left."


def _open(plan: TimedPlan) -> str:
    return f"Findings: {OpenFindings(plan).counted}."


