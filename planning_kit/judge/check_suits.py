"""Check: what each suit has left at the end of the outing.

Rules: ``runs-out`` and ``below-reserve`` (about the consumable); what is not given: ``not-known`` and
``no-reserve`` (about the keys), ``no-exertion`` (about the steps), ``no-exertion-factor``, ``no-use-before``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from math import isnan, nan

from planning_kit.inputs.records import Suit
from planning_kit.inputs.times import pet_label
from planning_kit.judge.findings import REMARK, STOP, Finding
from planning_kit.plan.suits import DEFAULT_EXERTION, UNIT_WORDS, UNITS, WORDS, Store
from planning_kit.plan.timed import TimedPlan

CHECK = "suits"


def check_suits(plan: TimedPlan) -> Iterator[Finding]:
    """A consumable that runs out before the end (stop), or ends below its reserve (stop)."""
    for history in plan.suit_histories:
        for store in history.stores:
            if store.is_known and store.left_at_end < 0:
                yield _runs_out(plan, store)
            elif store.is_known and store.left_at_end < store.reserve:
                yield _below_reserve(plan, store)


def _runs_out(plan: TimedPlan, store: Store) -> Finding:
    when = store.runs_out_min
    short = -store.left_at_end
    return Finding(
        STOP, CHECK, "runs-out", store.consumable, store.crew, _step_at(plan, store.crew, when), when,
        f"{store.crew}'s {WORDS[store.consumable]} runs out at {pet_label(when)}, "
        f"{plan.end_min - when:.0f} min before both are inside at {pet_label(plan.end_min)}: "
        f"{_amount(store, short)} short of the plan; {_remedy(store)}",
        _source(store, "usable"), store.left_at_end, 0.0, -short,
    )


def _below_reserve(plan: TimedPlan, store: Store) -> Finding:
    percent = 100 * store.reserve / store.usable if store.usable else 0.0
    return Finding(
        STOP, CHECK, "below-reserve", store.consumable, store.crew, "", plan.end_min,
        f"{store.crew} ends at {pet_label(plan.end_min)} with {_amount(store, store.left_at_end)} of "
        f"{WORDS[store.consumable]}, below the reserve of {_amount(store, store.reserve)} ({percent:.0f} % "
        f"of {_amount(store, store.usable)}); {_remedy(store)}",
        _source(store, "reserve"), store.left_at_end, store.reserve, store.left_at_end - store.reserve,
    )


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
    yield from _assumptions(plan)


def _assumptions(plan: TimedPlan) -> Iterator[Finding]:
    crew, suits = plan.scenario.records.crew, plan.scenario.settings.suits
    unsaid = [step.step for step in plan.steps if not step.exertion and step.crew in (*suits, "both")]
    if unsaid:
        yield _remark("no-exertion", unsaid, (),
                      f"no exertion given, counted as {DEFAULT_EXERTION}: {', '.join(unsaid)}")
    no_factor = [person.crew for person in crew if person.exertion_factor is None]
    if no_factor:
        yield _remark("no-exertion-factor", (), no_factor, "no exertion_factor in crew.csv: counted as 1")
    no_before = [person.crew for person in crew if _uses_before_unknown(suits[person.crew])]
    if no_before:
        yield _remark("no-use-before", (), no_before, "suit use before egress ([suit] "
                      "used_before_egress_min) is not given: counted as none")


def _uses_before_unknown(suit: Suit) -> bool:
    """Nothing said of the use before egress, though the suit itself is described."""
    return suit.used_before_egress_min is None and any(
        getattr(suit, f"{name}_{unit}") is not None for name, unit in UNITS.items())


def _about(rule: str, keys: Iterable[str], stores: Sequence[Store], what: str) -> Finding:
    consumables = tuple(dict.fromkeys(store.consumable for store in stores))
    words = ", ".join(WORDS[name] for name in consumables)
    return _remark(rule, (*consumables, *keys), dict.fromkeys(store.crew for store in stores),
                   f"{words}: {what}")


def _remark(rule: str, about: Iterable[str], who: Iterable[str], message: str) -> Finding:
    return Finding(REMARK, CHECK, rule, " ".join(about), " ".join(who), "", nan, message)


def _step_at(plan: TimedPlan, crew: str, pet_min: float) -> str:
    return next((a.step for a in plan.lanes[crew] if a.finish_min >= pet_min), "")


def _amount(store: Store, amount: float) -> str:
    return f"{amount:.4g} {UNIT_WORDS[store.unit]}"


def _remedy(store: Store) -> str:
    if store.consumable == "energy":
        return "shorten the outing (drop work, cut waits)"
    return f"drop or lighten work of {store.crew}, or give steps to the partner"


def _source(store: Store, what: str) -> str:
    key = f"{store.consumable}_{store.unit}" if what == "usable" else f"{store.consumable}_reserve_fraction"
    return f"[suit] {key}"
