"""Who does what in which order: rows of ``steps.csv`` moved, given to the other, made to wait.

The row order is each crew member's order of work.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from planning_kit.changes.change import Change, Tables
from planning_kit.inputs.faults import ScenarioError, is_number
from planning_kit.inputs.format import PARTNER, SUITED
from planning_kit.inputs.records import BOTH, Records, Step
from planning_kit.inputs.row_edits import moved_behind, row_of, rows_with, set_cell, with_rows
from planning_kit.inputs.typed_tables import move_text


@dataclass(frozen=True)
class Follow(Change):
    """One step moved to just behind another."""

    kind = "move"
    step: str
    after: str

    def _lines(self) -> Sequence[str]:
        return (f"{self.step} moved to just behind {self.after}",)

    def arguments(self) -> dict[str, object]:
        """Step to the step that it follows."""
        return {"move": {self.step: self.after}}

    def _edit(self, tables: Tables) -> None:
        tables["steps"] = moved_behind(tables["steps"], self.step, self.after)


@dataclass(frozen=True)
class Order(Change):
    """Steps in another order: the rows that they have now are dealt out anew, all others stay."""

    kind = "order"
    steps: tuple[str, ...]

    def _lines(self) -> Sequence[str]:
        return (f"in this order: {' '.join(self.steps)}",)

    def _edit(self, tables: Tables) -> None:
        steps = tables["steps"]
        row = {name: number for number, name in enumerate(steps["step"])}
        names, named = iter(self.steps), set(self.steps)
        tables["steps"] = steps.iloc[[row[next(names) if name in named else name] for name in row]]


@dataclass(frozen=True)
class Add(Change):
    """A helper step more, ``row`` by column: in the table just before or behind the step ``beside``."""

    kind = "add"
    row: Mapping[str, Any]
    beside: str
    is_before: bool = False

    def _lines(self) -> Sequence[str]:
        where = f"{'before' if self.is_before else 'behind'} {self.beside}"
        return ("{step} put in {0}: {crew}, {minutes_likely:g} min, {title}".format(where, **self.row),)

    def _edit(self, tables: Tables) -> None:
        old, new = tables["steps"], pd.DataFrame([{**self.row, "helper": "yes"}], dtype=object)
        at = row_of(list(old["step"]), self.beside) + (not self.is_before)
        tables["steps"] = pd.concat([old[:at], new, old[at:]], ignore_index=True).astype(object).fillna("")


@dataclass(frozen=True)
class Trade(Change):
    """EV1 and EV2 trade the steps of ``tasks``, with everything in them that names a crew member.

    Crew, the prefixes and hand-overs of ``takes`` and ``leaves``, ``hooks``, ``rides`` and who acts are
    traded; shared steps stay shared. People stay themselves: suits, tethers, paces. An item that starts on a
    crew member goes along when all steps that touch it are traded. Single ``steps`` are traded too, without
    items: of a task that has begun these are in someone's hands. Done twice, it is as before.
    """

    kind = "swap"
    tasks: tuple[str, ...]
    steps: tuple[str, ...] = ()

    def _lines(self) -> Sequence[str]:
        return (f"EV1 and EV2 trade {', '.join((*self.tasks, *self.steps))}",)

    def _edit(self, tables: Tables) -> None:
        records = tables.records
        if self.tasks:
            hardware, along = tables["hardware"], items_that_go_along(records, self.tasks)
            hardware["at"] = [PARTNER.get(at, at) if item in along else at
                              for item, at in zip(hardware["item"], hardware["at"], strict=True)]
            tables["hardware"] = hardware
        steps = tables["steps"]
        rows = (*records.steps, *records.blocks)
        chosen = {step.step: step for step in rows if step.task in self.tasks or step.step in self.steps}
        for column in ("crew", "takes", "leaves", "hooks", *(["rides"] if "rides" in steps else [])):
            steps[column] = [_cell(traded(chosen[step]), column) if step in chosen else before
                             for before, step in zip(steps[column], steps["step"], strict=True)]
        tables["steps"] = steps
        _trade_actions(tables, {*chosen})


def _trade_actions(tables: Tables, steps: Collection[str]) -> None:
    """What one of the two does in the actions of ``steps`` is the other's to do."""
    actions = tables["actions"]
    if actions["step"].isin(steps).any():
        actions["who"] = [PARTNER.get(who, who) if step in steps else who
                          for step, who in zip(actions["step"], actions["who"], strict=True)]
        tables["actions"] = actions


def traded(step: Step) -> Step:
    """A step with EV1 and EV2 traded in all that names them."""
    takes, leaves = (tuple(
        replace(move, crew=PARTNER.get(move.crew, move.crew), into=PARTNER.get(move.into, move.into))
        for move in moves) for moves in (step.takes, step.leaves))
    hooks, rides = (tuple(PARTNER[crew] for crew in crews) for crews in (step.hooks, step.rides))
    return replace(step, crew=PARTNER.get(step.crew, step.crew), takes=takes, leaves=leaves, hooks=hooks,
                   rides=rides)


