"""The log as a planner reads it: what counts now, what was corrected or withdrawn, what cannot be."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from planning_kit.explore.watch.hearing import Heard
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.frames import number_text
from planning_kit.inputs.log_corrections import with_corrections
from planning_kit.inputs.log_format import CORRECT, parse_when
from planning_kit.inputs.rows import Row


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
        """Whether a correction can name it."""
        return self.event_id != ""


def log_lines(heard: Heard, egress: datetime) -> list[LogLine]:
    """Every row that was heard, the latest first."""
    problems: dict[int, list[str]] = {}
    for fault in heard.faults:
        if fault.row is not None:
            problems.setdefault(fault.row, []).append(fault.problem)
    settled = [Row(row.number, dict(row.values), dict(row.texts)) for row in heard.rows]
    counting = {row.number for row in with_corrections(settled, Faults())}
    by_row: dict[str, list[str]] = {}
    for row in heard.rows:
        if row.text("event") == CORRECT:
            by_row.setdefault(row.text("corrects"), []).append(row.text("event_id"))
    return [_line(row, now, egress, "; ".join(problems.get(row.number, ())),
                  tuple(by_row.get(row.text("event_id"), ())), row.number in counting)
            for row, now in zip(heard.rows, settled, strict=True)][::-1]


def _line(row: Row, now: Row, egress: datetime, problem: str, corrected_by: tuple[str, ...],
          counts: bool) -> LogLine:
    """``now`` is the row with its corrections in it."""
    at, first = _when(now, egress), _when(row, egress)
    return LogLine(
        row.number, row.texts.get("event_id", ""), row.texts.get("event", ""), now.text("crew"),
        now.text("step"), at, _number(now, "remaining_min"), _number(now, "metabolic_w"),
        row.texts.get("by", ""), row.texts.get("note", ""), row.texts.get("corrects", ""), corrected_by,
        not counts and row.text("event") != CORRECT and bool(corrected_by), first if first != at else None,
        problem)


def _number(row: Row, column: str) -> str:
    value = row.number_of(column)
    return row.texts.get(column, "") if value is None else number_text(value)


def _when(row: Row, egress: datetime) -> datetime | None:
    try:
        return parse_when(row.text("at"), egress) if row.text("at") else None
    except CellFault:
        return None
