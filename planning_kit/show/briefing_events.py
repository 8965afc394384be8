"""The plan as events in time order: every lane, both crew members interwoven, with inhibits and findings.

Each event is one moment and one sentence or two, made of the tables alone. Warnings and cautions stand before
the line that they belong to.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import Side, measure, pet_label, rounded
from planning_kit.judge.acceptances import told_findings
from planning_kit.judge.findings import REMARK, findings_in
from planning_kit.plan.activities import REPRESS_TITLE, TRAVEL, WAIT, Activity
from planning_kit.plan.explain import window_opens
from planning_kit.plan.exposures import Exposure
from planning_kit.plan.network import LIGHT, LINK, LOGGED, NOW, TURN, WINDOW, grouped
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.hazard_wording import hazard_line, hazards_entered
from planning_kit.show.procedure_words import BOXED, ProcedureWords, boxed
from planning_kit.show.wording import Fact, Names, StepWords, bracketed, minutes

_SIDES: dict[str, Side] = {"inhibit": "down", "finding": "down", "decide": "down", "lift": "up"}
_RANK = {"inhibit": 0, "finding": 1, "work": 2, "travel": 3, "wait": 4, "lift": 5}


@dataclass(frozen=True)
class BriefingEvent:
    """One event: PET minutes, who, kind (work, travel, wait, inhibit, lift, finding), a fact a sentence.

    The fact of the kind ``title`` says what it is; the others are as `StepWords` and `ProcedureWords` say.
    """

    at_min: float
    who: str
    kind: str
    step: str
    facts: tuple[Fact, ...]

    @property
    def words(self) -> str:
        """All of it as running text."""
        return " ".join(fact.words for fact in self.facts)

    @property
    def side(self) -> Side:
        """To which side its time is rounded for people."""
        return _SIDES.get(self.kind, "nearest")

    @property
    def minute(self) -> float:
        """When, in whole minutes of PET, as it is told."""
        return rounded(self.at_min, self.side)

    @property
    def pet(self) -> str:
        """When, as a PET label."""
        return pet_label(self.at_min, self.side)


def briefing_events(plan: TimedPlan) -> tuple[BriefingEvent, ...]:
    """Everything that happens, by the minute that is told; in it, inhibits first of what is at one moment."""
    teller = _Teller(plan)
    events = [*teller.inhibits(), *teller.findings(), *teller.activities()]
    return tuple(sorted(events, key=lambda told: (
        told.minute, round(told.at_min, 6), _RANK[told.kind])))


def is_hardly_a_wait(activity: Activity) -> bool:
    """Whether it is a wait that would be told as 0 min: seconds between the log and what is reckoned."""
    return activity.kind == WAIT and round(activity.minutes, 1) == 0


def open_lines(plan: TimedPlan) -> Iterator[tuple[float, str, str]]:
    """Stops and concerns: minute of PET (NaN for none), step, and what is found in a line."""
    for found in findings_in(told_findings(plan)):
        if found.severity != REMARK:
            line = f"{found.severity.capitalize()} ({found.check}): {one_line(found.words)}."
            yield found.start_min, found.step, line


class _Teller:
    def __init__(self, plan: TimedPlan) -> None:
        self.plan = plan
        self.names = Names(plan)
        self.step_words, self.procedure = StepWords(self.names), ProcedureWords(self.names)
        self.zones = {place.place: place.zone for place in plan.scenario.records.places}
        self.custody = plan.custody.to_dict("records")
        self.cautions = plan.cautions_on_the_way.to_dict("records")

    def inhibits(self) -> Iterator[BriefingEvent]:
        for hold in self.plan.inhibit_holds:
            record = hold.inhibit
            name, owner = record.inhibit + bracketed(record.title), one_line(record.owner)
            until = f"until {pet_label(hold.lift_after_min, 'up')}"
            held = f"{owner} holds it {until}" if owner else f"it holds {until}"
            reason = one_line(record.reason).rstrip(".")
            yield BriefingEvent(hold.set_by_min, "inhibit", "inhibit", record.from_step, (
                Fact("title", f"{name} must be in force; {held}."),
                *([Fact("reason", f"Reason: {reason}.")] if reason else [])))
            yield BriefingEvent(hold.lift_after_min, "inhibit", "lift", record.until_step,
                                (Fact("title", f"{name} may be lifted."),))

    def findings(self) -> Iterator[BriefingEvent]:
        for at_min, step, line in open_lines(self.plan):
            if at_min == at_min:
                yield BriefingEvent(at_min, "finding", "finding", step, (Fact("title", line),))

    def activities(self) -> Iterator[BriefingEvent]:
        for crew, lane in self.plan.lanes.items():
            for activity in lane:
                if is_hardly_a_wait(activity):
                    continue
                partners = self._together(activity)
                if crew == partners[0]:
                    who = " and ".join(self.names.who(partner) for partner in partners)
                    # The hazards that somebody enters in it, or that are there again.
                    entered = (boxed(f"{each.hazard.class_}: {hazard_line(each.hazard)}")
                               for partner in partners
                               for each in self._spells.get((partner, activity.step, activity.kind), ())
                               if activity.start_min <= each.from_min <= activity.finish_min)
                    rides = (fact for partner in partners
                             for fact in self._rides(replace(activity, crew=partner)))
                    yield BriefingEvent(activity.start_min, who, activity.kind, activity.step, (
                        *dict.fromkeys(entered), *self._facts(activity, len(partners) > 1),
                        *dict.fromkeys(rides)))

    def _together(self, activity: Activity) -> list[str]:
        """Who does just this at the same time: both in a shared step, in a shared wait, at ingress."""
        if activity.crew not in self.plan.travels or activity.kind == TRAVEL:
            return [activity.crew]
        key = _key(activity)
        return [crew for crew in self.plan.travels if key in map(_key, self.plan.lanes[crew])]

    def _facts(self, activity: Activity, plural: bool) -> Iterator[Fact]:
        if activity.kind == TRAVEL:
            yield from self._travel(activity)
            return
        if activity.kind == WAIT:
            place = f" at {self.names.title(activity.place)}" if activity.place else ""
            yield Fact("title", f"Wait{'' if plural else 's'} {minutes(activity.minutes)}{place}, until "
                         f"{pet_label(activity.finish_min)}: {self._reason(activity)}.")
            return
        length, until = minutes(activity.minutes), pet_label(activity.finish_min)
        if not activity.step:
            what = "the pressure can be breathed" if activity.title == REPRESS_TITLE else "inside"
            yield Fact("title", f"{activity.title}, {length}: {what} at {until}.")
            return
        step = self.names.steps[activity.step]
        place = f" At {self.names.title(step.place)}," if step.place else ""
        title = one_line(step.title)
        told = [replace(fact, words=f"{fact.words[:1].upper()}{fact.words[1:].rstrip('.')}.")
                for fact in self.step_words.facts(step)]
        yield from (fact for fact in told if fact.kind in BOXED)
        yield Fact("title", f"{step.step}{': ' + title if title else ''}.{place} {length}, until {until}.")
        yield from (fact for fact in told if fact.kind not in (*BOXED, *_AFTER))
        yield from self.procedure.facts(step)
        yield from (fact for fact in told if fact.kind in _AFTER)

    def _rides(self, activity: Activity) -> Iterator[Fact]:
        """What moves meanwhile with this crew member on it, as planned."""
        zone = self.zones.get(activity.place, "")
        for step, start, finish in self.plan.each_step() if zone else ():
            if (activity.crew in step.rides and zone in step.moves
                    and start < activity.finish_min and finish > activity.start_min):
                yield Fact("moves", f"Riding {one_line(zone)}, which {step.step} moves from "
                           f"{pet_label(start, 'down')} to {pet_label(finish, 'up')}.")

    def _travel(self, activity: Activity) -> Iterator[Fact]:
        legs = [p for p in self.plan.passages[activity.crew] if p.route is not None
                and activity.start_min <= p.start_min and p.finish_min <= activity.finish_min]
        over = [self.names.title(leg.place) for leg in legs[1:]]
        by = f" by {', '.join(over)}" if over else ""
        metres = sum(leg.route.metres for leg in legs if leg.route)
        far = f", {measure(metres, 'm', self.plan.scenario.settings, 'up')}" if legs else ""
        target = f" to {self.names.title(activity.to_place)}" if activity.to_place else ""
        carried = self._carried(activity)
        yield from self._hazards(activity)
        yield Fact("title", f"Goes from {self.names.title(activity.place)}{by}{target}: "
                     f"{minutes(activity.minutes)}{far}.")
        if carried:
            yield Fact("carries", f"Carries {carried}.")

    def _carried(self, activity: Activity) -> str:
        """What is in hand on the way; bags with what is in them."""
        middle = (activity.start_min + activity.finish_min) / 2
        now = [row for row in self.custody if row["holder"] == activity.crew
               and row["from_min"] <= middle < row["until_min"]]
        words = []
        for row in now:
            if not row["in_bag"]:
                inner = [str(other["item"]) for other in now if other["in_bag"] == row["item"]]
                inside = f" (in it: {self.names.items(inner)})" if inner else ""
                words.append(self.names.item(str(row["item"])) + inside)
        return "; ".join(words)

    def _hazards(self, activity: Activity) -> Iterator[Fact]:
        for row in self.cautions:
            if row["crew"] == activity.crew and activity.start_min <= row["at_min"] <= activity.finish_min:
                place, caution = self.names.title(row["place"]), one_line(row["caution"]).rstrip(".")
                to_place = f" to {self.names.title(row['to_place'])}" if row["to_place"] else ""
                is_said = not to_place and caution.casefold().startswith(place.casefold())
                yield boxed(f"{row['class']}: {'' if is_said else f'{place}{to_place}: '}{caution}")

    @cached_property
    def _spells(self) -> dict[tuple[str, str, str], list[Exposure]]:
        return grouped(((crew, each.step, each.doing), each) for crew in self.plan.travels
                       for each in hazards_entered(self.plan, crew))

    def _reason(self, activity: Activity) -> str:
        kind, _, name = activity.held_by.partition(":")
        if not activity.held_by:
            return "for the partner to come to the airlock"
        if kind == "after" and name in self.names.steps:
            other = self.names.steps[name]
            finish = pet_label(float(self.plan.finishes[self.plan.position(name)]))
            return f"{self.names.step(name)} must be done first ({self.names.who(other.crew)}, {finish})"
        if kind in (LIGHT, LINK, WINDOW):
            return one_line(window_opens(self.plan, activity.held_by))
        words = {
            LOGGED: f"{self.names.step(activity.step)} began only then, as logged",
            NOW: f"{self.names.step(activity.step)} has not been called as begun",
            TURN: "was bound for something else when it was decided",
            "partner": f"for {self.names.who(name)}",
            "group": f"the steps of {one_line(name)!r} share one window",
            "late": f"as late as it can, {self.names.step(name)} needs it no sooner",
            "late_end": f"as late as it can before the end of {one_line(name).replace('-', ' ')}",
            "max_gap": f"{self.names.step(name)} must follow closely",
            "min_gap": f"the least time after {self.names.step(name)} must pass",
        }
        return words.get(kind, f"for {one_line(name)}")


_AFTER = ("leaves", "tether", "safe", "clears")
"""Facts of the end of a step."""


def _key(activity: Activity) -> tuple[object, ...]:
    shared = activity.step if activity.kind != WAIT else activity.held_by
    return activity.kind, shared, activity.title, activity.place, activity.start_min, activity.finish_min
