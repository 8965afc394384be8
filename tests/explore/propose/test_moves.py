"""What was moved, told as few blocks as the two orders allow."""

from __future__ import annotations

import pytest

from planning_kit.explore.propose.choices import moved_blocks


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
    assert (block.steps, block.follows, block.followed) == (("A",), "E", None)
