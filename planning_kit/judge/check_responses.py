"""Checks of what is done when something goes wrong: whether there is time for it, and ways to fall back.

``responses``: rules, about the response, ``not-in-time`` (one finding a response and crew member, at its
worst moment: a stop where oxygen or suits would not last, a concern where only the reserve or the hard limit
is not kept; brought by the partner, as ``partner_rescue`` says), ``no-source``, ``no-minutes``, ``not-used``.

``voice``: rules ``too-far`` (about the place), ``no-fall-back``, ``no-limit``.
"""

from collections.abc import Iterator

import numpy as np

from planning_kit.inputs.procedure_records import ALONG, BRINGS, GO_ON, WAIT, Response
from planning_kit.inputs.times import number_label, pet_label, pet_spans
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.responses import farthest, left_with, needed_at
from planning_kit.plan.returns import Returns, spells_below, worst_moment
from planning_kit.plan.timed import TimedPlan

CHECK, VOICE = "responses", "voice"


def check_responses(plan: TimedPlan) -> Iterator[Finding]:
    """A response that does not fit in what is left, at a moment at which the bare way home does."""
    for response in plan.scenario.records.responses:
        for returns in plan.return_times:
            partner = next(each for each in plan.return_times if each.crew != returns.crew)
            yield from _in_time(plan, response, returns, partner)


def _in_time(plan: TimedPlan, response: Response, returns: Returns, partner: Returns) -> Iterator[Finding]:
    limits = plan.scenario.settings.limits
    reserve_min = limits.return_reserve_min or 0.0
    spans = needed_at(response, plan.doings, returns.crew, returns.ingress_start_min)
    left = left_with(response, (returns, partner), plan.suit_histories, reserve_min)
    over = left.over(reserve_min)
    at = returns.at_min
    needed = np.any([(at >= begin - ROUNDING_MIN) & (at <= end + ROUNDING_MIN) for begin, end in spans],
                    axis=0) if spans else np.zeros(len(at), dtype=bool)
    # Where the way home alone is too long already, the check of that tells it.
    is_told = left.before_min < -ROUNDING_MIN
    over = np.where(needed & (at <= returns.ingress_start_min) & ~is_told, over, np.nan)
    if not (spells := [*spells_below(returns, over)]):
        return
    worst = worst_moment(returns, over)
    supply, limit = float(left.supply_min[worst]), float(left.limit_min[worst])
    is_limit = limit < supply - reserve_min
    value, least = (limit, 0.0) if is_limit else (supply, reserve_min)
    severity = STOP if supply < -ROUNDING_MIN else CONCERN
    if response.companion == BRINGS:
        severity = limits.partner_rescue or CONCERN
    place = " to ".join(map(plan.place_title, returns.place[worst].split(" to ")))
    what = "of the hard limit" if is_limit else "of oxygen" if response.call == "abort" else "of the suits"
    then = {GO_ON: "and a terminate afterwards", WAIT: "and a terminate afterwards"}.get(
        response.call, f"and the way home ({response.call})")
    who = f"{returns.crew} and {partner.crew}" if response.companion == ALONG else returns.crew
    yield Finding(
        severity, CHECK, "not-in-time", about=response.response, crew=returns.crew,
        step=returns.step[worst], start_min=spells[0].from_min,
        message=f"response {response.response} ({response.trigger or 'if_not'}) of {who}: "
                f"{number_label(response.most_min, 'up')} min to decide and act, {then}, leave "
                f"{number_label(value, 'down')} min {what}, at least {least:g} wanted. Worst at "
                f"{pet_label(float(at[worst]))} ({place}), too little from "
                f"{pet_spans(*((each.from_min, each.until_min) for each in spells))}: decide or act sooner, "
                "or work nearer or earlier then",
        source=response.source, value=value, limit=least, margin=value - least)


def check_response_data(plan: TimedPlan) -> Iterator[Finding]:
    """Remarks: responses without a source, without minutes, and those that nothing leads to."""
    responses = plan.scenario.records.responses
    used = {each.action.if_not for each in plan.doings}
    for rule, names, problem in (
        ("no-source", [each.response for each in responses if not each.source],
         "have no source (responses.source): say who says so"),
        ("no-minutes", [each.response for each in responses if each.minutes_likely is None
                        and each.minutes_high is None],
         "give no minutes: their first actions are counted as taking no time"),
        ("not-used", [each.response for each in responses if not each.trigger and each.response not in used],
         "have no trigger, and no action names them in if_not"),
    ):
        if names:
            yield Finding(REMARK, CHECK, rule, about=" ".join(names),
                          message=f"responses {', '.join(names)} {problem}")


def check_voice(plan: TimedPlan) -> Iterator[Finding]:
    """Somebody farther than ``voice_lost_min`` from a place to fall back to (concern), one a crew member."""
    checks, places = plan.scenario.settings.checks, plan.scenario.records.places
    fall_back, most_min = [place.place for place in places if place.fall_back], checks.voice_lost_min
    if most_min is None or not fall_back:
        if fall_back:
            yield Finding(REMARK, VOICE, "no-limit", about=" ".join(fall_back), message="[checks] "
                          "voice_lost_min is not given: how far places to fall back to are is not checked")
        elif most_min is not None:
            yield Finding(REMARK, VOICE, "no-fall-back", message="no place has fall_back = yes: how far it "
                          "is to one when voice is lost is not checked")
        return
    for crew, passages in plan.passages.items():
        if away := farthest(passages, plan.travels[crew], fall_back, most_min):
            at = next(each for each in passages if each.start_min <= away.at_min <= each.finish_min)
            way = "has no way to" if away.minutes == float("inf") else (
                f"is {number_label(away.minutes, 'up')} min from")
            yield Finding(
                CONCERN, VOICE, "too-far", about=at.place, crew=crew, step=away.step, start_min=away.at_min,
                source=checks.sources.get("voice_lost_min", ""), value=away.minutes, limit=most_min,
                margin=most_min - away.minutes,
                message=f"{crew} {way} a place to fall back to when voice is lost, at "
                        f"{pet_label(away.at_min)} ({plan.place_title(at.place)}); at most {most_min:g} "
                        f"allowed; too far from {pet_spans(*away.spans)}: name a nearer place "
                        "(places.fall_back), or accept it")
