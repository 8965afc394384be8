"""The rows of a plan's tables as typed records, the form in which the charts read them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from planning_kit.judge.findings import Finding
from planning_kit.plan.activities import Activity


@dataclass(frozen=True)
class Handover:
    """One row of ``plan.handovers``: what passes from lane to lane (an item, or ``after``), and when."""

    from_crew: str
    to_crew: str
    from_step: str
    to_step: str
    from_min: float
    to_min: float
    what: str


@dataclass(frozen=True)
class InForce:
    """One row of ``plan.inhibits``: an inhibit and the minutes between which it must stand."""

    inhibit: str
    title: str
    owner: str
    set_by_min: float
    lift_after_min: float
    from_step: str
    until_step: str
    reason: str


def activities(timeline: pd.DataFrame) -> list[Activity]:
    """The rows of a timeline, in its order."""
    return [Activity(**row) for row in _records(timeline, Activity)]


def findings(table: pd.DataFrame) -> list[Finding]:
    """The rows of a findings table, in its order."""
    return [Finding(**row) for row in _records(table, Finding)]


def handovers(table: pd.DataFrame) -> list[Handover]:
    """The rows of a hand-over table, in its order."""
    return [Handover(**row) for row in _records(table, Handover)]


def in_force(table: pd.DataFrame) -> list[InForce]:
    """The rows of a table of inhibit times that last at all, in its order."""
    holds = [InForce(**row) for row in _records(table, InForce)]
    return [hold for hold in holds if hold.lift_after_min > hold.set_by_min]


def packed(holds: Sequence[InForce]) -> list[list[InForce]]:
    """Rows of periods that do not overlap: each goes to the first row that is free when it begins."""
    rows: list[list[InForce]] = []
    for hold in sorted(holds, key=lambda hold: hold.set_by_min):
        free = next((row for row in rows if row[-1].lift_after_min <= hold.set_by_min), None)
        if free is None:
            rows.append([hold])
        else:
            free.append(hold)
    return rows


def _records(table: pd.DataFrame, kind: type) -> list[dict[str, Any]]:
    """``table`` as one dict a row with the fields of ``kind``: text is never NaN, a number never None."""
    columns: dict[str, list[Any]] = {}
    for name, annotation in kind.__annotations__.items():
        if name not in table:
            continue
        values = table[name].tolist()
        if annotation == "float":
            columns[name] = [float("nan") if pd.isna(value) else float(value) for value in values]
        else:
            columns[name] = ["" if pd.isna(value) else str(value) for value in values]
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def work_by_step(rows: Iterable[Activity]) -> dict[str, list[Activity]]:
    """The bars of work of each step, in the order of the rows."""
    found: dict[str, list[Activity]] = {}
    for row in rows:
        if row.is_work_on(row.step):
            found.setdefault(row.step, []).append(row)
    return found


def finding_minute(finding: Finding, work: Mapping[str, Sequence[Activity]]) -> float:
    """When a finding applies: its own time, else the start of its step, else NaN; ``work`` is by step."""
    if math.isfinite(finding.start_min):
        return finding.start_min
    return min((row.start_min for row in work.get(finding.step, ())), default=math.nan)


def finding_lanes(finding: Finding, work: Mapping[str, Sequence[Activity]],
                  people: Iterable[str]) -> list[str]:
    """The lanes of a finding: those it names, else those of its step, else [""] (the whole plan)."""
    known = list(people)
    named = finding.crew.split()
    doers = [row.crew for row in work.get(finding.step, ())]
    return [who for who in known if who in named] or [who for who in known if who in doers] or [""]
