"""Who or what has each item at every minute: the plan is played event by event, and told as two tables.

``takes`` acts at a step's start, ``leaves`` at its finish. At one instant the finishes of steps begun earlier
come first, then the starts in the order that the plan's rules give; a step of no length leaves right after
it has taken. What is in a bag is not in hand. scenarios/FORMAT.md, "Hardware".

The state that this changes, event by event, is in `planning_kit.plan.custody_state`.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
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
    stays = {crew: stands(theirs) for crew, theirs in passages.items()}
    moves = grouped((each[-1].item, each) for each in times.item_moves())
    walk = Walk(times.scenario.records, times.steps, Intentions(times), moves,
                lambda crew, place, at_min: stands_at(stays[crew], place, at_min))
    spans = [(start, finish) for _, start, finish in times.each_step()]
    walk.play(spans, instants(spans, partial(_in_order, times)))
    return walk.result(times.end_min)


Moment = tuple[float, list[int], list[int]]


def instants(spans: Sequence[tuple[float, float]],
             in_turn: Callable[[list[int]], list[int]]) -> Iterator[Moment]:
    """Every moment at which a step ends or begins: positions that finish (begun earlier), that start.

    ``in_turn`` puts steps that start together into the order in which they act.
    """
    begun = [(position, span) for position, span in enumerate(spans) if isfinite(span[0])]
    beginning = grouped((start, position) for position, (start, _) in begun)
    ending = grouped((finish, position) for position, (start, finish) in begun if finish > start)
    for now in sorted({*ending, *beginning}):
        starting = beginning.get(now, [])
        # Only a step of no length can act and be done before others that start at the same instant.
        if len(starting) > 1 and any(spans[position][1] == now for position in starting):
            starting = in_turn(starting)
        yield now, ending.get(now, []), starting


def _in_order(times: Times, positions: list[int]) -> list[int]:
    """Steps that start together, some of no length, so that none comes before one that it waits for."""
    bounds = [bound for position in positions for bound in times.network.bounds_into[position]]
    return one_by_one(positions, {(bound.before, bound.after) for bound in bounds
                                  if bound.kind in (ORDER, AFTER, MIN_GAP)})


def one_by_one(rows: Collection[int], waits: Iterable[tuple[int, int]]) -> list[int]:
    """``rows`` in their order, but none before one that it waits for; a wait is (before, after)."""
    waits_for: dict[int, set[int]] = {row: set() for row in rows}
    for before, after in waits:
        if before in waits_for:
            waits_for[after].add(before)
    done: dict[int, None] = {}
    while waits_for:
        # A ring of rules, all of them at this one instant, is opened at its first row.
        row = next((each for each, others in waits_for.items() if others <= done.keys()),
                   next(iter(waits_for)))
        del waits_for[row]
        done[row] = None
    return list(done)


def room_in(records: Records) -> dict[str, float | None]:
    """The slots that hands and bags hold; None: not given."""
    room = {crew.crew: crew.carry_slots for crew in records.crew}
    return room | {item.item: item.holds for item in records.hardware if item.kind == "bag"}


def is_at_end(records: Records, item: Item, endings: Sequence[Holding]) -> bool:
    """Whether an item is where ``end_at`` says: inside, in a bag or not; any other place only by itself."""
    # After a fault an item may be in two places: one that fits is enough, as the fault itself is told.
    if item.end_at == INSIDE:
        return any(is_in(records, ending.holder) for ending in endings)
    return not item.end_at or any(ending.holder == item.end_at and not ending.in_bag for ending in endings)


def other_end(records: Records, steps: Iterable[Step], item: Item) -> str:
    """Where a cable's other end is after ``steps``: fixed by one there that handles it, or as at PET 0."""
    to = records.settings.airlock_place if item.end2_at == INSIDE else item.end2_at
    is_fixed = to and (item.at == item.end2_at
                       or any(step.place == to and item.item in step.touches for step in steps))
    return item.end2_at if is_fixed else item.other_end_at


def taken_from(records: Records, step: Step, move: ItemMove) -> frozenset[str]:
    """Where an item may be that a step takes."""
    from_where = move.out_of or step.where
    # Only at the airlock is what lies inside at hand, too.
    is_airlock = not move.out_of and from_where == records.settings.airlock_place
    return frozenset({from_where, INSIDE} if is_airlock else {from_where})


