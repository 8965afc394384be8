"""The plan told in words, in the order it happens: long, to talk through, and in one minute.

It says what the tables and the timed plan say and nothing else: no praise, no guess, no filling-in.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pandas as pd

from planning_kit.inputs.records import Task
from planning_kit.inputs.shown_text import TextTable, html_text, one_line, shortened
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.plan.suits import WORDS
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing_events import BriefingEvent, briefing_events, open_lines
from planning_kit.show.risks import risk_lines, spoken
from planning_kit.show.wording import Names, OpenFindings, against, bracketed, exceptions, minutes, signed

NEEDS = {"required": "Required", "optional": "Optional", "get-ahead": "Get-ahead"}


def opening_lines(plan: TimedPlan) -> Iterator[str]:
    """Purpose in the planner's words, the zero of the clock, the tasks, what goes out with whom."""
    settings, names = plan.scenario.settings, Names(plan)
    if one_line(settings.summary):
        yield f"Purpose: {one_line(settings.summary)}"
    zero = f" PET 0:00 is: {one_line(settings.pet_zero_event)}." if one_line(settings.pet_zero_event) else ""
    yield f"PET 0, PET {names.times(0.0)}, {plan.pet_zero:%Y-%m-%d}.{zero}"
    if crew := crew_line(plan):
        yield f"Crew: {crew}."
    airlock = settings.airlock
    for at_min, words in ((airlock.depress_start_min, "Depressurisation begins"),
                          (airlock.hatch_open_min, "Nobody is outside before the hatch opens,")):
        if at_min is not None:
            yield f"{words} at PET {names.times(at_min)}."
    yield from retimed_lines(plan)
    left_out = "Not in this plan, no step of it is left"
    for heading, tasks in _tasks_by_need(plan, left_out):
        named = [(one_line(task.title) or task.task, bracketed(task.objective)) for task in tasks]
        told = [title if heading == left_out else title + objective for title, objective in named]
        yield f"{heading}: {'; '.join(told)}."
    yield from _hands(plan, names, "goes_out_with", "Taken out by", "out")
    for at_min, _, line in open_lines(plan):
        if math.isnan(at_min):
            yield line


def crew_line(plan: TimedPlan) -> str:
    """Who goes out, with suit and size; "" where nothing of them is given."""
    told = {each.crew: each.label + "".join(
        f", {word} {shortened(text, 40)}" for word, text in [("suit", each.suit), ("size", each.size)]
        if text) for each in plan.scenario.records.crew}
    return "; ".join(told.values()) if [*told] != [*told.values()] else ""


def _tasks_by_need(plan: TimedPlan, left_out: str) -> Iterator[tuple[str, list[Task]]]:
    """The tasks with a step in the plan, by need, then those without one; each with its heading, if any."""
    used, tasks = {step.task for step in plan.steps}, plan.scenario.records.tasks
    groups = [(word, [task for task in tasks if task.need == need and task.task in used])
              for need, word in NEEDS.items()]
    groups.append((left_out, [task for task in tasks if task.task not in used]))
    return ((heading, group) for heading, group in groups if group)


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
           f"planned limit of {pet_label(limits.planned_min, 'down')}, "
           f"{against(plan.hard_min, plan.end_min)} the hard limit of {plan.hard_limit.label}. "
           f"The outing ends when {one_line(plan.scenario.settings.outing_end_words)}.")
    if plan.safe_min > plan.end_min:
        yield (f"The pressure can be breathed at PET {names.times(plan.safe_min)}: so long the suits must "
               "last.")
    yield from _hands(plan, names, "comes_back_with", "Brought home by", "home")
    out = [f"{names.item(row['item'])} {names.where(row['ends'])}" for row in plan.kit_list.to_dict("records")
           if row["ends"] != "inside"]
    if out:
        yield f"Stays outside: {'; '.join(out)}."
    for row in plan.return_summary.to_dict("records"):
        if math.isnan(row["time_back_min"]):
            yield (f"{row['crew']}, way back, {row['case']}: not known from "
                   f"{pet_label(row['at_min'], 'down')} on (a step has no place).")
            continue
        back = "" if math.isinf(row["time_back_min"]) else (
            f", {minutes(row['time_back_min'], 'up')} from {plan.scenario.settings.airlock.safety}")
        yield (f"{row['crew']}, way back, {row['case']}: least margin {signed(row['margin_min'])} at "
               f"{pet_label(row['at_min'])}, {names.title(row['place'])}{back}.")
    for crew in plan.travels:
        yield from (f"Exception, no time to turn back by: {crew}, {words}."
                    for words in exceptions(plan, crew))
    for row in plan.suit_summary.to_dict("records"):
        if row["first"] and math.isfinite(row["runs_out_min"]):
            yield (f"{row['crew']}'s suit would run out of {WORDS[row['consumable']]} first, at "
                   f"{pet_label(row['runs_out_min'], 'down')}.")


_MOST_NAMED = {NEEDS["required"]: 2}  # one of the others
_NO_LONGER = "No longer in it"
_MOST_WORDS = 150  # a minute at a usual speaking rate (common practice, no source)


