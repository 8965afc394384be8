"""The state of all hardware while a plan is played, and the records of what comes of it.

A mishap is a take, leave, use or foothold that cannot be done as written; a check words it.

After a fault the state follows what the plan means. A crew member who takes an item that is not there is
from then on believed to have it, while it also stays where it was: it has two whereabouts, and whoever acts
on it next acts on the one that fits. When the item arrives where it was taken too early, the two are one
again. So one wrong line gives one fault, not a chain of them.

Loads: what hands and bags hold more than they can. A leave that was forgotten shows when another takes the
item: then the first one was meant to leave it there, in the last step at that place. From then on it does
not burden the first one's hands any more.
"""

from bisect import bisect_right
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from math import inf, isfinite
from operator import itemgetter

from planning_kit.inputs.records import Item
from planning_kit.plan.network import grouped
from planning_kit.plan.plan_times import Times

_at = itemgetter(0)


@dataclass(frozen=True)
class Holding:
    """Who or where holds an item from ``from_min`` until ``until_min`` (PET).

    ``holder`` is a crew member, an actor, a place or ``inside``, also for what is in a bag that is there;
    ``in_bag`` is the bag that it is in, or "". ``by_step`` is the step that brought it there, "" at PET 0.
    """

    item: str
    holder: str
    in_bag: str
    from_min: float
    until_min: float
    by_step: str


@dataclass
class Spot:
    """One whereabouts of an item: ``where`` is a person, a place, a bag or ``inside``.

    ``owed_at``: it was taken there before it was there. ``is_assumed``: a step uses it although it is
    elsewhere, so its user is believed to have it, until the plan says more.
    """

    where: str
    since_min: float
    by_step: str
    owed_at: str = ""
    is_assumed: bool = False


@dataclass
class Hardware:
    """All items and their whereabouts; the last of an item's spots is the one last moved.

    Without ``keeps_log`` their history is not kept.
    """

    items: Mapping[str, Item]
    with_socket: frozenset[str]
    keeps_log: bool = True
    spots: dict[str, list[Spot]] = field(default_factory=dict)
    sockets: dict[str, str] = field(default_factory=dict)
    log: dict[str, list[Holding]] = field(default_factory=dict)
    _came: dict[str, set[str]] = field(default_factory=dict)  # what has come to each place, hand and bag

    def __post_init__(self) -> None:
        self._rows = {name: row for row, name in enumerate(self.items)}
        for name, item in self.items.items():
            self.spots[name] = [Spot(item.at, 0.0, "")]
            self._came.setdefault(item.at, set()).add(name)
            if item.kind == "foothold" and item.at in self.with_socket:
                self.sockets.setdefault(item.at, name)
        for name in self.items if self.keeps_log else ():
            self.log[name] = [Holding(name, *self.root(self.main(name)), 0.0, 0.0, "")]

    def main(self, item: str) -> Spot:
        """The whereabouts last moved, leaving out mere assumptions."""
        return next(spot for spot in reversed(self.spots[item]) if not spot.is_assumed)

    def find(self, item: str, wheres: Collection[str]) -> Spot | None:
        """The latest whereabouts of an item among ``wheres``, if any; one that is assumed comes last."""
        spots = self.spots[item]
        if len(spots) == 1:  # as is usual, and asked often
            return spots[0] if spots[0].where in wheres else None
        spots = sorted(spots, key=lambda spot: not spot.is_assumed)
        return next((spot for spot in reversed(spots) if spot.where in wheres), None)

    def root(self, spot: Spot) -> tuple[str, str]:
        """Who or where holds this spot in the end, and the bag that it is directly in ("" if none)."""
        bag = spot.where if spot.where in self.items else ""
        for _ in self.items:  # after faults, bags could be in each other: no more turns than items
            if spot.where not in self.items:
                break
            spot = self.main(spot.where)
        return spot.where, bag

    def lies_in(self, item: str, other: str) -> bool:
        """Whether ``item`` is ``other`` or lies, through bags, in it."""
        for _ in self.items:
            if item == other:
                return True
            if item not in self.items:
                return False
            item = self.main(item).where
        return item == other

    def holding(self, item: str, spot: Spot, until_min: float) -> Holding:
        """One whereabouts of an item until then, since it is directly there."""
        return Holding(item, *self.root(spot), spot.since_min, until_min, spot.by_step)

    def load(self, holder: str) -> list[str]:
        """The items directly in these hands or in this bag."""
        here = {name for name in self._came.get(holder, ())
                if any(spot.where == holder and not spot.is_assumed for spot in self.spots[name])}
        # What has gone on is forgotten, or each look would take as long as all that ever came.
        self._came[holder] = here
        return sorted(here, key=self._rows.__getitem__)

    def held_since(self, item: str, holder: str) -> float:
        """Since when (PET) ``holder`` has the item, which is among `load`."""
        return max(spot.since_min for spot in self.spots[item]
                   if spot.where == holder and not spot.is_assumed)

    def move(self, item: str, spot: Spot, to: str, now: float, step: str) -> None:
        """Move one whereabouts of an item. Assumptions about it end; a debt at ``to`` is paid."""
        if self.sockets.get(spot.where) == item:
            del self.sockets[spot.where]
        spot.where, spot.since_min, spot.by_step, spot.is_assumed = to, now, step, False
        self._came.setdefault(to, set()).add(item)
        others = [other for other in self.spots[item] if other is not spot and not other.is_assumed]
        # Somebody took it from here too early: now that it has come, they have it and it lies here no more.
        creditor = next((other for other in others if other.owed_at == to), None)
        if creditor is not None:
            creditor.owed_at = ""
            self.spots[item] = [*(o for o in others if o is not creditor), creditor]
        else:
            self.spots[item] = [*others, spot]
        if to in self.with_socket and self.items[item].kind == "foothold":
            self.sockets.setdefault(to, item)
        self._record(item, now, step)

    def believe(self, item: str, where: str, now: float, step: str, owed_at: str = "",
                is_assumed: bool = False) -> None:
        """Add a whereabouts that the plan takes for granted."""
        self.spots[item].append(Spot(where, now, step, owed_at, is_assumed))
        if not is_assumed:
            self._came.setdefault(where, set()).add(item)
            self._record(item, now, step)

    def _record(self, item: str, now: float, step: str) -> None:
        """Note where the item and all that is in it are from now on, where that has changed."""
        if not self.keeps_log:
            return
        holder, bag = self.root(self.main(item))
        last = self.log[item][-1]
        if (last.holder, last.in_bag) == (holder, bag):
            return
        self.log[item].append(Holding(item, holder, bag, now, now, step))
        for inner in self.load(item) if self.items[item].kind == "bag" else ():
            if self.main(inner).where == item:
                self._record(inner, now, step)

    def holdings(self, end_min: float) -> Iterator[Holding]:
        """The history of every item, without stays that take no time; the last stay of each is kept."""
        for entries in self.log.values():
            ends = [*(entry.from_min for entry in entries[1:]), max(end_min, entries[-1].from_min)]
            kept: list[Holding] = []
            for entry, until in zip(entries, ends, strict=True):
                if until <= entry.from_min and entry is not entries[-1]:
                    continue
                # With the stay of no time between them left out, two stays may be one.
                if kept and (kept[-1].holder, kept[-1].in_bag) == (entry.holder, entry.in_bag):
                    kept[-1] = replace(kept[-1], until_min=until)
                else:
                    kept.append(replace(entry, until_min=until))
            yield from kept


