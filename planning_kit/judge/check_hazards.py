"""Checks of hazards where people are and on their ways home, each about the hazard and a crew member.

``hazards``: at work, on the way and waiting. For ``keep_out`` and ``no_contact``, one a spell inside:
``no-control``, ``lifted`` (while inside), ``not-yet-safe``, ``not-confirmed``; ``stay-too-long`` and
``total-too-long``; ``contamination-inside``; about the zone ``on-moving-zone``. Minutes in which a control
holds do not count.

``way-home``: rule ``through-hazard``. An abort or a terminate goes the quickest way, whatever the plan goes.
Neglected: who brings a partner, and whoever is between two places.
"""

from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from math import inf, isinf

import numpy as np

from planning_kit.inputs.hazard_words import Controls
from planning_kit.inputs.records import Crew, Hazard, Step
from planning_kit.inputs.times import number_label, pet_label, pet_spans
from planning_kit.judge.check_custody import at_words
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan import hazard_presence as presence
from planning_kit.plan.activities import TRAVEL, WORK, Activity
from planning_kit.plan.exposures import Exposure, lasts_through, open_parts, spells_of
from planning_kit.plan.legs import Passage, crew_passages
from planning_kit.plan.needs import Hold
from planning_kit.plan.network import ROUNDING_MIN, grouped
from planning_kit.plan.timed import TimedPlan
from planning_kit.sky.windows import Windows, complement, intersect

HAZARDS, WAY_HOME = "hazards", "way-home"
_FORBIDDEN = ("keep_out", "no_contact")
_OPEN_RULES = ("no-control", "lifted", "not-yet-safe", "not-confirmed")  # of several in one spell the first
_TOO_LONG = {"warning": STOP, "caution": CONCERN, "note": REMARK}


def check_exposures(plan: TimedPlan) -> Iterator[Finding]:
    """Inside a hazard that nobody may be in, without a control in force: a stop, of a note a concern."""
    @cache
    def held(controls: Controls | None) -> dict[str, Windows]:
        return {stage: presence.controlled(controls, presence.control_windows(plan.inhibit_holds, stage))
                for stage in (presence.HELD, presence.SAFE, presence.CONFIRMED)}

    for spell in spells_of(plan.tracked_exposures, *_FORBIDDEN):
        if parts := open_parts(spell):
            rules = [_why_open(begin, end, spell[0].from_min, held(spell[0].hazard.controls))
                     for begin, end in parts]
            yield _exposed(plan, spell, parts, min(rules, key=_OPEN_RULES.index))


def _why_open(begin: float, end: float, inside_from: float, held: Mapping[str, Windows]) -> str:
    """Why nothing controls in a part. ``held``: when the controls stand, are safe and confirmed."""
    if lasts_through(held[presence.SAFE], begin, end):
        return "not-confirmed"
    if lasts_through(held[presence.HELD], begin, end):
        return "not-yet-safe"
    # Of one that was never confirmed in time the lift is no news: it did not control before.
    was_held = np.any(np.abs(held[presence.CONFIRMED][:, 1] - begin) <= ROUNDING_MIN)
    return "lifted" if was_held and begin > inside_from + ROUNDING_MIN else "no-control"


def _exposed(plan: TimedPlan, spell: Sequence[Exposure], parts: Sequence[tuple[float, float]],
             rule: str) -> Finding:
    hazard, crew, begin = spell[0].hazard, spell[0].crew, parts[0][0]
    first = next(one for one in spell if one.open_spans and one.until_min >= begin)
    minutes = sum(end - start for start, end in parts)
    last = max(one.until_min for one in spell)
    doubt = next((one.assumed for one in spell if one.open_spans and one.assumed), "")
    return Finding(
        CONCERN if hazard.class_ == "note" else STOP, HAZARDS, rule, about=hazard.hazard, crew=crew,
        step=first.step, start_min=begin,
        message=f"{crew} is inside {_name(hazard)} from {pet_spans((spell[0].from_min, last))}, of that "
                f"without a control from {pet_spans(*parts)} ({number_label(minutes, 'up')} min), first "
                f"{at_words(plan, first.place, first.to_place)}: {_remedy(plan, hazard, rule, parts, last)}"
                f"{f'. Assumed: {doubt}' if doubt else ''}",
        source=hazard.source or "hazards.limit", value=minutes, limit=0.0, margin=-minutes)


