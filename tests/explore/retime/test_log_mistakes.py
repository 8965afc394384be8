"""Logs with mistakes in them: what is refused, what is told, and what can be put right."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.inputs import save
from planning_kit.inputs.log_append import LogEntry, append_entries
from tests.explore.retime.rehearsal import as_planned
from tests.explore.retime.test_log import DAY, log_of

STARTED = {"event_id": "e1", "step": "A1", "event": "started", "at": "0:00"}


def with_corrections(*rows: tuple[str, str, dict[str, object]]) -> pd.DataFrame:
    """A1 started at 0:00 (e1) and said to take 20 min more at 0:02 (e2), then corrections of ids."""
    events: list[dict[str, object]] = [STARTED, {
        "event_id": "e2", "step": "A1", "event": "partly", "at": "0:02", "remaining_min": 20.0}]
    events += [{"event_id": name, "event": "correct", "corrects": of, **cells} for name, of, cells in rows]
    return pd.DataFrame(events)


@pytest.mark.parametrize(("rows", "finish"), [
    ((), 22.0),
    ((("e3", "e2", {"remaining_min": 9.0}),), 11.0),
    ((("e3", "e2", {"remaining_min": 9.0}), ("e4", "e2", {"at": "0:03"})), 12.0),  # the later on top
    ((("e3", "e2", {"remaining_min": 9.0}), ("e4", "e3", {"remaining_min": 5.0})), 7.0),  # corrected itself
    ((("e3", "e2", {"remaining_min": 9.0}), ("e4", "e3", {})), 22.0),  # the correction withdrawn
    ((("e3", "e2", {}),), 10.0),  # the event withdrawn: 10 min likely
    ((("e3", "e2", {}), ("e4", "e3", {})), 22.0),  # and the withdrawal withdrawn
    ((("e3", "e2", {"remaining_min": 0.0}),), 4.0),  # 0 is given, not nothing: it ends now
])
def test_corrections_and_corrections_of_corrections(small_plan: pk.Plan, rows: Any, finish: float) -> None:
    plan = small_plan.retime(with_corrections(*rows), 4)
    assert plan.timed.finishes[plan.timed.position("A1")] == finish


@pytest.mark.parametrize("corrects", ["", "e9", "e3", "e4"])
def test_a_correction_names_an_earlier_event(small_plan: pk.Plan, corrects: str) -> None:
    log = with_corrections(("e3", corrects, {"at": "0:01"}), ("e4", "e1", {"at": "0:01"}))
    with pytest.raises(pk.ScenarioError, match=r"row 4 corrects.*names no earlier event"):
        small_plan.retime(log, 4)


@pytest.mark.parametrize(("log", "now", "words"), [
    (log_of("A1 started 2032-09-03T07:33:00Z"), None, "lies 8784 h after PET 0: is the date right"),
    (log_of("A1 started 2031-08-03T07:33:00Z"), None, "lies 744 h before PET 0"),
    (log_of("- pet_zero 2033-09-04T07:30:00Z", "A1 started 0:00"), None, "732 days from the PET 0 planned"),
    (log_of("A1 started 0:00"), "2031-09-13T07:33:00Z", "is the date right"),
    (log_of("EG1 started 0:00", "OP1 started 0:01", "OP1 finished 0:05"), 9, "the log of another outing"),
])
def test_a_wrong_date_and_another_outings_log_are_told_as_such(small_plan: pk.Plan, log: pd.DataFrame,
                                                               now: object, words: str) -> None:
    with pytest.raises(pk.ScenarioError, match=words) as caught:
        small_plan.retime(log, now)
    assert len(caught.value.problems) == 1


@pytest.mark.parametrize(("logged_at", "count"), [
    (DAY + "07:31:00Z", 1),  # two minutes before it happened
    (DAY + "07:33:30Z", 0),
    ("2026-01-01T00:00:00Z", 0),  # a rehearsal, years before
])
def test_an_event_written_down_before_it_happened_is_told(small_plan: pk.Plan, logged_at: str,
                                                          count: int) -> None:
    log = pd.DataFrame([STARTED | {"at": DAY + "07:33:00Z", "logged_at": logged_at}])
    found = small_plan.retime(log, 5).findings.query("check == 'log'")
    assert found["message"].str.contains("was written down 2 min before it happened").sum() == count


# --- the end of the outing --------------------------------------------------------------------------------


def over(plan: pk.Plan, until_min: float, at: object) -> pd.DataFrame:
    """As planned up to a minute, then both inside."""
    return pd.concat([as_planned(plan, until_min), pd.DataFrame([{"event": "ingress", "at": at}])],
                     ignore_index=True)


def test_once_both_are_inside_the_outing_is_over_however_late_it_is(small_plan: pk.Plan) -> None:
    inside = small_plan.end_min + 4
    for now in (inside, inside + 90):
        plan = small_plan.retime(over(small_plan, small_plan.end_min, inside), now)
        assert plan.end_min == pytest.approx(inside)
        assert plan.left_out.empty
        assert "Both were inside at 1:20, 4 min later than planned" in plan.standing
        assert all(lane[-1].finish_min == plan.end_min for who, lane in plan.timed.lanes.items()
                   if who in plan.timed.travels)


def test_what_was_to_do_when_both_went_in_is_not_done(small_plan: pk.Plan) -> None:
    plan = small_plan.retime(over(small_plan, 34.0, 50), 50)
    assert plan.left_out[["step", "kind"]].to_numpy().tolist() == [
        ["B3", "not done"], ["C3", "not done"], ["Z1", "not done"]]
    stops = plan.findings.query("check == 'log' and severity == 'stop'")
    assert set(stops["step"]) == {"B3", "C3", "Z1"}  # all of them required
    assert plan.end_min == pytest.approx(50)
    assert plan.options()["kind"].tolist() == ["carry on"]


@pytest.mark.parametrize(("rows", "words"), [
    (("A1 started 0:00", "- ingress 0:20"), "log A1 as finished, partly or skipped before both are inside"),
    (("- ingress 0:20", "B1 started 0:22"), "both are inside since PET 0:20"),
    (("- ingress 0:20", "- ingress 0:22"), "ingress is logged at PET 0:20 already"),
    (("A1 ingress 0:20",), "belongs to no step"),
])
def test_an_ingress_that_cannot_be(small_plan: pk.Plan, rows: tuple[str, ...], words: str) -> None:
    with pytest.raises(pk.ScenarioError, match=words):
        small_plan.retime(log_of(*rows), 30)


# --- senseless questions ----------------------------------------------------------------------------------


def test_moments_are_understood_as_everywhere(small_plan: pk.Plan) -> None:
    tables = [small_plan.terminate(at) for at in (30, "0:30", "0:30:00", DAY + "08:00:00Z")]
    assert all(table.equals(tables[0]) for table in tables)
    with pytest.raises(pk.ScenarioError, match="write a UTC time"):
        small_plan.abort("soon")


def test_senseless_numbers_are_refused(small_plan: pk.Plan) -> None:
    now = small_plan.retime(log_of("A1 started 0:00", "A1 finished 0:10"))
    with pytest.raises(pk.ScenarioError, match="every_min"):
        now.ways_home("abort", 0)
    with pytest.raises(pk.ScenarioError, match="weight"):
        now.updated_estimates(weight=-1)


def test_a_used_up_estimate_is_no_zero_minutes_to_go(small_plan: pk.Plan) -> None:
    now = small_plan.retime(log_of("A1 started 0:00"), 20)
    assert "EV1 10 min behind: on A1 since 0:00, its estimate is used up: ask how long still." in now.standing


# --- locks --------------------------------------------------------------------------------------------------


def test_a_lock_that_is_not_given_is_told_and_nothing_is_written(tmp_path: Path,
                                                                monkeypatch: pytest.MonkeyPatch) -> None:
    pk.append_log(tmp_path, "started", "A1", DAY + "07:30:00Z")
    before = (tmp_path / "log.csv").read_bytes()
    monkeypatch.setattr(save, "_LONGEST_WAIT_S", 0.1)
    with save.locked(tmp_path), pytest.raises(pk.ScenarioError, match="another program has been writing"):
        pk.append_log(tmp_path, "finished", "A1", DAY + "07:40:00Z")
    assert (tmp_path / "log.csv").read_bytes() == before
    pk.append_log(tmp_path, "finished", "A1", DAY + "07:40:00Z")


def test_where_no_lock_can_be_made_nothing_is_written(tmp_path: Path,
                                                      monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("no folder")
    monkeypatch.setenv(save.STATE_VARIABLE, str(tmp_path / "file"))
    with pytest.raises(pk.ScenarioError, match="no lock can be made"):
        pk.append_log(tmp_path, "started", "A1", DAY + "07:30:00Z")
    assert not (tmp_path / "log.csv").exists()


def test_a_log_is_not_written_through_a_link_that_leads_out(tmp_path: Path) -> None:
    folder, elsewhere = tmp_path / "mine", tmp_path / "elsewhere.csv"
    folder.mkdir()
    (folder / "log.csv").symlink_to(elsewhere)
    with pytest.raises(pk.ScenarioError, match="leads out of its folder"):
        pk.append_log(folder, "started", "A1", DAY + "07:30:00Z")
    assert not elsewhere.exists()


def test_several_entries_are_one_append_or_none(tmp_path: Path, small_plan: pk.Plan) -> None:
    good = LogEntry("started", "A1", "0:00")
    with pytest.raises(pk.ScenarioError, match="is no step of this plan"):
        append_entries(tmp_path, [good, LogEntry("started", "NONE", "0:00")], small_plan)
    assert not (tmp_path / "log.csv").exists()
    assert append_entries(tmp_path, [good, LogEntry("suit", crew="EV1", at="0:10", metabolic_w=200)],
                          small_plan) == ["e1", "e2"]
    assert pk.read_log(tmp_path)["event"].tolist() == ["started", "suit"]
