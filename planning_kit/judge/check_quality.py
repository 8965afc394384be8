"""Checks of how good a plan is, where it breaks nothing: long waits, work that fits in one, cliffs too near.

``quality``: rules ``long-wait`` (longer than ``[limits] wait_remark_min``; where that is not given, none),
``fits-in-wait`` (about the step that could be done meanwhile); ``cliff-near`` (about the window).
"""

from collections.abc import Iterator
from functools import partial
from math import inf

from planning_kit.inputs.records import Step
from planning_kit.inputs.times import number_label, pet_label
from planning_kit.judge.findings import CONCERN, REMARK, Finding
from planning_kit.judge.margins import is_past, near_windows
from planning_kit.plan.activities import WAIT, Activity
from planning_kit.plan.build import travel_into, work_order
from planning_kit.plan.network import MAX_GAP, ORDER, ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan

CHECK = "quality"


def check_waits(plan: TimedPlan) -> Iterator[Finding]:
    """A wait longer than the limit for it, and the longest step that could be done in it (remarks)."""
    limits = plan.scenario.settings.limits
    most = inf if limits.wait_remark_min is None else limits.wait_remark_min
    for wait in (each for crew in plan.travels for each in plan.lanes[crew] if each.kind == WAIT):
        if wait.minutes <= most + ROUNDING_MIN or is_past(plan, wait.finish_min):
            continue
        remark = partial(Finding, REMARK, CHECK, crew=wait.crew, step=wait.step, start_min=wait.start_min)
        when = f"{pet_label(wait.start_min)} to {pet_label(wait.finish_min)}"
        before = f" before {wait.step}" if wait.step else ""
        yield remark("long-wait", value=wait.minutes, limit=most, margin=most - wait.minutes, message=(
            f"{wait.crew} waits {number_label(wait.minutes, 'up', 0)} min at {plan.place_title(wait.place)}, "
            f"{when}{before} ({wait.title[:1].lower()}{wait.title[1:]}); told from {most:g} min on: do other "
            "work meanwhile, or come later"), source=limits.sources.get("wait_remark_min", ""))
        fits = [step for step in _later_alone(plan, wait)
                if wait.place and step.place and _fits(plan, wait, step)]
        for step in sorted(fits, key=lambda step: -step.minutes_likely)[:1]:
            likely = step.minutes_likely
            yield remark("fits-in-wait", step.step, value=likely, limit=wait.minutes,
                         margin=wait.minutes - likely, message=(
                f"{step.step} ({likely:g} min of {wait.crew}) would fit in the wait from {when}, and no rule "
                "binds it to what is before it: see whether it can be moved there (plan.what_if(move=...))"))


def _later_alone(plan: TimedPlan, wait: Activity) -> Iterator[Step]:
    """The later steps of one crew member alone that nothing but the order of work keeps behind the wait."""
    held = {name for each in plan.scenario.records.inhibits
            for name in (each.from_step, each.until_step, *each.needed_by)}
    held |= {gap.first_step for gap in plan.scenario.records.gaps if gap.max_gap is not None}
    lane = work_order(plan.steps, wait.crew)
    behind = [position for position in lane if plan.starts[position] >= wait.finish_min - ROUNDING_MIN]
    touched: set[str] = set()
    for position in behind:
        step = plan.steps[position]
        bounds = [bound for bound in plan.network.bounds_into[position] if bound.kind not in (ORDER, MAX_GAP)]
        ready = max((plan.starts[bound.before] + bound.weight_min(plan.durations) for bound in bounds),
                    default=0.0)
        own = _items(step)
        is_free = step.crew == wait.crew and not (step.same_window or step.hooks or step.moves or
                                                  step.step in held or own & touched)
        if is_free and position != behind[0] and ready <= wait.start_min + ROUNDING_MIN:
            yield step
        touched |= own


def _items(step: Step) -> set[str]:
    moved = {name for move in (*step.takes, *step.leaves) for name in (move.item, move.out_of, move.into)}
    return ({*moved, *step.uses, step.foothold}) - {""}


def _fits(plan: TimedPlan, wait: Activity, step: Step) -> bool:
    """Whether it can be gone to, done and come back from in the wait, in a window where it needs one."""
    travel, position = plan.travels[wait.crew], plan.position(step.step)
    begin = wait.start_min + travel_into(step, travel, wait.place) + step.travel_extra_min
    latest = wait.finish_min - travel.time_min(step.place, wait.place) - step.minutes_likely
    allowed = plan.network.allowed[position]
    windows = [(begin, wait.finish_min)] if allowed is None else allowed.tolist()
    return any(max(begin, first) <= min(latest, last - step.minutes_likely) + ROUNDING_MIN
               for first, last in windows)


def check_cliffs(plan: TimedPlan) -> Iterator[Finding]:
    """A window whose miss costs more than the minute is nearer than the estimates vary (concern)."""
    for each in near_windows(plan):
        if each.is_cliff:
            yield Finding(
                CONCERN, CHECK, "cliff-near", about=each.about, crew=each.crew, step=each.step,
                start_min=each.at_min, value=each.margin, limit=each.spread_min,
                margin=each.margin - each.spread_min,
                message=(
                    f"{each.words}. What is before it since the last wait may take "
                    f"{number_label(each.spread_min, 'up')} min longer than likely: begin sooner, shorten "
                    f"what is before it (plan.gain({each.step!r}) says how), or say beforehand what goes"))