def _remedy(plan: TimedPlan, hazard: Hazard, rule: str, parts: Sequence[tuple[float, float]],
            last: float) -> str:
    if hazard.controls is None:
        if off := " and ".join(term.about for term in hazard.when if term.kind == "off"):
            return f"it is there while {off} does not control (when); let it do so all the while, or stay out"
        return "nothing controls it; go another way, or at another time, or name its controls"
    begin, end = parts[0]
    holds = [hold for hold in plan.inhibit_holds if hold.inhibit.inhibit in hazard.controls.names]
    needs = f"it needs {hazard.controls.words}; {', '.join(_stands(hold) for hold in holds)}"
    if rule == "lifted":
        lifted = [hold for hold in holds if abs(hold.lift_after_min - begin) <= ROUNDING_MIN] or holds
        steps = " and ".join(dict.fromkeys(hold.inhibit.until_step for hold in lifted))
        return (f"{needs}. Be out before {steps} is finished, or hold until "
                f"{pet_label(last, 'up')} or later (inhibits.until_step)")
    if rule == "not-yet-safe":
        return (f"{needs}. Set it {number_label(end - begin, 'up')} min earlier (inhibits.lead_min), or come "
                "later")
    if rule == "not-confirmed":
        steps = " and ".join(dict.fromkeys(hold.inhibit.confirmed_by for hold in holds
                                           if hold.inhibit.confirmed_by))
        return (f"{needs}. Let {steps}, which confirms it, be finished by {pet_label(begin, 'down')}, or "
                "come later")
    return f"{needs}. Let it stand for all of that (inhibits.from_step, until_step), or stay out"


def _stands(hold: Hold) -> str:
    """When an inhibit stands, and from when on it controls where that is later."""
    inhibit = hold.inhibit
    words = (f"{inhibit.inhibit} stands from {pet_label(hold.set_by_min, 'up')} to "
             f"{pet_label(hold.lift_after_min, 'down')}")
    if not (inhibit.safe_after_min or inhibit.confirmed_by):
        return words
    controls = presence.control_windows([hold])[inhibit.inhibit]
    why = " and ".join(["safe"] * bool(inhibit.safe_after_min) + ["confirmed"] * bool(inhibit.confirmed_by))
    if not len(controls):
        return f"{words} but is never {why}"
    return f"{words} and is {why} from {pet_label(float(controls[0, 0]), 'up')} on"


def check_stays(plan: TimedPlan) -> Iterator[Finding]:
    """Longer inside at a time, or in all, than a hazard allows: by its class a stop, concern or remark."""
    for spell in spells_of(plan.tracked_exposures, "stay"):
        most = spell[0].hazard.limit_min or 0.0
        for begin, end in open_parts(spell):
            if end - begin > most + ROUNDING_MIN:
                yield _too_long(
                    "stay-too-long", spell, begin, end - begin, f"from {pet_spans((begin, end))}, "
                    f"{number_label(end - begin, 'up')} min at a time", "leave sooner, or break it up")
    by_person = grouped(((each.hazard.hazard, each.crew), each) for each in plan.tracked_exposures
                        if each.hazard.limit == "total")
    for every in by_person.values():
        parts, most = open_parts(every), every[0].hazard.limit_min or 0.0
        minutes = sum(end - begin for begin, end in parts)
        if minutes > most + ROUNDING_MIN:
            yield _too_long("total-too-long", every, _reached_min(parts, most), minutes,
                            f"{number_label(minutes, 'up')} min in all, in {len(parts)} "
                            f"stay{'s' * (len(parts) != 1)} from {pet_spans((parts[0][0], parts[-1][1]))}",
                            "leave sooner, or share it with the partner")


def _reached_min(parts: Sequence[tuple[float, float]], most: float) -> float:
    """When so many minutes are used up."""
    for begin, end in parts:
        if end - begin >= most:
            return begin + most
        most -= end - begin
    return parts[-1][1]


