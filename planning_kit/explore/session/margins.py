"""What is left before each limit of a plan, least first: one list of what the plan's own tables say."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from planning_kit.inputs.times import pet_label
from planning_kit.plan.timed import TimedPlan

_PERCENT = 100.0


@dataclass(frozen=True)
class Margin:
    """``left`` before a limit is reached, in ``unit``; ``share`` of the limit (0 none, negative: past it).

    ``step`` is a step to look at, or "".
    """

    what: str
    left: float
    unit: str
    share: float
    when: str
    step: str = ""


def margins_of(plan: TimedPlan) -> list[Margin]:
    """Every margin that can be told, the least share first."""
    found = [*_outing(plan), *_returns(plan), *_suits(plan), *_clocks(plan)]
    return sorted((each for each in found if math.isfinite(each.share)), key=lambda each: each.share)


def _outing(plan: TimedPlan) -> Iterator[Margin]:
    limits = plan.scenario.settings.limits
    for words, limit in (("planned limit", limits.planned_min), ("hard limit", limits.hard_min)):
        left = limit - plan.end_min
        yield Margin(f"Both inside before the {words}, PET {pet_label(limit)}", left, "min", left / limit,
                     f"PET {pet_label(plan.end_min)}")


def _returns(plan: TimedPlan) -> Iterator[Margin]:
    for row in plan.return_summary.to_dict("records"):
        margin, back = float(row["margin_min"]), float(row["time_back_min"])
        words = f"{row['crew']} back in time, {row['case']}, from {row['place']}"
        yield Margin(words, margin, "min", margin / (margin + back) if margin + back > 0 else -1.0,
                     f"PET {pet_label(float(row['at_min']))}")


def _suits(plan: TimedPlan) -> Iterator[Margin]:
    for row in plan.suit_summary.to_dict("records"):
        usable, margin = float(row["usable"]), float(row["margin"])
        if usable > 0:
            yield Margin(f"{row['crew']} {row['consumable']} over the reserve", margin, str(row["unit"]),
                         margin / usable, "at the end")


def _clocks(plan: TimedPlan) -> Iterator[Margin]:
    for row in plan.clocks.to_dict("records"):
        limit, left = float(row["max_gap"]), float(row["left"])
        if limit > 0:
            yield Margin(f"Clock from {row['first_step']} to {row['then_step']}", left, "min", left / limit,
                         f"of {limit:g} min", str(row["then_step"]))


def share_words(margin: Margin) -> str:
    """The share in whole percent."""
    return f"{round(margin.share * _PERCENT)} %"
