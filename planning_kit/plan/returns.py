"""Whether each crew member can be back inside in time, from every minute of the outing.

At every whole minute, and just before and at every point where someone comes to a place, leaves it or moves
a hook: the time back alone and with the partner's help (`planning_kit.plan.ways_back`), plus
ingress, against the emergency oxygen and against the consumables, used at the rate of travel on the way and
in the airlock; with the partner those of both count. Between these moments all runs along straight lines,
but where two ways back are equally long on a leg. Going in, what is left of ingress is the time back.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planning_kit.inputs.records import Limits
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.plan_times import Times
from planning_kit.plan.suits import Store, SuitHistory
from planning_kit.plan.tether_lines import Lie, Tether
from planning_kit.plan.ways_back import Mover, Rescue, Spot, alone_min, movers, spot_at

Numbers = NDArray[np.float64]
RETURN_COLUMNS = ["crew", "at_min", "place", "alone_min", "with_partner_min", "emergency_margin_min",
                  "partner_margin_min", "first_out", "suit_margin_min", "partner_first_out",
                  "partner_suit_margin_min"]
RETURN_SUMMARY_COLUMNS = ["crew", "case", "margin_min", "at_min", "place", "time_back_min",
                          "turn_back_by_min", "stay_min"]


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

    @property
    def cases(self) -> tuple[ReturnCase, ...]:
        """Alone and with the partner, against emergency oxygen and against the consumables."""
        helped = self.with_partner_min
        return (
            ReturnCase("emergency oxygen, alone", True, self.emergency_margin_min, self.alone_min),
            ReturnCase("emergency oxygen, with the partner", False, self.partner_margin_min, helped),
            ReturnCase("consumables, alone", True, self.suit_margin_min, self.alone_min, self.stay_min,
                       self.first_out),
            ReturnCase("consumables, with the partner", False, self.partner_suit_margin_min, helped,
                       self.partner_stay_min, self.partner_first_out),
        )


@dataclass(frozen=True)
class ReturnCase:
    """One way to come home against one thing that must last, as in `Returns`: minutes at each moment.

    ``stay_min``: how long it allows a wait; ``first_out``: empty for emergency oxygen.
    """

    name: str
    is_alone: bool
    margin_min: Numbers
    time_back_min: Numbers
    stay_min: float = float("inf")
    first_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class Spell:
    """A stretch of PET in which too little is left; ``first``, ``worst``, ``last``: its moments, by index."""

    first: int
    worst: int
    last: int
    from_min: float
    until_min: float


@dataclass(frozen=True)
class Breach:
    """A stretch of PET (minutes) in which the plan itself breaks what a turn-back time is to keep.

    ``case`` as in `ReturnCase`; ``short_min``: by how much at its worst, of the hard limit if
    ``is_of_hard_limit``, else of the reserve.
    """

    crew: str
    case: str
    from_min: float
    until_min: float
    short_min: float
    is_of_hard_limit: bool


def return_times(times: Times, tethers: Mapping[str, Tether],
                 suits: Sequence[SuitHistory]) -> tuple[Returns, ...]:
    """The way back of each crew member through the plan: how tethers lie, what suits have left."""
    mover_of = movers(times.scenario.records, times.travels)
    moments = _moments(times.end_min, tethers)
    spots = {crew: _spots(tethers[crew].lies, moments) for crew in mover_of}
    return tuple(_returns(times, crew, mover_of, spots, moments, suits) for crew in mover_of)


def _moments(end_min: float, tethers: Mapping[str, Tether]) -> Numbers:
    """Every whole minute, and where either crew member's line begins to lie anew, from both sides.

    The other side is the last float before: there the passage before still holds.
    """
    lies = [lie for tether in tethers.values() for lie in tether.lies]
    anew = np.array([lie.passage.start_min for lie in lies])
    before = np.nextafter(anew[anew > 0], 0.0)
    whole = np.arange(int(end_min) + 1, dtype=float)
    return np.unique(np.concatenate((whole, anew, before, [end_min])))


def _spots(lies: Sequence[Lie], moments: Numbers) -> list[Spot]:
    """The spot at each moment; where two passages meet, in the later one."""
    begins = np.array([lie.passage.start_min for lie in lies])
    which = np.searchsorted(begins, moments, side="right") - 1
    return [spot_at(lies[number], at) for number, at in zip(which.tolist(), moments.tolist(), strict=True)]


def _returns(times: Times, crew: str, mover_of: Mapping[str, Mover],
             spots: Mapping[str, Sequence[Spot]], moments: Numbers, suits: Sequence[SuitHistory]) -> Returns:
    limits, ingress_min = times.scenario.settings.limits, times.network.ingress_min
    going_in = times.end_min - ingress_min
    # At the airlock only ingress is left, and of that less and less once they go in.
    ingress = np.minimum(times.end_min - moments, ingress_min)
    own_way = np.array([alone_min(mover_of[crew], spot, limits.hook_move_min or 0.0) for spot in spots[crew]])
    alone, helped = (np.where(moments < going_in, way, 0.0) + ingress
                     for way in (own_way, _helped(limits, crew, mover_of, spots)))
    oxygen = float("nan") if limits.emergency_oxygen_min is None else limits.emergency_oxygen_min
    both = [store for suit in suits for store in suit.stores if store.is_known]
    own = [store for store in both if store.crew == crew]
    first_out, suit_margin = _suit_margin(own, moments, alone)
    partner_first_out, partner_suit_margin = _suit_margin(both, moments, helped)
    return Returns(
        crew, at_min=moments, place=tuple(" to ".join(spot.ends) for spot in spots[crew]),
        alone_min=alone, with_partner_min=helped,
        emergency_margin_min=oxygen - alone, partner_margin_min=oxygen - helped,
        first_out=tuple(name.partition(" ")[2] for name in first_out), suit_margin_min=suit_margin,
        partner_first_out=partner_first_out, partner_suit_margin_min=partner_suit_margin,
        ingress_start_min=going_in, hard_min=limits.hard_min,
        stay_min=_stay_min(limits, own, going_in), partner_stay_min=_stay_min(limits, both, going_in),
    )


def _helped(limits: Limits, crew: str, mover_of: Mapping[str, Mover],
            spots: Mapping[str, Sequence[Spot]]) -> Numbers:
    """NaN where there is no carry factor."""
    (partner,) = (other for other in mover_of if other != crew)  # the format has EV1 and EV2, no more
    if limits.partner_carry_factor is None:
        return np.full(len(spots[crew]), np.nan)
    rescue = Rescue(mover_of[crew], mover_of[partner], limits.partner_carry_factor,
                    limits.hook_move_min or 0.0)
    # While both stand nothing changes: once for each pair of lies (by identity: they outlive this).
    known: dict[tuple[int, int], float] = {}
    minutes = []
    for spot, partner_spot in zip(spots[crew], spots[partner], strict=True):
        key = (id(spot.lie), id(partner_spot.lie))
        if key in known:
            minutes.append(known[key])
            continue
        minutes.append(rescue.minutes(spot, partner_spot))
        if not spot.is_on_leg and not partner_spot.is_on_leg:
            known[key] = minutes[-1]
    return np.array(minutes)


def _suit_margin(stores: Sequence[Store], moments: Numbers, back: Numbers) -> tuple[tuple[str, ...], Numbers]:
    """The consumable that lasts least on the way home at each moment, and its minutes over the time back.

    Named with its crew member: ``EV1 oxygen``.
    """
    if not stores:
        return ("",) * len(moments), np.full(len(moments), np.nan)
    lasts = np.array([store.left_at(moments) / store.travel_rate if store.travel_rate > 0 else
                      np.full(len(moments), np.inf) for store in stores])
    first = lasts.argmin(axis=0)
    names = [f"{store.crew} {store.consumable}" for store in stores]
    return tuple(names[i] for i in first.tolist()), lasts.min(axis=0) - back


def _stay_min(limits: Limits, stores: Sequence[Store], going_in: float) -> float:
    """How long their owners could wait at the airlock before an ingress that keeps the reserve.

    Used at the rate of waiting there and of travel during ingress, as everywhere here. NaN where no
    consumable is known.
    """
    kept = limits.ingress_min + (limits.return_reserve_min or 0.0)
    at = np.array([going_in])
    stays = [(float(store.left_at(at)[0]) - kept * store.travel_rate) / store.wait_rate
             for store in stores if store.wait_rate > 0]
    return min(stays, default=float("nan"))


def returns_table(all_returns: Sequence[Returns]) -> pd.DataFrame:
    """One row a crew member and moment: the columns of `Returns`, minutes."""
    frames = [ShownTable({column: getattr(each, column) for column in RETURN_COLUMNS})
              for each in all_returns]
    return pd.concat(frames, ignore_index=True) if frames else ShownTable(columns=RETURN_COLUMNS)


def return_summary_table(all_returns: Sequence[Returns], reserve_min: float) -> pd.DataFrame:
    """The worst point of each crew member in each case: alone or with the partner, against what must last.

    ``turn_back_by_min`` is of the case: the latest minute of PET to break off and go in. Up to it, following
    the plan and after it waiting at the airlock, every moment keeps the reserve and leaves time to be inside
    by the hard limit. NaN where not even the first moment does. ``stay_min`` (see `Returns`) is of the crew
    member, the same in each row, and leaves the hard limit out. A case of which nothing is known has no row.
    """
    rows = []
    for each, case in ((returns, case) for returns in all_returns for case in returns.cases):
        if not np.isnan(case.margin_min).all():
            worst = worst_moment(each, case.margin_min)
            rows.append((each.crew, case.name, float(case.margin_min[worst]), float(each.at_min[worst]),
                         each.place[worst], float(case.time_back_min[worst]),
                         _turn_back_by_min(each, case, reserve_min), each.stay_min))
    return ShownTable(rows, columns=RETURN_SUMMARY_COLUMNS)


def _over(returns: Returns, case: ReturnCase, reserve_min: float) -> Numbers:
    """What is left over at each moment, beyond the reserve and until the hard limit."""
    return np.fmin(case.margin_min - reserve_min, returns.hard_min - returns.at_min - case.time_back_min)


def breaches_of(all_returns: Sequence[Returns], reserve_min: float) -> Iterator[Breach]:
    """Where the plan does not keep the reserve or the hard limit on the way home, by crew member and case.

    A case has such a stretch exactly where the plan goes on past its ``turn_back_by_min``, or where it has
    none.
    """
    for returns, case in ((each, case) for each in all_returns for case in each.cases):
        over = _over(returns, case, reserve_min)
        for spell in () if np.isnan(case.margin_min).all() else spells_below(returns, over):
            short = float(over[spell.worst])
            yield Breach(returns.crew, case.name, spell.from_min, spell.until_min, -short,
                         not case.margin_min[spell.worst] - reserve_min <= short + ROUNDING_MIN)


def spells_below(returns: Returns, over: Numbers) -> Iterator[Spell]:
    """The stretches in which ``over`` (n,), minutes at each moment of ``returns``, lies below 0."""
    # Every spell has two edges: the moment it begins with, and the first one after it.
    edges = np.flatnonzero(np.diff(np.concatenate(([False], over < -ROUNDING_MIN, [False]))))
    for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        begin = crossing_min(returns.at_min, over, first) if first else float(returns.at_min[0])
        end = crossing_min(returns.at_min, -over, after) if after < len(over) else float(returns.at_min[-1])
        yield Spell(first, worst_moment(returns, over, first, after), after - 1, begin, end)


def _turn_back_by_min(returns: Returns, case: ReturnCase, reserve_min: float) -> float:
    over = _over(returns, case, reserve_min)
    short = np.flatnonzero(over < -ROUNDING_MIN)
    if len(short):
        return crossing_min(returns.at_min, over, int(short[0])) if short[0] else float("nan")
    to_hard_limit = returns.hard_min - float(returns.at_min[-1])
    return returns.ingress_start_min + max(0.0, min(to_hard_limit, case.stay_min))


def worst_moment(returns: Returns, margin_min: Numbers, first: int = 0, after: int | None = None) -> int:
    """The first moment of least margin, as an index; one at a place before one on a leg, NaN left out.

    Of the moments from ``first`` on and before ``after``.
    """
    within = margin_min[first:after]
    least = (first + np.flatnonzero(within <= np.nanmin(within) + ROUNDING_MIN)).tolist()
    return next((moment for moment in least if " to " not in returns.place[moment]), least[0])


def latest_turn_back_min(summary: pd.DataFrame, crew: str) -> float:
    """The earliest ``turn_back_by_min`` of one crew member alone: PET minutes, NaN if none or not known.

    ``summary`` is a `return_summary_table`.
    """
    alone = summary[(summary["crew"] == crew) & summary["case"].str.endswith("alone")]
    return float(alone["turn_back_by_min"].min(skipna=False)) if len(alone) else float("nan")


def crossing_min(at_min: Numbers, over: Numbers, first: int) -> float:
    """When ``over`` (n,) falls below 0 between moments ``first`` - 1 and ``first`` of ``at_min`` (n,)."""
    begin, end = float(over[first - 1]), float(over[first])
    share = begin / (begin - end) if begin > 0 > end else 0.0
    return float(at_min[first - 1] + share * (at_min[first] - at_min[first - 1]))
