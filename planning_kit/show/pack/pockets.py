"""Pocket sheets: one page for each crew member, to be read at arm's length and written on.

A sheet has shorter forms, for lanes whose whole sheet does not fit one page in legible type. Nothing is left
out silently: a shorter form says so and where the rest is.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from math import inf, isfinite, isnan, nan

from planning_kit.inputs.shown_text import one_line, shortened
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.judge.every_margin import nearest_edges
from planning_kit.plan.activities import TRAVEL, WAIT, Activity
from planning_kit.plan.needs import Hold
from planning_kit.plan.network import grouped
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.briefing import retimed_lines
from planning_kit.show.briefing_events import is_hardly_a_wait
from planning_kit.show.hazard_wording import hazard_line, hazards_entered
from planning_kit.show.pack.content import Cell, Column, Section, Table, slack_cell
from planning_kit.show.wording import Fact, Names, OpenFindings, StepWords, exceptions, nights_words

_COLUMNS = (Column("PET", share=0.6), Column("GMT", share=1.05), Column("Min", "", 0.45, 0),
            Column("Step", share=0.65), Column("Where", share=1.6), Column("What", share=5.3),
            Column("Slack", "", 0.62, 0, "down"), Column("Actual", share=0.8))


@dataclass(frozen=True)
class _Form:
    """How much stands on a sheet: kinds of facts, how many characters of a text and of a place, waits."""

    kinds: frozenset[str]
    longest: int
    longest_place: int
    with_waits: bool = True
    words: str = ""


_VITAL = frozenset({"inhibit", "foothold", "tether", "light", "window", "warning", "caution", "open", "moves",
                    "clears"})
_FULL = _Form(_VITAL | {"link", "takes", "leaves", "safe", "clock", "mind", "looks"}, 10_000, 10_000)
_SHORTER = (
    _Form(_FULL.kinds, 60, 40, words="Texts are shortened to fit the page"),
    _Form(_VITAL | {"takes", "leaves", "clock"}, 45, 22, words="Links, cautions of the way and what to do "
          "before leaving are left out, texts are shortened"),
    _Form(_VITAL, 40, 18, with_waits=False, words="What is taken and left, links, clocks, cautions of the "
          "way, waits and what to do before leaving are left out, texts are shortened"),
    _Form(frozenset({"inhibit", "warning", "open"}), 40, 18, with_waits=False, words="Only titles, inhibits, "
          "warnings and open findings, shortened, and no waits"),
)


def pocket_section(plan: TimedPlan, crew: str) -> Section:
    """What ``crew`` does, by PET, with room for the actual times; limits, nights and inhibits above it."""
    sheet = _Sheet(plan, crew)
    return sheet.section(_SHORTER[-2])


class _Sheet:
    def __init__(self, plan: TimedPlan, crew: str) -> None:
        self.plan, self.crew = plan, crew
        self.person = next(each for each in plan.scenario.records.crew if each.crew == crew)
        self.names, self.found = Names(plan), OpenFindings(plan)
        self.step_words = StepWords(self.names)
        self.from_min = -inf if plan.now_min is None else plan.now_min
        self.edges = nearest_edges(plan)
        self.zones = {place.place: place.zone for place in plan.scenario.records.places}

    def section(self, form: _Form) -> Section:
        shown = [activity for activity in self.plan.lanes[self.crew]
                 if activity.kind != TRAVEL and not is_hardly_a_wait(activity)
                 and activity.finish_min > self.from_min and (form.with_waits or activity.kind != WAIT)]
        firsts = {activity.step: activity for activity in reversed(shown)}
        rows = tuple(self._row(each, form, firsts[each.step] is each) for each in shown)
        table = Table(self.crew, f"{self.person.label} by PET; slack in minutes to the nearest edge (window, "
                      "clock, inhibit, stay, last start, hard limit)", _COLUMNS, rows)
        rest = f"{form.words}: the rest is in the detailed procedure of the review pack."
        words = (*self._head(), *([rest] if form.words else []))
        return Section(self.crew, f"{self.person.label} pocket sheet", words, (table,))

    def _row(self, activity: Activity, form: _Form, is_first: bool) -> tuple[Cell, ...]:
        at = activity.start_min
        where = self.names.title(activity.place) if activity.place else ""
        name = "" if activity.kind == WAIT else activity.step
        facts = self._facts(activity, is_first)
        told = [activity.title, *(fact.words for fact in facts if fact.kind in form.kinds)]
        return (pet_label(at), gmt_label(moment_at(at, self.plan.pet_zero)), activity.minutes, name,
                shortened(where, form.longest_place),
                " · ".join(shortened(part, form.longest) for part in told if one_line(part)),
                slack_cell(float(self.edges[self.plan.position(name)]) if name else nan), "")

    def _facts(self, activity: Activity, is_first: bool) -> Iterator[Fact]:
        """The facts that a gloved hand needs, short: what is open, warnings, last what to mind on the way.

        What to mind stands in the first row for a step, also where that is a wait: it is met before the work.
        """
        step = self.names.steps.get(activity.step)
        if still_open := self.found.of_step(activity.step, self.crew):
            yield Fact("open", f"OPEN: {still_open}")
        told = [] if step is None or activity.kind == WAIT else [
            Fact(fact.kind, words) for fact in self.step_words.facts(step) if (words := self._short(fact))]
        told += self._rides(activity)
        told += self._minded.get(activity.step, ()) if is_first else ()
        yield from sorted(told, key=lambda fact: fact.kind != "warning")

    def _rides(self, activity: Activity) -> Iterator[Fact]:
        """What moves meanwhile with this crew member on it, as planned."""
        zone = self.zones.get(activity.place, "")
        for step, start, finish in self.plan.each_step() if zone else ():
            if (self.crew in step.rides and zone in step.moves
                    and start < activity.finish_min and finish > activity.start_min):
                yield Fact("moves", f"riding {one_line(zone)}, which {step.step} moves from "
                           f"{pet_label(start, 'down')} to {pet_label(finish, 'up')}")

    def _short(self, fact: Fact) -> str:
        if fact.crew not in ("", self.crew):
            return ""
        shortest = {"link": "link", "foothold": "in foothold", "uses": "", "group": ""}
        return shortest.get(fact.kind, fact.short or fact.words)

    @cached_property
    def _minded(self) -> dict[str, list[Fact]]:
        """What to mind by the step it is met at or on the way to, "" for home: hazards, then cautions."""
        cautions: dict[Fact, str] = {}
        for row in self.plan.cautions_on_the_way.to_dict("records"):
            if row["crew"] == self.crew:  # each said once
                cautions.setdefault(_minded(row["class"], one_line(row["caution"]).rstrip(".")), row["step"])
        told = [(each.step, _minded(each.hazard.class_, hazard_line(each.hazard)))
                for each in hazards_entered(self.plan, self.crew)]
        told += [(step, fact) for fact, step in cautions.items()]
        return grouped(dict.fromkeys(told))

    def _head(self) -> Iterator[str]:
        plan, limits = self.plan, self.plan.scenario.settings.limits
        inhibits = "; ".join(
            _hold_words(hold) for hold in sorted(plan.inhibit_holds, key=lambda each: each.set_by_min))
        yield from retimed_lines(plan)
        if isfinite(self.from_min):
            yield f"What was finished by PET {pet_label(self.from_min)} is left out here."
        yield (f"PET 0:00 = GMT {gmt_label(plan.pet_zero)}. Inside {pet_label(plan.end_min)}; planned limit "
               f"{pet_label(limits.planned_min, 'down')}, hard limit {plan.hard_limit.label}.")
        yield from self._turn_back()
        yield (f"Night: {nights_words(plan)}. Findings of the plan: {self.found.counted} (numbers as in the "
               "review pack).")
        yield f"Inhibits: {inhibits or 'none'}."

    def _turn_back(self) -> Iterator[str]:
        """Turn back by when, alone and with the partner: of the cases of each, the earliest.

        A time that the plan itself breaks would be read as one that it keeps: it is told what it breaks.
        """
        ways = self.plan.return_summary
        told, broken = [], []
        for how in ("alone", "with the partner"):
            found = list(exceptions(self.plan, self.crew, how))
            broken += found
            if found:
                continue
            rows = ways[(ways["crew"] == self.crew) & ways["case"].str.endswith(how)].to_dict("records")
            first = min(((row["turn_back_by_min"], row["case"]) for row in rows), default=None)
            if any(isnan(row["turn_back_by_min"]) for row in rows):
                told.append(f"{how} not known (a step has no place)")
            elif first is not None:
                by_min, case = first
                when = pet_label(by_min, "down") + (", past" if by_min < self.from_min else "")
                told.append(f"{how} {when} ({case.partition(',')[0]})")
        lines = [f"Turn back by, to keep reserve and hard limit: {'; '.join(told)}."] if told else []
        lines += [f"EXCEPTION, no time to turn back by: {words}." for words in broken]
        if lines:
            yield " ".join(lines)


def _minded(class_: str, words: str) -> Fact:
    return Fact("warning" if class_ == "warning" else "mind", f"{class_.upper()}: {words}")


def _hold_words(hold: Hold) -> str:
    inhibit = hold.inhibit
    safe = f", safe from {pet_label(hold.safe_from_min, 'up')}" if isfinite(hold.safe_from_min) else ""
    confirmed = (f", confirmed by {inhibit.confirmed_by} at {pet_label(hold.confirmed_min, 'up')}"
                 if inhibit.confirmed_by else "")
    return (f"{inhibit.inhibit} {pet_label(hold.set_by_min, 'down')} to "
            f"{pet_label(hold.lift_after_min, 'up')}{safe}{confirmed}")
