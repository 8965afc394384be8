"""The records of a scenario without some tasks, as the timing reads them."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from planning_kit.changes.dropping import passed_through
from planning_kit.inputs.records import Records


def without_tasks(records: Records, dropped: Collection[str]) -> Records:
    """The records without the steps of the ``dropped`` tasks, which then take no time and no travel.

    As `planning_kit.changes.dropping` does to the tables: precedence passes through, gaps to or
    from a dropped step go. Only what the timing reads is changed and nothing is checked anew, so that
    thousands of samples can each drop their own.
    """
    gone = frozenset(step.step for step in records.steps if step.task in dropped)
    if not gone:
        return records
    after = passed_through(records, gone)
    return replace(
        records,
        steps=tuple(replace(step, after=after[step.step]) for step in records.steps if step.step not in gone),
        gaps=tuple(gap for gap in records.gaps if not gone & {gap.first_step, gap.then_step}),
    )
