"""What charts draw of a plan, row by row, and what the pointer shows of each row."""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Self

from planning_kit.inputs.shown_text import plotly_paragraph, shortened
from planning_kit.inputs.table_words import held_words
from planning_kit.inputs.times import Side, gmt_label, moment_at, number_label, pet_label, pet_spans
from planning_kit.judge.check_rules import broken_numbers, given_way
from planning_kit.judge.findings import STOP, Finding
from planning_kit.plan.activities import WORK, Activity
from planning_kit.plan.needs import Hold
from planning_kit.plan.network import ROUNDING_MIN, Bound, Broken, Demand, grouped
from planning_kit.plan.timed import TimedPlan

_TIGHT_MIN = 0.5  # slack that rounds to nothing in whole minutes


def rows_of(plan: TimedPlan) -> list[Activity]:
    """Every activity, lane by lane: what ``plan.timeline`` holds, without making a table of it."""
    return [row for lane in plan.lanes.values() for row in lane]


def handovers(plan: TimedPlan) -> list[Any]:
    """The rows of the hand-over table, in its order."""
    return list(plan.handovers.itertuples(index=False))


def packed(holds: Iterable[Hold]) -> list[list[Hold]]:
    """Rows of inhibits that do not overlap: each goes to the first row that is free when it begins.

    One that would end before it begins (a finding says so) is left out.
    """
    rows: list[list[Hold]] = []
    for hold in sorted((hold for hold in holds if hold.hold_min > 0), key=lambda hold: hold.set_by_min):
        free = next((row for row in rows if row[-1].lift_after_min <= hold.set_by_min), None)
        if free is None:
            rows.append([hold])
        else:
            free.append(hold)
    return rows


def is_tight(row: Activity) -> bool:
    """Whether it is work without slack to plan: a delay there delays ingress."""
    return row.kind == WORK and row.slack_to_plan_min < _TIGHT_MIN


def work_by_step(rows: Iterable[Activity]) -> dict[str, list[Activity]]:
    """The bars of work of each step, in the order of the rows."""
    return grouped((row.step, row) for row in rows if row.is_work_on(row.step))


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


@dataclass(frozen=True)
class BrokenRule:
    """A rule that the plan breaks, as charts draw it, with its words.

    ``steps``: whose bars are edged; ``outside``: the stretches (step, from, to) of them outside their window;
    ``line``: of a gap or an order its two ends (lane, minute), which do not keep their distance.
    """

    steps: tuple[str, ...]
    words: str
    outside: tuple[tuple[str, float, float], ...] = ()
    line: tuple[tuple[str, float], ...] = ()


def broken_rules(plan: TimedPlan) -> list[BrokenRule]:
    """Every rule that gives way in the plan, or that was broken outside."""
    given = [*given_way(plan), *(plan.outside.broken if plan.outside is not None else ())]
    told = ((each, broken_numbers(plan, each)) for each in given)
    return [_broken_rule(plan, each, of.message) for each, of in told if of.severity == STOP]


def _broken_rule(plan: TimedPlan, broken: Broken, words: str) -> BrokenRule:
    rule, own = broken.rule, plan.steps[broken.step]
    if isinstance(rule, Bound):
        other = plan.steps[rule.before]
        shared = [who for who in own.people if who in other.people]
        return BrokenRule((own.step,), words, line=tuple(
            ((shared or step.people)[0], plan.span(step.step)[is_finish])
            for step, is_finish in ((other, rule.from_finish), (own, rule.to_finish))))
    demand = rule if isinstance(rule, Demand) else rule.demand
    names = [plan.steps[step].step for step in broken.steps]
    starts, finishes = zip(*map(plan.span, names), strict=True)
    begin, end = demand.nearest(min(starts), max(finishes)) or (math.inf, math.inf)
    outside = [(step, first, last) for step, start, finish in zip(names, starts, finishes, strict=True)
               for first, last in ((start, min(finish, begin)), (max(start, end), finish))
               if last > first + ROUNDING_MIN]
    steps = tuple(dict.fromkeys(step for step, *_ in outside))
    return BrokenRule(steps or (own.step,), words, tuple(outside))


_MOST_FINDINGS_LISTED = 6
_LONGEST_MESSAGE, _FINDING_WIDTH = 160, 80  # several findings must fit on a screen
_PLAIN: tuple[Side, Side] = ("nearest", "nearest")


@dataclass(frozen=True)
class Words:
    """What sentences need beside the activities: the PET 0, the titles of places, tasks and actors.

    ``broken``: the rules that do not hold.
    """

    pet_zero: datetime
    places: Mapping[str, str] = field(default_factory=dict)
    tasks: Mapping[str, str] = field(default_factory=dict)
    actors: Mapping[str, str] = field(default_factory=dict)
    broken: Sequence[BrokenRule] = ()

    @classmethod
    def of(cls, plan: TimedPlan) -> Self:
        """Those of a plan."""
        records = plan.scenario.records
        return cls(plan.pet_zero, {place.place: place.title for place in records.places},
                   {task.task: task.title for task in records.tasks},
                   {actor.actor: actor.title for actor in records.actors},
                   broken_rules(plan))

    @property
    def breaking(self) -> list[str]:
        """The steps that break a rule."""
        return list(dict.fromkeys(step for each in self.broken for step in each.steps))

    def place(self, place: str) -> str:
        """The title of a place, or its id where it has none."""
        return self.places.get(place) or place

    def span(self, start_min: float, finish_min: float) -> str:
        """``2:07 to 2:25 (18 min)``."""
        return f"{pet_label(start_min)} to {pet_label(finish_min)} ({minutes_text(finish_min - start_min)})"

    def gmt_span(self, start_min: float, finish_min: float, sides: tuple[Side, Side] = _PLAIN) -> str:
        """The same in GMT; ``sides``: to which the two ends are rounded."""
        ends = (gmt_label(moment_at(minute, self.pet_zero), side)
                for minute, side in zip((start_min, finish_min), sides, strict=True))
        return "GMT {} to {}".format(*ends)


