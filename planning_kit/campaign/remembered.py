"""What an outing was before tasks left it or came: so that a task moved off and back finds all as it was.

Dropping a task takes more than its rows (gaps, inhibits, actions, ``end_at``, ``at_end``), and the backlog
has none of that; putting one in may order others anew. So every move remembers both sides of each outing, in
memory only. The way back is a merge of three (`planning_kit.explore.session.merge`): what was changed since,
by hand or because other outings leave something else, stays, and wins where both say something; but what
needs an inhibit, and what a step waits for, is never fewer than either says. A backlog that was revised
meanwhile counts where the task said what that did.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from planning_kit.campaign.carrying import carried_into, left_by
from planning_kit.campaign.end_state import EndState
from planning_kit.campaign.put_in import Ends, TaskRows, revised
from planning_kit.changes.change import Cells, Change, apply, task_named
from planning_kit.changes.dropping import Drop
from planning_kit.explore.session.draft import Draft, draft_of, scenario_of
from planning_kit.explore.session.merge import Merge, merged, same_lines
from planning_kit.inputs.cells import ID_PATTERN
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import one_line
from planning_kit.plan.past import MINUTES

_TOUCHES = ("takes", "leaves", "uses", "sets")
_PROTECTS = {("inhibits", "needed_by"), ("steps", "after")}  # more entries never protect less
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
    """``fulls``: the outing with all tasks that have left it, each as it stood; several, the newest first,
    where no one scenario can say all of that; none: none has left.

    ``begins``: it by itself, and as it begins after the other outings, when it was last moved. All else here
    is of outings by themselves. ``rows``: what the backlog said of each task when it left.
    """

    fulls: tuple[Scenario, ...] = ()
    comings: tuple[Coming, ...] = ()
    begins: tuple[Scenario, Scenario] | None = None
    rows: Mapping[str, TaskRows] = field(default_factory=dict)

    def after(self, before: Scenario, then: Scenario, now: Scenario,
              backlog: Mapping[str, TaskRows]) -> Remembered:
        """The same after a move that made ``then`` of ``before``, each by itself; ``now``: as it begins."""
        had, has = (frozenset(_tasks(each)) & {*backlog} for each in (before, then))
        fulls, comings = self.fulls, tuple(each for each in self.comings if each.tasks & has)
        if had - has:
            try:
                fulls = (self._with_all(before),)
            except ScenarioError:  # what had left is not forgotten for what leaves now
                fulls = (before, *fulls)
        if has - had:
            comings = (*comings, Coming(has - had, before, then, had - has))
        rows = {**self.rows, **{task: backlog[task] for task in had - has}}
        return Remembered(fulls, comings, (then, now), rows)

    def _with_all(self, now: Scenario) -> Scenario:
        for full in self.fulls:
            now = _back(full, now, _tasks(full))
        return now

    def renewed(self, backlog: Mapping[str, TaskRows]) -> Remembered:
        """The same where tasks that have left say by now what the backlog does, if they said so then."""
        new = {task: (rows, backlog[task]) for task, rows in self.rows.items()
               if task in backlog and backlog[task] != rows}
        return replace(self, fulls=tuple(_renewed(full, new) for full in self.fulls)) if new else self

    def stood(self, task: str) -> Scenario | None:
        """The outing with a task that has left it as it stood; None: none such has."""
        return next((full for full in self.fulls if task in _tasks(full)), None)

    def again(self, now: Scenario, tasks: Iterable[str]) -> Scenario:
        """``now`` with those of the tasks that have left it, as they stood; without each that cannot be."""
        wanted = [task for task in tasks if task not in _tasks(now)]
        for full in self.fulls:
            own = [task for task in wanted if self.stood(task) is full]
            try:
                now = _back(full, now, own)
            except ScenarioError:
                for task in own if len(own) > 1 else ():
                    now = self.again(now, [task])
        return now

    def why_not(self, now: Scenario, task: str) -> str:
        """Why a task that has left cannot be in ``now`` as it stood; empty where it can."""
        try:
            _back(self.stood(task) or now, now, [task])
        except ScenarioError as error:
            table, column, value, problem = map(
                str, error.problems[["table", "column", "value", "problem"]].iloc[0])
            what = problem if value in problem else f"{value} {problem}"
            return one_line(f"{' '.join(filter(None, (table, column)))}: {what}")
        return ""

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
        full = self.stood(rows.task) or next(iter(self.fulls), None)
        if full is None:
            return {}
        records, cells = full.records, (step.get(name, "") for step in rows.steps for name in _TOUCHES)
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


def as_it_stood_words(why: str) -> str:
    """Why a task does not come back as it stood, where it is not put in otherwise either."""
    return (f"as it stood there before it left: {why}; mend or free that there first, for it is not put in "
            "without what the outing said of it")


def _back(full: Scenario, now: Scenario, tasks: Collection[str]) -> Scenario:
    """``now`` with those tasks as ``full`` has them. Raises `ScenarioError` where no scenario may say so."""
    known, has = _tasks(full), {*_tasks(now)}
    wanted = has | ({*tasks} & {*known})
    return now if wanted == has else _three(
        (full, [each for each in known if each not in has]), now,
        (full, [each for each in known if each not in wanted]))


def _renewed(full: Scenario, new: Mapping[str, tuple[TaskRows, TaskRows]]) -> Scenario:
    cells = [each for task, rows in new.items() if task in _tasks(full)
             for each in revised(full.records, *rows)]
    # The three estimates of a step go together: two of one and one of another say nothing.
    own = {each.row for each in cells if each.own != each.was and each.column in MINUTES}
    changes = [Cells(each.table, {each.column: {each.row: each.now}}) for each in cells
               if each.own == each.was and not (each.column in MINUTES and each.row in own)]
    try:
        return apply(full, changes) if changes else full
    except ScenarioError:  # what it says otherwise than the backlog is told where it comes back
        return full


def _merged(base: _Without, mine: Scenario, theirs: _Without) -> Scenario:
    """``mine`` with what leads from ``base`` to ``theirs``; itself where that says what no scenario may."""
    try:
        return _three(base, mine, theirs)
    except ScenarioError:
        return mine


def _three(base: _Without, mine: Scenario, theirs: _Without) -> Scenario:
    was, other = (draft_of(apply(each, dropped(each, tasks))) for each, tasks in (base, theirs))
    my = same_lines(draft_of(mine), was, was)
    return scenario_of(_all_protected(merged(was, my, same_lines(other, was, my), {})), mine)


def _all_protected(merge: Merge) -> Draft:
    """The merge, with what theirs adds to mine where both changed what is protected."""
    draft = merge.draft
    for clash in merge.clashes:
        name, line, column = clash.where
        if (name, column) in _PROTECTS:
            mine, was = clash.yours.split(), clash.was.split()
            more = [word for word in clash.theirs.split() if word not in {*mine, *was}]
            sheet = draft[name].with_cells({(line, column): " ".join((*mine, *more))})
            draft = draft.with_sheet(sheet)
    return draft
