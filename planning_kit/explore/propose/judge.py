"""Judging a choice by the timing and the checks: what holds, what is better, which moves matter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import pandas as pd

from planning_kit.explore.propose.choice import Choice
from planning_kit.explore.propose.moves import moved_blocks, undone
from planning_kit.explore.propose.rebuild import Rebuilt, Timer, rebuild
from planning_kit.explore.propose.search import Budget
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario
from planning_kit.judge.findings import findings_table
from planning_kit.judge.new_findings import findings_of
from planning_kit.judge.review import Review, is_worse, review, worth
from planning_kit.plan.timed import TimedPlan

_MOST_UNDONE = 40


@dataclass(frozen=True)
class Judge:
    """The current scenario and plan (None where it has none), and how to time another."""

    scenario: Scenario
    timed: Timer
    current: TimedPlan | None
    limit_min: float
    cushion: float = 0.0

    @cached_property
    def known(self) -> pd.DataFrame:
        """The findings of the current plan; none where there is no such plan."""
        return findings_table(()) if self.current is None else findings_of(self.current)

    def worth(self, plan: TimedPlan, dropped: frozenset[str]) -> tuple[float, ...]:
        """What a plan is worth (see `planning_kit.judge.review.worth`)."""
        return worth(plan, self.scenario.records.tasks, dropped, self.cushion)

    def review(self, plan: TimedPlan, dropped: frozenset[str]) -> Review:
        """A plan against the current one and its limit."""
        return review(self.known, plan, (self.limit_min,), self.scenario.records.tasks, dropped, self.cushion)

    def holds(self, plan: TimedPlan) -> bool:
        """Whether a plan keeps its limit and brings no stop finding that the current plan does not have."""
        return self.review(plan, frozenset()).holds

    def try_out(self, choice: Choice) -> Rebuilt | None:
        """The timed scenario of a choice; None where it cannot be timed."""
        try:
            return rebuild(self.scenario, choice, self.timed)
        except ScenarioError:
            return None


def only_what_matters(judge: Judge, choice: Choice, rebuilt: Rebuilt, before: Mapping[str, Any],
                      budget: Budget) -> tuple[Choice, Rebuilt]:
    """The choice without the moves that win nothing: each is put back as long as the plan is as good."""
    best, tried = judge.worth(rebuilt.plan, choice.dropped), 0
    has_changed = True
    while has_changed and tried < _MOST_UNDONE:
        has_changed = False
        options = [undone(choice, before, block) for block in moved_blocks(before, choice.lanes)]
        for simpler in options:
            if budget.is_over() or tried >= _MOST_UNDONE:
                return choice, rebuilt
            tried += 1
            other = judge.try_out(replace(simpler, rules=choice.rules))
            if other is None or is_worse(judge.worth(other.plan, choice.dropped), best):
                continue
            if len(other.written) <= len(rebuilt.written) and judge.holds(other.plan):
                choice, rebuilt, has_changed = replace(simpler, rules=choice.rules), other, True
                best = judge.worth(other.plan, choice.dropped)
                break
    return choice, rebuilt
