"""The face of the front door: it has a plan, shows what a user wants of it, and no room sees the face."""

from __future__ import annotations

import inspect
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.explore.session.session import Session
from planning_kit.front.shown import PlanRecords, Shown
from planning_kit.judge import all_checks
from planning_kit.plan.timed import TimedPlan
from tests.explore.propose.loose import loose

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def plan() -> pk.Plan:
    return pk.time_plan(pk.load_scenario(ROOT / "scenarios" / "small-outing"))


def test_the_face_has_a_plan_and_is_none(plan: pk.Plan) -> None:
    assert isinstance(plan, pk.Plan)
    assert not isinstance(plan, TimedPlan)
    assert repr(plan) == repr(plan.timed).replace("<TimedPlan", "<Plan")


def test_what_a_plan_shows_is_told_in_its_own_words(plan: pk.Plan) -> None:
    shown = [name for name in dir(pk.Plan) if isinstance(inspect.getattr_static(pk.Plan, name), Shown)]
    assert len(shown) > 20
    for name in shown:
        member = inspect.getattr_static(TimedPlan, name, None)
        if callable(member) or isinstance(member, property):
            assert inspect.getattr_static(pk.Plan, name).__doc__ == member.__doc__, name
    assert "worst first" in str(inspect.getattr_static(pk.Plan, "findings").__doc__)
    covers = inspect.getattr_static(PlanRecords, "links")
    assert covers.__doc__ == TimedPlan.link_covers.__doc__
    assert plan.explain("A1") == plan.timed.explain("A1")
    pd.testing.assert_frame_equal(plan.timeline, plan.timed.timeline)


def test_a_name_gives_a_table_or_a_plain_value_and_records_are_asked_for(plan: pk.Plan) -> None:
    """One rule: ``plan.links`` is a table, ``plan.records.links`` what it is made of, for every pair."""
    assert plan.light is plan.timed.light  # windows of minutes: the one value that is neither
    for name in dir(PlanRecords):
        if name[0] != "_" and name != "timed":
            assert isinstance(getattr(plan, name), pd.DataFrame), name
            assert not isinstance(getattr(plan.records, name), pd.DataFrame), name
    assert plan.records.links is plan.timed.link_covers
    assert plan.records.timeline is plan.timed.lanes
    assert plan.records.changes == ()
    assert len(plan.inhibits) == len(plan.records.inhibits) > 0
    for name in ("network", "travels", "almanac", "holders", "position", "lanes", "starts", "outside"):
        assert not hasattr(plan, name), name
        assert hasattr(plan.timed, name), name


ASKED: dict[str, Any] = {
    "swimlane": lambda plan: pk.swimlane(plan, plan).alt,
    "suits": lambda plan: pk.suit_chart(plan).alt,
}


@pytest.mark.parametrize("asked", ASKED)
def test_a_chart_takes_the_face_and_the_plan_alike(plan: pk.Plan, asked: str) -> None:
    assert ASKED[asked](plan) == ASKED[asked](plan.timed)


def test_what_a_plan_answers_has_a_plan_that_can_be_asked(plan: pk.Plan) -> None:
    late = plan.what_if(slip_min=1)
    chances, compared, told = plan.odds(100), plan.compare(late), plan.briefing()
    assert isinstance(chances, pk.Odds)
    assert isinstance(compared, pk.Comparison)
    assert isinstance(told, pk.Briefing)
    for answer in (chances.plan, compared.plan_a, told.plan):
        assert isinstance(answer, pk.Plan)
        assert answer.timed is plan.timed
    assert compared.plan_b is not None
    assert compared.plan_b.timed is late.timed
    assert isinstance(plan.at(20), pk.Moment)


def test_an_order_is_sought_for_the_pet_zero_of_the_plan(plan: pk.Plan) -> None:
    late = pk.time_plan(plan.scenario, "2031-09-03T07:36:00Z")
    for asked in (late, plan.what_if(slip_min=6)):
        found = asked.propose(effort=0.2, seconds=1e9)
        assert found.current is not None
        assert found.current.pet_zero == late.pet_zero
        assert found.current.end_min == late.end_min


def test_a_scenario_without_a_plan_is_asked_for_one(plan: pk.Plan) -> None:
    stuck = plan.scenario.edit_row("steps", "B3", minutes_low=50, minutes_likely=55, minutes_high=60)
    # Longer than any night.
    assert "B3" in set(pk.time_plan(stuck).findings.query("check == 'rules'")["step"])
    found = pk.find_plan(stuck, effort=0.5, seconds=1e9)
    # No order breaks less than the plan as it stands, or the best one does.
    now, best = found.current, found.best
    assert now is not None
    assert best is not None or found.verdict.startswith("no order found that breaks less")
    assert best is None or len(best.plan.timed.network.given_way) <= len(now.timed.network.given_way)


def test_no_plan_is_checked_twice(plan: pk.Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []
    monkeypatch.setattr(all_checks, "CHECKS", (lambda plan: calls.append(plan) or [],))
    fresh = pk.Plan(plan.what_if(slip_min=1).timed)
    first, second = fresh.findings, pk.Plan(fresh.timed).findings
    assert calls == [fresh.timed]
    assert first is not second  # what a user does to one changes no other
    assert fresh.compare(fresh).findings.empty
    assert len(calls) == 1


def test_what_was_changed_is_told_by_every_later_plan(plan: pk.Plan) -> None:
    late = plan.what_if(slip_min=5, name="late").what_if(drop="C2")
    assert late.name == "late"
    assert list(late.changes["kind"])[:2] == ["pet_zero", "drop"]
    assert plan.changes.empty


def test_a_re_timed_plan_is_asked_as_any_other(plan: pk.Plan) -> None:
    log = pd.DataFrame({"step": ["A1", "A1"], "event": ["started", "finished"], "at": ["0:00", "0:14"]})
    now = plan.retime(log, 20)
    assert type(now) is type(now.decide()) is type(now.what_if(stretch={"B2": 1.5})) is pk.Plan
    assert now.timed.outside is not None
    assert now.timed.outside.planned is plan.timed
    assert now.what_if(stretch={"B2": 1.5}).timed.outside.planned is plan.timed  # type: ignore[union-attr]


def test_a_proposal_gives_a_plan_that_can_be_asked(plan: pk.Plan) -> None:
    found = pk.time_plan(loose(plan.scenario)).propose(effort=1.0, seconds=1e9)
    assert isinstance(found.current, pk.Plan)
    assert found.best is not None
    for proposal in found:
        assert isinstance(proposal.plan, pk.Plan)
        assert proposal.current is found.current
        assert proposal.plan.what_if(slip_min=1).end_min == pytest.approx(proposal.end_min, abs=60)


def test_rooms_give_each_other_plans_without_a_face(plan: pk.Plan) -> None:
    assert type(Session(plan.scenario).plan) is TimedPlan


def test_the_workbench_gives_the_face(plan: pk.Plan) -> None:
    bench = pk.workbench(plan.scenario)
    assert isinstance(bench.plan, pk.Plan)
    assert bench.plan.timed is bench._session.plan
