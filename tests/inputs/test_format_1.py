"""A folder of format 1: refused with what to rename, upgraded by one pure function and by the command.

`FORMAT_1` was written, signed off and logged by the last version of format 1, which gave the numbers below.
"""

from __future__ import annotations

import difflib
import os
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import planning_kit as pk
from planning_kit.inputs.folder_files import RECORD, STAGE
from planning_kit.inputs.format_1 import in_format_2, upgraded
from planning_kit.inputs.upgrade import main, upgrade_folder
from tests.conftest import SCENARIOS, TESTS
from tests.edits import edited
from tests.inputs.git_repositories import git

FORMAT_1 = TESTS / "data" / "format-1-small"
STARTED_MIN = {"A1": 0.0, "B1": 11.0, "C1": 11.0, "C2": 16.666666666977108, "B2": 17.0,
               "B3": 35.60590098798275, "C3": 48.66666666697711, "Z1": 58.333333333954215}
ENDED_MIN = 76.33333333395422
MARGINS = [279.391329, 350.218995, 276.277778, 2134.560000, 293.661895, 367.883739, 276.277778, 2217.200000]
"""Of EV1's oxygen, CO2, energy, water, then EV2's: g and W h."""
RETURN_MARGINS_MIN = [19.0, 12.833333, 263.536796, 263.536796, 20.333333, 14.833333, 275.410359, 263.536796]
"""Of EV1, then EV2: on emergency oxygen, alone and with the partner; on consumables, alone and with them."""


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A folder of format 1 that may be written."""
    shutil.copytree(FORMAT_1, tmp_path / "outing")
    return tmp_path / "outing"


def files_in(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def settings_of(text: str) -> str:
    """A ``scenario.toml`` of format 1, upgraded."""
    done = upgraded({"scenario.toml": text.encode()}).files["scenario.toml"].decode()
    again = upgraded({"scenario.toml": text.replace("\n", "\r\n").encode("utf-8-sig")}).files["scenario.toml"]
    assert again == done.replace("\n", "\r\n").encode("utf-8-sig"), "line ends and byte order mark stay"
    return done


# The pure function


def test_only_what_has_another_name_changes() -> None:
    files = files_in(FORMAT_1)
    new = upgraded(files)
    assert {name for name, data in new.files.items() if data != files[name]} == {"scenario.toml", "log.csv"}
    assert new.files.keys() == files.keys()
    for name, changed in (("log.csv", 1), ("scenario.toml", 7)):
        before, after = (each[name].decode().splitlines() for each in (files, new.files))
        gone = [line for line in difflib.ndiff(before, after) if line.startswith("- ")]
        assert len(gone) == changed, gone
    assert new.files["log.csv"].count(b"pet_zero") == 1
    assert b'"said egress, one minute late"' in new.files["log.csv"]


def test_files_of_format_2_are_not_upgraded_again() -> None:
    with pytest.raises(pk.ScenarioError, match="must be 1"):
        upgraded(upgraded(files_in(FORMAT_1)).files)


def test_comments_order_and_quotation_marks_stay() -> None:
    assert settings_of("""\
# of the outing
format = 1  # the first
'egress' = 2031-05-14T11:20:00Z   # agreed with nobody
"pet_zero" = '''on
egress = battery'''
summary = \"\"\"
airlock = "not this one"
format = 1
\"\"\"
airlock = "lock"  # the place

# what bounds it
[limits]
planned_min = 0x186
ingress_min = 15.50  # minutes
ingress_min_source = 'rule # 7 "of ours"'  # by phone
hard_min = 420

# light
[lighting]
night_guard_s = 60
[suit]
used_before_egress_min = 20 # at rest
oxygen_g = 540
[suit.EV2]
oxygen_g = 520
used_before_egress_min = 1_0
[x_ours]
egress = "mine"
nothing = nan""") == """\
# of the outing
format = 2  # the first
'pet_zero_utc' = 2031-05-14T11:20:00Z   # agreed with nobody
"pet_zero_event" = '''on
egress = battery'''
summary = \"\"\"
airlock = "not this one"
format = 1
\"\"\"
airlock_place = "lock"  # the place

# what bounds it
[limits]
planned_min = 0x186
hard_min = 420

# light
[lighting]
night_guard_s = 60
[suit]
oxygen_g = 540
[suit.EV2]
oxygen_g = 520
[x_ours]
egress = "mine"
nothing = nan

