"""Check: hazards on the ways home, which the plan itself does not go.

``way-home``: rule ``through-hazard``, about the hazard and a crew member. An abort or a terminate goes the
quickest way, whatever the plan goes. Neglected: who brings a partner, and whoever is between two places.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from math import inf, isinf

import numpy as np

from planning_kit.inputs.records import Hazard
from planning_kit.inputs.times import pet_label
from planning_kit.judge.findings import CONCERN, Finding
from planning_kit.plan.hazard_reach import Reach
from planning_kit.plan.hazard_times import Conditions, control_windows, controlled
from planning_kit.plan.legs import Passage
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.travel import leg_minutes
from planning_kit.sky.windows import Windows, complement, intersect, no_windows

CHECK = "way-home"
_FORBIDDEN = ("keep_out", "no_contact")


def check_ways_home(plan: TimedPlan) -> Iterator[Finding]:
    """The quickest way home from where somebody stands leads through an uncontrolled hazard (concern)."""
    hazards = [each for each in plan.scenario.records.hazards
               if each.limit in _FORBIDDEN and each.class_ != "note"]
    if not hazards:
        return
    by_inhibit = control_windows(plan, plan.inhibit_holds)
    conditions = Conditions(plan, plan.passages, plan.tracked_custody, by_inhibit)
    for hazard in hazards:
        held = controlled(hazard.controls, by_inhibit) if hazard.controls else no_windows()
        opened = intersect(conditions.of(hazard)[0], complement(held, (-inf, inf)))
        reach = Reach(plan.scenario.records, hazard)
        for crew in plan.scenario.records.crew:
            met = [] if hazard.applies_to and crew.crew not in hazard.applies_to else [
                (each, leg) for each in plan.passages[crew.crew] if each.route is None
                for leg in [_leg_inside(plan, each, crew.metres_per_min, reach, opened)] if leg]
            if met:
                yield _through(plan, hazard, met)


def _leg_inside(plan: TimedPlan, stay: Passage, metres_per_min: float, reach: Reach,
                opened: Windows) -> tuple[str, str] | None:
    """The first leg home inside while nothing controls, if they leave at some minute of a stay."""
    travel, airlock = plan.travels[stay.crew], plan.scenario.settings.airlock_place
    if stay.place == airlock or isinf(travel.time_min(stay.place, airlock)):
        return None
    way = travel.way(stay.place, airlock)
    after = 0.0 if stay.doing != "work" or not stay.step else (
        plan.steps[plan.position(stay.step)].safe_orderly_min or 0.0)
    begin, end = stay.start_min, stay.finish_min + after
    for (place, to_place), route in zip(pairwise(way), travel.routes_on(way), strict=True):
        end += leg_minutes(route, metres_per_min)
        is_inside = reach.on(place, to_place, route) or (to_place != airlock and reach.passes(to_place))
        if is_inside and np.any((opened[:, 0] < end - ROUNDING_MIN) & (opened[:, 1] > begin + ROUNDING_MIN)):
            return place, to_place
        begin += leg_minutes(route, metres_per_min)
    return None


def _through(plan: TimedPlan, hazard: Hazard, met: list[tuple[Passage, tuple[str, str]]]) -> Finding:
    (first, (place, to_place)), last = met[0], met[-1][0]
    title = f" ({hazard.title})" if hazard.title else ""
    places = ", ".join(dict.fromkeys(plan.place_title(stay.place) for stay, _ in met))
    needs = f", which needs {hazard.controls.words}" if hazard.controls else ""
    return Finding(
        CONCERN, CHECK, "through-hazard", about=hazard.hazard, crew=first.crew, step=first.step,
        start_min=first.start_min,
        message=f"the quickest way home of {first.crew} from {places} leads through hazard {hazard.hazard}"
                f"{title}, a {hazard.class_}{needs}, between {plan.place_title(place)} and "
                f"{plan.place_title(to_place)}, at some minute from {pet_label(first.start_min, 'down')} to "
                f"{pet_label(last.finish_min, 'up')} at which nothing controls it: hold its controls as long "
                "as somebody is out there, or agree another way home",
        source=hazard.source or "hazards.limit")
