"""Check: whether each crew member can be back inside in time from every point of the outing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import nan

import numpy as np
from numpy.typing import NDArray

from planning_kit.checks.findings import CAUTION, NOTE, STOP, Finding
from planning_kit.inputs.times import pet_label
from planning_kit.plan.returns import Returns
from planning_kit.plan.suits import WORDS
from planning_kit.plan.timed import TimedPlan

CHECK = "return"
_ROUNDING_MIN = 1e-9


@dataclass(frozen=True)
class _Spell:
    """Moments in a row whose margin is below the reserve: indices of the first, the worst and the last."""

    first: int
    worst: int
    last: int


def check_return(plan: TimedPlan) -> Iterator[Finding]:
    """A return margin below ``return_reserve_min``: alone (stop), with the partner's help (caution).

    One finding a spell, at its worst point. A spell with the partner is not told where the same crew member
    is too late alone.
    """
    for returns in plan.return_times:
        too_far = _below(plan, returns.emergency_margin_min)
        for spell in _spells(too_far, returns.emergency_margin_min):
            yield _too_far(plan, returns, spell)
        for spell in _spells(_below(plan, returns.suit_margin_min), returns.suit_margin_min):
            yield _too_late(plan, returns, spell)
        for spell in _spells(_below(plan, returns.partner_margin_min), returns.partner_margin_min):
            if not too_far[spell.first:spell.last + 1].any():
                yield _partner_too_far(plan, returns, spell)


def _reserve(plan: TimedPlan) -> float:
    return plan.scenario.settings.limits.return_reserve_min or 0.0


def _below(plan: TimedPlan, margin: NDArray[np.float64]) -> NDArray[np.bool_]:
    return margin < _reserve(plan) - _ROUNDING_MIN


def _spells(is_short: NDArray[np.bool_], margin: NDArray[np.float64]) -> Iterator[_Spell]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], is_short, [False]))))
    for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        yield _Spell(first, first + int(margin[first:after].argmin()), after - 1)


def _too_far(plan: TimedPlan, returns: Returns, spell: _Spell) -> Finding:
    back = float(returns.alone_min[spell.worst])
    return _finding(
        STOP, plan, returns, spell, returns.emergency_margin_min,
        f"alone is {back:.1f} min from being inside; {_oxygen(plan)}",
        "work at a nearer place, or give the step to the quicker of the two",
    )


def _partner_too_far(plan: TimedPlan, returns: Returns, spell: _Spell) -> Finding:
    back = float(returns.with_partner_min[spell.worst])
    partner = next((crew for crew in plan.travels if crew != returns.crew), "")
    return _finding(
        CAUTION, plan, returns, spell, returns.partner_margin_min,
        f"unable to move, needs {back:.1f} min until {partner} has brought them inside; {_oxygen(plan)}",
        f"keep {partner} nearer meanwhile, or accept that help comes late",
    )


def _too_late(plan: TimedPlan, returns: Returns, spell: _Spell) -> Finding:
    out = returns.first_out[spell.worst]
    back = float(returns.alone_min[spell.worst])
    lasts = back + float(returns.suit_margin_min[spell.worst])
    left = f"is left for {lasts:.1f} min of travel" if lasts > 0 else "has run out (see suits)"
    remedy = "drop or lighten work before"
    if spell.first > 0:
        remedy = f"turn back by {pet_label(float(returns.at_min[spell.first - 1]))}, or {remedy}"
    return _finding(
        STOP, plan, returns, spell, returns.suit_margin_min,
        f"is {back:.1f} min from being inside and {WORDS[out]} {left}",
        remedy,
    )


def _finding(severity: str, plan: TimedPlan, returns: Returns, spell: _Spell, margin: NDArray[np.float64],
             problem: str, remedy: str) -> Finding:
    at, value, reserve = float(returns.at_min[spell.worst]), float(margin[spell.worst]), _reserve(plan)
    begin, end = (pet_label(float(returns.at_min[i])) for i in (spell.first, spell.last))
    limits = plan.scenario.settings.limits
    return Finding(
        severity, CHECK, returns.crew, _step_at(plan, returns.crew, at), float(returns.at_min[spell.first]),
        f"{returns.crew} {problem}: margin {_signed(value)} min, at least {reserve:g} wanted. Worst at "
        f"{pet_label(at)} ({_words(plan, returns.place[spell.worst])}), below from {begin} to {end}: "
        f"{remedy}",
        limits.sources.get("return_reserve_min", ""), value, reserve, value - reserve,
    )


def check_return_data(plan: TimedPlan) -> Iterator[Finding]:
    """Notes for what the return margins lack. A tether without a length has its note in the tether check."""
    limits = plan.scenario.settings.limits
    for is_missing, message in (
        (limits.emergency_oxygen_min is None,
         "[limits] emergency_oxygen_min is missing: no return margin against emergency oxygen"),
        (limits.return_reserve_min is None,
         "[limits] return_reserve_min is missing: return margins are checked only against zero"),
        (limits.hook_move_min is None,
         "[limits] hook_move_min is missing: hook moves on the way back are counted as taking no time"),
        (limits.partner_carry_factor is None,
         "[limits] partner_carry_factor is missing: the return with the partner is not checked"),
    ):
        if is_missing:
            yield Finding(NOTE, CHECK, "", "", nan, message)


def _oxygen(plan: TimedPlan) -> str:
    return f"emergency oxygen lasts {plan.scenario.settings.limits.emergency_oxygen_min:g}"


def _signed(value: float) -> str:
    return f"{value:.1f}".replace("-", "−")


def _words(plan: TimedPlan, where: str) -> str:
    """Titles of a place, or of both ends of a leg (ids hold no blanks)."""
    return " to ".join(plan.place_title(place) for place in where.split(" to "))


def _step_at(plan: TimedPlan, crew: str, at_min: float) -> str:
    return next((a.step for a in plan.lanes[crew] if a.start_min <= at_min < a.finish_min), "")
