"""The return margins as tables: every moment, and the worst point of each crew member."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pandas as pd

from planning_kit.plan.returns import Returns

RETURN_COLUMNS = ["crew", "at_min", "place", "alone_min", "with_partner_min", "emergency_margin_min",
                  "partner_margin_min", "first_out", "suit_margin_min"]
RETURN_SUMMARY_COLUMNS = ["crew", "case", "margin_min", "at_min", "place", "time_back_min",
                          "turn_back_by_min", "stay_min"]


def returns_table(all_returns: Sequence[Returns]) -> pd.DataFrame:
    """One row a crew member and moment: the columns of `Returns`, minutes."""
    frames = [pd.DataFrame({column: getattr(each, column) for column in RETURN_COLUMNS})
              for each in all_returns]
    return pd.concat(frames, ignore_index=True) if frames else pd.DataFrame(columns=RETURN_COLUMNS)


def return_summary_table(all_returns: Sequence[Returns], reserve_min: float) -> pd.DataFrame:
    """The worst point of each crew member in each case: alone, with the partner, against a consumable.

    ``turn_back_by_min`` and ``stay_min`` (see `Returns`) are of the crew member, the same in each row. A case
    of which nothing is known has no row.
    """
    return pd.DataFrame(_summary_rows(all_returns, reserve_min), columns=RETURN_SUMMARY_COLUMNS)


def _summary_rows(all_returns: Sequence[Returns], reserve_min: float) -> Iterator[dict[str, object]]:
    for each in all_returns:
        cases = (("emergency oxygen, alone", each.emergency_margin_min, each.alone_min),
                 ("emergency oxygen, with the partner", each.partner_margin_min, each.with_partner_min),
                 ("consumables, alone", each.suit_margin_min, each.alone_min))
        for case, margin, time_back in cases:
            if not np.isnan(margin).all():
                worst = int(np.nanargmin(margin))
                yield {
                    "crew": each.crew, "case": case, "margin_min": float(margin[worst]),
                    "at_min": float(each.at_min[worst]), "place": each.place[worst],
                    "time_back_min": float(time_back[worst]),
                    "turn_back_by_min": turn_back_by_min(each, reserve_min), "stay_min": each.stay_min,
                }


def turn_back_by_min(returns: Returns, reserve_min: float) -> float:
    """The last moment up to which every earlier one keeps the reserve alone, PET minutes.

    Where all do, the start of ingress and what they could wait at the airlock beyond it. NaN where no margin
    is known or not even the first moment keeps it.
    """
    short = np.flatnonzero(returns.margin_min < reserve_min - 1e-9)
    if np.isnan(returns.margin_min).all() or (len(short) and short[0] == 0):
        return float("nan")
    if len(short):
        return float(returns.at_min[short[0] - 1])
    return returns.ingress_start_min + float(np.nan_to_num(returns.stay_min))
