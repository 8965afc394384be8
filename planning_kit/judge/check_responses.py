"""Checks of what is done when something goes wrong: whether there is time for it, and ways to fall back.

``responses``: rules, about the response, ``not-in-time`` (one finding a response and crew member, at its
worst moment: a stop where oxygen or suits would not last, a concern where only the reserve or the hard limit
is not kept; brought by the partner, as ``partner_rescue`` says), ``no-source``, ``no-minutes``, ``not-used``.

``voice``: rules ``too-far`` (about the place), ``no-fall-back``, ``no-limit``.
"""

from collections.abc import Iterator, Sequence
from itertools import product
from math import isfinite

import numpy as np

from planning_kit.inputs.procedure_records import ABORT, ALONG, BRINGS, GOING, Response
from planning_kit.inputs.times import number_label, pet_label, pet_spans
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.network import ROUNDING_MIN, joined
from planning_kit.plan.responses import Left, left_with, needed_at, too_far
from planning_kit.plan.returns import Returns, Spell, spells_below, worst_moment
from planning_kit.plan.timed import TimedPlan

RESPONSES, VOICE = "responses", "voice"


def check_responses(plan: TimedPlan) -> Iterator[Finding]:
    """A response that does not fit in what is left, at a moment at which the bare way home does."""
    limits, every = plan.scenario.settings.limits, product(plan.scenario.records.responses, plan.return_times)
    reserve_min = limits.return_reserve_min or 0.0
    for response, returns in every:
        at, going_in = returns.at_min, returns.ingress_start_min
        both = sorted(plan.return_times, key=lambda each: each.crew != returns.crew)
        left = left_with(response, both, plan.suit_histories, reserve_min)
        needed = np.zeros(len(at), dtype=bool)
        for begin, end in needed_at(response, plan.doings, returns.crew, going_in):
            needed |= (at >= begin - ROUNDING_MIN) & (at <= min(end, going_in) + ROUNDING_MIN)
        # Where the way home alone is too long already, the check of that tells it.
        over = np.where(needed & ~(left.before_min < -ROUNDING_MIN), left.over_min, np.nan)
        if spells := [*spells_below(returns, over)]:
            who = " and ".join(each.crew for each in both[:1 + (response.companion == ALONG)])
            yield _not_in_time(plan, response, returns, left, worst_moment(returns, over), spells, who)


def _not_in_time(plan: TimedPlan, response: Response, returns: Returns, left: Left, worst: int,
                 spells: Sequence[Spell], who: str) -> Finding:
    limits, is_abort = plan.scenario.settings.limits, response.call == ABORT
    supply, limit = float(left.supply_min[worst]), float(left.limit_min[worst])
    reserve_min = limits.return_reserve_min or 0.0
    value, least, what = (limit, 0.0, "to the hard limit") if limit < supply - reserve_min else (
        supply, reserve_min, "of oxygen" if is_abort else "of the suits")
    then = f"the way home ({response.call})" if response.call in GOING else "a terminate afterwards"
    place = " to ".join(map(plan.place_title, returns.place[worst].split(" to ")))
    return Finding(
        (limits.partner_rescue or CONCERN) if response.companion == BRINGS else
        STOP if supply < -ROUNDING_MIN else CONCERN,
        RESPONSES, "not-in-time", response.response, returns.crew, returns.step[worst], spells[0].from_min,
        f"response {response.response} ({response.trigger or 'if_not'}) of {who}: "
        f"{number_label(response.most_min, 'up')} min to decide and act, and {then}, leave "
        f"{number_label(value, 'down')} min {what}, at least {least:g} wanted. Worst at "
        f"{pet_label(float(returns.at_min[worst]))} ({place}), too little from "
        f"{pet_spans(*((each.from_min, each.until_min) for each in spells))}: decide or act sooner, or work "
        "nearer or earlier then", response.source, value, least, value - least)


def check_response_data(plan: TimedPlan) -> Iterator[Finding]:
    """Remarks: responses without a source, without minutes, and those that nothing leads to."""
    responses, used = plan.scenario.records.responses, {each.action.if_not for each in plan.doings}
    for rule, problem, those in (
        ("no-source", "no source: say who says so", [not each.source for each in responses]),
        ("no-minutes", "no minutes: their first actions are counted as taking no time",
         [each.minutes_likely is None and each.minutes_high is None for each in responses]),
        ("not-used", "no trigger, and no action names them in if_not",
         [not each.trigger and each.response not in used for each in responses]),
    ):
        if names := [each.response for each, is_so in zip(responses, those, strict=True) if is_so]:
            yield Finding(REMARK, RESPONSES, rule, " ".join(names),
                          message=f"responses {', '.join(names)} have {problem}")


def check_voice(plan: TimedPlan) -> Iterator[Finding]:
    """Somebody farther than ``voice_lost_min`` from a place to fall back to (concern), one a crew member."""
    checks, most_min = plan.scenario.settings.checks, plan.scenario.settings.checks.voice_lost_min
    places = [each.place for each in plan.scenario.records.places if each.fall_back]
    if most_min is None or not places:
        if places:
            yield Finding(REMARK, VOICE, "no-limit", " ".join(places), message="[checks] voice_lost_min is "
                          "not given: how far places to fall back to are is not checked")
        elif most_min is not None:
            yield Finding(REMARK, VOICE, "no-fall-back", message="no place has fall_back = yes: how far it "
                          "is to one when voice is lost is not checked")
        return
    for crew, passages in plan.passages.items():
        if far := too_far(passages, plan.travels[crew], places, most_min):
            minutes, at, worst = max(far, key=lambda each: (each[0], each[2].route is None, -each[1]))
            way = f"{number_label(minutes, 'up')} min" if isfinite(minutes) else "without a way"
            spans = pet_spans(*joined((each.start_min, each.finish_min) for _, _, each in far))
            yield Finding(
                CONCERN, VOICE, "too-far", worst.place, crew, worst.step, at, f"{crew} is {way} from the next"
                f" place to fall back to when voice is lost, at {pet_label(at)} ("
                f"{plan.place_title(worst.place)}); at most {most_min:g} allowed; too far from {spans}: name "
                "a nearer place (places.fall_back), or accept it", checks.sources.get("voice_lost_min", ""),
                minutes, most_min, most_min - minutes)
