"""The return margins as tables: every moment, and the worst point of each crew member."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from planning_kit.inputs.text_table import ShownTable
from planning_kit.plan.homeward.returns import Numbers, Returns
from planning_kit.plan.network import ROUNDING_MIN

RETURN_COLUMNS = ["crew", "at_min", "place", "alone_min", "with_partner_min", "emergency_margin_min",
                  "partner_margin_min", "first_out", "suit_margin_min", "partner_first_out",
                  "partner_suit_margin_min"]
RETURN_SUMMARY_COLUMNS = ["crew", "case", "margin_min", "at_min", "place", "time_back_min",
                          "turn_back_by_min", "stay_min"]


def returns_table(all_returns: Sequence[Returns]) -> pd.DataFrame:
    """One row a crew member and moment: the columns of `Returns`, minutes."""
    frames = [ShownTable({column: getattr(each, column) for column in RETURN_COLUMNS})
              for each in all_returns]
    return pd.concat(frames, ignore_index=True) if frames else ShownTable(columns=RETURN_COLUMNS)


@dataclass(frozen=True)
class _Case:
    """One way to come home against one thing that must last; ``stay_min``: how long it allows a wait."""

    name: str
    margin_min: Numbers
    time_back_min: Numbers
    stay_min: float


def _cases(returns: Returns) -> tuple[_Case, ...]:
    alone, helped = returns.alone_min, returns.with_partner_min
    return (
        _Case("emergency oxygen, alone", returns.emergency_margin_min, alone, float("inf")),
        _Case("emergency oxygen, with the partner", returns.partner_margin_min, helped, float("inf")),
        _Case("consumables, alone", returns.suit_margin_min, alone, returns.stay_min),
        _Case("consumables, with the partner", returns.partner_suit_margin_min, helped,
              returns.partner_stay_min),
    )


def return_summary_table(all_returns: Sequence[Returns], reserve_min: float) -> pd.DataFrame:
    """The worst point of each crew member in each case: alone or with the partner, against what must last.

    ``turn_back_by_min`` is of the case: the latest minute of PET to break off and go in. Up to it, following
    the plan and after it waiting at the airlock, every moment keeps the reserve and leaves time to be inside
    by the hard limit. NaN where not even the first moment does. ``stay_min`` (see `Returns`) is of the crew
    member, the same in each row, and leaves the hard limit out. A case of which nothing is known has no row.
    """
    return ShownTable(_summary_rows(all_returns, reserve_min), columns=RETURN_SUMMARY_COLUMNS)


def _summary_rows(all_returns: Sequence[Returns], reserve_min: float) -> Iterator[dict[str, object]]:
    for each in all_returns:
        for case in _cases(each):
            if not np.isnan(case.margin_min).all():
                worst = worst_moment(each, case.margin_min)
                yield {
                    "crew": each.crew, "case": case.name, "margin_min": float(case.margin_min[worst]),
                    "at_min": float(each.at_min[worst]), "place": each.place[worst],
                    "time_back_min": float(case.time_back_min[worst]),
                    "turn_back_by_min": _turn_back_by_min(each, case, reserve_min), "stay_min": each.stay_min,
                }


def _turn_back_by_min(returns: Returns, case: _Case, reserve_min: float) -> float:
    over = np.fmin(case.margin_min - reserve_min, returns.hard_min - returns.at_min - case.time_back_min)
    short = np.flatnonzero(over < -ROUNDING_MIN)
    if len(short):
        return crossing_min(returns.at_min, over, int(short[0])) if short[0] else float("nan")
    to_hard_limit = returns.hard_min - float(returns.at_min[-1])
    return returns.ingress_start_min + max(0.0, min(to_hard_limit, case.stay_min))


def worst_moment(returns: Returns, margin_min: Numbers) -> int:
    """The first moment of least margin, as an index; one at a place before one on a leg, NaN left out."""
    least = np.flatnonzero(margin_min <= np.nanmin(margin_min) + ROUNDING_MIN).tolist()
    return next((moment for moment in least if " to " not in returns.place[moment]), least[0])


def latest_turn_back_min(summary: pd.DataFrame, crew: str) -> float:
    """The earliest ``turn_back_by_min`` of one crew member alone: PET minutes, NaN if none or not known.

    ``summary`` is a `return_summary_table`.
    """
    alone = summary[(summary["crew"] == crew) & summary["case"].str.endswith("alone")]
    return float(alone["turn_back_by_min"].min(skipna=False)) if len(alone) else float("nan")


def crossing_min(at_min: Numbers, over: Numbers, first: int) -> float:
    """When ``over`` (n,) falls below 0 between moments ``first`` - 1 and ``first`` of ``at_min`` (n,)."""
    begin, end = float(over[first - 1]), float(over[first])
    share = begin / (begin - end) if begin > 0 > end else 0.0
    return float(at_min[first - 1] + share * (at_min[first] - at_min[first - 1]))
