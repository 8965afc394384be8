"""The rows of a plan's tables as typed records, as charts read them, and what the pointer shows of each."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import pandas as pd

from planning_kit.inputs.shown_text import one_line, plotly_paragraph, shortened
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.judge.findings import Finding
from planning_kit.plan.activities import Activity
from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True)
class Handover:
    """One row of ``plan.handovers``: what passes from lane to lane (an item, or ``after``), and when."""

    from_crew: str
    to_crew: str
    from_step: str
    to_step: str
    from_min: float
    to_min: float
    what: str


@dataclass(frozen=True)
class InForce:
    """One row of ``plan.inhibits``: an inhibit and the minutes between which it must stand."""

    inhibit: str
    title: str
    owner: str
    set_by_min: float
    lift_after_min: float
    from_step: str
    until_step: str
    reason: str


def activities(timeline: pd.DataFrame) -> list[Activity]:
    """The rows of a timeline, in its order."""
    return [Activity(**row) for row in _records(timeline, Activity)]


def findings(table: pd.DataFrame) -> list[Finding]:
    """The rows of a findings table, in its order."""
    return [Finding(**row) for row in _records(table, Finding)]


def handovers(table: pd.DataFrame) -> list[Handover]:
    """The rows of a hand-over table, in its order."""
    return [Handover(**row) for row in _records(table, Handover)]


def in_force(table: pd.DataFrame) -> list[InForce]:
    """The rows of a table of inhibit times that last at all, in its order."""
    holds = [InForce(**row) for row in _records(table, InForce)]
    return [hold for hold in holds if hold.lift_after_min > hold.set_by_min]


def packed(holds: Sequence[InForce]) -> list[list[InForce]]:
    """Rows of periods that do not overlap: each goes to the first row that is free when it begins."""
    rows: list[list[InForce]] = []
    for hold in sorted(holds, key=lambda hold: hold.set_by_min):
        free = next((row for row in rows if row[-1].lift_after_min <= hold.set_by_min), None)
        if free is None:
            rows.append([hold])
        else:
            free.append(hold)
    return rows


def _records(table: pd.DataFrame, kind: type) -> list[dict[str, Any]]:
    """``table`` as one dict a row with the fields of ``kind``: text is never NaN, a number never None."""
    columns: dict[str, list[Any]] = {}
    for name, annotation in kind.__annotations__.items():
        if name not in table:
            continue
        values = table[name].tolist()
        if annotation == "float":
            columns[name] = [float("nan") if pd.isna(value) else float(value) for value in values]
        else:
            columns[name] = ["" if pd.isna(value) else str(value) for value in values]
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def work_by_step(rows: Iterable[Activity]) -> dict[str, list[Activity]]:
    """The bars of work of each step, in the order of the rows."""
    found: dict[str, list[Activity]] = {}
    for row in rows:
        if row.is_work_on(row.step):
            found.setdefault(row.step, []).append(row)
    return found


def finding_minute(finding: Finding, work: Mapping[str, Sequence[Activity]]) -> float:
    """When a finding applies: its own time, else the start of its step, else NaN; ``work`` is by step."""
    if math.isfinite(finding.start_min):
        return finding.start_min
    return min((row.start_min for row in work.get(finding.step, ())), default=math.nan)


def finding_lanes(finding: Finding, work: Mapping[str, Sequence[Activity]],
                  people: Iterable[str]) -> list[str]:
    """The lanes of a finding: those it names, else those of its step, else [""] (the whole plan)."""
    known = list(people)
    named = finding.crew.split()
    doers = [row.crew for row in work.get(finding.step, ())]
    return [who for who in known if who in named] or [who for who in known if who in doers] or [""]


_MOST_FINDINGS_LISTED = 6
_LONGEST_MESSAGE, _FINDING_WIDTH = 160, 80  # several findings must fit on a screen
_HELD_WORDS = {
    "light": "Starts when {id} begins",
    "group": "Starts when its whole group {id} fits in one window",
    "max_gap": "Starts no earlier, so that {id} can follow in time",
    "partner": "Starts when {id} is ready too",
    "after": "Starts when {id} is finished",
    "min_gap": "Starts the least time after {id}",
    "link": "Starts when there is a link ({id})",
    "window": "Starts when the window {id} opens",
}


@dataclass(frozen=True)
class Words:
    """What sentences need beside the activities: the egress and the titles of places, tasks and actors."""

    egress: datetime
    places: Mapping[str, str] = field(default_factory=dict)
    tasks: Mapping[str, str] = field(default_factory=dict)
    actors: Mapping[str, str] = field(default_factory=dict)

    @classmethod
    def of(cls, plan: TimedPlan) -> Words:
        """Those of a plan."""
        records = plan.scenario.records
        return cls(plan.egress, {place.place: place.title for place in records.places},
                   {task.task: task.title for task in records.tasks},
                   {actor.actor: actor.title for actor in records.actors})

    def place(self, place: str) -> str:
        """The title of a place, or its id where it has none."""
        return self.places.get(place) or place

    def span(self, start_min: float, finish_min: float) -> str:
        """``2:07 to 2:25 (18 min)``."""
        return f"{pet_label(start_min)} to {pet_label(finish_min)} ({minutes_text(finish_min - start_min)})"

    def gmt_span(self, start_min: float, finish_min: float) -> str:
        """The same in GMT."""
        ends = (gmt_label(moment_at(minute, self.egress)) for minute in (start_min, finish_min))
        return "GMT {} to {}".format(*ends)


def minutes_text(minutes: float) -> str:
    """A duration in minutes with at most one decimal, such as ``18 min`` or ``4.5 min``."""
    return f"{round(minutes, 1):g} min"


def held_words(held_by: str) -> str:
    """What holds a start, in words; "" where nothing is known."""
    kind, _, name = one_line(held_by).partition(":")
    if kind == "order":
        return f"Starts as soon as {name} is done" if name != "egress" else "Nothing but egress holds it"
    if kind == "light":
        name = name.replace("-", " ")
    pattern = _HELD_WORDS.get(kind)
    return pattern.format(id=name) if pattern else one_line(held_by)


def activity_text(activity: Activity, words: Words) -> str:
    """One activity as a sentence or two for a hover label."""
    who = activity.crew
    if words.actors.get(who):
        who = f"{who} ({words.actors[who]})"
    span = words.span(activity.start_min, activity.finish_min)
    what = _what(activity, words)
    lines = [plotly_paragraph(f"{who}, {span}: {what}.")]
    if activity.kind == "work" and activity.step:
        reason, slack = held_words(activity.held_by), _slack_words(activity)
        lines.append(plotly_paragraph("; ".join(part for part in (reason, slack) if part) + "."))
        if words.tasks.get(activity.task):
            lines.append(plotly_paragraph(f"Task {activity.task}: {words.tasks[activity.task]}."))
    lines.append(plotly_paragraph(words.gmt_span(activity.start_min, activity.finish_min) + "."))
    return "<br>".join(lines)


def _what(activity: Activity, words: Words) -> str:
    name = " ".join(part for part in (activity.step, activity.title) if part)
    if activity.kind == "travel":
        way = f"from {words.place(activity.place)} to {words.place(activity.to_place)}"
        return f"Travel {way}" + (f" for {activity.step}" if activity.step else "")
    at = f" at {words.place(activity.place)}" if activity.place else ""
    if activity.kind == "wait":
        return (activity.title or "Wait") + at + (f", then {activity.step}" if activity.step else "")
    return (name or "Work") + at


def _slack_words(activity: Activity) -> str:
    slacks = (("plan", activity.slack_to_plan_min), ("limit", activity.slack_to_limit_min),
              ("window", activity.slack_to_window_min))
    known = [f"to {name} {pet_label(minutes)}" for name, minutes in slacks if math.isfinite(minutes)]
    return "slack " + ", ".join(known) if known else ""


def ghost_text(old: Activity, new: Activity | None, words: Words) -> str:
    """A baseline step: when it was and how far it has moved."""
    where = f"{old.crew}, baseline {words.span(old.start_min, old.finish_min)}: {old.step} {old.title}."
    if new is None:
        return plotly_paragraph(where + " Not in this plan.")
    moved = new.start_min - old.start_min
    if abs(moved) < 0.05:
        change = "Starts at the same time now."
    else:
        change = f"Starts {minutes_text(abs(moved))} {'later' if moved > 0 else 'earlier'} now."
    handed = f" Now done by {new.crew}." if new.crew != old.crew else ""
    return plotly_paragraph(f"{where} {change}{handed}")


def handover_text(handover: Handover, words: Words) -> str:
    """What one lane needs of another, when it is ready and when it is used."""
    ready, used = pet_label(handover.from_min), pet_label(handover.to_min)
    source, target = f"{handover.from_crew} {handover.from_step}", f"{handover.to_crew} {handover.to_step}"
    if handover.what in ("", "after"):
        sentence = f"{target} ({used}) comes after {source} (done {ready})."
    else:
        sentence = f"{source} leaves {handover.what} at {ready}; {target} has it from {used}."
    return plotly_paragraph(sentence)


def inhibit_text(hold: InForce, words: Words) -> str:
    """What must stand when, who holds it, for which steps and why."""
    name = " ".join(part for part in (hold.inhibit, hold.title) if part)
    owner = f" Held by {hold.owner}." if hold.owner else ""
    steps = f" From {hold.from_step} until {hold.until_step} is finished."
    lines = [f"Inhibit, {words.span(hold.set_by_min, hold.lift_after_min)}: {name}.{owner}{steps}"]
    lines += [f"{hold.reason.rstrip('.')}."] if hold.reason else []
    lines += [f"{words.gmt_span(hold.set_by_min, hold.lift_after_min)}."]
    return "<br>".join(plotly_paragraph(line) for line in lines)


def findings_text(found: list[Finding]) -> str:
    """All findings at one mark, worst first."""
    lines = []
    for finding in found[:_MOST_FINDINGS_LISTED]:
        where = " ".join(part for part in (finding.crew, finding.step) if part)
        when = pet_label(finding.start_min) if math.isfinite(finding.start_min) else ""
        head = ", ".join(part for part in (where, when) if part)
        source = f" [{finding.source}]" if finding.source else ""
        start = f"{finding.severity.upper()} {finding.check}" + (f" ({head})" if head else "")
        said = shortened(finding.message, _LONGEST_MESSAGE) if len(found) > 1 else finding.message
        lines.append(plotly_paragraph(f"{start}: {said}{source}", _FINDING_WIDTH))
    if len(found) > _MOST_FINDINGS_LISTED:
        lines.append(f"... and {len(found) - _MOST_FINDINGS_LISTED} more here")
    return "<br>".join(lines)
