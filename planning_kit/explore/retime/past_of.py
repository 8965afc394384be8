"""The past of a re-timed plan, as other questions need it: networks of changed tables, refusals."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from planning_kit.explore.retime.retiming import Outside
from planning_kit.explore.retime.whereabouts import from_here
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.records import Records
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import pet_label
from planning_kit.plan.build import build_network
from planning_kit.plan.network import Network
from planning_kit.plan.past import with_past
from planning_kit.plan.timed import TimedPlan

TABLE = "what_if"


def network_of(plan: TimedPlan, records: Records) -> Network:
    """The timing problem of changed records, with the past of ``plan`` where that is re-timed."""
    network = build_network(records, plan.almanac, plan.travels)
    asked: Any = plan  # `planning_kit.explore.retime.live_plan.LivePlan`, which lies behind this
    if getattr(plan, "outside", None) is None:
        return network
    starts = {number: asked.outside.happened.fixed[step.step] for number, step in enumerate(records.steps)
              if step.step in asked.outside.happened.fixed}
    lengths = plan.durations[[plan.position(step.step) for step in records.steps]]
    held = with_past(network, starts, lengths, asked.now_min)
    return from_here(held, starts, lengths, records.steps, plan.travels, records.settings.airlock,
                     asked.whereabouts)


def stop_if_past(outside: Outside, scenario: Scenario, egress: datetime) -> None:
    """Raise `ScenarioError` where a what-if changes what has happened: egress, or steps that have begun."""
    faults, base = Faults(), outside.base
    if egress != base.egress:
        faults.add(TABLE, None, "egress", egress.isoformat(), "has happened; only what is to come can be "
                   "another. Ask the plan from before the outing")
    left = {step.step: step for step in scenario.records.steps}
    for name, state in outside.states.by_step.items():
        if not state.pieces:
            continue
        since = f"has begun at PET {pet_label(state.pieces[0][0])}"
        if name not in left:
            faults.add(TABLE, None, "drop", name, f"{since}: it cannot be dropped; plan.decide(skip=...) "
                       "leaves out the rest of a task")
        elif left[name].crew != state.step.crew:
            faults.add(TABLE, None, "swap", name, f"{since} by {state.step.crew}: only a task that has not "
                       "begun can change hands")
    faults.stop_if_any()
