"""How the outing goes: the summary on one page, and the detailed procedure in columns by person."""

from collections.abc import Iterable, Iterator
from itertools import groupby
from math import inf
from typing import NamedTuple

from planning_kit.inputs.fields import SUITED
from planning_kit.inputs.procedure_records import BOTH, INSIDE
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import gmt_label, moment_at, pet_label, rounded
from planning_kit.plan.activities import WORK
from planning_kit.plan.network import grouped
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_events import BriefingEvent, briefing_events
from planning_kit.show.chart_rows import packed
from planning_kit.show.pack.content import Cell, Column, Rich, Section, Table
from planning_kit.show.palette import fills_of
from planning_kit.show.procedure_words import BOXED, ProcedureWords
from planning_kit.show.wording import Fact, Names, OpenFindings

_LOOKS = {"warning": "warning", "caution": "caution", "note": "caution", "go": "tick strong"}
_CREW = ("", *SUITED, BOTH)
_SHORTEST = {"link": "Link.", "foothold": "In the foothold.", "uses": "", "group": "", "late": ""}
_STRONG = ("work", "inhibit", "lift", "decide")


def cell_of_facts(kind: str, facts: Iterable[Fact], name: str = "", is_short: bool = False,
                  has_ticks: bool = False) -> Rich:
    """Facts of an event as lines of a cell; ``name`` before its title.

    ``has_ticks``: with boxes to tick its actions. What needs an inhibit is told by the line in the margin.
    """
    lines, looks = [], []
    for fact in facts:
        if fact.kind != "inhibit":
            words = fact.short if fact.short and (is_short or fact.kind in BOXED) else fact.words
            words = _SHORTEST.get(fact.kind, words) if is_short else words
            if not words:
                continue
            words = words[:1].upper() + words[1:]
            lines.append(f"{name}: {words}" if name and fact.kind in ("title", "action") else words)
            looks.append(_LOOKS.get(fact.kind, "strong" if fact.kind == "title" and kind in _STRONG else
                                    "tick" if fact.kind == "action" and has_ticks else ""))
    return Rich(tuple(lines), tuple(looks) or ("",))


def by_action(facts: Iterable[Fact]) -> Iterator[list[Fact]]:
    """The facts of an event in parts: its head, each action with what stands before it, the rest."""
    part: list[Fact] = []
    is_begun = False
    for fact in facts:
        begins = is_begun and (fact.kind in (*BOXED, "go", "action"))
        if part and (part[-1].kind == "action" or (begins and part[-1].kind not in (*BOXED, "go"))):
            yield part
            part = []
        is_begun |= fact.kind == "title"
        part.append(fact)
    yield part


class Margin:
    """The inhibits as lines in the margin: columns, and what stands in them at a told minute."""

    def __init__(self, plan: TimedPlan, label: str = "Inh.", share: float = 0.15) -> None:
        """Those of ``plan``; ones that do not overlap share a line. ``label``, ``share``: its columns'."""
        self.rows = packed(plan.inhibit_holds)
        share = max(share, 0.24 / max(1, len(self.rows)))
        self.columns = tuple(Column(label if number == 0 else "", share=share, is_line=True)
                             for number in range(len(self.rows)))

    def at(self, minute: float) -> list[Cell]:
        """The inhibits in force at a minute as it is told, none shorter than it is."""
        return [next((hold.inhibit.inhibit for hold in row if rounded(hold.set_by_min, "down") <= minute
                      < rounded(hold.lift_after_min, "up")), None) for row in self.rows]


