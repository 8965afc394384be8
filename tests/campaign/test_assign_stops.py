"""What an assignment may not leave out or call good: stops between outings, times of day, persons, saving."""

from __future__ import annotations

import os
from datetime import datetime, timedelta
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.campaign.assignment import OutingRoom
from tests.campaign.ridge import BACKLOG, FIRST, STEPS, write_ridge

STATES = "state,title,values,at_start,at_end,safe_when\ncover,Cover,open closed,closed,,none\n"


def ridge_with_states(folder: Path, *rows: str, **more: object) -> Path:
    """A ridge whose backlog has ``needs`` and ``sets``, too, and whose cover begins closed."""
    write_ridge(folder, (), **more)  # type: ignore[arg-type]
    text = "\n".join((f"{BACKLOG},needs,sets,steps", *rows, ""))
    (folder / "backlog.csv").write_text(text, encoding="utf-8")
    (folder / "states.csv").write_text(STATES, encoding="utf-8")
    return folder


def write_log(folder: Path, inside_min: float, *steps: tuple[str, float, float]) -> None:
    """The log of an outing that began on the first date at 07:30: steps with start and finish (PET)."""
    events = [(0.0, "", "pet_zero"), *((at, step, event) for step, start, finish in steps for at, event in (
        (start, "started"), (finish, "finished"))), (inside_min, "", "ingress")]
    lines = ["event_id,logged_at,crew,step,event,at,remaining_min,metabolic_w,by,corrects,note"]
    for number, (minute, step, event) in enumerate(events):
        at = datetime(FIRST.year, FIRST.month, FIRST.day, 7, 30) + timedelta(minutes=minute)
        lines.append(f"e{number},{at:%Y-%m-%dT%H:%M:%SZ},,{step},{event},{at:%Y-%m-%dT%H:%M:%SZ},,,Ines,,")
    (folder / "log.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")


def stops(campaign: pk.Campaign) -> set[str]:
    found = campaign.findings()
    return set(found.loc[found["severity"] == "stop", "rule"])


def test_a_stop_between_outings_is_no_proven_best(tmp_path: Path) -> None:
    """Nobody opens the cover: nothing of the outing's own is wrong, and the task cannot be done."""
    folder = ridge_with_states(tmp_path / "ridge", "A,Look,optional,5,,,,,,,,cover=open,,steps-a.csv",
                               "B,Else,optional,3,,,,P2,EV2,20,,,,")
    rows = f"{STEPS}\nA1,A,EV1,P1,Look,20,20,20,,,,,,,,,,,\n"
    (folder / "steps-a.csv").write_text(rows, encoding="utf-8")
    campaign = pk.load_campaign(folder)
    found = campaign.assign(progress=None)
    assert stops(pk.Campaign(found.campaign.source, found.campaign.known)) == {"state-unset"}
    assert "proven best" not in found.verdict
    assert "A needs cover=open, and it is closed" in found.verdict
    refused = campaign.moved("A", "R1")
    assert "A needs cover=open" in refused.why_not
    assert "does not go on R1" in refused.words
    assert campaign.moved("B", "R1").why_not == ""


def test_moved_begins_with_what_the_last_outing_left(tmp_path: Path) -> None:
    """The cover was opened by the outing that is over, so that what needs it closed cannot go on."""
    folder = ridge_with_states(tmp_path / "ridge", "O,Open,required,5,,,,P1,EV1,20,,,cover=open,",
                               "A,Closed,optional,5,,,,P1,EV1,20,,cover=closed,,",
                               "B,Open too,optional,5,,,,P1,EV1,20,,cover=open,,", outings=3)
    pk.load_campaign(folder).moved("O", "R1").campaign.scenario("R1").save()
    write_log(folder / "r1", 90, ("E1", 0, 20), ("E2", 22, 26), ("O", 26, 46), ("X1", 60, 75))
    campaign = pk.load_campaign(folder)
    assert campaign.moved("B", "R2").why_not == ""
    assert campaign.moved("B", "R3").why_not == ""
    assert "A needs cover=closed at 0:25, but is open" in campaign.moved("A", "R2").why_not


