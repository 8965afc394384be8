"""Where one lane waits for another, or an item passes from one crew member to the other."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import pandas as pd

from planning_kit.inputs.format import SUITED
from planning_kit.inputs.records import ItemMove, Step
from planning_kit.inputs.text_table import ShownTable

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan

HANDOVER_COLUMNS = ["from_crew", "to_crew", "from_step", "to_step", "from_min", "to_min", "what"]


def find_handovers(plan: TimedPlan) -> pd.DataFrame:
    """One row a hand-over, by time.

    ``what`` is ``after`` where the later step waits for another lane's step, or the item that one leaves and
    the other takes next. ``from_min`` is the finish of ``from_step``, ``to_min`` the start of ``to_step``,
    in PET minutes (equal for hand to hand).
    """
    rows = [*_waits(plan), *_item_rows(plan)]
    frame = ShownTable(rows, columns=HANDOVER_COLUMNS)
    return frame.sort_values(["from_min", "to_min"], kind="stable").reset_index(drop=True)


def _waits(plan: TimedPlan) -> Iterator[tuple[str, str, str, str, float, float, str]]:
    for step in plan.steps:
        for name in step.after:
            before = plan.steps[plan.position(name)]
            waiting = [crew for crew in step.people if crew not in before.people]
            for crew in waiting:
                if len(before.people) == 1:
                    yield _row(plan, before, step, before.people[0], crew, "after")


def _item_rows(plan: TimedPlan) -> Iterator[tuple[str, str, str, str, float, float, str]]:
    left: dict[str, tuple[Step, str]] = {}
    for _, is_take, step, move in sorted(_moves(plan), key=lambda event: event[:2]):
        crew = move.crew or step.crew
        if is_take and move.item in left:
            giver, left_by = left.pop(move.item)
            if left_by != crew:
                yield _row(plan, giver, step, left_by, crew, move.item)
        elif not is_take and move.into in SUITED and move.into != crew:
            finish = float(plan.finishes[plan.position(step.step)])
            yield crew, move.into, step.step, step.step, finish, finish, move.item
        elif not is_take:
            left[move.item] = (step, crew)


def _moves(plan: TimedPlan) -> Iterator[tuple[float, bool, Step, ItemMove]]:
    for position, step in enumerate(plan.steps):
        for move in step.takes:
            yield float(plan.starts[position]), True, step, move
        for move in step.leaves:
            yield float(plan.finishes[position]), False, step, move


def _row(plan: TimedPlan, before: Step, then: Step, from_crew: str, to_crew: str,
         what: str) -> tuple[str, str, str, str, float, float, str]:
    finish = float(plan.finishes[plan.position(before.step)])
    start = float(plan.starts[plan.position(then.step)])
    return from_crew, to_crew, before.step, then.step, finish, start, what
