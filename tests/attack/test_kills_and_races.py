"""A handful of the kills and races on every day; the commands do hundreds."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.inputs import folder_files
from tests.attack.children import killed
from tests.attack.kills import CASES, changed, kill_all, own_copy
from tests.attack.races import RACES, race_all

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs os.fork")


def test_nothing_is_mixed_or_lost_when_a_writer_is_killed() -> None:
    for name, met in kill_all(3 * len(CASES), seed=7).items():
        assert set(met) <= {"kills", "in the middle"}, name


def test_nothing_is_lost_when_two_write_at_once() -> None:
    for name, met in race_all(2 * len(RACES)).items():
        assert set(met) == {"rounds"}, name


def test_the_kills_would_find_a_mix(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where nobody looks at the record, a save that was killed while files moved is mixed."""
    true_replace = os.replace

    def slow_replace(*paths: Path) -> None:
        time.sleep(0.1)
        true_replace(*paths)

    def is_mixed(number: int, looks_at_record: bool) -> bool:
        (tmp_path / str(number)).mkdir()
        old = own_copy(tmp_path / str(number))
        new = changed(old)
        killed(lambda _: new.save() and None, 0.1 * (number % 20))
        with monkeypatch.context() as patch:
            if not looks_at_record:
                patch.setattr(folder_files, "record_bytes", lambda _: None)
            return pk.load_scenario(old.folder) not in (old, new)

    monkeypatch.setattr(os, "replace", slow_replace)
    assert any(is_mixed(number, looks_at_record=False) for number in range(1, 20))
    assert not any(is_mixed(number, looks_at_record=True) for number in range(23, 26))
