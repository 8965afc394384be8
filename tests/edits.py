"""Edits of scenario tables in one line, for tests."""

from __future__ import annotations

import pandas as pd

import planning_kit as pk
from planning_kit.explore.session.editing import Editing


def edited(scenario: pk.Scenario, table: str, key: str, **cells: object) -> pk.Scenario:
    """The scenario with cells of one row changed."""
    return scenario.edit_row(table, key, **cells)


def with_row(scenario: pk.Scenario, table: str, at: int | None = None, **cells: object) -> pk.Scenario:
    """The scenario with one row added, at the end or at position ``at``; cells not named are empty."""
    frame = scenario.table(table).astype(object)
    row = pd.DataFrame([{column: cells.get(column, "") for column in frame.columns}], dtype=object)
    at = len(frame) if at is None else at
    return scenario.with_table(table, pd.concat([frame[:at], row, frame[at:]], ignore_index=True))


def type_setting(session: Editing, key: str, text: str) -> None:
    """Type the value of one key of ``scenario.toml``."""
    session.type_cells("settings", {(session.draft["settings"].find("key", key) or 0, "value"): text})


def move_lines(session: Editing, sheet: str, lines: list[int], before: int | None) -> None:
    """Move lines of a sheet to just before another (None: the end), as one edit."""
    moved = session.draft[sheet].with_lines_moved(lines, before)
    if moved.can_grow:
        session.edit(session.draft.with_sheet(moved), f"move rows of {sheet}")
