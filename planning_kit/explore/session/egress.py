"""Egress as it is typed, and the range of egress times that goes along to another day."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from planning_kit.changes.amounts import Set
from planning_kit.explore.session.draft import Draft
from planning_kit.explore.session.settings_sheet import KEY, SETTINGS, VALUE, moment_text

EGRESS, EARLIEST, LATEST = "egress", "egress_earliest", "egress_latest"
_DAY = timedelta(days=1)


def typed_moment(draft: Draft, key: str) -> datetime | None:
    """The moment that a key of the settings holds (UTC); None where it is empty or no moment."""
    line = draft[SETTINGS].find(KEY, key)
    try:
        moment = datetime.fromisoformat(draft[SETTINGS].text(line, VALUE)) if line is not None else None
    except ValueError:
        return None
    return moment.replace(tzinfo=UTC) if moment is not None and moment.tzinfo is None else moment


def egress_typed_as(draft: Draft, text: str) -> Set:
    """The settings that change when egress is to be ``text``.

    An egress on another day, outside the scenario's range, takes the range along by whole days: the range
    says at what time of day they may leave.
    """
    moved = {key: moment_text(moment) for key, moment in _moved_range(draft, text).items()}
    return Set({EGRESS: text} | moved)


def _moved_range(draft: Draft, text: str) -> dict[str, datetime]:
    first, last, old = (typed_moment(draft, key) for key in (EARLIEST, LATEST, EGRESS))
    try:
        new = datetime.fromisoformat(text)
        if first is None or last is None or first <= new <= last:
            return {}
        whole = (new - first) // _DAY * _DAY
        fits = first + whole <= new <= last + whole
        by = whole if fits else (new.date() - (old or first).date())
        return {EARLIEST: first + by, LATEST: last + by} if by else {}
    except (ValueError, TypeError, OverflowError):  # no moment, or one that no calendar holds
        return {}