[airlock]
hatch_closed_min = 15.5  # minutes
repress_start_min = 15.5
repress_safe_min = 15.5
hatch_closed_min_source = "format 1: one number for three (rule # 7 \\"of ours\\")"  # by phone
repress_start_min_source = "format 1: one number for three (rule # 7 \\"of ours\\")"
repress_safe_min_source = "format 1: one number for three (rule # 7 \\"of ours\\")"
ends = "repress_safe"

[suit.EV2.used_before]
battery_min = 10

[suit.used_before]
battery_min = 20 # at rest
"""


@pytest.mark.parametrize("text", [
    'format=1\nlimits = {ingress_min = 8, hard_min = 9}  # in one line\nsuit.used_before_egress_min = 3',
    'format = 1\nlimits.ingress_min = 8\nlimits."hard_min" = 9\n[suit]\nused_before_egress_min = 3',
    'format = 1.0\n[limits]\nhard_min = 9\n"ingress_min"=8\n[suit]\nused_before_egress_min=3'])
def test_however_it_is_written(text: str) -> None:
    done = tomllib.loads(settings_of(text))
    sources = ["format 1: one number for three (no source given)"] * 3
    assert [done["airlock"].pop(f"{name}_min_source")
            for name in ("hatch_closed", "repress_start", "repress_safe")] == sources
    assert done == {
        "format": 2, "limits": {"hard_min": 9}, "suit": {"used_before": {"battery_min": 3}},
        "airlock": {"hatch_closed_min": 8, "repress_start_min": 8, "repress_safe_min": 8,
                    "ends": "repress_safe"}}


@pytest.mark.parametrize(("more", "column"), [
    ('egress = 2031-05-14T11:20:00Z\npet_zero_utc = "x"', "pet_zero_utc"),
    ("[limits]\ningress_min = 8\n[airlock]\nends = 'x'", "airlock.ends"),
    ("[suit.EV1]\nused_before_egress_min = 8\nused_before.battery_min = 9",
     "suit.EV1.used_before.battery_min"),
    ("egress = [1, {a = nan}]", "pet_zero_utc"), ("pet_zero = 1979-05-27", "pet_zero_event")])
def test_a_name_that_format_2_gives_must_be_free_and_its_value_plain(more: str, column: str) -> None:
    with pytest.raises(pk.ScenarioError) as caught:
        upgraded({"scenario.toml": f"format = 1\n{more}\n".encode()})
    assert caught.value.problems["column"].tolist() == [column]


@pytest.mark.parametrize(("log", "line"), [
    ('at,event,step,note\n1,"egress",,"a,b"\n2,started,A1,egress\n', 1),
    ('note,event,step,at\n"two\nlines, ""egress""",egress,,1\n,started,egress,2\n', 2),
    ("\ufeffstep,event,at\r\n,egress,1\r\n", 1), ("step,at,event\n,1,egress", 1)])
def test_the_event_in_a_log_is_renamed_and_nothing_else(log: str, line: int) -> None:
    files = {"scenario.toml": b"format = 1\n", "another.CSV": log.encode()}
    done = upgraded(files).files["another.CSV"].decode().split("\n")
    before = log.split("\n")
    assert done[line] == before[line].replace(",egress", ",pet_zero").replace(',"egress"', ',"pet_zero"')
    assert done[:line] + done[line + 1:] == before[:line] + before[line + 1:]


def test_a_table_or_note_that_is_no_log_stays() -> None:
    files = {"scenario.toml": b"format = 1\n", "other.csv": b"event,when\negress,1\n", "log.txt": b"egress",
             "steps.csv": b"step,event,at\n,egress,1\n"}
    assert {**upgraded(files).files, "scenario.toml": b"format = 1\n"} == files


# What it comes to


def test_the_upgraded_outing_answers_as_it_did(old: Path) -> None:
    plan = pk.time_plan(pk.load_scenario(upgrade_folder(old)[0]))
    starts = {step.step: start for step, start in zip(plan.timed.steps, plan.timed.starts, strict=True)}
    assert starts == pytest.approx(STARTED_MIN, abs=1e-9)
    assert plan.end_min == pytest.approx(ENDED_MIN, abs=1e-9)
    assert plan.suit_summary["margin"].to_numpy() == pytest.approx(MARGINS, abs=1e-5)
    for row, margin in zip(plan.return_summary.to_dict("records"), RETURN_MARGINS_MIN, strict=True):
        # With the partner, format 2 takes what nobody typed for the unsafe case.
        assert row["margin_min"] == pytest.approx(margin, abs=1e-5) or (
            "partner" in row["case"] and row["margin_min"] < margin)


