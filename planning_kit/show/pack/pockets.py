"""Pocket sheets: one page for each crew member, to be read at arm's length and written on."""

from __future__ import annotations

import math

from planning_kit.inputs.records import Step
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.plan.activities import TRAVEL, WAIT, Activity
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.escape import one_line
from planning_kit.show.names import Names
from planning_kit.show.pack.content import Cell, Column, Section, Table
from planning_kit.show.step_words import StepWords

_ON_SHEET = ("light", "inhibit", "link", "foothold", "takes", "leaves", "tether", "caution", "safe")


def pocket_section(plan: TimedPlan, crew: str) -> Section:
    """What ``crew`` does, by PET, with room for the actual times; limits, nights and inhibits above it."""
    columns = (Column("PET", share=0.55), Column("GMT", share=0.85), Column("Min", 0, 0.42),
               Column("Step", share=0.6), Column("Where", share=1.7), Column("What", share=5.4),
               Column("Slack", 0, 0.5), Column("Actual", share=0.8))
    rows = tuple(_row(plan, activity) for activity in plan.lanes[crew] if activity.kind != TRAVEL)
    return Section(crew, f"{crew} pocket sheet", tuple(_head(plan, crew)),
                   (Table(crew, f"{crew} by PET; slack to the hard limit in minutes", columns, rows),))


def _row(plan: TimedPlan, activity: Activity) -> tuple[Cell, ...]:
    names = Names(plan)
    at = activity.start_min
    where = names.title(activity.place) if activity.place else ""
    step = names.steps.get(activity.step)
    what = one_line(activity.title)
    if activity.kind != WAIT and step is not None:
        what = " · ".join(part for part in (what, *_short(names, step, activity.crew)) if part)
    slack = activity.slack_to_limit_min
    return (pet_label(at), gmt_label(moment_at(at, plan.egress)), activity.minutes,
            "" if activity.kind == WAIT else activity.step or "", where, what,
            slack if math.isfinite(slack) else None, "")


def _short(names: Names, step: Step, crew: str) -> list[str]:
    """The facts that a gloved hand needs: light, inhibit, foothold, hands, hooks, caution."""
    told: list[str] = []
    for fact in StepWords(names).facts(step):
        if fact.kind == "inhibit":
            told.append(fact.words.replace("only with inhibit ", "").split(" (")[0] + " in force")
        elif fact.kind == "tether":
            told += [f"hook {crew} here"] if fact.words.startswith(crew) else []
        elif fact.kind == "link":
            told += ["link"]
        elif fact.kind == "foothold":
            told.append("in foothold")
        elif fact.kind == "light":
            told.append(fact.words.partition(": ")[2] or fact.words.removeprefix("must lie "))
        elif fact.kind in _ON_SHEET:
            told.append(fact.words)
    return told


def _head(plan: TimedPlan, crew: str) -> list[str]:
    limits = plan.scenario.settings.limits
    nights = ", ".join(f"{pet_label(begin)} to {pet_label(end)}" for begin, end in plan.light.night
                       if begin < plan.end_min)
    ways = plan.return_summary[plan.return_summary["crew"] == crew].to_dict("records")
    turn = pet_label(ways[0]["turn_back_by_min"]) if ways else "–"
    inhibits = "; ".join(
        f"{hold.inhibit.inhibit} {pet_label(hold.set_by_min)} to {pet_label(hold.lift_after_min)}"
        for hold in plan.inhibit_holds)
    return [
        f"PET 0:00 = GMT {gmt_label(plan.egress)}. Inside {pet_label(plan.end_min)}; planned limit "
        f"{pet_label(limits.planned_min)}, hard limit {pet_label(limits.hard_min)}. Turn back by {turn}.",
        f"Night: {nights or 'none'}.",
        f"Inhibits: {inhibits or 'none'}.",
    ]
