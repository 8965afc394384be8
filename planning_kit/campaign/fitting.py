"""One outing on one of its dates with tasks put into it: in which order they are soonest done, what holds.

Orders are timed soon (`planning_kit.plan.order_timing`) on one scenario that has all the tasks; the one that
is told is timed and checked as every plan is. A new task goes where the outing then ends earliest; each is
then taken out and put back as long as that helps. That is no proof: another may hold what this does not.

Tasks that the outing has by now stay as its folder has them, with their gaps and inhibits. Those whose steps
stand together just behind the step ``behind`` are ordered anew with the new ones; the rest keep their rows.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby
from math import inf
from operator import itemgetter
from typing import NamedTuple

from planning_kit.campaign.put_in import PutIn, TaskRows
from planning_kit.campaign.remembered import NOTHING, Remembered, as_it_stood_words, dropped
from planning_kit.changes.change import Change, apply
from planning_kit.changes.order import Order
from planning_kit.explore.propose.order_search import Judge
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.fields import SUITED
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import number_label, pet_label
from planning_kit.judge.all_checks import Row
from planning_kit.judge.review import keeps
from planning_kit.plan.order_timing import OrderTiming
from planning_kit.plan.timed import TimedPlan

_BEFORE, _BEHIND = "<", ">"  # what is no id of a task
_LEAST_WON_MIN = 0.01
_OTHER_ORDERS = 4


class Soon(NamedTuple):
    """What an order comes to, as it is known soon; smaller is better.

    ``crowded_min``: minutes that both are at a place for one; ``end_min``: both inside, PET.
    """

    crowded_min: float
    end_min: float


@dataclass(frozen=True)
class Fitted:
    """Tasks in an outing, as its plan says. ``refused``: by task why it is not in it, in words.

    ``order``: those that were ordered; ``kept``: those whose rows stay where they are. ``begins``: it
    without them, by itself and after the other outings.
    """

    order: tuple[str, ...]
    kept: tuple[str, ...]
    plan: TimedPlan
    refused: Mapping[str, str]
    begins: tuple[Scenario, Scenario] | None = None

    @property
    def tasks(self) -> tuple[str, ...]:
        """All that are in it."""
        return (*self.kept, *self.order)


@dataclass(frozen=True, eq=False)
class OutingOn:
    """An outing on a date, with the tasks that it may have.

    ``scenario``: as it stands, PET 0 on that date; ``as_it_was``: its plan on its present date, whose stops
    are nobody's fault; ``tasks``: the whole backlog, as rows; ``limit_min`` (PET): when both must be inside,
    the reserve kept; ``remembered``: what it was before tasks left it.
    """

    scenario: Scenario
    as_it_was: TimedPlan
    behind: str
    tasks: Mapping[str, TaskRows]
    limit_min: float
    remembered: Remembered = NOTHING

    @cached_property
    def present(self) -> tuple[str, ...]:
        """The tasks of the backlog that it has as it stands."""
        return tuple(task.task for task in self.scenario.records.tasks if task.task in self.tasks)

    @cached_property
    def together(self) -> tuple[str, ...]:
        """Those of them that can be ordered anew: their rows stand together behind ``behind``."""
        steps = self.scenario.records.steps
        at = next((number for number, step in enumerate(steps) if step.step == self.behind), -1)
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

    @cached_property
    def never(self) -> dict[str, str]:
        """Those, and as they are met the tasks that have a new stop by themselves, and which."""
        return dict(self.faults)

    def _fault(self, tasks: Sequence[str]) -> str:
        try:
            apply(self.scenario, [self._put_in(tasks)])
            return ""
        except ScenarioError as error:
            first = error.problems.iloc[0]
            return f"{first['column']} {first['value']!r} {first['problem']}"

    def _put_in(self, tasks: Sequence[str]) -> PutIn:
        rows = tuple(self.tasks[name] for name in tasks)
        return PutIn(self.behind, rows, tuple(map(self.remembered.ends_of, rows)))

    @cached_property
    def bare(self) -> TimedPlan:
        """What it is without any task of the backlog."""
        return self._timed(dropped(self.scenario, self.present))

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
        if all(step.step != self.behind for step in self._timing.records.steps):
            rest = _BEHIND
        for number, step in enumerate(self._timing.records.steps):
            is_ordered = step.task in self.tasks and step.task not in keeps_its_rows
            part = found.setdefault(step.task if is_ordered else rest, {})
            for lane in step.people:
                part.setdefault(lane, []).append((number, step.task))
            rest = _BEHIND if step.step == self.behind else rest
        return found

    def soon(self, order: Sequence[str], kept: Sequence[str] = ()) -> Soon:
        """What the tasks come to in this order; an infinite end where that cannot be timed."""
        gone = {*self.present} - {*kept} - {*order}
        orders = {lane: [number for name in (_BEFORE, *order, _BEHIND)
                         for number, task in self._parts.get(name, {}).get(lane, ()) if task not in gone]
                  for lane in self._timing.records.lane_names}
        timed = self._timing.sums(orders)
        if timed is None:
            return Soon(0.0, inf)
        starts, sums = timed
        return Soon(self._crowded_min(orders, starts), sums.end_min)

    @cached_property
    def _narrow(self) -> Mapping[int, str]:
        """The steps, by number, at a place for one."""
        one = {place.place for place in self.scenario.records.places if place.crew_at_once == 1}
        return {number: step.place for number, step in enumerate(self._timing.records.steps)
                if step.place in one and len(step.people) == 1}

    def _crowded_min(self, orders: Mapping[str, Sequence[int]], starts: Sequence[float]) -> float:
        """How long both are at a place for one: each from when they are there, until the step is over."""
        steps, stays = self._timing.records.steps, list[list[tuple[str, float, float]]]()
        for lane in SUITED:
            before, stay = -1, list[tuple[str, float, float]]()
            for number in orders[lane]:
                if number in self._narrow:
                    left = starts[before] + steps[before].minutes_likely if before >= 0 else 0.0
                    stay.append((self._narrow[number], left + self._timing.way_min(lane, before, number),
                                 starts[number] + steps[number].minutes_likely))
                before = number
            stays.append(stay)
        return sum(max(min(one[2], other[2]) - max(one[1], other[1]), 0.0)
                   for one in stays[0] for other in stays[1] if one[0] == other[0])

    def _holds(self, soon: Soon) -> bool:
        """Whether an outing that comes to this would do, as far as that is known soon."""
        own_min = self._own_crowded_min + _LEAST_WON_MIN
        return keeps(soon.end_min, self.limit_min) and soon.crowded_min <= own_min

    @cached_property
    def _own_crowded_min(self) -> float:
        return self.soon(()).crowded_min

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
        changes: list[Change] = [*dropped(self.scenario, gone), *([self._put_in(new)] if new else [])]
        if [*order] != [*new, *(name for name in self.together if name in order)]:
            changes.append(Order(tuple(step for name in order for step in steps[name])))
        return self._timed(changes)

    def without(self, task: str) -> TimedPlan:
        """The plan as it stands without one of its tasks."""
        return self._timed(dropped(self.scenario, [task]))

    def inserted(self, order: tuple[str, ...], kept: Sequence[str],
                 task: str) -> list[tuple[Soon, tuple[str, ...]]]:
        """The orders with one more task, the best first, each with what it comes to."""
        orders = [(*order[:at], task, *order[at:]) for at in range(len(order) + 1)]
        return sorted(((self.soon(each, kept), each) for each in orders), key=itemgetter(0))

    def improved(self, order: tuple[str, ...], kept: Sequence[str]) -> tuple[str, ...]:
        """Each task taken out and put back where it is better, until none is."""
        soon, is_better = self.soon(order, kept), True
        while is_better:
            is_better = False
            for task in order:
                sooner, other = self.inserted(tuple(each for each in order if each != task), kept, task)[0]
                if sooner < (soon.crowded_min, soon.end_min - _LEAST_WON_MIN):
                    soon, order, is_better = sooner, other, True
        return order

    def fit(self, wanted: Sequence[str]) -> Fitted:
        """Those of the ``wanted`` tasks, the most wanted first, that it holds: in time, with no new stop.

        One that does not fit is left out, and those that come after it, too.
        """
        kept = tuple(name for name in self.present if name in wanted and name not in self.together)
        order = tuple(name for name in self.together if name in wanted)
        refused = dict[str, str]()
        if not self._holds(self.soon(order, kept)):
            order = ()
        for task in wanted:
            if task in order or task in kept:
                continue
            if why := self.never.get(task) or self._missing(task, wanted, refused):
                refused[task] = why
                continue
            longer = self._with_more(order, kept, task)
            if isinstance(longer, str):
                refused[task] = longer
            else:
                order = longer
        if {*order} - {*self.present}:
            order = self.improved(order, kept)
        return self._checked(order, kept, refused)

    def _with_more(self, order: tuple[str, ...], kept: Sequence[str], task: str) -> tuple[str, ...] | str:
        """The order with one more task; why there is none, in words."""
        soon, longer = self.inserted(order, kept, task)[0]
        if not self._holds(soon):
            soon = self.soon(longer := self.improved(longer, kept), kept)
        if self._holds(soon):
            return longer
        if soon.end_min == inf:
            takes = self.tasks[task].least_min()
            lane = max(takes, key=takes.__getitem__)
            takes_it = f"it takes {number_label(takes[lane], 'up')} min of {lane}"
            if takes[lane] > self.limit_min:
                return (f"{takes_it}, more than the whole outing has until PET "
                        f"{pet_label(self.limit_min, 'down')}, the limit less the reserve: divide it")
            return (f"{takes_it}, and no window or order is left for that on this date within "
                    f"{self.scenario.settings.horizon_h:g} h: another date may have one")
        if keeps(soon.end_min, self.limit_min):
            return (f"both would be {number_label(soon.crowded_min, 'up')} min at a place for one: another "
                    "outing, or less work there, would help")
        over = number_label(soon.end_min - self.limit_min, "up")
        return (f"both would be inside {over} min after PET {pet_label(self.limit_min, 'down')}, the limit "
                "less the reserve: so much more room, or as much less work, would help")

    def with_one_more(self, fitted: Fitted, task: str) -> tuple["OutingOn", Fitted | str]:
        """It with one more task and all that it has; why not, in words, where it does not hold that.

        As the task stood there before it left, if it did: then the outing that is given is another.
        """
        back = self.remembered.again(self.scenario, [task])
        if back is not self.scenario:
            then = replace(self, scenario=back)
            more = then.fit([*fitted.tasks, task])
            if not more.refused:
                return then, more
            return self, as_it_stood_words(more.refused.get(task) or next(iter(more.refused.values())))
        if task in self.never:
            return self, self.never[task]
        order = self._with_more(fitted.order, fitted.kept, task)
        if isinstance(order, str):
            return self, order
        more = self._checked(order, fitted.kept, {})
        return self, next(iter(more.refused.values())) if more.refused else more

    def _missing(self, task: str, wanted: Sequence[str], refused: Mapping[str, str]) -> str:
        gone = [name for name in self.tasks[task].after if name in wanted and name in refused]
        return f"it comes after {', '.join(gone)}, which is left out" if gone else ""

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
                if task in order and (alone := self._judge.blocking(self.planned((task,)))):
                    self.never[task] = refused[task] = str(alone[0]["message"])
                gone = self._with_later(task, (*kept, *order))
                refused |= dict.fromkeys(gone - {task}, f"it comes after {task}, which is left out")
                order, kept = (tuple(each for each in part if each not in gone) for part in (others, kept))
            else:
                order = better

    def _fewer(self, others: tuple[str, ...], kept: Sequence[str], task: str,
               count: int) -> Iterator[tuple[str, ...]]:
        """The first few orders in time, with the task elsewhere, that have fewer stops."""
        for soon, order in self.inserted(others, kept, task)[:_OTHER_ORDERS]:
            if self._holds(soon) and len(self._judge.blocking(self.planned(order, kept))) < count:
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
