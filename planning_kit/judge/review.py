"""Which task is left out first, and whether a plan is better than another: one judgement for all that ask.

A plan is better than another when it brings no stop finding that the other has not; when it keeps the hard
limit, then the planned one, or misses them by less; when it leaves out less (`drop_weights`); when it ends
earlier, with ``[limits] carry_weight`` minutes more for each hour of carrying a slot. Among equals less
carrying is better, then less walking. Of plans beside each other, such as the options outside, those
with the fewest stops of their own come first, then what keeps the limits, then what leaves out no required
work: that is worth a stop or a limit, but no minutes of them.
"""

import math
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import pandas as pd

from planning_kit.inputs.records import Task
from planning_kit.inputs.times import number_label
from planning_kit.judge.all_checks import findings_of, new_findings
from planning_kit.judge.findings import CONCERN, STOP, Identity, identity
from planning_kit.plan.activities import TRAVEL, minutes_of
from planning_kit.plan.network import ROUNDING_MIN, grouped
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import earliest_starts, outing_end

_NEEDS = ("get-ahead", "optional", "required")  # the first goes first
_MOST_WEIGHT = 2**40  # sums of weights must stay whole numbers that the solver can hold


def may_go(task: Task) -> bool:
    """Whether a search or a table may leave a task out by itself: never required work."""
    return task.need != "required"


def may_be_cut(task: Task) -> bool:
    """Whether to say of a task that it would be left out: it may go, or is required with a cut order."""
    return may_go(task) or task.cut_order is not None


def drop_order(tasks: Iterable[Task], starts: Mapping[str, float] | None = None) -> list[Task]:
    """The tasks, the one that goes first in front.

    The planner's ``cut_order`` decides first, then need (get-ahead goes before optional, optional before
    required), then priority (the highest number goes first). A task without a number is kept longest. Equal
    tasks: the later one by ``starts`` (PET minutes by task) goes first, else the one that stands first.
    """
    later = starts or {}
    return sorted(tasks, key=lambda task: (*_level(task), -later.get(task.task, 0.0)))


def task_starts(plan: TimedPlan) -> dict[str, float]:
    """When each task of a plan begins, PET minutes."""
    starts: dict[str, float] = {}
    for step, start, _ in plan.each_step():
        starts[step.task] = min(start, starts.get(step.task, math.inf))
    return starts


def drop_weights(tasks: Iterable[Task]) -> dict[str, int]:
    """What each task weighs when it is left out: more than all tasks together that go before it.

    Equal tasks weigh the same. Where there are so many that the weights would grow beyond all bounds, those
    that go last weigh the same, too.
    """
    weights: dict[str, int] = {}
    total = 0
    for _, equal in groupby(drop_order(tasks), key=_level):
        level = dict.fromkeys((task.task for task in equal), total + 1)
        weights |= level
        if total <= _MOST_WEIGHT:
            total += (total + 1) * len(level)
    return weights


def _level(task: Task) -> tuple[float, float, float]:
    return _number(task.cut_order), float(_NEEDS.index(task.need)), _number(task.priority, -1)


def _number(value: float | None, sign: int = 1) -> float:
    # Never a negative infinity: without a number it goes last, whichever way the numbers run.
    return math.inf if value is None or math.isnan(value) else sign * float(value)


# Better plans


SAME_MIN, LEAST_TOLD = 1e-6, 0.05  # the latter of what is told to a tenth
_TOLD_MIN = 10.0
_WEEK_MIN = 7 * 1440.0


def keeps(end_min: float, limit_min: float) -> bool:
    """Whether an outing end keeps a limit (both PET minutes), rounding aside."""
    return end_min <= limit_min + ROUNDING_MIN


def cushioned_end_min(plan: TimedPlan, cushion: float) -> float:
    """The outing end with every duration stretched from likely towards high (PET min; inf: no plan then)."""
    if not cushion:
        return plan.end_min
    high = np.array([step.minutes_high for step in plan.steps])
    durations = plan.durations + cushion * (high - plan.durations)
    starts = earliest_starts(plan.network, durations)
    if not np.isfinite(starts).all():
        return float("inf")
    return float(outing_end(plan.network, starts, durations))


def walk_min(plan: TimedPlan) -> float:
    """Minutes that both crew members travel, together."""
    return minutes_of((each for crew in plan.travels for each in plan.lanes[crew]), TRAVEL)


def _in_hand_min(plan: TimedPlan) -> Mapping[str, float]:
    """By item the minutes that crew members have it in hand; what is in a bag counts with the bag."""
    held = grouped((each.item, each.until_min - each.from_min) for each in plan.tracked_custody.holdings
                   if each.holder in plan.travels and not each.in_bag)
    return {item: sum(minutes) for item, minutes in held.items()}


