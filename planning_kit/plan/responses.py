"""When a response may be needed, what is left with it at each moment, and how far it is to fall back.

From the trigger on it takes ``decide_by_min``, then its high minutes, then the way home
(`planning_kit.plan.returns`). What these use more than travel does is counted, at the rate of the work under
way. Not given, minutes are none, and a check says so. The way to fall back is that of travel, without hooks.
"""

from collections.abc import Sequence
from math import inf
from typing import NamedTuple

import numpy as np

from planning_kit.inputs.format import SUITED
from planning_kit.inputs.procedure_records import ABORT, ALONG, BRINGS, Response
from planning_kit.plan.legs import Passage
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.procedures import Doing
from planning_kit.plan.returns import Numbers, Returns
from planning_kit.plan.suits import SuitHistory
from planning_kit.plan.travel import Travel


class Left(NamedTuple):
    """What is left at each moment of one crew member's way home (n,), minutes; NaN not known, -inf no way.

    ``over_min``: the least beyond the reserve and until the hard limit, ``before_min``: without the response;
    ``supply_min``: of oxygen or of the suits; ``limit_min``: until the hard limit, NaN of an abort.
    """

    over_min: Numbers
    before_min: Numbers
    supply_min: Numbers
    limit_min: Numbers


def left_with(response: Response, who: Sequence[Returns], suits: Sequence[SuitHistory],
              reserve_min: float) -> Left:
    """What is left where ``who`` (the one concerned first, then the partner) do as the response says."""
    going = who if response.companion == ALONG else who[:1]
    (supply, limit), (bare, bare_limit) = (
        np.min([_left(response, each, suits, minutes) for each in going], axis=0)
        for minutes in (response.most_min, 0.0))
    return Left(np.fmin(supply - reserve_min, limit), np.fmin(bare - reserve_min, bare_limit), supply, limit)


def _left(response: Response, returns: Returns, suits: Sequence[SuitHistory],
          minutes: float) -> tuple[Numbers, Numbers]:
    """Of supplies and until the hard limit; of ``go on`` and ``wait`` a terminate must still be left."""
    is_brought = response.companion == BRINGS
    if response.call == ABORT:
        way = returns.partner_abort if is_brought else returns.abort
        return way.oxygen_margin_min - minutes, np.full(len(returns.at_min), np.nan)
    way = returns.partner_terminate if is_brought else returns.terminate
    stores = [store for suit in suits for store in suit.stores if store.is_known and store.travel_rate > 0
              and (suit.crew == returns.crew or is_brought)]
    harder = [np.ones(len(returns.at_min)), *(store.rate_at(returns.at_min) / store.travel_rate
                                              for store in stores if minutes)]
    to_limit = returns.hard_min - returns.at_min - (way.home_min - returns.after_end_min)
    return way.suit_margin_min - minutes * np.max(harder, axis=0), to_limit - minutes


def needed_at(response: Response, every: Sequence[Doing], crew: str,
              last_min: float) -> list[tuple[float, float]]:
    """When one crew member may need it (PET): a cause always, an action (of both, if of nobody in a suit)
    while its step lasts."""
    return [(0.0, last_min)] if response.trigger else [
        (each.start_min, each.finish_min) for each in every if each.action.if_not == response.response
        and crew in ({*each.people} & {*SUITED} or {*each.step.people} & {*SUITED} or SUITED)]


def too_far(passages: Sequence[Passage], travel: Travel, fall_back: Sequence[str],
            most_min: float) -> list[tuple[float, float, Passage]]:
    """Where one crew member is farther than ``most_min`` from the nearest of these places: how far at most
    (infinite: no way), at which minute, in which passage. Where they are not known to be nothing is told."""
    every = ((*_farthest_on(each, travel, fall_back), each) for each in passages if each.is_known)
    return [each for each in every if each[0] > most_min + ROUNDING_MIN]


def _farthest_on(passage: Passage, travel: Travel, places: Sequence[str]) -> tuple[float, float]:
    here, there = (min((travel.time_min(end, each) for each in places), default=inf)
                   for end in (passage.place, passage.to_place or passage.place))
    if passage.route is None or here == there == inf:
        return here, passage.start_min
    leg = travel.legs[passage.place][passage.to_place]
    # They turn round or go on, whichever is nearer: the way is longest where both are equally long.
    done = min(max((leg + there - here) / 2, 0.0), leg)
    return (min(here + done, there + leg - done),
            passage.start_min + done / leg * (passage.finish_min - passage.start_min))
