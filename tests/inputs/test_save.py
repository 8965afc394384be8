"""Saving: exact, whole, and never over another's change."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from planning_kit.inputs import save
from planning_kit.inputs.faults import SaveConflict, ScenarioError
from planning_kit.inputs.folder_files import RECORD, STAGE, FileChange, digest_of, record_of
from planning_kit.inputs.save import STATE_VARIABLE, _move_to_places, state_folder
from planning_kit.inputs.scenario import Scenario, load_scenario
from tests.inputs.small_folder import TABLES, small_files, write_small


def files_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def longer(scenario: Scenario, minutes: float = 6.5) -> Scenario:
    steps = scenario.steps
    steps.loc[0, "minutes_likely"] = minutes
    return scenario.with_table("steps", steps)


def test_saving_what_did_not_change_leaves_every_byte(small: Scenario, folder: Path) -> None:
    before = {path: path.stat().st_mtime_ns for path in folder.iterdir()}
    small.save()
    assert {name: data.decode() for name, data in files_in(folder).items()} == small_files()
    assert {path: path.stat().st_mtime_ns for path in folder.iterdir()} == before, "and writes nothing"


@pytest.mark.parametrize("scenario", ["small-outing", "tern-station", "faulty-plan"])
def test_the_scenarios_of_the_project_round_trip(tmp_path: Path, scenario: str) -> None:
    folder = Path(__file__).parents[2] / "scenarios" / scenario
    first = load_scenario(folder)
    first.save(tmp_path / "copy")
    assert load_scenario(tmp_path / "copy") == first
    copied = files_in(tmp_path / "copy")
    assert copied == {name: data for name, data in files_in(folder).items() if name in copied}
    edited = first.with_table("steps", first.steps.assign(minutes_high=first.steps["minutes_high"] + 0.1))
    assert load_scenario(edited.save(tmp_path / "edited").folder) == edited


def test_only_what_changed_is_written(small: Scenario, folder: Path) -> None:
    (folder / "notes.txt").write_text("mine")
    before = files_in(folder)
    saved = longer(small).save()
    after = files_in(folder)
    assert {name for name in after if after[name] != before.get(name)} == {"steps.csv"}
    assert after["steps.csv"].decode() == TABLES["steps"].replace(",4,5,8,", ",4,6.5,8,")
    assert set(after) == set(before), "unknown files stay, no other file is left behind"
    assert load_scenario(folder) == saved
    assert saved.folder == folder


def test_a_saved_scenario_can_be_saved_again(small: Scenario, folder: Path) -> None:
    saved = longer(small).save()
    again = longer(saved, 7).save()
    assert load_scenario(folder) == again
    assert longer(small, 7).save() == again, "the files hold just that already"
    with pytest.raises(SaveConflict):
        small.save()


def test_hostile_text_survives_a_round_trip(small: Scenario, tmp_path: Path) -> None:
    steps = small.steps
    steps.loc[:, "title"] = ['"', 'a "b", c', "one\ntwo", "r\rn\r\n;", "<b>é\u2028</b> =cmd"]
    steps["x_'odd\",\nname"] = [",", "", " ", "'", "\ufeff"]
    edited = small.with_table("steps", steps)
    back = load_scenario(edited.save(tmp_path / "new").folder)
    assert back == edited
    assert back.steps.equals(edited.steps)
    assert [step.title for step in back.records.steps] == steps["title"].tolist()


def test_the_way_a_file_was_written_is_kept(tmp_path: Path) -> None:
    crew = "\ufeff" + TABLES["crew"].replace("\n", "\r\n")
    scenario = load_scenario(write_small(tmp_path, {"crew.csv": crew}))
    faster = scenario.crew
    faster.loc[0, "metres_per_min"] = 6
    scenario.with_table("crew", faster).save()
    assert (tmp_path / "crew.csv").read_bytes().decode() == crew.replace("EV1,5,", "EV1,6,")


@pytest.mark.parametrize("name", ["scenario.toml", "steps.csv", "crew.csv", "orbit.json"])
def test_a_file_changed_by_another_is_a_conflict(small: Scenario, folder: Path, name: str) -> None:
    with (folder / name).open("a") as stream:
        stream.write("\n")
    before = files_in(folder)
    with pytest.raises(SaveConflict) as caught:
        longer(small).save()
    assert caught.value.problems["table"].tolist() == [name, ""]
    assert files_in(folder) == before


def test_a_deleted_or_added_table_is_a_conflict(tmp_path: Path) -> None:
    scenario = load_scenario(write_small(tmp_path, {"windows.csv": None}))
    (tmp_path / "gaps.csv").unlink()
    (tmp_path / "windows.csv").write_text("window,start,end,source\n")
    with pytest.raises(SaveConflict) as caught:
        longer(scenario).save()
    assert caught.value.problems["table"].tolist() == ["gaps.csv", "windows.csv", ""]


def test_another_scenario_in_the_folder_is_a_conflict(small: Scenario, tmp_path: Path) -> None:
    other = write_small(tmp_path / "other", {"crew.csv": TABLES["crew"] + "\n"})
    with pytest.raises(SaveConflict, match=r"crew\.csv: is in the folder but was not read"):
        small.save(other)
    lone = tmp_path / "lone"
    lone.mkdir()
    (lone / "tasks.csv").write_text("task\n")
    with pytest.raises(SaveConflict):
        small.save(lone)
    assert files_in(lone) == {"tasks.csv": b"task\n"}


def test_a_folder_with_other_files_is_no_conflict(small: Scenario, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("mine")
    saved = longer(small).save(tmp_path / "mine")
    assert load_scenario(tmp_path / "mine") == saved
    assert (tmp_path / "mine" / "notes.txt").read_text() == "mine"


def test_a_scenario_follows_its_save(small: Scenario, folder: Path, tmp_path: Path) -> None:
    saved = small.save(tmp_path / "copy")
    longer(saved).save()
    assert load_scenario(tmp_path / "copy") != small
    assert load_scenario(folder) == small


def test_modes_stay(small: Scenario, folder: Path) -> None:
    (folder / "steps.csv").chmod(0o640)
    longer(small).save()
    assert (folder / "steps.csv").stat().st_mode & 0o777 == 0o640


def test_a_link_within_the_folder_is_read_and_not_written(small: Scenario, folder: Path) -> None:
    (folder / "steps.csv").rename(folder / "real.csv")
    (folder / "steps.csv").symlink_to("real.csv")
    before = files_in(folder)
    assert load_scenario(folder) == small
    assert small.with_settings({"title": "Another"}).save() == load_scenario(folder)
    with pytest.raises(ScenarioError, match=r"steps\.csv: is a link, and only plain files are written"):
        longer(load_scenario(folder)).save()
    assert files_in(folder)["real.csv"] == before["real.csv"]


def test_a_sign_off_is_not_written_through_a_link(small: Scenario, folder: Path) -> None:
    (folder / "sign_offs.toml").symlink_to("scenario.toml")
    before = files_in(folder)
    with pytest.raises(ScenarioError):
        load_scenario(folder).sign_off("A")
    assert files_in(folder) == before


def test_an_empty_file_of_sign_offs_takes_the_first(small: Scenario, folder: Path) -> None:
    (folder / "sign_offs.toml").touch()
    assert small.sign_off("A")["by"].tolist() == ["A"]


def test_a_folder_that_is_gone_does_not_come_back(small: Scenario, folder: Path, tmp_path: Path) -> None:
    folder.rename(tmp_path / "moved")
    with pytest.raises(SaveConflict, match="was deleted on disk"):
        longer(small).save()
    assert not folder.exists()
    longer(small).save(folder)  # where it is asked for by name


def test_a_link_out_of_the_folder_is_neither_read_nor_written(small: Scenario, folder: Path,
                                                              tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere.csv"
    (folder / "steps.csv").rename(elsewhere)
    (folder / "steps.csv").symlink_to(elsewhere)
    before = elsewhere.read_bytes()
    for use in (longer(small).save, lambda: load_scenario(folder), lambda: small.save(folder)):
        with pytest.raises(ScenarioError, match="leads out of its folder"):
            use()
    assert elsewhere.read_bytes() == before


@pytest.mark.parametrize("place", ["none/folder", "file", "file/folder", "a\0b", "x" * 300])
def test_places_that_cannot_be(small: Scenario, tmp_path: Path, place: str) -> None:
    (tmp_path / "file").write_text("mine")
    before = sorted(tmp_path.iterdir())
    with pytest.raises(ScenarioError):
        small.save(tmp_path / place)
    assert sorted(tmp_path.iterdir()) == before
    assert (tmp_path / "file").read_text() == "mine"


def test_a_folder_in_the_way_of_a_file(small: Scenario, folder: Path) -> None:
    (folder / "steps.csv").unlink()
    (folder / "steps.csv").mkdir()
    with pytest.raises(ScenarioError, match="not a plain file"):
        longer(small).save()


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="modes bind no superuser")
def test_a_read_only_folder(small: Scenario, folder: Path) -> None:
    before = files_in(folder)
    folder.chmod(0o555)
    try:
        with pytest.raises(ScenarioError, match="cannot be saved"):
            longer(small).save()
    finally:
        folder.chmod(0o755)
    assert files_in(folder) == before


def two_files(scenario: Scenario) -> Scenario:
    return longer(scenario).with_settings({"title": "Another"})


@pytest.mark.parametrize("fails_at", [0, 1])
@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_failing_disk_changes_nothing(small: Scenario, folder: Path, monkeypatch: pytest.MonkeyPatch,
                                        call: str, fails_at: int) -> None:
    true_call, count = getattr(os, call), 0

    def failing(*args: object) -> object:
        nonlocal count
        count += 1
        if count == fails_at + 1:
            raise OSError(28, "No space left on device")
        return true_call(*args)

    before = files_in(folder)
    monkeypatch.setattr(save.os, call, failing)
    with pytest.raises(ScenarioError, match="No space left on device; nothing was changed"):
        two_files(small).save()
    monkeypatch.undo()
    assert files_in(folder) == before
    assert two_files(small).save() == load_scenario(folder)


def test_a_failing_disk_leaves_no_new_folder(small: Scenario, tmp_path: Path,
                                             monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(*_: object) -> None:
        raise OSError(28, "No space left on device")

    before = sorted(tmp_path.iterdir())
    monkeypatch.setattr(save.os, "fsync", failing)
    with pytest.raises(ScenarioError, match="No space left"):
        small.save(tmp_path / "new")
    assert sorted(tmp_path.iterdir()) == before


class Crash(BaseException):
    """The process is gone: nothing after this moment runs."""


def crash_at(monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    """Let the save end at its ``number``-th change of the disk; what tidies up afterwards does not run."""
    count = 0

    def counted(true_call: Callable[..., object]) -> Callable[..., object]:
        def call(*args: object, **how: object) -> object:
            nonlocal count
            count += 1
            if count >= number:
                raise Crash
            return true_call(*args, **how)
        return call

    monkeypatch.setattr(save, "write_flushed", counted(save.write_flushed))
    for name in ("replace", "chmod"):
        monkeypatch.setattr(save.os, name, counted(getattr(os, name)))
    for name in ("mkdir", "rmdir", "unlink"):
        monkeypatch.setattr(Path, name, counted(getattr(Path, name)))


@pytest.mark.parametrize("number", range(1, 17))
def test_a_crash_at_any_change_of_the_disk_leaves_the_old_set_or_the_new(
        small: Scenario, folder: Path, monkeypatch: pytest.MonkeyPatch, number: int) -> None:
    new = two_files(small)
    with monkeypatch.context() as patch, contextlib.suppress(Crash):
        crash_at(patch, number)
        new.save()
    before = tree_of(folder)
    found = load_scenario(folder)
    assert found in (small, new)
    assert tree_of(folder) == before, "loading writes nothing"
    again = longer(found, 7.5).save()
    assert load_scenario(folder) == again
    assert set(files_in(folder)) == set(small_files()), "nothing is left over"


def test_the_crashes_reach_every_part_of_a_save(small: Scenario, folder: Path,
                                                monkeypatch: pytest.MonkeyPatch) -> None:
    found = []
    for number in range(1, 17):
        with monkeypatch.context() as patch, contextlib.suppress(Crash):
            crash_at(patch, number)
            two_files(small).save()
        found.append(load_scenario(folder) == small)
        shutil.rmtree(folder)
        write_small(folder)
    first_new = found.index(False)
    assert 4 < first_new < 12, "the old set until the record is there, the new one from then on"
    assert not any(found[first_new:])


def interrupted(scenario: Scenario, monkeypatch: pytest.MonkeyPatch, moved: int) -> None:
    """Save, and end after ``moved`` files have taken their places, before the record goes."""
    true_replace, count = os.replace, 0

    def replace(source: Path, target: Path) -> None:
        nonlocal count
        count += Path(target).parent == scenario.folder
        if count > moved:
            raise Crash
        true_replace(source, target)

    def crash(_: Path) -> None:
        raise Crash

    with monkeypatch.context() as patch, contextlib.suppress(Crash):
        patch.setattr(save.os, "replace", replace)
        patch.setattr(save, "_clear", crash)
        scenario.save()
    assert (scenario.folder / STAGE / RECORD).exists()


@pytest.mark.parametrize("moved", [0, 1])
def test_a_file_that_somebody_changed_after_the_crash_is_not_mixed(
        small: Scenario, folder: Path, monkeypatch: pytest.MonkeyPatch, moved: int) -> None:
    interrupted(two_files(small), monkeypatch, moved)
    (folder / "steps.csv").write_text(TABLES["steps"] + "\n")
    for use in (lambda: load_scenario(folder), small.save):
        with pytest.raises(ScenarioError, match=r"steps\.csv: is neither what was saved nor what was there"):
            use()
    shutil.rmtree(folder / STAGE)
    load_scenario(folder)


def test_a_file_may_change_once_all_are_in_place(small: Scenario, folder: Path,
                                                monkeypatch: pytest.MonkeyPatch) -> None:
    interrupted(two_files(small), monkeypatch, 2)  # all are in place, only the record is left
    (folder / "steps.csv").write_text(TABLES["steps"] + "\n")
    assert load_scenario(folder) == small.with_settings({"title": "Another"})


def test_a_lost_stage_is_the_old_set_while_nothing_moved(small: Scenario, folder: Path,
                                                         monkeypatch: pytest.MonkeyPatch) -> None:
    interrupted(two_files(small), monkeypatch, 0)
    (folder / STAGE / "steps.csv").unlink()
    assert load_scenario(folder) == small


@pytest.mark.parametrize("moved", [0, 1, 2])
def test_a_read_only_copy_loads_the_same(small: Scenario, folder: Path, tmp_path: Path,
                                         monkeypatch: pytest.MonkeyPatch, moved: int) -> None:
    new = two_files(small)
    interrupted(new, monkeypatch, moved)
    copy = tmp_path / "copy"
    shutil.copytree(folder, copy)
    for path in (*copy.rglob("*"), copy):
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        assert load_scenario(copy) == new
    finally:
        for path in (copy, *copy.rglob("*")):
            path.chmod(0o755)


DIGEST = "0" * 64


@pytest.mark.parametrize("record", [
    b"", b"[]", b"\xff", b"{}", b"[" * 100_000,
    {"files": {"../crew.csv": ["", DIGEST]}}, {"files": {"/etc/passwd": ["", DIGEST]}},
    {"files": {"a\\b": ["", DIGEST]}}, {"files": {".git": ["", DIGEST]}}, {"files": {"": ["", DIGEST]}},
    {"files": {"crew.csv": ["", ""]}}, {"files": {"crew.csv": ["x", DIGEST]}}, {"files": {"crew.csv": [""]}},
    {"files": {"crew.csv": ["", 7]}}, {"files": []}, {"files": {"crew.csv": None}},
    {"files": {}, "run": "me"}, {"files": {}, "format": 2},
])
def test_a_record_that_no_save_wrote_is_a_fault(small: Scenario, folder: Path,
                                                record: bytes | dict[str, object]) -> None:
    (folder / STAGE).mkdir()
    data = record if isinstance(record, bytes) else json.dumps({"format": 1, "save": "x"} | record).encode()
    (folder / STAGE / RECORD).write_bytes(data)
    before = tree_of(folder)
    for use in (lambda: load_scenario(folder), longer(small).save, lambda: small.sign_off("A")):
        with pytest.raises(ScenarioError, match="record of an interrupted save"):
            use()
    assert tree_of(folder) == before


def test_a_staged_link_out_of_the_folder_is_not_read(small: Scenario, folder: Path, tmp_path: Path) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("mine")
    (folder / STAGE).mkdir()
    (folder / STAGE / "crew.csv").symlink_to(secret)
    files = {"crew.csv": [digest_of((folder / "crew.csv").read_bytes()), digest_of(b"mine")]}
    (folder / STAGE / RECORD).write_text(json.dumps({"format": 1, "save": "x", "files": files}))
    with pytest.raises(ScenarioError, match="which is a link"):
        load_scenario(folder)


@pytest.mark.parametrize("kind", ["file", "link"])
def test_a_stage_that_is_no_folder_is_a_fault(small: Scenario, folder: Path, tmp_path: Path,
                                              kind: str) -> None:
    if kind == "file":
        (folder / STAGE).write_text("mine")
    else:
        (folder / STAGE).symlink_to(tmp_path)
    for use in (lambda: load_scenario(folder), longer(small).save):
        with pytest.raises(ScenarioError, match="not a plain folder"):
            use()


def test_a_first_save_that_broke_off_can_be_done_again(small: Scenario, tmp_path: Path,
                                                       monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(1, 40):
        with monkeypatch.context() as patch, contextlib.suppress(Crash):
            crash_at(patch, number)
            small.save(tmp_path / f"new{number}")
        if (tmp_path / f"new{number}" / STAGE / RECORD).exists():
            assert load_scenario(tmp_path / f"new{number}") == small
        small.save(tmp_path / f"new{number}")
        assert set(files_in(tmp_path / f"new{number}")) == set(small_files())


def test_a_reader_never_sees_two_saves_mixed(small: Scenario, folder: Path) -> None:
    """One thread saves two versions in turn, both of which change several files; another loads meanwhile."""
    versions, seen = [small, two_files(small)], set[str]()
    done = threading.Event()

    def save_in_turn() -> None:
        current = small
        for number in range(3_000):
            if number >= 60 and len(seen) == len(versions):  # on a busy machine the reader comes to it late
                break
            current = replace(versions[(number + 1) % 2], on_disk=current.on_disk).save()
        done.set()

    writer = threading.Thread(target=save_in_turn)
    writer.start()
    while not done.is_set():
        found = load_scenario(folder)
        assert found in versions
        seen.add(found.digest)
    writer.join()
    assert len(seen) == 2, "both were met, so a mix would have been too"


@pytest.mark.parametrize("what", ["mkdir", "rmdir", "unlink"])
def test_where_only_the_clearing_up_fails_the_save_is_done(small: Scenario, folder: Path, what: str,
                                                           monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(*_: object, **__: object) -> None:
        raise OSError(39, "Directory not empty")

    new = two_files(small)
    with monkeypatch.context() as patch:
        if what == "mkdir":  # something else makes a folder in the stage
            patch.setattr(save, "_move_to_places", lambda *given: (
                (folder / STAGE / "other").mkdir(), _move_to_places(*given)))
        else:
            patch.setattr(Path, what, failing)
        saved = new.save()
    assert load_scenario(folder) == new
    assert load_scenario(longer(saved, 7.5).save().folder) == longer(saved, 7.5)


def test_a_strange_folder_in_the_stage_stops_no_save(small: Scenario, folder: Path) -> None:
    (folder / STAGE / ".ipynb_checkpoints").mkdir(parents=True)
    assert longer(small).save() == load_scenario(folder)
    assert (folder / STAGE / ".ipynb_checkpoints").exists(), "what is not ours stays"


@pytest.mark.parametrize("staged", [True, False])
def test_a_record_about_a_link_is_a_fault(small: Scenario, folder: Path, staged: bool) -> None:
    old, new = (folder / "tasks.csv").read_bytes(), (folder / "tasks.csv").read_bytes() + b"\n"
    (folder / STAGE).mkdir()
    (folder / STAGE / ("x" if staged else "tasks.csv")).write_bytes(new)
    if staged:
        (folder / STAGE / "tasks.csv").symlink_to("x")
    else:
        (folder / "tasks.csv").rename(folder / "y.csv")
        (folder / "tasks.csv").symlink_to("y.csv")
    change = FileChange("tasks.csv", digest_of(old), digest_of(new))
    (folder / STAGE / RECORD).write_bytes(record_of([change]))
    before = tree_of(folder)
    for use in (lambda: load_scenario(folder), small.save, lambda: small.sign_off("A")):
        with pytest.raises(ScenarioError, match="which is a link"):
            use()
    assert tree_of(folder) == before


def test_monstrous_files_are_faults(small: Scenario, folder: Path) -> None:
    with (folder / "actors.csv").open("wb") as stream:
        stream.truncate(64 * 10**9)  # a hole: it takes no room on the disk
    for use in (lambda: load_scenario(folder), longer(small).save):
        with pytest.raises(ScenarioError, match="larger than"):
            use()


def test_a_state_folder_is_the_same_from_everywhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(STATE_VARIABLE, "state")
    found = state_folder()
    monkeypatch.chdir(tmp_path)
    assert state_folder() == found


def tree_of(folder: Path) -> dict[str, tuple[bytes, int]]:
    return {str(path.relative_to(folder)): (path.read_bytes(), path.stat().st_mtime_ns)
            for path in sorted(folder.rglob("*")) if path.is_file()}
