"""What hangs on a step by its items: who misses what it would have moved, once it is given up.

The moves of the plan are played in the order of the plan, without those of the steps given up. A step misses
an item that it takes, uses or stands in where that is then not where the plan has it at that moment. Not
missed: what is at hand all the same for a use (in its crew's hands, lying here, in a bag of either), and what
a step only takes while it lies where it must end (``end_at``). A move of what is missed moves nothing.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cached_property

from planning_kit.changes.dropping import is_at_its_end
from planning_kit.inputs.records import Records, Step
from planning_kit.plan.timed import TimedPlan

_TAKE, _LEAVE, _USE, _STAND = "take", "leave", "use", "stand in"


@dataclass(frozen=True)
class Touch:
    """What a step does with an item at one moment of the plan; ``to``: where it is then, of a move."""

    step: Step
    kind: str
    item: str
    to: str = ""


@dataclass(frozen=True, eq=False)
class ItemMoves:
    """All that steps do with items, in the order of a plan."""

    records: Records
    touches: tuple[Touch, ...]

    @classmethod
    def of(cls, plan: TimedPlan) -> ItemMoves:
        """Those of a plan. At one minute what ends work comes first, then the steps in their order."""
        found: list[tuple[tuple[float, bool, int], Touch]] = []
        for row, (step, start, finish) in enumerate(plan.each_step()):
            begin, end = (start, True, row), (finish, finish <= start, row)
            found += [(begin, Touch(step, _TAKE, each.item, each.crew or step.crew)) for each in step.takes]
            found += [(begin, Touch(step, _USE, each)) for each in step.uses]
            found += [(begin, Touch(step, _STAND, each)) for each in (step.foothold,) if each]
            found += [(end, Touch(step, _LEAVE, each.item, each.into or step.where)) for each in step.leaves]
        found.sort(key=lambda each: each[0])
        return cls(plan.scenario.records, tuple(touch for _, touch in found))

    @cached_property
    def _planned(self) -> list[tuple[str, str]]:
        return self._played(frozenset())[0]

    def missed_by(self, gone: Collection[str]) -> list[str]:
        """The steps that miss an item where the steps ``gone`` move nothing, in the order of the plan."""
        return self._played(gone, self._planned)[1]

    def _played(self, gone: Collection[str],
                planned: list[tuple[str, str]] | None = None) -> tuple[list[tuple[str, str]], list[str]]:
        """Where each touch finds its item (``planned``: is to find it), and the steps that miss one."""
        where = {item.item: item.at for item in self.records.hardware}
        found, missed = list[tuple[str, str]](), dict[str, None]()
        for number, touch in enumerate(self.touches):
            found.append(_found(where, touch.item))
            if touch.step.step in gone:
                continue
            if planned is None or found[-1] == planned[number]:
                where[touch.item] = touch.to or where[touch.item]
            elif self._is_missed(touch, *found[-1]):
                missed[touch.step.step] = None
        return found, list(missed)

    def _is_missed(self, touch: Touch, holder: str, within: str) -> bool:
        if touch.kind == _USE:
            return holder not in {touch.step.where, *touch.step.people}
        if touch.kind == _TAKE:
            item = next(each for each in self.records.hardware if each.item == touch.item)
            return within != holder or not is_at_its_end(self.records, item, holder)
        return touch.kind == _STAND


def _found(where: Mapping[str, str], item: str) -> tuple[str, str]:
    """Who or where has an item, and what it is directly in or with."""
    holder = where[item]
    for _ in where:  # a bag in itself is a fault of the plan, and no reason to go round for ever
        holder = where.get(holder, holder)
    return holder, where[item]
