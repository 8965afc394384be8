"""A plan as plain data for a chart that is drawn anew at every edit and can be dragged.

The swimlane figure costs several times as long to make as the plan does to time; this holds the same facts
without a layout: the drawing side knows how wide it is, what is zoomed and which theme is on. Text is plain
here, and must be shown as text. Of a plan that is under way it has also now, and what is done or in hand.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from planning_kit.inputs.log_state import DONE, IN_PROGRESS
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.table_words import held_words
from planning_kit.inputs.times import pet_label
from planning_kit.judge.acceptances import told_findings
from planning_kit.judge.findings import Finding, findings_in
from planning_kit.plan.activities import WORK, Activity, find_handovers
from planning_kit.plan.moments import LIGHT_KINDS
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import Outside, TimedPlan
from planning_kit.show import chart_rows
from planning_kit.show.chart_rows import Words, rows_of
from planning_kit.show.palette import DARK, INK_ON_FILL, LIGHT, fills_of, patterns_of
from planning_kit.show.wording import counted


def live_chart(plan: TimedPlan, baseline: TimedPlan | None = None) -> dict[str, Any]:
    """What is drawn at once: who does what when, light, links, limits, and where the baseline had it.

    Minutes are PET. ``bars``: [step, crew, kind, start, finish, task, title]; ``ghosts``: [step, crew, start,
    finish]; ``fills``: task to [fill, letter, title, pattern]; ``broken``: as `BrokenRule`. Slack is left to
    `live_notes`: it takes as long as all the rest.
    """
    records = plan.scenario.records
    limits, titles = records.settings.limits, {task.task: task.title for task in records.tasks}
    fills = fills_of(records.tasks, plan.bare_lanes)
    patterns = patterns_of(fills)
    return {
        "title": one_line(records.settings.title), "station": one_line(records.settings.station),
        "pet_zero_ms": round(plan.pet_zero.timestamp() * 1000), "end": _round(plan.end_min),
        "horizon": plan.horizon_min,
        "crew": [member.crew for member in records.crew],
        "actors": [[actor.actor, one_line(actor.title)] for actor in records.actors],
        "bars": [[row.step, row.crew, row.kind, _round(row.start_min), _round(row.finish_min), row.task,
                  one_line(row.title)]
                 for lane in plan.bare_lanes.values() for row in lane],
        "ghosts": [[row.step, row.crew, _round(row.start_min), _round(row.finish_min)]
                   for row in _steps_of(baseline)],
        "light": {kind: _pairs(getattr(plan.light, kind)) for kind in LIGHT_KINDS},
        "links": [[one_line(name), _pairs(windows)]
                  for name, windows in {**plan.relays, **plan.named_windows}.items()],
        "inhibits": [[[hold.inhibit.inhibit, one_line(hold.inhibit.title), hold.set_by_min,
                       hold.lift_after_min] for hold in row]
                     for row in chart_rows.packed(plan.inhibit_holds)],
        "limits": [["planned", limits.planned_min], ["hard", plan.hard_min]],
        "handovers": [[*row[:2], *row[4:6]] for row in find_handovers(plan)],  # who, whom, from, to
        "broken": [asdict(each) | {"words": one_line(each.words)} for each in chart_rows.broken_rules(plan)],
        "fills": {task: [*look, one_line(titles.get(task, "")), patterns[task]]
                  for task, look in fills.items()},
    }


def _steps_of(plan: TimedPlan | None) -> list[Activity]:
    """The work on steps; none of no plan."""
    return [] if plan is None else [row for row in rows_of(plan) if row.is_work_on(row.step)]


def _round(minute: float) -> float:
    return round(minute, 4)


def _pairs(windows: Iterable[Sequence[float]]) -> list[list[float]]:
    return [[_round(float(start)), _round(float(finish))] for start, finish in windows]


def live_notes(plan: TimedPlan, baseline: TimedPlan | None = None) -> dict[str, Any]:
    """What is told beside the chart: findings with the lanes and minute of their marks, and hover lines.

    ``counted``: how many there are, where one is accepted; ``tight`` names the steps without slack to plan.
    ``hovers`` are in the order of ``bars`` of `live_chart`, ``ghost_hovers`` in that of ``ghosts``.
    """
    rows, words, records = rows_of(plan), Words.of(plan), plan.scenario.records
    lanes = [*(member.crew for member in records.crew), *(actor.actor for actor in records.actors)]
    work = chart_rows.work_by_step(rows)
    told = findings_in(told_findings(plan))
    return {
        "findings": [_finding(found, work, lanes) for found in told],
        "counted": counted(told) if any(found.accepted for found in told) else "",
        "tight": [row.step for row in rows if row.step and chart_rows.is_tight(row)],
        "hovers": [list(map(one_line, chart_rows.activity_lines(row, words))) for row in rows],
        "ghost_hovers": [[one_line(chart_rows.ghost_line(old, work.get(old.step, ()), words))]
                         for old in _steps_of(baseline)],
    }


def _finding(found: Finding, work: Mapping[str, Sequence[Activity]], lanes: Sequence[str]) -> dict[str, Any]:
    minute = chart_rows.finding_minute(found, work)
    is_timed = math.isfinite(minute)
    return {name: one_line(value) for name, value in asdict(found).items() if name != "start_min"} | {
        "message": one_line(found.words),
        "minute": _round(minute) if is_timed else None, "when": pet_label(minute, "down") if is_timed else "",
        "lanes": sorted(chart_rows.finding_lanes(found, work, list(lanes))) if is_timed else [],
    }


def step_facts(plan: TimedPlan, step: str) -> list[list[str]]:
    """One step in a few lines of name and value: when, where, what holds it, its slacks."""
    row = next(row for row in rows_of(plan) if row.is_work_on(step))
    words = Words.of(plan)
    return [
        ["Step", one_line(f"{row.step} {row.title}")],
        ["Who, where", f"{row.crew}, {words.place(row.place)}"],
        ["PET", words.span(row.start_min, row.finish_min)],
        ["GMT", words.gmt_span(row.start_min, row.finish_min).removeprefix("GMT ")],
        ["Held by", one_line(held_words(row.held_by))], ["Slack", chart_rows.slack_words(row) or "–"],
    ]


def themes() -> dict[str, Any]:
    """Both palettes of the charts, and the ink on task fills, by name."""
    return {"light": asdict(LIGHT), "dark": asdict(DARK), "ink_on_fill": INK_ON_FILL}


def outside_chart(plan: TimedPlan, ghosts: TimedPlan, ghost_name: str) -> dict[str, Any]:
    """`live_chart` of a re-timed plan with ``now`` (PET min), what the ghosts are, and each bar's phase.

    ``phases`` are in the order of ``bars``: past, running or ahead. A step is past when it was called
    finished, not when its estimate is used up.
    """
    chart, outside = live_chart(plan, ghosts), plan.known_outside("the chart")
    chart["phases"] = [_phase(bar, outside) for bar in chart["bars"]]
    return chart | {"now": round(outside.now_min, 4), "ghost_name": ghost_name}


def _phase(bar: Sequence[Any], outside: Outside) -> str:
    step, _, kind, start, finish = bar[:5]
    if kind == WORK and step:
        if step in outside.happened.parts:
            return "past"
        return {DONE: "past", IN_PROGRESS: "running"}.get(outside.states.by_step[step].status, "ahead")
    if finish <= outside.now_min + ROUNDING_MIN:
        return "past"
    return "running" if start < outside.now_min else "ahead"
