"""What the work done so far says of the pace to come: the common factors, given the log.

With E a step's own estimate, its duration is ``D = E G C`` (`planning_kit.explore.odds.sampling`), so
``log D - log E`` is ``g + c1`` for EV1 and, to first order, ``g + (c1 + c2) / 2`` for both. Before the outing
g and the c are normal with the deviations of the scenario. Each finished step is one observation; the spread
of log E is taken as that of a lognormal with the mean m and the variance v of the estimate: variance
``log(1 + v / m^2)``, mean ``log m`` less half of it. Then the log factors stay normal: the posterior of the
linear Gaussian model (Bishop 2006, "Pattern Recognition and Machine Learning", eq. 2.116 and 2.117, from
memory). Neglected: that estimates are no lognormals; that calls are logged to a minute; fatigue. Steps that
nobody in a suit works on, and those of certain duration, say nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from planning_kit.explore.odds.distributions import durations_from
from planning_kit.inputs.log_steps import DONE, State
from planning_kit.inputs.records import BOTH, OddsSettings, Step

_GRID = np.linspace(-3.5, 3.5, 141)  # standard normal numbers at which an estimate is read for its moments


@dataclass(frozen=True, eq=False)
class Pace:
    """The logs of the outing's factor and of each crew member's: normal, ``mean`` (k,) and root (k, k)."""

    crew: tuple[str, ...]
    mean: np.ndarray
    root: np.ndarray
    observed: int

    @property
    def key(self) -> str:
        """Equal for equal paces."""
        return repr((self.crew, self.mean.tolist(), self.root.tolist()))

    def of_crew(self, z: np.ndarray) -> dict[str, np.ndarray]:
        """The pace of each crew member (samples,) for standard normal ``z`` (1 + crew, samples)."""
        logs = self.mean[:, None] + self.root @ z
        return {who: np.exp(logs[0] + logs[1 + number]) for number, who in enumerate(self.crew)}

    def words(self) -> Iterator[str]:
        """Each one's pace in words, as a factor with the deviation of its logarithm."""
        covariance = self.root @ self.root.T
        for number, who in enumerate(self.crew, start=1):
            pick = np.zeros(len(self.mean))
            pick[[0, number]] = 1.0
            yield (f"{who} takes {np.exp(pick @ self.mean):.2f} times the estimates, give or take "
                   f"{100 * np.sqrt(pick @ covariance @ pick):.0f} %, as learned from {self.observed} steps")


def learned_pace(states: Iterable[State], crew: Sequence[str], odds: OddsSettings) -> Pace:
    """The pace of the rest, given the finished steps."""
    deviation = np.array([odds.common_sd or 0.0, *[odds.crew_sd or 0.0] * len(crew)])
    rows = [row for state in states if state.status == DONE
            if (row := _observation(state, tuple(crew), odds.distribution or "pert")) is not None]
    mean, covariance = -deviation**2 / 2.0, np.diag(deviation**2)
    for seen, value, variance in rows:  # one observation after the other: no precision of a certain factor
        gain = covariance @ seen / (seen @ covariance @ seen + variance)
        mean = mean + gain * (value - seen @ mean)
        covariance = covariance - np.outer(gain, seen @ covariance)
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2.0)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    return Pace(tuple(crew), mean, root @ vectors.T, len(rows))


def _observation(state: State, crew: tuple[str, ...],
                 distribution: str) -> tuple[np.ndarray, float, float] | None:
    """Which factors a finished step tells of, the log of what it took over its estimate, and its variance."""
    step = state.step
    who = crew if step.crew == BOTH else tuple(name for name in crew if name == step.crew)
    mean, variance = _moments(step, distribution)
    if not who or not variance > 0 or not mean > 0 or not state.worked_min > 0:
        return None
    spread = float(np.log1p(variance / mean**2))
    seen = np.array([1.0, *((name in who) / len(who) for name in crew)])
    return seen, float(np.log(state.worked_min / mean)) + spread / 2.0, spread


def _moments(step: Step, distribution: str) -> tuple[float, float]:
    weight = np.exp(-_GRID**2 / 2.0)
    minutes = durations_from(_GRID, step.minutes_low, step.minutes_likely, step.minutes_high, distribution)
    mean = float(np.average(minutes, weights=weight))
    return mean, float(np.average((minutes - mean) ** 2, weights=weight))
