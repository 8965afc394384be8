"""What a view is told of a drop while the bar is still in the hand."""

from __future__ import annotations

import random

import pytest

import planning_kit as pk
from planning_kit.desk.candidate import change_of
from planning_kit.explore.session.session import Session
from planning_kit.judge.all_checks import new_stops
from tests.desk.conftest import ATTACK, SCENARIOS, Talk

OUTINGS = [SCENARIOS / "small-outing", SCENARIOS / "faulty-plan",
           *(SCENARIOS.parent / "tests" / "data" / name for name in ("tern-2", "curlew-deck"))]


def random_drops(session, seed, count):
    """Drops that a hand could make: bars, several bars, edges; some where they may not go."""
    dice, steps = random.Random(seed), session.plan.steps
    for number in range(count):
        step = dice.choice(steps)
        if number % 3 == 0:
            yield {"kind": "minutes", "step": step.step, "minutes": dice.choice([1, 7, 12.5, 40])}
            continue
        lane = dice.choice(step.people)
        own = [each.step for each in steps if lane in each.people and each is not step]
        more = dice.sample(own, 2) if number % 3 == 2 and len(own) > 2 else []
        before = dice.choice([*(each for each in own if each not in more), None])
        to = lane if dice.random() < 0.7 else dice.choice(["EV1", "EV2"])
        yield {"kind": "move", "step": step.step, "lane": to, "before": before, "more": more}


@pytest.mark.parametrize("folder", OUTINGS, ids=lambda folder: folder.name)
def test_it_is_what_the_drop_then_makes_and_changes_nothing_before(folder, tmp_path):
    scenario = pk.load_scenario(folder).save(tmp_path / "outing")
    talk = Talk(scenario)
    session, plan, draft = talk.session, talk.session.plan, talk.session.draft
    seen = set()
    for drop in random_drops(session, 7, 9):
        soon = talk.ask("candidate", drop=drop)["candidate"]
        assert [each["kind"] for each in talk.said] == ["candidate", "done"]
        told = talk.ask("consequences", drop=drop)["consequences"]
        assert [each["kind"] for each in talk.said] == ["consequences", "done"]
        assert (session.draft, session.plan, session.history.can_undo) == (draft, plan, "")
        assert not session.has_unsaved_work
        other = Session(scenario)  # which has tried nothing
        if "lane of" in told.get("refused", ""):
            with pytest.raises(pk.ScenarioError, match="lane of"):
                other.make(change_of(drop))
            assert soon["refused"] == told["refused"]
            continue
        other.make(change_of(drop))
        if other.faults:
            assert other.faults[0].problem.split(":")[0] in told["refused"]
            continue
        then = other.plan
        assert told["end"].endswith(pk.inputs.times.pet_label(then.end_min))
        times = {step.step: (start, finish) for step, start, finish in plan.each_step()}
        times |= {step: (start, finish) for step, _, start, finish in told["moved"]}
        for step, *span in then.each_step():
            assert times[step.step] == pytest.approx(span, abs=1e-3)
        assert {(step, who) for step, who, *_ in told["moved"]} <= {
            (step.step, who) for step in then.steps for who in step.people}
        fresh = new_stops(plan, then)
        assert (f"new stops: {fresh}" in told["found"]) == (fresh > 0)
        assert ("waits" in soon) == bool(then.network.given_way)
        if "waits" not in soon:
            assert {name: told[name] for name in soon} == soon | {"kind": "consequences"}
        seen.add("told")
    assert "told" in seen


@pytest.mark.parametrize(("drop", "why"), [
    ({"kind": "move", "step": "C1", "lane": "DESK", "before": None}, "cannot go to the lane of DESK"),
    ({"kind": "move", "step": ATTACK, "lane": "EV1", "before": None}, "no such step"),
    ({"kind": "move", "step": "C1", "lane": "EV2", "before": ATTACK}, "no such step"),
    ({"kind": "move", "step": "C1", "lane": "EV2", "before": None, "more": 5}, "try again"),
    ({"kind": "minutes", "step": "C1", "minutes": "long"}, "could not be done"),
    ({"kind": "minutes", "step": "C1", "minutes": float("nan")}, "could not be done"),
    ({"kind": "minutes", "step": "C1", "minutes": 1e12}, "minutes_likely"),
    ({}, "could not be done"), (None, "could not be done"), ("x", "could not be done"),
])
def test_a_drop_that_cannot_be_says_why(talk, drop, why):
    draft = talk.session.draft
    for kind in ("candidate", "consequences"):
        said = talk.ask(kind, drop=drop)
        assert why in said[kind]["refused"]
        assert said["done"]["echo"] == 1
    assert talk.session.draft is draft


def test_while_a_fault_is_typed_it_is_told_as_why(talk):
    talk.ask("cells", sheet="steps", cells=[[talk.line("Z1"), "place", ATTACK]])
    told = talk.ask("candidate", drop={"kind": "minutes", "step": "C1", "minutes": 9})["candidate"]
    assert told["refused"].startswith("steps Z1 place: ")


def test_windows_that_are_left_and_limits_that_are_passed_are_told_in_words(talk):
    talk.ask("cells", sheet="steps", cells=[[talk.line("B2"), "minutes_high", "90"]])
    told = talk.ask("candidate", drop={"kind": "minutes", "step": "B2", "minutes": 60})["candidate"]
    step, was, now, words = next(each for each in told["windows"] if each[0] == "B3")
    assert (step, was, now) == ("B3", "night 1", "night 2")
    assert words.startswith("B3 leaves night 1 for night 2: ")
    assert words.endswith(" later")
    assert told["limits"][0].startswith("planned limit passed by ")
    assert told["end"].startswith("+")


@pytest.mark.parametrize(("minutes", "words"), [
    (20.1, "+0:11"), (10.4, "+0:01"), (10, "the end stays"), (9.6, "less than 0:01 earlier"), (8.4, "−0:01"),
])
def test_the_end_is_never_told_better_than_it_is(talk, minutes, words):
    told = talk.ask("candidate", drop={"kind": "minutes", "step": "Z1", "minutes": minutes})["candidate"]
    assert told["end"].startswith(words)