def _too_long(rule: str, spell: Sequence[Exposure], at_min: float, minutes: float, words: str,
              remedy: str) -> Finding:
    hazard, most = spell[0].hazard, spell[0].hazard.limit_min or 0.0
    first = next(one for one in spell if one.until_min >= at_min)
    return Finding(
        _TOO_LONG[hazard.class_], HAZARDS, rule, about=hazard.hazard, crew=first.crew, step=first.step,
        start_min=at_min,
        message=f"{first.crew} is inside {_name(hazard)} {words}; at most {most:g} allowed, "
                f"{number_label(minutes - most, 'up')} min too long: {remedy}",
        source=hazard.source or "hazards.limit_min", value=minutes, limit=most, margin=most - minutes)


def check_contamination(plan: TimedPlan) -> Iterator[Finding]:
    """Exposed, and going in without a step that clears it: of a warning a stop, else a concern.

    A step clears its crew where it begins once the exposure is over.
    """
    going_in = plan.end_min - plan.network.ends_min
    by_person = grouped(((each.hazard.hazard, each.crew), each) for each in plan.tracked_exposures
                        if each.hazard.kind == "contamination" and each.open_spans)
    for (name, crew), exposures in by_person.items():
        until = open_parts(exposures)[-1][1]
        is_cleared = any(name in step.clears and crew in step.people and start >= until - ROUNDING_MIN
                         for step, start, _ in plan.each_step())
        if not is_cleared:
            last, hazard = exposures[-1], exposures[-1].hazard
            yield Finding(
                STOP if hazard.class_ == "warning" else CONCERN, HAZARDS, "contamination-inside",
                about=name, crew=crew, step=last.step, start_min=going_in,
                message=f"{crew} is last exposed to {_name(hazard)} until {pet_label(until, 'up')}, "
                        f"{at_words(plan, last.place, last.to_place)}, and goes in at {pet_label(going_in)} "
                        f"without being cleared: add a step after that with {crew} in its crew and clears = "
                        f"{name}",
                source=hazard.source or "hazards.kind")


def check_moving_zones(plan: TimedPlan) -> Iterator[Finding]:
    """On a zone while a step moves it, and not planned to ride; getting on or off meanwhile (stop)."""
    zones = {place.place: place.zone for place in plan.scenario.records.places if place.zone}
    for step, start, finish in plan.each_step():
        for zone in step.moves:
            for crew, passages in plan.passages.items():
                met = [each for each in passages if _is_on(each, zone, zones, crew in step.rides)
                       and (min(each.finish_min, finish) - max(each.start_min, start) > ROUNDING_MIN
                            or (start == finish and each.start_min <= start <= each.finish_min))]
                if met:
                    yield _on_moving(plan, step, zone, met, start, finish)


def _is_on(passage: Passage, zone: str, zones: Mapping[str, str], rides: bool) -> bool:
    """On a moving zone as nobody should be: a rider only on a leg that leads on to it or off it."""
    ends = [zones.get(place) == zone for place in (passage.place, passage.to_place) if place]
    return passage.is_known and any(ends) and not (rides and all(ends))


def _on_moving(plan: TimedPlan, step: Step, zone: str, met: Sequence[Passage], start: float,
               finish: float) -> Finding:
    first, rides = met[0], met[0].crew in step.rides
    begin = max(first.start_min, start)
    minutes = sum(min(each.finish_min, finish) - max(each.start_min, start) for each in met)
    does, remedy = (("gets on or off", f"let {first.crew} be on it before and until the end") if rides else
                    ("is on", f"let {first.crew} be off it until then, or name who rides (steps.rides)"))
    way = f" on the way to {plan.place_title(first.to_place)}" if first.to_place else ""
    return Finding(
        STOP, HAZARDS, "on-moving-zone", about=zone, crew=first.crew, step=step.step, start_min=begin,
        message=f"{step.step} moves zone {zone} from {pet_spans((start, finish))} while {first.crew} {does} "
                f"it, {number_label(minutes, 'up')} min, first at {plan.place_title(first.place)}{way} from "
                f"{pet_label(begin, 'down')}: {remedy}",
        source="steps.moves", value=minutes, limit=0.0, margin=-minutes)


