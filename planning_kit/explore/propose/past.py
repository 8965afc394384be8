"""The rest of an outing as an order problem: what has begun is history, everyone begins from where they are.

The steps that have begun are not in the model at all. What they leave behind is: where everyone is and when
they can be elsewhere, what is in whose hands (``hardware.at`` of the records), where the tethers are hooked,
and the rules that lead from history into the rest, as first and last starts. A last start that the present
order cannot keep either is moved to where that order has the step: no other order may make it worse.
"""

from __future__ import annotations

from planning_kit.explore.propose.model import Requirement
from planning_kit.explore.propose.problem import Problem
from planning_kit.explore.propose.ticks import start_windows, ticks_down, ticks_up


def add_past(problem: Problem) -> None:
    """first <= s <= last, windows of groups that have begun, and nobody home sooner than they can be."""
    past, model, work = problem.freedom.past, problem.model, problem.work
    if past is None:
        return
    for placed, step, minutes in zip(problem.placed, work.steps, work.minutes, strict=True):
        name = step.step
        model.cp.add(placed.start >= ticks_up(past.not_before.get(name, 0.0)))
        if name in past.not_after:
            model.cp.add(placed.start <= ticks_down(past.not_after[name])).only_enforce_if(placed.present)
        if name in past.windows:
            asked = Requirement("steps", name, f"{name} lies in the window in which its group has begun")
            model.start_within(placed, start_windows(past.windows[name], minutes), asked)
    ingress_min = work.records.settings.limits.ingress_min
    for home_min in past.home_min.values():
        model.cp.add(problem.end >= ticks_up(home_min + ingress_min))
