"""A change of a scenario, whoever asks for it, and the one way in which changes are made.

A what-if, a decision outside, a better order that was found, a dragged bar: each is a list of changes. They
edit the tables one after another, so that each reads what those before it left. What they come to is checked
once, as a whole: on the way tables may say what no scenario may (a place that no route leads to, until the
work at it is dropped), and all faults come in one error. Nothing here computes a time.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, ClassVar, NamedTuple

import pandas as pd

from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.records import Records
from planning_kit.inputs.row_edits import with_cells
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.source import apart, rows_of
from planning_kit.inputs.typed_tables import raw_from_frame

CHANGE_COLUMNS = ["name", "kind", "change"]
NOTE = "note"
STEP, TASK, CREW = "step", "task", "crew"


@dataclass
class Tables:
    """Tables and settings on their way from one scenario to the next: changed so far, not yet checked.

    A table that is read is a copy; what is set takes its place. ``read`` gives a table as it was before;
    ``before`` the records of all of them, where there are any. ``frames`` and ``settings``: what is changed.
    """

    read: Callable[[str], pd.DataFrame]
    before: Records | None = None
    frames: dict[str, pd.DataFrame] = field(default_factory=dict)
    settings: dict[str, object] = field(default_factory=dict)

    def __getitem__(self, name: str) -> pd.DataFrame:
        return self.frames[name].copy() if name in self.frames else self.read(name)

    def __setitem__(self, name: str, frame: pd.DataFrame) -> None:
        self.frames[name] = frame

    @property
    def records(self) -> Records:
        """What the tables say now; the settings are those from before.

        Raises `ScenarioError` for a changed cell that says nothing that can be used.
        """
        assert self.before is not None, "tables as typed have no records"
        faults = Faults()
        raw = {name: raw_from_frame(fmt.TABLE_BY_NAME[name], frame, None, faults)
               for name, frame in self.frames.items()}
        parsed: dict[str, Any] = {name: rows_of(name, raw[name], faults) for name in raw}
        faults.stop_if_any()
        return replace(self.before, **parsed | (apart(parsed["steps"]) if "steps" in parsed else {}))


@dataclass(frozen=True)
class Named:
    """What one name stands for: its kind, its id and the ids of its steps in row order."""

    kind: str
    id: str
    steps: tuple[str, ...]

    @property
    def key(self) -> str:
        """Kind and id, as a what-if takes them: ``step:A1``."""
        return f"{self.kind}:{self.id}"


def step_named(step: str) -> Named:
    """A step by itself."""
    return Named(STEP, step, (step,))


def task_named(records: Records, task: str) -> Named:
    """A task with its steps."""
    return Named(TASK, task, tuple(step.step for step in records.steps if step.task == task))


class Note(NamedTuple):
    """What a change brought with it, in words; ``about``: the inhibit, or the two steps of the gap."""

    words: str
    about: str = ""


@dataclass(frozen=True)
class Change(ABC):
    """One thing that is changed."""

    kind: ClassVar[str]

    @property
    def lines(self) -> tuple[str, ...]:
        """What the user reads: a line for each thing named in it."""
        return tuple(self._lines())

    @property
    def words(self) -> str:
        """The same in one line."""
        return "; ".join(self.lines)

    def edit(self, tables: Tables) -> tuple[Note, ...]:
        """Make it in ``tables``; gives notes of what it brought with it."""
        return tuple(self._edit(tables) or ())

    def arguments(self) -> dict[str, object]:
        """The arguments of ``plan.what_if`` that make it, for what `gain` proposes; of others not known."""
        raise NotImplementedError

    @abstractmethod
    def _lines(self) -> Sequence[str]:
        ...

    @abstractmethod
    def _edit(self, tables: Tables) -> Iterable[Note] | None:
        ...


class ChangeLine(NamedTuple):
    """What the user reads of a change. ``kind`` is the change's, or `NOTE`: what it brought with it."""

    name: str
    kind: str
    words: str


@dataclass(frozen=True)
class Changed:
    """What changes have made: the scenario, the lines that tell of them in order, and their notes alone."""

    scenario: Scenario
    lines: tuple[ChangeLine, ...]
    notes: tuple[Note, ...]


def apply(scenario: Scenario, changes: Iterable[Change]) -> Scenario:
    """The scenario with all changes made, in their order, checked once; itself without any.

    Raises one `ScenarioError` with every fault of what they come to.
    """
    return made(scenario, changes).scenario


def made(scenario: Scenario, changes: Iterable[Change], name: str = "",
         frames: Mapping[str, pd.DataFrame] | None = None) -> Changed:
    """As `apply`, with the lines that tell of the changes, under ``name``.

    ``frames``: tables, by name, that say something else before any change is made, such as what was done.
    """
    tables = Tables(scenario.table, scenario.records, dict(frames or {}))
    lines, all_notes = list[ChangeLine](), list[Note]()
    for change in changes:
        try:
            notes = change.edit(tables)
        except ScenarioError:  # perhaps because of a change before it: the check tells all faults at once
            scenario.with_tables(tables.frames, tables.settings)
            raise
        lines += [ChangeLine(name, change.kind, line) for line in change.lines]
        lines += [ChangeLine(name, NOTE, note.words) for note in notes]
        all_notes += notes
    if tables.frames or tables.settings:
        scenario = scenario.with_tables(tables.frames, tables.settings)
    return Changed(scenario, tuple(lines), tuple(all_notes))


def changes_table(lines: Iterable[ChangeLine]) -> pd.DataFrame:
    """What was changed as a table: ``name`` of the what-if, ``kind`` and ``change`` in words."""
    return TextTable([tuple(each) for each in lines], columns=CHANGE_COLUMNS)


@dataclass(frozen=True)
class Cells(Change):
    """Cells of one table: column to the row's id to what the cell shall say (see `with_cells`)."""

    kind = "cells"
    table: str
    columns: Mapping[str, Mapping[str, object]]

    def _lines(self) -> Sequence[str]:
        return [f"{column} of {', '.join(cells)} in {self.table}" for column, cells in self.columns.items()]

    def _edit(self, tables: Tables) -> None:
        tables[self.table] = with_cells(self.table, tables[self.table], self.columns)
