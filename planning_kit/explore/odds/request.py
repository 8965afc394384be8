"""Whether a request for odds makes sense, every fault told at once."""

from __future__ import annotations

from planning_kit.explore.odds.distributions import DISTRIBUTIONS
from planning_kit.inputs.arguments import is_whole
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults
from planning_kit.plan.timed import TimedPlan

FEWEST_SAMPLES = 100
MOST_SAMPLES = 2_000_000


def stop_if_senseless(plan: TimedPlan, samples: object, seed: object, most: int = MOST_SAMPLES) -> None:
    """Raise `ScenarioError` for a number of samples or a seed out of range, or an unknown distribution."""
    faults = Faults()
    if not is_whole(samples, FEWEST_SAMPLES, most):
        faults.add("", None, "samples", samples, f"must be a whole number from {FEWEST_SAMPLES} to {most}")
    if not is_whole(seed, 0, 2**128 - 1):
        faults.add("", None, "seed", seed, "must be a whole number, 0 or more")
    _check_distribution(plan.scenario.settings.odds.distribution, faults)
    faults.stop_if_any()


def _check_distribution(name: str, faults: Faults) -> None:
    known = tuple(DISTRIBUTIONS)
    if name and name not in known:
        faults.add("scenario.toml", None, "odds.distribution", name,
                   f"is no distribution of durations; the choices are {', '.join(known)}"
                   f"{did_you_mean(name, known)}")
