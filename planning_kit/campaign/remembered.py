"""What an outing was before tasks left it or came: so that a task moved off and back finds all as it was.

Dropping a task takes more than its rows (gaps, inhibits, actions, ``end_at``, ``at_end``), and the backlog
has none of that; putting one in may order others anew. So every move remembers both sides of each outing, in
memory only. The way back is a merge of three (`planning_kit.explore.session.merge`): what was changed since,
by hand or because other outings leave something else, stays, and wins where both say something.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from planning_kit.campaign.carrying import carried_into, left_by
from planning_kit.campaign.end_state import EndState
from planning_kit.campaign.put_in import Ends, TaskRows
from planning_kit.changes.change import Change, apply, task_named
from planning_kit.changes.dropping import Drop
from planning_kit.explore.session.draft import draft_of, scenario_of
from planning_kit.explore.session.merge import merged, same_lines
from planning_kit.inputs.cells import ID_PATTERN
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario

_TOUCHES = ("takes", "leaves", "uses", "sets")
_Without = tuple[Scenario, Collection[str]]
"""An outing, and the tasks that are to be left out of it."""


@dataclass(frozen=True, eq=False)
class Coming:
    """Tasks that came on an outing together: it without them, and with them and without those ``gone`` then.
    """

    tasks: frozenset[str]
    without: Scenario
    with_them: Scenario
    gone: frozenset[str]


@dataclass(frozen=True, eq=False)
class Remembered:
    """``full``: the outing with all tasks that have left it, each as it stood; None: none has left.

    ``begins``: it by itself, and as it begins after the other outings, when it was last moved. All else here
    is of outings by themselves.
    """

    full: Scenario | None = None
    comings: tuple[Coming, ...] = ()
    begins: tuple[Scenario, Scenario] | None = None

    def after(self, before: Scenario, then: Scenario, now: Scenario, backlog: Collection[str]) -> Remembered:
        """The same after a move that made ``then`` of ``before``, each by itself; ``now``: as it begins."""
        had, has = (frozenset(_tasks(each)) & {*backlog} for each in (before, then))
        full, comings = self.full, tuple(each for each in self.comings if each.tasks & has)
        if had - has:
            full = before if full is None else self.again(before, _tasks(full))
        if has - had:
            comings = (*comings, Coming(has - had, before, then, had - has))
        return Remembered(full, comings, (then, now))

    def again(self, now: Scenario, tasks: Iterable[str]) -> Scenario:
        """``now`` with those of the tasks that have left it, as they stood; itself where that cannot be."""
        if self.full is None:
            return now
        known, has = _tasks(self.full), _tasks(now)
        wanted = {*has, *(each for each in tasks if each in known)}
        if wanted == {*has}:
            return now
        return _merged((self.full, [each for each in known if each not in has]), now,
                       (self.full, [each for each in known if each not in wanted]))

    def uncarried(self, now: Scenario) -> Scenario:
        """``now`` as it would begin if no move had made others leave something else."""
        return now if self.begins is None else merged_into(now, *self.begins[::-1])

    def as_before(self, now: Scenario, task: str) -> Scenario:
        """``now``, which a task has just left, with all as it was before that came; itself if unknown."""
        for each in reversed(self.comings):
            if task in each.tasks and not each.tasks & {*_tasks(now)}:
                return _merged((each.with_them, each.tasks), now, (each.without, each.gone))
        return now

    def ends_of(self, rows: TaskRows) -> Ends:
        """Where what a task's rows touch must end, as the outing said before such work left it."""
        if self.full is None:
            return {}
        records, cells = self.full.records, (step.get(name, "") for step in rows.steps for name in _TOUCHES)
        touched = {word for cell in cells for word in re.findall(ID_PATTERN, str(cell))}
        return {("hardware", "end_at"): {each.item: each.end_at for each in records.hardware
                                         if each.item in touched and each.end_at},
                ("states", "at_end"): {each.state: each.at_end for each in records.states
                                       if each.state in touched and each.at_end}}


NOTHING = Remembered()


def dropped(scenario: Scenario, tasks: Iterable[str]) -> list[Change]:
    """What takes these tasks out of an outing; what nobody touches then stays as it is."""
    names = tuple(task_named(scenario.records, task) for task in tasks)
    return [Drop(names, lets_stay=True)] if names else []


def _tasks(scenario: Scenario) -> list[str]:
    return [task.task for task in scenario.records.tasks]


def carried_again(alone: Scenario, then: Scenario, now: Scenario, ends: Sequence[EndState],
                  backlog: Collection[str]) -> Scenario:
    """``then`` as it begins after these ends; without any as ``now`` does, which is ``alone`` by itself."""
    return carried_into(then, left_by(ends, backlog), backlog) if ends else (
        now if then is alone else merged_into(then, alone, now))


def merged_into(now: Scenario, base: Scenario, other: Scenario) -> Scenario:
    """``now`` with what leads from ``base`` to ``other``; where both say something else, as ``now``."""
    return now if base == other else _merged((base, ()), now, (other, ()))


def _merged(base: _Without, mine: Scenario, theirs: _Without) -> Scenario:
    """``mine`` with what leads from ``base`` to ``theirs``; itself where that says what no scenario may."""
    try:
        was, other = (draft_of(apply(each, dropped(each, tasks))) for each, tasks in (base, theirs))
        my = same_lines(draft_of(mine), was, was)
        return scenario_of(merged(was, my, same_lines(other, was, my), {}).draft, mine)
    except ScenarioError:
        return mine
