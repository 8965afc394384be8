"""The hard limit of a plan: a number of the scenario, or as long as the suits last (``consumables``).

By consumables it is the first minute of PET at which a store of either suit reaches its reserve along the
timed plan, continued after its end at the larger of the rates of waiting and travel (or of going in, should
that be more), less the minutes from the end that the limits bound until the pressure can be breathed; rounded
down to a whole minute. It is that of these times: it is held where slack is asked for, and another timing has
another limit. A store without a reserve counts until it is empty. One that is not known cannot bound it, and
where nothing is known of one suit, no limit is reckoned. It never lies beyond the horizon, since no windows
are known there.

Of many timings of one order of work (samples, PET 0 times) all limits are reckoned at once: what is used in
an activity does not depend on when it is, so that only the edges of the activities differ.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter
from typing import Self

import numpy as np

from planning_kit.inputs.faults import Faults
from planning_kit.inputs.format import SCENARIO_FILE
from planning_kit.inputs.setting_records import CONSUMABLES
from planning_kit.plan.activities import TRAVEL, WAIT, WORK, Activity, Timings, stretches
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.plan_times import HardLimit, Times
from planning_kit.plan.suits import WORDS, Numbers, Store, SuitHistory, reserve_reached_min


def by_consumables(times: Times, lanes: Mapping[str, Sequence[Activity]],
                   suits: Sequence[SuitHistory]) -> HardLimit:
    """The hard limit of a plan with these lanes and suits; `ScenarioError` where it cannot be reckoned."""
    stop_if_unknown(suits)
    rule = LimitRule.by_consumables(times, lanes, suits)
    reached = []
    for use in rule.uses:
        # Along its lane as far as the end, and after that.
        store, edges = use.store, int(np.searchsorted(use.store.at_min, times.end_min, side="right"))
        own = store.at_min[:edges, None], store.left[:1], store.rates[None, :edges - 1]
        at_min = reserve_reached_min(*own, np.array([store.floor]), np.array([use.then]))
        reached.append((float(at_min[0, 0]), store))
    first_min, first = min(reached, key=itemgetter(0))
    minutes = float(rule.last_end(np.array([first_min]))[0])
    if first_min - rule.until_safe_min > rule.horizon_min:
        return HardLimit(minutes, "no windows are known beyond")
    how = "runs out" if np.isnan(first.reserve) else "reaches its reserve"
    return HardLimit(minutes, f"{first.crew} {WORDS[first.consumable]} {how}")


def stop_if_unknown(suits: Sequence[SuitHistory]) -> None:
    """Raise `ScenarioError`, with what to type, where a suit has no store of which anything is known."""
    faults = Faults()
    for suit in suits:
        if not any(store.is_known for store in suit.stores):
            missing = ", ".join(dict.fromkeys(key for store in suit.stores for key in store.missing))
            faults.add(SCENARIO_FILE, None, "limits.hard_min", CONSUMABLES,
                       f"cannot be reckoned: no store of {suit.crew}'s suit is known; type {missing}, or "
                       "give hard_min in minutes")
    faults.stop_if_any()


@dataclass(frozen=True)
class _Use:
    """What one store is used by, per minute, whenever that is; ``work`` by step, "" for going in."""

    store: Store
    work: Mapping[str, float]

    @property
    def then(self) -> float:
        """The use per minute after the end."""
        return max(self.store.travel_rate, self.store.wait_rate, self.work.get("", 0.0))

    def rate(self, kind: str, step: str) -> float:
        idle = {TRAVEL: self.store.travel_rate, WAIT: self.store.wait_rate}
        return idle.get(kind, self.work.get(step, self.work.get("", 0.0)))


@dataclass(frozen=True)
class LimitRule:
    """How the hard limit of any timing of an outing is reckoned: the same for all, or by stores. Pickles.

    ``until_safe_min``: from the end to breathable pressure; no end is told beyond ``horizon_min``.
    """

    fixed_min: float | None
    uses: tuple[_Use, ...] = ()
    until_safe_min: float = 0.0
    horizon_min: float = np.inf

    @classmethod
    def by_consumables(cls, times: Times, lanes: Mapping[str, Sequence[Activity]],
                       suits: Sequence[SuitHistory]) -> Self:
        """The rule of a plan with these lanes and suits."""
        uses = tuple(_Use(store, {activity.step: rate for activity, rate in zip(
            lanes[suit.crew], store.rates.tolist(), strict=True) if activity.kind == WORK})
            for suit in suits for store in suit.stores if store.is_known)
        return cls(None, uses, times.scenario.settings.airlock.after_end_min, times.horizon_min)

    def last_end(self, reached_min: Numbers) -> Numbers:
        """The latest end, whole minutes (n,), where reserves are reached at ``reached_min`` (n,)."""
        latest = np.minimum(reached_min - self.until_safe_min, self.horizon_min)
        return np.asarray(np.maximum(np.floor(latest + ROUNDING_MIN), 0.0))

    def minutes(self, timings: Timings) -> np.ndarray:
        """The hard limit of each timing (n,), PET; NaN for one that has no end."""
        found = np.full(len(timings.end_min), np.nan if self.fixed_min is None else self.fixed_min)
        placed = np.isfinite(timings.end_min)
        if self.fixed_min is not None or not placed.any():
            return found
        timings = timings.only(placed)
        first = [self._first_reached_min(timings, crew) for crew in {use.store.crew for use in self.uses}]
        found[placed] = self.last_end(np.min(first, axis=0))
        return found

    def _first_reached_min(self, timings: Timings, crew: str) -> np.ndarray:
        """When the first store of a crew member is down to its reserve in each timing (n,)."""
        lane, names = [*stretches(timings, crew)], [*(step.step for step in timings.steps), ""]
        at_min = np.maximum.accumulate([0.0 * timings.end_min, *(each.until_min for each in lane)])
        own = [use for use in self.uses if use.store.crew == crew]
        rates = np.array([[use.rate(each.kind, names[each.step]) for each in lane] for use in own])
        at_start, floor, then = np.array([(use.store.left[0], use.store.floor, use.then) for use in own]).T
        return np.asarray(reserve_reached_min(at_min, at_start, rates, floor, then).min(axis=0))
