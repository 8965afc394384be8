"""Safety tethers: where each is hooked, and how much of it is out, along the path really travelled.

At PET 0 both are hooked to the airlock's anchor. Every leg lays the line along its route; a leg walked back
takes it in again. Reach = metres of the routes that the line lies along, plus the part of the present leg.
A hook moves at the finish of a step, when its owner stands at the place and the place has an anchor; where
it cannot, the tether stays hooked where it was. Neglected: slack, short cuts of a taut line, and the metres
from a place to the hand that works there. scenarios/FORMAT.md, "Tethers".
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite

import pandas as pd

from planning_kit.inputs.text_table import ShownTable
from planning_kit.plan.lines.legs import Passage, stands, stands_at
from planning_kit.plan.plan_times import PlanTimes
from planning_kit.plan.routes import Travel

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
    metres, at the start and the end of the passage.
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


def track_tether(times: PlanTimes, passages: Sequence[Passage], crew: str) -> Tether:
    """Follow the tether of one crew member, whose passages these are, through the plan."""
    records = times.scenario.records
    anchors = frozenset(place.place for place in records.places if place.anchor)
    moves = _hook_moves(times, crew)
    good = [move for move in moves if move.place in anchors]
    standing = stands(passages)
    away = {move: None for move in moves if not stands_at(standing, move.place, move.at_min)}
    return Tether(
        crew, tether_m=next(each.tether_m for each in records.crew if each.crew == crew),
        lies=tuple(follow(times.travels[crew], passages, good, records.settings.airlock)),
        moves=tuple(move for move in good if move not in away),
        no_anchor=tuple(move for move in moves if move.place not in anchors), owner_away=tuple(away),
    )


def _hook_moves(times: PlanTimes, crew: str) -> list[HookMove]:
    """The planned hook moves of one tether, by time."""
    moves = [HookMove(step.step, step.place, float(finish))
             for step, finish in zip(times.steps, times.finishes, strict=True)
             if crew in step.hooks and isfinite(finish)]
    return sorted(moves, key=lambda move: move.at_min)


def follow(travel: Travel, passages: Sequence[Passage], moves: Sequence[HookMove], hook: str,
           first: int = 0) -> Iterator[Lie]:
    """The line through the passages from number ``first`` on; a stay is cut where the hook moves.

    ``moves`` are those of the hook, by time.
    """
    line: tuple[str, ...] = (hook,)
    reach = 0.0
    made: set[int] = set()
    for passage in (passages[number] for number in range(first, len(passages))):
        if passage.route is not None:
            ahead = after_leg(line, passage.to_place)
            ahead_reach = line_m(travel, ahead)
            yield Lie(passage, line, ahead, reach, ahead_reach)
            line, reach = ahead, ahead_reach
            continue
        start = passage.start_min
        for number in _moves_in(passage, moves):
            if number in made or moves[number].place != passage.place:
                continue
            move = moves[number]
            made.add(number)
            yield Lie(_cut(passage, start, move.at_min), line, line, reach, reach)
            start, line, reach = move.at_min, (passage.place,), 0.0
        yield Lie(_cut(passage, start, passage.finish_min), line, line, reach, reach)


def _moves_in(passage: Passage, moves: Sequence[HookMove]) -> range:
    """The hook moves, by number, that lie in a passage, its ends included."""
    return range(bisect_left(moves, passage.start_min, key=lambda move: move.at_min),
                 bisect_right(moves, passage.finish_min, key=lambda move: move.at_min))


def after_leg(line: tuple[str, ...], place: str) -> tuple[str, ...]:
    """The line after one leg: a leg walked back is taken in, any other is laid out."""
    return line[:-1] if len(line) > 1 and line[-2] == place else (*line, place)


def line_m(travel: Travel, line: Sequence[str]) -> float:
    """Metres of the routes that a line lies along."""
    return sum(travel.routes[leg].metres for leg in pairwise(line))


def _cut(passage: Passage, start: float, finish: float) -> Passage:
    return Passage(passage.crew, passage.place, "", start, finish, passage.step)


def tethers_table(tethers: Mapping[str, Tether]) -> pd.DataFrame:
    """One row a leg, or a stay at one place with one hook, of each crew member, by time.

    ``place`` and, on a leg, ``to_place``; ``hook`` is the place of the hook; ``reach_m`` is the greatest in
    the row, ``margin_m`` = ``tether_m`` - ``reach_m`` (empty where the tether's length is not given).
    """
    rows = []
    for tether in tethers.values():
        length = float("nan") if tether.tether_m is None else tether.tether_m
        for group in _joined(tether.lies):
            first, last, reach = group[0].passage, group[-1].passage, group[0].reach_m
            rows.append((tether.crew, first.start_min, last.finish_min, first.place, first.to_place,
                         group[0].line[0], reach, length, length - reach))
    frame = ShownTable(rows, columns=TETHER_COLUMNS)
    return frame.sort_values(["from_min", "crew"], kind="stable").reset_index(drop=True)


def _joined(lies: Sequence[Lie]) -> Iterator[list[Lie]]:
    """Legs one by one; stays at one place with one line together; stays without minutes left out."""
    group: list[Lie] = []
    for lie in lies:
        is_stay = lie.passage.route is None
        if is_stay and lie.passage.finish_min <= lie.passage.start_min:
            continue
        if group and not (is_stay and group[-1].passage.route is None and group[-1].line == lie.line):
            yield group
            group = []
        group.append(lie)
    if group:
        yield group
