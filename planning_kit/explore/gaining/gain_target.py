"""What a gain must reach: a step earlier by some minutes, or the window before the one that holds it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from planning_kit.inputs.arguments import is_number
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.times import pet_label
from planning_kit.plan.holders import Holder
from planning_kit.plan.network import GROUP, LIGHT, LINK, ROUNDING_MIN, WINDOW
from planning_kit.plan.timed import TimedPlan

_WINDOW_KINDS = (LIGHT, LINK, WINDOW, GROUP)


@dataclass(frozen=True)
class Target:
    """Met when the step at position ``judged`` starts at or before ``latest_min`` (PET).

    ``asked`` is the position of the step that the planner named; ``words`` say what is wanted.
    """

    asked: int
    judged: int
    latest_min: float
    words: str
    is_window: bool = False

    def is_met(self, starts: np.ndarray) -> np.ndarray:
        """Whether starts (steps,) or (steps, samples) of a whole plan meet it."""
        return np.asarray((starts[self.judged] <= self.latest_min) & np.isfinite(starts).all(axis=0))


def find_target(plan: TimedPlan, step: str, minutes: float | None) -> Target:
    """What ``plan.gain(step, minutes)`` asks for.

    Without ``minutes``: the first step on the holding chain of ``step`` that is held by a window, or in one,
    is to start before that window begins. Raises `ScenarioError` for a step that there is not, minutes that
    are not above 0, or no window on the chain.
    """
    asked = plan.position(str(step))
    if asked in plan.network.fixed:
        raise ScenarioError.single("has begun: only what is to come can start earlier", table="steps",
                                   column="step", value=step)
    if minutes is None:
        return _window_before(plan, asked)
    if not is_number(minutes) or minutes <= 0:
        raise ScenarioError.single("must be above 0: by how many minutes earlier?", column="minutes",
                                   value=minutes)
    latest = float(plan.starts[asked]) - minutes + ROUNDING_MIN
    return Target(asked, asked, latest, f"{step} {minutes:g} min earlier than {_at(plan, asked)}")


def _window_before(plan: TimedPlan, asked: int) -> Target:
    position, seen = asked, set[int]()
    while position >= 0 and position not in seen:
        seen.add(position)
        holder = plan.holders.chosen[position]
        if plan.network.allowed[position] is not None and (
                position == asked or holder.kind in _WINDOW_KINDS):
            return _before_window_of(plan, asked, position, holder)
        position = holder.source
    raise ScenarioError.single(
        "no window is on what holds this step: say by how many minutes it shall start earlier (minutes=...)",
        table="steps", column="step", value=plan.steps[asked].step)


def _before_window_of(plan: TimedPlan, asked: int, position: int, holder: Holder) -> Target:
    windows, start = plan.network.allowed[position], plan.starts[position]
    assert windows is not None
    begin = float(windows[windows[:, 0] <= start][-1, 0])
    name = plan.steps[position].step
    what = " and ".join(demand.label for demand in plan.network.demands[position])
    words = f"{name} in a {what} window before the one that begins at {pet_label(begin)}"
    # Two searches for one window edge may stop a few billionths of a minute apart.
    return Target(asked, position, begin - ROUNDING_MIN, words, is_window=True)


def _at(plan: TimedPlan, position: int) -> str:
    return pet_label(float(plan.starts[position]))
