"""EV1 and EV2 trade the steps of some tasks, or of all, with everything in them that names a crew member.

Crew, the prefixes and hand-overs of ``takes`` and ``leaves``, and ``hooks`` are swapped; shared steps stay
shared. People stay themselves: suits, tethers, paces. An item that starts on a crew member goes along when
all steps that touch it are swapped.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.frames import move_text
from planning_kit.inputs.records import ItemMove, Records, Step
from planning_kit.inputs.scenario import Scenario


def swap_roles(scenario: Scenario, tasks: Collection[str]) -> Scenario:
    """The scenario in which EV1 and EV2 trade the steps of ``tasks``. Done twice, it is as before."""
    hardware, along = scenario.hardware, _items_that_go_along(scenario.records, tasks)
    hardware["at"] = [PARTNER.get(at, at) if item in along else at
                      for item, at in zip(hardware["item"], hardware["at"], strict=True)]
    own = [step.step for step in scenario.records.steps if step.task in tasks]
    return swap_steps(scenario, own).with_table("hardware", hardware)


def swap_steps(scenario: Scenario, wanted: Collection[str]) -> Scenario:
    """The scenario in which EV1 and EV2 trade just these steps; no item changes hands by it."""
    records, steps = scenario.records, scenario.steps
    for column in ("crew", "takes", "leaves", "hooks"):
        cells = zip(steps[column], records.steps, strict=True)
        steps[column] = [_swapped(step, column) if step.step in wanted else before for before, step in cells]
    return scenario.with_table("steps", steps)


def _swapped(step: Step, column: str) -> str:
    """A cell of a step with EV1 and EV2 traded."""
    if column == "crew":
        return PARTNER.get(step.crew, step.crew)
    if column == "hooks":
        return " ".join(PARTNER[crew] for crew in step.hooks)
    moves: tuple[ItemMove, ...] = getattr(step, column)
    return " ".join(
        move_text(replace(move, crew=PARTNER.get(move.crew, ""), into=PARTNER.get(move.into, move.into)))
        for move in moves
    )


def _items_that_go_along(records: Records, tasks: Collection[str]) -> set[str]:
    touched_by: dict[str, set[str]] = {}
    for step in records.steps:
        items = {*step.uses, step.foothold, *(move.item for move in (*step.takes, *step.leaves))}
        for item in items:
            touched_by.setdefault(item, set()).add(step.task)
    everything = {task.task for task in records.tasks} <= set(tasks)
    return {item.item for item in records.hardware
            if everything or (item.item in touched_by and touched_by[item.item] <= set(tasks))}
