"""Many samples of one outing timed together, each with what it gives up on the way.

Every sample is played until the first minute at which something is given up; what has begun by then is
history, and the rest is played on without it. So nothing before a minute rests on what is given up after it.
Samples that give up the same in the same way are timed together: the result is exactly that of timing each
sample alone (a test does).
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from planning_kit.changes.putting_back import GivenUp
from planning_kit.explore.odds.giving_up import Giving
from planning_kit.explore.odds.played import Given, play
from planning_kit.explore.odds.sampled_outing import Outing, Part, given_up_with, part_without
from planning_kit.explore.odds.sampling import Draws
from planning_kit.inputs.records import Task
from planning_kit.judge.drop_order import drop_order


@dataclass(frozen=True, eq=False)
class SampledPlans:
    """Many samples of one outing as they are played.

    ``starts`` (steps, samples): NaN for a step that is given up. ``end_min``, ``hard_min`` (samples,): outing
    end, and the hard limit of each. ``waits`` (crew, samples), minutes. ``way`` (tasks with steps, samples):
    0, or 1 + the position in ``ways`` of how the task is given up; ``now_min`` when something was given up
    last (-inf: never). ``is_lost`` (steps, samples): begun though no window was left; ``is_stuck``: begun
    too late to be of use, but nobody knows how to put it back.
    """

    tasks: tuple[str, ...]
    starts: np.ndarray
    end_min: np.ndarray
    hard_min: np.ndarray
    waits: np.ndarray
    way: np.ndarray
    now_min: np.ndarray
    is_lost: np.ndarray
    is_stuck: np.ndarray
    ways: list[GivenUp] = field(default_factory=list)

    @property
    def is_put_back(self) -> np.ndarray:
        """Which tasks (tasks, samples) had begun when they were given up."""
        is_back = np.array([False, *(bool(way.put_back) for way in self.ways)])
        return np.asarray(is_back[self.way])

    def groups(self, samples: np.ndarray) -> Iterator[tuple[frozenset[GivenUp], np.ndarray]]:
        """What is given up and how, and those of ``samples`` (positions) that give up just that."""
        pattern = np.zeros(len(samples), dtype=np.int64)  # numbered anew at each task: it never overflows
        for row in self.way[:, samples]:
            if row.any():
                pattern = np.unique(pattern * (len(self.ways) + 1) + row, return_inverse=True)[1]
        for number in range(int(pattern.max()) + 1 if len(samples) else 0):
            members = samples[pattern == number]
            if len(members):
                yield frozenset(self.ways[way - 1] for way in self.way[:, members[0]] if way), members

    def give_up(self, part: Part, members: np.ndarray, when: np.ndarray, row: int) -> None:
        """Note in ``members`` (positions; ``when``: theirs) that a step's task goes, and what hangs on it."""
        begun = self.starts[np.ix_(part.kept, members)] < when
        _, first, numbers = np.unique(np.packbits(begun, axis=0), axis=1, return_index=True,
                                      return_inverse=True)
        for number, at in enumerate(first.tolist()):
            same = members[numbers.ravel() == number]
            names = frozenset(part.steps[each].step for each in np.flatnonzero(begun[:, at]))
            ways, stuck = given_up_with(part, part.steps[row].step, names)
            for task, way in ways.items():
                if way not in self.ways:
                    self.ways.append(way)
                self.way[self.tasks.index(task), same] = 1 + self.ways.index(way)
            for step in stuck:
                self.is_stuck[part.outing.row_of[step], same] = True
        self.now_min[members] = when


def cut_rules(outing: Outing) -> tuple[Task, ...]:
    """The tasks with steps and a last start, by that; none that has begun."""
    ruled = [task for task in outing.tasks_to_come if task.last_start_min is not None]
    # The sort is stable: equal last starts stay in drop order.
    return tuple(sorted(drop_order(ruled), key=lambda task: task.last_start_min or 0.0))


def time_samples(outing: Outing, draws: Draws, rules: Sequence[Task]) -> SampledPlans:
    """Play every sample; ``rules``: the tasks with a last start (of equal minutes the first is cut first)."""
    tasks, (steps, count) = tuple(outing.steps_of), draws.durations.shape
    plans = SampledPlans(
        tasks, np.full((steps, count), np.nan), np.empty(count), np.empty(count),
        np.empty((len(outing.crew), count)), np.zeros((len(tasks), count), dtype=np.int64),
        np.full(count, -np.inf), *np.zeros((2, steps, count), dtype=bool))
    samples = np.arange(count)
    while len(samples):
        left = [_play_on(part_without(outing, ways), draws, plans, members, rules)
                for ways, members in plans.groups(samples)]
        samples = np.sort(np.concatenate(left))
    for ways, members in plans.groups(np.arange(count)):
        part = part_without(outing, ways)
        own, starts = part.drawn(draws, members), plans.starts[np.ix_(part.kept, members)]
        plans.end_min[members] = end = part.end_min(own, starts, plans.now_min[members])
        plans.hard_min[members] = part.hard_min(own, starts, end)
        plans.waits[:, members] = part.waits(own, end)
    return plans


def _play_on(part: Part, draws: Draws, plans: SampledPlans, members: np.ndarray,
             rules: Sequence[Task]) -> np.ndarray:
    """Play samples of one part from where something was given up; those in which something else is."""
    own, now = part.drawn(draws, members), plans.now_min[members]
    is_new = not np.isfinite(now).any()
    given = Given(own.durations, own.travel, part.not_before, None if is_new else now,
                  None if is_new else plans.starts[np.ix_(part.kept, members)], part.window_ends)
    played = play(part.foresight, given)
    plans.starts[:, members] = np.nan
    plans.starts[np.ix_(part.kept, members)] = played.starts
    giving = Giving(part, given, played, rules)
    when, rows, stuck = giving.first()
    # What comes after something is given up is played anew.
    for row, at in stuck:
        plans.is_stuck[part.kept[row], members[at < when]] = True
    for row in np.flatnonzero(played.is_lost.any(axis=1)).tolist():
        plans.is_lost[part.kept[row], members[played.is_lost[row] & (played.starts[row] < when)]] = True
    for row in np.unique(rows[rows >= 0]).tolist():
        same = rows == row
        plans.give_up(part, members[same], when[same], row)
    return members[rows >= 0]


def broken_reasons(outing: Outing, plans: SampledPlans) -> Counter[str]:
    """In how many samples a step is begun that should not be, by reason in words."""
    reasons: Counter[str] = Counter()
    for mask, words in ((plans.is_lost, "{} is begun though no window is left for it"),
                        (plans.is_stuck, "{} cannot be given up: {} has begun, and neither put_back_min nor "
                                         "safe_orderly_min says how it is put back")):
        for row in np.flatnonzero(mask.any(axis=1)).tolist():
            step = outing.records.steps[row]
            reasons[words.format(step.step, step.task)] += int(mask[row].sum())
    return reasons
