"""Which findings came and went, and what the margins are."""

from __future__ import annotations

from typing import Any

import pytest

import planning_kit as pk
from planning_kit.explore.comparison import compare_findings
from planning_kit.judge.all_checks import _FOUND
from planning_kit.judge.findings import Finding, findings_table
from planning_kit.plan.timed import TimedPlan


def _found(*rows: tuple[str, ...]) -> TimedPlan:
    """A plan of which only the findings are known."""
    plan = object.__new__(TimedPlan)
    _FOUND[plan] = findings_table(
        Finding(severity, check, rule, about, crew, step, message=message)
        for severity, check, rule, about, crew, step, message in rows)
    return plan


def _changes(a: Any, b: Any) -> list[tuple[str, str]]:
    table = compare_findings(a, b)
    return list(table[["change", "message"]].itertuples(index=False, name=None))


def test_other_minutes_are_the_same_finding() -> None:
    a = _found(("stop", "limits", "outing-end", "", "", "", "both are inside at 7:01, 1 min past: drop it"))
    b = _found(("stop", "limits", "outing-end", "", "", "", "both are inside at 7:19, 19 min past: cut it"))
    assert _changes(a, b) == []


def test_another_check_rule_subject_crew_or_step_is_another_finding() -> None:
    first = ("stop", "custody", "not-there", "part-1", "EV1", "A1", "is not there")
    for place, value in ((1, "links"), (2, "early"), (3, "part-2"), (4, "EV2"), (5, "A2")):
        other = (*first[:place], value, *first[place + 1:])
        assert [change for change, _ in _changes(_found(first), _found(other))] == ["came", "went"]


def test_a_second_finding_of_the_same_kind_is_counted() -> None:
    one = ("concern", "links", "not-covered", "", "EV1", "A1", "none from 0:03")
    assert _changes(_found(one), _found(one, (*one[:6], "none from 0:09"))) == [("came", "none from 0:09")]
    assert _changes(_found(one, one), _found(one)) == [("went", "none from 0:03")]


def test_what_runs_out_or_is_too_far_is_the_same_wherever_it_shows() -> None:
    low = ("stop", "suits", "runs-out", "oxygen", "EV1", "A1", "runs out")
    far = ("stop", "return", "alone-too-far", "MST", "EV1", "A1", "is too far")
    elsewhere = tuple((*row[:5], "B7", row[6]) for row in (low, far))
    assert _changes(_found(low, far), _found(*elsewhere)) == []
    assert _changes(_found(far), _found((*far[:3], "POR", *far[4:]))) == [
        ("came", "is too far"), ("went", "is too far")]


def test_worse_and_better_are_told_and_the_worst_that_came_is_first() -> None:
    late = ("limits", "outing-end", "", "", "", "late")
    empty = ("suits", "runs-out", "oxygen", "EV2", "", "empty")
    a = _found(("concern", *late), ("stop", *empty))
    b = _found(("stop", *late), ("remark", *empty), ("remark", "links", "no-relays", "", "", "", "no relays"),
               ("stop", "clocks", "no-margin", "", "", "B1", "broken"))
    table = compare_findings(a, b)
    assert table[["change", "severity"]].to_numpy().tolist() == [
        ["came", "stop"], ["came", "remark"], ["worse", "stop"], ["better", "remark"]]


def test_two_faults_of_one_inhibit_are_two() -> None:
    held = ("stop", "inhibits", "held-too-long", "I-1", "", "A1", "is held 220 min, from 0:10 to 3:50")
    late = ("stop", "inhibits", "not-in-force", "I-1", "", "A1", "does not cover B1, from 0:10")
    assert [change for change, _ in _changes(_found(held), _found(late))] == ["came", "went"]


def test_what_came_one_way_went_the_other(demo_plan: pk.Plan) -> None:
    late = demo_plan.what_if(30)
    there, back = demo_plan.compare(late).findings, late.compare(demo_plan).findings
    mirror = {"came": "went", "went": "came", "worse": "better", "better": "worse"}
    assert sorted(there["change"].map(mirror)) == sorted(back["change"])
    assert ("came", "stop", "limits") in set(
        there[["change", "severity", "check"]].itertuples(index=False, name=None))


def test_margins_are_those_of_each_plan(small_plan: pk.Plan) -> None:
    slow = small_plan.what_if(stretch={"C2": "+2"})
    table = small_plan.compare(slow).margins.set_index(["margin", "crew"])
    # C2, the gap behind it and Z1 hold the end: two minutes more are two minutes later.
    assert table.loc[("outing end", ""), "change"] == pytest.approx(2.0)
    assert table.loc[("to the hard limit", ""), "change"] == pytest.approx(-2.0)
    assert table.loc[("to the hard limit", ""), "a"] == pytest.approx(130 - small_plan.end_min)
    # They are outside two minutes longer, breathing.
    assert table.loc[("oxygen over its reserve", "EV1"), "change"] < 0
    summary = slow.suit_summary.set_index(["crew", "consumable"])["margin"]
    assert table.loc[("water over its reserve", "EV2"), "b"] == summary[("EV2", "water")]
    waits = small_plan.timeline.query("kind == 'wait' and crew == 'EV1'")
    waited = (waits["finish_min"] - waits["start_min"]).sum()
    assert table.loc[("waiting", "EV1"), "a"] == pytest.approx(waited)


def test_margins_of_the_same_plan_do_not_change(small_plan: pk.Plan) -> None:
    assert (small_plan.compare(small_plan).margins["change"] == 0).all()
