"""What was moved, told as few blocks as the two orders allow."""

from __future__ import annotations

import pytest

from planning_kit.explore.propose.moves import moved_blocks
from planning_kit.explore.propose.stages import task_weights
from planning_kit.inputs.records import Task


@pytest.mark.parametrize(("before", "now", "moved"), [
    ("A B C D", "A B C D", ["", ""]),
    ("A B C D E", "A C D E B", ["B"]),  # one step moved back, not three forward
    ("A B C D E F G", "A D E F G B C", ["B C"]),  # a block moves as one
    ("A B C D E F G", "A C D B F G E", ["B", "E"]),
    ("A B C", "A C", ["", ""]),  # left out is not moved
])
def test_the_fewest_steps_are_told_as_moved(before: str, now: str, moved: list[str]) -> None:
    found = list(moved_blocks({"EV1": before.split()}, {"EV1": now.split()}))
    assert [" ".join(block.steps) for block in found] == [each for each in moved if each]


def test_a_move_says_where_the_block_was_and_is() -> None:
    block, = moved_blocks({"EV1": ["A", "B", "C", "D", "E"]}, {"EV1": ["B", "C", "D", "E", "A"]})
    assert (block.steps, block.follows, block.followed) == (("A",), "E", "egress")


def test_one_task_of_a_level_outweighs_all_of_the_levels_below() -> None:
    def task(name: str, need: str, priority: int | None, cut_order: int | None = None) -> Task:
        return Task(name, name, need, priority, False, "", None, cut_order)

    weights = task_weights((
        task("a", "optional", 4), task("b", "optional", 5), task("c", "optional", 5),
        task("d", "get-ahead", 5), task("e", "optional", None), task("f", "required", 1),
        task("g", "optional", 4, cut_order=1),
    ))
    assert "f" not in weights
    assert weights["a"] > weights["g"] > weights["b"]  # g has a cut order, a has none: g goes first
    assert weights["b"] == weights["c"] > weights["d"] > weights["e"] > 0
    assert weights["g"] > weights["b"] + weights["c"] + weights["d"] + weights["e"]