def procedure_section(plan: TimedPlan) -> Section:
    """Every activity by PET: EV1 and EV2 beside each other, those inside and others in their own column."""
    rows: list[tuple[Cell, ...]] = []
    joined: set[int] = set()
    found, margin, crew = OpenFindings(plan), Margin(plan), tuple(plan.travels)

    def cell(events: Iterable[BriefingEvent], of_others: bool = False) -> Cell:
        """Of the crew or of others: what each does in these events, also in a step of the crew."""
        told: list[Rich] = []
        for each in events:
            is_theirs = _is_of_crew(plan, each)
            facts = [fact for fact in each.facts if (is_theirs and fact.crew in _CREW) != of_others
                     or (is_theirs and fact.crew and fact.kind in BOXED)]  # a warning concerns all of a step
            if is_theirs and of_others and all(fact.crew in _CREW for fact in facts):
                continue  # a box without a line below it
            if opened := found.of_step(each.step) if each.kind == WORK and is_theirs != of_others else "":
                facts.append(Fact("open", f"Open: {opened}."))
            name = each.who if not is_theirs else each.step if of_others else ""
            told += [cell_of_facts(each.kind, facts, name)] if facts else []
        return Rich(tuple(line for each in told for line in each.lines),
                    tuple(look for each in told for look in each.looks)) if told else None

    events = (told for told in briefing_events(plan) if told.kind != "finding")  # steps name those
    for minute, now in grouped((told.minute, told) for told in events).items():
        theirs = [told for told in now if _is_of_crew(plan, told)]
        others = [told for told in now if told not in theirs]
        for is_shared, group in groupby(theirs, lambda told: told.who not in plan.travels):
            together = list(group)
            joined |= {len(rows)} if is_shared else set()
            cells = [cell(together)] * 2 if is_shared else [
                cell(told for told in together if told.who == who) for who in crew]
            rows.append((clock(plan, now), *margin.at(minute), *cells, cell([*others, *together], True)))
            others = []
        if others:
            rows.append((clock(plan, now), *margin.at(minute), None, None, cell(others, True)))
    columns = (Column("PET, GMT", share=0.72), *margin.columns, *(Column(who, share=3) for who in crew),
               Column("Inside, others", share=1.9))
    return Section("procedure", "Detailed procedure", (
        "A row a moment. A step of both stands across both columns; boxes stand before the line that they "
        "belong to; a line in the margin is an inhibit in force. \"Open\" points to stops and concerns by "
        "their number in the list of findings.",
    ), (Table("Procedure", "Procedure by PET", columns, tuple(rows), joined=frozenset(joined), size=7.6),))


def clock(plan: TimedPlan, events: Iterable[BriefingEvent]) -> Rich:
    """PET and GMT of the first of some events."""
    first = min(events, key=lambda told: told.at_min)
    return Rich((first.pet, gmt_label(moment_at(first.at_min, plan.pet_zero), first.side)))


def _is_of_crew(plan: TimedPlan, told: BriefingEvent) -> bool:
    return told.who in plan.travels or told.who == " and ".join(plan.travels)


class _Block(NamedTuple):
    """What the summary tells: its column, from when, its words."""

    column: str
    start_min: float
    words: str
    is_strong: bool = True


_SLOTS_MIN = (1.0, 5.0, 10.0, 15.0, 30.0)
_MOST_LINES = 46  # of a page


def summary_section(plan: TimedPlan) -> Section:
    """The outing on one page by PET: tasks, GO calls and inhibits; get-aheads in their order."""
    blocks = sorted([*_blocks(plan), *_calls(plan)], key=lambda each: each.start_min)
    for slot_min in _SLOTS_MIN:
        rows = grouped((rounded(each.start_min, "nearest") // slot_min, each) for each in blocks)
        if sum(max(len(told) for told in grouped((each.column, each) for each in row).values())
               for row in rows.values()) <= _MOST_LINES:
            break
    ahead = [task for task in plan.scenario.records.tasks if task.need == "get-ahead"]
    starts = {step.task: start for step, start, _ in sorted(plan.each_step(), key=lambda each: -each[1])}
    ahead.sort(key=lambda task: (starts.get(task.task, inf), task.priority or 10_000))
    words = f"Get-aheads, in their order: {'; '.join(one_line(task.title) or task.task for task in ahead)}."
    return Section("summary", "Summary by PET", (words,) if ahead else (), (Table(
        "Summary", "Tasks, GO calls and inhibits by PET; letters as in the timeline",
        (Column("PET", share=0.4), Column("Inside", share=2.1),
         *(Column(who, share=3) for who in plan.travels), Column("Others", share=2.1)),
        tuple((pet_label(row[0].start_min), *(_summed(row, column) for column in (
            INSIDE, *plan.travels, "others"))) for row in rows.values()), is_page=True, size=7.4),))


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
    who = ProcedureWords(Names(plan)).who
    yield from (_Block(INSIDE, each.start_min, f"GO from {who(each.action.go)} for {each.action.name}")
                for each in plan.doings if each.action.go)
    for hold in plan.inhibit_holds:
        for minute, words in ((rounded(hold.set_by_min, "down"), "in force"),
                              (rounded(hold.lift_after_min, "up"), "may be lifted")):
            yield _Block(INSIDE, minute, f"{hold.inhibit.inhibit} {words}", False)
