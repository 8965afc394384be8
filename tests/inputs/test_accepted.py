"""The file of what was accepted: read under the rules of a folder, added to, no part of the scenario."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.inputs.format import ACCEPTED_FILE
from planning_kit.inputs.sign_offs import ACCEPTED_COLUMNS, acceptances_of

HEADER = ",".join(ACCEPTED_COLUMNS)
ROW = "return/helped-too-far,far,EV1,,4,5,A. Person,Seen and discussed,2031-05-01"


def given(scenario: pk.Scenario, *rows: str, header: str = HEADER) -> pk.Scenario:
    (scenario.folder / ACCEPTED_FILE).write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    return scenario


def test_no_file_no_rows(small: pk.Scenario) -> None:
    assert small.accepted.empty
    assert list(small.accepted) == ACCEPTED_COLUMNS


def test_a_row_is_read_as_it_stands(small: pk.Scenario) -> None:
    table = given(small, ROW, "custody/not-inside,gun,,,,,B,Lost before,2031-05-02T10:00:00+00:00").accepted
    assert table.iloc[0].to_dict() == {
        "rule": "return/helped-too-far", "about": "far", "crew": "EV1", "step": "", "value": 4.0,
        "limit": 5.0, "by": "A. Person", "why": "Seen and discussed", "date": "2031-05-01"}
    assert table["value"].isna().tolist() == [False, True]


def test_it_is_no_part_of_the_scenario(small: pk.Scenario, tmp_path: Path) -> None:
    given(small, ROW)
    again = pk.load_scenario(small.folder)
    assert again.digest == small.digest
    before = (small.folder / ACCEPTED_FILE).read_bytes()
    changed = again.with_settings({"title": "Another"}).save()
    assert (small.folder / ACCEPTED_FILE).read_bytes() == before, "a save leaves it alone"
    assert len(changed.accepted) == 1
    assert changed.save(tmp_path / "other").accepted.empty, "nobody accepted anything of another folder"


def test_what_was_deleted_counts_no_longer(small: pk.Scenario) -> None:
    assert len(given(small, ROW).accepted) == 1
    (small.folder / ACCEPTED_FILE).unlink()
    assert small.accepted.empty


def test_all_faults_come_at_once_with_row_and_column(small: pk.Scenario) -> None:
    given(small, "helped-too-far,far,EV1,,four,5,A,x,2031-05-01", 'a/b,,,,4,,  ,,31.5.2031', "a/b,,,,4,5,A,x")
    with pytest.raises(pk.ScenarioError) as raised:
        _ = small.accepted
    told = raised.value.problems
    assert set(told["table"]) == {"accepted"}
    where = {(row.row, row.column) for row in told.itertuples()}
    assert where == {(2, "rule"), (2, "value"), (3, "limit"), (3, "by"), (3, "why"), (3, "date"), (4, "")}
    assert "four" in set(told["value"])


@pytest.mark.parametrize("content", [
    b"", b"\xff\xfe", b"rule;about\na/b;x\n", b"rule,about\na/b,x\n", f"{HEADER}\n\"a/b".encode(),
    f"{HEADER},more\n".encode(), f"{HEADER}\n{ROW}\0\n".encode(), b"x" * 60_000_000,
    f"{HEADER}\n".encode() + (ROW + "\n").encode() * 5_001,
    f"{HEADER}\n{ROW.replace('2031-05-01', '2031-02-30')}\n".encode(),
    f"{HEADER}\n{ROW.replace('A. Person', chr(27) + '[31m')}\n".encode()])
def test_a_file_that_cannot_be_read_is_a_scenario_error_and_left_alone(small: pk.Scenario,
                                                                       content: bytes) -> None:
    path = small.folder / ACCEPTED_FILE
    path.write_bytes(content)
    with pytest.raises(pk.ScenarioError, match="accepted"):
        _ = small.accepted
    plan = pk.time_plan(small)  # nothing but a concern says so
    told = plan.findings
    assert "unreadable" in set(told["rule"])
    assert not told["accepted"].any()
    with pytest.raises(pk.ScenarioError, match="accepted"):
        plan.accept(told.iloc[-1] if told.iloc[-1]["check"] != "accepted" else told.iloc[0], "A", "x")
    assert path.read_bytes() == content


def test_a_link_out_of_the_folder_is_no_file(small: pk.Scenario, tmp_path: Path) -> None:
    (tmp_path / "elsewhere.csv").write_text(f"{HEADER}\n{ROW}\n", encoding="utf-8")
    (small.folder / ACCEPTED_FILE).symlink_to(tmp_path / "elsewhere.csv")
    with pytest.raises(pk.ScenarioError, match="leads out"):
        _ = small.accepted


def test_a_row_is_added_behind_what_stood_there_byte_for_byte(small: pk.Scenario) -> None:
    shuffled = ["x_seen", *reversed(ACCEPTED_COLUMNS)]
    before = ("\ufeff" + ",".join(shuffled) + "\r\n" + 'y,2031-05-01,"=1+1",A,,,,,gun,custody/early').encode()
    (small.folder / ACCEPTED_FILE).write_bytes(before)
    plan = pk.time_plan(small)
    table = plan.accept(plan.findings.iloc[0], "B, of \"us\"", "=cmd()\nnot, so", "2031-05-03")
    after = (small.folder / ACCEPTED_FILE).read_bytes()
    assert after.startswith(before + b"\r\n")
    assert after.endswith(b"\r\n")
    assert b"'=cmd()" in after, "no spreadsheet computes it"
    assert table.iloc[-1][["by", "why"]].tolist() == ['B, of "us"', "=cmd() not, so"]
    assert [each.row for each in acceptances_of(small.folder)] == [2, 3]


@pytest.mark.parametrize(("by", "why", "date", "problem"), [
    ("", "x", None, "say who"), ("A", " ", None, "say why"), (3, "x", None, "must be text"),
    ("A", None, None, "must be text"), ("A", "x\u202ey", None, "cannot be seen"),
    ("A", "x" * 20_000, None, "at most"), ("A", "x", "soon", "must be a date"),
    ("A", "x", "2031-02-30", "of the calendar"), ("A", "x", 7, "must be a date")])
def test_what_is_no_acceptance_is_said(small: pk.Scenario, by: str, why: str, date: str,
                                       problem: str) -> None:
    plan = pk.time_plan(small)
    with pytest.raises(pk.ScenarioError, match=problem):
        plan.accept(plan.findings.iloc[0], by, why, date)
    assert not (small.folder / ACCEPTED_FILE).exists()


def test_unsaved_or_changed_scenarios_are_accepted_by_nobody(small: pk.Scenario, tmp_path: Path) -> None:
    plan = pk.time_plan(small)
    edited = plan.what_if(stretch={"s3": 1.1})
    with pytest.raises(pk.ScenarioError, match="not saved"):
        edited.accept(edited.findings.iloc[0], "A", "x")
    late = pk.time_plan(small, "2031-05-14T11:21:00Z")
    with pytest.raises(pk.ScenarioError, match="another PET"):
        late.accept(late.findings.iloc[0], "A", "x")
    shutil.copytree(small.folder, tmp_path / "copy")
    path = small.folder / "steps.csv"
    path.write_bytes(path.read_bytes() + b"\n")
    with pytest.raises(pk.SaveConflict):
        plan.accept(plan.findings.iloc[0], "A", "x")
    assert not (small.folder / ACCEPTED_FILE).exists()
