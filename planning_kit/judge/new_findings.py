"""Which findings one plan has that another has not: counted once, for everybody who compares two plans.

Findings are matched as a multiset by `planning_kit.judge.findings.identity`: two of one identity are two, so
that a second stop of one kind at one step is new where there was one. Within an identity, findings of one
severity and step are matched first, then the worst with the worst; what is left over has come or gone. A
match of another severity is ``worse`` or ``better``.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from typing import Any

import pandas as pd

from planning_kit.inputs.text_table import TextTable
from planning_kit.judge.all_checks import findings_of
from planning_kit.judge.findings import FINDING_COLUMNS, SEVERITIES, STOP, Identity, identity
from planning_kit.plan.timed import TimedPlan

CAME, WORSE, BETTER, WENT = "came", "worse", "better", "went"
_RANK = {severity: rank for rank, severity in enumerate(SEVERITIES)}

Row = dict[Hashable, Any]
Alike = Callable[[Row, Row], bool]
_CLOSEST_FIRST: tuple[Alike, ...] = (
    lambda a, b: bool(a["severity"] == b["severity"] and a["step"] == b["step"]),
    lambda a, b: bool(a["severity"] == b["severity"]),
    lambda a, b: True,
)


def new_findings(a: TimedPlan | pd.DataFrame, b: TimedPlan | pd.DataFrame) -> pd.DataFrame:
    """The findings of ``b`` that ``a`` has not, or has with a lesser severity: rows of ``b.findings``.

    ``a`` and ``b`` are plans, or the findings of plans.
    """
    rows = [row for change, row in finding_changes(a, b) if change in (CAME, WORSE)]
    return TextTable(rows, columns=FINDING_COLUMNS)


def new_stops(a: TimedPlan | pd.DataFrame, b: TimedPlan | pd.DataFrame) -> int:
    """How many stop findings ``b`` has that ``a`` has not."""
    return int((new_findings(a, b)["severity"] == STOP).sum())


def finding_changes(a: TimedPlan | pd.DataFrame, b: TimedPlan | pd.DataFrame) -> Iterator[tuple[str, Row]]:
    """What came, got worse, got better or went from ``a`` to ``b``, with b's row where
    b has one; in the order of b's findings, what went last."""
    before, after = _rows(a), _rows(b)
    place = {id(row): number for number, row in enumerate([*after, *before])}
    old, new = _by_identity(before), _by_identity(after)
    changes = [change for key in {**new, **old} for change in _matched(old.get(key, []), new.get(key, []))]
    yield from sorted(changes, key=lambda change: place[id(change[1])])


def _rows(found: TimedPlan | pd.DataFrame) -> list[Row]:
    table = found if isinstance(found, pd.DataFrame) else findings_of(found)
    return table.to_dict("records")


def _by_identity(rows: list[Row]) -> dict[Identity, list[Row]]:
    found: dict[Identity, list[Row]] = {}
    for row in rows:
        found.setdefault(identity(row), []).append(row)
    return found


def _matched(before: list[Row], after: list[Row]) -> Iterator[tuple[str, Row]]:
    """The changes within one identity; the rows stand worst first."""
    old, new = list(before), list(after)
    for alike in _CLOSEST_FIRST:
        for row in list(new):
            match = next((other for other in old if alike(other, row)), None)
            if match is not None:
                old.remove(match)
                new.remove(row)
                if row["severity"] != match["severity"]:
                    is_worse = _RANK[row["severity"]] < _RANK[match["severity"]]
                    yield WORSE if is_worse else BETTER, row
    yield from ((CAME, row) for row in new)
    yield from ((WENT, row) for row in old)
