"""A short soak of each scenario on every day; the command does thousands of edits."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from planning_kit.explore.session.draft import Draft, History
from planning_kit.explore.session.journal import Journal
from tests.attack.soak import MOST_BYTES, NAMES, bytes_an_edit, made_folder, soak


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PLANNING_KIT_STATE", str(tmp_path / "state"))


@pytest.mark.parametrize(("name", "seed"), [(name, seed) for name in NAMES for seed in (1, 2)])
def test_random_edits_fail_nowhere_and_lead_back(name: str, seed: int, tmp_path: Path) -> None:
    him = soak(made_folder(name, tmp_path), tmp_path, 30 if name == "tern-station" else 50, seed)
    assert him.met["longest history"] > 2


def test_an_edit_holds_little_memory(tmp_path: Path) -> None:
    assert 0 < bytes_an_edit(made_folder("small-outing", tmp_path), tmp_path, 60) < MOST_BYTES


def test_the_soak_would_find_an_undo_that_skips(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    step = History.step
    monkeypatch.setattr(History, "step", lambda self, by: (by < 0 and step(self, -2)) or step(self, by))
    with pytest.raises(AssertionError, match="undo"):
        soak(made_folder("small-outing", tmp_path), tmp_path, 50, 1)


def test_the_soak_would_find_a_journal_that_forgets(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write = Journal.write

    def forgets(self: Journal, _draft: Draft, base: Draft, *versions: Mapping[str, Draft]) -> None:
        write(self, base, base, *versions)

    monkeypatch.setattr(Journal, "write", forgets)
    with pytest.raises(AssertionError, match="the journal says something else"):
        soak(made_folder("small-outing", tmp_path), tmp_path, 80, 1)