def _name(hazard: Hazard) -> str:
    title = f" ({hazard.title})" if hazard.title else ""
    return f"hazard {hazard.hazard}{title}, a {hazard.class_},"


def check_ways_home(plan: TimedPlan) -> Iterator[Finding]:
    """The quickest way home from where somebody stands leads through an uncontrolled hazard (concern)."""
    hazards = [each for each in plan.scenario.records.hazards
               if each.limit in _FORBIDDEN and each.class_ != "note"]
    if not hazards:
        return
    by_inhibit = presence.control_windows(plan.inhibit_holds)
    conditions = presence.Conditions(plan, plan.passages, plan.tracked_custody, by_inhibit)
    homes = {crew.crew: _homes(plan, crew) for crew in plan.scenario.records.crew}
    for hazard in hazards:
        held = presence.controlled(hazard.controls, by_inhibit)
        opened = intersect(conditions.of(hazard)[0], complement(held, (-inf, inf)))
        reach = presence.Reach(plan.scenario.records, hazard)
        for crew, legs_home in homes.items():
            if hazard.applies_to and crew not in hazard.applies_to:
                continue
            inside = {place: [leg for leg in legs if _is_inside(plan, leg, reach)]
                      for place, legs in legs_home.items()}
            met = [(stay, leg) for stay in plan.passages[crew] if stay.route is None and stay.is_known
                   for leg in inside.get(stay.place, []) if _is_open(plan, stay, leg, opened)]
            if met:
                yield _through(plan, hazard, met)


def _homes(plan: TimedPlan, crew: Crew) -> dict[str, tuple[Passage, ...]]:
    """The quickest way home from each place where somebody stands, leg by leg, in minutes after the start."""
    travel, airlock = plan.travels[crew.crew], plan.scenario.settings.airlock_place
    ways = {stay.place: travel.time_min(stay.place, airlock) for stay in plan.passages[crew.crew]
            if stay.route is None and stay.place != airlock}
    return {start: crew_passages(travel, crew.metres_per_min, [
        Activity(crew.crew, TRAVEL, "", "", "", start, airlock, 0.0, minutes)])
        for start, minutes in ways.items() if not isinf(minutes)}


def _is_inside(plan: TimedPlan, leg: Passage, reach: presence.Reach) -> bool:
    """Whether the leg is inside, or the named place that it leads to."""
    passes = leg.to_place != plan.scenario.settings.airlock_place and reach.passes(leg.to_place)
    return passes or (leg.route is not None and bool(reach.on(leg.place, leg.to_place, leg.route)))


def _is_open(plan: TimedPlan, stay: Passage, leg: Passage, opened: Windows) -> bool:
    """Whether they may be on the leg at a minute in ``opened``, if they leave at some minute of a stay."""
    safe_min = 0.0 if stay.doing != WORK or not stay.step else (
        plan.steps[plan.position(stay.step)].safe_orderly_min or 0.0)
    begin, end = stay.start_min + leg.start_min, stay.finish_min + safe_min + leg.finish_min
    return bool(np.any((opened[:, 0] < end - ROUNDING_MIN) & (opened[:, 1] > begin + ROUNDING_MIN)))


def _through(plan: TimedPlan, hazard: Hazard, met: list[tuple[Passage, Passage]]) -> Finding:
    (first, leg), last = met[0], met[-1][0]
    places = ", ".join(dict.fromkeys(plan.place_title(stay.place) for stay, _ in met))
    needs = f" which needs {hazard.controls.words}," if hazard.controls else ""
    return Finding(
        CONCERN, WAY_HOME, "through-hazard", about=hazard.hazard, crew=first.crew, step=first.step,
        start_min=first.start_min,
        message=f"the quickest way home of {first.crew} from {places} leads through {_name(hazard)}{needs} "
                f"between {plan.place_title(leg.place)} and "
                f"{plan.place_title(leg.to_place)}, at some minute from {pet_label(first.start_min, 'down')} "
                f"to {pet_label(last.finish_min, 'up')} at which nothing controls it: hold its controls as "
                "long as somebody is out there, or agree another way home",
        source=hazard.source or "hazards.limit")
