"""When they may go out: the unbroken runs of a sweep that keep a limit."""

from __future__ import annotations

import numpy as np
import pandas as pd

from planning_kit.explore.sweeping.sweep import SWEEP_COLUMNS
from planning_kit.inputs.arguments import table_with
from planning_kit.inputs.text_table import ShownTable

SPELL_COLUMNS = ["limit", "from", "until", "width_min", "best_egress", "best_end_min", "rows", "may_go_on"]
PLANNED, HARD, NO_STOPS = "planned", "hard", "no stops"


def good_spells(sweep: pd.DataFrame) -> pd.DataFrame:
    """Runs of neighbouring rows of `sweep_egress` that keep the planned limit, and that keep the hard one.

    ``limit`` (``planned``, ``hard``; ``no stops`` too where the sweep counted stop findings), ``from`` and
    ``until`` (UTC, the first and last egress of the run), ``width_min`` (minutes between them: 0 for a
    single row), ``best_egress`` and ``best_end_min`` (the earliest of the shortest outings in it) and the
    number of ``rows``. An edge is known to the distance of the rows: between the last good egress and the
    next row the plan may still keep its limit, or not. ``may_go_on``: the run touches the first or the last
    row of the sweep, so that its width is the least it can be. Empty where no row keeps a limit. Raises
    `ScenarioError` for what is no sweep.
    """
    sweep = table_with(sweep, SWEEP_COLUMNS, "sweep", "must be a table such as pk.sweep_egress gives")
    ordered = sweep.sort_values("egress", kind="stable").reset_index(drop=True)
    keeps = {PLANNED: ordered["planned_margin_min"] >= 0, HARD: ordered["hard_margin_min"] >= 0}
    if "stops" in ordered:
        keeps[NO_STOPS] = ordered["stops"] == 0
    spells = [(*_spell(limit, ordered[first:last]), first == 0 or last == len(ordered))
              for limit, kept in keeps.items() for first, last in _runs(kept.to_numpy(dtype=bool))]
    table = ShownTable(spells, columns=SPELL_COLUMNS)
    for column in ("from", "until", "best_egress"):
        table[column] = pd.to_datetime(table[column], utc=True)
    return table


def _runs(kept: np.ndarray) -> list[tuple[int, int]]:
    """First row and row after the last of each run."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], kept, [False])).astype(int)))
    return [(int(first), int(last)) for first, last in edges.reshape(-1, 2)]


def _spell(limit: str, rows: pd.DataFrame) -> tuple[object, ...]:
    first, last = rows["egress"].iloc[0], rows["egress"].iloc[-1]
    best = int(np.argmin(rows["end_min"].round(6)))
    return (limit, first, last, (last - first).total_seconds() / 60, rows["egress"].iloc[best],
            rows["end_min"].iloc[best], len(rows))
