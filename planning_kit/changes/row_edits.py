"""Cells of one row of a table, changed by name."""

from __future__ import annotations

import pandas as pd

from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario, as_scenario


def edit_row(scenario: Scenario, table: str, key: str, **cells: object) -> Scenario:
    """The scenario with cells changed in the row of ``table`` whose first column is ``key``.

    ``edit_row(scenario, "steps", "B4", minutes_likely=25, after="B3 A2")``. Where several rows have the key
    (gaps that begin with one step), all of them change. A list becomes text with spaces. Raises
    `ScenarioError` for a row that there is not and for all that the changed table would be refused for.
    """
    frame = as_scenario(scenario).table(table)
    keys = frame.iloc[:, 0]
    if not isinstance(key, str) or key not in set(keys):
        problem = f"there is no such row{did_you_mean(str(key), tuple(keys))}"
        raise ScenarioError.single(problem, table=table, column=str(keys.name), value=key)
    for column, value in cells.items():
        cell = " ".join(map(str, value)) if isinstance(value, list | tuple) else value
        before = frame[column] if column in frame else [""] * len(frame)
        after = [cell if row == key else old for row, old in zip(keys, before, strict=True)]
        frame[column] = pd.Series(after, dtype=object)
    return scenario.with_table(table, frame)
