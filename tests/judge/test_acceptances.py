"""What an acceptance covers: by hand on the small outing, and each finding of an earlier demo.

The Mast head is 11 min from inside (see test_returning): with emergency oxygen of 19.9 min and a reserve of
9 min EV1 has 8.9 there, a margin of -0.1.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.inputs.sign_offs import ACCEPTED_COLUMNS
from planning_kit.judge.all_checks import findings_of, new_findings
from planning_kit.show.live_chart import live_notes
from planning_kit.show.wording import OpenFindings

ROOT = Path(__file__).parents[2]
FAR = "return/alone-too-far,MST,EV1,"
OXYGEN, RESERVE = "limits.emergency_oxygen_min", "limits.return_reserve_min"


@pytest.fixture
def own(tmp_path: Path, small: pk.Scenario) -> pk.Scenario:
    return small.with_settings({
        RESERVE: 9, OXYGEN: 19.9, "limits.partner_carry_factor": None,
        "limits.partner_carry_factor_source": None}).save(tmp_path / "own")


def given(scenario: pk.Scenario, *rows: str) -> pk.Plan:
    lines = [",".join(ACCEPTED_COLUMNS), *(f"{row},A. Person,Short,2031-05-01" for row in rows)]
    (scenario.folder / "accepted.csv").write_text("\n".join(lines), encoding="utf-8")
    return pk.time_plan(scenario)


def stop(plan: pk.Plan) -> pd.Series:
    found = plan.findings.query("rule == 'alone-too-far'")
    assert len(found) == 1
    return found.iloc[0]


def test_it_counts_at_once_and_the_severity_stays(own: pk.Scenario) -> None:
    plan = pk.time_plan(own)
    assert stop(plan)["accepted"] == ""
    plan.accept(stop(plan), "A. Person", "Short", "2031-05-01")
    assert stop(plan)["accepted"] == "by A. Person, 2031-05-01: Short"
    assert stop(plan)["severity"] == "stop"
    assert list(plan.findings)[-1] == "accepted"
    (own.folder / "accepted.csv").unlink()
    assert stop(plan)["accepted"] == "", "what was deleted counts no longer"


@pytest.mark.parametrize(("row", "holds"), [
    ("8.9,9", True), ("8.8,9", True), ("8.95,9", False),
    ("7.9,8", True), ("9.9,10", False),  # the same margin, of a limit since made stricter, or looser
    ("", False)])
def test_it_holds_while_neither_margin_nor_limit_is_worse(own: pk.Scenario, row: str, holds: bool) -> None:
    found = stop(given(own, f"{FAR},{row or ','}"))
    assert bool(found["accepted"]) is holds
    assert ("not covered" in found["message"]) is not holds


def test_what_if_plans_go_by_the_same_margin(own: pk.Scenario) -> None:
    plan = given(own, f"{FAR},8.9,9")
    assert stop(plan.what_if(settings={OXYGEN: 19.95}))["accepted"]
    worse = stop(plan.what_if(settings={OXYGEN: 19.8}))
    assert worse["accepted"] == ""
    assert worse["message"].endswith(
        "Accepted by A. Person, 2031-05-01, at 8.9 against 9, now 8.8 against 9: not covered")


def test_a_concern_accepted_is_not_the_stop_that_it_becomes(own: pk.Scenario) -> None:
    end = pk.time_plan(own).end_min
    base = own.with_settings({"limits.planned_min": end - 5}).save()
    plan = pk.time_plan(base)
    concern = plan.findings.query("rule == 'outing-end'").iloc[0]
    plan.accept(concern, "A", "Agreed")
    now = plan.what_if(settings={"limits.hard_min": end - 1}).findings.query("rule == 'outing-end'").iloc[0]
    assert (now["severity"], now["accepted"]) == ("stop", "")
    assert now["margin"] > concern["margin"], "by the margin alone it would count"


def test_one_row_accepts_one_finding(own: pk.Scenario) -> None:
    twice = own.with_settings({OXYGEN: 17}).save()
    several = pk.time_plan(twice).findings.query("rule == 'alone-too-far'")
    assert len(several) == 3
    plan = given(twice, f"{FAR},0,9")
    told = plan.findings.query("accepted != ''")
    assert told[["about", "crew"]].to_numpy().tolist() == [["MST", "EV1"]]


def test_of_several_alike_the_worst_takes_the_closest_row(tmp_path: Path) -> None:
    shutil.copytree(ROOT / "tests/data/tern-1", tmp_path / "own")
    scenario = pk.load_scenario(tmp_path / "own")
    alike = pk.time_plan(scenario).findings.query("about == 'BK' and rule == 'helped-too-far'")
    values = sorted(alike["value"])
    assert len(values) == 3  # min left of 5 wanted: three spells
    row = "return/helped-too-far,BK,EV1,"
    told = given(scenario, f"{row},{values[2]},5", f"{row},{values[1] - 0.01},5").findings
    assert sorted(told[told["accepted"] != ""]["value"]) == values[1:]
    assert "not covered" not in "".join(told["message"]), "no row is left for the worst"
    told = given(scenario, f"{row},{values[1]},5", f"{row},{values[0]},5", f"{row},-20,5",
                 f"{row},-30,5").findings
    assert (told[told["rule"] == "helped-too-far"]["about"][told["accepted"] != ""] == "BK").all()
    assert sum(told["accepted"] != "") == 3
    assert told["accepted"].str.count("A. Person").max() == 2, "the fourth is of a second person"


def test_each_finding_can_be_accepted_and_then_counts(tmp_path: Path) -> None:
    for name in ("tests/data/tern-1", "scenarios/faulty-plan"):
        folder = tmp_path / Path(name).name
        shutil.copytree(ROOT / name, folder, ignore=shutil.ignore_patterns("accepted.csv"))
        plan = pk.time_plan(pk.load_scenario(folder))
        found = plan.findings
        plan.accept(found.iloc[0], "A", "x")
        for row in found.iloc[1:6].to_dict("records"):
            plan.accept(row, "A", "x")
        assert (plan.findings["accepted"] != "").sum() == 6
        pd.testing.assert_frame_equal(findings_of(plan.timed), found)


def test_a_finding_without_numbers_holds_as_long_as_it_is_there(own: pk.Scenario) -> None:
    base = own.edit_row("steps", "C3", takes="").save()
    plan = pk.time_plan(base)
    bare = plan.findings[plan.findings["margin"].isna() & (plan.findings["severity"] != "remark")].iloc[0]
    plan.accept(tuple(bare[name] for name in ("check", "rule", "about", "crew", "step")), "A", "x")
    assert (plan.findings["accepted"] != "").sum() == 1
    assert (plan.what_if(1).findings["accepted"] != "").sum() == 1


def test_a_paper_without_a_finding_is_seen(own: pk.Scenario) -> None:
    found = given(own, "return/alone-too-fra,MST,EV1,,8.9,9", f"{FAR},8.9,9").findings
    lost = found.query("check == 'accepted'").to_dict("records")
    assert [(each["severity"], each["rule"], each["about"]) for each in lost] == [
        ("remark", "no-such-finding", "return/alone-too-fra")]
    assert "row 2" in lost[0]["message"]
    assert "A. Person" in lost[0]["message"]


def test_findings_are_compared_without_it(own: pk.Scenario) -> None:
    plan = pk.time_plan(own)
    before = plan.findings
    given(own, f"{FAR},8.9,9", "return/none,,,,,")
    assert new_findings(before, plan.timed).empty
    assert plan.compare(plan.what_if(1)).findings.empty


def test_a_re_timed_plan_inherits_none(own: pk.Scenario) -> None:
    plan = given(own, f"{FAR},8.9,9", "return/none,,,,,")
    log = pd.DataFrame({"step": ["A1", "A1"], "event": ["started", "finished"], "at": ["0:00", "0:10"]})
    now = plan.retime(log, 11)
    assert stop(now)["accepted"] == ""
    assert stop(now)["message"].endswith("Accepted before the outing by A. Person, 2031-05-01: ask again")
    assert "accepted" not in set(now.findings["check"])
    with pytest.raises(pk.ScenarioError, match="before the outing"):
        now.accept(stop(now), "A", "x")


@pytest.mark.parametrize("given", ["alone-too-far", 3, None, ("a", "b"), {"check": "return"},
                                   ("return", "alone-too-far", "MST", "EV2", "")])
def test_what_is_no_finding_of_the_plan_is_refused(own: pk.Scenario, given: object) -> None:
    plan = pk.time_plan(own)
    with pytest.raises(pk.ScenarioError, match="is no finding"):
        plan.accept(given, "A", "x")
    other = plan.what_if(settings={OXYGEN: 19.8})
    with pytest.raises(pk.ScenarioError, match="is no finding"):
        plan.accept(stop(other), "A", "x")  # the same one, at other numbers
    assert own.accepted.empty


def test_heads_say_how_many_are_accepted(own: pk.Scenario) -> None:
    plan = pk.time_plan(own.with_settings({OXYGEN: 17}).save())
    assert OpenFindings(plan.timed).counted == "3 stops, 1 remark"
    plan.accept(plan.findings.iloc[0], "A", "x")
    counted = "3 stops, 1 accepted; 1 remark"
    assert OpenFindings(plan.timed).counted == counted
    assert f"Findings: {counted}." in plan.briefing().one_minute
    assert ". Accepted by A, " in plan.briefing().text
    notes = live_notes(plan.timed)
    assert notes["counted"] == counted
    assert [". Accepted by A, " in each["message"] for each in notes["findings"]].count(True) == 1
