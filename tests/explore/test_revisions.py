"""Two revisions of a scenario: folders, git revisions, scenarios, plans; and the reviewer's list."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.explore.comparison import compare_revisions
from tests.edits import edited

SMALL = Path(__file__).resolve().parents[2] / "scenarios" / "small-outing"


def git(folder: Path, *words: str) -> None:
    subprocess.run(["git", "-C", str(folder), "-c", "user.name=T", "-c", "user.email=t@example.invalid",
                    "-c", "commit.gpgsign=false", *words], check=True, capture_output=True)


@pytest.fixture
def repository(tmp_path: Path) -> Path:
    """The small outing in two commits (at first B2 took 11 min), and one more edit on disk."""
    folder = tmp_path / "outings" / "small"
    shutil.copytree(SMALL, folder)
    git(tmp_path, "init", "-q", "-b", "main")
    edited(pk.load_scenario(folder), "steps", "B2", minutes_likely=11, minutes_low=9).save()
    git(tmp_path, "add", "-A")
    git(tmp_path, "commit", "-q", "-m", "first")
    git(tmp_path, "tag", "as-reviewed")
    edited(pk.load_scenario(folder), "steps", "B2", minutes_likely=13, minutes_low=10).save()
    git(tmp_path, "commit", "-q", "-a", "-m", "second")
    edited(pk.load_scenario(folder), "steps", "C2", minutes_likely=8).save()
    return folder


def lines(revision: object, verdict: str) -> list[str]:
    table = revision.verdict  # type: ignore[attr-defined]
    return table.loc[table["verdict"] == verdict, "words"].tolist()


def test_two_git_revisions(repository: Path) -> None:
    revision = compare_revisions(f"as-reviewed:{repository}", f"HEAD:{repository}")
    assert revision.inputs["row"].tolist() == ["B2", "B2"]
    row = revision.inputs.set_index("column").loc["minutes_likely"]
    assert (row["before"], row["after"]) == ("11", "13")


def test_a_git_revision_and_the_files_on_disk(repository: Path) -> None:
    revision = compare_revisions(f"HEAD:{repository}", repository)
    (words,) = revision.inputs["words"]
    assert words == "C2 (Open the cassette vent), minutes_likely: was 7, is 8"


def test_a_scenario_of_a_revision_leaves_the_files_alone(repository: Path) -> None:
    before = {path.name: path.read_bytes() for path in repository.iterdir()}
    old = pk.scenario_at(repository, "as-reviewed")
    assert old.steps.set_index("step").loc["B2", "minutes_likely"] == 11
    assert old.folder == repository
    assert {path.name: path.read_bytes() for path in repository.iterdir()} == before
    with pytest.raises(pk.SaveConflict):
        old.save()  # the files on disk are newer


def test_a_folder_that_the_working_copy_no_longer_has(repository: Path) -> None:
    shutil.rmtree(repository)
    assert pk.scenario_at(repository, "HEAD").settings.station == "Heron Annex"


@pytest.mark.parametrize("revision", ["no-such-tag", "", "--output=x", "a:b", "HEAD~99", "HEAD\0"])
def test_revisions_that_there_are_not(repository: Path, revision: str) -> None:
    with pytest.raises(pk.ScenarioError) as caught:
        pk.scenario_at(repository, revision)
    assert len(caught.value.problems) == 1


def test_a_folder_outside_any_repository(tmp_path: Path) -> None:
    shutil.copytree(SMALL, tmp_path / "alone")
    with pytest.raises(pk.ScenarioError, match="git has no such scenario"):
        pk.scenario_at(tmp_path / "alone", "HEAD")


def test_a_revision_with_faults_says_so(repository: Path) -> None:
    (repository / "steps.csv").write_text("step\n")
    git(repository, "commit", "-q", "-a", "-m", "broken")
    with pytest.raises(pk.ScenarioError, match=r"steps.*\(in HEAD:"):
        compare_revisions(f"HEAD:{repository}", f"HEAD~1:{repository}")


def test_what_is_no_side() -> None:
    with pytest.raises(pk.ScenarioError, match="must be a folder"):
        compare_revisions(3, SMALL)  # type: ignore[arg-type]
    with pytest.raises(pk.ScenarioError, match="is empty"):
        compare_revisions(SMALL, " ")


def test_no_change_is_said_in_one_line(small: pk.Scenario) -> None:
    revision = compare_revisions(small, SMALL)
    assert revision.overall == "Same: nothing that matters changed."
    assert set(revision.verdict["verdict"]) == {"same"}


def test_a_slower_step_moves_work_and_costs_margin(small: pk.Scenario, small_plan: pk.Plan) -> None:
    slower = edited(small, "steps", "Z1", minutes_likely=13)
    revision = compare_revisions(small, slower)
    assert revision.overall.startswith("Worse: ")
    # Z1 is the last step of both: the outing ends just as much later as it takes longer
    assert f"both inside at {label(small_plan.end_min + 3)}, 3.0 min later" in lines(revision, "worse")
    # 3 min of light work of both: 3 min x (55 W) / 60 = 2.75 W h of each battery
    assert any(words.startswith("EV1: ") and "energy over its reserve 273.5 W h (was 276.2)" in words
               for words in lines(revision, "worse"))


def label(minutes: float) -> str:
    whole = int(minutes + 0.5)
    return f"{whole // 60}:{whole % 60:02d}"


def test_a_missed_hard_limit_is_a_stop(small: pk.Scenario, small_plan: pk.Plan) -> None:
    short = small.with_settings({"limits.hard_min": small_plan.end_min - 1,
                                 "limits.planned_min": small_plan.end_min - 2})
    revision = compare_revisions(small, short)
    assert revision.overall.startswith("Stop: ")
    assert any(words.startswith("the hard limit") for words in lines(revision, "stop"))
    assert any("a limit itself changed: limits.hard_min" in words for words in lines(revision, "look"))
    # Nothing got quicker: the limit was moved, and that is not better.
    back = compare_revisions(short, small)
    assert any("hard limit is kept only because it was moved" in words for words in lines(back, "look"))
    assert back.overall.startswith("Look: ")


def test_quicker_work_that_keeps_a_limit_again_is_better(small: pk.Scenario, small_plan: pk.Plan) -> None:
    limits = {"limits.hard_min": small_plan.end_min + 1, "limits.planned_min": small_plan.end_min}
    quick = small.with_settings(limits)
    slow = edited(quick, "steps", "Z1", minutes_likely=13)
    assert any("the hard limit" in words and "is kept again" in words
               for words in lines(compare_revisions(slow, quick), "better"))


def test_less_work_is_not_better(small: pk.Scenario) -> None:
    """Without the lamp exchange, which is required, the outing ends earlier and has more margin."""
    for item in ("lamp-new", "lamp-old"):
        small = edited(small, "hardware", item, end_at="")
    revision = pk.time_plan(small).compare(pk.time_plan(small).what_if(drop=["LMP"]))
    assert any(words.startswith("required task LMP") and words.endswith("is no longer done")
               for words in lines(revision, "worse"))
    assert lines(revision, "better"), "the numbers alone look better"
    assert revision.overall.startswith("Mixed: ")
    wished = edited(small, "tasks", "LMP", need="optional")
    again = pk.time_plan(wished).compare(pk.time_plan(wished).what_if(drop=["LMP"]))
    assert any("optional task LMP" in words for words in lines(again, "look"))
    assert again.overall.startswith("Look: ")


@pytest.mark.parametrize(("table", "key", "change"), [
    ("steps", "B3", {"light": "any", "same_window": ""}), ("steps", "B3", {"foothold": ""}),
    ("inhibits", "I-LMP", {"lead_min": 1}), ("places", "MST", {"crew_at_once": 2}),
    ("places", "MST", {"caution": ""})])
def test_a_control_that_changes_is_named_and_never_better(small: pk.Scenario, table: str, key: str,
                                                          change: dict[str, object]) -> None:
    revision = compare_revisions(small, edited(small, table, key, **change))
    told = revision.verdict.query("about == 'controls'")
    assert set(told["verdict"]) == {"look"}
    assert told["words"].str.startswith(f"a control changed: {key}").all()
    assert len(told) >= 1
    assert not revision.overall.startswith("Better")


def test_an_inhibit_or_a_clock_that_goes_is_named(small: pk.Scenario) -> None:
    without = small.with_table("inhibits", small.inhibits[0:0]).with_table("gaps", small.gaps[0:0])
    told = lines(compare_revisions(small, without), "look")
    assert any("a control changed: I-LMP" in words and "removed" in words for words in told)
    assert any("a control changed: C2 C3 removed" in words for words in told)


def test_a_new_id_is_the_same_step(small: pk.Scenario, tmp_path: Path) -> None:
    shutil.copytree(SMALL, tmp_path / "renamed")
    for name in ("steps.csv", "inhibits.csv"):
        file = tmp_path / "renamed" / name
        file.write_text(re.sub(r"\bB2\b", "B2X", file.read_text(encoding="utf-8")), encoding="utf-8")
    revision = compare_revisions(small, tmp_path / "renamed")
    row = revision.inputs.query("change == 'renamed'").to_dict("records")
    assert [(each["table"], each["row"], each["before"], each["after"]) for each in row] == [
        ("steps", "B2X", "B2", "B2X")]
    assert not set(revision.inputs["change"]) & {"added", "removed"}
    assert any(words.endswith("; B2 is B2X now") for words in lines(revision, "look"))


def test_findings_that_come_are_worse_and_those_that_go_are_better(small: pk.Scenario) -> None:
    lost = edited(small, "hardware", "driver", at="inside")
    there, back = compare_revisions(small, lost), compare_revisions(lost, small)
    came = there.verdict.query("about == 'findings'")
    assert {"stop"} <= set(came["verdict"])
    assert any("driver" in words for words in came["words"])
    assert "better" in set(back.verdict.query("about == 'findings'")["verdict"])


def test_a_lit_step_in_another_night_is_named(small: pk.Scenario, small_plan: pk.Plan) -> None:
    late = edited(small, "steps", "B2", minutes_low=40, minutes_likely=60, minutes_high=70)
    late = late.with_settings({"horizon_h": 10, "limits.hard_min": 400, "limits.planned_min": 390})
    revision = compare_revisions(small, late)
    (words,) = [words for words in lines(revision, "look") if words.startswith("B3 lies in night")]
    assert words == "B3 lies in night 2, was in night 1"


def test_a_side_without_a_plan_is_a_verdict(small: pk.Scenario) -> None:
    # longer than any night
    stuck = edited(small, "steps", "B3", minutes_low=50, minutes_likely=55, minutes_high=60)
    revision = compare_revisions(small, stuck)
    assert any("B3 needs 55.0 min of one night" in words for words in lines(revision, "stop"))
    assert not revision.inputs.empty
    assert not lines(compare_revisions(stuck, small), "stop")


def test_plans_bring_their_own_pet_zero(small_plan: pk.Plan) -> None:
    later = small_plan.what_if(slip_min=10)
    revision = small_plan.compare(later)
    assert "PET 0 was 2031-09-03T07:30Z, is 2031-09-03T07:40Z" in lines(revision, "look")


def test_the_list_is_worst_first(demo_plan: pk.Plan) -> None:
    revision = demo_plan.compare(demo_plan.what_if(stretch={"EV1": 1.3}))
    rank = {name: number for number, name in enumerate(["stop", "worse", "look", "better", "same"])}
    order = revision.verdict["verdict"].map(rank)
    assert order.is_monotonic_increasing
    assert repr(revision) == (f"<Comparison {revision.a.digest[:12]} to {revision.b.digest[:12]}: "
                              f"{revision.overall}>")


def test_another_item_missing_at_the_same_step_is_another_finding(small: pk.Scenario) -> None:
    parts = small.hardware.astype(object)
    for name in ("part-1", "part-2"):  # both lie at the port, and B1 is at the mid truss
        parts.loc[len(parts)] = {"item": name, "title": name, "kind": "spare", "at": "POR", "end_at": "",
                                 "slots": 1, "holds": "", "bulky": "no", "mass_kg": ""}
    small = small.with_table("hardware", parts)
    first, second = (pk.time_plan(edited(small, "steps", "B1", uses=item)) for item in ("part-1", "part-2"))
    changes = first.compare(second).findings
    assert changes[["change", "severity", "rule", "about", "step"]].to_numpy().tolist() == [
        ["came", "stop", "used-away", "part-2", "B1"], ["went", "stop", "used-away", "part-1", "B1"]]
    revision = first.compare(second)
    assert "none came, none went" not in revision.verdict["words"].tolist()
    assert revision.overall.startswith("Stop: ")
