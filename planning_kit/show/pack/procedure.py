"""The summary by task and the detailed procedure: two columns by PET, the partner's work beside one's own."""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby
from math import isnan, nan

from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_events import Told, told_events
from planning_kit.show.open_findings import OpenFindings
from planning_kit.show.pack.content import Cell, Column, Rich, Section, Table, slack_cell
from planning_kit.show.pack.timeline_picture import timeline_picture


def summary_section(plan: TimedPlan) -> Section:
    """The tasks with when they are done."""
    return Section("summary", "Summary", (), (_tasks(plan),))


def timeline_section(plan: TimedPlan) -> Section:
    """The outing as a picture."""
    return Section("timeline", "Timeline", (
        "Full bars are work, low open bars waits, lines travel; shaded: night; broken lines: limits. "
        "Bars carry step ids.",
    ), (timeline_picture(plan),))


def _tasks(plan: TimedPlan) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for task in plan.scenario.records.tasks:
        own = [i for i, step in enumerate(plan.steps) if step.task == task.task]
        who = ", ".join(dict.fromkeys(plan.steps[i].crew for i in own))
        start = min((float(plan.starts[i]) for i in own), default=float("nan"))
        finish = max((float(plan.finishes[i]) for i in own), default=float("nan"))
        left = [slack for slack in (float(plan.slack.to_limit[i]) for i in own) if not isnan(slack)]
        rows.append((task.task, task.title, task.need, who, len(own), pet_label(start), pet_label(finish),
                     slack_cell(min(left, default=nan)), task.objective))
    columns = (Column("Task", share=0.6), Column("Title", share=2), Column("Need", share=0.9),
               Column("Crew", share=1), Column("Steps", 0, 0.5), Column("First start", share=0.7),
               Column("Last finish", share=0.7), Column("Least slack to limit, min", 1, 0.9),
               Column("Objective", share=2.6))
    return Table("Tasks", "Tasks, with first start and last finish (PET)", columns, tuple(rows))


def procedure_section(plan: TimedPlan) -> Section:
    """Every activity by PET: EV1 and EV2 beside each other, others and inhibits in a column of their own."""
    return Section("procedure", "Detailed procedure", (
        "A row a moment, by phase elapsed time. A step of both crew members stands across both columns. "
        "\"Open\" points to stops and concerns by their number in the list of findings.",
    ), (_procedure(plan),))


def _procedure(plan: TimedPlan) -> Table:
    rows: list[tuple[Cell, ...]] = []
    joined: set[int] = set()
    found = OpenFindings(plan)
    events = [_with_open(told, found) for told in told_events(plan) if told.kind != "finding"]
    for label in dict.fromkeys(pet_label(told.at_min) for told in events):
        now = [told for told in events if pet_label(told.at_min) == label]
        others = [told for told in now if not _is_of_crew(plan, told)]
        crew = [told for told in now if _is_of_crew(plan, told)]
        for is_shared, together in groupby(crew, lambda told: told.who not in plan.travels):
            if is_shared:
                joined.add(len(rows))
            rows.append(_row(plan, list(together), others, is_shared))
            others = []
        if others:
            rows.append(_row(plan, [], others, False))
    columns = (Column("PET, GMT", share=0.75), *(Column(crew, share=3) for crew in plan.travels),
               Column("Others, inhibits", share=1.9))
    return Table("Procedure", "Procedure by PET", columns, tuple(rows), joined=frozenset(joined))


def _with_open(told: Told, found: OpenFindings) -> Told:
    """A step with what is open on it."""
    still_open = found.of_step(told.step) if told.kind == "work" else ""
    return replace(told, lines=(*told.lines, f"Open: {still_open}.")) if still_open else told


def _is_of_crew(plan: TimedPlan, told: Told) -> bool:
    return told.who in plan.travels or told.who == " and ".join(plan.travels)


def _row(plan: TimedPlan, events: list[Told], others: list[Told], is_shared: bool) -> tuple[Cell, ...]:
    """What begins within one minute: of each crew member, or of both together; others at the right."""
    at = min(told.at_min for told in (*events, *others))
    label = Rich((pet_label(at), gmt_label(moment_at(at, plan.egress))))
    if is_shared:
        both = _cell(events)
        return label, both, both, _cell(others, with_names=True)
    return (label, *(_cell([told for told in events if told.who == crew]) for crew in plan.travels),
            _cell(others, with_names=True))


def _cell(events: list[Told], with_names: bool = False) -> Cell:
    lines: list[str] = []
    strong: set[int] = set()
    for told in events:
        if told.kind in ("work", "inhibit", "lift"):
            strong.add(len(lines))
        name = f"{told.who}: " if with_names else ""
        lines += [f"{name}{told.lines[0]}", *told.lines[1:]]
    return Rich(tuple(lines), frozenset(strong)) if lines else None
