"""Which findings came and went between two plans."""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterator
from typing import Any

import pandas as pd

from planning_kit.checks.all_checks import findings_of
from planning_kit.checks.findings import CAUTION, NOTE, STOP
from planning_kit.inputs.text_table import TextTable
from planning_kit.plan.timed import AnyPlan, as_plan

FINDING_CHANGES = ["change", "severity", "check", "crew", "step", "start_min", "message"]
_RANK = {STOP: 0, CAUTION: 1, NOTE: 2}
_ORDER = {"came": 0, "worse": 1, "better": 2, "went": 3}
_NUMBER = re.compile(r"[−-]?\d+(?:[:.]\d+)?")
_CLAUSE = re.compile(r"[:;]")

Row = dict[Hashable, Any]


def compare_findings(a: AnyPlan, b: AnyPlan) -> pd.DataFrame:
    """Findings that differ from plan ``a`` to plan ``b``: what came first, worst first; empty when none did.

    ``change``: ``came``, ``went``, or ``worse`` and ``better`` for one whose severity changed; the other
    columns are those of the plan that has the finding (b's where both have it). Two findings are the same
    when check, crew, step and kind of message agree: its first clause, whatever the minutes in it. Raises
    `ScenarioError` for what is no plan.
    """
    before, after = findings_of(as_plan(a, "a")), findings_of(as_plan(b, "b"))
    rows = [{"change": change, **row} for change, row in _changes(before, after)]
    table = TextTable(rows, columns=FINDING_CHANGES)
    order = table["change"].map(_ORDER), table["severity"].map(_RANK)
    ranked = table.assign(order=order[0], rank=order[1])
    ranked = ranked.sort_values(["order", "rank", "start_min"], kind="stable", na_position="first")
    return ranked[FINDING_CHANGES].reset_index(drop=True)


def _changes(before: pd.DataFrame, after: pd.DataFrame) -> Iterator[tuple[str, Row]]:
    old, new = _by_kind(before), _by_kind(after)
    for key, row in new.items():
        if key not in old:
            yield "came", row
        elif row["severity"] != old[key]["severity"]:
            yield "worse" if _RANK[row["severity"]] < _RANK[old[key]["severity"]] else "better", row
    for key, row in old.items():
        if key not in new:
            yield "went", row


def _by_kind(findings: pd.DataFrame) -> dict[tuple[Any, ...], Row]:
    """Findings by what makes them the same, numbered where several agree in all of it."""
    found: dict[tuple[Any, ...], Row] = {}
    for row in findings.to_dict("records"):
        kind, number = (row["check"], row["crew"], row["step"], _kind_of(row)), 0
        while (*kind, number) in found:
            number += 1
        found[*kind, number] = row
    return found


def _kind_of(row: Row) -> str:
    """The first clause of a message without its numbers; of an inhibit's, whose first is its name, two."""
    clauses = _CLAUSE.split(_NUMBER.sub("#", row["message"]))
    return "".join(clauses[:2] if row["check"] == "inhibits" else clauses[:1])
