"""Checks of what is typed about hazards against what follows from the plan, and of looks at the suit.

``hazard-data``: rules ``needed-by``, ``never-controls``, ``confirmed-early`` (about the inhibit),
``no-source``, ``no-body-m`` (about the hazards), ``moved-places`` (about the zones).

``looks``: rules ``no-look``, ``no-every-min`` (about what is looked at), ``no-source`` (see `check_limits`).
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from planning_kit.inputs.times import number_label, pet_label, pet_spans
from planning_kit.judge.findings import CONCERN, REMARK, Finding
from planning_kit.plan.exposures import lasts_through
from planning_kit.plan.hazard_presence import HELD, control_windows, controlled
from planning_kit.plan.needs import Hold
from planning_kit.plan.network import ROUNDING_MIN, grouped
from planning_kit.plan.timed import TimedPlan

DATA = "hazard-data"


def check_needed_by(plan: TimedPlan) -> Iterator[Finding]:
    """``needed_by`` against the steps exposed to what the inhibit controls (remark), one an inhibit."""
    named = grouped((name, hazard) for hazard in plan.scenario.records.hazards for name in hazard.inhibits)
    if not named:
        return
    # Those too that an inhibit ends: a step that needs it would be exposed without it.
    ended = {each.hazard: replace(each, when=tuple(term for term in each.when if term.kind != "off"))
             for each in plan.scenario.records.hazards if any(term.kind == "off" for term in each.when)}
    exposures = grouped((each.hazard.hazard, each) for each in (
        *(each for each in plan.tracked_exposures if each.hazard.hazard not in ended),
        *plan.exposed_to([*ended.values()])))
    by_inhibit = control_windows(plan.inhibit_holds, HELD)
    for inhibit in plan.scenario.records.inhibits:
        hazards = named.get(inhibit.inhibit, [])
        met = [each for hazard in hazards for each in exposures.get(hazard.hazard, [])]
        without = {name: windows for name, windows in by_inhibit.items() if name != inhibit.inhibit}
        others = {hazard.hazard: controlled(hazard.controls, without) for hazard in hazards}
        work = dict.fromkeys(each.step for each in met if each.doing == "work" and each.step
                             and not lasts_through(others[each.hazard.hazard], each.from_min, each.until_min))
        exposed = {each.step for each in met}
        parts = (("not typed", [step for step in work if step not in inhibit.needed_by]),
                 ("typed, but without one", [step for step in inhibit.needed_by if step not in exposed]))
        words = "; ".join(f"{what}: {', '.join(steps)}" for what, steps in parts if steps)
        if hazards and words:
            yield Finding(
                REMARK, DATA, "needed-by", about=inhibit.inhibit,
                message=f"needed_by of inhibit {inhibit.inhibit} is not the steps with an exposure to "
                        f"{', '.join(hazard.hazard for hazard in hazards)}. {words}: type what is right, or "
                        "mend the hazard", source="inhibits.needed_by")


def check_controls(plan: TimedPlan) -> Iterator[Finding]:
    """An inhibit that is lifted before it is safe and confirmed controls nothing (concern)."""
    controls = control_windows(plan.inhibit_holds)
    for hold in plan.inhibit_holds:
        if hold.lift_after_min > hold.set_by_min and not len(controls[hold.inhibit.inhibit]) and (
                hold.inhibit.confirmed_by or hold.inhibit.safe_after_min):
            yield _never_controls(plan, hold)


def _never_controls(plan: TimedPlan, hold: Hold) -> Finding:
    inhibit = hold.inhibit
    safe_min = hold.set_by_min + (inhibit.safe_after_min or 0.0)
    reached = [(safe_min, "safe only at {} (safe_after_min)")]
    if inhibit.confirmed_by:
        reached.append((plan.span(inhibit.confirmed_by)[1],
                        f"confirmed only at {{}}, when {inhibit.confirmed_by} is finished"))
    late = max(at for at, _ in reached)
    why = [f"is {words.format(pet_label(at, 'up'))}" for at, words in reached if at >= hold.lift_after_min]
    return Finding(
        CONCERN, DATA, "never-controls", about=inhibit.inhibit, step=inhibit.until_step,
        start_min=hold.lift_after_min,
        message=f"inhibit {inhibit.inhibit} {' and '.join(why) or 'ends before it begins'}, but is lifted at "
                f"{pet_label(hold.lift_after_min, 'down')} with {inhibit.until_step}: it never controls "
                "anything; move what confirms it earlier, or hold it longer",
        source="inhibits.safe_after_min, confirmed_by", value=late, limit=hold.lift_after_min,
        margin=hold.lift_after_min - late)


def check_confirmations(plan: TimedPlan) -> Iterator[Finding]:
    """An inhibit that is confirmed before it must stand: nobody sees what is set after that (remark)."""
    for hold in plan.inhibit_holds:
        inhibit, early = hold.inhibit, hold.set_by_min - hold.confirmed_min
        if early > ROUNDING_MIN:  # not so where no step confirms it, as NaN is no number
            yield Finding(
                REMARK, DATA, "confirmed-early", about=inhibit.inhibit, step=inhibit.confirmed_by,
                start_min=hold.confirmed_min,
                message=f"inhibit {inhibit.inhibit} is confirmed at {pet_label(hold.confirmed_min, 'down')}, "
                        f"when {inhibit.confirmed_by} is finished, but must stand only from "
                        f"{pet_label(hold.set_by_min, 'up')} on: nobody sees what is set after that. Let it "
                        f"stand from {inhibit.confirmed_by} on (from_step, lead_min), or confirm it later",
                source="inhibits.confirmed_by", value=hold.confirmed_min, limit=hold.set_by_min,
                margin=-early)


def check_moved_places(plan: TimedPlan) -> Iterator[Finding]:
    """Spheres while a part of the station turns: nobody knows where its places are then (remark)."""
    zones = list(dict.fromkeys(zone for step in plan.steps for zone in step.moves))
    spheres = [hazard.hazard for hazard in plan.scenario.records.hazards if hazard.centre]
    if zones and spheres:
        yield Finding(
            REMARK, DATA, "moved-places", about=" ".join(zones),
            message=f"steps move {', '.join(zones)}, and places there count as where places.csv has them, "
                    f"while they move and after: whether they come into {', '.join(spheres)} is not checked")


def check_hazard_data(plan: TimedPlan) -> Iterator[Finding]:
    """Hazards without a source, and spheres while nobody says how far a body reaches (remarks)."""
    hazards, checks = plan.scenario.records.hazards, plan.scenario.settings.checks
    if bare := [hazard.hazard for hazard in hazards if not hazard.source]:
        yield Finding(REMARK, DATA, "no-source", about=" ".join(bare),
                      message=f"no source is given for {', '.join(bare)} (hazards.source): say who says so")
    spheres = [hazard.hazard for hazard in hazards if hazard.centre]
    if spheres and checks.body_m is None:
        yield Finding(
            REMARK, DATA, "no-body-m", about=" ".join(spheres),
            message=f"[checks] body_m is not given: in {', '.join(spheres)} a crew member counts as a point, "
                    "so that an arm or a boot may be inside while no exposure is told")


LOOKS = "looks"


def check_looks(plan: TimedPlan) -> Iterator[Finding]:
    """A crew member who does not look at the gloves, or whatever is checked, often enough (concern).

    Nobody knows when within a step the look is: between two of them it counts from the start of the one to
    the finish of the other.
    """
    every_min = plan.scenario.settings.checks.every_min
    names = list(dict.fromkeys(name for step in plan.steps for name in step.checks))
    if every_min is None:
        if names:
            yield Finding(
                REMARK, LOOKS, "no-every-min", about=" ".join(names),
                message=f"steps have checks of {', '.join(names)}, but [checks] every_min is not given: "
                        "whether they are often enough is not checked")
        return
    for crew in plan.travels:
        for name in names or [""]:
            yield from _looks(plan, crew, name, every_min)


def _looks(plan: TimedPlan, crew: str, name: str, every_min: float) -> Iterator[Finding]:
    looks = sorted((start, finish, step.step) for step, start, finish in plan.each_step()
                   if name in step.checks and crew in step.people)
    ends = [(0.0, 0.0, ""), *looks, (plan.end_min, plan.end_min, "")]
    begin, end, step = max(((one[0], other[1], one[2]) for one, other in pairwise(ends)),
                           key=lambda gap: gap[1] - gap[0])
    minutes = end - begin
    if looks and minutes <= every_min + ROUNDING_MIN:
        return
    does = f"does not look at {name}" if name else "looks at nothing (no step has checks)"
    ever = "in the whole outing" if not looks else (
        f"from {pet_spans((begin, end))}, {number_label(minutes, 'up')} min")
    yield Finding(
        CONCERN, LOOKS, "no-look", about=name, crew=crew, step=step, start_min=begin,
        message=f"{crew} {does} {ever}; at most {every_min:g} min allowed: put "
                f"{name or 'what is looked at'} into the checks of a step of {crew} in between",
        source=plan.scenario.settings.checks.sources.get("every_min", ""), value=minutes, limit=every_min,
        margin=every_min - minutes)
