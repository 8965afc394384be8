"""How the outing goes: the tasks, the timeline as a picture, and the detailed procedure in columns by PET.

The timeline needs no script: strips of at most four hours, light above, lanes below. Bars carry the step's id
where it fits; the procedure has every step. Colours are those of the charts; nothing is told by colour alone:
travel is a line, a wait a low open bar, work a full one.
"""

from dataclasses import replace
from itertools import groupby
from math import isnan, nan

from planning_kit.inputs.times import gmt_label, moment_at
from planning_kit.judge.every_margin import nearest_edges
from planning_kit.plan.network import grouped
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_events import BriefingEvent, briefing_events
from planning_kit.show.pack.content import Cell, Column, Rich, Section, Table, pet, slack_cell, table_of
from planning_kit.show.wording import OpenFindings


def summary_section(plan: TimedPlan) -> Section:
    """The tasks with when they are done."""
    rows, edges = [], nearest_edges(plan)
    for task in plan.scenario.records.tasks:
        own = [i for i, step in enumerate(plan.steps) if step.task == task.task]
        left = [slack for slack in (float(edges[i]) for i in own) if not isnan(slack)]
        rows.append({
            "task": task.task, "title": task.title, "need": task.need, "steps": len(own),
            "who": ", ".join(dict.fromkeys(plan.steps[i].crew for i in own)),
            "start_min": min((float(plan.starts[i]) for i in own), default=nan),
            "finish_min": max((float(plan.finishes[i]) for i in own), default=nan),
            "slack": slack_cell(min(left, default=nan)), "objective": task.objective})
    return Section("summary", "Summary", (), (table_of(
        rows, "Tasks", "Tasks, with first start and last finish (PET)", Column("Task", "task", 0.6),
        Column("Title", "title", 2), Column("Need", "need", 0.9), Column("Crew", "who"),
        Column("Steps", "steps", 0.5, 0), Column("First start", pet("start_min"), 0.7),
        Column("Last finish", pet("finish_min"), 0.7),
        Column("Least slack to an edge, min", "slack", 0.9, 1, "down"),
        Column("Objective", "objective", 2.6)),))


def procedure_section(plan: TimedPlan) -> Section:
    """Every activity by PET: EV1 and EV2 beside each other, others and inhibits in a column of their own."""
    rows: list[tuple[Cell, ...]] = []
    joined: set[int] = set()
    found = OpenFindings(plan)
    events = [replace(told, lines=(*told.lines, f"Open: {still_open}."))
              if told.kind == "work" and (still_open := found.of_step(told.step)) else told
              for told in briefing_events(plan) if told.kind != "finding"]
    for now in grouped((told.pet, told) for told in events).values():
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
    return Section("procedure", "Detailed procedure", (
        "A row a moment, by phase elapsed time. A step of both crew members stands across both columns. "
        "\"Open\" points to stops and concerns by their number in the list of findings.",
    ), (Table("Procedure", "Procedure by PET", columns, tuple(rows), joined=frozenset(joined)),))


def _is_of_crew(plan: TimedPlan, told: BriefingEvent) -> bool:
    return told.who in plan.travels or told.who == " and ".join(plan.travels)


def _row(plan: TimedPlan, events: list[BriefingEvent], others: list[BriefingEvent],
         is_shared: bool) -> tuple[Cell, ...]:
    """What begins within one minute: of each crew member, or of both together; others at the right."""
    first = min((*events, *others), key=lambda told: told.at_min)
    label = Rich((first.pet, gmt_label(moment_at(first.at_min, plan.pet_zero), first.side)))
    if is_shared:
        both = _cell(events)
        return label, both, both, _cell(others, with_names=True)
    return (label, *(_cell([told for told in events if told.who == crew]) for crew in plan.travels),
            _cell(others, with_names=True))


def _cell(events: list[BriefingEvent], with_names: bool = False) -> Cell:
    lines: list[str] = []
    strong: set[int] = set()
    for told in events:
        strong |= {len(lines)} if told.kind in ("work", "inhibit", "lift") else set()
        lines += [f"{told.who}: {told.lines[0]}" if with_names else told.lines[0], *told.lines[1:]]
    return Rich(tuple(lines), tuple("strong" if n in strong else "" for n in range(len(lines)))) if lines else None
