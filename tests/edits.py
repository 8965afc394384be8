"""Edits of scenario tables in one line, for tests."""

from __future__ import annotations

import pandas as pd

import planning_kit as pk


def edited(scenario: pk.Scenario, table: str, key: str, **cells: object) -> pk.Scenario:
    """The scenario with cells of one row changed."""
    return scenario.edit_row(table, key, **cells)


def with_row(scenario: pk.Scenario, table: str, at: int | None = None, **cells: object) -> pk.Scenario:
    """The scenario with one row added, at the end or at position ``at``; cells not named are empty."""
    frame = scenario.table(table).astype(object)
    row = pd.DataFrame([{column: cells.get(column, "") for column in frame.columns}], dtype=object)
    at = len(frame) if at is None else at
    return scenario.with_table(table, pd.concat([frame[:at], row, frame[at:]], ignore_index=True))
