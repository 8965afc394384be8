"""Every check, in one list.

Which findings one plan has that another has not: counted once, for everybody who compares two plans.

Findings are matched as a multiset by `planning_kit.judge.findings.identity`: two of one identity are two, so
that a second stop of one kind at one step is new where there was one. Within an identity, findings of one
severity and step are matched first, then the worst with the worst; what is left over has come or gone. A
match of another severity is ``worse`` or ``better``.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from typing import Any
from weakref import WeakKeyDictionary

import pandas as pd

from planning_kit.inputs.shown_text import TextTable
from planning_kit.judge.check_custody import (
    as_untouched,
    check_carrying,
    check_carrying_data,
    check_custody,
    check_endings,
)
from planning_kit.judge.check_inhibits import check_inhibits
from planning_kit.judge.check_light import check_light_known, check_link_data, check_links
from planning_kit.judge.check_limits import (
    check_clocks,
    check_egress,
    check_last_starts,
    check_limit_sources,
    check_limits,
    check_required_tasks,
)
from planning_kit.judge.check_log import check_log, untouched_items
from planning_kit.judge.check_places import (
    check_bulky_data,
    check_bulky_loads,
    check_capacity,
    check_capacity_data,
    check_footholds,
    check_shared_footholds,
)
from planning_kit.judge.check_returns import check_return, check_return_data
from planning_kit.judge.check_suits import check_suit_data, check_suits
from planning_kit.judge.check_tethers import check_crossings, check_hooks, check_hooks_going_in, check_reach
from planning_kit.judge.findings import FINDING_COLUMNS, SEVERITIES, STOP, Identity, findings_table, identity
from planning_kit.plan.timed import TimedPlan

CHECKS = (
    check_limits, check_egress, check_limit_sources, check_last_starts, check_required_tasks,
    check_light_known, check_capacity, check_capacity_data, check_inhibits,
    check_links, check_link_data, check_clocks, check_suits, check_suit_data, check_return, check_return_data,
    check_custody, check_carrying, check_carrying_data, check_endings, check_footholds,
    check_shared_footholds, check_reach, check_hooks, check_hooks_going_in, check_crossings,
    check_bulky_loads, check_bulky_data, check_log,
)


_FOUND: WeakKeyDictionary[TimedPlan, pd.DataFrame] = WeakKeyDictionary()


def findings_of(plan: TimedPlan) -> pd.DataFrame:
    """Everything found wrong or worth knowing, worst first.

    Columns: ``severity`` (stop, concern, remark), ``check``, ``rule`` (the one rule of the check that is
    broken), ``about`` (the item, place, inhibit, route, ... by id), ``crew``, ``step``, ``start_min``
    (PET), ``message``, ``source``, then ``value``, ``limit`` and ``margin`` where it has numbers.
    No plan is checked twice. Of items that only skipped work would have touched see `as_untouched`.
    """
    if plan not in _FOUND:
        untouched = untouched_items(plan)
        _FOUND[plan] = findings_table(
            as_untouched(finding, untouched) for check in CHECKS for finding in check(plan))
    return _FOUND[plan].copy()


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
