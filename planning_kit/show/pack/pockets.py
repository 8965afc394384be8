"""Pocket cards: what each crew member does, by PET, in letters that gloves and dim light can read."""

from collections.abc import Iterator
from math import isfinite, isnan

from planning_kit.inputs.records import BOTH
from planning_kit.inputs.times import gmt_label, pet_label
from planning_kit.judge.every_margin import nearest_edges
from planning_kit.plan.activities import WORK
from planning_kit.plan.needs import Hold
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing import retimed_lines
from planning_kit.show.briefing_events import briefing_events
from planning_kit.show.pack.content import Cell, Column, Rich, Section, Table, shown, slack_cell
from planning_kit.show.pack.procedure_page import Margin, by_action, cell_of_facts
from planning_kit.show.procedure_words import BOXED
from planning_kit.show.wording import Fact, OpenFindings, exceptions, nights_words


def pocket_section(plan: TimedPlan, crew: str) -> Section:
    """What ``crew`` does, by PET, with room for the actual times; limits, nights and inhibits above it."""
    person = next(each for each in plan.scenario.records.crew if each.crew == crew)
    found, margin, edges = OpenFindings(plan), Margin(plan, "", 0.3), nearest_edges(plan)
    from_min = -1.0 if plan.now_min is None else plan.now_min
    ends = {(each.step, each.start_min): each.finish_min for each in plan.lanes[crew]}
    rows: list[tuple[Cell, ...]] = []
    for told in briefing_events(plan):
        if crew not in told.who.split(" and ") or ends.get((told.step, told.at_min), 0.0) <= from_min:
            continue
        clock = [told.pet]
        facts = list(told.facts)
        if told.kind == WORK and told.step:
            if slack := shown(slack_cell(float(edges[plan.position(told.step)])), Column("", side="down")):
                clock.append(f"slack {slack}")
            if still_open := found.of_step(told.step, crew):
                facts.insert(0, Fact("caution", f"OPEN: {still_open}"))
        own = [fact for fact in facts if fact.kind in BOXED or fact.crew in ("", BOTH, crew)]
        rows += [(Rich(tuple(clock)) if number == 0 else "", *margin.at(told.minute),
                  cell_of_facts(told.kind, part, is_short=True), None)
                 for number, part in enumerate(by_action(own))]
    columns = (Column("PET", share=1.05), *margin.columns, Column("What", share=5),
               Column("Actual", share=0.95))
    table = Table(crew, f"{person.label} by PET; slack in minutes to the nearest edge (window, clock, "
                  "inhibit, stay, last start, hard limit)", columns, tuple(rows), size=9)
    return Section(crew, f"{person.label} pocket cards", tuple(_head(plan, crew, found)), (table,))


def _head(plan: TimedPlan, crew: str, found: OpenFindings) -> Iterator[str]:
    limits = plan.scenario.settings.limits
    inhibits = "; ".join(
        _hold_words(hold) for hold in sorted(plan.inhibit_holds, key=lambda each: each.set_by_min))
    yield from retimed_lines(plan)
    if plan.now_min is not None:
        yield f"What was finished by PET {pet_label(plan.now_min)} is left out here."
    yield (f"PET 0:00 = GMT {gmt_label(plan.pet_zero)}. Inside {pet_label(plan.end_min)}; planned limit "
           f"{pet_label(limits.planned_min, 'down')}, hard limit {plan.hard_limit.label}.")
    yield from turn_back_lines(plan, crew)
    yield (f"Night: {nights_words(plan)}. Findings of the plan: {found.counted} (numbers as in the "
           "review pack).")
    yield f"Inhibits: {inhibits or 'none'}."


def turn_back_lines(plan: TimedPlan, crew: str) -> Iterator[str]:
    """Turn back by when, alone and with the partner: of the cases of each, the earliest.

    A time that the plan itself breaks would be read as one that it keeps: it is told what it breaks.
    """
    ways, from_min = plan.return_summary, -1.0 if plan.now_min is None else plan.now_min
    told, broken = [], []
    for how in ("alone", "with the partner"):
        found = list(exceptions(plan, crew, how))
        broken += found
        if found:
            continue
        rows = ways[(ways["crew"] == crew) & ways["case"].str.endswith(how)].to_dict("records")
        first = min(((row["turn_back_by_min"], row["case"]) for row in rows), default=None)
        if any(isnan(row["turn_back_by_min"]) for row in rows):
            told.append(f"{how} not known (a step has no place)")
        elif first is not None:
            by_min, case = first
            when = pet_label(by_min, "down") + (", past" if by_min < from_min else "")
            told.append(f"{how} {when} ({case.partition(',')[0]})")
    lines = [f"Turn back by, to keep reserve and hard limit: {'; '.join(told)}."] if told else []
    lines += [f"EXCEPTION, no time to turn back by: {words}." for words in broken]
    if lines:
        yield " ".join(lines)


def _hold_words(hold: Hold) -> str:
    inhibit = hold.inhibit
    safe = f", safe from {pet_label(hold.safe_from_min, 'up')}" if isfinite(hold.safe_from_min) else ""
    confirmed = (f", confirmed by {inhibit.confirmed_by} at {pet_label(hold.confirmed_min, 'up')}"
                 if inhibit.confirmed_by else "")
    return (f"{inhibit.inhibit} {pet_label(hold.set_by_min, 'down')} to "
            f"{pet_label(hold.lift_after_min, 'up')}{safe}{confirmed}")
