"""What is left in each suit as tables: at every activity boundary, and at the end."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from planning_kit.inputs.text_table import ShownTable
from planning_kit.plan.suit.suits import UNIT_WORDS, UNITS, SuitHistory

SUIT_COLUMNS = ["crew", "at_min", *(f"{name}_left_{unit}" for name, unit in UNITS.items()),
                *(f"{name}_reserve_{unit}" for name, unit in UNITS.items())]
SUIT_SUMMARY_COLUMNS = ["crew", "consumable", "unit", "usable", "used", "left", "reserve", "margin",
                        "runs_out_min", "first"]


def suits_table(histories: Sequence[SuitHistory]) -> pd.DataFrame:
    """A row a crew member and activity boundary: what is left, then the reserves."""
    frames = [
        ShownTable(
            {"crew": history.crew, "at_min": history.at_min}
            | {f"{store.consumable}_left_{store.unit}": store.left for store in history.stores}
            | {f"{store.consumable}_reserve_{store.unit}": store.reserve for store in history.stores})
        for history in histories
    ]
    return pd.concat(frames, ignore_index=True) if frames else ShownTable(columns=SUIT_COLUMNS)


def suit_summary_table(histories: Sequence[SuitHistory]) -> pd.DataFrame:
    """A row a crew member and consumable at the end; ``margin`` is what is left over the reserve."""
    rows = [
        (store.crew, store.consumable, UNIT_WORDS[store.unit], store.usable, store.usable - store.left_at_end,
         store.left_at_end, store.reserve, store.left_at_end - store.reserve, store.runs_out_min,
         store is history.first_out)
        for history in histories for store in history.stores
    ]
    return ShownTable(rows, columns=SUIT_SUMMARY_COLUMNS)
