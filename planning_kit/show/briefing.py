"""The plan told in words, in the order it happens: long, to talk through, and in one minute.

It says what the tables and the timed plan say and nothing else: no praise, no guess, no filling-in.

How a briefing opens (purpose, time, what goes out) and closes (inside, margins, what comes home).

The plan in one minute: what, when, which windows, which inhibits, how tight, what is open.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pandas as pd

from planning_kit.inputs.records import Task
from planning_kit.inputs.shown_text import TextTable, html_text, one_line, shortened
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.judge.all_checks import findings_of
from planning_kit.judge.findings import REMARK
from planning_kit.plan.suits import WORDS
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_events import Told, told_events
from planning_kit.show.wording import Names, OpenFindings, minutes, signed

NEEDS = {"required": "Required", "optional": "Optional", "get-ahead": "Get-ahead"}


def opening_lines(plan: TimedPlan) -> Iterator[str]:
    """Purpose in the planner's words, the zero of the clock, the tasks, what goes out with whom."""
    settings, names = plan.scenario.settings, Names(plan)
    if one_line(settings.summary):
        yield f"Purpose: {one_line(settings.summary)}"
    zero = f" PET 0:00 is: {one_line(settings.pet_zero)}." if one_line(settings.pet_zero) else ""
    yield f"Egress, PET {names.times(0.0)}, {plan.egress:%Y-%m-%d}.{zero}"
    yield from retimed_lines(plan)
    yield from _tasks(plan)
    yield from _hands(plan, names, "goes_out_with", "Taken out by", "out")
    for row in findings_of(plan).to_dict("records"):
        if row["severity"] != REMARK and row["start_min"] != row["start_min"]:
            yield f"{row['severity'].capitalize()} ({row['check']}): {one_line(row['message'])}."


def _tasks(plan: TimedPlan) -> Iterator[str]:
    for need, word in NEEDS.items():
        told = []
        for task in planned_tasks(plan, need):
            objective = f" ({one_line(task.objective)})" if one_line(task.objective) else ""
            told.append((one_line(task.title) or task.task) + objective)
        if told:
            yield f"{word}: {'; '.join(told)}."
    left_out = [one_line(task.title) or task.task for task in tasks_left_out(plan)]
    if left_out:
        yield f"Not in this plan, no step of it is left: {'; '.join(left_out)}."


def planned_tasks(plan: TimedPlan, need: str) -> list[Task]:
    """The tasks of one need that have a step in the plan."""
    used = {step.task for step in plan.steps}
    return [task for task in plan.scenario.records.tasks if task.need == need and task.task in used]


def tasks_left_out(plan: TimedPlan) -> list[Task]:
    """The tasks of the scenario of which the plan holds no step."""
    used = {step.task for step in plan.steps}
    return [task for task in plan.scenario.records.tasks if task.task not in used]


def retimed_lines(plan: TimedPlan) -> Iterator[str]:
    """That a plan is re-timed, when and from what; nothing for a plan before the outing."""
    if plan.outside is not None:
        count = len(plan.outside.actuals.events)
        yield (f"Re-timed at PET {pet_label(plan.outside.now_min)} from a log of {count} "
               f"event{'s' if count != 1 else ''}: what had begun by then is told as logged, the rest as "
               "planned from there.")


def _hands(plan: TimedPlan, names: Names, column: str, words: str, way: str) -> Iterator[str]:
    """What each takes out (``way`` out) or brings home, with the moment where it is not the first or last."""
    kit = plan.kit_list
    for crew in plan.travels:
        told = []
        for row in kit[kit[column] == crew].to_dict("records"):
            bag = f" in {names.item(row['in_bag'])}" if way == "out" and row["in_bag"] else ""
            step = row[f"{way}_step"]
            when = f" (from {pet_label(row['out_min'])}, {step})" if way == "out" and step else (
                f" (until {pet_label(row['home_min'])}, {step})" if step else "")
            told.append(f"{names.item(row['item'])}{bag}{when}")
        if told:
            yield f"{words} {crew}: {'; '.join(told)}."


def closing_lines(plan: TimedPlan) -> Iterator[str]:
    """When both are inside, against which limits; what comes home, what stays out; the worst margins."""
    names, limits = Names(plan), plan.scenario.settings.limits
    yield (f"Both inside at PET {names.times(plan.end_min)}: {against(limits.planned_min, plan.end_min)} the "
           f"planned limit of {pet_label(limits.planned_min)}, {against(limits.hard_min, plan.end_min)} the "
           f"hard limit of {pet_label(limits.hard_min)}.")
    yield from _hands(plan, names, "comes_back_with", "Brought home by", "home")
    out = [f"{names.item(row['item'])} {names.where(row['ends'])}" for row in plan.kit_list.to_dict("records")
           if row["ends"] != "inside"]
    if out:
        yield f"Stays outside: {'; '.join(out)}."
    yield from margin_lines(plan, names)


