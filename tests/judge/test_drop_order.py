"""Which task goes first, and what leaving it out weighs."""

from __future__ import annotations

import math

import pytest

from planning_kit.inputs.records import Task
from planning_kit.judge.review import drop_order, drop_weights


def task(name: str, need: str = "optional", priority: float | None = None,
         cut_order: float | None = None) -> Task:
    return Task(name, name, need, priority, False, "", None, cut_order)  # type: ignore[arg-type]


MIXED = (task("a", priority=4), task("b", priority=5), task("c", priority=5), task("d", "get-ahead", 5),
         task("e"), task("f", "required", 9), task("g", priority=4, cut_order=2),
         task("h", "required", 1, cut_order=1))


def test_cut_order_goes_before_need_and_need_before_priority() -> None:
    # h and g have a cut order; d is get-ahead; of the optional ones 5 goes before 4, none last.
    assert [each.task for each in drop_order(MIXED)] == ["h", "g", "d", "b", "c", "a", "e", "f"]


def test_the_planners_cut_order_decides_whatever_the_priority() -> None:
    one, two = task("one", priority=1, cut_order=1), task("two", priority=2, cut_order=2)
    for tasks in ((one, two), (two, one)):
        assert [each.task for each in drop_order(tasks)] == ["one", "two"]
        assert drop_weights(tasks)["one"] < drop_weights(tasks)["two"]


@pytest.mark.parametrize("nothing", [None, math.nan])
def test_a_task_without_a_number_is_kept_longest(nothing: float | None) -> None:
    tasks = (task("x", priority=nothing, cut_order=nothing), task("y", priority=1), task("z", cut_order=9))
    assert [each.task for each in drop_order(tasks)] == ["z", "y", "x"]


def test_of_equal_tasks_the_later_one_goes_first() -> None:
    tasks = (task("early", priority=3), task("late", priority=3))
    assert [each.task for each in drop_order(tasks, {"early": 10.0, "late": 90.0})] == ["late", "early"]
    weights = drop_weights(tasks)
    assert weights["early"] == weights["late"]


def test_a_task_outweighs_all_that_go_before_it() -> None:
    weights = drop_weights(MIXED)
    ordered = [each.task for each in drop_order(MIXED)]
    for number, name in enumerate(ordered):
        before = [weights[each] for each in ordered[:number] if weights[each] != weights[name]]
        assert weights[name] > sum(before)
    assert weights["b"] == weights["c"]


def test_many_tasks_have_weights_that_a_solver_can_hold() -> None:
    tasks = [task(f"t{number}", cut_order=number) for number in range(1, 200)]
    weights = drop_weights(tasks)
    assert sum(weights.values()) < 2**62
    first = [weights[f"t{number}"] for number in range(1, 40)]
    assert first == sorted(set(first))  # of those that go first each has a weight of its own