def minutes_text(minutes: float) -> str:
    """A duration in minutes with at most one decimal, such as ``18 min`` or ``4.5 min``."""
    return f"{round(minutes, 1):g} min"


def activity_lines(activity: Activity, words: Words) -> list[str]:
    """One activity as a sentence or two, each to be shown on lines of its own."""
    title, span = words.actors.get(activity.crew), (activity.start_min, activity.finish_min)
    who = f"{activity.crew} ({title})" if title else activity.crew
    lines = [f"{who}, {words.span(*span)}: {_what(activity, words)}."]
    if activity.kind == "work" and activity.step:
        reason, slacks = held_words(activity.held_by), slack_words(activity)
        slack = f"slack {slacks}" if slacks else ""
        lines.append("; ".join(part for part in (reason, slack) if part) + ".")
        if words.tasks.get(activity.task):
            lines.append(f"Task {activity.task}: {words.tasks[activity.task]}.")
        lines += [f"BROKEN: {each.words}." for each in words.broken if activity.step in each.steps]
    return [*lines, f"{words.gmt_span(*span)}."]


def _joined(*parts: str) -> str:
    return " ".join(part for part in parts if part)


def _what(activity: Activity, words: Words) -> str:
    if activity.kind == "travel":
        over = f" over {', '.join(map(words.place, activity.via))}" if activity.via else ""
        way = f"from {words.place(activity.place)}{over} to {words.place(activity.to_place)}"
        return f"Travel {way}" + (f" for {activity.step}" if activity.step else "")
    at = f" at {words.place(activity.place)}" if activity.place else ""
    if activity.kind == "wait":
        return (activity.title or "Wait") + at + (f", then {activity.step}" if activity.step else "")
    return (_joined(activity.step, activity.title) or "Work") + at


def slack_words(activity: Activity) -> str:
    """The slacks that have an end, separated by commas; "" for none."""
    slacks = (("plan", activity.slack_to_plan_min), ("limit", activity.slack_to_limit_min),
              ("window", activity.slack_to_window_min))
    return ", ".join(f"to {name} {pet_label(minutes, 'down')}" for name, minutes in slacks
                     if math.isfinite(minutes))


def ghost_line(old: Activity, now: Sequence[Activity], words: Words) -> str:
    """A baseline step: when it was and how far it has moved; ``now`` is the work on it in this plan.

    It is held against the work of the same crew member if there is any, else of another.
    """
    where = f"{old.crew}, baseline {words.span(old.start_min, old.finish_min)}: {old.step} {old.title}."
    if not now:
        return where + " Not in this plan."
    new = next((row for row in now if row.crew == old.crew), now[0])
    moved = new.start_min - old.start_min
    change = ("Starts at the same time now." if abs(moved) < 0.05 else
              f"Starts {minutes_text(abs(moved))} {'later' if moved > 0 else 'earlier'} now.")
    handed = f" Now done by {new.crew}." if new.crew != old.crew else ""
    return f"{where} {change}{handed}"


def handover_text(handover: Any) -> str:
    """What one lane needs of another, when it is ready and when it is used."""
    ready, used = pet_label(handover.from_min), pet_label(handover.to_min)
    source, target = f"{handover.from_crew} {handover.from_step}", f"{handover.to_crew} {handover.to_step}"
    if handover.what in ("", "after"):
        sentence = f"{target} ({used}) comes after {source} (done {ready})."
    else:
        sentence = f"{source} leaves {handover.what} at {ready}; {target} has it from {used}."
    return plotly_paragraph(sentence)


def inhibit_text(hold: Hold, words: Words) -> str:
    """What must stand when, who holds it, for which steps and why."""
    record, span = hold.inhibit, (hold.set_by_min, hold.lift_after_min)
    owner = f" Held by {record.owner}." if record.owner else ""
    steps = f" From {record.from_step} until {record.until_step} is finished."
    when = f"{pet_spans(span)} ({number_label(hold.hold_min, 'up').removesuffix('.0')} min)"
    lines = [f"Inhibit, {when}: {_joined(record.inhibit, record.title)}.{owner}{steps}",
             *([f"{record.reason.rstrip('.')}."] if record.reason else []),
             f"{words.gmt_span(*span, ('down', 'up'))}."]
    return "<br>".join(plotly_paragraph(line) for line in lines)


def findings_text(found: list[Finding]) -> str:
    """All findings at one mark, worst first."""
    lines = []
    for finding in found[:_MOST_FINDINGS_LISTED]:
        when = pet_label(finding.start_min, "down") if math.isfinite(finding.start_min) else ""
        head = ", ".join(part for part in (_joined(finding.crew, finding.step), when) if part)
        source = f" [{finding.source}]" if finding.source else ""
        start = f"{finding.severity.upper()} {finding.check}" + (f" ({head})" if head else "")
        message = shortened(finding.words, _LONGEST_MESSAGE) if len(found) > 1 else finding.words
        lines.append(plotly_paragraph(f"{start}: {message}{source}", _FINDING_WIDTH))
    if len(found) > _MOST_FINDINGS_LISTED:
        lines.append(f"... and {len(found) - _MOST_FINDINGS_LISTED} more here")
    return "<br>".join(lines)
