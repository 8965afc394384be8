"""Custody: the plan played event by event.

``takes`` acts at a step's start, ``leaves`` at its finish. At one instant the finishes of steps begun earlier
come first, then the starts in the order that the plan's rules give; a step of no length leaves right after
it has taken. What is in a bag is not in hand. scenarios/FORMAT.md, "Hardware".
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from planning_kit.inputs.format import SUITED
from planning_kit.inputs.records import INSIDE, ItemMove, Step
from planning_kit.plan.hardware.custody_events import instants
from planning_kit.plan.hardware.custody_meant import Intentions
from planning_kit.plan.hardware.custody_state import Hardware, Holding
from planning_kit.plan.hardware.mishaps import (
    BAG_AWAY,
    EARLY,
    HAS_IT,
    IN_BAG,
    NO_SOCKET,
    NOT_HELD,
    NOT_IN_BAG,
    NOT_IN_SOCKET,
    NOT_THERE,
    PARTNER_AWAY,
    SOCKET_TAKEN,
    USED_AWAY,
    Custody,
    Mishap,
    Overload,
)
from planning_kit.plan.lines.legs import stands_at

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan

def track_custody(plan: TimedPlan) -> Custody:
    """Play the plan and tell where everything was and what went wrong."""
    walk = _Walk(plan)
    walk.look_at_sockets()
    walk.weigh([*SUITED, *walk.hardware.items], 0.0, "")
    for now, finishing, starting in instants(plan):
        for position in finishing:
            walk.active.remove(position)
            walk.leave(position, now)
        walk.settle(now)
        for position in starting:
            walk.take(position, now)
            walk.settle(now)
            if plan.durations[position] <= 0:
                walk.active.remove(position)
                walk.leave(position, now)
                walk.settle(now)
    return walk.result()


@dataclass
class _Walk:
    """The plan being played. ``touched`` are hands and bags whose load is to be looked at."""

    plan: TimedPlan
    hardware: Hardware = field(init=False)
    active: list[int] = field(default_factory=list)
    touched: dict[str, str] = field(default_factory=dict)
    missed: set[tuple[str, str]] = field(default_factory=set)
    mishaps: list[Mishap] = field(default_factory=list)
    heavy: dict[str, Overload] = field(default_factory=dict)
    overloads: list[Overload] = field(default_factory=list)
    unweighed: dict[str, None] = field(default_factory=dict)

    def __post_init__(self) -> None:
        records = self.plan.scenario.records
        self.hardware = Hardware({item.item: item for item in records.hardware},
                           frozenset(place.place for place in records.places if place.socket))
        self.room = {crew.crew: crew.carry_slots for crew in records.crew}
        self.room |= {item.item: item.holds for item in records.hardware if item.kind == "bag"}
        self.airlock = records.settings.airlock
        self.intentions = Intentions(self.plan)

    def look_at_sockets(self) -> None:
        """At the start: a second foothold where the socket is taken."""
        for name, item in self.hardware.items.items():
            if self._is_a_second_foothold(name, item.at):
                self.mishaps.append(Mishap(SOCKET_TAKEN, 0.0, "", "", item.at, name, self._holding(name),
                                           self.hardware.sockets[item.at]))

    def take(self, position: int, now: float) -> None:
        """The start of a step."""
        step = self.plan.steps[position]
        self.active.append(position)
        for move in step.takes:
            self._take(step, move, now)

    def leave(self, position: int, now: float) -> None:
        """The finish of a step."""
        step = self.plan.steps[position]
        for move in step.leaves:
            self._leave(step, move, now)

    def settle(self, now: float) -> None:
        """After things have moved: is everything in use still at hand, does everyone carry what they can?"""
        for position in self.active:
            self._look_at_uses(self.plan.steps[position], now)
            self._look_at_foothold(self.plan.steps[position], now)
        for holder in [holder for holder in self.heavy if holder not in self.touched]:
            self.weigh([holder], now, self.heavy[holder].step)
        for holder, step in self.touched.items():
            self.weigh([holder], now, step)
        self.touched.clear()

    # --- taking ---------------------------------------------------------------------------------------

    def _take(self, step: Step, move: ItemMove, now: float) -> None:
        person, item, hardware = move.crew or step.crew, move.item, self.hardware
        wanted = move.out_of or step.where
        wheres = {wanted} if move.out_of or wanted != self.airlock else {wanted, INSIDE}
        spot = hardware.find(item, wheres)
        held = hardware.find(item, {person})
        if spot is None and held is not None and not held.is_assumed:
            self._fault(HAS_IT, step, person, item, now)
            return
        is_at_hand = not move.out_of or self._is_within(step, move.out_of)
        if spot is not None and is_at_hand:
            self._move(item, spot.where, person, now, step)
            return
        meant = self._what_was_meant(step, item, move.out_of)
        if spot is not None:
            self._fault(BAG_AWAY, step, person, item, now, move.out_of, was=self._holding(move.out_of))
        elif meant:
            self._fault(NOT_IN_BAG if move.out_of else IN_BAG, step, person, item, now,
                        move.out_of or meant)
            self._move(item, meant, person, now, step)
            return
        else:
            later, later_min = self._left_later(item, wanted, person, now)
            self._fault(EARLY if later else NOT_THERE, step, person, item, now, move.out_of, later, later_min)
        hardware.believe(item, person, now, step.step, owed_at=wanted)
        self.touched[person] = step.step

    def _what_was_meant(self, step: Step, item: str, out_of: str) -> str:
        """Where the item is at hand all the same: beside the bag, or in a bag that is here; else ""."""
        if out_of:
            return step.where if self.hardware.find(item, {step.where}) else ""
        where = self.hardware.main(item).where
        return where if where in self.hardware.items and self._is_within(step, where) else ""

    def _left_later(self, item: str, wanted: str, person: str, now: float) -> tuple[str, float]:
        """The first step that leaves the item there after ``now``, and when; ("", NaN) if there is none.

        Not one by the taker, and none after the taker has moved it again: then nothing is passed on.
        """
        found, found_min, own_min = "", float("inf"), float("inf")
        for step, start, finish in zip(self.plan.steps, self.plan.starts, self.plan.finishes, strict=True):
            for moment, moves in ((start, step.takes), (finish, step.leaves)):
                for move in moves:
                    if move.item != item or moment < now or (moment == now and moves is step.takes):
                        continue
                    if (move.crew or step.crew) == person:
                        own_min = min(own_min, float(moment))
                    elif moves is step.leaves and (move.into or step.where) == wanted and moment < found_min:
                        found, found_min = step.step, float(moment)
        return (found, found_min) if found_min <= own_min and found else ("", float("nan"))

    # --- leaving --------------------------------------------------------------------------------------

    def _leave(self, step: Step, move: ItemMove, now: float) -> None:
        person, item, hardware = move.crew or step.crew, move.item, self.hardware
        spot = hardware.find(item, {person})
        if spot is None:
            self._fault(NOT_HELD, step, person, item, now)
            spot = hardware.main(item)
        target = move.into or step.where
        is_in_itself = target in hardware.items and hardware.lies_in(target, item)
        if target in SUITED and not stands_at(self.plan.passages[target], step.place, now):
            self._fault(PARTNER_AWAY, step, person, item, now, target)
        elif target in hardware.items and (is_in_itself or not self._is_within(step, target)):
            self._fault(BAG_AWAY, step, person, item, now, target, was=self._holding(target))
            target = step.where if is_in_itself else target
        self._move(item, spot.where, target, now, step)
        if self._is_a_second_foothold(item, target):
            self._fault(SOCKET_TAKEN, step, person, item, now, hardware.sockets[target])

    def _is_a_second_foothold(self, item: str, place: str) -> bool:
        return (self.hardware.items[item].kind == "foothold" and place in self.hardware.sockets
                and self.hardware.sockets[place] != item)

    # --- having at hand -------------------------------------------------------------------------------

    def _look_at_uses(self, step: Step, now: float) -> None:
        near = {step.where, *step.people}
        for item in step.uses:
            if (step.step, item) in self.missed or self._is_usable(item, near):
                continue
            self.missed.add((step.step, item))
            self._fault(USED_AWAY, step, step.people[0], item, now)
            self.hardware.believe(item, step.people[0], now, step.step, is_assumed=True)

    def _is_usable(self, item: str, near: set[str]) -> bool:
        for spot in self.hardware.spots[item]:
            if spot.where in near:
                return True
            if spot.where in self.hardware.items and self.hardware.find(spot.where, near) is not None:
                return True
        return False

    def _look_at_foothold(self, step: Step, now: float) -> None:
        item, place = step.foothold, step.place
        if not item or not place or (step.step, item) in self.missed:
            return
        if place not in self.hardware.with_socket:
            self._fault(NO_SOCKET, step, step.crew, item, now)
        elif self.hardware.sockets.get(place) != item:
            self._fault(NOT_IN_SOCKET, step, step.crew, item, now, self.hardware.sockets.get(place, ""))
        else:
            return
        self.missed.add((step.step, item))

    # --- loads ----------------------------------------------------------------------------------------

    def weigh(self, holders: list[str], now: float, step: str) -> None:
        """Open, raise or close the spell in which hands or a bag hold too much."""
        for holder in holders:
            if holder not in self.room:
                continue
            items, limit = self._burden(holder, now), self.room[holder]
            slots = sum(self.hardware.items[item].slots or 0.0 for item in items)
            self.unweighed |= {item: None for item in items if self.hardware.items[item].slots is None}
            if items and limit is None:
                self.unweighed[holder] = None
            spell = self.heavy.get(holder)
            if limit is None or slots <= limit:
                if spell:
                    self.overloads.append(_until(self.heavy.pop(holder), now))
            elif spell is None:
                self.heavy[holder] = Overload(holder, step, now, now, slots, limit, tuple(items))
            elif slots > spell.slots:
                self.heavy[holder] = Overload(holder, spell.step, spell.from_min, now, slots, limit,
                                              tuple(items))

    def _burden(self, holder: str, now: float) -> list[str]:
        """The items in a bag, or those in hands that are meant to have them still."""
        items = self.hardware.load(holder)
        if holder in self.hardware.items:
            return items
        return [item for item in items
                if self.intentions.until_min(holder, item, self.hardware.held_since(item, holder)) > now]

    # --- telling --------------------------------------------------------------------------------------

    def _is_within(self, step: Step, bag: str) -> bool:
        """Whether a bag lies here or is in the hands of this step's people."""
        return self.hardware.find(bag, {step.where, *step.people}) is not None

    def _move(self, item: str, from_where: str, to: str, now: float, step: Step) -> None:
        spot = self.hardware.find(item, {from_where})
        assert spot is not None
        self.touched |= {from_where: step.step, to: step.step}
        self.hardware.move(item, spot, to, now, step.step)

    def _holding(self, item: str) -> Holding:
        """Where an item is now, and since when and by which step it is directly there."""
        spot = self.hardware.main(item)
        return Holding(item, *self.hardware.root(spot), spot.since_min, spot.since_min, spot.by_step)

    def _fault(self, kind: str, step: Step, crew: str, item: str, now: float, other: str = "",
               later_step: str = "", later_min: float = float("nan"), was: Holding | None = None) -> None:
        self.mishaps.append(Mishap(kind, now, step.step, crew, step.where, item,
                                   was or self._holding(item), other, later_step, later_min))

    def result(self) -> Custody:
        """All that was seen."""
        end = self.plan.end_min
        open_spells = [_until(spell, end) for spell in self.heavy.values()]
        endings = {
            name: tuple(Holding(name, *self.hardware.root(spot), spot.since_min, end, spot.by_step)
                        for spot in spots if not spot.is_assumed)
            for name, spots in self.hardware.spots.items()
        }
        return Custody(tuple(self.hardware.holdings(end)), tuple(self.mishaps),
                       (*self.overloads, *open_spells), endings, tuple(self.unweighed))


def _until(spell: Overload, end_min: float) -> Overload:
    return replace(spell, until_min=end_min)
