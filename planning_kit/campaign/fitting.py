"""One outing on one of its dates with tasks put into it: in which order they are soonest done, what holds.

Orders are timed soon (`planning_kit.plan.order_timing`) on one scenario that has all the tasks; the one that
is told is timed and checked as every plan is. A new task goes where the outing then ends earliest; each is then
taken out and put back as long as that helps. That is no proof: another order may hold what this one does not.

Tasks that the outing has by now stay as its folder has them, with their gaps and inhibits. Those whose steps
stand together just behind the step ``behind`` are ordered anew with the new ones; the rest keep their rows.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import groupby
from math import inf
from typing import Any

from planning_kit.changes.change import Change, Tables, apply, task_named
from planning_kit.changes.dropping import Drop
from planning_kit.changes.order import Order
from planning_kit.explore.propose.order_search import Judge
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.fields import SUITED
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.row_edits import with_rows
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import number_label, pet_label
from planning_kit.judge.all_checks import Row
from planning_kit.judge.review import keeps
from planning_kit.plan.order_timing import OrderTiming
from planning_kit.plan.timed import TimedPlan

Cells = Mapping[str, Any]
_BEFORE, _BEHIND = "<", ">"  # what is no id of a task
_LEAST_WON_MIN = 0.01
_OTHER_ORDERS = 4


@dataclass(frozen=True)
class TaskRows:
    """A task of the backlog as rows of an outing: of ``tasks.csv`` and, in their order, of ``steps.csv``.

    ``after``: the tasks that come before it, where the same outing has them.
    """

    task: str
    cells: Cells
    steps: tuple[Cells, ...]
    after: tuple[str, ...] = ()

    def least_min(self) -> dict[str, float]:
        """The likely minutes of its steps by lane: no plan of it takes less."""
        taken = dict[str, float]()
        for step in self.steps:
            for lane in SUITED if step["crew"] == BOTH else (str(step["crew"]),):
                taken[lane] = taken.get(lane, 0.0) + float(step["minutes_likely"])
        return taken


@dataclass(frozen=True)
class PutIn(Change):
    """Tasks of the backlog put behind a step, in their order.

    A task whose prerequisite is there, too, begins when that is over.
    """

    kind = "put in"
    behind: str
    tasks: tuple[TaskRows, ...]

    def _lines(self) -> Sequence[str]:
        return tuple(f"{each.task} put in behind {self.behind}" for each in self.tasks)

    def _edit(self, tables: Tables) -> None:
        steps = tables["steps"]
        last = dict(zip(steps["task"], steps["step"], strict=True)) | {
            each.task: str(each.steps[-1]["step"]) for each in self.tasks}
        rows = list[Cells]()
        for each in self.tasks:
            own = {step["step"] for step in each.steps}
            for step in each.steps:
                waits = str(step.get("after") or "").split()
                earlier = [] if own & {*waits} else [last[name] for name in each.after if name in last]
                rows.append({**step, "after": " ".join(dict.fromkeys([*waits, *earlier]))})
        tables["steps"] = with_rows(steps, rows, list(steps["step"]).index(self.behind) + 1)
        known = tables["tasks"]
        tables["tasks"] = with_rows(known, [each.cells for each in self.tasks], len(known))


@dataclass(frozen=True)
class Fitted:
    """Tasks in an outing, as its plan says. ``refused``: by task why it is not in it, in words.

    ``order``: those that were ordered; ``kept``: those whose rows stay where they are.
    """

    order: tuple[str, ...]
    kept: tuple[str, ...]
    plan: TimedPlan
    refused: Mapping[str, str]

    @property
    def tasks(self) -> tuple[str, ...]:
        """All that are in it."""
        return (*self.kept, *self.order)


@dataclass(frozen=True, eq=False)
class OutingOn:
    """An outing on a date, with the tasks that it may have.

    ``scenario``: as it stands, PET 0 on that date; ``as_it_was``: its plan on its present date, whose stops
    are nobody's fault; ``tasks``: the whole backlog, as rows; ``limit_min`` (PET): when both must be inside,
    the reserve kept.
    """

    scenario: Scenario
    as_it_was: TimedPlan
    behind: str
    tasks: Mapping[str, TaskRows]
    limit_min: float

    @cached_property
    def present(self) -> tuple[str, ...]:
        """The tasks of the backlog that it has as it stands."""
        return tuple(task.task for task in self.scenario.records.tasks if task.task in self.tasks)

    @cached_property
    def together(self) -> tuple[str, ...]:
        """Those of them that can be ordered anew: their rows stand together behind ``behind``."""
        steps = self.scenario.records.steps
        at = next(number for number, step in enumerate(steps) if step.step == self.behind)
        runs = [task for task, _ in groupby(step.task for step in steps[at + 1:])]
        first = runs[:next((n for n, task in enumerate(runs) if task not in self.tasks), len(runs))]
        before = {step.task for step in steps[:at + 1]}
        return tuple(task for task in first if runs.count(task) == 1 and task not in before)

    @cached_property
    def faults(self) -> Mapping[str, str]:
        """The tasks that it cannot have at all, and why: what they name is not there."""
        new = [name for name in self.tasks if name not in self.present]
        if not self._fault(new):
            return {}
        return {name: fault for name in new if (fault := self._fault([name]))}

    def _fault(self, tasks: Sequence[str]) -> str:
        try:
            apply(self.scenario, [self._put_in(tasks)])
            return ""
        except ScenarioError as error:
            first = error.problems.iloc[0]
            return f"{first['column']} {first['value']!r} {first['problem']}"

    def _put_in(self, tasks: Iterable[str]) -> PutIn:
        return PutIn(self.behind, tuple(self.tasks[name] for name in tasks))

    @cached_property
    def bare(self) -> TimedPlan:
        """What it is without any task of the backlog."""
        return self._timed(self._dropped(self.present))

    def _dropped(self, tasks: Iterable[str]) -> list[Change]:
        names = tuple(task_named(self.scenario.records, task) for task in tasks)
        return [Drop(names, lets_stay=True)] if names else []

    def _timed(self, changes: Sequence[Change]) -> TimedPlan:
        return TimedPlan.of(apply(self.scenario, changes))

    @cached_property
    def _judge(self) -> Judge:
        return Judge(scenario=self.scenario, records=self.scenario.records, current=self.as_it_was,
                     limit_min=self.limit_min)

    @cached_property
    def blocked(self) -> str:
        """Why the outing cannot be on this date at all; empty where it can."""
        rows = self._judge.blocking(self.bare)
        return str(rows[0]["message"]) if rows else ""

    @cached_property
    def _timing(self) -> OrderTiming:
        new = [name for name in self.tasks if name not in {*self.faults, *self.present}]
        records = apply(self.scenario, [self._put_in(new)] if new else []).records
        return OrderTiming(records, self.bare.almanac, self.bare.travels,
                           [step.minutes_likely for step in records.steps])

    @cached_property
    def _parts(self) -> Mapping[str, Mapping[str, list[tuple[int, str]]]]:
        """By task that is ordered, and for the rest before and behind, by lane: steps with their tasks."""
        found, rest = dict[str, dict[str, list[tuple[int, str]]]](), _BEFORE
        keeps_its_rows = {*self.present} - {*self.together}
        for number, step in enumerate(self._timing.records.steps):
            is_ordered = step.task in self.tasks and step.task not in keeps_its_rows
            part = found.setdefault(step.task if is_ordered else rest, {})
            for lane in step.people:
                part.setdefault(lane, []).append((number, step.task))
            rest = _BEHIND if step.step == self.behind else rest
        return found

    def soon_min(self, order: Sequence[str], kept: Sequence[str] = ()) -> float:
        """When the outing would end with the tasks in this order, PET; inf where that cannot be timed."""
        gone = {*self.present} - {*kept} - {*order}
        orders = {lane: [number for name in (_BEFORE, *order, _BEHIND)
                         for number, task in self._parts.get(name, {}).get(lane, ()) if task not in gone]
                  for lane in self._timing.records.lane_names}
        starts = self._timing.starts(orders)
        return inf if starts is None else self._timing.end_min(orders, starts)

    def own_min(self, lane: str) -> tuple[float, float]:
        """Likely minutes of work and of ways of the outing's own steps, of a crew member, PET."""
        steps = self._timing.records.steps
        own = [number for name in (_BEFORE, _BEHIND)
               for number, task in self._parts.get(name, {}).get(lane, ()) if task not in self.tasks]
        ways = zip((-1, *own), (*own, -1), strict=True)
        return (sum(steps[number].minutes_likely for number in own),
                sum(self._timing.way_min(lane, *way) for way in ways) if own else 0.0)

    def planned(self, order: Sequence[str], kept: Sequence[str] = ()) -> TimedPlan:
        """The plan with the tasks in this order, as every plan is timed."""
        new = [name for name in order if name not in self.present]
        gone = [name for name in self.present if name not in {*order, *kept}]
        steps = {name: [step.step for step in self.scenario.records.steps if step.task == name]
                 if name in self.present else [str(step["step"]) for step in self.tasks[name].steps]
                 for name in order}
        changes: list[Change] = [*self._dropped(gone), *([self._put_in(new)] if new else [])]
        if [*order] != [*new, *(name for name in self.together if name in order)]:
            changes.append(Order(tuple(step for name in order for step in steps[name])))
        return self._timed(changes)

    def inserted(self, order: tuple[str, ...], kept: Sequence[str],
                 task: str) -> list[tuple[float, tuple[str, ...]]]:
        """The orders with one more task, the one that ends earliest first, each with its end."""
        orders = [(*order[:at], task, *order[at:]) for at in range(len(order) + 1)]
        return sorted(((self.soon_min(each, kept), each) for each in orders), key=lambda one: one[0])

    def improved(self, order: tuple[str, ...], kept: Sequence[str]) -> tuple[str, ...]:
        """Each task taken out and put back where it is better, until none is."""
        end_min, is_better = self.soon_min(order, kept), True
        while is_better:
            is_better = False
            for task in order:
                others = tuple(each for each in order if each != task)
                sooner_min, other = self.inserted(others, kept, task)[0]
                if sooner_min < end_min - _LEAST_WON_MIN:
                    end_min, order, is_better = sooner_min, other, True
        return order

    def fit(self, wanted: Sequence[str]) -> Fitted:
        """Those of the ``wanted`` tasks, the most wanted first, that it holds: in time, with no new stop.

        One that does not fit is left out, and those that come after it, too.
        """
        kept = tuple(name for name in self.present if name in wanted and name not in self.together)
        order = tuple(name for name in self.together if name in wanted)
        refused = dict[str, str]()
        if not keeps(self.soon_min(order, kept), self.limit_min):
            order = ()
        for task in wanted:
            if task in order or task in kept:
                continue
            if why := self.faults.get(task) or self._missing(task, wanted, refused):
                refused[task] = why
                continue
            end_min, longer = self.inserted(order, kept, task)[0]
            if not keeps(end_min, self.limit_min):
                end_min = self.soon_min(longer := self.improved(longer, kept), kept)
            if keeps(end_min, self.limit_min):
                order = longer
            else:
                refused[task] = self._too_long(end_min)
        if {*order} - {*self.present}:
            order = self.improved(order, kept)
        return self._checked(order, kept, refused)

    def _missing(self, task: str, wanted: Sequence[str], refused: Mapping[str, str]) -> str:
        gone = [name for name in self.tasks[task].after if name in wanted and name in refused]
        return f"it comes after {', '.join(gone)}, which is left out" if gone else ""

    def _too_long(self, end_min: float) -> str:
        if end_min == inf:
            return "no window or order is left for it on this date"
        return (f"both would be inside {number_label(end_min - self.limit_min, 'up')} min after PET "
                f"{pet_label(self.limit_min, 'down')}, the limit less the reserve")

    def _checked(self, order: tuple[str, ...], kept: tuple[str, ...], refused: dict[str, str]) -> Fitted:
        """As the checks see it: what has a new stop is done elsewhere in the order, or left out."""
        while True:
            plan = self.planned(order, kept)
            rows = self._judge.blocking(plan)
            if not rows or not (order or kept):
                return Fitted(order, kept, plan, refused)
            task = self._culprit((*kept, *order), rows)
            others = tuple(each for each in order if each != task)
            better = next(self._fewer(others, kept, task, len(rows)), None) if task in order else None
            if better is None:
                refused[task] = str(rows[0]["message"])
                gone = self._with_later(task, (*kept, *order))
                refused |= dict.fromkeys(gone - {task}, f"it comes after {task}, which is left out")
                order, kept = (tuple(each for each in part if each not in gone) for part in (others, kept))
            else:
                order = better

    def _fewer(self, others: tuple[str, ...], kept: Sequence[str], task: str,
               count: int) -> Iterator[tuple[str, ...]]:
        """The first few orders in time, with the task elsewhere, that have fewer stops."""
        for end_min, order in self.inserted(others, kept, task)[:_OTHER_ORDERS]:
            is_in_time = keeps(end_min, self.limit_min)
            if is_in_time and len(self._judge.blocking(self.planned(order, kept))) < count:
                yield order

    def _with_later(self, task: str, tasks: Sequence[str]) -> set[str]:
        """A task and all that come after it, however indirectly."""
        gone, size = {task}, 0
        while len(gone) > size:
            size = len(gone)
            gone |= {each for each in tasks if gone & {*self.tasks[each].after}}
        return gone

    def _culprit(self, tasks: Sequence[str], rows: Sequence[Row]) -> str:
        """The task of the first stop that names one of them or a step of it; else the last."""
        owner = {str(step["step"]): name for name in tasks for step in self.tasks[name].steps}
        owner |= {step.step: step.task for step in self.scenario.records.steps if step.task in tasks}
        owner |= {name: name for name in tasks}
        words = [word for row in rows for word in (str(row["step"]), *str(row["about"]).split())]
        return next((owner[word] for word in words if word in owner), tasks[-1])
