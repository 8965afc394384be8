"""The page for the one inside, who reads the procedure up: boxes to tick and to write in, GO calls, decide-bys."""

from collections.abc import Iterator
from math import isfinite

from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.plan.activities import WORK
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_events import BriefingEvent
from planning_kit.show.pack.content import Cell, Column, Rich, Section, Table
from planning_kit.show.pack.pockets import turn_back_lines
from planning_kit.show.pack.procedure import Margin, cell_of_facts, told_events, told_minute
from planning_kit.show.procedure_words import ActionWords, ProcedureWords
from planning_kit.show.wording import Fact, Names

_SIZE = 8.0


def inside_section(plan: TimedPlan) -> Section:
    """Every step and action in the order in which they are read up, with what is to be written down."""
    names = Names(plan)
    words, margin = ProcedureWords(names), Margin(plan)
    told = [each for each in told_events(plan) if each.kind in (WORK, "inhibit", "lift")]
    rows: list[tuple[Cell, ...]] = []
    for each in sorted([*told, *decide_bys(plan)], key=lambda each: (told_minute(each), each.kind != "decide")):
        actions = words.actions(names.steps[each.step]) if each.kind == WORK and each.step else []
        head = [fact for fact in each.facts if not any(fact in action.facts for action in actions)]
        lines = margin.at(told_minute(each))
        rows.append((_clock(plan, each), *lines, each.who, cell_of_facts(each.kind, head), None, None))
        rows += [("", *lines, words.who(action.who) if action.who else "", _action_cell(action), _record(action), None)
                 for action in actions]
    columns = (Column("PET, GMT", share=0.62), *margin.columns, Column("Who", share=0.9),
               Column("Read up", share=5), Column("Write down", share=1.5), Column("Actual", share=0.8))
    return Section("inside", "For the one inside", (
        "Steps by PET, each with its actions: read what is boxed before the line below it, tick what is done. A GO is "
        "given, or asked for, before its line. Who has no actions here works by the title of the step.",
        *(f"{crew}: {line}" for crew in plan.travels for line in turn_back_lines(plan, crew)),
    ), (Table("Inside", "Read up, tick, write down", columns, tuple(rows), size=_SIZE),))


def _clock(plan: TimedPlan, told: BriefingEvent) -> Rich:
    return Rich((told.pet, gmt_label(moment_at(told.at_min, plan.pet_zero), told.side)))


def _action_cell(action: ActionWords) -> Rich:
    facts = list(action.facts)
    looked = cell_of_facts("action", facts)
    return Rich(looked.lines, tuple("tick" if fact.kind == "action" else look
                                    for fact, look in zip(facts, looked.looks, strict=True)))


def _record(action: ActionWords) -> Cell:
    """What is written down, over room to do so."""
    return Rich((f"{action.record}:", "\N{NO-BREAK SPACE}"), ("", "blank")) if action.record else None


def decide_bys(plan: TimedPlan) -> Iterator[BriefingEvent]:
    """By when something must be begun or done at the latest: last starts, clocks, limits; rounded down."""
    limits = plan.scenario.settings.limits
    told = [(task.last_start_min, f"{one_line(task.title) or task.task} is not begun after")
            for task in plan.scenario.records.tasks
            if task.last_start_min is not None and any(step.task == task.task for step in plan.steps)]
    told += [(clock.begin_min + clock.max_gap_min,
              f"the {clock.gap.then_at} of {clock.gap.then_step} ({pet_label(clock.end_min)} planned) by")
             for clock in plan.gap_clocks]
    told += [(limits.planned_min, "planned limit, both inside by"), (plan.hard_min, "hard limit, both inside by")]
    for at_min, words in told:
        if isfinite(at_min):
            yield BriefingEvent(at_min, "decide", "decide", "",
                                (Fact("title", f"Decide by: {words} {pet_label(at_min, 'down')}."),))
