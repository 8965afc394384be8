"""A few of the damaged scenarios, every day; `tests.attack.damage` tries thousands."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from tests.attack.damage import CAMPAIGN, damaged, outcome

SEEDS = 60
A_PART = 4


@pytest.mark.parametrize("part", range(A_PART))
def test_only_faults_come_of_damage(tmp_path: Path, part: int) -> None:
    stages = Counter[str]()
    for seed in range(part, SEEDS, A_PART):
        try:
            stages.update(outcome(seed, tmp_path))
        except Exception as error:
            error.add_note(f"python -m tests.attack.damage 1 {seed}")
            raise
    assert stages["refused"] > 0
    assert stages["loaded"] > 0


def test_a_seed_damages_alike_each_time() -> None:
    assert [damaged(seed) for seed in range(10)] == [damaged(seed) for seed in range(10)]


def test_only_faults_come_of_a_damaged_campaign(tmp_path: Path) -> None:
    stages = Counter[str]()
    for seed in range(1_000, 1_040):
        try:
            stages.update(outcome(seed, tmp_path, CAMPAIGN))
        except Exception as error:
            error.add_note(f"outcome({seed}, folder, CAMPAIGN)")
            raise
    assert stages["refused"] > 0
    assert stages["timed"] > 0