def test_a_move_that_makes_a_stop_worse_is_refused(tmp_path: Path) -> None:
    """The cover is open for longer than it may be already, and would be for two days more."""
    folder = ridge_with_states(tmp_path / "ridge", "O,Open,required,5,,,,P1,EV1,20,,,cover=open,",
                               "C,Close,required,5,,,,P1,EV1,20,,,cover=closed,", outings=3)
    for task, outing in (("O", "R1"), ("C", "R2")):
        found = pk.load_campaign(folder).moved(task, outing)
        assert found.why_not == ""
        for each in found.changed.values():
            each.save()
    (folder / "states.csv").write_text(
        "state,title,values,at_start,at_end,safe_when,leave_max_h,leave_source\n"
        "cover,Cover,open closed,closed,,none,20,asked\n", encoding="utf-8")
    campaign = pk.load_campaign(folder)
    assert stops(campaign) == {"left-too-long"}
    assert campaign.moved("C", "R3").why_not.startswith("a worse stop between the outings: R1: cover is left")


def at_one_time(folder: Path, rows: tuple[str, ...], hour: str = "07:30", days: int = 3) -> Path:
    """A ridge of two outings that may have the same dates, with no days between; PET 0 at ``hour``."""
    write_ridge(folder, rows, apart=0, dates=days)
    toml = folder / "campaign.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace("between = 2", "between = 0"), encoding="utf-8")
    for path in folder.glob("r*/scenario.toml"):
        text = path.read_text(encoding="utf-8").replace("07:30:00Z", f"{hour}:00Z")
        path.write_text(text, encoding="utf-8")
    return folder


def test_an_outing_begins_after_the_one_before(tmp_path: Path) -> None:
    """Both tasks are due on the first date and go on no one outing: the second may not be the same hour."""
    rows = tuple(f"{name},Long,required,5,{FIRST},,,P1,EV1,80," for name in "AB")
    found = pk.load_campaign(at_one_time(tmp_path / "ridge", rows)).assign(progress=None)
    one, two = found.outings["date"]
    assert one < two
    assert len(found.left_out) == 1
    assert found.gap is None
    with pytest.raises(pk.ScenarioError, match="0 days apart, each begun when the one before is over"):
        pk.load_campaign(at_one_time(tmp_path / "day", rows, days=1)).assign(progress=None)


def test_least_days_to_the_next_outing() -> None:
    """By hand: ends 10:00; ends 01:00 on the next date; with two days of rest."""
    day = OutingRoom("D", {}, begins_min=450, ends_min=600)
    night = OutingRoom("N", {}, begins_min=1380, ends_min=1500)
    assert [day.least_days_to(day, 0), day.least_days_to(night, 0), night.least_days_to(day, 0)] == [1, 0, 1]
    assert night.least_days_to(night, 0) == 1
    assert [day.least_days_to(day, 2), night.least_days_to(day, 2)] == [2, 3]
    early = OutingRoom("E", {}, begins_min=30, ends_min=100)
    assert night.least_days_to(early, 0) == 2


def with_speeds(folder: Path, first: int, second: int) -> pk.Campaign:
    path = folder / "r1" / "crew.csv"
    text = path.read_text(encoding="utf-8").replace("EV1,6,", f"EV1,{first},")
    path.write_text(text.replace("EV2,6,", f"EV2,{second},"), encoding="utf-8")
    return pk.load_campaign(folder)


def test_a_person_keeps_the_own_numbers(tmp_path: Path) -> None:
    """Ada, 12 m/min, and Ben, 2 m/min, trade their posts; with Cy in place of Ada it is told."""
    rows, pairs = ("A,Work,required,5,,,,P1,EV1,20,Ben",), 'crew = [["Ada", "Ben"], ["Ben", "{}"]]\n'
    folder = write_ridge(tmp_path / "swap", rows, 1, pairs=pairs.format("Ada"))
    found = with_speeds(folder, 12, 2).assign(progress=None)
    assert list(found.scenarios["R1"].crew["metres_per_min"]) == [2, 12]
    assert list(found.moves["words"])[1:] == ["R1: Ben and Ada go, not Ada and Ben"]
    folder = write_ridge(tmp_path / "new", rows, 1, pairs=pairs.format("Cy"))
    found = with_speeds(folder, 12, 2).assign(progress=None)
    assert list(found.scenarios["R1"].crew["metres_per_min"]) == [2, 12]
    assert list(found.moves["words"])[1:] == [
        "R1: Ben and Cy go, not Ada and Ben; speed, exertion and suit of EV2, Cy, are those typed for Ada: "
        "type the own ones"]