def against(limit: float, end: float) -> str:
    """How far an end is from a limit, in words."""
    margin = limit - end
    return f"{pet_label(abs(margin))} {'before' if margin >= 0 else 'after'}"


def margin_lines(plan: TimedPlan, names: Names) -> Iterator[str]:
    """The worst point of each way back, and what each suit runs out of first."""
    for row in plan.return_summary.to_dict("records"):
        yield (f"{row['crew']}, way back, {row['case']}: least margin {signed(row['margin_min'])} at "
               f"{pet_label(row['at_min'])}, {names.title(row['place'])}, {minutes(row['time_back_min'])} "
               "from being inside.")
    for row in plan.suit_summary.to_dict("records"):
        if row["first"] and math.isfinite(row["runs_out_min"]):
            yield (f"{row['crew']}'s suit would run out of {WORDS[row['consumable']]} first, at "
                   f"{pet_label(row['runs_out_min'])}.")


_MOST_NAMED = 8
_LONGEST = 60


def minute_lines(plan: TimedPlan) -> Iterator[str]:
    """Sentences to read aloud; about a hundred and fifty words for an outing of fifteen tasks."""
    settings, limits = plan.scenario.settings, plan.scenario.settings.limits
    head = shortened(settings.title, 2 * _LONGEST) or "The outing"
    yield (f"{head}: egress at GMT {gmt_label(plan.egress)}, both inside at PET {pet_label(plan.end_min)}, "
           f"{against(limits.planned_min, plan.end_min)} the planned limit.")
    yield from retimed_lines(plan)
    yield from _tasks_in_brief(plan)
    yield from _windows(plan)
    yield from _inhibits(plan)
    yield from _tightest(plan)
    yield _open(plan)


def _tasks_in_brief(plan: TimedPlan) -> Iterator[str]:
    for need, word in NEEDS.items():
        yield from _named(word, planned_tasks(plan, need))
    yield from _named("No longer in it", tasks_left_out(plan))


def _named(word: str, tasks: Sequence[Task]) -> Iterator[str]:
    named = [shortened(task.title, _LONGEST) or task.task for task in tasks]
    more = f" and {len(named) - _MOST_NAMED} more" if len(named) > _MOST_NAMED else ""
    if named:
        yield f"{word}: {', '.join(named[:_MOST_NAMED])}{more}."


def _windows(plan: TimedPlan) -> Iterator[str]:
    """What must be done in which light, by task, with its times."""
    titles = {task.task: shortened(task.title, _LONGEST) or task.task for task in plan.scenario.records.tasks}
    for light, word in (("night", "In night"), ("day", "In daylight")):
        spans: dict[str, tuple[float, float]] = {}
        for position, step in enumerate(plan.steps):
            if step.light == light:
                begin, end = spans.get(step.task, (math.inf, -math.inf))
                spans[step.task] = (min(begin, float(plan.starts[position])),
                                    max(end, float(plan.finishes[position])))
        told = [f"{titles.get(task, task)} {pet_label(begin)} to {pet_label(end)}"
                for task, (begin, end) in spans.items()]
        if told:
            yield f"{word}: {'; '.join(told[:_MOST_NAMED])}."


def _inhibits(plan: TimedPlan) -> Iterator[str]:
    holds = sorted(plan.inhibit_holds, key=lambda hold: -hold.hold_min)
    if holds:
        longest = holds[0]
        count = f"{len(holds)} inhibits; longest" if len(holds) > 1 else "One inhibit:"
        yield (f"{count} {longest.inhibit.inhibit}, {pet_label(longest.set_by_min)} to "
               f"{pet_label(longest.lift_after_min)}.")


def _tightest(plan: TimedPlan) -> Iterator[str]:
    names = Names(plan)
    rows = [row for row in plan.return_summary.to_dict("records") if math.isfinite(row["margin_min"])]
    if rows:
        worst = min(rows, key=lambda row: row["margin_min"])
        yield (f"Least way-back margin {signed(worst['margin_min'])}: {worst['crew']}, {worst['case']}, at "
               f"{names.title(worst['place'])}, {pet_label(worst['at_min'])}.")
    clocks = sorted(plan.gap_clocks, key=lambda clock: clock.left_min)
    if clocks:
        gap = clocks[0].gap
        yield f"Tightest clock: {gap.first_step} to {gap.then_step}, {minutes(clocks[0].left_min)} left."


def _open(plan: TimedPlan) -> str:
    return f"Findings: {OpenFindings(plan).counted}."


