"""Which task is left out first: one order for options, cuts, better orders and the rest of an outing."""

import math
from collections.abc import Iterable, Mapping
from itertools import groupby

from planning_kit.inputs.records import Task
from planning_kit.plan.timed import TimedPlan

_NEEDS = ("get-ahead", "optional", "required")  # the first goes first
_MOST_WEIGHT = 2**40  # sums of weights must stay whole numbers that the solver can hold


def may_go(task: Task) -> bool:
    """Whether a search or a table may leave a task out by itself: never required work."""
    return task.need != "required"


def may_be_cut(task: Task) -> bool:
    """Whether to say of a task that it would be left out: it may go, or is required with a cut order."""
    return may_go(task) or task.cut_order is not None


def drop_order(tasks: Iterable[Task], starts: Mapping[str, float] | None = None) -> list[Task]:
    """The tasks, the one that goes first in front.

    The planner's ``cut_order`` decides first, then need (get-ahead goes before optional, optional before
    required), then priority (the highest number goes first). A task without a number is kept longest. Equal
    tasks: the later one by ``starts`` (PET minutes by task) goes first, else the one that stands first.
    """
    later = starts or {}
    return sorted(tasks, key=lambda task: (*_level(task), -later.get(task.task, 0.0)))


def task_starts(plan: TimedPlan) -> dict[str, float]:
    """When each task of a plan begins, PET minutes."""
    starts: dict[str, float] = {}
    for step, start, _ in plan.each_step():
        starts[step.task] = min(start, starts.get(step.task, math.inf))
    return starts


def drop_weights(tasks: Iterable[Task]) -> dict[str, int]:
    """What each task weighs when it is left out: more than all tasks together that go before it.

    Equal tasks weigh the same. Where there are so many that the weights would grow beyond all bounds, those
    that go last weigh the same, too.
    """
    weights: dict[str, int] = {}
    total = 0
    for _, equal in groupby(drop_order(tasks), key=_level):
        level = dict.fromkeys((task.task for task in equal), total + 1)
        weights |= level
        if total <= _MOST_WEIGHT:
            total += (total + 1) * len(level)
    return weights


def _level(task: Task) -> tuple[float, float, float]:
    return _number(task.cut_order), float(_NEEDS.index(task.need)), _number(task.priority, -1)


def _number(value: float | None, sign: int = 1) -> float:
    # Never a negative infinity: without a number it goes last, whichever way the numbers run.
    return math.inf if value is None or math.isnan(value) else sign * float(value)
