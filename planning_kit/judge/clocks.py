"""Check: clocks (greatest gaps) that the plan uses up to the last minute.

Rule ``no-margin``, about the two steps of the gap.
"""

from __future__ import annotations

from collections.abc import Iterator

from planning_kit.inputs.times import pet_label
from planning_kit.judge.findings import REMARK, Finding
from planning_kit.plan.needs import Clock
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan

CHECK = "clocks"


def check_clocks(plan: TimedPlan) -> Iterator[Finding]:
    """A remark for each clock without margin: the timing keeps it, any delay while it runs breaks it."""
    for clock in plan.gap_clocks:
        if clock.left_min < ROUNDING_MIN:
            yield _no_margin(clock)


def _no_margin(clock: Clock) -> Finding:
    first, then = clock.gap.first_step, clock.gap.then_step
    why = f" ({clock.gap.reason})" if clock.gap.reason else ""
    return Finding(
        REMARK, CHECK, "no-margin", f"{first} {then}", "", then, clock.begin_min,
        f"no margin on the clock from {first} at {pet_label(clock.begin_min)} to {then} at "
        f"{pet_label(clock.end_min)}: {clock.actual_min:g} of {clock.max_gap_min:g} min{why}. Any delay "
        "while it runs breaks it; a smaller max_gap keeps some in hand",
        "gaps.max_gap", clock.actual_min, clock.max_gap_min, clock.left_min,
    )
