"""Whether each crew member can be back inside in time, from every minute of the outing.

At every whole minute, and just before and at every point where someone comes to a place, leaves it or moves
a hook: the time back alone and with the partner's help (`planning_kit.plan.homeward.ways_back`), plus
ingress, against the emergency oxygen and against the consumables, used at the rate of travel on the way and
in the airlock; with the partner those of both count. Between these moments all runs along straight lines,
but where two ways back are equally long on a leg. Going in, what is left of ingress is the time back.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from planning_kit.plan.homeward.ways_back import Mover, Rescue, Spot, alone_min, movers, spot_at
from planning_kit.plan.lines.tethers import Lie
from planning_kit.plan.suit.suits import Store, SuitHistory

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan

Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Returns:
    """One crew member's way back at each moment of ``at_min`` (PET); all arrays (n,), minutes, NaN unknown.

    ``place`` is an id, or ``FROM to TO``. ``alone_min`` and ``with_partner_min`` end inside. The margins are
    what is left over: ``emergency_margin_min`` and ``partner_margin_min`` of the emergency oxygen,
    ``suit_margin_min`` of the consumable that would run out first on the way (``first_out``, "" unknown), and
    ``partner_suit_margin_min`` of the first of both crew members (``partner_first_out``: ``EV2 oxygen``).
    ``stay_min``: how much longer than planned they could wait at the airlock, from ``ingress_start_min``, and
    still keep the reserve of the consumables; ``partner_stay_min``: so that both keep it. ``hard_min`` is the
    hard limit.
    """

    crew: str
    at_min: Numbers
    place: tuple[str, ...]
    alone_min: Numbers
    with_partner_min: Numbers
    emergency_margin_min: Numbers
    partner_margin_min: Numbers
    first_out: tuple[str, ...]
    suit_margin_min: Numbers
    partner_first_out: tuple[str, ...]
    partner_suit_margin_min: Numbers
    ingress_start_min: float
    hard_min: float
    stay_min: float
    partner_stay_min: float

    @property
    def margin_min(self) -> Numbers:
        """The smaller of the margins alone: emergency oxygen and consumables."""
        return np.fmin(self.emergency_margin_min, self.suit_margin_min)


def return_times(plan: TimedPlan) -> tuple[Returns, ...]:
    """The way back of each crew member through the plan."""
    mover_of = movers(plan.scenario.records, plan.travels)
    moments = _moments(plan)
    spots = {crew: _spots(plan.tracked_tethers[crew].lies, moments) for crew in mover_of}
    return tuple(_returns(plan, crew, mover_of, spots, moments) for crew in mover_of)


def _moments(plan: TimedPlan) -> Numbers:
    """Every whole minute, and where either crew member's line begins to lie anew, from both sides.

    The other side is the last float before: there the passage before still holds.
    """
    lies = [lie for tether in plan.tracked_tethers.values() for lie in tether.lies]
    anew = np.array([lie.passage.start_min for lie in lies])
    before = np.nextafter(anew[anew > 0], 0.0)
    whole = np.arange(int(plan.end_min) + 1, dtype=float)
    return np.unique(np.concatenate((whole, anew, before, [plan.end_min])))


def _spots(lies: Sequence[Lie], moments: Numbers) -> list[Spot]:
    """The spot at each moment; where two passages meet, in the later one."""
    begins = np.array([lie.passage.start_min for lie in lies])
    which = np.searchsorted(begins, moments, side="right") - 1
    return [spot_at(lies[number], at) for number, at in zip(which.tolist(), moments.tolist(), strict=True)]


def _returns(plan: TimedPlan, crew: str, mover_of: Mapping[str, Mover],
             spots: Mapping[str, Sequence[Spot]], moments: Numbers) -> Returns:
    limits = plan.scenario.settings.limits
    going_in = plan.end_min - plan.network.ingress_min
    ingress = np.minimum(plan.end_min - moments, plan.network.ingress_min)
    alone = _alone(mover_of[crew], spots[crew], limits.hook_move_min or 0.0)
    helped = _helped(plan, crew, mover_of, spots)
    alone, helped = (np.where(moments < going_in, way, 0.0) + ingress for way in (alone, helped))
    oxygen = float("nan") if limits.emergency_oxygen_min is None else limits.emergency_oxygen_min
    first_out, suit_margin = _suit_margin([_history_of(plan, crew)], moments, alone)
    of_both, partner_suit_margin = _suit_margin(plan.suit_histories, moments, helped)
    return Returns(
        crew, moments, tuple(" to ".join(spot.ends) for spot in spots[crew]), alone, helped, oxygen - alone,
        oxygen - helped, tuple(name.partition(" ")[2] for name in first_out), suit_margin, of_both,
        partner_suit_margin, going_in, limits.hard_min, _stay_min(plan, [crew]),
        _stay_min(plan, list(plan.travels)),
    )


def _alone(mover: Mover, spots: Sequence[Spot], hook_move_min: float) -> Numbers:
    return np.array([alone_min(mover, spot, hook_move_min) for spot in spots])


def _helped(plan: TimedPlan, crew: str, mover_of: Mapping[str, Mover],
            spots: Mapping[str, Sequence[Spot]]) -> Numbers:
    """NaN where there is no carry factor."""
    limits = plan.scenario.settings.limits
    (partner,) = (other for other in mover_of if other != crew)  # the format has EV1 and EV2, no more
    if limits.partner_carry_factor is None:
        return np.full(len(spots[crew]), np.nan)
    rescue = Rescue(mover_of[crew], mover_of[partner], limits.partner_carry_factor,
                    limits.hook_move_min or 0.0)
    standing: dict[tuple[int, int], float] = {}  # by identity of the lies, which outlive this
    times = []
    for spot, partner_spot in zip(spots[crew], spots[partner], strict=True):
        key = (id(spot.lie), id(partner_spot.lie))
        if key in standing:
            times.append(standing[key])
            continue
        times.append(rescue.minutes(spot, partner_spot))
        if not spot.is_on_leg and not partner_spot.is_on_leg:
            standing[key] = times[-1]
    return np.array(times)


def _history_of(plan: TimedPlan, crew: str) -> SuitHistory:
    return next(history for history in plan.suit_histories if history.crew == crew)


def _suit_margin(histories: Sequence[SuitHistory], moments: Numbers,
                 back: Numbers) -> tuple[tuple[str, ...], Numbers]:
    """The consumable that lasts least on the way home at each moment, and its minutes over the time back.

    Named with its crew member: ``EV1 oxygen``.
    """
    known = [store for history in histories for store in history.stores if store.is_known]
    if not known:
        return ("",) * len(moments), np.full(len(moments), np.nan)
    lasts = np.array([_lasts_min(store, moments) for store in known])
    first = lasts.argmin(axis=0)
    names = [f"{store.crew} {store.consumable}" for store in known]
    return tuple(names[i] for i in first.tolist()), lasts.min(axis=0) - back


def _lasts_min(store: Store, moments: Numbers) -> Numbers:
    left = store.left_at(moments)
    return left / store.travel_rate if store.travel_rate > 0 else np.full(len(moments), np.inf)


def _stay_min(plan: TimedPlan, crew: Sequence[str]) -> float:
    """How long all could wait at the airlock, at the rate of waiting, before an ingress with the reserve.

    Used at the rate of travel during ingress, as everywhere here. NaN where no consumable is known.
    """
    limits = plan.scenario.settings.limits
    kept = limits.ingress_min + (limits.return_reserve_min or 0.0)
    at = np.array([plan.end_min - plan.network.ingress_min])
    stays = [(float(store.left_at(at)[0]) - kept * store.travel_rate) / store.wait_rate
             for store in chain.from_iterable(_history_of(plan, each).stores for each in crew)
             if store.is_known and store.wait_rate > 0]
    return min(stays, default=float("nan"))