def test_what_is_found_is_what_format_2_asks_for(old: Path) -> None:
    findings = pk.time_plan(pk.load_scenario(upgrade_folder(old)[0])).findings
    told = set(map(tuple, findings[["severity", "check", "rule"]].to_numpy()))
    assert told <= {("concern", "airlock", "one-number"), ("concern", "return", "helped-no-way"),
                    ("remark", "return", "missing"), ("remark", "tasks", "no-put-back")}
    assert ("concern", "airlock", "one-number") in told


def test_a_log_goes_on_in_format_2(old: Path) -> None:
    target, _, _ = upgrade_folder(old)
    plan = pk.time_plan(pk.load_scenario(target))
    outside = plan.retime(target, "2031-09-03T07:46:00Z")
    assert f"{outside.pet_zero:%H:%M}" == "07:31"
    assert pk.append_log(target, "started", "B1", at="2031-09-03T07:47:00Z", plan=plan) == "e4"


def test_what_was_signed_in_format_1_is_stale_and_says_why(old: Path) -> None:
    scenario = pk.load_scenario(upgrade_folder(old)[0])
    assert scenario.reviews["state"].tolist() == [
        "stale: signed in format 1; look at what format 2 asks for, then sign again"]
    assert scenario.sign_off("R. Viewer")["state"].tolist()[1:] == ["current"]
    changed = edited(scenario, "steps", "B2", minutes_likely=12).save()
    assert changed.reviews["state"].tolist()[1:] == ["stale: the scenario has changed since"]


# Refused


def test_a_format_1_folder_is_refused_with_what_to_rename_and_nothing_else(old: Path) -> None:
    with pytest.raises(pk.ScenarioError) as caught:
        pk.load_scenario(old)
    (problem,) = caught.value.problems["problem"]
    for words in ("is format 1", "egress is now pet_zero_utc", "airlock is now airlock_place",
                  "limits.ingress_min is now airlock.hatch_closed_min", "the event egress in log.csv",
                  "suit.used_before_egress_min is now", f'planning_kit.inputs.upgrade "{old}"'):
        assert words in problem
    assert "egress_earliest" not in problem
    assert "EV1" not in problem


def test_a_format_1_log_is_refused_with_what_to_write(old: Path) -> None:
    plan = pk.time_plan(pk.load_scenario(SCENARIOS / "small-outing"))
    for ask in (lambda: pk.read_log(old), lambda: plan.retime(old / "log.csv", "2031-09-03T07:46:00Z"),
                lambda: pk.append_log(old, "started", "B1", at="2031-09-03T07:47:00Z")):
        with pytest.raises(pk.ScenarioError) as caught:
            ask()
        (row,) = caught.value.problems.to_dict("records")
        assert (row["table"], row["row"], row["value"]) == ("log", 2, "egress")
        assert "write pet_zero in this cell" in row["problem"]


# Revisions and baselines


@pytest.fixture
def repository(old: Path) -> Path:
    """The folder committed in format 1 (tag ``first``), and upgraded in its place since."""
    git(old.parent, "init", "-q", "-b", "main")
    git(old.parent, "add", "-A")
    git(old.parent, "commit", "-q", "-m", "first")
    git(old.parent, "tag", "first")
    target = upgrade_folder(old)[0]
    shutil.rmtree(old)
    return target.rename(old)


def test_a_revision_of_format_1_is_upgraded_in_memory_and_says_so(repository: Path) -> None:
    before = files_in(repository)
    scenario = pk.scenario_at(repository, "first")
    assert scenario.is_upgraded
    assert scenario == pk.load_scenario(repository)
    assert "read as format 1, upgraded in memory" in repr(scenario)
    assert "read as format 1" not in repr(pk.load_scenario(repository))
    assert files_in(repository) == before


def test_a_comparison_with_format_1_says_so(repository: Path) -> None:
    plan = pk.time_plan(pk.load_scenario(repository))
    for a in (f"first:{repository}", FORMAT_1):
        told = plan.compare(a)
        assert told.inputs.empty
        assert told.times.empty
        table = told.verdict
        assert table.loc[table["about"] == "format", "words"].tolist() == [
            "now: read as format 1, upgraded in memory; its three times of the airlock are one number"]
    assert not (plan.compare(repository).verdict["about"] == "format").any()


def test_an_upgrade_in_memory_is_not_saved_over_format_1(old: Path) -> None:
    git(old.parent, "init", "-q", "-b", "main")
    git(old.parent, "add", "-A")
    git(old.parent, "commit", "-q", "-m", "first")
    before = files_in(old)
    with pytest.raises(pk.SaveConflict):
        pk.scenario_at(old, "HEAD").save()
    assert files_in(old) == before


