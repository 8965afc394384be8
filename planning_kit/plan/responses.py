"""When a response may be needed, what is left with it at each moment, and how far it is to fall back.

From the trigger on it takes ``decide_by_min``, then its high minutes, then the way home
(`planning_kit.plan.returns`). What these use more than travel does is counted, at the rate of the work under
way. Not given, minutes are none, and a check says so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np

from planning_kit.inputs.format import SUITED
from planning_kit.inputs.procedure_records import ABORT, ALONG, BRINGS, Response
from planning_kit.plan.legs import Passage
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.procedure import Doing
from planning_kit.plan.returns import Numbers, Returns, WayHome
from planning_kit.plan.suits import SuitHistory
from planning_kit.plan.travel import Travel


def way_of(response: Response, returns: Returns) -> WayHome:
    """The way home that a response needs; of ``go on`` and ``wait`` the one that must still be left."""
    is_brought = response.companion == BRINGS
    if response.call == ABORT:
        return returns.partner_abort if is_brought else returns.abort
    return returns.partner_terminate if is_brought else returns.terminate


@dataclass(frozen=True)
class Left:
    """What is left at each moment of one crew member's way home (n,), minutes; NaN not known, -inf no way.

    ``supply_min``: of oxygen or of the suits; ``limit_min``: until the hard limit, NaN of an abort;
    ``before_min``: the least of both without the response.
    """

    supply_min: Numbers
    limit_min: Numbers
    before_min: Numbers

    def over(self, reserve_min: float) -> Numbers:
        """The least that is left beyond the reserve and until the hard limit."""
        return np.fmin(self.supply_min - reserve_min, self.limit_min)


def left_with(response: Response, who: Sequence[Returns], suits: Sequence[SuitHistory],
              reserve_min: float) -> Left:
    """What is left where ``who`` (the one concerned first, then the partner) do as the response says."""
    going, most = who if response.companion == ALONG else who[:1], response.most_min
    own = [_left(response, each, suits, most) for each in going]
    bare = [_left(response, each, suits, 0.0) for each in going]
    supply, limit = (np.min([each[at] for each in own], axis=0) for at in (0, 1))
    before = np.min([np.fmin(each[0] - reserve_min, each[1]) for each in bare], axis=0)
    return Left(supply, limit, before)


def _left(response: Response, returns: Returns, suits: Sequence[SuitHistory],
          minutes: float) -> tuple[Numbers, Numbers]:
    way = way_of(response, returns)
    if response.call == ABORT:
        return way.oxygen_margin_min - minutes, np.full(len(returns.at_min), np.nan)
    stores = [store for suit in suits for store in suit.stores if store.is_known and store.travel_rate > 0
              and (suit.crew == returns.crew or response.companion == BRINGS)]
    harder = [np.maximum(store.rate_at(returns.at_min) / store.travel_rate, 1.0) for store in stores]
    used = minutes * np.max(harder, axis=0) if harder else np.full(len(returns.at_min), minutes)
    to_limit = returns.hard_min - returns.at_min - (way.home_min - returns.after_end_min) - minutes
    return way.suit_margin_min - used, to_limit


def needed_at(response: Response, every: Sequence[Doing], crew: str,
              last_min: float) -> list[tuple[float, float]]:
    """When one crew member may need it (PET): a cause at any minute, an action while its step lasts.

    An action of nobody in a suit is one of both.
    """
    if response.trigger:
        return [(0.0, last_min)]
    return [(each.start_min, each.finish_min) for each in every if each.action.if_not == response.response
            and crew in ({*each.people} & {*SUITED} or {*each.step.people} & {*SUITED} or SUITED)]


@dataclass(frozen=True)
class Away:
    """The minute (PET) at which somebody is farthest from a place to fall back to; infinite: no way."""

    at_min: float
    minutes: float
    step: str
    spans: tuple[tuple[float, float], ...]


def farthest(passages: Sequence[Passage], travel: Travel, fall_back: Sequence[str],
             most_min: float) -> Away | None:
    """Where one crew member is farther than ``most_min`` from the nearest of these places; None nowhere.

    On a leg they turn round or go on, whichever is nearer: between its ends the way is longest where both
    are equally long. A leg counts whole; where nobody knows where they are nothing is told here.
    """
    every = ((*_farthest_on(each, travel, fall_back), each) for each in passages if each.is_known)
    found = [(minutes, -at, each) for minutes, at, each in every if minutes > most_min + ROUNDING_MIN]
    if not found:
        return None
    minutes, at, passage = max(found, key=lambda each: each[:2])
    return Away(-at, minutes, passage.step, tuple((each.start_min, each.finish_min) for *_, each in found))


def _farthest_on(passage: Passage, travel: Travel, places: Sequence[str]) -> tuple[float, float]:
    here = min((travel.time_min(passage.place, each) for each in places), default=inf)
    if passage.route is None:
        return here, passage.start_min
    there = min((travel.time_min(passage.to_place, each) for each in places), default=inf)
    leg = travel.legs[passage.place][passage.to_place]
    if here == there == inf:
        return inf, passage.start_min
    done = min(max((leg + there - here) / 2, 0.0), leg)
    share = done / leg if leg else 0.0
    return (min(here + done, there + leg - done),
            passage.start_min + share * (passage.finish_min - passage.start_min))
