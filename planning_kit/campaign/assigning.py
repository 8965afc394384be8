"""Which task on which outing: the assignment's bound and answers, each outing timed and checked.

The pure problem (`assignment`) knows the least minutes of each task and no waits: its best value is the
bound. What it puts on an outing is put in there (`fitting`); what that refuses goes back as a cut, with a
smaller room for the outing, which is no proof and therefore no part of the bound. What is left over is tried
on every other outing. So it goes on, round by round, until the bound is reached or the effort is spent.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache, cached_property
from itertools import pairwise
from math import isfinite

from planning_kit.campaign.assignment import (
    DAY_MIN,
    NEEDS,
    AssignmentProblem,
    OutingRoom,
    Pair,
    Solved,
    TooMuch,
    WantedTask,
    solve_assignment,
)
from planning_kit.campaign.end_state import EndState, end_state
from planning_kit.campaign.fitting import Fitted, OutingOn
from planning_kit.campaign.put_in import TaskRows, lanes_of
from planning_kit.campaign.remembered import NOTHING, Remembered, as_it_stood_words, carried_again
from planning_kit.explore.long_question import Report, silent, told
from planning_kit.inputs.fields import SUITED
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import moment_at
from planning_kit.plan.timed import TimedPlan

ROUNDS = {"quick": 2.0, "normal": 8.0, "thorough": 40.0}
_SOLVER_EFFORT = 1.0  # deterministic seconds a round
_WIDER = 1.05


@dataclass(frozen=True, eq=False)
class OpenOuting:
    """An outing that tasks may be put on, as it stands; ``behind``: the step that they come behind."""

    outing: str
    plan: TimedPlan
    behind: str
    dates: tuple[date, ...]
    people: Pair = ()
    pairs: tuple[Pair, ...] = ()
    reserve_min: float = 0.0

    @property
    def limit_min(self) -> float:
        """When both must be inside, PET: the planned limit less the reserve that every outing keeps."""
        return self.plan.scenario.settings.limits.planned_min - self.reserve_min

    @property
    def begins_min(self) -> float:
        """Its PET 0, minutes from 0 h UTC of its date."""
        return (self.plan.pet_zero - datetime.combine(self.present, time(), UTC)) / timedelta(minutes=1)

    @property
    def lasts_days(self) -> int:
        """From its date to that on which it ends at the latest."""
        return int((self.begins_min + self.limit_min) // DAY_MIN)

    @property
    def present(self) -> date:
        """Its date as it stands."""
        return self.plan.pet_zero.date()


@dataclass(frozen=True, eq=False)
class OpenTask:
    """A task of the backlog that is still to do. ``after``: prerequisites with the least days between."""

    rows: TaskRows
    title: str
    value: int
    need: str
    after: Mapping[str, int] = field(default_factory=dict)
    must_by: date | None = None
    trained: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def rank(self) -> tuple[float, ...]:
        """The most wanted first: by need, then by value a minute."""
        minutes = sum(self.rows.least_min().values()) or 1.0
        return NEEDS.index(self.need), -self.value / minutes


@dataclass(frozen=True, eq=False)
class Found:
    """An assignment: each outing on its date with its plan, and how good it can be at most (by need).

    ``refused``: by task and outing why it is not on it, in words.
    """

    dates: Mapping[str, date]
    pairs: Mapping[str, Pair]
    fitted: Mapping[str, Fitted]
    refused: Mapping[str, Mapping[str, str]]
    value: tuple[int, ...]
    bound: tuple[int, ...]
    rounds: int

    @property
    def outing_of(self) -> dict[str, str]:
        """The outing of each task that has one."""
        return {task: name for name, fitted in self.fitted.items() for task in fitted.tasks}


@dataclass(frozen=True, eq=False)
class Assigning:
    """The question: open tasks and outings in their order, and what is done already (task to its date).

    ``begins``: what the last outing that is over left behind; ``units``: by need into how many parts one of
    value is cut, so that those of the tasks are whole numbers of them, as all values here.
    ``remembered``: by outing what it was before tasks left it.
    """

    tasks: Mapping[str, OpenTask]
    outings: Mapping[str, OpenOuting]
    least_days_between: int = 0
    done: Mapping[str, date] = field(default_factory=dict)
    begins: EndState | None = None
    units: Mapping[str, int] = field(default_factory=dict)
    remembered: Mapping[str, Remembered] = field(default_factory=dict)

    def typed(self, need: str, value: int) -> float:
        """A value as the backlog has it."""
        whole, rest = divmod(value, self.units.get(need, 1))
        return value / self.units[need] if rest else whole

    @cached_property
    def rows(self) -> Mapping[str, TaskRows]:
        """Every open task as rows."""
        return {name: task.rows for name, task in self.tasks.items()}

    @cached_property
    def present(self) -> Mapping[str, str]:
        """The outing that has each task by now."""
        return {task.task: name for name, outing in self.outings.items()
                for task in outing.plan.scenario.records.tasks if task.task in self.tasks}

    @cached_property
    def wanted(self) -> tuple[str, ...]:
        """The tasks, the most wanted first, none before what it comes after."""
        found = dict[str, None]()

        def put(name: str, above: tuple[str, ...]) -> None:
            for earlier in self.tasks[name].after:
                if earlier in self.tasks and earlier not in (*above, name):
                    put(earlier, (*above, name))
            found.setdefault(name)

        for name in sorted(self.tasks, key=lambda each: self.tasks[each].rank):
            put(name, ())
        return tuple(found)

    @cache  # noqa: B019  an Assigning lives as long as its question
    def on(self, outing: str, day: date, pair: Pair = (), after: Scenario | None = None) -> OutingOn:
        """An outing on a date, with a pair; ``after``: what is otherwise, as it was carried over."""
        this = self.outings[outing]
        scenario = this.plan.scenario if after is None else after
        if pair and pair != this.people:
            # Speed, exertion and suit go along with who changes the post.
            scenario = scenario.with_crew(pair[0] == this.people[1] or pair[1] == this.people[0],
                                          EV1={"name": pair[0]}, EV2={"name": pair[1]})
        if day != this.present:
            scenario = scenario.shift_dates(day.isoformat())
        return OutingOn(scenario, this.plan, this.behind, self.rows, this.limit_min, self.known(outing))

    @cache  # noqa: B019  as above
    def known(self, outing: str) -> Remembered:
        """What an outing was before tasks left it or came, by the backlog as it is now."""
        return self.remembered.get(outing, NOTHING).renewed(self.rows)

    def room(self, outing: OpenOuting) -> OutingRoom:
        """What an outing has room for at most: its own work and ways and the end are taken off."""
        ons = [self.on(outing.outing, outing.present, pair)
               for pair in {(), outing.people[::-1]} & {(), *outing.pairs}]
        ends_min = outing.plan.scenario.settings.airlock.ends_min
        room, ways = dict[str, float](), dict[str, float]()
        for lane in SUITED:
            work_min, ways[lane] = min(on.own_min(lane) for on in ons)  # their work is the same
            room[lane] = max(outing.limit_min - ends_min - work_min - ways[lane], 0.0)
        places = {str(step["place"]) for task in self.rows.values() for step in task.steps if "place" in step}
        return OutingRoom(outing.outing, dict.fromkeys(outing.dates, room), outing.pairs,
                          _least_ways(outing.plan, places), ways, outing.present, outing.begins_min,
                          outing.begins_min + outing.limit_min)

    @cached_property
    def problem(self) -> AssignmentProblem:
        """The pure problem, whose best value is the bound."""
        tasks = []
        for name, task in self.tasks.items():
            places = dict[str, set[str]]()
            for step in task.rows.steps if name not in self.present else ():
                for lane in lanes_of(step):
                    places.setdefault(lane, set()).add(str(step.get("place", "")))
            able = {(each, day): self._least_min(name, each) for each, outing in self.outings.items()
                    for day in outing.dates
                    if all((day - self.done[before]).days + outing.lasts_days >= days
                           for before, days in task.after.items() if before in self.done)}
            tasks.append(WantedTask(name, task.value, task.need, able, task.after, task.must_by, task.trained,
                                    places))
        return AssignmentProblem(
            tuple(tasks), tuple(self.room(each) for each in self.outings.values()), self.least_days_between,
            frozenset(self.done), self.present)

    def _least_min(self, task: str, outing: str) -> Mapping[str, float]:
        """What a task takes of each lane: as the outing has it, where that has it by now."""
        if self.present.get(task) != outing:
            return self.rows[task].least_min()
        steps = [step for step in self.outings[outing].plan.scenario.records.steps if step.task == task]
        return {lane: sum(step.minutes_likely for step in steps if lane in step.people) for lane in SUITED}

    def search(self, rounds: int, report: Report = silent) -> Found | None:
        """The best assignment of so many rounds; None where not even the dates can be kept."""
        best, cuts, rooms = None, list[TooMuch](), dict[str, float]()
        solved = solve_assignment(self.problem, effort=_SOLVER_EFFORT * rounds)
        if solved is None:
            return None
        bound = solved.bound
        if self._stands:  # never worse than what is there
            best = self._timed(replace(solved, outing_of=self.present, dates={
                name: each.present for name, each in self.outings.items()}, pairs={}), [], {}, bound, 0)
        for number in told(range(1, rounds + 1), report, "rounds", rounds):
            if best is not None and best.value >= bound:
                break
            found = self._timed(solved, cuts, rooms, bound, number)
            best = found if best is None or found.value > best.value else best
            solved = solve_assignment(self._narrowed(rooms), cuts, _SOLVER_EFFORT)
            if solved is None:
                break
        return best

    @property
    def _stands(self) -> bool:
        """Whether something is assigned, on dates and by pairs that may be."""
        outings = [*self.outings.values()]
        return bool(self.present) and all(
            each.present in each.dates and (not each.pairs or each.people in each.pairs) for each in outings
        ) and all(
            (self.outings[then.outing].present - self.outings[one.outing].present).days
            >= one.least_days_to(then, self.least_days_between)
            for one, then in pairwise(self.problem.outings))

    def _narrowed(self, rooms: Mapping[str, float]) -> AssignmentProblem:
        """The problem with the part of each outing's room that plans were found to use."""
        return replace(self.problem, outings=tuple(replace(each, room_min={
            day: {lane: minutes * rooms.get(each.outing, 1.0) for lane, minutes in room.items()}
            for day, room in each.room_min.items()}) for each in self.problem.outings))

    def _timed(self, solved: Solved, cuts: list[TooMuch], rooms: dict[str, float], bound: tuple[int, ...],
               number: int) -> Found:
        """Each outing, in order, with its tasks and with what no other has, after what the last one left."""
        fitted, refused = dict[str, Fitted](), dict[str, dict[str, str]]()
        ends = [self.begins] if self.begins is not None else []
        for name, this in self.outings.items():
            scenario = this.plan.scenario
            asked = [task for task in self.wanted if solved.outing_of.get(task) == name]
            has = {each: fit.tasks for each, fit in fitted.items()} | {name: tuple(asked)}
            able = [task for task in asked
                    if not self.why_not(task, name, solved.dates, solved.pairs, has)]
            alone = self.known(name).uncarried(scenario)
            each = self.known(name).again(alone, able)
            begins = carried_again(alone, each, scenario, ends, self.tasks)
            on = self.on(name, solved.dates[name], solved.pairs.get(name, ()),
                         None if begins == scenario else begins)
            fit = self._in_time(on, able, fitted)
            back = {*on.present} - {task for task, at in self.present.items() if at == name}
            fit = replace(fit, refused={task: as_it_stood_words(why) if task in back else why
                                        for task, why in fit.refused.items()})
            if on.blocked:
                cuts.append(TooMuch(name, frozenset(), solved.dates[name]))
            for task, why in fit.refused.items():
                refused.setdefault(task, {})[name] = why
                day = None if task in on.faults else solved.dates[name]
                cuts.append(TooMuch(name, frozenset({task} if task in on.never else {*fit.tasks, task}), day))
            self._learn(name, asked, fit, rooms)
            fit = self._filled_up(on, name, fit, solved, fitted, refused)
            fitted[name] = replace(fit, begins=(each, begins))
            ends.append(end_state(fitted[name].plan))
        return Found(solved.dates, solved.pairs, fitted, refused, self.value_of(fitted), bound, number)

    def _in_time(self, on: OutingOn, able: Sequence[str], fitted: Mapping[str, Fitted]) -> Fitted:
        """An outing with those of its tasks that are done in time, by the dates of their own steps."""
        fit, late = on.fit(able), dict[str, str]()
        while more := self._too_late(fit, fitted):
            late |= more
            fit = on.fit([task for task in able if task not in late])
        return replace(fit, refused={**fit.refused, **late})

    def _too_late(self, fit: Fitted, fitted: Mapping[str, Fitted]) -> dict[str, str]:
        """The tasks of an outing that are over too late, or begin too soon after others, and why."""
        over = {task: span[1].date() for each in (*fitted.values(), fit) for task in each.tasks
                if (span := span_of(each.plan, task))} | {**self.done}
        found = dict[str, str]()
        for task in fit.tasks:
            this, span = self.tasks[task], span_of(fit.plan, task)
            if span and this.must_by is not None and span[1].date() > this.must_by:
                found[task] = (f"it would be over at {span[1]:%Y-%m-%d %H:%M} UTC, it must be done by "
                               f"{this.must_by}")
            for earlier, days in this.after.items():
                if earlier not in over or earlier in found:
                    found.setdefault(task, f"it comes after {earlier}, which is left out")
                elif span and days and (span[0].date() - over[earlier]).days < days:
                    found.setdefault(task, f"{earlier} is over on {over[earlier]}, and it would begin at "
                                     f"{span[0]:%Y-%m-%d %H:%M} UTC: {days_told(days)} must lie between")
        return found

    def _filled_up(self, on: OutingOn, name: str, fit: Fitted, solved: Solved, fitted: Mapping[str, Fitted],
                   refused: dict[str, dict[str, str]]) -> Fitted:
        """An outing with whatever it holds beside of what no outing has, or an earlier one has refused."""
        before = {task for each in fitted.values() for task in each.tasks}
        for task in self.wanted:
            is_later = solved.outing_of.get(task) in {*self.outings} - {*fitted, name}
            if is_later or task in before or task in fit.tasks or name in refused.get(task, {}):
                continue
            has = {each: other.tasks for each, other in fitted.items()} | {name: fit.tasks}
            if not self.why_not(task, name, solved.dates, solved.pairs, has):
                then, more = on.with_one_more(fit, task)
                if isinstance(more, Fitted) and (late := self._too_late(more, fitted)):
                    more = next(iter(late.values()))
                if isinstance(more, Fitted):
                    on, fit = then, more
                else:
                    refused.setdefault(task, {})[name] = more
        return fit

    def value_of(self, fitted: Mapping[str, Fitted]) -> tuple[int, ...]:
        """What the tasks that are done are worth, by need."""
        done = [self.tasks[task] for each in fitted.values() for task in each.tasks]
        return tuple(sum(task.value for task in done if task.need == need) for need in NEEDS)

    def _learn(self, name: str, asked: Sequence[str], fitted: Fitted, rooms: dict[str, float]) -> None:
        """How much of the room can be used: less where tasks were refused, more where all went in."""
        this = next(each for each in self.problem.outings if each.outing == name)
        room = next(iter(this.room_min.values()))
        asked_for, used = ({lane: sum(self._least_min(task, name).get(lane, 0.0) for task in tasks)
                            for lane in room} for tasks in (asked, fitted.tasks))
        shares = [(asked_for[lane] + used[lane]) / 2.0 / minutes for lane, minutes in room.items() if minutes]
        share = max(shares, default=1.0)
        rooms[name] = min(rooms.get(name, 1.0), share) if fitted.refused else min(
            rooms.get(name, 1.0) * _WIDER, 1.0)

    def why_not(self, task: str, name: str, dates: Mapping[str, date], pairs: Mapping[str, Pair],
                has: Mapping[str, Sequence[str]]) -> str:
        """Why dates, persons or what it comes after do not let an outing have a task; empty where they do.

        ``has``: the tasks of each outing, as far as they are known.
        """
        this, day, order = self.tasks[task], dates[name], [*self.outings]
        if this.must_by is not None and day > this.must_by:
            return f"{name} is on {day}, it must be done by {this.must_by}"
        for lane, who in zip(SUITED, pairs.get(name) or self.outings[name].people, strict=False):
            if who and this.trained.get(lane) and who not in this.trained[lane]:
                return f"{who} as {lane} is not trained for it; {', '.join(this.trained[lane])} would be"
        for earlier, days in this.after.items():
            at = next((each for each, tasks in has.items() if earlier in tasks), None)
            on = self.done.get(earlier) or (dates[at] if at else None)
            if on is None or (at is not None and order.index(at) > order.index(name)):
                return f"it comes after {earlier}, which is on no outing up to {name}"
            if (day - on).days + self.outings[name].lasts_days < days or (days and at == name):
                return f"{earlier} is on {on}, {name} on {day}: {days_told(days)} must lie between"
        for at, tasks in has.items():
            if order.index(at) < order.index(name) and (
                    later := [each for each in tasks if task in self.tasks[each].after]):
                return f"{', '.join(later)} comes after it, and is on {at}"
        return ""


def days_told(days: float) -> str:
    """So many days, in words."""
    return f"{days:g} day{'' if days == 1 else 's'}"


def span_of(plan: TimedPlan, task: str) -> tuple[datetime, datetime] | None:
    """From the start of a task's first step to the finish of its last (UTC); None: it has no step."""
    spans = [(start, finish) for step, start, finish in plan.each_step() if step.task == task]
    return (moment_at(min(spans)[0], plan.pet_zero),
            moment_at(max(finish for _, finish in spans), plan.pet_zero)) if spans else None


def _least_ways(plan: TimedPlan, places: set[str]) -> dict[str, float]:
    """The least minutes into each place from anywhere that work may be, for the faster of the two."""
    airlock = plan.scenario.settings.airlock_place
    known = next(iter(plan.travels.values())).numbers
    here = {*places, airlock, *(step.place for step in plan.steps if step.place)} & {*known}
    least = {place: min((travel.time_min(other, place) for travel in plan.travels.values()
                         for other in here - {place}), default=0.0)
             for place in places & {*known} - {airlock}}
    return {place: minutes for place, minutes in least.items() if isfinite(minutes)}
