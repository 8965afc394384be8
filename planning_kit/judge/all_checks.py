"""Every check, in one list."""

from __future__ import annotations

from weakref import WeakKeyDictionary

import pandas as pd

from planning_kit.judge.clocks import check_clocks
from planning_kit.judge.custody import (
    as_untouched,
    check_carrying,
    check_carrying_data,
    check_custody,
    check_endings,
)
from planning_kit.judge.findings import findings_table
from planning_kit.judge.footholds import check_footholds, check_shared_footholds
from planning_kit.judge.inhibits import check_inhibits
from planning_kit.judge.light import check_light_known
from planning_kit.judge.limits import check_egress, check_last_starts, check_limit_sources, check_limits
from planning_kit.judge.links import check_link_data, check_links
from planning_kit.judge.log import check_log, untouched_items
from planning_kit.judge.returning import check_return, check_return_data
from planning_kit.judge.routes import check_bulky_data, check_bulky_loads
from planning_kit.judge.suits import check_suit_data, check_suits
from planning_kit.judge.tasks import check_required_tasks
from planning_kit.judge.tethers import check_crossings, check_hooks, check_hooks_going_in, check_reach
from planning_kit.judge.worksites import check_capacity, check_capacity_data
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
