"""Whether a request for odds makes sense, every fault told at once."""

from __future__ import annotations

from planning_kit.explore.odds.distributions import DISTRIBUTIONS
from planning_kit.inputs.arguments import is_whole
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults
from planning_kit.plan.timed import AnyPlan, TimedPlan, as_plan

FEWEST_SAMPLES = 100
MOST_SAMPLES = 2_000_000


def asked_of(plan: object, samples: object, seed: object, most: int = MOST_SAMPLES) -> TimedPlan:
    """The plan, without its face, where the request makes sense.

    Raises `ScenarioError` for what is no plan, a number or a seed out of range, an unknown distribution.
    """
    faults = Faults()
    if not is_whole(samples, FEWEST_SAMPLES, most):
        faults.add("", None, "samples", samples, f"must be a whole number from {FEWEST_SAMPLES} to {most}")
    if not is_whole(seed, 0, 2**128 - 1):
        faults.add("", None, "seed", seed, "must be a whole number, 0 or more")
    if isinstance(plan, AnyPlan):
        _check_distribution(as_plan(plan).scenario.settings.odds.distribution, faults)
    else:
        faults.add("", None, "plan", type(plan).__name__,
                   "must be a plan, such as pk.time_plan(scenario) gives")
    faults.stop_if_any()
    return as_plan(plan)


def _check_distribution(name: str, faults: Faults) -> None:
    known = tuple(DISTRIBUTIONS)
    if name and name not in known:
        faults.add("scenario.toml", None, "odds.distribution", name,
                   f"is no distribution of durations; the choices are {', '.join(known)}"
                   f"{did_you_mean(name, known)}")
