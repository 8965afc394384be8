"""Durations from three-point estimates: one table of quantiles a shape, read at a standard normal number.

With low a, likely m and high b, a duration is ``a + (b - a) q(z)``, where z is standard normal and q rises
from 0 to 1. Because q rises, the same z gives the longer duration to the longer estimate: two plans on the
same random numbers differ by what was changed in them, not by chance.

* ``pert``: Beta(1 + 4 r, 5 - 4 r) with r = (m - a) / (b - a), so that the mean is (a + 4 m + b) / 6. The
  usual "modified PERT" with weight 4 (D. Vose, "Risk Analysis", from memory). Its variance is
  (mean - a) (b - mean) / 7; the ((b - a) / 6)^2 of the original method (Malcolm, Roseboom, Clark, Fazar 1959,
  from memory) is an approximation to it.
* ``triangular``: density rising from a to m, falling to b.
* ``uniform``: anything from a to b alike; the likely value is not used.
* ``fixed``: always m; only the factors of `planning_kit.explore.odds.sampled_outing` vary.
"""

from collections.abc import Callable, Mapping
from functools import lru_cache

import numpy as np
from scipy.special import betaincinv, ndtr, ndtri

Quantile = Callable[[np.ndarray, float], np.ndarray]

_EDGE = 6.0  # beyond it lie 2e-9 of all numbers; they are taken to it
_CELLS = 1024  # linear between nodes: within 1e-5 of the range (a test compares)


DISTRIBUTIONS: Mapping[str, Quantile] = {
    "pert": lambda share, mode: np.asarray(betaincinv(1.0 + 4.0 * mode, 5.0 - 4.0 * mode, share)),
    "triangular": lambda share, mode: np.where(
        share < mode, np.sqrt(share * mode), 1.0 - np.sqrt((1.0 - share) * (1.0 - mode))),
    "uniform": lambda share, mode: share,
    "fixed": np.full_like,
}
"""By name the quantiles on [0, 1] at ``share`` (0 to 1), where the likeliest is ``mode``."""


def durations_from(z: np.ndarray, low: float, likely: float, high: float, distribution: str) -> np.ndarray:
    """Durations in minutes of one step, for standard normal ``z`` (samples,). Never falls with z."""
    if high <= low:
        return np.full_like(z, likely)
    table = _table(distribution, (likely - low) / (high - low))
    place = (np.clip(z, -_EDGE, _EDGE) + _EDGE) * (_CELLS / (2 * _EDGE))
    cell = np.minimum(place.astype(np.int64), _CELLS - 1)
    place -= cell
    below = table[cell]
    return np.asarray(low + (high - low) * (below + (table[cell + 1] - below) * place))


def share_beyond(minutes: np.ndarray, low: float, likely: float, high: float,
                 distribution: str) -> np.ndarray:
    """The share of durations above ``minutes`` (samples,), 0 to 1."""
    # The table ends at a finite number, beyond which a billionth would seem left above the highest estimate.
    return np.where(minutes < high, ndtr(-_z_of(minutes, low, likely, high, distribution)), 0.0)


def durations_beyond(z: np.ndarray, low: float, likely: float, high: float, distribution: str,
                     elapsed_min: np.ndarray) -> np.ndarray:
    """Durations (samples,) given that each is longer than ``elapsed_min`` (samples,). Never falls with z.

    The truncated distribution: ``P(D <= d | D > e) = (F(d) - F(e)) / (1 - F(e))``, by its upper tail, which
    stays exact where little is left. Where nothing is left: ``elapsed_min``.
    """
    above = ndtr(-_z_of(elapsed_min, low, likely, high, distribution))
    drawn = durations_from(-ndtri(above * ndtr(-z)), low, likely, high, distribution)
    return np.asarray(np.maximum(drawn, elapsed_min))


def _z_of(minutes: np.ndarray, low: float, likely: float, high: float, distribution: str) -> np.ndarray:
    """The standard normal number that stands for a duration; that of the edge for one out of range."""
    if high <= low or distribution == "fixed":
        return np.where(minutes < likely, -_EDGE, _EDGE)
    table = _table(distribution, (likely - low) / (high - low))
    return np.interp((minutes - low) / (high - low), table, np.linspace(-_EDGE, _EDGE, _CELLS + 1))


@lru_cache(maxsize=4096)
def _table(distribution: str, mode: float) -> np.ndarray:
    nodes = np.linspace(-_EDGE, _EDGE, _CELLS + 1)
    return DISTRIBUTIONS[distribution](ndtr(nodes), mode)
