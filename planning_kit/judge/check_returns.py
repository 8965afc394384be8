"""Check: whether each crew member can be back inside in time from every point of the outing.

Rules: ``alone-too-far`` and ``helped-too-far`` for emergency oxygen (about the place, or both ends of the
leg, where the margin is least), ``alone-too-late`` and ``helped-too-late`` for the suit (about the
consumable); ``missing`` (about the key of the limit).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import nan

import numpy as np
from numpy.typing import NDArray

from planning_kit.inputs.times import pet_label
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.activities import activity_at
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.returns import Returns, crossing_min, worst_moment
from planning_kit.plan.suits import WORDS
from planning_kit.plan.timed import TimedPlan

CHECK = "return"
Margins = NDArray[np.float64]


@dataclass(frozen=True)
class _Spell:
    """A stretch of PET with a margin below the reserve; ``first``, ``worst``, ``last``: its moments."""

    first: int
    worst: int
    last: int
    from_min: float
    until_min: float


def check_return(plan: TimedPlan) -> Iterator[Finding]:
    """A return margin below ``return_reserve_min``: alone (stop), with the partner's help (concern).

    One finding a spell, at its worst point. A spell with the partner is not told where a stop in it already
    has as small a margin.
    """
    for returns in plan.return_times:
        partner = next(each for each in plan.return_times if each.crew != returns.crew)
        oxygen, suit = returns.emergency_margin_min, returns.suit_margin_min
        of_either = np.fmin(suit, partner.suit_margin_min)
        for spell in _spells(plan, returns, oxygen):
            yield _too_far(plan, returns, spell)
        for spell in _spells(plan, returns, suit):
            yield _too_late(plan, returns, spell)
        for spell in _spells(plan, returns, returns.partner_margin_min):
            if not _is_told(plan, spell, returns.partner_margin_min, oxygen):
                yield _partner_too_far(plan, returns, spell)
        for spell in _spells(plan, returns, returns.partner_suit_margin_min):
            if not _is_told(plan, spell, returns.partner_suit_margin_min, of_either):
                yield _partner_too_late(plan, returns, spell)


def _reserve(plan: TimedPlan) -> float:
    return plan.scenario.settings.limits.return_reserve_min or 0.0


def _spells(plan: TimedPlan, returns: Returns, margin: Margins) -> Iterator[_Spell]:
    over = margin - _reserve(plan)
    is_short = over < -ROUNDING_MIN
    edges = np.flatnonzero(np.diff(np.concatenate(([False], is_short, [False]))))
    for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        begin = crossing_min(returns.at_min, over, first) if first else float(returns.at_min[0])
        end = float(returns.at_min[after - 1])
        if after < len(over):
            end = crossing_min(returns.at_min, -over, after)
        yield _Spell(first, worst_moment(returns, margin, first, after), after - 1, begin, end)


def _is_told(plan: TimedPlan, spell: _Spell, margin: Margins, alone: Margins) -> bool:
    """Whether a stop alone in this spell has as small a margin as its worst."""
    least = float(np.min(alone[spell.first:spell.last + 1]))
    return least < _reserve(plan) - ROUNDING_MIN and least <= margin[spell.worst] + ROUNDING_MIN


def _too_far(plan: TimedPlan, returns: Returns, spell: _Spell) -> Finding:
    back = float(returns.alone_min[spell.worst])
    return _finding(
        STOP, "alone-too-far", _place(returns, spell), plan, returns, spell, returns.emergency_margin_min,
        f"alone is {back:.1f} min from being inside; {_oxygen(plan)}",
        "work at a nearer place, or give the step to the quicker of the two",
    )


def _partner_too_far(plan: TimedPlan, returns: Returns, spell: _Spell) -> Finding:
    partner = _partner(plan, returns)
    return _finding(
        CONCERN, "helped-too-far", _place(returns, spell), plan, returns, spell, returns.partner_margin_min,
        f"{_helped(plan, returns, spell)}; {_oxygen(plan)}",
        f"keep {partner} nearer meanwhile, or accept that help comes late",
    )


def _too_late(plan: TimedPlan, returns: Returns, spell: _Spell) -> Finding:
    back = float(returns.alone_min[spell.worst])
    left = _left(returns.first_out[spell.worst], back + float(returns.suit_margin_min[spell.worst]))
    return _finding(
        STOP, "alone-too-late", returns.first_out[spell.worst], plan, returns, spell, returns.suit_margin_min,
        f"is {back:.1f} min from being inside and {left}",
        _turn_back(spell) + "drop or lighten work before",
    )


def _partner_too_late(plan: TimedPlan, returns: Returns, spell: _Spell) -> Finding:
    back = float(returns.with_partner_min[spell.worst])
    whose, _, out = returns.partner_first_out[spell.worst].partition(" ")
    left = _left(out, back + float(returns.partner_suit_margin_min[spell.worst]))
    return _finding(
        CONCERN, "helped-too-late", f"{out} {whose}", plan, returns, spell, returns.partner_suit_margin_min,
        f"{_helped(plan, returns, spell)}, and {whose}'s {left}",
        f"{_turn_back(spell)}keep {_partner(plan, returns)} nearer meanwhile, or drop or lighten work before",
    )


def _partner(plan: TimedPlan, returns: Returns) -> str:
    return next((crew for crew in plan.travels if crew != returns.crew), "")


def _helped(plan: TimedPlan, returns: Returns, spell: _Spell) -> str:
    back = float(returns.with_partner_min[spell.worst])
    return f"unable to move, needs {back:.1f} min until {_partner(plan, returns)} has brought them inside"


def _left(consumable: str, lasts_min: float) -> str:
    left = f"is left for {lasts_min:.1f} min of travel" if lasts_min > 0 else "has run out (see suits)"
    return f"{WORDS[consumable]} {left}"


def _turn_back(spell: _Spell) -> str:
    return f"turn back by {pet_label(spell.from_min)}, or " if spell.first > 0 else ""


def _place(returns: Returns, spell: _Spell) -> str:
    """Where it is worst; a leg by its two ends, whichever way it is walked."""
    return " ".join(sorted(returns.place[spell.worst].split(" to ")))


def _finding(severity: str, rule: str, about: str, plan: TimedPlan, returns: Returns, spell: _Spell,
             margin: Margins, problem: str, remedy: str) -> Finding:
    at, value, reserve = float(returns.at_min[spell.worst]), float(margin[spell.worst]), _reserve(plan)
    limits = plan.scenario.settings.limits
    return Finding(
        severity, CHECK, rule, about, returns.crew, _step_at(plan, returns.crew, at), spell.from_min,
        f"{returns.crew} {problem}: margin {_signed(value)} min, at least {reserve:g} wanted. Worst at "
        f"{pet_label(at)} ({_words(plan, returns.place[spell.worst])}), below from "
        f"{pet_label(spell.from_min)} to {pet_label(spell.until_min)}: {remedy}",
        limits.sources.get("return_reserve_min", ""), value, reserve, value - reserve,
    )


def check_return_data(plan: TimedPlan) -> Iterator[Finding]:
    """Remarks for what the return margins lack. A tether without a length: see tethers."""
    limits = plan.scenario.settings.limits
    for key, message in (
        ("emergency_oxygen_min",
         "[limits] emergency_oxygen_min is missing: no return margin against emergency oxygen"),
        ("return_reserve_min",
         "[limits] return_reserve_min is missing: return margins are checked only against zero"),
        ("hook_move_min",
         "[limits] hook_move_min is missing: hook moves on the way back are counted as taking no time"),
        ("partner_carry_factor",
         "[limits] partner_carry_factor is missing: the return with the partner is not checked"),
    ):
        if getattr(limits, key) is None:
            yield Finding(REMARK, CHECK, "missing", key, "", "", nan, message)


def _oxygen(plan: TimedPlan) -> str:
    return f"emergency oxygen lasts {plan.scenario.settings.limits.emergency_oxygen_min:g} min"


def _signed(value: float) -> str:
    return f"{value:.1f}".replace("-", "−")


def _words(plan: TimedPlan, where: str) -> str:
    """Titles of a place, or of both ends of a leg (ids hold no blanks)."""
    return " to ".join(plan.place_title(place) for place in where.split(" to "))


def _step_at(plan: TimedPlan, crew: str, at_min: float) -> str:
    activity = activity_at(plan.lanes[crew], at_min)
    return activity.step if activity else ""
