"""How the outing goes: the summary on one page, and the detailed procedure in columns by person."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from math import isnan, nan

from planning_kit.inputs.procedure_records import INSIDE
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import gmt_label, moment_at, pet_label, rounded
from planning_kit.judge.every_margin import nearest_edges
from planning_kit.plan.activities import WORK
from planning_kit.plan.network import grouped
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_events import BriefingEvent, briefing_events
from planning_kit.show.chart_rows import packed
from planning_kit.show.pack.content import Cell, Column, Rich, Section, Table, pet, slack_cell, table_of
from planning_kit.show.palette import fills_of
from planning_kit.show.procedure_words import BOXED, ProcedureWords
from planning_kit.show.wording import Fact, Names, OpenFindings

_LOOKS = {"warning": "warning", "caution": "caution", "note": "caution", "go": "tick"}
_SHORTEST = {"link": "Link.", "foothold": "In the foothold.", "uses": "", "group": "", "late": ""}
_STRONG = ("work", "inhibit", "lift", "decide")


def told_events(plan: TimedPlan) -> list[BriefingEvent]:
    """What the procedure, the page for the one inside and the cards tell: all but findings, which steps name."""
    return [told for told in briefing_events(plan) if told.kind != "finding"]


def cell_of_facts(kind: str, facts: Iterable[Fact], name: str = "", is_short: bool = False) -> Rich:
    """Facts of an event as lines of a cell, boxes first where they come first; ``name`` before its title.

    What needs an inhibit is told by the line in the margin.
    """
    lines, looks = [], []
    for fact in facts:
        if fact.kind != "inhibit":
            words = fact.short if fact.short and (is_short or fact.kind in BOXED) else fact.words
            words = _SHORTEST.get(fact.kind, words) if is_short else words
            if not words:
                continue
            lines.append(f"{name}: {words}" if name and fact.kind == "title" else words)
            looks.append(_LOOKS.get(fact.kind, "strong" if fact.kind == "title" and kind in _STRONG else ""))
    return Rich(tuple(lines), tuple(looks) or ("",))


class Margin:
    """The inhibits as lines in the margin: columns, and what stands in them at a told minute."""

    def __init__(self, plan: TimedPlan, label: str = "Inh.", share: float = 0.15) -> None:
        """Those of ``plan``; ones that do not overlap share a line. ``label`` and ``share`` are its columns'."""
        self.rows = packed(plan.inhibit_holds)
        self.columns = tuple(Column(label if number == 0 else "", share=share, is_line=True)
                             for number in range(len(self.rows)))

    def at(self, minute: float) -> list[Cell]:
        """The inhibits in force at a minute as it is told, none shorter than it is."""
        return [next((hold.inhibit.inhibit for hold in row if rounded(hold.set_by_min, "down") <= minute
                      < rounded(hold.lift_after_min, "up")), None) for row in self.rows]


def told_minute(told: BriefingEvent) -> float:
    """The minute under which an event stands."""
    return rounded(told.at_min, told.side)


def procedure_section(plan: TimedPlan) -> Section:
    """Every activity by PET: EV1 and EV2 beside each other, those inside and others in a column of their own."""
    rows: list[tuple[Cell, ...]] = []
    joined: set[int] = set()
    found, margin, crew = OpenFindings(plan), Margin(plan), tuple(plan.travels)

    def of_step(told: BriefingEvent) -> tuple[Fact, ...]:
        opened = found.of_step(told.step) if told.kind == WORK else ""
        return (*told.facts, *([Fact("open", f"Open: {opened}.")] if opened else []))

    def cell(events: Iterable[BriefingEvent], is_others: bool = False) -> Cell:
        told = [cell_of_facts(each.kind, of_step(each), each.who if is_others else "") for each in events]
        return Rich(tuple(line for each in told for line in each.lines),
                    tuple(look for each in told for look in each.looks)) if told else None

    for minute, now in grouped((told_minute(told), told) for told in told_events(plan)).items():
        others = [told for told in now if not _is_of_crew(plan, told)]
        theirs = [told for told in now if _is_of_crew(plan, told)]
        for is_shared, group in groupby(theirs, lambda told: told.who not in plan.travels):
            together = list(group)
            joined |= {len(rows)} if is_shared else set()
            cells = [cell(together)] * 2 if is_shared else [
                cell(told for told in together if told.who == who) for who in crew]
            rows.append((_clock(plan, now), *margin.at(minute), *cells, cell(others, is_others=True)))
            others = []
        if others:
            rows.append((_clock(plan, now), *margin.at(minute), None, None, cell(others, is_others=True)))
    columns = (Column("PET, GMT", share=0.72), *margin.columns, *(Column(who, share=3) for who in crew),
               Column("Inside, others", share=1.9))
    return Section("procedure", "Detailed procedure", (
        "A row a moment, by phase elapsed time. A step of both crew members stands across both columns; boxes "
        "stand before the line that they belong to; a line in the margin is an inhibit in force. \"Open\" points "
        "to stops and concerns by their number in the list of findings.",
    ), (Table("Procedure", "Procedure by PET", columns, tuple(rows), joined=frozenset(joined), size=7.6),))


