"""Who or what has each item at every minute: the plan is played event by event, and told as two tables.

``takes`` acts at a step's start, ``leaves`` at its finish. At one instant the finishes of steps begun earlier
come first, then the starts in the order that the plan's rules give; a step of no length leaves right after
it has taken. What is in a bag is not in hand. scenarios/FORMAT.md, "Hardware".

The state that this changes, event by event, is in `planning_kit.plan.custody_state`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import isfinite, nan

import pandas as pd

from planning_kit.inputs.format import SUITED
from planning_kit.inputs.records import INSIDE, Item, ItemMove, Records, Step
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.plan import custody_state as kinds
from planning_kit.plan.custody_state import Custody, Hardware, Holding, Intentions, Loads, Mishap
from planning_kit.plan.legs import Passage, Spans, stands, stands_at
from planning_kit.plan.network import AFTER, MIN_GAP, ORDER, grouped
from planning_kit.plan.plan_times import Times


def track_custody(times: Times, passages: Mapping[str, Sequence[Passage]]) -> Custody:
    """Play the plan and tell where everything was and what went wrong; ``passages`` by crew member."""
    walk = _before_pet_zero(times, passages)
    walk.look_at_sockets()
    walk.loads.settle(dict.fromkeys([*SUITED, *walk.hardware.items], ""), 0.0)
    for now, finishing, starting in _instants(times):
        for position in finishing:
            walk.leave(position, now)
        # Looked at once all have left what they leave: halfway through, hands could seem too full.
        walk.settle(now)
        for position in starting:
            walk.take(position, now)
            walk.settle(now)
            if times.durations[position] <= 0:
                walk.leave(position, now)
                walk.settle(now)
    return walk.result()


def _instants(times: Times) -> Iterator[tuple[float, list[int], list[int]]]:
    """Every moment at which a step ends or begins: positions that finish (begun earlier), that start."""
    spans = [(start, finish) for _, start, finish in times.each_step()]
    begun = [(position, span) for position, span in enumerate(spans) if isfinite(span[0])]
    beginning = grouped((start, position) for position, (start, _) in begun)
    ending = grouped((finish, position) for position, (start, finish) in begun if finish > start)
    for now in sorted({*ending, *beginning}):
        starting = beginning.get(now, [])
        # Only a step of no length can act and be done before others that start at the same instant.
        if len(starting) > 1 and any(spans[position][1] == now for position in starting):
            starting = _in_order(times, starting)
        yield now, ending.get(now, []), starting


def _in_order(times: Times, positions: list[int]) -> list[int]:
    """Steps that start together, some of no length, so that none comes before one that it waits for."""
    waits_for: dict[int, set[int]] = {position: set() for position in positions}
    for bound in (bound for position in positions for bound in times.network.bounds_into[position]):
        if bound.kind in (ORDER, AFTER, MIN_GAP) and bound.before in waits_for:
            waits_for[bound.after].add(bound.before)
    done: dict[int, None] = {}
    while waits_for:
        # A ring of rules, all of them at this one instant, is opened at its first row.
        position = next((p for p, others in waits_for.items() if others <= done.keys()), None)
        position = min(waits_for) if position is None else position
        del waits_for[position]
        done[position] = None
    return list(done)


def _before_pet_zero(times: Times, passages: Mapping[str, Sequence[Passage]]) -> _Walk:
    """Everything where it is at PET 0."""
    records = times.scenario.records
    hardware = Hardware({item.item: item for item in records.hardware},
                        frozenset(place.place for place in records.places if place.socket))
    room = {crew.crew: crew.carry_slots for crew in records.crew}
    room |= {item.item: item.holds for item in records.hardware if item.kind == "bag"}
    stays = {crew: stands(theirs) for crew, theirs in passages.items()}
    moves = grouped((each[-1].item, each) for each in times.item_moves())
    return _Walk(times, stays, hardware, Loads(hardware, Intentions(times), room), moves)


@dataclass
class _Walk:
    """The plan being played. ``touched`` are hands and bags whose load is to be looked at, and by which step.

    ``active`` are the steps under way; ``missed`` what was found missing in them, to say it once a step.
    """

    times: Times
    stays: Mapping[str, Mapping[str, Spans]]
    hardware: Hardware
    loads: Loads
    moves: Mapping[str, Sequence[tuple[float, bool, Step, ItemMove]]]
    active: list[int] = field(default_factory=list)
    touched: dict[str, str] = field(default_factory=dict)
    missed: set[tuple[str, str]] = field(default_factory=set)
    mishaps: list[Mishap] = field(default_factory=list)

    def look_at_sockets(self) -> None:
        """At the start: a second foothold where the socket is taken."""
        for name, item in self.hardware.items.items():
            if self._is_a_second_foothold(name, item.at):
                self.mishaps.append(Mishap(
                    kinds.SOCKET_TAKEN, at_min=0.0, step="", crew="", place=item.at, item=name,
                    was=self._holding(name), other=self.hardware.sockets[item.at]))

    def take(self, position: int, now: float) -> None:
        """The start of a step."""
        step = self.times.steps[position]
        self.active.append(position)
        for move in step.takes:
            self._take(step, move, now)

    def leave(self, position: int, now: float) -> None:
        """The finish of a step."""
        step = self.times.steps[position]
        self.active.remove(position)
        for move in step.leaves:
            self._leave(step, move, now)

    def settle(self, now: float) -> None:
        """After things have moved: is everything in use still at hand, does everyone carry what they can?"""
        for position in self.active:
            self._look_at_uses(self.times.steps[position], now)
            self._look_at_foothold(self.times.steps[position], now)
        self.loads.settle(self.touched, now)
        self.touched.clear()

    # --- taking ---------------------------------------------------------------------------------------

    def _take(self, step: Step, move: ItemMove, now: float) -> None:
        person, item, hardware = move.crew or step.crew, move.item, self.hardware
        from_where = move.out_of or step.where
        airlock = self.times.scenario.settings.airlock_place
        # Only at the airlock is what lies inside at hand, too.
        wheres = {from_where} if move.out_of or from_where != airlock else {from_where, INSIDE}
        spot = hardware.find(item, wheres)
        held = hardware.find(item, {person})
        if spot is None and held is not None and not held.is_assumed:
            self._fault(kinds.HAS_IT, step, person, item, now)
            return
        is_at_hand = not move.out_of or self._is_within(step, move.out_of)
        if spot is not None and is_at_hand:
            self._move(item, spot.where, person, now, step)
            return
        meant = self._what_was_meant(step, item, move.out_of)
        if spot is not None:
            self._fault(kinds.BAG_AWAY, step, person, item, now, move.out_of, was=self._holding(move.out_of))
        elif meant:
            self._fault(kinds.NOT_IN_BAG if move.out_of else kinds.IN_BAG, step, person, item, now,
                        move.out_of or meant)
            self._move(item, meant, person, now, step)
            return
        else:
            later, later_min = self._left_later(item, from_where, person, now)
            self._fault(kinds.EARLY if later else kinds.NOT_THERE, step, person, item, now, move.out_of,
                        later, later_min)
        hardware.believe(item, person, now, step.step, owed_at=from_where)
        self.touched[person] = step.step

    def _what_was_meant(self, step: Step, item: str, out_of: str) -> str:
        """Where the item is at hand all the same: beside the bag, or in a bag that is here; else ""."""
        if out_of:
            return step.where if self.hardware.find(item, {step.where}) else ""
        where = self.hardware.main(item).where
        return where if where in self.hardware.items and self._is_within(step, where) else ""

    def _left_later(self, item: str, from_where: str, person: str, now: float) -> tuple[str, float]:
        """The first step that leaves the item there after ``now``, and when; ("", NaN) if there is none.

        Not one by the taker, and none after the taker has moved it again: then nothing is passed on.
        """
        found, found_min, own_min = "", float("inf"), float("inf")
        for moment, is_take, step, move in self.moves.get(item, ()):
            if moment < now or (moment == now and is_take):
                continue
            if (move.crew or step.crew) == person:
                own_min = min(own_min, moment)
            elif not is_take and (move.into or step.where) == from_where and moment < found_min:
                found, found_min = step.step, moment
        return (found, found_min) if found_min <= own_min and found else ("", float("nan"))

    # --- leaving --------------------------------------------------------------------------------------

    def _leave(self, step: Step, move: ItemMove, now: float) -> None:
        person, item, hardware = move.crew or step.crew, move.item, self.hardware
        spot = hardware.find(item, {person})
        if spot is None:
            self._fault(kinds.NOT_HELD, step, person, item, now)
            spot = hardware.main(item)  # the plan means it to be here from now on, whoever has it
        target = move.into or step.where
        is_in_itself = target in hardware.items and hardware.lies_in(target, item)
        if target in SUITED and not stands_at(self.stays[target], step.place, now):
            self._fault(kinds.PARTNER_AWAY, step, person, item, now, target)
        elif target in hardware.items and (is_in_itself or not self._is_within(step, target)):
            self._fault(kinds.BAG_AWAY, step, person, item, now, target, was=self._holding(target))
            target = step.where if is_in_itself else target
        self._move(item, spot.where, target, now, step)
        if self._is_a_second_foothold(item, target):
            self._fault(kinds.SOCKET_TAKEN, step, person, item, now, hardware.sockets[target])

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
            self._fault(kinds.USED_AWAY, step, step.people[0], item, now)
            self.hardware.believe(item, step.people[0], now, step.step, is_assumed=True)

    def _is_usable(self, item: str, near: set[str]) -> bool:
        bags = self.hardware.items
        return any(spot.where in near or (spot.where in bags and self.hardware.find(spot.where, near))
                   for spot in self.hardware.spots[item])

    def _look_at_foothold(self, step: Step, now: float) -> None:
        item, place = step.foothold, step.place
        if not item or not place or (step.step, item) in self.missed:
            return
        in_socket = self.hardware.sockets.get(place, "")
        if in_socket != item:
            kind = kinds.NOT_IN_SOCKET if place in self.hardware.with_socket else kinds.NO_SOCKET
            self._fault(kind, step, step.crew, item, now, in_socket)
            self.missed.add((step.step, item))

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
        return self.hardware.holding(item, spot, spot.since_min)

    def _fault(self, kind: str, step: Step, crew: str, item: str, now: float, other: str = "",
               later_step: str = "", later_min: float = float("nan"), was: Holding | None = None) -> None:
        self.mishaps.append(Mishap(
            kind, at_min=now, step=step.step, crew=crew, place=step.where, item=item,
            was=was or self._holding(item), other=other, later_step=later_step, later_min=later_min))

    def result(self) -> Custody:
        """All that was seen."""
        end = self.times.end_min
        endings = {
            name: tuple(self.hardware.holding(name, spot, end) for spot in spots if not spot.is_assumed)
            for name, spots in self.hardware.spots.items()
        }
        return Custody(holdings=tuple(self.hardware.holdings(end)), mishaps=tuple(self.mishaps),
                       overloads=self.loads.overloads(end), endings=endings,
                       unweighed=tuple(self.loads.unweighed))


CUSTODY_COLUMNS = ["item", "title", "kind", "holder", "in_bag", "from_min", "until_min", "by_step"]
KIT_COLUMNS = ["item", "title", "kind", "goes_out_with", "in_bag", "ends", "comes_back_with",
               "out_min", "out_step", "home_min", "home_step"]
_NEVER = Holding("", holder="", in_bag="", from_min=nan, until_min=nan, by_step="")


def custody_table(hardware: Sequence[Item], holdings: Sequence[Holding]) -> pd.DataFrame:
    """One row a stay of an item, by item in the order of ``hardware.csv``, then by time.

    ``holder`` is a crew member, an actor, a place or ``inside``, whether the item is held or lies there
    itself or in a bag; ``in_bag`` is the bag it is directly in, or "". PET minutes; the last row of an item
    lasts until the end of the outing. ``by_step`` is the step that brought it there ("" at PET 0).
    """
    items = {item.item: item for item in hardware}
    rows = [(h.item, items[h.item].title, items[h.item].kind, h.holder, h.in_bag, h.from_min, h.until_min,
             h.by_step) for h in holdings]
    return ShownTable(rows, columns=CUSTODY_COLUMNS)


def kit_table(records: Records, holdings: Sequence[Holding],
              passages: Mapping[str, Sequence[Passage]]) -> pd.DataFrame:
    """One row an item: with whom (and in which bag) it leaves the airlock, where it ends, who brings it back.

    ``goes_out_with`` is empty for what starts outside or never leaves the airlock; ``comes_back_with`` for
    what does not come to the airlock with anyone. ``ends`` is a place, or ``inside`` for what is held or lies
    at the airlock at the end. ``out_min`` and ``out_step``: when, and in which step, who takes it out has it
    ("" at PET 0); ``home_min`` and ``home_step``: when and where who brings it home lets go of it ("" where
    they hold it to the end). PET minutes; NaN where there is no such moment.
    """
    rows = []
    airlock = records.settings.airlock_place
    away = {crew: _away(theirs, airlock) for crew, theirs in passages.items()}
    by_item = grouped((stay.item, stay) for stay in holdings)
    for item in records.hardware:
        stays = by_item[item.item]
        carried = [stay for stay in stays if stay.holder in away
                   and away[stay.holder].any_inside(stay.from_min, stay.until_min)]
        ends_in = is_in(records, stays[-1].holder)
        out = carried[0] if carried and is_in(records, stays[0].holder) else _NEVER
        back = carried[-1] if carried and ends_in else _NEVER
        after = stays[stays.index(back) + 1:] if back in stays else []
        rows.append((item.item, item.title, item.kind, out.holder, out.in_bag,
                     INSIDE if ends_in else stays[-1].holder, back.holder,
                     out.from_min, out.by_step, back.until_min, after[0].by_step if after else ""))
    return ShownTable(rows, columns=KIT_COLUMNS)


def is_in(records: Records, holder: str) -> bool:
    """Whether what this holder has is inside at the end: held by someone, at the airlock, or inside."""
    return holder == records.settings.airlock_place or all(place.place != holder for place in records.places)


def _away(passages: Sequence[Passage], airlock: str) -> Spans:
    """When someone is away from the airlock."""
    return Spans((passage.start_min, passage.finish_min) for passage in passages
                 if passage.route is not None or passage.place != airlock)