def test_unsaved_work_of_format_1_keeps_what_was_typed() -> None:
    assert in_format_2({"egress": "a", "limits.ingress_min": "9", "suit.EV1.used_before_egress_min": "3",
                        "title": "b"}) == {
        "pet_zero_utc": "a", "airlock.hatch_closed_min": "9", "airlock.repress_start_min": "9",
        "airlock.repress_safe_min": "9", "suit.EV1.used_before.battery_min": "3", "title": "b"}


# The command


def test_the_command_writes_a_folder_beside_and_leaves_the_old_one(old: Path) -> None:
    (old / "hazards.csv").write_text("of nobody", encoding="utf-8")
    (old / "notes.txt").write_text("of mine", encoding="utf-8")
    (old / "中").mkdir()  # no console of ASCII can show it
    before = files_in(old)
    done = subprocess.run([sys.executable, "-m", "planning_kit.inputs.upgrade", f"{old}/"], text=True,
                          capture_output=True, check=False, env={**os.environ, "PYTHONIOENCODING": "ascii"})
    assert (done.returncode, done.stderr) == (0, "")
    assert files_in(old) == before
    left = {"hazards.csv", "notes.txt"}
    assert files_in(old.with_name("outing-format2")).keys() == before.keys() - left
    for words in ("egress is now pet_zero_utc", "Left where they are: hazards.csv, notes.txt, \\u4e2d",
                  "hatch_closed_min", "rescue", "signed in format 1 is stale"):
        assert words in done.stdout


@pytest.mark.parametrize(("words", "told"), [
    ([], "usage"), (["a", "b"], "usage"), (["--help"], "usage"), (["no such folder"], "is not a folder"),
    (["a\0b"], "is not a folder"), ([str(SCENARIOS / "small-outing")], "must be 1"), ([""], "is missing"),
    (["/"], "scenario.toml"), ([str(SCENARIOS / "running-late")], "is missing")])
def test_what_the_command_refuses(words: list[str], told: str, tmp_path: Path,
                                  monkeypatch: pytest.MonkeyPatch,
                                  capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(words) == 2
    assert told in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_it_writes_over_nothing_and_upgrades_no_unfinished_save(old: Path,
                                                                capsys: pytest.CaptureFixture[str]) -> None:
    old.with_name("outing-format2").mkdir()
    assert main([str(old)]) == 2
    assert "is there already" in capsys.readouterr().err
    old.with_name("outing-format2").rmdir()
    (old / STAGE).mkdir()
    (old / STAGE / RECORD).write_text("{}", encoding="utf-8")
    assert main([str(old)]) == 2
    assert "a save into this folder was interrupted" in capsys.readouterr().err
    assert not old.with_name("outing-format2").exists()


def test_a_folder_with_faults_is_written_and_they_are_told(old: Path,
                                                           capsys: pytest.CaptureFixture[str]) -> None:
    steps = old / "steps.csv"
    steps.write_text(steps.read_text(encoding="utf-8").replace("B3,LMP", "B3,NOTASK"), encoding="utf-8")
    assert main([str(old)]) == 1
    assert "NOTASK" in capsys.readouterr().err
    assert old.with_name("outing-format2").is_dir()


LINES = (FORMAT_1 / "scenario.toml").read_text(encoding="utf-8").splitlines()
ODD = ["[airlock]", "airlock = 3", "[limits.ingress_min]", "limits = 1", "egress = [1, {a = nan}]", "",
       "pet_zero = 1979-05-27", '"limits.ingress_min" = 1', "ingress_min = true", "x = {", '"""', "[[suit]]",
       "used_before_egress_min = inf", "format = 1", "x_a = 0x" + "f" * 5000, "\0", "[suit.EV1.EV2]",
       "[suit.EV1]"]


EDITS = st.tuples(st.integers(0, len(LINES)), st.sampled_from(ODD + LINES), st.booleans())


@given(st.lists(EDITS, max_size=4), st.binary(max_size=8), st.integers(0, 400))
def test_a_damaged_folder_gives_a_scenario_error_or_an_upgrade(edits: list[tuple[int, str, bool]],
                                                               damage: bytes, at: int) -> None:
    lines = list(LINES)
    for place, line, is_new in edits:
        lines[place:place + (not is_new)] = [line]
    log = (FORMAT_1 / "log.csv").read_bytes()
    files = {"scenario.toml": "\n".join(lines).encode(), "log.csv": log[:at] + damage + log[at:]}
    try:
        done = upgraded(files)
    except pk.ScenarioError:
        return
    assert tomllib.loads(done.files["scenario.toml"].decode())["format"] == 2
