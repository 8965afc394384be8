"""The way home of each crew member from every minute of the outing, and whether it is in time.

The one computation of it: checks, turn-back times, charts, sheets and `ways_home` read it here. Looked at:
every whole minute, and just before and at every point where someone comes to a place, leaves it, moves a
hook, begins a step or ends one. Between these moments all runs along straight lines, but where two ways back
are equally long on a leg.

Time home = minutes that make safe what is in hand + way back (`planning_kit.plan.ways_back`) + those in the
airlock until the pressure can be breathed. An abort needs ``safe_now_min`` of the step under way, then an
emergency repressurisation, and runs on emergency oxygen; a terminate needs ``safe_orderly_min`` and counts
against the consumables, and up to the outing's end against the hard limit. These minutes count whole from
any moment of the step: nobody says how much of them may have passed. In a rescue the helper makes the own
step safe, comes, makes the other's safe and goes: both count, also where both work on one step, since one
then does what is reckoned for two. A step that says nothing takes none. Consumables are used at the rate of
travel on the way and in the airlock, with the partner those of both; while a step is made safe at its rate,
if that is greater, and by a helper on the way in with the other at the rate of carrying. Going in, the time
home is what is left there. Where nobody can be helped or brought home the time is infinite and the margin
minus infinity. Neglected: that an emergency makes slow.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from planning_kit.inputs.records import Step
from planning_kit.inputs.setting_records import Settings
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.plan.activities import WORK, Activity, activity_at
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.plan_times import Times
from planning_kit.plan.suits import Store, SuitHistory
from planning_kit.plan.tether_lines import Lie, Tether
from planning_kit.plan.ways_back import Mover, Rescue, Spot, helped_min, movers, rescues, spot_at

Numbers = NDArray[np.float64]
RETURN_COLUMNS = ["crew", "at_min", "place", "step", "safe_now_min", "safe_orderly_min", "alone_min",
                  "with_partner_min", "abort_min", "partner_abort_min", "terminate_min",
                  "partner_terminate_min", "emergency_margin_min", "partner_margin_min", "first_out",
                  "suit_margin_min", "partner_first_out", "partner_suit_margin_min"]
RETURN_SUMMARY_COLUMNS = ["crew", "case", "margin_min", "at_min", "place", "time_back_min",
                          "turn_back_by_min", "stay_min"]


@dataclass(frozen=True)
class WayHome:
    """Home from each moment, at once or in good order, alone or brought: arrays (n,), minutes.

    NaN: not known; ``home_min`` infinite, margins minus infinity: no way.
    ``home_min`` = ``safe_min`` + ``back_min``, with ``airlock_min`` in it; ``oxygen_margin_min``: left of the
    emergency oxygen, ``suit_margin_min``: of what would run out first (``first_out``: ``EV2 oxygen``, or "").
    ``is_known``: whether it is known where they are.
    """

    safe_min: Numbers
    home_min: Numbers
    back_min: Numbers
    airlock_min: Numbers
    oxygen_margin_min: Numbers
    suit_margin_min: Numbers
    first_out: tuple[str, ...]
    is_known: NDArray[np.bool_]


@dataclass(frozen=True)
class ReturnCase:
    """One way to come home against one thing that must last, as in `Returns`: minutes at each moment.

    ``to_limit_min``: from its end, in good order, to the hard limit; ``stay_min``: how long it allows a wait;
    ``first_out``: empty for emergency oxygen.
    """

    name: str
    is_alone: bool
    way: WayHome
    margin_min: Numbers
    to_limit_min: Numbers
    stay_min: float = float("inf")
    first_out: tuple[str, ...] = ()


@dataclass(frozen=True)
class Returns:
    """One crew member's way home at each moment of ``at_min`` (PET); all arrays (n,), minutes, NaN unknown.

    ``place`` is an id, ``FROM to TO``, or "" where not known; ``step`` the one under way, "" none.
    ``alone_min``, ``with_partner_min``: ways back, in good order, once what is in hand is safe. ``abort``,
    ``terminate``: the whole ways home alone, ``partner_abort``, ``partner_terminate``: with the partner.
    ``stay_min``: how much longer than planned they could wait at the airlock, from ``ingress_start_min``, and
    still keep the reserve; ``partner_stay_min``: so that both do. ``hard_min`` is the hard limit, of the
    outing's end, ``after_end_min`` before the pressure can be breathed.
    """

    crew: str
    at_min: Numbers
    place: tuple[str, ...]
    step: tuple[str, ...]
    alone_min: Numbers
    with_partner_min: Numbers
    abort: WayHome
    terminate: WayHome
    partner_abort: WayHome
    partner_terminate: WayHome
    ingress_start_min: float
    hard_min: float
    after_end_min: float
    stay_min: float
    partner_stay_min: float

    @property
    def cases(self) -> tuple[ReturnCase, ...]:
        """Alone and with the partner, against emergency oxygen and against the consumables."""
        alone_left, helped_left = (self.hard_min - self.at_min - (way.home_min - self.after_end_min)
                                   for way in (self.terminate, self.partner_terminate))
        return (
            ReturnCase("emergency oxygen, alone", True, self.abort, self.abort.oxygen_margin_min, alone_left),
            ReturnCase("emergency oxygen, with the partner", False, self.partner_abort,
                       self.partner_abort.oxygen_margin_min, helped_left),
            ReturnCase("consumables, alone", True, self.terminate, self.terminate.suit_margin_min, alone_left,
                       self.stay_min, tuple(name.partition(" ")[2] for name in self.terminate.first_out)),
            ReturnCase("consumables, with the partner", False, self.partner_terminate,
                       self.partner_terminate.suit_margin_min, helped_left, self.partner_stay_min,
                       self.partner_terminate.first_out))


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


def return_times(times: Times, lanes: Mapping[str, Sequence[Activity]], tethers: Mapping[str, Tether],
                 suits: Sequence[SuitHistory], now_min: float | None,
                 at_work: Mapping[str, str]) -> tuple[Returns, ...]:
    """The way home of each crew member through the plan: what is in hand, where tethers lie, what suits have.

    ``at_work``: who is known to be on which step at ``now_min``, whatever the plan has then.
    """
    mover_of = movers(times.scenario.records, times.travels)
    # Where a line begins to lie anew, and where a step in hand begins or ends.
    anew = [lie.passage.start_min for tether in tethers.values() for lie in tether.lies]
    anew += [edge for crew in tethers for each in lanes[crew] if each.kind == WORK
             for edge in (each.start_min, each.finish_min)]
    moments = _moments(times.end_min, anew, now_min)
    spots = {crew: _spots(tethers[crew].lies, moments) for crew in mover_of}
    steps = {step.step: step for step in times.steps}
    # The step under way at each moment; None on the way, waiting or going in.
    hands = {crew: [steps.get(each.step) if each is not None and each.kind == WORK else None for each in
                    (activity_at(lanes[crew], at) for at in moments.tolist())] for crew in mover_of}
    for number in np.flatnonzero(moments == now_min).tolist():  # none where there is no now
        for crew in mover_of.keys() & at_work.keys():
            hands[crew][number] = steps.get(at_work[crew], hands[crew][number])
    rescue_of = rescues(times.scenario.records, mover_of)
    return tuple(_returns(times, mover_of[crew], rescue_of[crew], crew, spots, hands, moments, suits)
                 for crew in mover_of)


def _moments(end_min: float, anew: Sequence[float], now_min: float | None) -> Numbers:
    """Every whole minute, and where something begins anew, from both sides; now, and what comes after it.

    The other side is the last float before: there still holds what held before.
    """
    at = np.array(anew)
    now = [] if now_min is None else [np.nextafter(now_min, 0.0), now_min, np.nextafter(now_min, np.inf)]
    whole = np.arange(int(end_min) + 1, dtype=float)
    moments = np.unique(np.concatenate((whole, at, np.nextafter(at, 0.0), now, [end_min])))
    return moments[(moments >= 0.0) & (moments <= end_min)]


def _spots(lies: Sequence[Lie], moments: Numbers) -> list[Spot]:
    """The spot at each moment; where two passages meet, in the later one."""
    begins = np.array([lie.passage.start_min for lie in lies])
    which = np.searchsorted(begins, moments, side="right") - 1
    return [spot_at(lies[number], at) for number, at in zip(which.tolist(), moments.tolist(), strict=True)]


def _returns(times: Times, mover: Mover, rescue: Rescue, crew: str, spots: Mapping[str, Sequence[Spot]],
             hands: Mapping[str, Sequence[Step | None]], moments: Numbers,
             suits: Sequence[SuitHistory]) -> Returns:
    settings, going_in = times.scenario.settings, times.end_min - times.network.ends_min
    limits, at_once = settings.limits, settings.airlock.emergency_repress_safe_min
    # Once they go in, less and less is left; an emergency begins anew, unless to go on is quicker.
    orderly = times.safe_min - np.maximum(moments, going_in)
    hasty = orderly if at_once is None else np.minimum(
        at_once, np.maximum(orderly, at_once - np.maximum(moments - going_in, 0.0)))
    hook_min = limits.hook_move_min or 0.0
    own_way = np.array([min(minutes + way + moves * hook_min for line, minutes in mover.exits(spot)
                            for way, moves in (mover.home(line),)) for spot in spots[crew]])
    helper_spots = next(theirs for other, theirs in spots.items() if other != crew)
    helped_way, going = helped_min(rescue, spots[crew], helper_spots)
    known = {who: np.array([spot.lie.passage.is_known for spot in spots[who]]) for who in spots}
    own_way = np.where(known[crew], own_way, np.nan)
    # Where nobody could be brought from there is none, wherever the helper is.
    is_told = np.all([*known.values()], axis=0) | (known[crew] & np.isinf(helped_way))
    helped_way = np.where(is_told, helped_way, np.nan)
    if limits.partner_carry_factor is None:  # no minutes are known, but where there is no way there is none
        helped_way = np.where(np.isinf(helped_way), helped_way, np.nan)
    alone, helped = (np.where(moments < going_in, way, 0.0) for way in (own_way, helped_way))
    carrying = np.where((moments < going_in) & np.isfinite(helped_way), going, 0.0)
    oxygen = np.nan if limits.emergency_oxygen_min is None else limits.emergency_oxygen_min
    both = [store for suit in suits for store in suit.stores if store.is_known]
    own = [store for store in both if store.crew == crew]

    def way(outside: Numbers, stores: Sequence[Store], is_now: bool, who: Iterable[str]) -> WayHome:
        key = "safe_now_min" if is_now else "safe_orderly_min"
        safe = np.sum([[getattr(step, key, None) or 0.0 for step in hands[each]] for each in who], axis=0)
        back = outside + (airlock := hasty if is_now else orderly)
        lasts = [_lasts_min(store, moments, safe, carrying if store.crew != crew else 0.0 * moments)
                 for store in stores]
        first_out, suit_margin = _suit_margin(stores, lasts, home := safe + back)
        return WayHome(safe, home, back, airlock, _left_over(oxygen, home), suit_margin, first_out,
                       np.all([known[each] for each in who], axis=0))

    return Returns(
        crew, at_min=moments, place=tuple(
            " to ".join(spot.ends) if spot.lie.passage.is_known else "" for spot in spots[crew]),
        step=tuple(step.step if step else "" for step in hands[crew]),
        alone_min=alone + orderly, with_partner_min=helped + orderly,
        abort=way(alone, own, True, [crew]), terminate=way(alone, own, False, [crew]),
        partner_abort=way(helped, both, True, hands), partner_terminate=way(helped, both, False, hands),
        ingress_start_min=going_in, hard_min=times.hard_min, after_end_min=times.safe_min - times.end_min,
        stay_min=_stay_min(settings, own, going_in), partner_stay_min=_stay_min(settings, both, going_in))


def _suit_margin(stores: Sequence[Store], lasts_min: Sequence[Numbers],
                 home: Numbers) -> tuple[tuple[str, ...], Numbers]:
    """The consumable that lasts least on the way home at each moment, and its minutes over the time home."""
    if not stores:
        return ("",) * len(home), _left_over(np.nan, home)
    lasts = np.array(lasts_min)
    first = lasts.argmin(axis=0)
    names = [f"{store.crew} {store.consumable}" for store in stores]
    return tuple(names[i] for i in first.tolist()), _left_over(lasts.min(axis=0), home)


def _left_over(lasts: Numbers | float, home: Numbers) -> Numbers:
    """Minutes beyond the way home; minus infinity where there is none, even if nothing else is known."""
    is_way = ~np.isinf(home)
    return np.where(is_way, lasts - np.where(is_way, home, 0.0), -np.inf)


def _lasts_min(store: Store, moments: Numbers, safe: Numbers, carrying: Numbers) -> Numbers:
    """How long it lasts in travel; what making safe and carrying use above that rate is taken off first."""
    if store.travel_rate <= 0:
        return np.full(len(moments), np.inf)
    more = np.maximum(store.rate_at(moments) - store.travel_rate, 0.0)
    carried = carrying * max(store.carry_rate - store.travel_rate, 0.0)
    return (store.left_at(moments) - safe * more - carried) / store.travel_rate


def _stay_min(settings: Settings, stores: Sequence[Store], going_in: float) -> float:
    """How long their owners could wait at the airlock and keep the reserve; NaN where none is known.

    Used at the rate of waiting there and of travel in it, as everywhere here.
    """
    kept = settings.airlock.repress_safe_min + (settings.limits.return_reserve_min or 0.0)
    stays = [(float(store.left_at(np.array([going_in]))[0]) - kept * store.travel_rate) / store.wait_rate
             for store in stores if store.wait_rate > 0]
    return min(stays, default=float("nan"))


def returns_table(all_returns: Sequence[Returns]) -> pd.DataFrame:
    """One row a crew member and moment: the columns `RETURN_COLUMNS`, minutes."""
    return pd.concat((_table(each) for each in all_returns), ignore_index=True)


def _table(each: Returns) -> pd.DataFrame:
    abort, terminate, helped = each.abort, each.terminate, each.partner_terminate
    return ShownTable(dict(zip(RETURN_COLUMNS, (
        each.crew, each.at_min, each.place, each.step, abort.safe_min, terminate.safe_min, each.alone_min,
        each.with_partner_min, abort.home_min, each.partner_abort.home_min, terminate.home_min,
        helped.home_min, abort.oxygen_margin_min, each.partner_abort.oxygen_margin_min,
        each.cases[2].first_out, terminate.suit_margin_min, helped.first_out, helped.suit_margin_min,
    ), strict=True)))


def return_summary_table(all_returns: Sequence[Returns], reserve_min: float) -> pd.DataFrame:
    """The worst point of each crew member in each case: alone or with the partner, against what must last.

    ``time_back_min`` is whole, making safe included: an abort against emergency oxygen, else a terminate.
    ``turn_back_by_min`` is of the case: the latest minute of PET to break off and go in. Up to it, following
    the plan and after it waiting at the airlock, every moment keeps the reserve and leaves time to be inside
    by the hard limit. NaN where not even the first moment does. Where at some moment it is not known where
    they are, nothing is told but the first such moment. ``stay_min`` (see `Returns`) is of the crew member,
    the same in each such row, and leaves the hard limit out. A case of which nothing is known has no row.
    """
    rows = []
    for each, case in ((returns, case) for returns in all_returns for case in returns.cases):
        if not np.isnan(case.margin_min).all():
            lost = np.flatnonzero(~case.way.is_known)
            worst = int(lost[0]) if len(lost) else worst_moment(each, case.margin_min)
            rows.append((each.crew, case.name, float(case.margin_min[worst]), float(each.at_min[worst]),
                         each.place[worst], float(case.way.home_min[worst]),
                         _turn_back_by_min(each, case, reserve_min),
                         np.nan if len(lost) else each.stay_min))
    return ShownTable(rows, columns=RETURN_SUMMARY_COLUMNS)


def _over(case: ReturnCase, reserve_min: float) -> Numbers:
    """What is left over at each moment, beyond the reserve and until the hard limit."""
    # Not np.minimum: where the margin is not known (NaN), the hard limit still counts.
    return np.fmin(case.margin_min - reserve_min, case.to_limit_min)


def breaches_of(all_returns: Sequence[Returns], reserve_min: float) -> Iterator[Breach]:
    """Where the plan does not keep the reserve or the hard limit on the way home, by crew member and case.

    A case has such a stretch exactly where the plan goes on past its ``turn_back_by_min`` or has none.
    """
    for returns, case in ((each, case) for each in all_returns for case in each.cases):
        over = _over(case, reserve_min)
        for spell in () if np.isnan(case.margin_min).all() else spells_below(returns, over):
            short = float(over[spell.worst])
            # `not <=`, as `>` is false for NaN: with no margin known it is the hard limit that is broken.
            yield Breach(returns.crew, case.name, spell.from_min, spell.until_min, -short,
                         not case.margin_min[spell.worst] - reserve_min <= short + ROUNDING_MIN)


def spells_below(returns: Returns, over: Numbers) -> Iterator[Spell]:
    """The stretches in which ``over`` (n,), minutes at each moment of ``returns``, lies below 0."""
    # Every spell has two edges: the moment it begins with, and the first one after it.
    edges = np.flatnonzero(np.diff(over < -ROUNDING_MIN, prepend=False, append=False))
    for first, after in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        begin = crossing_min(returns.at_min, over, first) if first else float(returns.at_min[0])
        end = crossing_min(returns.at_min, -over, after) if after < len(over) else float(returns.at_min[-1])
        yield Spell(first, worst_moment(returns, over, first, after), after - 1, begin, end)


def _turn_back_by_min(returns: Returns, case: ReturnCase, reserve_min: float) -> float:
    over = _over(case, reserve_min)
    short = np.flatnonzero(over < -ROUNDING_MIN)
    if not case.way.is_known.all():
        return float("nan")
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
    # NaN must count: with such a case passed over, a later time than is safe would be told.
    return float(alone["turn_back_by_min"].min(skipna=False)) if len(alone) else float("nan")


def crossing_min(at_min: Numbers, over: Numbers, first: int) -> float:
    """When ``over`` (n,) falls below 0 between moments ``first`` - 1 and ``first`` of ``at_min`` (n,)."""
    begin, end = float(over[first - 1]), float(over[first])
    if np.isinf(begin):  # until here there was no way
        return float(at_min[first])
    share = begin / (begin - min(end, 0.0)) if begin > 0 and not np.isnan(end) else 0.0
    return float(at_min[first - 1] + share * (at_min[first] - at_min[first - 1]))
