"""Work of the backlog as rows of an outing, how it is put in there, and how a backlog that is revised tells.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from planning_kit.changes.change import Cells as CellsOf
from planning_kit.changes.change import Change, Tables
from planning_kit.inputs.fields import SUITED
from planning_kit.inputs.format import STEPS, TASKS
from planning_kit.inputs.records import BOTH, Records, Step
from planning_kit.inputs.row_edits import with_rows
from planning_kit.inputs.typed_tables import move_text, number_text

Cells = Mapping[str, Any]
Ends = Mapping[tuple[str, str], Mapping[str, str]]
"""Where items and states must end: by table and column, by id."""


@dataclass(frozen=True)
class TaskRows:
    """A task of the backlog as rows of an outing: of ``tasks.csv`` and, in their order, of ``steps.csv``.

    ``after``: the tasks that come before it, where the same outing has them.
    """

    task: str
    cells: Cells
    steps: tuple[Cells, ...]
    after: tuple[str, ...] = ()

    @property
    def by_id(self) -> dict[tuple[str, str], Cells]:
        """Each row by its table and id."""
        return {("tasks", self.task): self.cells} | {("steps", str(row["step"])): row for row in self.steps}

    @property
    def lanes(self) -> tuple[str, ...]:
        """Who works on it."""
        return tuple(dict.fromkeys(lane for step in self.steps for lane in lanes_of(step)))

    def least_min(self) -> dict[str, float]:
        """The likely minutes of its steps by lane: no plan of it takes less."""
        taken = dict[str, float]()
        for step in self.steps:
            for lane in lanes_of(step):
                taken[lane] = taken.get(lane, 0.0) + float(step["minutes_likely"])
        return taken


def lanes_of(step: Cells) -> tuple[str, ...]:
    """The lanes that a row of steps is in."""
    return SUITED if step["crew"] == BOTH else (str(step["crew"]),)


@dataclass(frozen=True)
class PutIn(Change):
    """Tasks of the backlog put behind a step, in their order; at the head, where that is there no more.

    A task whose prerequisite is there, too, begins when that is over. ``ends``: where what they touch must
    end, said again where nothing is said by now.
    """

    kind = "put in"
    behind: str
    tasks: tuple[TaskRows, ...]
    ends: Sequence[Ends] = ()

    def _lines(self) -> Sequence[str]:
        return tuple(f"{each.task} put in behind {self.behind}" for each in self.tasks)

    def _edit(self, tables: Tables) -> None:
        steps = tables["steps"]
        last = dict(zip(steps["task"], steps["step"], strict=True)) | {
            each.task: str(each.steps[-1]["step"]) for each in self.tasks}
        rows = list[Cells]()
        for each in self.tasks:
            own = {step["step"] for step in each.steps}
            for step in each.steps:
                waits = str(step.get("after") or "").split()
                earlier = [] if own & {*waits} else [last[name] for name in each.after if name in last]
                rows.append({**step, "after": " ".join(dict.fromkeys([*waits, *earlier]))})
        at = next((number for number, step in enumerate(steps["step"], 1) if step == self.behind), 0)
        tables["steps"] = with_rows(steps, rows, at)
        known = tables["tasks"]
        tables["tasks"] = with_rows(known, [each.cells for each in self.tasks], len(known))
        for table, column, cells in [(*each, cells) for ends in self.ends for each, cells in ends.items()]:
            frame = tables[table]
            said = dict(zip(frame.iloc[:, 0], frame.get(column, ()), strict=False))
            if missing := {name: cell for name, cell in cells.items() if said.get(name, cell) == ""}:
                CellsOf(table, {column: missing}).edit(tables)


def cells_of(step: Step) -> Cells:
    """A row of ``steps.csv`` as a table takes it; what is not given is left out."""
    said = {field.name: getattr(step, field.name) for field in STEPS.fields}
    return {name: " ".join(map(move_text, cell)) if name in ("takes", "leaves") else
            " ".join(map(str, cell)) if isinstance(cell, tuple) else cell
            for name, cell in said.items() if cell not in ("", None, ())}


def own_rows(records: Records, task: str) -> dict[tuple[str, str], Cells]:
    """The rows of a task as an outing has them, as `TaskRows.by_id`."""
    cells = {field.name: value for each in records.tasks if each.task == task for field in TASKS.fields
             if (value := getattr(each, field.name)) not in ("", None, False)}
    return {("tasks", task): cells} | {("steps", step.step): cells_of(step)
                                       for step in records.steps if step.task == task}


def said(cell: object) -> str:
    """A cell in words; "" for none."""
    return "" if cell is None else number_text(cell) if isinstance(cell, float) else str(cell)


class Revised(NamedTuple):
    """A cell of which a backlog said ``was`` and now says ``now``, and the outing ``own``."""

    table: str
    row: str
    column: str
    own: str
    was: str
    now: str


def revised(records: Records, was: TaskRows, now: TaskRows) -> Iterator[Revised]:
    """The cells of a task's rows in an outing of which the backlog says something else by now."""
    own, before, after = own_rows(records, now.task), was.by_id, now.by_id
    for key in [key for key in own if key in before and key in after]:
        for column in dict.fromkeys((*before[key], *after[key])):
            cells = [said(each[key].get(column)) for each in (own, before, after)]
            if cells[1] != cells[2]:
                yield Revised(*key, column, *cells)
