"""Rows and cells of tables changed: what is edited by name, and what changes of a scenario are made of."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

import pandas as pd

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults, ScenarioError, must_be

_CUTS = ("last_start_min", "cut_order")

NewCells = Mapping[str, Mapping[str, object]]
"""Column to the row's id to what the cell shall say."""


def key_of(table: str) -> str:
    """The column that the rows of a table are called by, wherever it stands."""
    return fmt.TABLE_BY_NAME[table].key[0]


def with_cells(table: str, frame: pd.DataFrame, columns: NewCells) -> pd.DataFrame:
    """The frame of a table with other cells.

    Where several rows begin alike (gaps that begin with one step), all of them change. A list becomes text
    with spaces.
    """
    frame, keys = frame.copy(), frame[key_of(table)]
    for column, cells in columns.items():
        before = frame[column] if column in frame else [""] * len(frame)
        after = [as_cell(cells[key]) if key in cells else old for key, old in zip(keys, before, strict=True)]
        frame[column] = pd.Series(after, dtype=object, index=frame.index)
    return frame


def as_cell(value: object) -> Any:
    """What stands in a cell: a list becomes text with spaces."""
    return " ".join(map(str, value)) if isinstance(value, list | tuple) else value


def set_cell(frame: pd.DataFrame, row: int, column: str, text: str) -> None:
    """Put ``text`` in one cell, whatever the column held so far."""
    cells = [text if at == row else old for at, old in enumerate(frame[column])]
    frame[column] = pd.Series(cells, dtype=object, index=frame.index)


def row_of(names: Sequence[str], step: str) -> int:
    """The first row of a step. Raises `ScenarioError` where there is none."""
    if not isinstance(step, str) or step not in names:
        raise ScenarioError.single(f"there is no such step{did_you_mean(str(step), tuple(names))}",
                                   table="steps", column="step", value=step)
    return list(names).index(step)


def rows_with(count: int, moved: int, before: int) -> list[int]:
    """The numbers of ``count`` rows, with one ``moved`` to just before another (``count``: the end)."""
    return [*(row for row in range(before) if row != moved), moved,
            *(row for row in range(before, count) if row != moved)]


def moved_behind(steps: pd.DataFrame, step: str, after: str) -> pd.DataFrame:
    """``steps`` with one row just behind another; `ScenarioError` for no such step, or one behind itself."""
    names = list(steps["step"])
    moved, other = row_of(names, step), row_of(names, after)
    if moved == other:
        raise ScenarioError.single("a step cannot follow itself", table="steps", column="step", value=step)
    return steps.iloc[rows_with(len(names), moved, other + 1)]


def cells_of_cuts(cuts: object, known: Collection[str]) -> NewCells:
    """The cells of ``tasks`` that a table of cuts asks for; a last start of NaN becomes 0, never begun.

    Raises `ScenarioError` for tasks that are not ``known`` or that it names twice, and for what is no such
    table.
    """
    table, faults = _cut_table(cuts), Faults()
    named = list(table["task"])
    for name in dict.fromkeys(named):
        if name not in known:
            problem = f"there is no such task{did_you_mean(str(name), tuple(known))}"
            faults.add("tasks", None, "task", name, problem)
        elif named.count(name) > 1:
            faults.add("tasks", None, "task", name, "stands twice in this table: which row counts?")
    faults.stop_if_any()
    by_task = table.set_index("task")
    if "last_start_min" in by_task:
        by_task = by_task.assign(last_start_min=by_task["last_start_min"].fillna(0.0))
    return {column: {str(task): value for task, value in by_task[column].items()}
            for column in _CUTS if column in by_task}


def _cut_table(cuts: object) -> pd.DataFrame:
    how = f"must be a table such as plan.cuts() gives: task, and {' or '.join(_CUTS)}"
    table = must_be(cuts, pd.DataFrame, "cuts", how)
    if "task" not in table or not {*_CUTS} & {*table}:
        raise ScenarioError.single(how, column="cuts", value=", ".join(map(str, table)))
    return table
