"""Whether hands and bags hold more than they can, and until when a hold burdens hands at all.

A leave that was forgotten shows when another takes the item: then the first one was meant to leave it there,
in the last step at that place. From then on it does not burden the first one's hands any more.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from math import inf, isfinite

from planning_kit.inputs.records import Step
from planning_kit.plan.hardware.custody_state import Hardware
from planning_kit.plan.hardware.mishaps import Overload
from planning_kit.plan.plan_times import PlanTimes


class Intentions:
    """Who acts on each item when, looked up for what a hold was meant for."""

    def __init__(self, times: PlanTimes) -> None:
        """Read all takes, leaves and uses of the plan."""
        self._moves: dict[str, list[tuple[float, str]]] = {}  # of each item: PET and place
        self._last: dict[tuple[str, str], float] = {}  # PET at which someone last acts on an item
        self._stays: dict[tuple[str, str], list[float]] = {}
        starts, finishes = times.starts.tolist(), times.finishes.tolist()
        for step, start, finish in zip(times.steps, starts, finishes, strict=True):
            if isfinite(start):
                self._note(step, start, finish)
        for moves in self._moves.values():
            moves.sort(key=_at)
        for stays in self._stays.values():
            stays.sort()

    def _note(self, step: Step, start: float, finish: float) -> None:
        for moves, at in ((step.takes, start), (step.leaves, finish)):
            for move in moves:
                self._moves.setdefault(move.item, []).append((at, step.place))
                self._acted(move.item, (move.crew,) if move.crew else step.people, at)
        for item in step.uses:
            self._acted(item, step.people, finish)
        for person in step.people:
            self._stays.setdefault((person, step.place), []).append(finish)

    def _acted(self, item: str, people: Iterable[str], at_min: float) -> None:
        for person in people:
            self._last[item, person] = max(at_min, self._last.get((item, person), -inf))

    def until_min(self, person: str, item: str, since_min: float) -> float:
        """Until when ``person``, who has ``item`` since ``since_min``, is meant to have it; inf: to the end.

        Where somebody else moves it next and the first one neither uses nor moves it again: the end of the
        first one's last step at that place before, or else that moment itself.
        """
        moves = self._moves.get(item, [])
        then = bisect_right(moves, since_min, key=_at)
        if then == len(moves) or self._last.get((item, person), -inf) > since_min:
            return inf
        then_min, place = moves[then]
        finishes = self._stays.get((person, place), [])
        known = bisect_right(finishes, then_min)
        left = finishes[known - 1] if known else -inf
        return left if left > since_min else then_min


def _at(move: tuple[float, str]) -> float:
    return move[0]


@dataclass
class Loads:
    """The spells of too much, while the plan is played. ``room`` (slots; None: not given) by hands and bag.

    ``heavy`` are the spells that are open; ``unweighed`` the items and holders without a number, in order.
    """

    hardware: Hardware
    intentions: Intentions
    room: Mapping[str, float | None]
    heavy: dict[str, Overload] = field(default_factory=dict)
    ended: list[Overload] = field(default_factory=list)
    unweighed: dict[str, None] = field(default_factory=dict)

    def settle(self, touched: Mapping[str, str], now: float) -> None:
        """Weigh the holders ``touched``, each with the step that did, and those that held too much before."""
        # What is too heavy may end without a touch: time alone ends a hold that was not meant to go on.
        left = {holder: spell.step for holder, spell in self.heavy.items()
                if holder not in touched and holder not in self.hardware.items}
        for holder, step in (*left.items(), *touched.items()):
            if holder in self.room:
                self._weigh(holder, now, step)

    def overloads(self, end_min: float) -> tuple[Overload, ...]:
        """All spells; those still open last until ``end_min`` (PET)."""
        return (*self.ended, *(replace(spell, until_min=end_min) for spell in self.heavy.values()))

    def _weigh(self, holder: str, now: float, step: str) -> None:
        """Open, raise or close the spell in which a holder has too much."""
        items, limit = self._burden(holder, now), self.room[holder]
        slots = sum(self.hardware.items[item].slots or 0.0 for item in items)
        self.unweighed |= {item: None for item in items if self.hardware.items[item].slots is None}
        if items and limit is None:
            self.unweighed[holder] = None
        spell = self.heavy.get(holder)
        if limit is None or slots <= limit:
            if spell:
                self.ended.append(replace(self.heavy.pop(holder), until_min=now))
        elif spell is None or slots > spell.slots:
            by, since = (spell.step, spell.from_min) if spell else (step, now)
            self.heavy[holder] = Overload(holder, by, from_min=since, until_min=now, slots=slots, limit=limit,
                                          items=tuple(items))

    def _burden(self, holder: str, now: float) -> list[str]:
        """The items in a bag, or those in hands that are meant to have them still."""
        items = self.hardware.load(holder)
        if holder in self.hardware.items:
            return items
        return [item for item in items
                if self.intentions.until_min(holder, item, self.hardware.held_since(item, holder)) > now]
