"""All checks of a plan, and which findings one plan has that another has not.

New findings are counted here, once, for everybody who compares two plans. They are matched as a multiset by
`planning_kit.judge.findings.identity`: two of one identity are two, so that a second stop of one kind at one
step is new where there was one. Within an identity, findings of one severity and step are matched first, then
the worst with the worst; what is left over has come or gone. A match of another severity is ``worse`` or
``better``.
"""

from collections.abc import Callable, Hashable, Iterator
from math import inf
from typing import Any
from weakref import WeakKeyDictionary

import pandas as pd

from planning_kit.inputs.shown_text import TextTable
from planning_kit.judge import (
    check_custody,
    check_hazard_data,
    check_hazards,
    check_limits,
    check_needs,
    check_places,
    check_procedure,
    check_quality,
    check_reserves,
    check_rules,
    check_tethers,
)
from planning_kit.judge.findings import FINDING_COLUMNS, RANK, STOP, Finding, findings_table, identity
from planning_kit.plan.network import ROUNDING_MIN, grouped
from planning_kit.plan.timed import TimedPlan

# Every function of these modules that is called check_... is a check: none that is written can be forgotten.
CHECKS: tuple[Callable[[TimedPlan], Iterator[Finding]], ...] = tuple(
    check for module in (check_limits, check_needs, check_places, check_reserves, check_custody,
                         check_tethers, check_hazards, check_hazard_data, check_procedure, check_quality,
                         check_rules)
    for name, check in vars(module).items() if name.startswith("check_"))

Row = dict[Hashable, Any]
_FOUND: WeakKeyDictionary[TimedPlan, pd.DataFrame] = WeakKeyDictionary()
_ROWS: WeakKeyDictionary[TimedPlan, list[Row]] = WeakKeyDictionary()  # a drag asks again and again


def findings_of(plan: TimedPlan) -> pd.DataFrame:
    """Everything found wrong or worth knowing, worst first: ``plan.findings``, whoever has accepted them.

    No plan is checked twice. Of items that only skipped work would have touched see `as_untouched`.
    """
    for _ in checking(plan):
        pass
    # A copy: what a caller changes in it must not be told to the next one.
    return _FOUND[plan].copy()


def checking(plan: TimedPlan) -> Iterator[None]:
    """Check a plan, in pieces, so that something else may be done between two of them."""
    if plan in _FOUND:
        return
    untouched, found = check_rules.untouched_items(plan), list[Finding]()
    for check in CHECKS:
        found += (check_custody.as_untouched(each, untouched) for each in check(plan))
        yield
    _FOUND[plan] = findings_table(found)


CAME, WORSE, BETTER, WENT = "came", "worse", "better", "went"

_ALIKE_IN = (("severity", "step"), ("severity",), ())  # within one identity, the closest matches first


def new_findings(a: TimedPlan | pd.DataFrame, b: TimedPlan | pd.DataFrame) -> pd.DataFrame:
    """The findings of ``b`` that ``a`` has not, or has with a lesser severity: rows of ``b.findings``.

    ``a`` and ``b`` are plans, or the findings of plans.
    """
    rows = [row for change, row in finding_changes(a, b) if change in (CAME, WORSE)]
    return TextTable(rows, columns=FINDING_COLUMNS)


def new_stops(a: TimedPlan | pd.DataFrame, b: TimedPlan | pd.DataFrame) -> int:
    """How many stop findings ``b`` has that ``a`` has not."""
    return int((new_findings(a, b)["severity"] == STOP).sum())


def worse_stops(a: TimedPlan | pd.DataFrame, b: TimedPlan | pd.DataFrame) -> list[Row]:
    """The stop findings of ``b`` that ``a`` has, too, but each with more margin: they got worse."""
    worst: dict[Hashable, float] = {}
    for row in _rows(a):
        worst[identity(row)] = min(worst.get(identity(row), inf), row["margin"])
    # NaN, of a finding without numbers, is never less.
    return [row for row in _rows(b) if row["severity"] == STOP
            and row["margin"] < worst.get(identity(row), -inf) - ROUNDING_MIN]


def finding_changes(a: TimedPlan | pd.DataFrame, b: TimedPlan | pd.DataFrame) -> Iterator[tuple[str, Row]]:
    """What came, got worse, got better or went from ``a`` to ``b``, with b's row where
    b has one; in the order of b's findings, what went last."""
    before, after = _rows(a), _rows(b)
    # By the row itself: two findings may say the same.
    place = {id(row): number for number, row in enumerate([*after, *before])}
    old, new = (grouped((identity(row), row) for row in rows) for rows in (before, after))
    changes = [change for key in {**new, **old} for change in _matched(old.get(key, []), new.get(key, []))]
    yield from sorted(changes, key=lambda change: place[id(change[1])])


def _rows(found: TimedPlan | pd.DataFrame) -> list[Row]:
    if isinstance(found, pd.DataFrame):
        return found.to_dict("records")
    if found not in _ROWS:
        _ROWS[found] = findings_of(found).to_dict("records")
    return [*_ROWS[found]]


def _matched(before: list[Row], after: list[Row]) -> Iterator[tuple[str, Row]]:
    """The changes within one identity; the rows stand worst first."""
    old, new = list(before), list(after)
    for keys in _ALIKE_IN:
        for row in list(new):
            match = next((other for other in old if all(other[key] == row[key] for key in keys)), None)
            if match is not None:
                old.remove(match)
                new.remove(row)
                if row["severity"] != match["severity"]:
                    yield WORSE if RANK[row["severity"]] < RANK[match["severity"]] else BETTER, row
    yield from ((CAME, row) for row in new)
    yield from ((WENT, row) for row in old)
