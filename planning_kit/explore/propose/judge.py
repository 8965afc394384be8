"""Judging a choice by the timing and the checks: what holds, what is better, which moves matter."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from planning_kit.checks.all_checks import findings_of
from planning_kit.checks.findings import STOP
from planning_kit.explore.propose.choice import Choice
from planning_kit.explore.propose.moves import moved_blocks, undone
from planning_kit.explore.propose.rebuild import Rebuilt, rebuild
from planning_kit.explore.propose.search import Budget
from planning_kit.explore.propose.stages import task_weights
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario
from planning_kit.plan.activities import TRAVEL
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import earliest_starts, outing_end

_SAME_MIN = 1e-6
_MOST_UNDONE = 40
_ANYWHERE = {"suits", "return"}


@dataclass(frozen=True)
class Judge:
    """The current scenario and plan (None where it has none), with which another is compared."""

    scenario: Scenario
    current: TimedPlan | None
    limit_min: float
    cushion: float = 0.0

    def stops(self, plan: TimedPlan) -> set[tuple[str, str, str]]:
        """The stop findings of a plan: check, crew and step of each.

        What runs out or is too far in any order has a number in place of the step at which it happens to.
        """
        found = findings_of(plan)
        found = found[found["severity"] == STOP]
        told, counts = set(), Counter[tuple[str, str]]()
        for check, crew, step in zip(found["check"], found["crew"], found["step"], strict=True):
            counts[check, crew] += 1
            told.add((check, crew, str(counts[check, crew]) if check in _ANYWHERE else step))
        return told

    def worth(self, plan: TimedPlan, dropped: frozenset[str]) -> tuple[float, ...]:
        """Smaller is better: work left out by weight, outing end, walking (minutes)."""
        weights = task_weights(self.scenario.records.tasks)
        return (sum(weights[task] for task in dropped), round(cushioned_end_min(plan, self.cushion), 6),
                round(walk_min(plan), 6))

    def is_worse(self, one: tuple[float, ...], other: tuple[float, ...]) -> bool:
        """Whether ``one`` is worse than ``other``, rounding aside."""
        for mine, theirs in zip(one, other, strict=True):
            if abs(mine - theirs) > _SAME_MIN:
                return mine > theirs
        return False

    def holds(self, plan: TimedPlan, known: set[tuple[str, str, str]]) -> bool:
        """Whether a plan keeps its limit and brings no stop finding that the current plan does not have."""
        end_min = max(plan.end_min, cushioned_end_min(plan, self.cushion))
        return end_min <= self.limit_min + _SAME_MIN and not self.stops(plan) - known

    def try_out(self, choice: Choice) -> Rebuilt | None:
        """The timed scenario of a choice; None where it cannot be timed."""
        try:
            return rebuild(self.scenario, choice)
        except ScenarioError:
            return None


def cushioned_end_min(plan: TimedPlan, cushion: float) -> float:
    """The outing end with every duration stretched from likely towards high (PET min; inf: no plan then)."""
    if not cushion:
        return plan.end_min
    high = np.array([step.minutes_high for step in plan.steps])
    durations = plan.durations + cushion * (high - plan.durations)
    starts = earliest_starts(plan.network, durations)
    if not np.isfinite(starts).all():
        return float("inf")
    return float(outing_end(plan.network, starts, durations))


def walk_min(plan: TimedPlan) -> float:
    """Minutes that both crew members travel, together."""
    return sum(a.minutes for crew in plan.travels for a in plan.lanes[crew] if a.kind == TRAVEL)


def only_what_matters(judge: Judge, choice: Choice, rebuilt: Rebuilt, before: Mapping[str, Sequence[str]],
                      known: set[tuple[str, str, str]], budget: Budget) -> tuple[Choice, Rebuilt]:
    """The choice without the moves that win nothing: each is put back as long as the plan is as good."""
    worth, tried = judge.worth(rebuilt.plan, choice.dropped), 0
    has_changed = True
    while has_changed and tried < _MOST_UNDONE:
        has_changed = False
        options = [undone(choice, before, block) for block in moved_blocks(before, choice.lanes)]
        for simpler in options:
            if budget.is_over() or tried >= _MOST_UNDONE:
                return choice, rebuilt
            tried += 1
            other = judge.try_out(replace(simpler, rules=choice.rules))
            if other is None or judge.is_worse(judge.worth(other.plan, choice.dropped), worth):
                continue
            if len(other.written) <= len(rebuilt.written) and judge.holds(other.plan, known):
                choice, rebuilt, has_changed = replace(simpler, rules=choice.rules), other, True
                worth = judge.worth(other.plan, choice.dropped)
                break
    return choice, rebuilt
