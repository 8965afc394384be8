"""What an order can be best in besides an early end: the odds of the required work, or the least margins.

All three are told of every order that is shown.
"""

from collections.abc import Mapping
from functools import lru_cache
from math import isnan

import numpy as np

from planning_kit.explore.odds.odds import odds
from planning_kit.explore.odds.odds_tables import BY_HARD, BY_PLANNED, REQUIRED_INSIDE
from planning_kit.judge.acceptances import told_findings
from planning_kit.judge.every_margin import exact_margins
from planning_kit.judge.margins import Margin
from planning_kit.judge.review import LEAST_TOLD, carry_h, walk_min
from planning_kit.plan.timed import TimedPlan

GOALS = END, ODDS, MARGIN = "end", "odds", "margin"
ODDS_SAMPLES, _MOST_MARGINS = 2_000, 12
CHANCES = {"p_planned": BY_PLANNED, "p_hard": BY_HARD, "p_required": REQUIRED_INSIDE}


@lru_cache(maxsize=32)
def chances_of(plan: TimedPlan, samples: int = ODDS_SAMPLES) -> Mapping[str, float]:
    """The odds of `CHANCES` (NaN: not known); equal samples of two plans have equal random numbers."""
    events = odds(plan, samples).events
    return {name: float(events[event].mean()) for name, event in CHANCES.items()}


def least_margins(plan: TimedPlan) -> list[Margin]:
    """The margins in minutes, least first, without what is accepted and what is missed at no cost."""
    taken = {(row["crew"], round(row["margin"], 6)) for row in told_findings(plan).to_dict("records")
             if row["accepted"]}
    return sorted((each for each in exact_margins(plan) if not isnan(each.minutes) and not each.is_harmless
                   and (each.crew, round(each.margin, 6)) not in taken), key=lambda each: each.minutes)


def margin_words(plan: TimedPlan) -> str:
    """The least of them and where it is, in words."""
    return next((each.words for each in least_margins(plan)), "no margin in minutes")


def told_chances(plan: TimedPlan) -> str:
    """The odds and the least margin, in words."""
    planned, hard, required = chances_of(plan).values()
    return (f"odds {planned:.3f} for the planned limit, {hard:.3f} for the hard one, {required:.3f} with the "
            f"required work; {margin_words(plan)}")


def aimed_at(goal: str, plan: TimedPlan) -> tuple[float, ...]:
    """What a plan is worth by a goal, apart from the end; smaller is better.

    Odds count to half a percent, as samples tell no more. Of the margins, in whole minutes, the least one
    decides, where it is the same in both plans the next: what no order changes hides nothing.
    """
    if goal == ODDS:
        likely = chances_of(plan)["p_required"]
        return (0.0 if isnan(likely) else -round(likely * 200) / 200,)
    if goal != MARGIN:
        return ()
    left = [-float(np.floor(each.minutes)) for each in least_margins(plan)[:_MOST_MARGINS]]
    return *left, *[float("-inf")] * (_MOST_MARGINS - len(left))


def told_gain(now: TimedPlan, plan: TimedPlan) -> str:
    """What a plan wins over the one now, in words: an earlier end, else what else it is better in."""
    if (sooner_min := now.end_min - plan.end_min) >= LEAST_TOLD:
        return f"{sooner_min:.1f} min earlier"
    likelier = chances_of(plan)["p_required"] - chances_of(now)["p_required"]
    words = [f"{won:.1f} {what}" for won, what in (
        (-sooner_min, "min later"), (100 * likelier, "% likelier with the required work"),
        (60 * (carry_h(now) - carry_h(plan)), "min less of carrying a slot"),
        (walk_min(now) - walk_min(plan), "min less walking")) if won >= LEAST_TOLD]
    return ", ".join(words if -sooner_min >= LEAST_TOLD else ["the same end", *words])