def test_the_chance_is_that_of_being_inside_with_the_required_work(tmp_path: Path) -> None:
    """Against the odds of the outing: all its tasks are required, so that each is done where all are."""
    rows = (f"{name},Work,required,5,,,,P{at},EV1,40," for at, name in enumerate("AB", 1))
    folder = write_ridge(tmp_path / "ridge", tuple(rows), 1, planned=160, reserve=0)
    found = pk.load_campaign(folder).assign(progress=None)
    scenario = found.scenarios["R1"]
    scenario = scenario.with_settings({"limits.planned_min": 150, "limits.hard_min": 150})
    for step in "AB":
        scenario = scenario.edit_row("steps", step, minutes_low=20, minutes_high=90)
    campaign = found.campaign.with_scenario("R1", scenario)
    sure = pk.time_plan(scenario).odds(500, progress=None).p_required
    assert 0.2 < sure < 0.9
    board = pk.Campaign(campaign.source, campaign.known).board_table
    assert list(board["p_done"]) == pytest.approx([sure, sure])


def test_past_midnight_the_day_on_which_work_is_done_counts(tmp_path: Path) -> None:
    """PET 0 at 23:00, at work from about 23:25: A takes 20 min and is over before midnight, B is not."""
    rows = (f"A,Due,required,5,{FIRST},,,P1,EV1,20,", f"B,Longer,required,5,{FIRST},,,P1,EV2,60,",
            "C,Rest,optional,5,,A,2,P1,EV1,20,")
    campaign = pk.load_campaign(at_one_time(tmp_path / "ridge", rows, "23:00"))
    found = campaign.assign(progress=None)
    assert set(found.found.outing_of) == {"A", "C"}
    assert "2031-09-04 00:2" in dict(zip(found.left_out["task"], found.left_out["why"], strict=True))["B"]
    # C may be done in the night from the 4th to the 5th: it would begin before midnight, a day after A.
    assert list(found.outings["date"]) == ["2031-09-03", "2031-09-05"]
    assert not stops(pk.Campaign(found.campaign.source, found.campaign.known)) - {"not-planned"}
    assert "B is done on 2031-09-04" in campaign.moved("B", "R1").why_not


def test_work_goes_behind_a_step_that_stays(tmp_path: Path) -> None:
    """R1 has A behind its own work; by default B goes behind the own step before, named A is refused."""
    folder = write_ridge(tmp_path / "ridge", (
        "A,One,optional,1,,,,P1,EV1,80,", "B,Two,required,5,,,,P1,EV1,80,"))
    pk.load_campaign(folder).moved("A", "R1").campaign.scenario("R1").save()
    toml = folder / "campaign.toml"
    text = toml.read_text(encoding="utf-8")
    toml.write_text(text.replace('work_after = "E2"\n', ""), encoding="utf-8")
    campaign = pk.load_campaign(folder)
    assert campaign.assign(progress=None).left_out.empty
    assert campaign.moved("A", "").why_not == ""
    toml.write_text(text.replace('work_after = "E2"', 'work_after = "A"', 1), encoding="utf-8")
    for ask in (lambda each: each.assign(progress=None), lambda each: each.moved("B", "R2")):
        with pytest.raises(pk.ScenarioError, match="is a step of A, which may leave the outing"):
            ask(pk.load_campaign(folder))


