"""The page for the one inside, who reads it up: boxes to tick and to write in, GO calls, decide-by times."""

from collections.abc import Iterator
from math import isfinite

from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import pet_label
from planning_kit.plan.activities import WORK
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_events import BriefingEvent, briefing_events
from planning_kit.show.pack.content import Cell, Column, Rich, Section, Table
from planning_kit.show.pack.pockets import turn_back_lines
from planning_kit.show.pack.procedure_page import Margin, by_action, cell_of_facts, clock
from planning_kit.show.procedure_words import BOXED, ProcedureWords
from planning_kit.show.wording import Fact, Names


def inside_section(plan: TimedPlan) -> Section:
    """Every step and action in the order in which they are read up, with what is to be written down."""
    words, margin = ProcedureWords(Names(plan)), Margin(plan)
    # A way is no line to read up, but what is boxed before it is.
    told = [each for each in briefing_events(plan) if each.kind in (WORK, "inhibit", "lift")
            or any(fact.kind in BOXED for fact in each.facts)]
    rows: list[tuple[Cell, ...]] = []
    told += decide_bys(plan)
    for each in sorted(told, key=lambda each: (each.minute, each.kind != "decide")):
        lines = margin.at(each.minute)
        for number, part in enumerate(by_action(each.facts)):
            last = part[-1]
            who = each.who if number == 0 else words.who(last.crew) if last.crew else ""
            rows.append((clock(plan, [each]) if number == 0 else "", *lines, who,
                         cell_of_facts(each.kind, part, has_ticks=True),
                         Rich((f"{last.record}:", "_" * 18), ("", "")) if last.record else None, None))
    columns = (Column("PET, GMT", share=0.62), *margin.columns, Column("Who", share=0.9),
               Column("Read up", share=5), Column("Write down", share=1.5), Column("Actual", share=0.8))
    return Section("inside", "For the one inside", (
        "Read what is boxed before the line below it; tick what is done. A GO is given, or asked for, before "
        "its line. A step without actions is done by its title.",
        *(f"{crew}: {line}" for crew in plan.travels for line in turn_back_lines(plan, crew)),
    ), (Table("Inside", "Read up, tick, write down", columns, tuple(rows), size=8),))


def decide_bys(plan: TimedPlan) -> Iterator[BriefingEvent]:
    """By when something must be begun or done at the latest: last starts, clocks, limits; rounded down."""
    limits = plan.scenario.settings.limits
    told = [(task.last_start_min, f"{one_line(task.title) or task.task} is not begun after")
            for task in plan.scenario.records.tasks
            if task.last_start_min is not None and any(step.task == task.task for step in plan.steps)]
    told += [(clock.begin_min + clock.max_gap_min,
              f"the {clock.gap.then_at} of {clock.gap.then_step} ({pet_label(clock.end_min)} planned) by")
             for clock in plan.gap_clocks]
    told += [(limits.planned_min, "planned limit, both inside by"),
             (plan.hard_min, "hard limit, both inside by")]
    for at_min, words in told:
        if isfinite(at_min):
            yield BriefingEvent(at_min, "decide", "decide", "",
                                (Fact("title", f"Decide by: {words} {pet_label(at_min, 'down')}."),))
