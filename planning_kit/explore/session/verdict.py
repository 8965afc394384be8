"""What a draft comes to: a scenario and a plan, or the faults that stand against them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from planning_kit.explore.session.draft import Draft, Fault, faults_in, scenario_of
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario
from planning_kit.plan.timed import TimedPlan

PlanOf = Callable[[Scenario], TimedPlan]


@dataclass(frozen=True)
class Verdict:
    """``scenario`` is None where the tables hold a fault, ``plan`` also where no plan keeps every rule."""

    scenario: Scenario | None
    plan: TimedPlan | None
    faults: tuple[Fault, ...]


def judged(draft: Draft, base: Scenario, plan_of: PlanOf) -> Verdict:
    """Validate and time a draft. Never raises for anything typed."""
    scenario = None
    try:
        scenario = scenario_of(draft, base)
        return Verdict(scenario, plan_of(scenario), ())
    except ScenarioError as error:
        return Verdict(scenario, None, faults_in(draft, error.problems))
