"""The log of an outing: read, judged, and appended to without ever losing an event."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.log import read_actuals
from planning_kit.inputs.log_state import DONE, DROPPED, IN_PROGRESS, LEFT, States, states_of

ROOT = Path(__file__).parents[3]
DAY = "2031-09-03T"  # the small outing leaves at 07:30


def log_of(*rows: str) -> pd.DataFrame:
    """A log from ``step event at [remaining]`` a row, PET."""
    cells = [row.split() for row in rows]
    return pd.DataFrame([{"step": "" if c[0] == "-" else c[0], "event": c[1], "at": c[2],
                          "remaining_min": c[3] if len(c) > 3 else ""} for c in cells])


def played(small: pk.Scenario, log: pd.DataFrame) -> tuple[States, Faults]:
    faults = Faults()
    pet_zero = small.settings.pet_zero_utc
    actuals = read_actuals(log, pet_zero, faults)
    return states_of(small.records, actuals.events, actuals.pet_zero or pet_zero, faults), faults


def problems(small: pk.Scenario, *rows: str) -> list[tuple[int, str]]:
    """Row and column of every fault."""
    _, faults = played(small, log_of(*rows))
    return [(fault["row"], str(fault["column"])) for fault in faults.rows]  # type: ignore[misc]


# --- reading ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("at", ["-3", "−0:03", -3, "1:00"])
@pytest.mark.parametrize("in_the_log", ["-3", "0:05", "9:59"])
def test_pet_in_a_log_without_an_pet_zero_is_told_where_there_is_no_plan(
        tmp_path: Path, at: str | float, in_the_log: str) -> None:
    for first in ("pet_zero", "started"):
        log = tmp_path / f"{first}.csv"
        log.write_text(f"step,event,at\n{'' if first == 'pet_zero' else 'A1'},{first},{in_the_log}\n")
        before = log.read_bytes()
        with pytest.raises(pk.ScenarioError, match="no PET 0 is known") as fault:
            pk.append_log(log, "started", "B1", at)
        assert fault.value.problems[["table", "column"]].to_numpy().tolist() == [["log", "at"]]
        assert log.read_bytes() == before
        pk.append_log(log, "started", "B1", DAY + "07:40:00Z")


def test_what_was_appended_is_read_back(tmp_path: Path) -> None:
    first = pk.append_log(tmp_path, "started", "A1", DAY + "07:30:00Z", by="Ines", note='said: "go", twice')
    second = pk.append_log(tmp_path, "partly", "A1", DAY + "09:36:30+02:00", remaining_min=4.5,
                           metabolic_w=260, crew="EV1")
    log = pk.read_log(tmp_path)
    assert [first, second] == ["e1", "e2"]
    assert list(log["event_id"]) == ["e1", "e2"]
    assert log.index.tolist() == [2, 3]
    assert log.loc[2, "note"] == 'said: "go", twice'
    assert log.loc[3, "at"] == pd.Timestamp("2031-09-03T07:36:30Z")
    assert (log.loc[3, "remaining_min"], log.loc[3, "metabolic_w"]) == (4.5, 260.0)
    assert pk.read_log(tmp_path / "log.csv").equals(log)


def test_a_note_that_a_spreadsheet_would_compute_is_marked_in_the_file(tmp_path: Path) -> None:
    pk.append_log(tmp_path, "started", "A1", DAY + "07:30:00Z", by="@Ines", note="=1+1")
    assert pd.read_csv(tmp_path / "log.csv").loc[0, ["by", "note"]].tolist() == ["'@Ines", "'=1+1"]
    assert pk.read_log(tmp_path).loc[2, ["by", "note"]].tolist() == ["@Ines", "=1+1"]


def test_no_log_yet_is_an_empty_table(tmp_path: Path) -> None:
    assert pk.read_log(tmp_path).empty


def test_pet_counts_from_pet_zero_as_planned_or_as_logged(tmp_path: Path, small_plan: pk.Plan) -> None:
    pk.append_log(tmp_path, "started", "A1", "0:05", plan=small_plan)
    assert pk.read_log(tmp_path).loc[2, "at"] == pd.Timestamp(DAY + "07:35:00Z")
    other = tmp_path / "other.csv"
    pk.append_log(other, "pet_zero", at="0:12", plan=small_plan)
    pk.append_log(other, "started", "A1", 1.5, plan=small_plan)
    pk.append_log(other, "partly", "A1", "0:03:30", remaining_min=6)
    assert list(pk.read_log(other)["at"]) == [pd.Timestamp(DAY + at) for at in
                                              ("07:42:00Z", "07:43:30Z", "07:45:30Z")]


def test_pet_without_any_pet_zero_is_refused(tmp_path: Path) -> None:
    with pytest.raises(pk.ScenarioError, match="no PET 0 is known"):
        pk.append_log(tmp_path, "started", "A1", "0:05")
    assert pk.read_log(tmp_path).empty


def test_every_wrong_cell_is_a_fault_with_its_row(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(
        "event_id,crew,step,event,at,remaining_min\n"
        "e1,EV1,A1,startet,2031-09-03T07:30:00Z,\n"
        "e2,EV1,A1,finished,2031-09-03T07:40:00Z,-3\n"
    )
    with pytest.raises(pk.ScenarioError) as caught:
        pk.read_log(tmp_path)
    found = caught.value.problems
    assert list(zip(found["row"], found["column"], strict=True)) == [(2, "event"), (3, "remaining_min")]
    assert "did you mean 'started'" in found["problem"][0]


# --- what can and cannot be -------------------------------------------------------------------------------


def test_a_log_is_played_into_states(small: pk.Scenario) -> None:
    states, faults = played(small, log_of(
        "A1 started 0:00", "A1 finished 0:11", "B1 started 0:12", "C1 skipped 0:12", "B1 finished 0:16",
        "B2 started 0:18", "B2 partly 0:25 9", "B3 started 0:40",
    ))
    assert faults.rows == []
    by_step = states.by_step
    assert {step: by_step[step].status for step in ("A1", "B1", "C1", "B2", "B3")} == {
        "A1": DONE, "B1": DONE, "C1": DROPPED, "B2": LEFT, "B3": IN_PROGRESS}
    # B2 was left when it was last heard of, with the 9 min said then; B3 of 14 min has 8 to go at 0:46.
    assert by_step["B2"].pieces == [(18.0, 25.0)]
    assert by_step["B2"].left_to_do_min(46.0) == 9.0
    assert by_step["B3"].left_to_do_min(46.0) == 8.0
    assert by_step["B3"].left_to_do_min(99.0) == 0.0


@pytest.mark.parametrize(("rows", "expected"), [
    (("A1 started 0:05", "A1 finished 0:04"), [(3, "event")]),  # by time the finish comes first: not begun
    (("A1 finished 0:04",), [(2, "event")]),  # never started
    (("Q9 started 0:04",), [(2, "step")]),  # unknown
    (("- started 0:04",), [(2, "step")]),  # no step
    (("A1 started 0:00", "A1 started 0:02"), [(3, "event")]),  # twice
    (("A1 started 0:00", "B1 started 0:04"), [(3, "event")]),  # EV1 on two steps
    (("A1 started 0:00", "A1 finished 0:04", "A1 skipped 0:05"), [(4, "event")]),  # done, cannot be skipped
    (("A1 started -0:05",), [(2, "at")]),  # before PET 0
    (("A1 started soon",), [(2, "at")]),
    (("A1 pet_zero 0:00",), [(2, "step")]),  # PET 0 belongs to no step
    (("- pet_zero 0:00", "- pet_zero 0:01"), [(3, "event")]),
    (("- suit 0:10",), [(2, "metabolic_w")]),
])
def test_impossible_events_are_faults_of_their_row(small: pk.Scenario, rows: tuple[str, ...],
                                                   expected: list[tuple[int, str]]) -> None:
    assert problems(small, *rows) == expected


def test_out_of_order_skipped_and_resumed_are_legal(small: pk.Scenario) -> None:
    assert problems(small, "B3 started 0:02", "B3 partly 0:05", "B1 started 0:06", "B1 finished 0:07",
                    "B3 started 0:08", "B3 finished 0:20", "C1 skipped 0:01", "C1 started 0:30") == []


def test_a_start_before_a_step_that_must_come_first_is_a_fault(demo: pk.Scenario) -> None:
    faults = Faults()
    log = log_of("SM1 started 0:30")  # waits for SE4 of EV1
    pet_zero = demo.settings.pet_zero_utc
    states_of(demo.records, read_actuals(log, pet_zero, faults).events, pet_zero, faults)
    assert [fault["row"] for fault in faults.rows] == [2]
    assert "cannot start before SE4 is finished" in str(faults.rows[0]["problem"])


def test_an_actors_step_that_was_not_called_is_assumed_and_told(demo_plan: pk.Plan) -> None:
    # RA1 waits for OP1 of the arm operator, the drive stopped, which confirms nothing in this scenario.
    late = demo_plan.retime(log_of("RA1 started 0:30"), 32)
    (told,) = late.findings.query("rule == 'assumed'").to_dict("records")
    assert (told["severity"], told["step"], told["about"]) == ("concern", "OP1", "RA1")
    assert "taken to be done when that began, at 0:30" in told["message"]
    assert late.timed.span("OP1")[1] == pytest.approx(30.0)
    # Called after all, it is as it was called.
    called = demo_plan.retime(log_of("RA1 started 0:30", "OP1 started 0:26", "OP1 finished 0:29"), 32)
    assert called.findings.query("rule == 'assumed'").empty
    inhibits = demo_plan.scenario.inhibits.assign(confirmed_by="")
    inhibits.loc[0, "confirmed_by"] = "OP1"
    confirming = pk.time_plan(demo_plan.scenario.with_table("inhibits", inhibits))
    stop = confirming.retime(log_of("RA1 started 0:30"), 32).findings.query("rule == 'assumed'")
    assert stop["severity"].tolist() == ["stop"]


def test_corrections_replace_and_withdraw(small: pk.Scenario) -> None:
    log = pd.DataFrame([
        {"event_id": "e1", "step": "A1", "event": "started", "at": "0:00", "corrects": ""},
        {"event_id": "e2", "step": "A1", "event": "finished", "at": "0:30", "corrects": ""},
        {"event_id": "e3", "step": "B1", "event": "started", "at": "0:12", "corrects": ""},
        {"event_id": "e4", "step": "", "event": "correct", "at": "0:11", "corrects": "e2"},
        {"event_id": "e5", "step": "", "event": "correct", "at": "", "corrects": "e3"},
    ])
    states, faults = played(small, log)
    assert faults.rows == []
    assert states.by_step["A1"].pieces == [(0.0, 11.0)]
    assert states.by_step["B1"].pieces == []


def test_an_impossible_event_is_refused_and_not_written(tmp_path: Path, small_plan: pk.Plan) -> None:
    pk.append_log(tmp_path, "started", "A1", "0:00", plan=small_plan)
    before = (tmp_path / "log.csv").read_bytes()
    with pytest.raises(pk.ScenarioError, match="EV1 is on A1"):
        pk.append_log(tmp_path, "started", "B1", "0:04", plan=small_plan)
    assert (tmp_path / "log.csv").read_bytes() == before


def test_a_first_event_that_is_refused_leaves_no_file(tmp_path: Path, small_plan: pk.Plan) -> None:
    with pytest.raises(pk.ScenarioError, match="NOSUCH"):
        pk.append_log(tmp_path, "started", "NOSUCH", "0:00", plan=small_plan)
    assert not (tmp_path / "log.csv").exists()


# --- nothing is lost --------------------------------------------------------------------------------------


def start_writer(path: Path, name: str, count: int) -> subprocess.Popen[str]:
    program = [sys.executable, "-m", "tests.explore.retime.log_writer"]
    return subprocess.Popen([*program, str(path), name, str(count)], stdout=subprocess.PIPE, text=True,
                            cwd=ROOT)


def test_two_writers_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    said = [writer.communicate()[0].split() for writer in
            [start_writer(path, "one", 60), start_writer(path, "two", 60)]]
    log = pk.read_log(path)
    assert len(log) == 120
    assert set(log["event_id"]) == {f"e{number}" for number in range(1, 121)}
    logged = dict(zip(log["event_id"], log["step"], strict=True))
    for words in said:
        pairs = list(zip(words[::2], words[1::2], strict=True))
        assert len(pairs) == 60
        assert all(logged[name] == step for name, step in pairs)


def test_a_killed_writer_loses_nothing_that_it_was_told_is_there(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    writer = start_writer(path, "one", 100_000)
    assert writer.stdout is not None
    told = [writer.stdout.readline().split()[0] for _ in range(25)]
    writer.kill()
    rest, _ = writer.communicate()
    told += [line.split()[0] for line in rest.splitlines(keepends=True) if line.endswith("\n")]
    after = pk.append_log(path, "finished", "last", "2031-01-01T00:00:00Z")
    logged = list(pk.read_log(path)["event_id"])
    assert len(logged) == len(set(logged))
    assert set(told) <= set(logged)
    assert logged[-1] == after


def test_a_cut_line_damages_no_other(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    pk.append_log(path, "started", "A1", DAY + "07:30:00Z")
    whole = path.read_bytes()
    path.write_bytes(whole + b'e2,,,A1,finished,2031-09-03T07:4,,,,,"cut')
    pk.append_log(path, "finished", "A1", DAY + "07:44:00Z")
    with pytest.raises(pk.ScenarioError) as caught:
        pk.read_log(path)
    assert caught.value.problems["row"].tolist() == [3]
    assert "cut off" in caught.value.problems["problem"][0]
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join(lines[:2] + lines[3:]))
    assert list(pk.read_log(path)["event"]) == ["started", "finished"]


def test_a_write_that_does_not_fit_is_taken_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "log.csv"
    pk.append_log(path, "started", "A1", DAY + "07:30:00Z")
    before, whole_write = path.read_bytes(), os.write
    monkeypatch.setattr(os, "write", lambda handle, data: whole_write(handle, data[: len(data) // 2]))
    with pytest.raises(pk.ScenarioError, match="nothing was changed"):
        pk.append_log(path, "finished", "A1", DAY + "07:44:00Z")
    assert path.read_bytes() == before


def test_a_spreadsheets_own_spelling_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(b"\xef\xbb\xbfstep,event,at,event_id\r\nA1,started,2031-09-03T07:30:00Z,e7\r\n")
    pk.append_log(path, "finished", "A1", DAY + "07:44:00Z")
    assert path.read_bytes().endswith(b"A1,finished,2031-09-03T07:44:00Z,e8\r\n")


# --- a step of both, logged apart -------------------------------------------------------------------------


def called(*rows: str) -> pd.DataFrame:
    """A log from ``crew step event at`` a row; ``-`` for no crew."""
    cells = [row.split() for row in rows]
    return pd.DataFrame([{"crew": "" if c[0] == "-" else c[0], "step": c[1], "event": c[2], "at": c[3]}
                         for c in cells])


def both_of(small: pk.Scenario, *rows: str) -> tuple[States, list[tuple[int, str]]]:
    states, faults = played(small, called(*rows))
    return states, [(fault["row"], str(fault["column"])) for fault in faults.rows]  # type: ignore[misc]


def test_a_step_of_both_begins_and_ends_with_the_later_of_the_two(small: pk.Scenario) -> None:
    states, faults = both_of(small, "EV1 A1 started 0:00", "EV2 A1 started 0:02", "EV2 A1 finished 0:11",
                             "EV1 A1 finished 0:14", "EV1 B1 started 0:15", "EV2 C1 started 0:12")
    # EV2 has begun C1 at 0:12: of the 14 minutes that EV1 was at it, A1 of both counts until then.
    assert faults == []
    state = states.by_step["A1"]
    assert (state.status, state.pieces) == (DONE, [(2.0, 12.0)])
    assert len(state.apart) == 2
    assert state.apart[0].startswith("EV1 was ready for A1 at 0:00, 2.0 min before EV2")
    assert "3.0 min after EV2; EV2 had begun something else at 0:12" in state.apart[1]


def test_a_later_finish_of_one_moves_the_finish(small: pk.Scenario, small_plan: pk.Plan) -> None:
    rows = ("EV1 A1 started 0:00", "EV1 A1 finished 0:11", "EV2 A1 finished 0:13")
    states, faults = both_of(small, *rows)
    assert faults == []
    assert states.by_step["A1"].pieces == [(0.0, 13.0)]
    plan = small_plan.retime(called(*rows), 13)
    assert plan.timed.finishes[plan.timed.position("A1")] == 13.0
    notes = plan.findings.query("check == 'log' and severity == 'remark'")
    assert notes["message"].tolist() == ["EV2 finished A1 at 0:13, 2.0 min after EV1"]


def test_one_who_is_ready_while_the_other_is_busy_has_not_begun_a_step_of_both(small: pk.Scenario) -> None:
    busy = ("- A1 started 0:00", "- A1 finished 0:10", "EV2 C1 started 0:11")
    states, faults = both_of(small, *busy, "EV1 Z1 started 0:13", "EV2 C1 finished 0:15",
                             "EV2 Z1 started 0:16")
    assert faults == []
    assert states.by_step["Z1"].pieces[0][0] == 16.0
    assert "EV1 was ready for Z1 at 0:13, while EV2 was on C1" in states.by_step["Z1"].apart[0]
    waiting, faults = both_of(small, *busy, "EV1 Z1 started 0:13")
    assert (waiting.by_step["Z1"].status, waiting.at_work, faults) == ("to do", {"EV2": "C1"}, [])


@pytest.mark.parametrize("rows", [
    ("EV1 A1 started 0:00", "EV1 A1 started 0:02"),  # the same one twice
    ("- A1 started 0:00", "EV2 A1 started 0:02"),  # both were said to have begun
    ("EV1 A1 started 0:00", "EV1 A1 finished 0:09", "EV1 A1 finished 0:11"),
    ("EV1 A1 started 0:00", "EV2 A1 started 0:02", "EV1 A1 started 0:03"),  # both have by now
])
def test_what_is_called_twice_is_still_a_fault(small: pk.Scenario, rows: tuple[str, ...]) -> None:
    assert both_of(small, *rows)[1] == [(len(rows) + 1, "event")]
