"""Checks of what each suit has left: at the end of the outing, and on the way home from every point of it.

``suits``: rules ``runs-out`` and ``below-reserve`` (about the consumable); what is not given: ``not-known``
and ``no-reserve`` (about the keys), ``no-exertion`` (about the steps), ``no-exertion-factor``,
``no-use-before``.

``return``, what is in hand made safe first (`planning_kit.plan.returns`): rules ``alone-too-far`` and
``helped-too-far`` for emergency oxygen (about the place, or both ends of the leg, where the margin is least),
``alone-too-late`` and ``helped-too-late`` for the suit (about the consumable); ``helped-no-way`` (about the
places, or both ends of the leg); ``missing`` (about the key).
"""

from collections.abc import Iterable, Iterator, Sequence
from math import floor, isnan, log10

import numpy as np

from planning_kit.inputs.times import Side, measure, number_label, pet_label, pet_spans, rounded
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.activities import activity_at
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.returns import ReturnCase, Returns, Spell, spells_below
from planning_kit.plan.suits import DEFAULT_EXERTION, UNIT_WORDS, UNITS, WORDS, Store
from planning_kit.plan.timed import TimedPlan

SUITS, RETURN = "suits", "return"


def check_suits(plan: TimedPlan) -> Iterator[Finding]:
    """A consumable that runs out before the end (stop), or ends below its reserve (stop)."""
    for store in (store for history in plan.suit_histories for store in history.stores):
        if store.left_at_end < 0:  # of one that is not known neither: NaN
            yield _runs_out(plan, store)
        elif store.left_at_end < store.reserve:
            yield _below_reserve(plan, store)


def _runs_out(plan: TimedPlan, store: Store) -> Finding:
    when, short = store.runs_out_min, -store.left_at_end
    step = next((a.step for a in plan.lanes[store.crew] if a.finish_min >= when), "")
    safe = "the pressure can be breathed" if plan.safe_min > plan.end_min else "both are inside"
    return Finding(
        STOP, SUITS, "runs-out", about=store.consumable, crew=store.crew, step=step, start_min=when,
        message=f"{store.crew}'s {WORDS[store.consumable]} runs out at {pet_label(when, 'down')}, "
                f"{number_label(plan.safe_min - when, 'up', 0)} min before {safe} at "
                f"{pet_label(plan.safe_min)}: {_amount(plan, store, short, 'up')} short of the plan; "
                f"{_remedy(store)}",
        source=f"[suit] {store.consumable}_{store.unit}", value=store.left_at_end, limit=0.0, margin=-short)


def _below_reserve(plan: TimedPlan, store: Store) -> Finding:
    percent = 100 * store.reserve / store.usable if store.usable else 0.0
    return Finding(
        STOP, SUITS, "below-reserve", about=store.consumable, crew=store.crew, start_min=plan.safe_min,
        message=f"{store.crew} ends at {pet_label(plan.safe_min)} with "
                f"{_amount(plan, store, store.left_at_end, 'down')} of {WORDS[store.consumable]}, below the "
                f"reserve of {_amount(plan, store, store.reserve, 'up')} ({number_label(percent, 'up', 0)} % "
                f"of {_amount(plan, store, store.usable, 'down')}); {_remedy(store)}",
        source=f"[suit] {store.consumable}_reserve_fraction", value=store.left_at_end, limit=store.reserve,
        margin=store.left_at_end - store.reserve)


def check_suit_data(plan: TimedPlan) -> Iterator[Finding]:
    """Remarks: consumables that could not be checked, reserves not given, and what was assumed instead."""
    stores = [store for history in plan.suit_histories for store in history.stores]
    unknown = [store for store in stores if not store.is_known]
    for missing in dict.fromkeys(store.missing for store in unknown):
        lost = [store for store in unknown if store.missing == missing]
        yield _about("not-known", missing, lost,
                     f"not checked, nor in the return margins: {', '.join(missing)} missing")
    if bare := [store for store in stores if store.is_known and isnan(store.reserve)]:
        keys = dict.fromkeys(f"{store.consumable}_reserve_fraction" for store in bare)
        yield _about("no-reserve", keys, bare,
                     f"checked only against running out: [suit] {', '.join(keys)} missing")
    crew, suits = plan.scenario.records.crew, plan.scenario.settings.suits
    if unsaid := [step.step for step in plan.steps if not step.exertion and step.crew in (*suits, "both")]:
        yield _remark("no-exertion", unsaid, (),
                      f"no exertion given, counted as {DEFAULT_EXERTION}: {', '.join(unsaid)}")
    if no_factor := [person.crew for person in crew if person.exertion_factor is None]:
        yield _remark("no-exertion-factor", (), no_factor, "no exertion_factor in crew.csv: counted as 1")
    # Only of a suit that is described at all.
    no_before = [person.crew for person in crew
                 if set(vars(suits[person.crew].used_before).values()) == {None}
                 and any(getattr(suits[person.crew], f"{name}_{unit}") is not None
                         for name, unit in UNITS.items())]
    if no_before:
        yield _remark("no-use-before", (), no_before, "suit use before PET 0 "
                      "([suit.used_before]) is not given: counted as none")


def _about(rule: str, keys: Iterable[str], stores: Sequence[Store], what: str) -> Finding:
    consumables = tuple(dict.fromkeys(store.consumable for store in stores))
    words = ", ".join(WORDS[name] for name in consumables)
    return _remark(rule, (*consumables, *keys), dict.fromkeys(store.crew for store in stores),
                   f"{words}: {what}")


def _remark(rule: str, about: Iterable[str], who: Iterable[str], message: str) -> Finding:
    return Finding(REMARK, SUITS, rule, about=" ".join(about), crew=" ".join(who), message=message)


def _amount(plan: TimedPlan, store: Store, amount: float, side: Side) -> str:
    """To four digits, whole ones all."""
    digits = max(0, 3 - floor(log10(abs(amount)))) if amount else 0
    told = f"{rounded(amount, side, digits):g}"
    return measure(amount, UNIT_WORDS[store.unit], plan.scenario.settings, side, told)


def _remedy(store: Store) -> str:
    if store.consumable == "energy":
        return "shorten the outing (drop work, cut waits)"
    return f"drop or lighten work of {store.crew}, or give steps to the partner"


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
        _help_severity(plan), RETURN, "helped-no-way", about=" ".join(sorted(places)), crew=returns.crew,
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
        STOP if case.is_alone else _help_severity(plan), RETURN,
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
            yield Finding(REMARK, RETURN, "missing", key, message=f"[limits] {key} is missing: {effect}")
    if "carry" not in plan.scenario.settings.exertion_w:
        yield Finding(REMARK, RETURN, "missing", "carry", message="[exertion_w] carry is missing: who brings "
                      "the partner in counts as in travel, but uses more")
