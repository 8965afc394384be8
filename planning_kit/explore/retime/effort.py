"""Suits corrected by what was really used: the logged metabolic rate against the one assumed.

A metabolic rate is logged as the mean since egress. Its ratio to the mean that the re-timed plan assumes over
the same minutes multiplies the crew member's ``exertion_factor``: what was used until then is then just what
was logged, and the rest of the outing is assumed as much harder, or easier, than planned. Assumption: who
worked harder so far goes on so. Neglected: that the ratio may differ by kind of work; use before egress is
scaled too.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.log_format import LOG
from planning_kit.inputs.log_state import States, Suited
from planning_kit.plan.suits import SuitHistory
from planning_kit.plan.timed import TimedPlan

_OF_TIMES_ONLY = ("end_min", "slack", "holders", "lanes", "passages")
_MOST_RATIO = 5.0  # beyond this a typing error is likelier than the work


def with_logged_effort(plan: TimedPlan, states: States) -> tuple[TimedPlan, dict[str, float]]:
    """The plan with corrected exertion factors, and by crew member logged over assumed metabolic rate.

    Raises `ScenarioError` for a rate more than five times what was assumed, or less than a fifth.
    """
    ratios: dict[str, float] = {}
    for history in plan.suit_histories if states.suited else ():
        logged = states.suited.get(history.crew)
        assumed = _mean_w(history, logged.at_min) if logged else float("nan")
        if logged and assumed > 0:
            ratios[history.crew] = _ratio(logged, assumed)
    if not ratios:
        return plan, {}
    crew = plan.scenario.crew
    factor = crew["exertion_factor"].fillna(1.0)
    crew["exertion_factor"] = factor * crew["crew"].map(ratios).fillna(1.0)
    return keeping_times(plan, replace(plan, scenario=plan.scenario.with_table("crew", crew))), ratios


def keeping_times(plan: TimedPlan, changed: TimedPlan) -> TimedPlan:
    """``changed``, with what is known already of the same times: effort moves nobody."""
    known = vars(plan)
    vars(changed).update({name: known[name] for name in _OF_TIMES_ONLY if name in known})
    return changed


def _mean_w(history: SuitHistory, until_min: float) -> float:
    """Mean metabolic rate assumed from egress to ``until_min``, W."""
    minutes = np.diff(np.clip(history.at_min, 0.0, until_min))
    return float((history.metabolic_w * minutes).sum() / minutes.sum()) if minutes.sum() > 0 else float("nan")


def _ratio(logged: Suited, assumed: float) -> float:
    ratio = logged.metabolic_w / assumed
    if not 1 / _MOST_RATIO <= ratio <= _MOST_RATIO:
        raise ScenarioError.single(
            f"{logged.crew} was assumed at {assumed:.0f} W until then: a rate so far from it is taken for a "
            "typing error; log a correct", table=LOG.name, column="metabolic_w", value=logged.metabolic_w)
    return ratio
