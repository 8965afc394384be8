"""A planner's question put to a plan: what if we are late, slower, leaner, without this task, another day?

What is asked becomes changes of the scenario (`planning_kit.changes`), checked as any are. The timing is then
asked anew: nothing here computes a time.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from planning_kit.changes.asked import changes_asked_for, leaving_after
from planning_kit.changes.change import NOTE, ChangeLine, made
from planning_kit.explore.retime.retiming import re_timed_as
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import pet_label
from planning_kit.inputs.utc import stays_put
from planning_kit.plan.timed import Outside, TimedPlan

TABLE = "what_if"


def what_if(plan: TimedPlan, asked: Mapping[str, object], name: str = "") -> TimedPlan:
    """The plan with something changed; ``asked``: arguments of ``plan.what_if``."""
    if not isinstance(name, str):
        raise ScenarioError.single("must be text: what to call it", table=TABLE, column="name", value=name)
    base = plan.taken_outside
    changes = changes_asked_for(base.scenario.records, base.pet_zero, asked)
    changed, leaving = made(base.scenario, changes, name), leaving_after(changes, base.pet_zero)
    if plan.outside is not None:
        _stop_if_past(plan.outside, changed.scenario, leaving)
    timed = re_timed_as(plan, TimedPlan.of(changed.scenario, leaving))
    stays = stays_put(changed.scenario.checked, leaving) if leaving.date() != base.pet_zero.date() else ()
    lines = (*changed.lines, *(ChangeLine(name, NOTE, words) for words in stays))
    return replace(timed, name=name or plan.name, history=(*plan.history, *lines))


def _stop_if_past(outside: Outside, scenario: Scenario, pet_zero: datetime) -> None:
    """Raise `ScenarioError` where a what-if changes what has happened: PET 0, or steps that have begun."""
    faults, base = Faults(), outside.base
    if pet_zero != base.pet_zero:
        faults.add(TABLE, None, "pet_zero", pet_zero.isoformat(), "has happened; only what is to come can be "
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
