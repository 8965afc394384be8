"""Cells of one row, changed by name."""

from __future__ import annotations

import pytest

import planning_kit as pk


def test_only_the_named_cells_of_the_row_change(small: pk.Scenario) -> None:
    before = small.steps
    after = small.edit_row("steps", "B2", minutes_likely=14, caution="Slow").steps
    changed = before.compare(after)
    assert changed.index.tolist() == [4]
    assert set(changed.columns.get_level_values(0)) == {"minutes_likely", "caution"}
    assert small.steps.equals(before)


def test_a_list_becomes_a_list_of_the_cell(small: pk.Scenario) -> None:
    scenario = small.edit_row("steps", "B3", after=["C1", "B2"])
    assert scenario.steps.set_index("step").loc["B3", "after"] == "C1 B2"
    assert scenario.records.steps[5].after == ("C1", "B2")


@pytest.mark.parametrize(("key", "cells", "told"), [
    ("B22", {"minutes_likely": 14}, "did you mean"),
    ("B2", {"minutes": 14}, "minutes"),
    ("B2", {"minutes_likely": -1}, "minutes_likely"),
    ("B2", {"after": "Q7"}, "Q7"),
])
def test_what_cannot_be_is_refused(small: pk.Scenario, key: str, cells: dict[str, object],
                                   told: str) -> None:
    with pytest.raises(pk.ScenarioError, match=told):
        small.edit_row("steps", key, **cells)