BRIEFING_COLUMNS = ["part", "pet", "gmt", "who", "kind", "step", "words", "at_min"]


@dataclass(frozen=True)
class Part:
    """One stretch of the briefing: a day, a night, or what comes before and after."""

    title: str
    lines: tuple[str, ...]
    events: tuple[Told, ...] = ()


@dataclass(frozen=True, repr=False)
class TimedBriefing:
    """A plan in words: ``text`` is the long form, ``one_minute`` the short one, ``table`` the events."""

    title: str
    parts: tuple[Part, ...]
    minute: tuple[str, ...]
    timed: TimedPlan

    @property
    def text(self) -> str:
        """The long form as plain text: parts by day and night, an event a line."""
        blocks = [self.title]
        for part in self.parts:
            blocks.append("\n".join([part.title, *part.lines, *(_line(told) for told in part.events)]))
        return "\n\n".join(blocks)

    @property
    def one_minute(self) -> str:
        """The short form: to be read aloud in about a minute."""
        return " ".join(self.minute)

    @property
    def table(self) -> pd.DataFrame:
        """The events, a row each; columns as in ``BRIEFING_COLUMNS``, ``at_min`` in PET minutes."""
        rows = [(part.title, pet_label(told.at_min), gmt_label(moment_at(told.at_min, self.timed.egress)),
                 told.who, told.kind, told.step, told.words, told.at_min)
                for part in self.parts for told in part.events]
        return TextTable(rows, columns=BRIEFING_COLUMNS)

    def __str__(self) -> str:
        return self.text

    def __repr__(self) -> str:
        count = sum(len(part.events) for part in self.parts)
        return f"<Briefing of {self.title!r}: {count} events in {len(self.parts)} parts>"

    def _repr_html_(self) -> str:
        return briefing_html(self)


def briefing(plan: TimedPlan) -> TimedBriefing:
    """Tell ``plan`` in words: purpose, way, hands, waits, hazards, inhibits, return, by PET.

    Both crew members are interwoven; parts follow day and night. Text of the scenario is shown on one line,
    without control characters; the notebook's view escapes it.
    """
    settings = plan.scenario.settings
    title = " · ".join(part for part in (one_line(settings.title), one_line(settings.station)) if part)
    parts = [Part("Before egress", tuple(opening_lines(plan)), _before(plan)), *_by_light(plan),
             Part("Back inside", tuple(closing_lines(plan)))]
    return TimedBriefing(title, tuple(parts), tuple(minute_lines(plan)), plan)


def _before(plan: TimedPlan) -> tuple[Told, ...]:
    return tuple(told for told in told_events(plan) if told.at_min < 0)


def _by_light(plan: TimedPlan) -> list[Part]:
    """The events of the outing, a part a day or night; each event where it begins."""
    edges = _edges(plan)
    events = [told for told in told_events(plan) if told.at_min >= 0]
    parts = []
    for (begin, name), end in zip(edges, [*(edge for edge, _ in edges[1:]), float("inf")], strict=True):
        until = min(end, plan.end_min)
        title = f"{name}, PET {pet_label(begin)} to {pet_label(until)}"
        parts.append(Part(title, (), tuple(told for told in events if begin <= told.at_min < end)))
    return parts


def _edges(plan: TimedPlan) -> list[tuple[float, str]]:
    """When each day and night of the outing begins, and its name; the first begins at egress."""
    named = [(float(begin), f"{name} {number}")
             for name, windows in (("Night", plan.light.night), ("Day", plan.light.day))
             for number, (begin, _) in enumerate(windows, start=1) if begin < plan.end_min]
    edges = sorted(named) or [(0.0, "Penumbra")]
    return [(0.0, edges[0][1]), *edges[1:]]


def _line(told: Told) -> str:
    return f"  {pet_label(told.at_min)}  {told.who}: {told.words}"


def briefing_html(brief: TimedBriefing, level: int = 3) -> str:
    """The long form as HTML, all text escaped; ``level`` is that of the parts' headings."""
    pieces = [f"<p><strong>{html_text(brief.title)}</strong></p>"]
    for part in brief.parts:
        pieces.append(f"<h{level}>{html_text(part.title)}</h{level}>")
        pieces += [f"<p>{html_text(line)}</p>" for line in part.lines]
        pieces.append(_list(part.events))
    return "".join(pieces)


def _list(events: Sequence[Told]) -> str:
    if not events:
        return ""
    rows = "".join(f"<li><strong>{html_text(pet_label(told.at_min))} {html_text(told.who)}</strong> "
                   f"{html_text(told.words)}</li>" for told in events)
    return f'<ul style="list-style:none;padding-left:0">{rows}</ul>'
