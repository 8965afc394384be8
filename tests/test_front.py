"""The face of the front door: it has a plan, shows all of it, and the rooms never see the face."""

from __future__ import annotations

import inspect
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.explore.session.session import Session
from planning_kit.judge import all_checks
from planning_kit.plan.timed import TimedPlan
from tests.explore.propose.loose import loose

ROOT = Path(__file__).parents[1]
ONLY_FOR_ROOMS = {"of", "known_outside", "span", "each_step", "item_moves"}


@pytest.fixture(scope="module")
def plan() -> pk.Plan:
    return pk.time_plan(pk.load_scenario(ROOT / "scenarios" / "small-outing"))


def test_the_face_has_a_plan_and_is_none(plan: pk.Plan) -> None:
    assert isinstance(plan, pk.Plan)
    assert not isinstance(plan, TimedPlan)
    assert repr(plan) == repr(plan.timed).replace("<TimedPlan", "<Plan")


def test_all_that_a_plan_says_its_face_says_in_the_same_words(plan: pk.Plan) -> None:
    for name in dir(plan.timed):
        if name[0] != "_" and name not in ONLY_FOR_ROOMS:
            shown = inspect.getattr_static(pk.Plan, name)
            member = inspect.getattr_static(TimedPlan, name, None)
            if callable(member) or isinstance(member, property):
                assert shown.__doc__ == member.__doc__, name
    assert plan.starts is plan.timed.starts
    assert plan.lanes is plan.timed.lanes
    assert plan.explain("A1") == plan.timed.explain("A1")
    pd.testing.assert_frame_equal(plan.timeline, plan.timed.timeline)


ASKED: dict[str, Any] = {
    "briefing": lambda plan: pk.briefing(plan).text,
    "moment": lambda plan: pk.moment_of(plan, 20).people,
    "odds": lambda plan: pk.odds(plan, 100).summary.to_csv(),
    "cuts": lambda plan: pk.propose_cuts(plan, samples=100).to_csv(),
    "swimlane": lambda plan: pk.swimlane(plan, plan).alt,
    "suits": lambda plan: pk.suit_chart(plan).alt,
    "map": lambda plan: pk.station_map(plan, 20).alt,
    "moved": lambda plan: len(pk.compare(plan, plan)),
    "found": lambda plan: len(pk.compare_findings(plan, plan)),
    "margins": lambda plan: pk.compare_margins(plan, plan).to_csv(),
    "revision": lambda plan: pk.compare_revisions(plan, plan).overall,
}


@pytest.mark.parametrize("asked", ASKED)
def test_a_function_takes_the_face_and_the_plan_alike(plan: pk.Plan, asked: str) -> None:
    assert ASKED[asked](plan) == ASKED[asked](plan.timed)


def test_no_plan_is_checked_twice(plan: pk.Plan, monkeypatch: pytest.MonkeyPatch) -> None:
    calls = []
    monkeypatch.setattr(all_checks, "CHECKS", (lambda plan: calls.append(plan) or [],))
    fresh = pk.Plan(plan.what_if(egress_slip_min=1).timed)
    first, second = fresh.findings, pk.Plan(fresh.timed).findings
    assert calls == [fresh.timed]
    assert first is not second  # what a user does to one changes no other
    assert pk.compare_findings(fresh, fresh).empty
    assert len(calls) == 1


def test_what_was_changed_is_told_by_every_later_plan(plan: pk.Plan) -> None:
    late = plan.what_if(egress_slip_min=5, name="late").what_if(drop="C2")
    assert late.name == "late"
    assert list(late.changes["kind"])[:2] == ["egress", "drop"]
    assert plan.changes.empty


def test_a_re_timed_plan_is_asked_as_any_other(plan: pk.Plan) -> None:
    log = pd.DataFrame({"step": ["A1", "A1"], "event": ["started", "finished"], "at": ["0:00", "0:14"]})
    now = plan.retime(log, 20)
    assert type(now) is type(now.decide()) is type(now.what_if(stretch={"B2": 1.5})) is pk.Plan
    assert now.outside is not None
    assert now.outside.planned is plan.timed
    assert now.what_if(stretch={"B2": 1.5}).outside.planned is plan.timed  # type: ignore[union-attr]


def test_a_proposal_gives_a_plan_that_can_be_asked(plan: pk.Plan) -> None:
    found = pk.propose(loose(plan.scenario), effort=1.0, seconds=1e9)
    assert isinstance(found.current, pk.Plan)
    assert found.best is not None
    for proposal in found:
        assert isinstance(proposal.plan, pk.Plan)
        assert proposal.current is found.current
        assert proposal.plan.what_if(egress_slip_min=1).end_min == pytest.approx(proposal.end_min, abs=60)


def test_rooms_give_each_other_plans_without_a_face(plan: pk.Plan) -> None:
    assert type(Session(plan.scenario).plan) is TimedPlan


def test_the_workbench_gives_the_face(plan: pk.Plan) -> None:
    bench = pk.workbench(plan.scenario)
    assert isinstance(bench.plan, pk.Plan)
    assert bench.plan.timed is bench._session.plan
