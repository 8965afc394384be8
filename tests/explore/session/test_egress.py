"""PET 0 on another day: the range of PET 0 times goes along, and what is typed stays to be seen."""

from __future__ import annotations

import pytest

from planning_kit.explore.session.editing import EARLIEST, LATEST, PET_ZERO, setting_moment
from planning_kit.explore.session.session import Session
from tests.edits import type_setting

EARLY, LATE = "2031-09-03T06:00:00Z", "2031-09-03T08:30:00Z"


@pytest.fixture
def ranged(session: Session) -> Session:
    type_setting(session, EARLIEST, EARLY)
    type_setting(session, LATEST, LATE)
    assert session.faults == ()
    return session


def typed(session: Session, *keys: str) -> list[str]:
    return [f"{setting_moment(session.draft, key):%m-%d %H:%M}" for key in keys]


def test_another_day_takes_the_range_along_as_one_edit(ranged):
    ranged.set_pet_zero("2031-09-05T07:00:00Z")
    assert typed(ranged, EARLIEST, PET_ZERO, LATEST) == ["09-05 06:00", "09-05 07:00", "09-05 08:30"]
    assert [fault.problem for fault in ranged.faults] == []
    ranged.undo()
    assert typed(ranged, EARLIEST, PET_ZERO, LATEST) == ["09-03 06:00", "09-03 07:30", "09-03 08:30"]


def test_within_the_range_and_at_another_time_of_the_day_the_range_stays(ranged):
    ranged.set_pet_zero("2031-09-03T06:00:00Z")
    assert typed(ranged, EARLIEST, LATEST) == ["09-03 06:00", "09-03 08:30"]
    ranged.set_pet_zero("2031-09-03T09:00:00Z")
    assert typed(ranged, EARLIEST, LATEST) == ["09-03 06:00", "09-03 08:30"]
    assert ranged.faults  # they leave after the latest PET 0: the planner decides which of the two is wrong
    assert typed(ranged, PET_ZERO) == ["09-03 09:00"]
    assert f"{ranged.pet_zero_typed():%H:%M}" == "09:00"


def test_a_range_over_midnight_moves_by_the_days_that_hold_the_new_pet_zero(session):
    type_setting(session, EARLIEST, "2031-09-03T06:00:00Z")
    type_setting(session, LATEST, "2031-09-04T02:00:00Z")
    session.set_pet_zero("2031-09-06T01:00:00Z")  # the night that begins on the 5th
    assert typed(session, EARLIEST, LATEST) == ["09-05 06:00", "09-06 02:00"]


@pytest.mark.parametrize("text", ["", "tomorrow", "2031-13-01", "2031-09-05", "9999-12-31T23:59:00Z",
                                  "0001-01-01T00:00:00Z"])
def test_whatever_is_typed_is_kept_and_never_raised(ranged, text):
    ranged.set_pet_zero(text)
    assert text in ranged.draft["settings"].column("value")
    first, last = ranged.pet_zero_range()
    assert first < last
    ranged.undo()
    assert ranged.faults == ()
