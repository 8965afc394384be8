"""When a hazard is there, and when its controls hold; what is not known counts as there, and as not held.

Stretches are closed and in PET minutes, arrays (n, 2) that may reach to infinity. A `Doubt` says where the
unsafe case is only assumed. An inhibit controls once ``safe_after_min`` have passed since it was set and the
step ``confirmed_by`` is finished, until it is lifted. ``off:INHIBIT`` holds at all other times: as long as
nobody knows that it works, the unsafe case is that it is off.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from functools import cache, lru_cache, reduce
from math import inf

import numpy as np

from planning_kit.inputs.hazard_words import Controls, Term
from planning_kit.inputs.omm import Elements
from planning_kit.inputs.records import Hazard
from planning_kit.inputs.times import pet_label
from planning_kit.plan.custody_state import Custody
from planning_kit.plan.legs import Passage
from planning_kit.plan.needs import Hold
from planning_kit.plan.plan_times import Times
from planning_kit.sky.light import Light, light_between
from planning_kit.sky.orbit import Orbit, edge_uncertainty_s
from planning_kit.sky.season import beta_windows
from planning_kit.sky.windows import Windows, complement, covered_at_least, intersect, no_windows, union

HELD, SAFE, CONFIRMED = "held", "safe", "confirmed"
_ALWAYS = (-inf, inf)

Doubt = tuple[float, float, str]
"""From when until when (PET minutes) the unsafe case is assumed, and why."""


def control_windows(holds: Sequence[Hold], stage: str = CONFIRMED) -> dict[str, Windows]:
    """By inhibit, when it controls: what is `HELD`, of that what is `SAFE`, of that what is `CONFIRMED`.

    One that ends before its first step begins never does.
    """
    found = {}
    for hold in holds:
        inhibit, begin = hold.inhibit, hold.set_by_min
        if stage != HELD and inhibit.safe_after_min is not None:
            begin = hold.safe_from_min
        if stage == CONFIRMED and inhibit.confirmed_by:
            begin = max(begin, hold.confirmed_min)
        is_forward = hold.lift_after_min >= hold.set_by_min + inhibit.lead_min
        found[inhibit.inhibit] = (np.array([[begin, hold.lift_after_min]])
                                  if is_forward and hold.lift_after_min > begin else no_windows())
    return found


def controlled(controls: Controls | str | None, by_inhibit: Mapping[str, Windows]) -> Windows:
    """When enough of the inhibits hold: of none never. One that is named twice in a group counts once."""
    if controls is None:
        return no_windows()
    if isinstance(controls, str):
        return by_inhibit.get(controls, no_windows())
    each = [controlled(one, by_inhibit) for one in dict.fromkeys(controls.of)]
    return covered_at_least(controls.least, *each)


class Conditions:
    """When the terms of ``when`` hold in one plan; each term is looked up once."""

    def __init__(self, times: Times, passages: Mapping[str, Sequence[Passage]], custody: Custody,
                 by_inhibit: Mapping[str, Windows]) -> None:
        """``by_inhibit``: when each inhibit controls."""
        self._times, self._passages, self._custody, self._by_inhibit = times, passages, custody, by_inhibit
        self._term = cache(self._found)

    def of(self, hazard: Hazard) -> tuple[Windows, list[Doubt]]:
        """When all terms of a hazard hold, and what of that is assumed."""
        found = [self._term(term) for term in hazard.when]
        windows = reduce(intersect, (windows for windows, _ in found), np.array([_ALWAYS]))
        return windows, [doubt for _, doubts in found for doubt in doubts]

    def _found(self, term: Term) -> tuple[Windows, list[Doubt]]:
        if term.kind in ("day", "night"):
            return self._light(term.kind)
        if term.kind in ("beta", "abs(beta)"):
            times = self._times
            windows = _beta(times.scenario.elements, times.pet_zero, times.horizon_min, term)
            return union(windows, np.array([[times.horizon_min, inf]])), [self._beyond("beta")]
        if term.kind == "item":
            return self._item(term)
        if term.kind == "off":
            return complement(self._by_inhibit.get(term.about, no_windows()), _ALWAYS), []
        return np.array([_ALWAYS]), []

    def _beyond(self, what: str) -> Doubt:
        horizon_min = self._times.horizon_min
        return horizon_min, inf, f"{what} is not known after {pet_label(horizon_min, 'down')} (horizon_h)"

    def _light(self, kind: str) -> tuple[Windows, list[Doubt]]:
        """Whenever it is not wholly the other: that one's windows, less guard and uncertainty, are free."""
        times, orbit = self._times, Orbit(self._times.scenario.elements)
        guard_s = times.scenario.settings.night_guard_s

        def wide_min(minutes: np.ndarray) -> np.ndarray:
            return np.asarray(edge_uncertainty_s(orbit, times.pet_zero, minutes * 60.0) + guard_s) / 60.0

        most = float(wide_min(np.array([0.0, times.horizon_min])).max()) + 0.1
        if most > orbit.period_min:
            return np.array([_ALWAYS]), [(-inf, inf, "the elements are too old to tell day from night")]
        free, before = (light.night if kind == "day" else light.day for light in (
            times.light, _light_before(times.scenario.elements, times.pet_zero, most)))
        # What ended shortly before PET 0 still reaches into it, widened.
        free = union(before - most, free)
        free = free + wide_min(free) * (1.0, -1.0)
        return complement(free[free[:, 1] > free[:, 0]], _ALWAYS), [self._beyond("the light")]

    def _item(self, term: Term) -> tuple[Windows, list[Doubt]]:
        """It lies there, or is in the hands of somebody who stands there."""
        spans, doubts = [], []
        holdings = [each for each in self._custody.holdings if each.item == term.about]
        for each in holdings:
            if each.holder == term.place:
                spans.append((each.from_min, each.until_min))
            elif each.holder in self._passages:
                spans += [(max(each.from_min, stay.start_min), min(each.until_min, stay.finish_min))
                          for stay in self._passages[each.holder]
                          if stay.route is None and stay.place == term.place]
            elif each.holder in {actor.actor for actor in self._times.scenario.records.actors}:
                spans.append((each.from_min, each.until_min))
                doubts.append((*spans[-1], f"where {each.holder} has {term.about} is not known"))
        if not holdings:
            return np.array([_ALWAYS]), [(-inf, inf, f"where {term.about} is, is not known")]
        known = np.array([span for span in spans if span[1] > span[0]]).reshape(-1, 2)
        return covered_at_least(1, known), doubts


@lru_cache(maxsize=64)
def _beta(elements: Elements, pet_zero: datetime, horizon_min: float, term: Term) -> Windows:
    return beta_windows(Orbit(elements), pet_zero, pet_zero + timedelta(minutes=horizon_min), term.sign,
                        term.degrees, term.kind == "abs(beta)")


@lru_cache(maxsize=64)
def _light_before(elements: Elements, pet_zero: datetime, minutes: float) -> Light:
    # A minute more than that: cut at the same moment, rounding could part the two from each other.
    begin, end = pet_zero - timedelta(minutes=minutes), pet_zero + timedelta(minutes=1)
    return light_between(Orbit(elements), begin, end)


def assumed_in(doubts: Sequence[Doubt], begin: float, end: float) -> Iterator[str]:
    """Why the unsafe case is assumed between two minutes."""
    return (why for first, last, why in doubts if first <= end and last > begin)
