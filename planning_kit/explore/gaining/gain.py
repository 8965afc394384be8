"""What would start a step earlier: the smallest changes, each proved by timing the changed plan.

The reverse of a what-if, which no forward calculation answers: a target is set, and single changes of six
kinds are searched for the least of each that meets it. Two changes together are not searched: where no single
one helps, the table says so, and the questions to a planner are which two.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pandas as pd

from planning_kit.explore.gaining.gain_changes import (
    DROP,
    EGRESS,
    MAX_GAP,
    MIN_GAP,
    ORDER,
    SHORTEN,
    Candidate,
    dropped_tasks,
    earlier_egress,
    relaxed_gaps,
    shortened_steps,
)
from planning_kit.explore.gaining.gain_orders import likely_moves, other_moves
from planning_kit.explore.gaining.gain_target import Target, find_target
from planning_kit.explore.what_if import what_if
from planning_kit.inputs.arguments import is_whole
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.text_table import TextTable
from planning_kit.inputs.times import pet_min
from planning_kit.judge.findings import STOP
from planning_kit.judge.new_findings import new_findings
from planning_kit.plan.timed import TimedPlan

GAIN_COLUMNS = ["change", "by_min", "kind", "gain_min", "new_start_min", "end_slip_min", "new_stops",
                "new_findings", "what_if"]
NOTHING_HELPS = "no change of this kind helps"
_CHECKED_FOR_ONE_SHOWN = 4

Row = dict[str, Any]


def gain(plan: TimedPlan, step: str, minutes: float | None = None, most: int = 5) -> pd.DataFrame:
    """The smallest single changes that meet the target (see ``plan.gain``)."""
    if not is_whole(most, 1):
        raise ScenarioError.single("must be how many rows of a kind to show, 1 or more", column="most",
                                   value=most)
    target = find_target(plan, step, minutes)
    searched = [ORDER, SHORTEN, MIN_GAP, MAX_GAP, DROP,
                *([EGRESS] if target.is_window and not plan.network.fixed else [])]
    moves = list(likely_moves(plan, target))
    candidates = [*moves, *shortened_steps(plan, target), *relaxed_gaps(plan, target),
                  *dropped_tasks(plan, target), *earlier_egress(plan, target)]
    rows: list[Row] = []
    nothing: list[Row] = []
    for kind in searched:
        proved = _proved_rows(plan, target, (each for each in candidates if each.kind == kind), most)
        if kind == ORDER and all(row["new_stops"] for row in proved):
            others = other_moves(plan, target, moves)
            proved = _best([*proved, *_proved_rows(plan, target, others, most)], most)
        rows += proved
        nothing += [] if proved else [_nothing(kind, target)]
    rows.sort(key=lambda row: (row["new_stops"] > 0, row["by_min"]))
    table = TextTable([*rows, *nothing], columns=GAIN_COLUMNS)
    return table.astype({"new_stops": "Int64", "new_findings": "Int64"})


def _proved_rows(plan: TimedPlan, target: Target, candidates: Iterable[Candidate], most: int) -> list[Row]:
    """Rows of one kind, smallest first, until enough of them bring no stop finding.

    Where many have been tried the search ends too, but not before one of them holds.
    """
    rows: list[Row] = []
    for number, candidate in enumerate(sorted(candidates, key=lambda each: (each.by_min, each.rank))):
        if rows and number >= most * _CHECKED_FOR_ONE_SHOWN:
            break
        row = _proved(plan, target, candidate)
        rows += [row] if row is not None else []
        if sum(each["new_stops"] == 0 for each in rows) >= most:
            break
    return _best(rows, most)


def _best(rows: list[Row], most: int) -> list[Row]:
    """So many of the rows, those that bring a stop finding last."""
    return sorted(rows, key=lambda row: row["new_stops"] > 0)[:most]


def _proved(plan: TimedPlan, target: Target, candidate: Candidate) -> Row | None:
    """The row of a change, timed and checked as a whole new plan; None if it does not hold."""
    try:
        changed = what_if(plan, candidate.change.asked())
    except ScenarioError:
        return None
    later = pet_min(changed.egress, plan.egress)
    asked, judged = plan.steps[target.asked].step, plan.steps[target.judged].step
    if float(changed.starts[changed.position(judged)]) + later > target.latest_min:
        return None
    new_start = float(changed.starts[changed.position(asked)])
    found = new_findings(plan, changed)
    return {
        "change": candidate.words, "by_min": candidate.by_min, "kind": candidate.kind,
        "gain_min": float(plan.starts[target.asked]) - new_start - later, "new_start_min": new_start,
        "end_slip_min": changed.end_min + later - plan.end_min,
        "new_stops": int((found["severity"] == STOP).sum()), "new_findings": len(found),
        "what_if": candidate.change.asked(),
    }


def _nothing(kind: str, target: Target) -> Row:
    nothing = float("nan")
    return {"change": f"{NOTHING_HELPS}: {target.words}", "by_min": nothing, "kind": kind,
            "gain_min": nothing, "new_start_min": nothing, "end_slip_min": nothing, "new_stops": None,
            "new_findings": None, "what_if": {}}
