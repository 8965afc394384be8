"""Work of the backlog as rows of an outing, and how it is put in there."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from planning_kit.changes.change import Cells as CellsOf
from planning_kit.changes.change import Change, Tables
from planning_kit.inputs.fields import SUITED
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.row_edits import with_rows

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
