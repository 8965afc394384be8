"""Work that was typed and is not on show stays on the disk until it is saved or deleted."""

from __future__ import annotations

import pytest

import planning_kit as pk
from tests.explore.session.conftest import retitle, titles


@pytest.fixture
def leave(opened):
    """Let a session die that typed a title; gives what it left."""
    def typed(text):
        dead = opened()
        retitle(dead, text)
        dead.autosave()
        dead.close()
        return next(each for each in opened().unsaved_work() if text in each.draft["steps"].column("title"))

    return typed


@pytest.fixture
def after_a_kill(opened):
    """The titles in what is offered to the next session: in the draft or in a version."""
    def offered(session):
        session.autosave()
        return {title for found in opened().unsaved_work()
                for draft in (found.draft, *found.versions.values())
                for title in draft["steps"].column("title")}

    return offered


def drafts_in_reach(session):
    return {title for draft in session.versions.values() for title in draft["steps"].column("title")}


def test_what_was_restored_outlives_the_next_restore(session, leave, after_a_kill):
    one, two = leave("AAA"), leave("BBB")
    session.restore(one)
    session.undo()
    session.restore(two)
    assert {"AAA", "BBB"} <= drafts_in_reach(session)
    assert {"AAA", "BBB"} <= after_a_kill(session)
    assert list(session.versions) == ["as loaded", "restored", "restored 2"]
    session.save()
    assert "AAA" in after_a_kill(session)
    assert list(session.versions) == ["as loaded", "restored"]  # the other is in the folder


@pytest.mark.parametrize("undoes", [False, True])
def test_what_was_restored_outlives_what_is_typed_next(session, leave, after_a_kill, undoes):
    session.restore(leave("AAA"))
    if undoes:
        session.undo()
    retitle(session, "CCC")
    assert {"AAA", "CCC"} <= after_a_kill(session)


def test_what_was_restored_and_undone_outlives_a_save(session, leave, after_a_kill):
    session.restore(leave("AAA"))
    session.undo()
    session.save()
    assert "AAA" in after_a_kill(session)
    session.drop_version("restored")
    assert "AAA" not in after_a_kill(session)


def test_what_is_typed_outlives_a_restore_and_a_switch(session, leave, after_a_kill):
    retitle(session, "MINE")
    session.restore(leave("AAA"))
    assert {"MINE", "AAA"} <= after_a_kill(session)
    retitle(session, "MORE")
    session.switch_to("as loaded")
    assert not session.has_unsaved_work
    assert {"MINE", "AAA", "MORE"} <= after_a_kill(session)
    assert list(session.versions) == ["as loaded", "mine", "restored", "mine 2"]


def test_restoring_one_after_another_keeps_both(session, leave, after_a_kill):
    for found in (leave("AAA"), leave("BBB")):
        session.restore(found)
    assert {"AAA", "BBB"} <= after_a_kill(session)


def test_nothing_is_kept_twice_whatever_is_switched_or_copied(session, opened, leave):
    retitle(session, "MINE")
    other = opened()
    retitle(other, "Open")
    other.keep_version("half")
    other.autosave()
    for _ in range(3):
        session.switch_to("as loaded")
        session.switch_to("mine")
        for found in session.unsaved_work():
            session.restore(found)
        session.undo()
    with pytest.raises(pk.ScenarioError):
        session.switch_to("none")
    assert list(session.versions) == ["as loaded", "mine", "half"]


def test_what_is_taken_from_the_folder_keeps_no_second_copy(session, opened):
    retitle(session, "MINE")
    session.keep_version("half")
    other = opened()
    retitle(other, "Theirs")
    other.save()
    assert session.take_theirs() == "half"
    assert list(session.versions) == ["as loaded", "half"]


def test_what_was_set_aside_is_done_with_once_it_is_saved_even_after_kills(session, opened, leave):
    session.restore(leave("AAA"))
    session.autosave()
    session.close()  # killed, as it were
    later = opened()
    found, = later.unsaved_work()
    later.restore(found)
    assert list(later.versions) == ["as loaded", "restored"]
    later.save()
    assert list(later.versions) == ["as loaded"]
    assert opened().unsaved_work() == []


def test_a_version_given_a_name_stays_whatever_is_saved(session):
    retitle(session, "MINE")
    for name in ("mine", "half"):
        session.keep_version(name)
    session.save()
    assert list(session.versions) == ["as loaded", "mine", "half"]


def test_a_version_from_before_overwrites_nothing_after_kills(session, opened, leave, folder):
    """Versions keep on the disk what they were typed from: theirs would be lost otherwise."""
    found = leave("AAA")
    other = opened()
    retitle(other, "Theirs", "B1")
    other.save()
    later = opened()
    assert later.restore(found)
    later.undo()
    retitle(later, "CCC")
    later.autosave()
    later.close()
    last = opened()
    found, = last.unsaved_work()
    assert not last.restore(found)  # CCC was typed from what is in the folder now
    last.switch_to("restored")
    assert "AAA" in titles(last)
    with pytest.raises(pk.SaveConflict):
        last.save()
    last.merge({})
    last.save()
    assert list(pk.load_scenario(folder).steps["title"][[1, 4]]) == ["Theirs", "AAA"]
