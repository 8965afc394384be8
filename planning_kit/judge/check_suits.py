"""Check: what each suit has left at the end of the outing.

Rules: ``runs-out`` and ``below-reserve`` (about the consumable); what is not given: ``not-known`` and
``no-reserve`` (about the keys), ``no-exertion`` (about the steps), ``no-exertion-factor``, ``no-use-before``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from math import floor, isnan, log10

from planning_kit.inputs.times import Side, number_label, pet_label, rounded
from planning_kit.judge.findings import REMARK, STOP, Finding
from planning_kit.plan.suits import DEFAULT_EXERTION, UNIT_WORDS, UNITS, WORDS, Store
from planning_kit.plan.timed import TimedPlan

CHECK = "suits"


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
        STOP, CHECK, "runs-out", about=store.consumable, crew=store.crew, step=step, start_min=when,
        message=f"{store.crew}'s {WORDS[store.consumable]} runs out at {pet_label(when, 'down')}, "
                f"{number_label(plan.safe_min - when, 'up', 0)} min before {safe} at "
                f"{pet_label(plan.safe_min)}: {_amount(store, short, 'up')} short of the plan; "
                f"{_remedy(store)}",
        source=f"[suit] {store.consumable}_{store.unit}", value=store.left_at_end, limit=0.0, margin=-short)


def _below_reserve(plan: TimedPlan, store: Store) -> Finding:
    percent = 100 * store.reserve / store.usable if store.usable else 0.0
    return Finding(
        STOP, CHECK, "below-reserve", about=store.consumable, crew=store.crew, start_min=plan.safe_min,
        message=f"{store.crew} ends at {pet_label(plan.safe_min)} with "
                f"{_amount(store, store.left_at_end, 'down')} of {WORDS[store.consumable]}, below the "
                f"reserve of {_amount(store, store.reserve, 'up')} ({number_label(percent, 'up', 0)} % "
                f"of {_amount(store, store.usable, 'down')}); {_remedy(store)}",
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
    bare = [store for store in stores if store.is_known and isnan(store.reserve)]
    if bare:
        keys = dict.fromkeys(f"{store.consumable}_reserve_fraction" for store in bare)
        yield _about("no-reserve", keys, bare,
                     f"checked only against running out: [suit] {', '.join(keys)} missing")
    crew, suits = plan.scenario.records.crew, plan.scenario.settings.suits
    unsaid = [step.step for step in plan.steps if not step.exertion and step.crew in (*suits, "both")]
    if unsaid:
        yield _remark("no-exertion", unsaid, (),
                      f"no exertion given, counted as {DEFAULT_EXERTION}: {', '.join(unsaid)}")
    no_factor = [person.crew for person in crew if person.exertion_factor is None]
    if no_factor:
        yield _remark("no-exertion-factor", (), no_factor, "no exertion_factor in crew.csv: counted as 1")
    # Only of a suit that is described at all.
    no_before = [person.crew for person in crew
                 if set(vars(suits[person.crew].used_before).values()) == {None}
                 and any(getattr(suits[person.crew], f"{name}_{unit}") is not None for name,
                         unit in UNITS.items())]
    if no_before:
        yield _remark("no-use-before", (), no_before, "suit use before PET 0 "
                      "([suit.used_before]) is not given: counted as none")


def _about(rule: str, keys: Iterable[str], stores: Sequence[Store], what: str) -> Finding:
    consumables = tuple(dict.fromkeys(store.consumable for store in stores))
    words = ", ".join(WORDS[name] for name in consumables)
    return _remark(rule, (*consumables, *keys), dict.fromkeys(store.crew for store in stores),
                   f"{words}: {what}")


def _remark(rule: str, about: Iterable[str], who: Iterable[str], message: str) -> Finding:
    return Finding(REMARK, CHECK, rule, about=" ".join(about), crew=" ".join(who), message=message)


def _amount(store: Store, amount: float, side: Side) -> str:
    """To four digits, whole ones all."""
    digits = max(0, 3 - floor(log10(abs(amount)))) if amount else 0
    return f"{rounded(amount, side, digits):g} {UNIT_WORDS[store.unit]}"


def _remedy(store: Store) -> str:
    if store.consumable == "energy":
        return "shorten the outing (drop work, cut waits)"
    return f"drop or lighten work of {store.crew}, or give steps to the partner"
