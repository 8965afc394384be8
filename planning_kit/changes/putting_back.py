"""How a task is given up: one rule for samples in play and for options outside.

Before its first step a task is dropped whole. What has begun is put back at the place of its next step in
suits, in ``tasks.put_back_min`` or, where that is empty, the largest ``safe_orderly_min`` of its steps;
where neither is given nobody knows how. That step takes, leaves and uses nothing: items are as at its start.
Where that takes no minutes nobody goes there. What each does last for it, as far as it only takes, leaves or
hooks, brings home the items and tethers that are out for it: that stays, but for the items that the steps
left out would have moved. What hangs on it by its items see `planning_kit.explore.odds.hanging`.
"""

from collections.abc import Collection
from dataclasses import dataclass
from itertools import takewhile

from planning_kit.inputs.format import SUITED
from planning_kit.inputs.records import Records, Step


@dataclass(frozen=True)
class GivenUp:
    """How a task is given up: the steps ``gone``, and the one at which it is put back in so many minutes.

    ``put_back`` is "" where nothing of it has begun: then all its steps are gone. ``home``: its way home,
    which stays but for the items ``lost``; the step that puts back is of it only where nothing else is left,
    and gone where it takes no minutes.
    """

    gone: frozenset[str]
    put_back: str = ""
    minutes: float = 0.0
    home: frozenset[str] = frozenset()
    lost: frozenset[str] = frozenset()

    def moves(self, step: str, item: str) -> bool:
        """Whether a step still moves an item, if it is one of the task's."""
        return step not in {*self.gone, self.put_back} and not (step in self.home and item in self.lost)


def put_back_min(records: Records, task: str) -> float | None:
    """Minutes to put a task back that has begun; None where that is not known."""
    said = next(each.put_back_min for each in records.tasks if each.task == task)
    safe = [step.safe_orderly_min for step in records.steps if step.task == task]
    return said if said is not None else max((each for each in safe if each is not None), default=None)


def given_up(records: Records, task: str, left: Collection[str], begun: Collection[str],
             at: str = "") -> GivenUp | None:
    """How a task is given up at a step (``at``, "" for its next); None where nobody knows how.

    ``left``: its steps still to do; ``begun``: those of which something is done.
    """
    suited = [step.step for step in records.steps if step.step in left and set(step.people) & set(SUITED)]
    if not begun or not suited:  # nothing of it is in anybody's hands
        return GivenUp(frozenset(left))
    minutes, home = put_back_min(records, task), way_home(records, task, left, begun)
    if minutes is None:
        return None
    # What only goes home, or was left half done, last: its items and its minutes are told otherwise.
    back = at if at in suited else min(suited, key=lambda name: (name in home, name in begun))
    gone = frozenset(left) - home
    return GivenUp(gone - {back} if minutes else gone | {back}, back, minutes, home,
                   frozenset(moved_by(records, gone | {back})))


def way_home(records: Records, task: str, left: Collection[str], begun: Collection[str]) -> frozenset[str]:
    """The steps left of a task that has begun which only bring home what is out for it."""
    own = [step for step in records.steps if step.task == task and step.step in {*left, *begun}]
    last = {step.step for who in SUITED
            for step in takewhile(_only_handles, (step for step in reversed(own) if who in step.people))}
    home = last & set(left) - set(begun)
    out = moved_by(records, begun) - moved_by(records, set(left) - home)
    hooked = {who for step in own if step.step in begun for who in step.hooks}
    return frozenset(step.step for step in own if step.step in home and (
        hooked & set(step.hooks) or out & moved_by(records, {step.step})))


def _only_handles(step: Step) -> bool:
    is_bound = step.light != "any" or step.same_window or step.windows or step.foothold or step.uses
    return bool(step.takes or step.leaves or step.hooks) and not is_bound


def moved_by(records: Records, steps: Collection[str]) -> set[str]:
    """Every item that some steps take or leave."""
    return {move.item for step in records.steps if step.step in steps for move in (*step.takes, *step.leaves)}
