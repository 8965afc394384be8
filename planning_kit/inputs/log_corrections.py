"""Corrections of a log: rows that replace cells of an earlier event, or take it back.

A row of the kind ``correct`` names an earlier row (``corrects``). What it gives replaces what was there;
where it gives nothing, that row is withdrawn. A correction can be corrected, or withdrawn, like any other
row: then what it said before no longer counts. Of several corrections of one row the later come on top.
"""

from __future__ import annotations

from collections.abc import Sequence

from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.log_format import CORRECT, LOG
from planning_kit.inputs.rows import Row

_CORRECTED = ("crew", "step", "at", "remaining_min", "metabolic_w")


def with_corrections(rows: list[Row], faults: Faults) -> list[Row]:
    """The events with their corrections put in, without those that were withdrawn."""
    return [now for row, now in zip(rows, settled_rows(rows, faults), strict=True)
            if now is not None and row.text("event") != CORRECT]


def settled_rows(rows: Sequence[Row], faults: Faults) -> list[Row | None]:
    """Every row with the corrections of it put in, a correction's too; None where it was withdrawn."""
    by_id = _by_id(rows, faults)
    of_row: dict[int, list[Row]] = {}
    for row in rows:
        if row.text("event") == CORRECT:
            target = by_id.get(row.text("corrects"))
            if target is None or target.number >= row.number:
                faults.add(LOG.name, row.number, "corrects", row.text("corrects"),
                           "names no earlier event of this log; give the event_id of the one that was wrong"
                           + did_you_mean(row.text("corrects"), tuple(by_id)))
            else:
                of_row.setdefault(target.number, []).append(row)
    settled: dict[int, Row | None] = {}
    for row in sorted(rows, key=lambda row: -row.number):  # a correction stands below what it corrects
        settled[id(row)] = _settled(row, [settled[id(each)] for each in of_row.get(row.number, ())])
    return [settled[id(row)] for row in rows]


def _by_id(rows: Sequence[Row], faults: Faults) -> dict[str, Row]:
    by_id: dict[str, Row] = {}
    for row in rows:
        name = row.text("event_id")
        if name in by_id:
            faults.add(LOG.name, row.number, "event_id", name,
                       f"stands in row {by_id[name].number} too; every event has an id of its own")
        elif name:
            by_id[name] = row
    return by_id


def _settled(row: Row, corrections: Sequence[Row | None]) -> Row | None:
    """A row with the corrections of it put in, settled before; None where it does not count at all."""
    counts = True
    for correction in corrections:
        if correction is not None:
            given = {column: correction.values[column] for column in _CORRECTED
                     if _is_given(correction, column)}
            row = Row(row.number, row.values | given, row.texts)
            counts = bool(given)
    return row if counts else None


def _is_given(row: Row, column: str) -> bool:
    return row.values.get(column) not in (None, "")