def _clock(plan: TimedPlan, events: list[BriefingEvent]) -> Rich:
    first = min(events, key=lambda told: told.at_min)
    return Rich((first.pet, gmt_label(moment_at(first.at_min, plan.pet_zero), first.side)))


def _is_of_crew(plan: TimedPlan, told: BriefingEvent) -> bool:
    return told.who in plan.travels or told.who == " and ".join(plan.travels)


@dataclass(frozen=True)
class _Block:
    """A stretch of one lane on one task; a column of the summary, its minutes, its words."""

    column: str
    start_min: float
    words: str
    is_strong: bool = True


_SLOTS_MIN = (1.0, 5.0, 10.0, 15.0, 30.0)
_MOST_LINES = 46  # of a page


def summary_section(plan: TimedPlan) -> Section:
    """The outing on one page by PET: tasks, GO calls and inhibits, a column for each; get-aheads in their order."""
    blocks = sorted([*_blocks(plan), *_calls(plan)], key=lambda each: each.start_min)
    for slot_min in _SLOTS_MIN:
        rows = grouped((each.start_min // slot_min, each) for each in blocks)
        if sum(max(len(told) for told in grouped((each.column, each) for each in row).values())
               for row in rows.values()) <= _MOST_LINES:
            break
    columns = [INSIDE, *plan.travels, "others"]
    ahead = [task for task in plan.scenario.records.tasks if task.need == "get-ahead"]
    order = sorted(ahead, key=lambda task: (_first_start(plan, task.task), task.priority or 10_000))
    words = [f"Get-aheads, in their order: {'; '.join(one_line(task.title) or task.task for task in order)}."
             ] if order else []
    return Section("summary", "Summary by PET", tuple(words), (Table(
        "Summary", "Tasks, GO calls and inhibits by PET; letters as in the timeline",
        (Column("PET", share=0.4), Column("Inside", share=2.1), *(Column(who, share=3) for who in plan.travels),
         Column("Others", share=2.1)),
        tuple((pet_label(row[0].start_min), *(_summed(row, column) for column in columns))
              for row in rows.values()), is_page=True, size=7.4),))


def _first_start(plan: TimedPlan, task: str) -> float:
    return min((float(plan.starts[i]) for i, step in enumerate(plan.steps) if step.task == task),
               default=float("inf"))


def _summed(row: list[_Block], column: str) -> Cell:
    own = [each for each in row if each.column == column]
    first = pet_label(row[0].start_min)
    lines = [("" if pet_label(each.start_min) == first else f"{pet_label(each.start_min)} ") + each.words
             for each in own]
    return Rich(tuple(lines), tuple("strong" if each.is_strong else "" for each in own)) if own else None


def _blocks(plan: TimedPlan) -> Iterator[_Block]:
    """Steps of one task that follow each other in a lane, as one."""
    records = plan.scenario.records
    tasks, fills = {task.task: task for task in records.tasks}, fills_of(records.tasks, plan.bare_lanes)
    inside = {actor.actor for actor in records.actors if actor.role == INSIDE}
    for who, lane in plan.lanes.items():
        column = who if who in plan.travels else INSIDE if who in inside else "others"
        work = (each for each in lane if each.kind == WORK)
        for (task, title), group in groupby(work, lambda each: (each.task, "" if each.task else each.title)):
            steps = list(group)
            told = title or f"{fills[task][1]} {one_line(tasks[task].title) or task}"
            mark = "GET-AHEAD " if task and tasks[task].need == "get-ahead" else ""
            name = "" if who in (*plan.travels, *inside) else f"{Names(plan).who(who)}: "
            yield _Block(column, steps[0].start_min,
                         f"{mark}{name}{told}, until {pet_label(steps[-1].finish_min)}")


def _calls(plan: TimedPlan) -> Iterator[_Block]:
    """GO calls at their step's start, and inhibits: what somebody inside calls or waits for."""
    words = ProcedureWords(Names(plan))
    for step, start, _ in plan.each_step():
        for each in words.actions(step):
            if each.go:
                yield _Block(INSIDE, start, f"GO from {each.go} for {each.action.name}")
    for hold in plan.inhibit_holds:
        name = hold.inhibit.inhibit
        yield _Block(INSIDE, rounded(hold.set_by_min, "down"), f"{name} in force", False)
        yield _Block(INSIDE, rounded(hold.lift_after_min, "up"), f"{name} may be lifted", False)


def tasks_table(plan: TimedPlan) -> Table:
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
    return table_of(
        rows, "Tasks", "Tasks, with first start and last finish (PET)", Column("Task", "task", 0.6),
        Column("Title", "title", 2), Column("Need", "need", 0.9), Column("Crew", "who"),
        Column("Steps", "steps", 0.5, 0), Column("First start", pet("start_min"), 0.7),
        Column("Last finish", pet("finish_min"), 0.7),
        Column("Least slack to an edge, min", "slack", 0.9, 1, "down"),
        Column("Objective", "objective", 2.6))
