"""How long the way to the airlock takes from anywhere, alone and with a partner who cannot move.

Who cannot move is helped only where a second person can work (`Place.allows_rescue`), and brought only
along routes that allow it (`Route.allows_rescue`), the quickest way over these; the helper comes by any
route. Where there is no such way the minutes are infinite.

The quickest way by travel time is taken; hook moves on it are counted, not traded against a longer way. The
hook stays while the line reaches: as long as what lies out of it (`planning_kit.plan.tether_lines`) is no
longer than the tether. Where the next leg would be too long, it moves at the last anchor passed, and once
more at the airlock if it is not there: the fewest moves for a given way, since each is made as far on as
possible. What making the work in hand safe takes first: `planning_kit.plan.returns`. Neglected: letting go of
or stowing what is in hand.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from itertools import product
from math import inf, isinf
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from planning_kit.inputs.records import Records
from planning_kit.plan.tether_lines import Lie, after_leg, line_m
from planning_kit.plan.travel import Travel, leg_minutes, travel_for

Line = tuple[str, ...]
"""Places that a tether lies along, from its hook to the crew member."""
Exit = tuple[Line, float]
"""One way out of a spot: the line at the first place reached, and the minutes until then."""
# Summed metres may lie a rounding above the tether's: a line of just its length is not too long.
_ROUNDING_M = 1e-9


@dataclass(frozen=True)
class Spot:
    """Where one crew member is at a moment: how the line lies, and the share of the leg done (0 to 1)."""

    lie: Lie
    share: float

    @property
    def is_on_leg(self) -> bool:
        """Whether they are between two places."""
        return self.lie.passage.route is not None

    @property
    def ends(self) -> tuple[str, ...]:
        """The place, or both ends of the leg."""
        passage = self.lie.passage
        return (passage.place, passage.to_place) if self.is_on_leg else (passage.place,)


def spot_at(lie: Lie, pet_min: float) -> Spot:
    """The spot at a moment (PET minutes) inside a passage."""
    begin, end = lie.passage.start_min, lie.passage.finish_min
    if lie.passage.route is None or end <= begin:
        return Spot(lie, 0.0)
    return Spot(lie, min(1.0, max(0.0, (pet_min - begin) / (end - begin))))


@dataclass(eq=False)
class Mover:
    """One crew member on the move, in minutes and hook moves; answers are remembered.

    ``tether_m`` None: the reach is not known, and the hook is taken to move only at the airlock.
    """

    travel: Travel
    metres_per_min: float
    tether_m: float | None
    anchors: frozenset[str]
    airlock: str

    def __post_init__(self) -> None:
        self.walk, self.home = cache(self._walk), cache(self._home)

    def exits(self, spot: Spot) -> tuple[Exit, ...]:
        """The ways out of a spot: the place itself, or on a leg turning round and going on."""
        if not spot.is_on_leg:
            return ((spot.lie.line, 0.0),)
        leg = self.leg_min(spot)
        return ((spot.lie.line, spot.share * leg), (spot.lie.ahead, (1.0 - spot.share) * leg))

    def leg_min(self, spot: Spot) -> float:
        """Minutes that this crew member takes for the whole leg that the spot is on."""
        route = spot.lie.passage.route
        return 0.0 if route is None else leg_minutes(route, self.metres_per_min)

    def _walk(self, line: Line, to_place: str) -> tuple[int, Line]:
        """Hook moves on the quickest way to ``to_place``, and the line on arrival."""
        moves = 0
        from_anchor: Line = ()  # the line as it would lie, had the hook moved at the last anchor passed
        for place in self.travel.way(line[-1], to_place)[1:]:
            if line[-1] in self.anchors:
                from_anchor = line[-1:]
            line = after_leg(line, place)
            from_anchor = after_leg(from_anchor, place) if from_anchor else ()
            reach_m = line_m(self.travel, line)
            is_too_long = self.tether_m is not None and reach_m > self.tether_m + _ROUNDING_M
            # Moved only where it must be, as far on as it can be: no other moves on this way are fewer.
            if is_too_long and from_anchor and line_m(self.travel, from_anchor) < reach_m:
                moves, line = moves + 1, from_anchor
        return moves, line

    def _home(self, line: Line) -> tuple[float, int]:
        """Travel minutes and hook moves from the end of ``line``, hooked at the airlock; infinite: no way."""
        way = self.travel.time_min(line[-1], self.airlock)
        if isinf(way):
            return inf, 0
        moves, arrived = self.walk(line, self.airlock)
        return way, moves + (arrived[0] != self.airlock)


def movers(records: Records, travels: Mapping[str, Travel]) -> dict[str, Mover]:
    """A mover for each crew member."""
    anchors = frozenset(place.place for place in records.places if place.anchor)
    airlock = records.settings.airlock_place
    return {crew.crew: _mover(travels[crew.crew], crew.metres_per_min, crew.tether_m, anchors, airlock)
            for crew in records.crew}


# What they remember holds for the next plan on the same routes, too.
_mover = lru_cache(maxsize=16)(Mover)


@dataclass(eq=False)
class Rescue:
    """What it takes for ``helper`` to bring ``helped`` to the airlock, over the routes of ``bringing``.

    ``places``: where the other can be helped; on a leg, where its route is one of ``bringing``. The helper
    comes by the quickest way, moving the own hook; then both go home, ``carry_factor`` times as slow as the
    helper alone, and the helper moves both hooks, one after the other. On a leg the better of its two ends is
    taken, for coming and for going.
    """

    helped: Mover
    helper: Mover
    bringing: Travel
    places: frozenset[str]
    carry_factor: float
    hook_move_min: float

    def __post_init__(self) -> None:
        self._home_together = cache(self._both_home)
        self._standing: dict[tuple[str, Line, Line], tuple[float, float]] = {}
        # Both go the helper's way at the helper's pace, each on the own tether.
        self._going_helper, self._going_helped = (
            replace(self.helper, travel=self.bringing, tether_m=each.tether_m)
            for each in (self.helper, self.helped))

    def minutes(self, spot: Spot, helper_spot: Spot) -> tuple[float, float]:
        """Minutes until both are at the airlock, and those of them on the way there; without ingress.

        Infinite where there is no way.
        """
        if spot.is_on_leg or helper_spot.is_on_leg:
            return self._minutes(spot, helper_spot)
        stand = spot.lie.passage.place, spot.lie.line, helper_spot.lie.line
        if stand not in self._standing:
            self._standing[stand] = self._minutes(spot, helper_spot)
        return self._standing[stand]

    def _minutes(self, spot: Spot, helper_spot: Spot) -> tuple[float, float]:
        if not (spot.ends[1] in self.bringing.legs[spot.ends[0]] if spot.is_on_leg
                else spot.ends[0] in self.places):
            return inf, inf
        exits = self.helper.exits(spot)  # in minutes of the helper, who sets the pace
        coming = [*self._coming(helper_spot, exits), *self._along_one_leg(spot, helper_spot)]
        ways = ((minutes, self._going(line, exits)) for line, minutes in coming)
        return min((minutes + going, going) for minutes, going in ways)

    def _coming(self, helper_spot: Spot, exits: tuple[Exit, ...]) -> Iterator[Exit]:
        """The helper's line and minutes on arrival, out of the own spot by way of each exit of the other."""
        for (line, first), (helped_line, last) in product(self.helper.exits(helper_spot), exits):
            moves, arrived = self.helper.walk(line, helped_line[-1])
            way = self.helper.travel.time_min(line[-1], helped_line[-1])
            # Neglected, to the short side: on the last leg the helper's own line may need one move more.
            yield arrived, first + way + moves * self.hook_move_min + last

    def _along_one_leg(self, spot: Spot, helper_spot: Spot) -> list[Exit]:
        """Both on the same leg: the helper comes straight."""
        if not (spot.is_on_leg and helper_spot.is_on_leg) or set(spot.ends) != set(helper_spot.ends):
            return []
        is_same_way = spot.ends == helper_spot.ends
        # Each share counts from where its owner came from: against each other, from opposite ends.
        helper_share = helper_spot.share if is_same_way else 1.0 - helper_spot.share
        apart = abs(spot.share - helper_share) * self.helper.leg_min(spot)
        return [(helper_spot.lie.line, apart), (helper_spot.lie.ahead, apart)]

    def _going(self, line: Line, exits: tuple[Exit, ...]) -> float:
        """Minutes home for both; ``line`` is the helper's, at the place or at one end of the leg."""
        ways = ((first, *self._home_together(line, helped_line)) for helped_line, first in exits)
        return min((first + way) * self.carry_factor + moves * self.hook_move_min
                   for first, way, moves in ways)

    def _both_home(self, line: Line, helped_line: Line) -> tuple[float, int]:
        """The helper's travel minutes from the end of ``helped_line``, and the hook moves of both."""
        way, helped_moves = self._going_helped.home(helped_line)
        if isinf(way):
            return inf, 0
        turned, own_line = self._going_helper.walk(line, helped_line[-1])
        _, own_moves = self._going_helper.home(own_line)
        return way, turned + own_moves + helped_moves


