"""Which findings came and went, and what the margins are."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.checks.all_checks import _FOUND
from planning_kit.checks.findings import FINDING_COLUMNS
from planning_kit.plan.timed import TimedPlan


def _found(*rows: tuple[str, str, str, str, str]) -> TimedPlan:
    """A plan of which only the findings are known."""
    columns = ["severity", "check", "crew", "step", "message"]
    plan = object.__new__(TimedPlan)
    _FOUND[plan] = pd.DataFrame(rows, columns=columns).reindex(columns=FINDING_COLUMNS)
    return plan


def _changes(a: Any, b: Any) -> list[tuple[str, str]]:
    table = pk.compare_findings(a, b)
    return list(table[["change", "message"]].itertuples(index=False, name=None))


def test_other_minutes_are_the_same_finding() -> None:
    a = _found(("stop", "limits", "", "", "both are inside at 7:01, 1.0 min past the limit: drop work"))
    b = _found(("stop", "limits", "", "", "both are inside at 7:19, 19.5 min past the limit: cut waits"))
    assert _changes(a, b) == []


def test_another_step_crew_check_or_kind_is_another_finding() -> None:
    first = ("stop", "limits", "EV1", "A1", "starts late")
    for place, value in ((1, "links"), (2, "EV2"), (3, "A2"), (4, "starts early")):
        other = (*first[:place], value, *first[place + 1:])
        assert [change for change, _ in _changes(_found(first), _found(other))] == ["came", "went"]


def test_a_second_finding_of_the_same_kind_is_counted() -> None:
    one = ("caution", "return", "EV1", "A1", "margin 3 min")
    assert _changes(_found(one), _found(one, (*one[:4], "margin 4 min"))) == [("came", "margin 4 min")]


def test_worse_and_better_are_told_and_the_worst_that_came_is_first() -> None:
    a = _found(("caution", "return", "EV1", "A1", "low"), ("stop", "suits", "EV2", "", "empty"))
    b = _found(("stop", "return", "EV1", "A1", "low"), ("note", "suits", "EV2", "", "empty"),
               ("note", "links", "", "", "no relays"), ("stop", "clocks", "", "B1", "broken"))
    table = pk.compare_findings(a, b)
    assert table[["change", "severity"]].to_numpy().tolist() == [
        ["came", "stop"], ["came", "note"], ["worse", "stop"], ["better", "note"]]


def test_two_faults_of_one_inhibit_are_two() -> None:
    held = ("stop", "inhibits", "", "A1", "inhibit I-1 (Off): is held 220 min, from 0:10 to 3:50: split it")
    late = ("stop", "inhibits", "", "A1", "inhibit I-1 (Off): does not cover B1, from 0:10: move it")
    assert [change for change, _ in _changes(_found(held), _found(late))] == ["came", "went"]


def test_what_came_one_way_went_the_other(demo_plan: pk.Plan) -> None:
    late = demo_plan.what_if(30)
    there, back = pk.compare_findings(demo_plan, late), pk.compare_findings(late, demo_plan)
    mirror = {"came": "went", "went": "came", "worse": "better", "better": "worse"}
    assert sorted(there["change"].map(mirror)) == sorted(back["change"])
    assert ("came", "stop", "limits") in set(
        there[["change", "severity", "check"]].itertuples(index=False, name=None))


def test_margins_are_those_of_each_plan(small_plan: pk.Plan) -> None:
    slow = small_plan.what_if(stretch={"C2": "+2"})
    table = pk.compare_margins(small_plan, slow).set_index(["margin", "crew"])
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
    assert (pk.compare_margins(small_plan, small_plan)["change"] == 0).all()