def test_all_outings_are_saved_or_none(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    rows = tuple(f"{name},Work,required,5,,,,P1,EV1,80," for name in "AB")
    folder = write_ridge(tmp_path / "ridge", rows)
    found = pk.load_campaign(folder).assign(progress=None)
    meanwhile = folder / "r2" / "tasks.csv"
    before = meanwhile.read_text(encoding="utf-8")
    meanwhile.write_text(before.replace("CLN,In", "CLN,Inside"), encoding="utf-8")
    with pytest.raises(pk.SaveConflict, match="nothing was saved"):
        found.save()
    assert pk.load_campaign(folder).planned("R1") == ()
    meanwhile.write_text(before, encoding="utf-8")
    files = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    replace = os.replace

    def fails(source: Path, target: Path) -> None:
        if target.parent.name == "r2":  # R1's files are in place by then
            raise OSError(28, "No space left on device")
        replace(source, target)

    with monkeypatch.context() as broken:
        broken.setattr(os, "replace", fails)
        with pytest.raises(pk.ScenarioError, match="nothing was changed, in no folder"):
            found.save()
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == files
    found.save()
    assert all(pk.load_campaign(folder).planned(each) for each in ("R1", "R2"))


def test_values_count_as_they_are_typed(tmp_path: Path) -> None:
    """One of the two fits: the one of more value, though rounded they are the same."""
    for n, (low, high) in enumerate((("0.4", "0.45"), ("1.25", "1.4"), ("0.001", "0.002"))):
        rows = (f"A,Work,optional,{low},,,,P1,EV1,80,", f"B,Work,optional,{high},,,,P1,EV1,80,")
        found = pk.load_campaign(write_ridge(tmp_path / f"r{n}", rows, 1)).assign(progress=None)
        assert found.value["optional"] == found.bound["optional"] == float(high)
        assert list(found.left_out["value"]) == [float(low)]
        assert found.gap is None
    rows = tuple(f"{need[0]},Work,{need},{n}.1234567890123,,,,P1,EV1,80," for n, need in enumerate(
        ("required", "optional", "get-ahead")))
    with pytest.raises(pk.ScenarioError, match="or fewer decimals"):
        pk.load_campaign(write_ridge(tmp_path / "many", rows, 1)).assign(progress=None)


def test_an_early_end_is_asked_of_an_outing_to_come(tmp_path: Path) -> None:
    folder = write_ridge(tmp_path / "ridge", ("A,Work,required,5,,,,P1,EV1,20,",))
    write_log(folder / "r1", 90, ("E1", 0, 20), ("E2", 22, 26), ("X1", 60, 75))
    campaign = pk.load_campaign(folder)
    with pytest.raises(pk.ScenarioError, match="has a log, so that it is under way or over"):
        campaign.early_end_table("R1")
    assert len(campaign.early_end_table("R2"))
    asked = (lambda: campaign.end_state(["R1"]), lambda: campaign.thread(["lamp"]),  # type: ignore[arg-type]
             lambda: campaign.early_end_table(["R2"]), lambda: campaign.moved(["A"], "R2"),  # type: ignore[arg-type]
             lambda: campaign.moved("A", ["R2"]), lambda: campaign.after(["R1"]))  # type: ignore[arg-type]
    for ask in asked:
        with pytest.raises(pk.ScenarioError):
            ask()


def test_a_task_without_room_is_told_with_its_minutes(tmp_path: Path) -> None:
    rows = ("A,Huge,required,5,,,,P1,EV1,900,", "B,Big,required,5,,,,P1,both,520,")
    found = pk.load_campaign(write_ridge(tmp_path / "ridge", rows, 1)).assign(progress=None)
    why = dict(zip(found.left_out["task"], found.left_out["why"], strict=True))
    assert "it takes 900.0 min of EV1, more than the whole outing has until PET 2:20" in why["A"]
    assert "it takes 520.0 min of EV1, more than the whole outing" in why["B"]


def test_an_outing_of_nothing_but_backlog_work(tmp_path: Path) -> None:
    """All steps of R1 are A's, which is less wanted than B and leaves: B goes to the head."""
    folder = write_ridge(tmp_path / "ridge", (
        "A,One,optional,1,,,,P1,EV1,80,", "B,Two,required,5,,,,P1,EV1,80,"), 1)
    toml = folder / "campaign.toml"
    toml.write_text(toml.read_text(encoding="utf-8").replace('work_after = "E2"\n', ""), encoding="utf-8")
    for name, row in (("tasks", "A,One,optional,1,no,"), ("steps", "A,A,EV1,P1,One,80,80,80,,,,,,,,,,,")):
        path = folder / "r1" / f"{name}.csv"
        path.write_text(path.read_text(encoding="utf-8").splitlines()[0] + f"\n{row}\n", encoding="utf-8")
    found = pk.load_campaign(folder).assign(progress=None)
    assert list(found.scenarios["R1"].steps["step"]) == ["B"]
