"""What hangs on a task by its items: who misses what it would have moved is given up with it, and so on.

Asked of samples in play and of what is given up outside; how each goes see
`planning_kit.changes.dropping`. Who has begun, and nobody knows how to put it back, goes on.

The moves are played in the order of the plan, without those of the steps given up. A step misses an item that
it takes, uses or stands in where that is then not where the plan has it. Not missed: what is at hand for a
use all the same (in its crew's hands, lying here, in a bag of either), and what a step only takes while it
lies where it must end (``end_at``). A move of what is missed moves nothing.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Self

from planning_kit.changes.dropping import GivenUp, given_up, is_at_its_end
from planning_kit.inputs.records import Records, Step
from planning_kit.plan.timed import TimedPlan

_TAKE, _LEAVE, _USE, _STAND = "take", "leave", "use", "stand"
Touch = tuple[Step, str, str, str]
"""A step, what it does with an item, the item, and of a move where that is then."""


@dataclass(frozen=True, eq=False)
class ItemMoves:
    """All that steps do with items, in the order of a plan."""

    records: Records
    touches: tuple[Touch, ...]

    @classmethod
    def of(cls, plan: TimedPlan) -> Self:
        """Those of a plan. At one minute what ends work comes first, then the steps in their order."""
        found: list[tuple[tuple[float, bool, int], Touch]] = []
        for row, (step, start, finish) in enumerate(plan.each_step()):
            begin, end = (start, True, row), (finish, finish <= start, row)
            found += [(begin, (step, _TAKE, each.item, each.crew or step.crew)) for each in step.takes]
            found += [(begin, (step, _USE, each, "")) for each in step.uses]
            found += [(begin, (step, _STAND, step.foothold, ""))] if step.foothold else []
            found += [(end, (step, _LEAVE, each.item, each.into or step.where)) for each in step.leaves]
        found.sort(key=lambda each: each[0])
        return cls(plan.scenario.records, tuple(touch for _, touch in found))

    @cached_property
    def _planned(self) -> list[tuple[str, str]]:
        return self._played(())[0]

    def missed_by(self, ways: Iterable[GivenUp]) -> tuple[str, ...]:
        """The steps that miss an item where this is given up, in the order of the plan."""
        return self._played(tuple(ways), self._planned)[1]

    def given_up(self, records: Records, task: str, left: Collection[str], begun: Collection[str],
                 at: str = "", before: Iterable[GivenUp] = ()) -> tuple[dict[str, GivenUp], list[str]]:
        """How a task is given up at a step (``at``, "" for its next) and, by task, all that hangs on it.

        ``left``: the steps of tasks not given up that are still to do; ``begun``: those of which something is
        done; ``before``: what is given up already. The second are steps that miss an item and go on.
        """
        whose, missed = {step.step: step.task for step in records.steps}, at
        found, stuck = dict[str, GivenUp](), dict[str, str]()
        while task:
            own = {step for step, name in whose.items() if name == task}
            way = given_up(records, task, own.intersection(left), own.intersection(begun), at)
            if way is None:
                stuck[task] = missed
            else:
                found[task] = way
            missed, at = next((step for step in self.missed_by((*before, *found.values()))
                               if step in left and not {whose[step]} & {*found, *stuck}), ""), ""
            task = whose.get(missed, "")
        return found, list(stuck.values())

    def _played(self, ways: Sequence[GivenUp], planned: Sequence[tuple[str, str]] = ()
                ) -> tuple[list[tuple[str, str]], tuple[str, ...]]:
        """Where each touch finds its item (``planned``: is to find it), and the steps that miss one."""
        items = {item.item: item for item in self.records.hardware}
        where = {name: item.at for name, item in items.items()}
        home = frozenset[str]().union(*(way.home for way in ways))
        found, missed = [], dict[str, None]()
        for number, (step, kind, name, to) in enumerate(self.touches):
            holder = where[name]
            for _ in where:  # a bag in itself is a fault of the plan, and no reason to go round for ever
                holder = where.get(holder, holder)
            found.append((where[name], holder))
            if not all(way.moves(step.step, name) for way in ways):
                continue
            if not planned or found[-1] == planned[number]:
                where[name] = to or where[name]
            elif step.step not in home and (
                    kind == _STAND or (kind == _USE and holder not in {step.where, *step.people})
                    or (kind == _TAKE and not is_at_its_end(self.records, items[name], where[name]))):
                missed[step.step] = None
        return found, tuple(missed)
