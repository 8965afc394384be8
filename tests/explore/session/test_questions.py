"""Long questions: told how far they are, stopped, old after an edit; an order found is taken as one edit."""

from __future__ import annotations

import threading

import pytest

import planning_kit as pk
from planning_kit.changes.amounts import LikelyMinutes
from planning_kit.explore.long_question import DONE, FAILED, STOPPED, LongQuestion
from planning_kit.explore.session.session import ODDS, ORDER, SWEEP
from tests.edits import type_setting
from tests.explore.session.conftest import add_a_step_behind_the_night, line_of


def asked(session, question, stop_after=None):
    """Ask, run it here, and stop it after some reports; the work and what it told."""
    work, told = session.ask(question), []

    def report(progress):
        told.append(progress)
        if stop_after is not None and len(told) >= stop_after:
            work.stop()

    work.run(report)
    return work, told


@pytest.fixture
def crossed(session):
    add_a_step_behind_the_night(session)
    return session


def test_the_odds_are_those_of_the_front_door_with_their_progress(session):
    work, told = asked(session, ODDS)
    assert (work.state, [each.share for each in told]) == (DONE, [0, 0.25, 0.5, 0.75])
    same = pk.Plan(session.plan).odds(samples=work.result.samples, seed=work.result.seed)
    assert work.result.summary.equals(same.summary)
    assert work.result.windows.equals(same.windows)


def test_a_stopped_question_says_so_and_gives_what_it_has(session):
    work, told = asked(session, ODDS, stop_after=2)
    assert (work.state, work.result, len(told)) == (STOPPED, None, 2)
    work, told = asked(session, SWEEP, stop_after=3)
    assert (work.state, len(work.result), len(told)) == (STOPPED, 3, 3)


def test_a_sweep_tells_each_pet_zero_and_does_not_grow_old_by_pet_zero_alone(session):
    type_setting(session, "pet_zero_earliest", "2031-09-03T07:20:00Z")
    type_setting(session, "pet_zero_latest", "2031-09-03T07:50:00Z")
    work, told = asked(session, SWEEP)
    assert [f"{each.part.pet_zero:%H:%M}" for each in told] == [
        "07:20", "07:25", "07:30", "07:35", "07:40", "07:45", "07:50"]
    # Of the present PET 0: the hard limit of 2:10 less the plan's end.
    assert work.result[2].left_min == pytest.approx(130 - session.plan.end_min)
    session.set_pet_zero("2031-09-03T07:35:00Z")
    assert not session.asked[SWEEP].is_old
    session.make(LikelyMinutes("Z1", 12))
    assert session.asked[SWEEP].is_old


def test_an_answer_is_old_after_an_edit_and_not_after_its_undo(session):
    assert ODDS not in session.asked
    asked(session, ODDS, stop_after=1)
    session.make(LikelyMinutes("Z1", 12))
    assert session.asked[ODDS].is_old
    session.undo()
    assert not session.asked[ODDS].is_old


def test_a_better_order_is_looked_at_and_taken_as_one_edit(crossed):
    work, told = asked(crossed, ORDER)
    assert (work.state, told[-1].doing) == (DONE, "odds of what was found")
    best = work.result.found[0]
    assert best.end_min < crossed.plan.end_min
    assert work.result.odds[0].samples == 2000
    crossed.show_proposal(0)
    assert crossed.ghosts == ("proposed", best.plan)
    before = crossed.draft
    lines = {line.id for line in before["steps"].lines}
    crossed.take_proposal(0)
    assert crossed.plan.end_min == pytest.approx(best.end_min)
    assert {line.id for line in crossed.draft["steps"].lines} == lines  # the same rows, in another order
    assert crossed.ghosts == ("baseline", None)
    crossed.undo()
    assert crossed.draft is before


def test_an_order_of_another_draft_is_not_taken(crossed):
    asked(crossed, ORDER)
    crossed.type_cells("steps", {(line_of(crossed, "steps", "Z1"), "title"): "Typed since"})
    draft = crossed.draft
    with pytest.raises(pk.ScenarioError, match="edited since"):
        crossed.take_proposal(0)
    with pytest.raises(pk.ScenarioError, match="no such proposal"):
        crossed.take_proposal(99)
    assert crossed.draft is draft
    crossed.undo()
    crossed.take_proposal(0)


def test_a_search_is_stopped_from_another_thread(crossed):
    work = crossed.ask(ORDER)
    thread = threading.Thread(target=work.run, args=[lambda progress: None])
    thread.start()
    work.stop()
    thread.join(timeout=30)
    assert work.state == STOPPED


def test_asking_again_stops_the_one_before_and_what_is_no_question_is_refused(session):
    first = session.ask(ODDS)
    second = session.ask(ODDS)
    assert (first.is_stopping, second.is_stopping) == (True, False)
    with pytest.raises(pk.ScenarioError, match="no question"):
        session.ask("weather")


@pytest.mark.parametrize("error", [pk.ScenarioError.single("no such luck"), ValueError("no such luck"),
                                   RuntimeError("no such luck")])
def test_a_question_that_fails_says_why_and_raises_nothing(session, error):
    def fail(work):
        raise error

    work = LongQuestion("odds", fail, lambda: True)
    work.run(lambda progress: None)
    assert work.state == FAILED
    assert "no such luck" in work.words
