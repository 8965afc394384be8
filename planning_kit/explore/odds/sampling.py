"""Random durations and travel: independent estimates, and the factors that make slow days slow throughout.

With E one draw from a step's own estimate, a duration is ``E G C1`` for EV1, ``E G (C1 + C2) / 2`` for both,
and E for anyone not in a suit (what slows a suit does not slow a desk). All travel of EV1, extra minutes
apart, is scaled by ``G C1 T1``. G is drawn once an outing, C and T once an outing and crew member, each as
``exp(s z - s^2 / 2)`` with z standard normal and s the scenario's ``common_sd`` (G), ``crew_sd`` (C) or
``travel_sd`` (T); not given means 0, no such factor. The mean of each factor is exactly 1 and all draws are
independent, so the mean of a duration is that of its estimate; a step with low = high varies by the factors
alone. Neglected: that pace changes during an outing (fatigue, learning).

Every step and every factor has its own stream of random numbers, keyed by the seed, the chunk and the *name*
(a step id): adding, dropping or moving steps changes no other step's numbers. Samples come in fixed chunks
of `CHUNK`, so that the result does not depend on who computes which chunk. Streams: numpy's SeedSequence
(spawn keys) and PCG64; repeatable for one version of numpy (its policy on streams is NEP 19).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from hashlib import blake2b

import numpy as np

from planning_kit.explore.odds.distributions import durations_from
from planning_kit.explore.odds.sampled_past import Begun
from planning_kit.inputs.records import Step
from planning_kit.inputs.setting_records import OddsSettings

CHUNK, TOGETHER = 5_000, 4
"""Samples of one stream each, and how many such chunks are played at once, which costs a fifth less."""
_OUTING = "outing"
STEP, PACE, TRAVEL = "step", "pace", "travel"


@dataclass(frozen=True, eq=False)
class Draws:
    """Sampled durations (steps, samples) in minutes, and the travel factor (samples,) of each crew member."""

    durations: np.ndarray
    travel: Mapping[str, np.ndarray]

    def part(self, steps: np.ndarray, samples: np.ndarray) -> Draws:
        """The draws of some steps (positions) and some samples (positions)."""
        return Draws(self.durations[np.ix_(steps, samples)],
                     {crew: factor[samples] for crew, factor in self.travel.items()})


def normals(seed: int, chunk: int, name: str, count: int) -> np.ndarray:
    """The first ``count`` standard normal numbers of the stream of ``name`` in ``chunk`` and those behind."""
    # Not hash(), which differs from process to process; one byte order, so that all machines draw alike.
    words = np.frombuffer(blake2b(name.encode("utf-8"), digest_size=16).digest(), dtype="<u4")
    key = tuple(map(int, words))
    streams = [(np.random.SeedSequence(seed, spawn_key=(number, *key)), size)
               for number, size in enumerate(chunk_sizes(count), chunk)]
    return np.concatenate([np.random.Generator(np.random.PCG64(sequence)).standard_normal(size)
                           for sequence, size in streams])


def factor_streams(crew: Sequence[str], odds: OddsSettings) -> dict[str, float]:
    """The names of the streams of the common factors, each with its log-scale standard deviation."""
    pace = {stream(PACE, who): odds.crew_sd or 0.0 for who in crew}
    travel = {stream(TRAVEL, who): odds.travel_sd or 0.0 for who in crew}
    return {_OUTING: odds.common_sd or 0.0, **pace, **travel}


def stream(kind: str, whose: str) -> str:
    """The name of a stream: of a step's estimate, or of the pace or the travel of one crew member."""
    return f"{kind}:{whose}"


def factor(z: np.ndarray, sd: float) -> np.ndarray:
    """A factor of mean 1: lognormal with log-scale standard deviation ``sd``, from standard normal ``z``."""
    return np.exp(sd * z - sd * sd / 2.0)


def draw(steps: Sequence[Step], crew: Sequence[str], odds: OddsSettings, seed: int, chunk: int,
         count: int, begun: Begun | None = None) -> Draws:
    """The first ``count`` samples of a chunk and those behind; ``begun``: what of the outing has happened."""
    drawn = {name: factor(normals(seed, chunk, name, count), sd) if sd else np.ones(count)
             for name, sd in factor_streams(crew, odds).items()}
    pace = {who: drawn[_OUTING] * drawn[stream(PACE, who)] for who in crew}
    if begun is not None and begun.pace is not None:
        # The same streams as without a learned pace, so that the two differ by what was learned alone.
        names = [_OUTING, *(stream(PACE, who) for who in crew)]
        pace = begun.pace.of_crew(np.array([normals(seed, chunk, name, count) for name in names]))
    durations = np.empty((len(steps), count))
    distribution = odds.distribution or "pert"
    for row, step in zip(durations, steps, strict=True):
        if begun is not None and begun.has_finished(step.step):
            row[:] = step.minutes_likely
            continue
        z = normals(seed, chunk, stream(STEP, step.step), count)
        # The pace of who works on it, 1 for anyone not in a suit.
        paces = [pace[name] for name in step.people if name in pace]
        scale = sum(paces[1:], paces[0]) / len(paces) if paces else np.ones(count)
        if begun is not None and step.step in begun.underway:
            row[:] = begun.underway[step.step].draw(z, step, distribution, scale)
        else:
            row[:] = scale * durations_from(z, step.minutes_low, step.minutes_likely, step.minutes_high,
                                            distribution)
    return Draws(durations, {who: pace[who] * drawn[stream(TRAVEL, who)] for who in crew})


def chunk_sizes(samples: int, size: int = CHUNK) -> list[int]:
    """How many samples each chunk holds: all ``size``, but for the last."""
    return [min(size, samples - first) for first in range(0, samples, size)]