def carry_h(plan: TimedPlan) -> float:
    """Hours of carrying one slot, both crew members together; an item whose slots are not given takes one."""
    slots = {item.item: 1.0 if item.slots is None else item.slots for item in plan.scenario.records.hardware}
    return sum(slots[item] * minutes for item, minutes in _in_hand_min(plan).items()) / 60.0


def carried_longer(a: TimedPlan, b: TimedPlan) -> Iterator[tuple[str, str]]:
    """Each item that plan ``b`` has carried for ten minutes more than plan ``a``, or longer, and words."""
    before = _in_hand_min(a)
    for item, minutes in _in_hand_min(b).items():
        if (more := minutes - before.get(item, 0.0)) >= _TOLD_MIN:
            yield item, (f"{item} is carried for {number_label(minutes, 'up', 0)} min, "
                         f"{number_label(more, 'up', 0)} more than now")


def given_way_min(plan: TimedPlan) -> float:
    """The minutes by which rules give way in a plan; those without any window count as a week each."""
    return sum(min(each.by_min, _WEEK_MIN) for each in plan.network.given_way)


def worth(plan: TimedPlan, tasks: Iterable[Task], dropped: Collection[str] = (),
          cushion: float = 0.0) -> tuple[float, ...]:
    """What a plan without the ``dropped`` of ``tasks`` is worth; smaller is better.

    What is left out by weight, the outing end (with a ``cushion``, see `cushioned_end_min`) and what carrying
    weighs, in minutes; then carrying in slot hours, and walking in minutes.
    """
    carried = carry_h(plan)
    end_min = cushioned_end_min(plan, cushion) + carried * (plan.scenario.settings.limits.carry_weight or 0.0)
    weights = drop_weights(tasks)
    return (float(sum(weights[task] for task in dropped)), round(end_min, 6), round(carried, 6),
            round(walk_min(plan), 6))


def is_worse(one: Sequence[float], other: Sequence[float]) -> bool:
    """Whether one worth, or rank of a review, is worse than another, rounding aside."""
    # A rounding of what counts first must not decide over a true difference behind it.
    for mine, theirs in zip(one, other, strict=True):
        if abs(mine - theirs) > SAME_MIN:
            return mine > theirs
    return False


def stops_in(found: pd.DataFrame) -> Counter[Identity]:
    """The stops of a table of findings, by what makes them the same in another plan."""
    return Counter(map(identity, found[found["severity"] == STOP].to_dict("records")))


@dataclass(frozen=True)
class Review:
    """How a plan stands against another one: what is new in it, and what it is worth.

    ``fresh``: its new findings; ``stops``: all its stops (`stops_in`); ``broken_min``: by how much it breaks
    rules; ``over_min``: minutes past each limit asked for, 0 where it is kept.
    """

    fresh: pd.DataFrame
    stops: Counter[Identity]
    broken_min: float
    over_min: tuple[float, ...]
    worth: tuple[float, ...]
    leaves_required: bool

    @property
    def new_stops(self) -> int:
        """Stop findings that the other plan has not."""
        return int((self.fresh["severity"] == STOP).sum())

    @property
    def new_concerns(self) -> int:
        """Concerns that the other plan has not."""
        return int((self.fresh["severity"] == CONCERN).sum())

    @property
    def holds(self) -> bool:
        """Whether it keeps the limits and brings no new stop finding."""
        return not self.new_stops and not any(self.over_min)

    @property
    def rank(self) -> tuple[float, ...]:
        """Smaller is better: new stops or none, limits kept or not, by how much, then what it is worth."""
        return (float(self.new_stops > 0), *(float(over > 0) for over in self.over_min),
                max(self.over_min, default=0.0), *self.worth)

    def rank_beside(self, shared: Counter[Identity]) -> tuple[float, ...]:
        """The rank among plans that all have the stops ``shared``."""
        kept = 1 + len(self.over_min)
        return (float((self.stops - shared).total()), *self.rank[1:kept], float(self.leaves_required),
                round(self.broken_min, 6), *self.rank[kept:])


def review(a: TimedPlan | pd.DataFrame, b: TimedPlan, limits_min: Sequence[float], tasks: Iterable[Task],
           dropped: Collection[str] = (), cushion: float = 0.0) -> Review:
    """Plan ``b``, which leaves out the ``dropped`` of ``tasks``, against plan ``a`` (or its findings).

    ``limits_min``: what the outing end must keep, the most important first (PET minutes), also with the
    ``cushion``.
    """
    end_min = max(b.end_min, cushioned_end_min(b, cushion))
    over = tuple(0.0 if keeps(end_min, limit) else end_min - limit for limit in limits_min)
    tasks = list(tasks)
    return Review(new_findings(a, b), stops_in(findings_of(b)), given_way_min(b), over,
                  worth(b, tasks, dropped, cushion),
                  any(task.need == "required" for task in tasks if task.task in dropped))
