"""Where a tether is too short, and which hook move would mend it; where two lines may cross."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from typing import TYPE_CHECKING

from planning_kit.plan.legs import Passage
from planning_kit.plan.tethers import HookMove, Lie, Tether, follow, hook_moves

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan


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
        if lie.reach_m <= tether_m:
            if spell:
                yield spell
            spell = None
            continue
        begin, end = _over(lie, tether_m)
        if spell and begin > spell.until_min:
            yield spell
            spell = None
        place = lie.passage.to_place if lie.to_reach_m > lie.from_reach_m else lie.passage.place
        if spell is None:
            spell = TooFar(begin, end, lie.reach_m, place, lie)
        elif lie.reach_m > spell.reach_m:
            spell = replace(spell, until_min=end, reach_m=lie.reach_m, place=place)
        else:
            spell = replace(spell, until_min=end)
        if end < lie.passage.finish_min:
            yield spell
            spell = None
    if spell:
        yield spell


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
    """Hook moves that would keep the reach: each at an anchor, at the finish of ``step`` or, where
    ``is_on_the_way``, while passing on the way to ``step``."""

    place: str
    step: str
    is_on_the_way: bool
    at_min: float


def remedy(plan: TimedPlan, tether: Tether, spell: TooFar) -> tuple[Remedy, ...]:
    """The latest hook move before a spell that mends it, with one more to come back by if need be.

    Tried by following the line anew with the move added; good when the reach then keeps within the tether
    until the next planned hook move (one that works) after the spell, or to the end. Empty: none was found.
    """
    assert tether.tether_m is not None
    planned = [m for m in hook_moves(plan, tether.crew) if m not in (*tether.no_anchor, *tether.owner_away)]
    until = next((m.at_min for m in planned if m.at_min >= spell.until_min), float("inf"))
    since = max((m.at_min for m in planned if m.at_min <= spell.from_min), default=0.0)
    chances = _chances(plan, tether.crew)
    before = [chance for chance in chances if since <= chance.at_min <= spell.from_min]
    before.sort(key=lambda chance: (chance.is_on_the_way, -chance.at_min))
    for out in before:
        if _keeps(plan, tether, planned, (out,), until):
            return (out,)
    for out in before:
        for back in chances:
            is_after = spell.until_min <= back.at_min <= until
            if is_after and _keeps(plan, tether, planned, (out, back), until):
                return out, back
    return ()


def _chances(plan: TimedPlan, crew: str) -> list[Remedy]:
    """Every finish of a step, and every passing, of a crew member at an anchor, by time."""
    anchors = {place.place for place in plan.scenario.records.places if place.anchor}
    passages = plan.passages[crew]
    works = {(a.step, a.finish_min) for a in plan.lanes[crew] if a.kind == "work" and a.step}
    found = []
    for number, passage in enumerate(passages):
        if passage.route is None and passage.place in anchors and (passage.step, passage.finish_min) in works:
            found.append(Remedy(passage.place, passage.step, False, passage.finish_min))
        passes = passage.route is not None and number + 1 < len(passages) and passages[number + 1].route
        if passes and passage.to_place in anchors:
            found.append(Remedy(passage.to_place, passage.step, True, passage.finish_min))
    return found


def _keeps(plan: TimedPlan, tether: Tether, planned: Sequence[HookMove], added: Sequence[Remedy],
           until: float) -> bool:
    """Whether the reach keeps within the tether from the first added move to ``until``."""
    assert tether.tether_m is not None
    moves = sorted([*planned, *(HookMove(a.step, a.place, a.at_min) for a in added)], key=lambda m: m.at_min)
    passages = [*_with_pauses(plan.passages[tether.crew], added)]
    lies = follow(plan.travels[tether.crew], passages, moves, plan.scenario.settings.airlock)
    return all(lie.reach_m <= tether.tether_m for lie in lies
               if added[0].at_min <= lie.passage.start_min and lie.passage.finish_min <= until)


def _with_pauses(passages: Sequence[Passage], added: Sequence[Remedy]) -> Iterator[Passage]:
    """The passages with a stay of no minutes where a hook moves on the way."""
    stops = {(remedy.place, remedy.at_min) for remedy in added if remedy.is_on_the_way}
    for passage in passages:
        yield passage
        if passage.route is not None and (passage.to_place, passage.finish_min) in stops:
            yield Passage(passage.crew, passage.to_place, "", passage.finish_min, passage.finish_min,
                          passage.step)


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
    legs = [lie.passage for lie in two.lies if lie.passage.route is not None]
    for mine in (lie.passage for lie in one.lies if lie.passage.route is not None):
        for other in legs:
            if (mine.place, mine.to_place) == (other.to_place, other.place):
                begin, end = max(mine.start_min, other.start_min), min(mine.finish_min, other.finish_min)
                if begin < end:
                    yield Crossing(begin, one.crew, mine.step, two.crew, mine.place, mine.to_place, True)


def _passings(mover: Tether, stander: Tether) -> Iterator[Crossing]:
    stays = list(_stays(stander.lies))
    for lie, then in pairwise(mover.lies):
        here, at = lie.passage.to_place, lie.passage.finish_min
        if lie.passage.route is None or then.passage.route is None or then.passage.to_place == (
                lie.passage.place):
            continue
        for stay in stays:
            if stay[0].passage.place == here and stay[0].passage.start_min < at < stay[-1].passage.finish_min:
                line = next(other.line for other in reversed(stay) if other.passage.start_min <= at)
                shared = _routes_into(lie.ahead, here) & _routes_into(line, here)
                if shared:
                    yield Crossing(at, mover.crew, lie.passage.step, stander.crew, min(shared), here, False)


def _stays(lies: Sequence[Lie]) -> Iterator[list[Lie]]:
    """Time at one place without a break; the line may change in it when the hook moves."""
    for is_stay, group in groupby(lies, key=lambda lie: lie.passage.route is None):
        if is_stay:
            yield list(group)


def _routes_into(line: tuple[str, ...], place: str) -> set[str]:
    """The places from which a line comes to, or goes on from, ``place``."""
    legs = list(pairwise(line))
    return {a for a, b in legs if b == place} | {b for a, b in legs if a == place}
