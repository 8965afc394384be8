"""Check: whether each crew member can be back inside in time from every point of the outing.

What is in hand is made safe first: `planning_kit.plan.returns`.

Rules: ``alone-too-far`` and ``helped-too-far`` for emergency oxygen (about the place, or both ends of the
leg, where the margin is least), ``alone-too-late`` and ``helped-too-late`` for the suit (about the
consumable); ``helped-no-way`` (about the places, or both ends of the leg); ``missing`` (about the key).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from planning_kit.inputs.times import number_label, pet_label, pet_spans
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.activities import activity_at
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.returns import ReturnCase, Returns, Spell, spells_below
from planning_kit.plan.suits import WORDS
from planning_kit.plan.timed import TimedPlan

CHECK = "return"


def check_return(plan: TimedPlan) -> Iterator[Finding]:
    """A return margin below ``return_reserve_min``: alone (stop), with the partner's help (as typed).

    ``partner_rescue`` says how grave it is that the partner's help is too late or that there is no way for
    it; not typed, a concern. One finding a spell, at its worst point. A spell with the partner is not told
    where a stop in it already has as small a margin.
    """
    reserve_min = plan.scenario.settings.limits.return_reserve_min or 0.0
    for returns in plan.return_times:
        partner = next(each for each in plan.return_times if each.crew != returns.crew)
        # Brought by the partner, both suits must last: a stop of either one covers that.
        suits = np.fmin(returns.terminate.suit_margin_min, partner.terminate.suit_margin_min)
        is_without = np.isinf(returns.with_partner_min)
        for spell in spells_below(returns, np.where(is_without, -np.inf, 1.0)):
            yield _no_way(plan, returns, partner.crew, spell)
        for case in returns.cases:
            stops = suits if case.first_out else returns.abort.oxygen_margin_min
            # NaN is in no spell: where there is no way, that has been told.
            margin = np.where(np.isinf(case.way.home_min), np.nan, case.margin_min)
            for spell in spells_below(returns, margin - reserve_min):
                least = float(np.min(stops[spell.first:spell.last + 1]))
                is_told = (least < reserve_min - ROUNDING_MIN
                           and least <= case.margin_min[spell.worst] + ROUNDING_MIN)
                if case.is_alone or not is_told:
                    yield _finding(plan, returns, partner.crew, case, spell)


def _help_severity(plan: TimedPlan) -> str:
    return plan.scenario.settings.limits.partner_rescue or CONCERN


def _no_way(plan: TimedPlan, returns: Returns, partner: str, spell: Spell) -> Finding:
    """That nobody could bring this crew member home, from when to when, and why."""
    within = range(spell.first, spell.last + 1)
    at_places = dict.fromkeys(returns.place[number] for number in within)
    places = [place for place in at_places if " to " not in place] or next(iter(at_places)).split(" to ")
    crowded = [place.place for place in plan.scenario.records.places
               if place.place in places and not place.allows_rescue]
    why = (f"no second person can work at {', '.join(map(plan.place_title, crowded))} (places.rescue)"
           if crowded else "no chain of routes allows it (routes.rescue)")
    activity = activity_at(plan.lanes[returns.crew], float(returns.at_min[spell.worst]))
    return Finding(
        _help_severity(plan), CHECK, "helped-no-way", about=" ".join(sorted(places)), crew=returns.crew,
        step=activity.step if activity else "", start_min=spell.from_min,
        message=f"{returns.crew} unable to move: {partner} has no way to bring them inside, from "
                f"{pet_spans((spell.from_min, spell.until_min))} ({', '.join(map(plan.place_title, places))})"
                f": {why}. Empty cells count as no where one person fits, or a route is tight or that is not "
                "known: say whether it can be done, or do the work elsewhere",
        source=plan.scenario.settings.limits.sources.get("partner_rescue", ""))


def _finding(plan: TimedPlan, returns: Returns, partner: str, case: ReturnCase, spell: Spell) -> Finding:
    limits, worst, crew = plan.scenario.settings.limits, spell.worst, returns.crew
    at, value, back = (float(each[worst]) for each in (returns.at_min, case.margin_min, case.way.home_min))
    reserve, signed = limits.return_reserve_min or 0.0, number_label(value, "down")
    ends = returns.place[worst].split(" to ")  # the place, or both ends of a leg; ids hold no blanks
    safe = float(case.way.safe_min[worst])
    first = f" ({safe:g} of them to make safe what is in hand)" if safe else ""
    back_words, airlock = number_label(back, "up"), plan.scenario.settings.airlock
    then = " and the pressure can be breathed" if airlock.after_end_min else ""
    way = (f"is {back_words} min from {airlock.safety}{first}" if case.is_alone else
           f"unable to move, needs {back_words} min{first} until {partner} has brought them inside{then}")
    nearer = "" if case.is_alone else f"keep {partner} nearer meanwhile, or "
    if case.first_out:
        about, left = _consumable_words(case.first_out[worst], back + value)
        problem = f"{way}{'' if case.is_alone else ','} and {left}"
        turn_back = f"turn back by {pet_label(spell.from_min, 'down')}, or " if spell.first > 0 else ""
        remedy = f"{turn_back}{nearer}drop or lighten work before"
    else:
        problem = (f"{'alone ' if case.is_alone else ''}{way}; emergency oxygen lasts "
                   f"{limits.emergency_oxygen_min:g} min")
        about = " ".join(sorted(ends))  # whichever way a leg is walked
        remedy = ("work at a nearer place, or give the step to the quicker of the two" if case.is_alone else
                  f"{nearer}accept that help comes late")
    activity = activity_at(plan.lanes[crew], at)
    return Finding(
        STOP if case.is_alone else _help_severity(plan), CHECK,
        f"{'alone' if case.is_alone else 'helped'}-too-{'late' if case.first_out else 'far'}", about=about,
        crew=crew, step=activity.step if activity else "", start_min=spell.from_min,
        message=f"{crew} {problem}: margin {signed} min, at least {reserve:g} wanted. Worst at "
                f"{pet_label(at)} ({' to '.join(map(plan.place_title, ends))}), below from "
                f"{pet_spans((spell.from_min, spell.until_min))}: {remedy}",
        source=limits.sources.get("return_reserve_min", ""), value=value, limit=reserve,
        margin=value - reserve)


def _consumable_words(first_out: str, lasts_min: float) -> tuple[str, str]:
    """The consumable that runs out first, with whose it is where that is said, by id and in words."""
    whose, _, name = first_out.rpartition(" ")
    left = (f"is left for {number_label(lasts_min, 'down')} min of travel" if lasts_min > 0 else
            "has run out (see suits)")
    owner = f"{whose}'s " if whose else ""
    return f"{name} {whose}".rstrip(), f"{owner}{WORDS[name]} {left}"


def check_return_data(plan: TimedPlan) -> Iterator[Finding]:
    """Remarks for what the return margins lack. A tether without a length: see tethers."""
    limits = plan.scenario.settings.limits
    for key, effect in {
        "emergency_oxygen_min": "no return margin against emergency oxygen",
        "return_reserve_min": "return margins are checked only against zero",
        "hook_move_min": "hook moves on the way back are counted as taking no time",
        "partner_carry_factor": "the return with the partner is not checked",
        "partner_rescue": "help that is late, or cannot come, is only a concern",
    }.items():
        if getattr(limits, key) in (None, ""):
            yield Finding(REMARK, CHECK, "missing", key, message=f"[limits] {key} is missing: {effect}")
    if "carry" not in plan.scenario.settings.exertion_w:
        yield Finding(REMARK, CHECK, "missing", "carry", message="[exertion_w] carry is missing: who brings "
                      "the partner in counts as in travel, but uses more")
