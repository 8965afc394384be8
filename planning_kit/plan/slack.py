"""Slack: how far a start can slip. Three numbers from one backward pass, and the curve behind them.

The backward pass is the forward pass over the mirrored network (`planning_kit.plan.network.mirrored`): its
fixed point is the greatest set of starts that keeps every rule and the deadline. A start at its latest is
feasible together with the latest starts of the others; with greatest gaps not every start between earliest
and latest is attainable. Slacks are delays of a start: an overrun is judged by timing the plan anew.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from planning_kit.inputs.arguments import is_number
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.text_table import ShownTable
from planning_kit.plan.network import Network, mirrored, on_grid, pinned
from planning_kit.plan.timing import earliest_starts, outing_end

_MOST_DELAYS = 20_000


@dataclass(frozen=True)
class Slack:
    """Slack of every step in minutes, arrays (steps,).

    ``to_plan``: before ingress slips. ``to_limit``: before the hard limit is missed (negative: it already
    is; -inf: no start meets it). ``to_window``: before this step or one that waits for it jumps to a later
    window (inf: no window depends on it, or none whose end is known). NaN for a step whose start is history.
    """

    to_plan: np.ndarray
    to_limit: np.ndarray
    to_window: np.ndarray


def latest_starts(network: Network, durations: np.ndarray, deadline_min: float) -> np.ndarray:
    """Latest start of every step (steps,) with both crew inside by ``deadline_min`` PET.

    inf where nothing bounds a step from above, -inf where no start meets the deadline.
    """
    backward = earliest_starts(mirrored(network, deadline_min), durations)
    origin = deadline_min if np.isfinite(deadline_min) else 0.0
    return np.where(np.isfinite(backward), origin - backward - on_grid(durations), -backward)


def slacks(network: Network, durations: np.ndarray, starts: np.ndarray, hard_min: float) -> Slack:
    """All three slacks of a plan whose starts (steps,) are finite."""
    end = float(outing_end(network, starts, durations))
    can_slip = starts.copy()
    can_slip[list(network.fixed)] = np.nan
    return Slack(
        to_plan=latest_starts(network, durations, end) - can_slip,
        to_limit=latest_starts(network, durations, hard_min) - can_slip,
        to_window=latest_starts(pinned(network, starts), durations, np.inf) - can_slip,
    )


def delays_min(up_to_min: float, every_min: float) -> np.ndarray:
    """Delays from 0 to ``up_to_min``, every ``every_min``. Raises `ScenarioError` for no such minutes."""
    faults = Faults()
    if not is_number(every_min) or every_min <= 0:
        faults.add("", None, "every_min", every_min, "must be minutes, above 0")
    if not is_number(up_to_min) or up_to_min < 0:
        faults.add("", None, "up_to_min", up_to_min, "must be minutes, 0 or more")
    faults.stop_if_any()
    if up_to_min / every_min > _MOST_DELAYS:
        raise ScenarioError.single(f"makes more than {_MOST_DELAYS} delays: take more minutes",
                                   column="every_min", value=every_min)
    return np.arange(0.0, up_to_min + every_min / 2, every_min)


def delay_curve(network: Network, durations: np.ndarray, starts: np.ndarray, step: int,
                delays: np.ndarray) -> pd.DataFrame:
    """Outing end against ``delays`` (minutes) of one step.

    Columns ``delay_min``, ``start_min``, ``end_min``, ``end_slip_min``. ``start_min`` may be later than start
    + delay, where the delay makes the step miss a window. Rows that cannot be timed inside the horizon have
    NaN ends.
    """
    floor = np.full((len(network.steps), len(delays)), -np.inf)
    floor[step] = starts[step] + delays
    delayed = earliest_starts(network, durations, not_before=floor)
    end = outing_end(network, delayed, durations[:, None])
    end = np.where(np.isfinite(delayed).all(axis=0), end, np.nan)
    return ShownTable({
        "delay_min": delays,
        "start_min": np.where(np.isnan(end), np.nan, delayed[step]),
        "end_min": end,
        "end_slip_min": end - float(outing_end(network, starts, durations)),
    })