@dataclass
class Walk:
    """Items moved by ``steps``, in row order. ``stands``: whether someone stands at a place at that minute.

    Without ``intentions`` hands are meant to have what they have, and no history is kept: good up to a
    mishap. ``touched`` are hands and bags to be weighed, and by which step; ``active`` the steps under way;
    ``missed`` what was found missing in them, to say it once a step.
    """

    records: Records
    steps: Sequence[Step]
    intentions: Intentions | None
    moves: Mapping[str, Sequence[tuple[float, bool, Step, ItemMove]]]
    stands: Callable[[str, str, float], bool]
    active: list[int] = field(default_factory=list)
    touched: dict[str, str] = field(default_factory=dict)
    missed: set[tuple[str, str]] = field(default_factory=set)
    mishaps: list[Mishap] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Everything is where it is at PET 0."""
        self.hardware = Hardware({item.item: item for item in self.records.hardware},
                                 frozenset(place.place for place in self.records.places if place.socket),
                                 keeps_log=self.intentions is not None)
        self.loads = Loads(self.hardware, self.intentions, room_in(self.records))

    def play(self, spans: Sequence[tuple[float, float]], moments: Iterable[Moment]) -> None:
        """From PET 0 on; ``spans``: start and finish of each step, ``moments`` as `instants` gives them."""
        self.look_at_sockets()
        self.loads.settle(dict.fromkeys([*SUITED, *self.hardware.items], ""), 0.0)
        for now, finishing, starting in moments:
            for position in finishing:
                self.leave(position, now)
            # Looked at once all have left what they leave: halfway through, hands could seem too full.
            self.settle(now, ())
            for position in starting:
                self.take(position, now)
                self.settle(now, (position,))
                if spans[position][1] <= now:
                    self.leave(position, now)
                    self.settle(now, ())

    def look_at_sockets(self) -> None:
        """At the start: a second foothold where the socket is taken."""
        for name, item in self.hardware.items.items():
            if self._is_a_second_foothold(name, item.at):
                self.mishaps.append(Mishap(
                    kinds.SOCKET_TAKEN, at_min=0.0, step="", crew="", place=item.at, item=name,
                    was=self._holding(name), other=self.hardware.sockets[item.at]))

    def take(self, position: int, now: float) -> None:
        """The start of a step."""
        step = self.steps[position]
        self.active.append(position)
        for move in step.takes:
            self._take(step, move, now)

    def leave(self, position: int, now: float) -> None:
        """The finish of a step."""
        step = self.steps[position]
        self.active.remove(position)
        for move in step.leaves:
            self._leave(step, move, now)

    def settle(self, now: float, begun: Sequence[int]) -> None:
        """After things have moved: is everything in use still at hand, does everyone carry what they can?"""
        for step in (self.steps[position] for position in (self.active if self.touched else begun)):
            if step.uses:
                self._look_at_uses(step, now)
            if step.foothold and step.place:
                self._look_at_foothold(step, now)
        if self.touched or self.loads.heavy:
            self.loads.settle(self.touched, now)
            self.touched.clear()

    # --- taking ---------------------------------------------------------------------------------------

    def _take(self, step: Step, move: ItemMove, now: float) -> None:
        person, item, hardware = move.crew or step.crew, move.item, self.hardware
        from_where = move.out_of or step.where
        spot = hardware.find(item, taken_from(self.records, step, move))
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
        if target in SUITED and not self.stands(target, step.place, now):
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
        if (step.step, item) in self.missed:
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

    def endings(self, item: str, end: float) -> tuple[Holding, ...]:
        """Where an item is in the end (PET), the likeliest last."""
        return tuple(self.hardware.holding(item, spot, end) for spot in self.hardware.spots[item]
                     if not spot.is_assumed)

    def result(self, end: float) -> Custody:
        """All that was seen, until the end (PET)."""
        return Custody(holdings=tuple(self.hardware.holdings(end)), mishaps=tuple(self.mishaps),
                       overloads=self.loads.overloads(end),
                       endings={name: self.endings(name, end) for name in self.hardware.spots},
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
    away = {crew: Spans((each.start_min, each.finish_min) for each in theirs
                        if each.route is not None or each.place != airlock or not each.is_known)
            for crew, theirs in passages.items()}
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