def minute_lines(plan: TimedPlan) -> list[str]:
    """Sentences to read aloud in a minute to people who know no ids: the tightest first, then what fits."""
    settings = plan.scenario.settings
    left = against(settings.limits.planned_min, plan.end_min)
    named = "".join(f", {each.label}" for each in plan.scenario.records.crew if each.name)
    head = (f"{spoken(settings.title) or 'The outing'}{named}: from GMT {gmt_label(plan.pet_zero)}, both "
            f"inside {pet_label(plan.end_min)} later, {left} the planned limit.")
    risks = [f"Risk {number}: {line}" for number, line in enumerate(risk_lines(plan), start=1)]
    told: list[str] = []
    for line in (head, *risks, *retimed_lines(plan), f"Findings: {OpenFindings(plan).counted}.",
                 *sorted(_tasks_in_brief(plan), key=lambda line: not line.startswith(_NO_LONGER))):
        if len(" ".join([*told, line]).split()) <= _MOST_WORDS:
            told.append(line)
    return told


def _tasks_in_brief(plan: TimedPlan) -> Iterator[str]:
    for heading, tasks in _tasks_by_need(plan, _NO_LONGER):
        named = tasks[:_MOST_NAMED.get(heading, 1)]
        more = f" and {len(tasks) - len(named)} more" if len(tasks) > len(named) else ""
        titles = (spoken(task.title) or "a task without a title" for task in named)
        yield f"{heading}: {', '.join(titles)}{more}."


BRIEFING_COLUMNS = ["part", "pet", "gmt", "who", "kind", "step", "words", "at_min"]


@dataclass(frozen=True)
class Part:
    """One stretch of the briefing: a day, a night, or what comes before and after."""

    title: str
    lines: tuple[str, ...]
    events: tuple[BriefingEvent, ...] = ()


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
        blocks = ["\n".join([part.title, *part.lines, *(
            f"  {told.pet}  {told.who}: {told.words}" for told in part.events)])
            for part in self.parts]
        return "\n\n".join([self.title, *blocks])

    @property
    def one_minute(self) -> str:
        """The short form: to be read aloud in about a minute."""
        return " ".join(self.minute)

    @property
    def table(self) -> pd.DataFrame:
        """The events, a row each; columns as in ``BRIEFING_COLUMNS``, ``at_min`` in PET minutes."""
        rows = [(part.title, told.pet, gmt_label(moment_at(told.at_min, self.timed.pet_zero), told.side),
                 told.who, told.kind, told.step, told.words, told.at_min)
                for part in self.parts for told in part.events]
        return TextTable(rows, columns=BRIEFING_COLUMNS)

    def __str__(self) -> str:
        return self.text

    def __repr__(self) -> str:
        count = sum(len(part.events) for part in self.parts)
        return f"<Briefing of {self.title!r}: {count} events in {len(self.parts)} parts>"

    def _repr_html_(self) -> str:
        """The long form as HTML, all text escaped."""
        pieces = [f"<p><strong>{html_text(self.title)}</strong></p>"]
        for part in self.parts:
            pieces.append(f"<h3>{html_text(part.title)}</h3>")
            pieces += [f"<p>{html_text(line)}</p>" for line in part.lines]
            rows = "".join(f"<li><strong>{html_text(told.pet)} {html_text(told.who)}</strong> "
                           f"{html_text(told.words)}</li>" for told in part.events)
            pieces += [f'<ul style="list-style:none;padding-left:0">{rows}</ul>'] if rows else []
        return "".join(pieces)


def briefing(plan: TimedPlan) -> TimedBriefing:
    """Tell ``plan`` in words: purpose, way, hands, waits, hazards, inhibits, return, by PET.

    Both crew members are interwoven; parts follow day and night. Text of the scenario is shown on one line,
    without control characters; the notebook's view escapes it.
    """
    settings = plan.scenario.settings
    title = " · ".join(part for part in (one_line(settings.title), one_line(settings.station)) if part)
    events = briefing_events(plan)
    before = tuple(told for told in events if told.at_min < 0)
    parts = [Part("Before PET 0", tuple(opening_lines(plan)), before), *_by_light(plan, events),
             Part("Back inside", tuple(closing_lines(plan)))]
    return TimedBriefing(title, tuple(parts), tuple(minute_lines(plan)), plan)


def _by_light(plan: TimedPlan, events: Sequence[BriefingEvent]) -> Iterator[Part]:
    """The events of the outing, a part a day or night; each event where it begins."""
    named = sorted((float(begin), f"{kind.capitalize()} {number}") for kind in ("night", "day")
                   for number, (begin, _) in enumerate(getattr(plan.light, kind), start=1)
                   if begin < plan.end_min) or [(0.0, "Penumbra")]
    begins = [0.0, *(begin for begin, _ in named[1:])]  # the first, whenever it began, is told from PET 0 on
    for begin, end, (_, name) in zip(begins, [*begins[1:], math.inf], named, strict=True):
        title = f"{name}, PET {pet_label(begin)} to {pet_label(min(end, plan.end_min))}"
        yield Part(title, (), tuple(told for told in events if begin <= told.at_min < end))