def _cell(step: Step, column: str) -> str:
    if column == "crew":
        return step.crew
    return " ".join(map(move_text if column in ("takes", "leaves") else str, getattr(step, column)))


def items_that_go_along(records: Records, tasks: Collection[str]) -> set[str]:
    """Items that go along when ``tasks`` are traded: on the other crew member at PET 0 if on one of them."""
    # All tasks traded mirror the whole outing: what no step touches goes along, too.
    if {task.task for task in records.tasks} <= set(tasks):
        return {item.item for item in records.hardware}
    return {item for item, touching in tasks_touching(records.steps).items() if touching <= set(tasks)}


def tasks_touching(steps: Iterable[Step]) -> dict[str, set[str]]:
    """Item to the tasks whose steps use, take or leave it or stand on it."""
    touching: dict[str, set[str]] = {}
    for step in steps:
        for item in step.touches:
            touching.setdefault(item, set()).add(step.task)
    return touching


@dataclass(frozen=True)
class Wait(Change):
    """One step made to wait for another: ``row``, by column, is a row of ``gaps.csv`` that is added.

    Where it says no more than ``after`` can say, it is written there.
    """

    kind = "rule"
    row: Mapping[str, Any]

    @property
    def is_after(self) -> bool:
        """Whether it says just that one step begins when the other is finished, or later however much."""
        row = self.row
        return not self._most and (row["min_gap"], row["first_at"], row["then_at"]) == (0, "finish", "start")

    @property
    def _most(self) -> str:
        """The greatest gap as it is said; "" where there is none."""
        most = self.row.get("max_gap")
        return "" if most is None or str(most).strip() in ("", "nan") else _as_words(most)

    def _lines(self) -> Sequence[str]:
        row, why = self.row, f": {self.row['reason']}" if self.row.get("reason") else ""
        if self.is_after:
            return (f"{row['then_step']} waits for {row['first_step']} (added to its after){why}",)
        minutes = _as_words(row["min_gap"]) + (f" and at most {self._most}" if self._most else "")
        return (f"the {row['then_at']} of {row['then_step']} comes at least {minutes} min after the "
                f"{row['first_at']} of {row['first_step']} (added to gaps){why}",)

    def _edit(self, tables: Tables) -> None:
        if self.is_after:
            steps = tables["steps"]
            here = steps["step"] == self.row["then_step"]
            steps.loc[here, "after"] = (steps.loc[here, "after"] + f" {self.row['first_step']}").str.strip()
            tables["steps"] = steps
        else:
            tables["gaps"] = with_rows(tables["gaps"], [self.row], len(tables["gaps"]))


def _as_words(minutes: object) -> str:
    """Minutes as they are said; what a planner typed that are none, as it was typed."""
    return f"{minutes:g}" if is_number(minutes) else str(minutes)


@dataclass(frozen=True)
class Drag(Change):
    """A bar dropped in ``lane`` just before another step of it (None: at its end).

    A step of EV1 or EV2 may change to the other's lane and takes the hooks of its own tether along; a step of
    both, or of an actor, keeps its lane. The steps ``more`` come along and stand behind it, in their order.
    """

    kind = "move"
    step: str
    lane: str
    before: str | None
    more: tuple[str, ...] = ()

    def _lines(self) -> Sequence[str]:
        return [f"move {' '.join((self.step, *self.more))}"]

    def _edit(self, tables: Tables) -> None:
        """Move the rows and change whose they are. Raises `ScenarioError` where the lane is not open."""
        steps = tables["steps"]
        before = dict(zip(steps["step"], steps["crew"], strict=True))
        for step in (self.step, *self.more):
            steps = self._with_moved(steps, step)
        tables["steps"] = steps
        now = zip(steps["step"], steps["crew"], strict=True)
        _trade_actions(tables, {step for step, crew in now if before[step] != crew})

    def _with_moved(self, steps: pd.DataFrame, step: str) -> pd.DataFrame:
        names = list(steps["step"])
        at = row_of(names, step)
        crew = steps["crew"].iloc[at]
        if crew != self.lane and not (self.lane in SUITED and crew in (*SUITED, BOTH)):
            raise ScenarioError.single(f"a step of {crew} cannot go to the lane of {self.lane}",
                                       table="steps", column="crew", value=step)
        if crew not in (self.lane, BOTH):
            hooks = [self.lane if hook == crew else hook for hook in steps["hooks"].iloc[at].split()]
            set_cell(steps, at, "crew", self.lane)
            # Once each: the other's tether may have been named already.
            set_cell(steps, at, "hooks", " ".join(dict.fromkeys(hooks)))
        return steps.iloc[rows_with(len(names), at, self._place(steps, names, at))]

    def _place(self, steps: pd.DataFrame, names: Sequence[str], at: int) -> int:
        """The row to stand before: that of ``before``, or the one behind the last step of the lane."""
        if self.before is not None:
            return row_of(names, self.before)
        whole = (self.lane, BOTH if self.lane in SUITED else self.lane)
        lane = [row for row, crew in enumerate(steps["crew"]) if row != at and crew in whole]
        return max(lane, default=len(names) - 1) + 1
