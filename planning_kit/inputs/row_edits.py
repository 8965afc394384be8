"""Rows and cells of tables changed: what is edited by name, and what changes of a scenario are made of."""

from collections.abc import Collection, Mapping, Sequence
from typing import Any

import pandas as pd

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults, ScenarioError, must_be
from planning_kit.inputs.typed_tables import number_text

_CUTS = ("last_start_min", "cut_order")

NewCells = Mapping[str, Mapping[str, object]]
"""Column to the row's id to what the cell shall say."""


def _names_of(table: str, frame: pd.DataFrame) -> list[tuple[str, str]]:
    """What each row is called: its whole key (``"A1 B1"``), and the first column of that."""
    keys = frame[list(fmt.TABLE_BY_NAME[table].key)].itertuples(index=False, name=None)
    return [(" ".join(number_text(part) if isinstance(part, float) else str(part) for part in key),
             str(key[0])) for key in keys]


def with_cells(table: str, frame: pd.DataFrame, columns: NewCells) -> pd.DataFrame:
    """The frame of a table with other cells.

    A row is called by its key, or by the first column of it: then all rows that begin alike (gaps that begin
    with one step) change. A list becomes text with spaces.
    """
    frame, names = frame.copy(), _names_of(table, frame)
    for column, cells in columns.items():
        before = frame[column] if column in frame else [""] * len(frame)
        after = [as_cell(next((cells[key] for key in keys if key in cells), old))
                 for keys, old in zip(names, before, strict=True)]
        frame[column] = pd.Series(after, dtype=object, index=frame.index)
    return frame


def as_cell(value: object) -> Any:
    """What stands in a cell: a list becomes text with spaces."""
    return " ".join(map(str, value)) if isinstance(value, list | tuple) else value


def rows_named(table: str, frame: pd.DataFrame, keys: object) -> list[int]:
    """The numbers of the rows that a key or several name; `ScenarioError` with all that there are not."""
    names, faults = _names_of(table, frame), Faults()
    called = keys if isinstance(keys, list | tuple) else (keys,)
    for key in called:
        if not isinstance(key, str) or not any(key in each for each in names):
            hint = did_you_mean(str(key), tuple(name for each in names for name in each))
            faults.add(table, None, fmt.TABLE_BY_NAME[table].key[0], key, f"there is no such row{hint}")
    faults.stop_if_any()
    return [row for row, each in enumerate(names) if any(name in called for name in each)]


def with_rows(frame: pd.DataFrame, rows: Sequence[Mapping[str, object]], at: int) -> pd.DataFrame:
    """The frame of a table with more rows before the row number ``at``."""
    frame = frame.astype(object)  # as typed: float64 would refuse what is no number
    more = pd.DataFrame([{name: as_cell(cell) for name, cell in row.items()} for row in rows], dtype=object)
    return pd.concat([frame[:at], more, frame[at:]], ignore_index=True).fillna("")


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


def exchanged(crew: pd.DataFrame, keys: Mapping[str, object]) -> tuple[pd.DataFrame, dict[str, object]]:
    """``crew`` with EV1 and EV2 traded but for their tethers, and the ``keys`` (dotted) of their suits."""
    own = [key for key in keys if key.startswith(("suit.EV1.", "suit.EV2."))]
    return (crew[::-1].assign(crew=list(crew["crew"]), tether_m=list(crew["tether_m"])),
            dict.fromkeys(own) | {f"suit.{fmt.PARTNER[key[5:8]]}{key[8:]}": keys[key] for key in own})


def with_persons(crew: pd.DataFrame,
                 persons: Mapping[str, Mapping[str, object]]) -> tuple[pd.DataFrame, list[str]]:
    """``crew`` with other cells by crew member, and of whom something is left, in words."""
    told = list[str]()
    rows_named("crew", crew, list(persons))
    for who in persons:
        cells = must_be(persons[who], dict, who, "must be a dict, such as {'name': 'Ada', 'size': 'L'}")
        before = crew.loc[crew["crew"] == who, "name"].iloc[0]
        if before and cells.get("name", before) != before:  # of whom nobody knows what the other had
            cells = {"suit": "", "size": "", "trained": "", **cells}
            told.append(f"{who} is somebody else: what more crew.csv and [suit.{who}] say is as before")
        crew = with_cells("crew", crew, {column: {who: cell} for column, cell in cells.items()})
    return crew, told


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
