"""Check: hazard controls that others must hold.

Rules, each about the inhibit: ``backwards``, ``not-in-force`` (at a step that needs it), ``held-too-long``,
``outside-window``, ``before-pet-zero``.
"""

from collections.abc import Iterator

import numpy as np

from planning_kit.inputs.records import Inhibit
from planning_kit.inputs.times import number_label, pet_label, pet_spans
from planning_kit.judge.findings import REMARK, STOP, Finding
from planning_kit.plan.needs import Hold, left_in, needed_edges, window_of_hold
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan
from planning_kit.sky.windows import Windows

CHECK = "inhibits"


def check_inhibits(plan: TimedPlan) -> Iterator[Finding]:
    """Each inhibit: in the right order, over all steps that need it, not too long, inside its window."""
    for hold in plan.inhibit_holds:
        inhibit = hold.inhibit
        if hold.lift_after_min < hold.set_by_min + inhibit.lead_min:
            # It ends before its first step begins: all else would only follow from that.
            yield _stop(
                "backwards", inhibit, inhibit.until_step, hold.lift_after_min,
                f"ends with {inhibit.until_step} at {pet_label(hold.lift_after_min, 'up')}, before it begins "
                f"for {inhibit.from_step} at {pet_label(hold.set_by_min + inhibit.lead_min, 'down')}: "
                "exchange from_step and until_step, or reorder the steps", "inhibits.from_step, until_step")
            continue
        yield from _outside(plan, hold)
        most = inhibit.hold_max_min
        if most is not None and hold.hold_min > most + ROUNDING_MIN:
            yield _stop(
                "held-too-long", inhibit, inhibit.from_step, hold.set_by_min,
                f"is held {number_label(hold.hold_min, 'up')} min, from {_span(hold)}; at most {most:g} "
                f"allowed: bring {inhibit.from_step} and {inhibit.until_step} closer together (gaps.max_gap),"
                " or split the inhibit", "inhibits.hold_max_min", value=hold.hold_min, limit=most)
        yield from _outside_window(plan, hold)
        if hold.set_by_min < 0:
            yield Finding(
                REMARK, CHECK, "before-pet-zero", about=inhibit.inhibit, step=inhibit.from_step,
                start_min=hold.set_by_min, message=f"{_name(inhibit)} must be in place before PET 0, by "
                f"{pet_label(hold.set_by_min, 'down')}", source="inhibits.lead_min")


def _outside(plan: TimedPlan, hold: Hold) -> Iterator[Finding]:
    """Steps of ``needed_by`` that do not lie inside."""
    inhibit = hold.inhibit
    for name, at_begin, at_end in needed_edges(plan, hold):
        (start, finish), early, late = plan.span(name), -at_begin, -at_end
        if max(early, late) > ROUNDING_MIN:
            side = "from_step" if early > ROUNDING_MIN else "until_step"
            yield _stop(
                "not-in-force", inhibit, name, start,
                f"{name} needs it from {pet_spans((start, finish))}, but it is in "
                f"force only from {_span(hold)}, {number_label(max(early, late), 'up')} min too short: let "
                f"{side} reach {name}, or move {name}", "inhibits.needed_by",
                crew=plan.steps[plan.position(name)].crew,
            )


def _outside_window(plan: TimedPlan, hold: Hold) -> Iterator[Finding]:
    inhibit = hold.inhibit
    if not inhibit.window:
        return
    windows, begin, end = window_of_hold(plan, hold), hold.set_by_min, hold.lift_after_min
    if left_in(windows, begin, end) >= -ROUNDING_MIN:
        return
    name = inhibit.window if inhibit.window in ("night", "day") else f"window {inhibit.window}"
    room, words = _nearest(windows, begin, end)
    steps = f"{inhibit.from_step} and {inhibit.until_step}"
    remedy = (f"shorten what lies between {steps}, or the lead" if hold.hold_min > room else
              f"move {steps} into it (steps.light or windows)")
    yield _stop(
        "outside-window", inhibit, inhibit.from_step, begin,
        f"is held {number_label(hold.hold_min, 'up')} min, from {_span(hold)}, outside its {name}: "
        f"{words}; {remedy}", "inhibits.window", value=hold.hold_min, limit=room,
    )


def _nearest(windows: Windows, begin: float, end: float) -> tuple[float, str]:
    """Length and words of the window that holds most of the time, or lies nearest to it."""
    if len(windows) == 0:
        return 0.0, "there is none before the horizon"
    # Negative where the two do not meet: then the greatest is that of the least distance.
    shared = np.minimum(windows[:, 1], end) - np.maximum(windows[:, 0], begin)
    first, last = windows[int(shared.argmax())].tolist()
    # Rounded inward, as the hold is outward: in whole minutes it must not look as if it fitted.
    return last - first, (f"the nearest lasts {number_label(last - first, 'down')} min, "
                          f"{pet_label(first, 'up')} to {pet_label(last, 'down')}")


def _span(hold: Hold) -> str:
    return pet_spans((hold.set_by_min, hold.lift_after_min))


def _stop(rule: str, inhibit: Inhibit, step: str, at_min: float, message: str, source: str, crew: str = "",
          value: float = float("nan"), limit: float = float("nan")) -> Finding:
    return Finding(
        STOP, CHECK, rule, about=inhibit.inhibit, crew=crew, step=step, start_min=at_min,
        message=f"{_name(inhibit)}: {message}", source=source, value=value, limit=limit,
        margin=limit - value)


def _name(inhibit: Inhibit) -> str:
    return f"inhibit {inhibit.inhibit} ({inhibit.title})" if inhibit.title else f"inhibit {inhibit.inhibit}"
