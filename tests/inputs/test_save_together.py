"""Several folders saved as one act: whatever fails, and whenever it ends, all are old or all are new."""

from __future__ import annotations

import contextlib
import os
import shutil
from pathlib import Path

import pytest

from planning_kit.inputs import save
from planning_kit.inputs.faults import SaveConflict, ScenarioError
from planning_kit.inputs.folder_files import STAGE
from planning_kit.inputs.scenario import Scenario, load_scenario, save_all
from tests.inputs.small_folder import small_files, write_small
from tests.inputs.test_save import Crash, crash_at, longer, tree_of, two_files

NAMES = ("one", "two")
Both = tuple[Scenario, ...]
MOST = 42  # changes of the disk, more than a save of two folders makes


def both(above: Path) -> Both:
    """Both folders anew."""
    shutil.rmtree(above, ignore_errors=True)
    above.mkdir()
    for name in NAMES:
        (above / name).mkdir()
        write_small(above / name)
    return loaded(above)


def loaded(above: Path) -> Both:
    return tuple(load_scenario(above / name) for name in NAMES)


def bytes_in(above: Path) -> dict[str, bytes]:
    return {name: data for name, (data, _) in tree_of(above).items()}


def edited(old: Both) -> Both:
    return two_files(old[0]), longer(old[1])


def test_after_a_crash_at_any_change_of_the_disk_all_are_old_or_all_are_new(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    above, met = tmp_path / "c", list[bool]()
    for number in range(1, MOST):  # one test: the crashes before and after the moment are counted
        old = both(above)
        new = edited(old)
        with monkeypatch.context() as patch, contextlib.suppress(Crash):
            crash_at(patch, number)
            save_all(above, new)
        before, found = tree_of(above), loaded(above)
        assert found in (old, new), number
        assert tree_of(above) == before, "loading writes nothing"
        met.append(found == new)
        for name in NAMES[:number % 2]:  # one of them is saved alone next
            longer(load_scenario(above / name), 6.75).save()
            assert loaded(above)[1:] == found[1:], number
        save_all(above, tuple(longer(each, 7.5) for each in loaded(above)))
        assert {path.name for path in above.iterdir()} == {*NAMES}
        assert all({path.name for path in (above / name).iterdir()} == {*small_files()} for name in NAMES)
    first = met.index(True)
    assert 12 < first < MOST - 12, "the old ones until the record above is there, the new ones from then on"
    assert all(met[first:])


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_disk_that_fails_midway_changes_no_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                    call: str) -> None:
    above, refused, true_call = tmp_path / "c", 0, getattr(os, call)
    for fails_at in range(MOST):
        old = both(above)
        before, count = bytes_in(above), 0

        def failing(*args: object, fails_at: int = fails_at) -> object:
            nonlocal count
            count += 1
            if count == fails_at + 1:
                raise OSError(28, "No space left on device")
            return true_call(*args)

        with monkeypatch.context() as patch:
            patch.setattr(save.os, call, failing)
            told = ""
            try:
                save_all(above, edited(old))
            except ScenarioError as error:
                told = str(error)
        if told:
            assert "No space left on device; nothing was changed, in no folder" in told
            assert bytes_in(above) == before, fails_at
            refused += 1
        else:
            assert loaded(above) == edited(old)
            assert not any((folder / STAGE).exists() for folder in (above, *above.iterdir()))
    assert refused >= 5


def test_a_disk_that_fails_for_good_leaves_the_new_ones_to_be_read(tmp_path: Path,
                                                                 monkeypatch: pytest.MonkeyPatch) -> None:
    above, count, true_replace = tmp_path / "c", 0, os.replace
    old = both(above)

    def failing(*args: Path) -> None:
        nonlocal count
        count += 1
        if count > 4:  # three records, one file
            raise OSError(5, "Input/output error")
        true_replace(*args)

    with monkeypatch.context() as patch:
        patch.setattr(save.os, "replace", failing)
        with pytest.raises(ScenarioError, match="was saved, but not every file could take its place"):
            save_all(above, edited(old))
    assert loaded(above) == edited(old)


def test_a_change_of_one_by_somebody_else_saves_none(tmp_path: Path) -> None:
    old = both(tmp_path / "c")
    (tmp_path / "c" / "two" / "steps.csv").write_text("step\n")
    before = tree_of(tmp_path / "c")
    with pytest.raises(SaveConflict, match=r"steps\.csv"):
        save_all(tmp_path / "c", edited(old))
    assert tree_of(tmp_path / "c") == before


def test_what_does_not_change_writes_nothing(tmp_path: Path) -> None:
    old = both(tmp_path / "c")
    before = {path: path.stat().st_mtime_ns for path in (tmp_path / "c").rglob("*")}
    save_all(tmp_path / "c", old)
    assert {path: path.stat().st_mtime_ns for path in (tmp_path / "c").rglob("*")} == before
