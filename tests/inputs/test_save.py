"""Saving: exact, whole, and never over another's change."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from planning_kit.inputs import save
from planning_kit.inputs.faults import SaveConflict, ScenarioError
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


def test_links_and_modes_stay(small: Scenario, folder: Path, tmp_path: Path) -> None:
    (folder / "steps.csv").rename(tmp_path / "real.csv")
    (folder / "steps.csv").symlink_to(tmp_path / "real.csv")
    (tmp_path / "real.csv").chmod(0o640)
    longer(small).save()
    assert (folder / "steps.csv").is_symlink()
    assert b",6.5," in (tmp_path / "real.csv").read_bytes()
    assert (tmp_path / "real.csv").stat().st_mode & 0o777 == 0o640


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

    (folder / "steps.csv").rename(folder / "real.csv")
    (folder / "steps.csv").symlink_to("real.csv")
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


def test_a_crash_between_two_files_leaves_each_whole(small: Scenario, folder: Path,
                                                     monkeypatch: pytest.MonkeyPatch) -> None:
    class Crash(BaseException):
        pass

    before, true_replace, count = files_in(folder), os.replace, 0

    def crashing(*args: Path) -> None:
        nonlocal count
        count += 1
        if count == 2:
            raise Crash
        true_replace(*args)

    monkeypatch.setattr(save.os, "replace", crashing)
    new = two_files(small)
    with pytest.raises(Crash):
        new.save()
    wanted = new.checked.source.files()
    for name, data in files_in(folder).items():
        assert data in (before[name], wanted[name])


def test_a_change_during_the_save_is_seen(small: Scenario, folder: Path,
                                          monkeypatch: pytest.MonkeyPatch) -> None:
    true_write = save._write_flushed

    def meanwhile(path: Path, data: bytes) -> None:
        true_write(path, data)
        (folder / "crew.csv").write_text(TABLES["crew"] + "\n")

    monkeypatch.setattr(save, "_write_flushed", meanwhile)
    with pytest.raises(SaveConflict, match=r"crew\.csv: changed on disk"):
        longer(small).save()
    assert (folder / "steps.csv").read_text() == TABLES["steps"]
    assert set(files_in(folder)) == set(small_files())