def rescues(records: Records, mover_of: Mapping[str, Mover]) -> dict[str, Rescue]:
    """By who is helped, the rescue by the partner; without a carry factor at the helper's own pace."""
    limits = records.settings.limits
    places = frozenset(place.place for place in records.places if place.allows_rescue)
    is_all_open = all(map(_allows_rescue, records.routes))  # then ways that are known already serve
    bringing = {crew.crew: mover_of[crew.crew].travel if is_all_open else
                travel_for(crew, records.places, records.routes, _allows_rescue) for crew in records.crew}
    return {helped: _rescue(mover_of[helped], mover_of[helper], bringing[helper], places,
                           limits.partner_carry_factor or 1.0, limits.hook_move_min or 0.0)
            for helper in mover_of for helped in mover_of if helped != helper}


_rescue = lru_cache(maxsize=16)(Rescue)
_allows_rescue = attrgetter("allows_rescue")


def helped_min(rescue: Rescue, spots: Sequence[Spot],
               helper_spots: Sequence[Spot]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """`Rescue.minutes` at each moment: until both are at the airlock, and of these on the way there."""
    found = [rescue.minutes(*each) for each in zip(spots, helper_spots, strict=True)]
    whole, going = np.array(found).reshape(-1, 2).T
    return whole, going
