"""Where every item is while a plan is played: in hands, in a bag, at a place, inside.

After a fault the state follows what the plan means. A crew member who takes an item that is not there is
from then on believed to have it, while it also stays where it was: it has two whereabouts, and whoever acts
on it next acts on the one that fits. When the item arrives where it was taken too early, the two are one
again. So one wrong line gives one fault, not a chain of them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace

from planning_kit.inputs.records import Item


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
    """All items and their whereabouts; the last of an item's spots is the one last moved."""

    items: Mapping[str, Item]
    with_socket: frozenset[str]
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
        for name in self.items:
            self.log[name] = [Holding(name, *self.root(self.main(name)), 0.0, 0.0, "")]

    def main(self, item: str) -> Spot:
        """The whereabouts last moved, leaving out mere assumptions."""
        return next(spot for spot in reversed(self.spots[item]) if not spot.is_assumed)

    def find(self, item: str, wheres: Collection[str]) -> Spot | None:
        """The latest whereabouts of an item among ``wheres``, if any; one that is assumed comes last."""
        spots = sorted(self.spots[item], key=lambda spot: not spot.is_assumed)
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

    def load(self, holder: str) -> list[str]:
        """The items directly in these hands or in this bag."""
        here = {name for name in self._came.get(holder, ())
                if any(spot.where == holder and not spot.is_assumed for spot in self.spots[name])}
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
                if kept and (kept[-1].holder, kept[-1].in_bag) == (entry.holder, entry.in_bag):
                    kept[-1] = replace(kept[-1], until_min=until)
                else:
                    kept.append(replace(entry, until_min=until))
            yield from kept
