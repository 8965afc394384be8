"""Findings that a decision brings beside those of carrying on."""

from __future__ import annotations

from collections.abc import Mapping

from planning_kit.checks.all_checks import findings_of
from planning_kit.checks.findings import CAUTION, STOP
from planning_kit.explore.retime.deciding import Decision
from planning_kit.plan.timed import TimedPlan

Keys = Mapping[str, frozenset[tuple[str, str, str]]]
"""By severity, what findings are about: check, crew and step."""


def tallied(plan: TimedPlan, moot: frozenset[str] = frozenset()) -> Keys:
    """Stops and cautions by what they are about, so that one that only moves in time is not new.

    ``moot``: items that nothing but dropped work touches; that they do not end where they should is the
    drop itself.
    """
    found = findings_of(plan)
    about_moot = found["message"].map(lambda message: message.split(" ")[0] in moot).astype(bool)
    found = found[~((found["check"] == "custody") & (found["start_min"] == plan.end_min) & about_moot)]
    keys = list(zip(found["check"], found["crew"], found["step"], strict=True))
    return {severity: frozenset(key for key, other in zip(keys, found["severity"], strict=True)
                                if other == severity) for severity in (STOP, CAUTION)}


def new_findings(plan: TimedPlan, known: Keys, changed: TimedPlan, skipped: frozenset[str]) -> Keys:
    """What ``changed`` has and ``plan``, whose findings are ``known``, has not.

    That the log tells of what is ``skipped`` is the decision itself; a step lost beside it is news.
    """
    fresh = tallied(changed, _only_touched_by(plan, skipped))
    return {severity: frozenset(key for key in fresh[severity] - known[severity]
                                if not (key[0] == "log" and key[2] in skipped)) for severity in fresh}


def lost_steps(plan: TimedPlan, changed: TimedPlan, how: Decision) -> frozenset[str]:
    """Steps that ``changed`` does not hold, though the decision ``how`` does not skip them."""
    return frozenset(plan.network.steps) - frozenset(changed.network.steps) - frozenset(how.get("skip", ()))


def _only_touched_by(plan: TimedPlan, skipped: frozenset[str]) -> frozenset[str]:
    """Items that no step but those of ``skipped`` takes, leaves or uses."""
    touched: dict[bool, set[str]] = {True: set(), False: set()}
    for step in plan.steps:
        touched[step.step in skipped] |= {*step.uses, *(move.item for move in (*step.takes, *step.leaves))}
    return frozenset(touched[True] - touched[False])
