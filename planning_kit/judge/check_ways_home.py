"""Check: hazards on the ways home, which the plan itself does not go.

``way-home``: rule ``through-hazard``, about the hazard and a crew member. An abort or a terminate goes the
quickest way, whatever the plan goes. Neglected: who brings a partner, and whoever is between two places.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import inf, isinf

import numpy as np

from planning_kit.inputs.records import Crew, Hazard
from planning_kit.inputs.times import pet_label
from planning_kit.judge.findings import CONCERN, Finding
from planning_kit.plan.activities import TRAVEL, WORK, Activity
from planning_kit.plan.hazard_reach import Reach
from planning_kit.plan.hazard_times import Conditions, control_windows, controlled
from planning_kit.plan.legs import Passage, crew_passages
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan
from planning_kit.sky.windows import Windows, complement, intersect

CHECK = "way-home"
_FORBIDDEN = ("keep_out", "no_contact")


def check_ways_home(plan: TimedPlan) -> Iterator[Finding]:
    """The quickest way home from where somebody stands leads through an uncontrolled hazard (concern)."""
    hazards = [each for each in plan.scenario.records.hazards
               if each.limit in _FORBIDDEN and each.class_ != "note"]
    if not hazards:
        return
    by_inhibit = control_windows(plan.inhibit_holds)
    conditions = Conditions(plan, plan.passages, plan.tracked_custody, by_inhibit)
    homes = {crew.crew: _homes(plan, crew) for crew in plan.scenario.records.crew}
    for hazard in hazards:
        held = controlled(hazard.controls, by_inhibit)
        opened = intersect(conditions.of(hazard)[0], complement(held, (-inf, inf)))
        reach = Reach(plan.scenario.records, hazard)
        for crew, legs_home in homes.items():
            if hazard.applies_to and crew not in hazard.applies_to:
                continue
            inside = {place: [leg for leg in legs if _is_inside(plan, leg, reach)]
                      for place, legs in legs_home.items()}
            met = [(stay, leg) for stay in plan.passages[crew] if stay.route is None
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


def _is_inside(plan: TimedPlan, leg: Passage, reach: Reach) -> bool:
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
    title = f" ({hazard.title})" if hazard.title else ""
    places = ", ".join(dict.fromkeys(plan.place_title(stay.place) for stay, _ in met))
    needs = f", which needs {hazard.controls.words}" if hazard.controls else ""
    return Finding(
        CONCERN, CHECK, "through-hazard", about=hazard.hazard, crew=first.crew, step=first.step,
        start_min=first.start_min,
        message=f"the quickest way home of {first.crew} from {places} leads through hazard {hazard.hazard}"
                f"{title}, a {hazard.class_}{needs}, between {plan.place_title(leg.place)} and "
                f"{plan.place_title(leg.to_place)}, at some minute from {pet_label(first.start_min, 'down')} "
                f"to {pet_label(last.finish_min, 'up')} at which nothing controls it: hold its controls as "
                "long as somebody is out there, or agree another way home",
        source=hazard.source or "hazards.limit")
