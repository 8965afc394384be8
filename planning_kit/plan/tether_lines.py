"""Safety tethers: where each is hooked, how much of it is out along the way walked, and what is wrong there.

At PET 0 both are hooked to the airlock's anchor. Every leg lays the line along its route; a leg walked back
takes it in again. Reach = metres of the routes that the line lies along, plus the part of the present leg.
A hook moves at the finish of a step, when its owner stands at the place and the place has an anchor; where
it cannot, the tether stays hooked where it was. Neglected: slack, short cuts of a taut line, and the metres
from a place to the hand that works there. scenarios/FORMAT.md, "Tethers".

From the lines follow the spells in which a tether is too short, the hook move that would mend one, and where
two lines may cross.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from math import inf, isfinite, isnan, nan

import pandas as pd

from planning_kit.inputs.shown_text import ShownTable
from planning_kit.plan.activities import WORK, Activity
from planning_kit.plan.legs import Passage, Spans, stands, stands_at
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.plan_times import Times
from planning_kit.plan.travel import Travel

TETHER_COLUMNS = ["crew", "from_min", "until_min", "place", "to_place", "hook", "reach_m", "tether_m",
                  "margin_m"]


@dataclass(frozen=True)
class HookMove:
    """A planned move of a tether to the anchor of ``place``, at the finish of ``step``."""

    step: str
    place: str
    at_min: float


@dataclass(frozen=True)
class Lie:
    """How a line lies during a passage: ``line`` from the hook to the place, ``ahead`` on arrival.

    On a leg ``ahead`` is the line at its end; where the owner stands it is ``line`` itself. Reaches in
    metres, at the start and the end of the passage; NaN where they are not known, from a step without a place
    until the hook moves: the lines then lie along the ways that travel counts.
    """

    passage: Passage
    line: tuple[str, ...]
    ahead: tuple[str, ...]
    from_reach_m: float
    to_reach_m: float

    @property
    def reach_m(self) -> float:
        """The greatest reach of the passage."""
        return max(self.from_reach_m, self.to_reach_m)


@dataclass(frozen=True)
class Tether:
    """One tether from PET 0 to the end of the outing.

    ``moves`` are the planned hook moves that work, by time; ``no_anchor`` and ``owner_away`` those that fail.
    """

    crew: str
    tether_m: float | None
    lies: tuple[Lie, ...]
    moves: tuple[HookMove, ...]
    no_anchor: tuple[HookMove, ...]
    owner_away: tuple[HookMove, ...]


def track_tether(times: Times, passages: Sequence[Passage], crew: str) -> Tether:
    """Follow the tether of one crew member, whose passages these are, through the plan."""
    records = times.scenario.records
    anchors = frozenset(place.place for place in records.places if place.anchor)
    moves = sorted((HookMove(step.step, step.place, finish) for step, _, finish in times.each_step()
                    if crew in step.hooks and isfinite(finish)), key=_at)
    good = [move for move in moves if move.place in anchors]
    standing = stands(passages)
    away = {move: None for move in moves if not stands_at(standing, move.place, move.at_min)}
    return Tether(
        crew, tether_m=next(each.tether_m for each in records.crew if each.crew == crew),
        lies=tuple(follow(times.travels[crew], passages, good, records.settings.airlock_place)),
        moves=tuple(move for move in good if move not in away),
        no_anchor=tuple(move for move in moves if move.place not in anchors), owner_away=tuple(away))


def follow(travel: Travel, passages: Sequence[Passage], moves: Sequence[HookMove], hook: str,
           first: int = 0) -> Iterator[Lie]:
    """The line through the passages from number ``first`` on; a stay is cut where the hook moves.

    ``moves`` are those of the hook, by time.
    """
    line: tuple[str, ...] = (hook,)
    reach, is_known = 0.0, True
    made: set[int] = set()
    for passage in (passages[number] for number in range(first, len(passages))):
        if is_known and not passage.is_known:
            is_known, reach = False, nan
        if passage.route is not None:
            ahead = after_leg(line, passage.to_place)
            ahead_reach = line_m(travel, ahead) if is_known else nan
            yield Lie(passage, line, ahead, reach, ahead_reach)
            line, reach = ahead, ahead_reach
            continue
        start = passage.start_min
        # The moves in the stay, its ends included: two stays that meet share one, which is made in the first.
        for number in range(bisect_left(moves, start, key=_at),
                            bisect_right(moves, passage.finish_min, key=_at)):
            move = moves[number]
            if number not in made and move.place == passage.place and passage.is_known:
                made.add(number)
                yield Lie(replace(passage, start_min=start, finish_min=move.at_min), line, line, reach, reach)
                start, line, reach, is_known = move.at_min, (passage.place,), 0.0, True
        yield Lie(replace(passage, start_min=start), line, line, reach, reach)


def after_leg(line: tuple[str, ...], place: str) -> tuple[str, ...]:
    """The line after one leg: a leg walked back is taken in, any other is laid out."""
    # Back by another route takes nothing in: the line then lies round what is between.
    return line[:-1] if len(line) > 1 and line[-2] == place else (*line, place)


def laid_along(travel: Travel, line: tuple[str, ...], way: Sequence[str]) -> tuple[tuple[str, ...], float]:
    """The line after a walk along ``way``, and the greatest reach on it (metres)."""
    reach = line_m(travel, line)
    for place in way[1:]:
        line = after_leg(line, place)
        reach = max(reach, line_m(travel, line))
    return line, reach


def line_m(travel: Travel, line: Sequence[str]) -> float:
    """Metres of the routes that a line lies along."""
    return sum(travel.routes[leg].metres for leg in pairwise(line))


def tethers_table(tethers: Mapping[str, Tether]) -> pd.DataFrame:
    """One row a leg, or a stay at one place with one hook, of each crew member, by time.

    ``place`` and, on a leg, ``to_place``; ``hook`` is the place of the hook; ``reach_m`` is the greatest in
    the row, ``margin_m`` = ``tether_m`` - ``reach_m`` (empty where the tether's length is not given, or the
    reach not known: `Lie`).
    """
    rows = []
    for tether in tethers.values():
        length = float("nan") if tether.tether_m is None else tether.tether_m
        # Legs one by one; stays at one place with one line together; stays without minutes left out.
        lasting = (lie for lie in tether.lies
                   if lie.passage.route or lie.passage.finish_min > lie.passage.start_min)
        # A leg by its identity, so that it joins no other; a stay by its line, which a hook move changes.
        for _, lies in groupby(lasting, lambda lie: id(lie) if lie.passage.route else (
                lie.line, lie.passage.is_known, isnan(lie.reach_m))):
            group = list(lies)
            first, last, reach = group[0].passage, group[-1].passage, group[0].reach_m
            rows.append((tether.crew, first.start_min, last.finish_min,
                         first.place if first.is_known else "", first.to_place,
                         group[0].line[0], reach, length, length - reach))
    frame = ShownTable(rows, columns=TETHER_COLUMNS)
    return frame.sort_values(["from_min", "crew"], kind="stable").reset_index(drop=True)


@dataclass(frozen=True)
class TooFar:
    """One spell in which a tether would have to be longer than it is: PET minutes, metres.

    ``first`` is where it begins; ``place`` is where the greatest reach is.
    """

    from_min: float
    until_min: float
    reach_m: float
    place: str
    first: Lie


def too_far(lies: Sequence[Lie], tether_m: float) -> Iterator[TooFar]:
    """The spells in which the reach is greater than the tether is long."""
    spell: TooFar | None = None
    for lie in lies:
        is_over = lie.reach_m > tether_m
        # What is within reach begins no spell: it only ends the one before.
        begin, end = _over(lie, tether_m) if is_over else (inf, inf)
        if spell and begin > spell.until_min:
            yield spell
            spell = None
        if is_over:
            place = lie.passage.to_place if lie.to_reach_m > lie.from_reach_m else lie.passage.place
            spell = replace(spell, until_min=end) if spell else TooFar(begin, end, lie.reach_m, place, lie)
            if lie.reach_m > spell.reach_m:
                spell = replace(spell, reach_m=lie.reach_m, place=place)
    if spell:
        yield spell


def too_far_by_hook(lies: Sequence[Lie], tether_m: float) -> Iterator[list[TooFar]]:
    """The spells of `too_far`, those with the hook at one and the same place without a move together."""
    begins = [lies[0].passage.start_min] + [
        then.passage.start_min for lie, then in pairwise(lies) if lie.line[0] != then.line[0]]
    for _, spells in groupby(too_far(lies, tether_m),
                             lambda spell: bisect_right(begins, spell.first.passage.start_min)):
        yield list(spells)


def _over(lie: Lie, tether_m: float) -> tuple[float, float]:
    """When, within a passage, the reach is too long; the reach grows or shrinks evenly along a leg."""
    start, finish = lie.passage.start_min, lie.passage.finish_min
    near, far = sorted((lie.from_reach_m, lie.to_reach_m))
    if near > tether_m or far == near:
        return start, finish
    minutes = (far - tether_m) / (far - near) * (finish - start)
    return (finish - minutes, finish) if lie.to_reach_m > lie.from_reach_m else (start, start + minutes)


@dataclass(frozen=True)
class Remedy:
    """A hook move that would keep the reach: to the anchor of ``place``, at the finish of ``step`` or, where
    ``is_on_the_way``, while passing on the way to ``step``; ``position`` is that of the passage it ends."""

    place: str
    step: str
    is_on_the_way: bool
    at_min: float
    position: int


def remedy(travel: Travel, chances: Sequence[Remedy], passages: Sequence[Passage], tether: Tether,
           spell: TooFar) -> tuple[Remedy, ...]:
    """The latest hook move before a spell that mends it, with one more to come back by if need be.

    ``travel``, ``chances`` (`hook_chances`) and ``passages`` are those of the tether's owner.
    Tried by following the line anew from the move; good when the reach then keeps within the tether until
    the next planned hook move (one that works) after the spell, or to the end. Steps that are there already
    are tried before passings, which need a step of their own. Empty: none was found.
    """
    then = bisect_left(tether.moves, spell.until_min, key=_at)
    until = tether.moves[then].at_min if then < len(tether.moves) else inf
    earlier = bisect_right(tether.moves, spell.from_min, key=_at)
    # What is done before the last planned move is undone by it.
    since = tether.moves[earlier - 1].at_min if earlier else 0.0
    before = chances[bisect_left(chances, since, key=_at):bisect_right(chances, spell.from_min, key=_at)]
    # Steps that are there already come first, and late moves before early ones: they change the plan least.
    half: list[tuple[Remedy, float]] = []  # mend the spell itself, but reach too little later on
    for out in sorted(before, key=lambda chance: (chance.is_on_the_way, -chance.at_min)):
        fails_min = _first_failure(travel, passages, tether, out, until)
        if fails_min == inf:
            return (out,)
        if fails_min >= spell.until_min:
            half.append((out, fails_min))
    for out, fails_min in half:
        last = bisect_right(chances, fails_min, key=_at)
        for back in chances[bisect_left(chances, spell.until_min, key=_at):last]:
            if _first_failure(travel, passages, tether, back, until) == inf:
                return out, back
    return ()


def _at(moved: HookMove | Remedy) -> float:
    return moved.at_min


def hook_chances(anchors: Collection[str], lane: Sequence[Activity],
                 passages: Sequence[Passage]) -> list[Remedy]:
    """Every finish of a step, and every passing, of a crew member at an anchor, by time."""
    works = {(a.step, a.finish_min) for a in lane if a.kind == WORK and a.step}
    found = []
    for number, (passage, then) in enumerate(pairwise(passages)):
        place, at = passage.to_place or passage.place, passage.finish_min
        is_work = passage.route is None and (passage.step, at) in works
        is_passing = passage.route is not None and then.route is not None
        if place in anchors and (is_work or is_passing):
            found.append(Remedy(place, passage.step, is_passing, at, number))
    return sorted(found, key=_at)


def _first_failure(travel: Travel, passages: Sequence[Passage], tether: Tether, move: Remedy,
                   until: float) -> float:
    """When, after this hook move and before ``until``, the reach first is too long; infinite if never."""
    assert tether.tether_m is not None
    for lie in follow(travel, passages, tether.moves, move.place, move.position + 1):
        if lie.passage.start_min >= until:
            break
        if lie.reach_m > tether.tether_m:
            # Its start is near enough: hooks move between passages, so a remedy must come before it.
            return lie.passage.start_min
    return inf


@dataclass(frozen=True)
class Crossing:
    """Two crew members who pass each other where both lines lie along one route, from PET ``at_min``.

    They meet on the route from ``place`` to ``to_place``, or, where not ``is_on_the_route``, ``other`` stands
    at ``to_place`` and both lines lie along the route between the two.
    """

    at_min: float
    crew: str
    step: str
    other: str
    place: str
    to_place: str
    is_on_the_route: bool


def crossings(one: Tether, two: Tether) -> Iterator[Crossing]:
    """Where the lines of two crew members may cross.

    They meet on a route that they travel in opposite ways at the same time; or one passes a place where the
    other stands and both lines lie along a route into it. Two who stand, or who follow each other, do not
    cross; nor is a crossing by way of different routes looked for.
    """
    yield from _meetings(one, two)
    yield from _passings(one, two)
    yield from _passings(two, one)


def _meetings(one: Tether, two: Tether) -> Iterator[Crossing]:
    legs = [lie.passage for lie in two.lies if lie.passage.route is not None and lie.passage.is_known]
    when = Spans((leg.start_min, leg.finish_min) for leg in legs)
    for mine in (lie.passage for lie in one.lies if lie.passage.route is not None and lie.passage.is_known):
        for other in (legs[number] for number in when.touching(mine.start_min, mine.finish_min)):
            if (mine.place, mine.to_place) == (other.to_place, other.place):  # who follow do not cross
                begin, end = max(mine.start_min, other.start_min), min(mine.finish_min, other.finish_min)
                # Who leaves a route at the minute in which the other enters it shares none of it.
                if end - begin > ROUNDING_MIN:
                    yield Crossing(begin, one.crew, mine.step, other=two.crew, place=mine.place,
                                   to_place=mine.to_place, is_on_the_route=True)


def _passings(mover: Tether, stander: Tether) -> Iterator[Crossing]:
    # Time at one place without a break; the line may change in it when the hook moves.
    by_turns = groupby(stander.lies, lambda lie: lie.passage.route is None)
    stays = [list(group) for is_stay, group in by_turns if is_stay]
    when = Spans((stay[0].passage.start_min, stay[-1].passage.finish_min) for stay in stays)
    for lie, then in pairwise(mover.lies):
        here, at = lie.passage.to_place, lie.passage.finish_min
        # Who turns round takes the line in again, and passes nobody.
        turns_round = then.passage.to_place == lie.passage.place
        if lie.passage.route is None or then.passage.route is None or turns_round or isnan(lie.to_reach_m):
            continue
        for stay in (stays[number] for number in when.touching(at, at)):
            begin, end = stay[0].passage.start_min, stay[-1].passage.finish_min
            is_here = stay[0].passage.place == here and not isnan(stay[0].reach_m)
            if is_here and begin + ROUNDING_MIN < at < end - ROUNDING_MIN:
                line = next(other.line for other in reversed(stay) if other.passage.start_min <= at)
                if shared := _routes_into(lie.ahead, here) & _routes_into(line, here):
                    # The least id of several: the order of a set is no answer to build on.
                    yield Crossing(at, mover.crew, lie.passage.step, other=stander.crew, place=min(shared),
                                   to_place=here, is_on_the_route=False)


def _routes_into(line: tuple[str, ...], place: str) -> set[str]:
    """The places from which a line comes to, or goes on from, ``place``."""
    legs = list(pairwise(line))
    return {a for a, b in legs if b == place} | {b for a, b in legs if a == place}
