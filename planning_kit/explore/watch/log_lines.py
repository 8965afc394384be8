"""The log as a planner reads it: what counts now, what was corrected or withdrawn, what cannot be."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from planning_kit.explore.watch.hearing import Heard
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.log_format import CORRECT, parse_when
from planning_kit.inputs.rows import Row

_GIVEN = ("crew", "step", "at", "remaining_min", "metabolic_w")


@dataclass(frozen=True)
class LogLine:
    """One row of the log with corrections put in. ``at`` is UTC, None where it is no time.

    ``corrected_by``: the ids of the rows that changed it; ``is_withdrawn``: it counts for nothing any more;
    ``problem``: why it cannot be, "" where it can. ``was_at``: when it was said to be before its correction.
    """

    row: int
    event_id: str
    event: str
    crew: str
    step: str
    at: datetime | None
    remaining_min: str
    metabolic_w: str
    by: str
    note: str
    corrects: str
    corrected_by: tuple[str, ...]
    is_withdrawn: bool
    was_at: datetime | None
    problem: str

    @property
    def can_be_corrected(self) -> bool:
        """Whether a correction of it means something."""
        return self.event != CORRECT and self.event_id != ""


def log_lines(heard: Heard, egress: datetime) -> list[LogLine]:
    """Every row that was heard, the latest first."""
    problems: dict[int, list[str]] = {}
    for fault in heard.faults:
        if fault.row is not None:
            problems.setdefault(fault.row, []).append(fault.problem)
    lines = [_line(row, heard, egress, "; ".join(problems.get(row.number, ()))) for row in heard.rows]
    return lines[::-1]


def _line(row: Row, heard: Heard, egress: datetime, problem: str) -> LogLine:
    texts, changes = dict(row.texts), list(_corrections(row, heard))
    for change in changes:
        texts |= {name: change.texts[name] for name in _GIVEN if change.texts.get(name)}
    is_withdrawn = bool(changes) and not any(changes[-1].texts.get(name) for name in _GIVEN)
    at, first = (_when(texts.get("at", ""), egress), _when(row.texts.get("at", ""), egress))
    return LogLine(
        row.number, row.texts.get("event_id", ""), row.texts.get("event", ""), texts.get("crew", ""),
        texts.get("step", ""), at, texts.get("remaining_min", ""), texts.get("metabolic_w", ""),
        row.texts.get("by", ""), row.texts.get("note", ""), row.texts.get("corrects", ""),
        tuple(change.texts.get("event_id", "") for change in changes), is_withdrawn,
        first if first != at else None, problem)


def _corrections(row: Row, heard: Heard) -> Iterator[Row]:
    """The corrections of a row, in their order; `planning_kit.inputs.log` applies them in the same order."""
    name = row.text("event_id")
    for other in heard.rows:
        if name and other.text("event") == CORRECT and other.text("corrects") == name and (
                row.text("event") != CORRECT):
            yield other


def _when(text: str, egress: datetime) -> datetime | None:
    try:
        return parse_when(text, egress) if text.strip() else None
    except CellFault:
        return None