(NOT_THERE, EARLY, HAS_IT, NOT_IN_BAG, IN_BAG, BAG_AWAY, NOT_HELD, PARTNER_AWAY, USED_AWAY, NO_SOCKET,
 NOT_IN_SOCKET, SOCKET_TAKEN) = (
    "not there", "early", "has it", "not in bag", "in bag", "bag away", "not held", "partner away",
    "used away", "no socket", "not in socket", "socket taken",
)


@dataclass(frozen=True)
class Mishap:
    """Something that cannot be done as written, at ``at_min`` (PET); ``step`` is "" at the start.

    ``was`` says where the item was (a bag's whereabouts for ``BAG_AWAY``); ``other`` is the bag, partner or
    foothold concerned; ``later_step`` and ``later_min`` say who leaves the item there later, and when.
    """

    kind: str
    at_min: float
    step: str
    crew: str
    place: str
    item: str
    was: Holding
    other: str = ""
    later_step: str = ""
    later_min: float = float("nan")


@dataclass(frozen=True)
class Overload:
    """Hands or a bag that hold more than they can, in one spell; ``slots`` is the most in it."""

    holder: str
    step: str
    from_min: float
    until_min: float
    slots: float
    limit: float
    items: tuple[str, ...]


@dataclass(frozen=True)
class Custody:
    """The history of all hardware. ``endings``: by item where it is in the end, the likeliest last."""

    holdings: tuple[Holding, ...]
    mishaps: tuple[Mishap, ...]
    overloads: tuple[Overload, ...]
    endings: dict[str, tuple[Holding, ...]]
    unweighed: tuple[str, ...]


class Intentions:
    """Who acts on each item when, looked up for what a hold was meant for."""

    def __init__(self, times: Times) -> None:
        """Read all takes, leaves and uses of the plan."""
        moves = [(at, step, move) for at, _, step, move in times.item_moves() if isfinite(at)]
        work = [(finish, step, person) for step, _, finish in times.each_step() if isfinite(finish)
                for person in step.people]
        # Of each item when (PET) and where it is moved; of each person and place when work there ends.
        self._moves = grouped((move.item, (at, step.place)) for at, step, move in sorted(moves, key=_at))
        self._stays = grouped(((who, step.place), finish) for finish, step, who in sorted(work, key=_at))
        acts = [((move.item, move.crew or person), at) for at, step, move in moves for person in step.people]
        acts += [((item, person), finish) for finish, step, person in work for item in step.uses]
        self._last = {act: max(minutes) for act, minutes in grouped(acts).items()}

    def until_min(self, person: str, item: str, since_min: float) -> float:
        """Until when ``person``, who has ``item`` since ``since_min``, is meant to have it; inf: to the end.

        Where somebody else moves it next and the first one neither uses nor moves it again: the end of the
        first one's last step at that place before, or else that moment itself.
        """
        moves = self._moves.get(item, [])
        # Not bisect_left: the move that brought it here is at ``since_min`` itself.
        then = bisect_right(moves, since_min, key=_at)
        if then == len(moves) or self._last.get((item, person), -inf) > since_min:
            return inf
        then_min, place = moves[then]
        finishes = self._stays.get((person, place), [])
        ended = bisect_right(finishes, then_min)
        left = finishes[ended - 1] if ended else -inf
        return left if left > since_min else then_min


@dataclass
class Loads:
    """The spells of too much, while the plan is played. ``room`` (slots; None: not given) by hands and bag.

    Without ``intentions`` what hands have they are meant to have.
    ``heavy`` are the spells that are open; ``unweighed`` the items and holders without a number, in order.
    """

    hardware: Hardware
    intentions: Intentions | None
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
        # What has no number weighs nothing, which errs to the light side: it is told as unweighed.
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
        if holder in self.hardware.items or self.intentions is None:
            return items
        return [item for item in items
                if self.intentions.until_min(holder, item, self.hardware.held_since(item, holder)) > now]
