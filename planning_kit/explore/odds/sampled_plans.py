"""Many samples of one outing timed together, each with what it gives up on the way, when and why.

Every sample is played until the first minute at which something is given up; what has begun by then is
history, and the rest is played on without it. So nothing before a minute rests on what is given up after it.
Samples that give up the same in the same way are timed together: the result is exactly that of timing each
sample alone (a test does). A task is given up as it is late, its window is missed, or a clock ran out:

* The cut rule (``tasks.last_start_min``): at PET L the task has not begun, so it is not begun any more; nor
  does anyone set out for it who sees, when free to go, that the way and a window of its own lead past L.
* A window is missed when, as seen at a look, a step of the task does not lie in the window of the plan any
  more. ``tasks.if_missed`` says what then: ``drop`` gives the task up, ``next_window`` waits for the next.
  Empty: it waits as long as the outing is still expected to end by its hard limit. Where no window is left
  it is given up in any case.
* A greatest gap with ``gaps.if_missed = drop``: when it has passed, the task of its later step is given up.

How it is given up see `planning_kit.changes.dropping`, and what goes with it
`planning_kit.explore.odds.hanging`; precedence passes through, as wherever a task is dropped. Where nobody
knows how, it is played on. Idealised: the way back from a step that was being waited for is that from the
step before it.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from planning_kit.changes.dropping import GivenUp, put_back_min
from planning_kit.explore.long_question import InPieces, at_once
from planning_kit.explore.odds.played import Given, Play, expected_end, playing
from planning_kit.explore.odds.sampled_outing import Draws, Outing, Part, given_up_with, part_without
from planning_kit.inputs.records import Task
from planning_kit.judge.review import drop_order
from planning_kit.plan.network import ORDER, ROUNDING_MIN, on_grid
from planning_kit.plan.timing import place_in_windows


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
    return at_once(timing_samples(outing, draws, rules))


def timing_samples(outing: Outing, draws: Draws, rules: Sequence[Task]) -> InPieces[SampledPlans]:
    """`time_samples` in pieces."""
    tasks, (steps, count) = tuple(outing.steps_of), draws.durations.shape
    plans = SampledPlans(
        tasks, np.full((steps, count), np.nan), np.empty(count), np.empty(count),
        np.empty((len(outing.crew), count)), np.zeros((len(tasks), count), dtype=np.int64),
        np.full(count, -np.inf), *np.zeros((2, steps, count), dtype=bool))
    samples = np.arange(count)
    while len(samples):
        left = []
        for ways, members in plans.groups(samples):
            left.append((yield from _play_on(part_without(outing, ways), draws, plans, members, rules)))
        samples = np.sort(np.concatenate(left))
    for ways, members in plans.groups(np.arange(count)):
        part = part_without(outing, ways)
        own, starts = part.drawn(draws, members), plans.starts[np.ix_(part.kept, members)]
        plans.end_min[members] = end = part.end_min(own, starts, plans.now_min[members])
        plans.hard_min[members] = part.hard_min(own, starts, end)
        plans.waits[:, members] = part.waits(own, end)
    return plans


def _play_on(part: Part, draws: Draws, plans: SampledPlans, members: np.ndarray,
             rules: Sequence[Task]) -> InPieces[np.ndarray]:
    """Play samples of one part from where something was given up; those in which something else is."""
    own, now = part.drawn(draws, members), plans.now_min[members]
    is_new = not np.isfinite(now).any()
    given = Given(own.durations, own.travel, part.not_before, None if is_new else now,
                  None if is_new else plans.starts[np.ix_(part.kept, members)], part.window_ends)
    played = yield from playing(part.foresight, given)
    plans.starts[:, members] = np.nan
    plans.starts[np.ix_(part.kept, members)] = played.starts
    when, rows, stuck = Giving(part, given, played, rules).first()
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


@dataclass(frozen=True, eq=False)
class Giving:
    """Samples of one part as they are played, and what is given up next in each of them."""

    part: Part
    given: Given
    played: Play
    rules: Sequence[Task]

    def first(self) -> tuple[np.ndarray, np.ndarray, list[tuple[int, np.ndarray]]]:
        """When something is given up first (samples,; inf: nothing), at which step, and what goes on broken.

        The last are rows with the minutes (samples,) at which their task would be given up before that if it
        were known how (inf: never).
        """
        count = self.given.durations.shape[1]
        best, at_row = np.full(count, np.inf), np.full(count, -1)
        stuck: list[tuple[int, np.ndarray]] = []
        cuts = [self._cut(rule) for rule in self.rules if rule.task in self.part.rows_of]
        begun, now = self.part.outing.begun, self.given.now_min
        for row, when in (*cuts, *self._gaps(), *self._windows()):
            when = np.maximum(when, now if now is not None else begun.now_min if begun else -np.inf)
            task = self.part.steps[row].task
            if put_back_min(self.part.outing.records, task) is None:
                has_begun = (self.played.starts[self.part.rows_of[task]] < when).any(axis=0)
                has_begun &= np.isfinite(when)
                stuck.append((row, np.where(has_begun, when, np.inf)))
                when = np.where(has_begun, np.inf, when)
            is_first = when < best
            best[is_first], at_row[is_first] = when[is_first], row
        return best, at_row, stuck

    def _cut(self, rule: Task) -> tuple[int, np.ndarray]:
        """When a task is cut by its last start: at that minute, or when it is seen on leaving for it."""
        rows = self.part.rows_of[rule.task]
        assert rule.last_start_min is not None
        last = float(on_grid(rule.last_start_min))
        begins = self.played.starts[rows].min(axis=0)
        # Steps that wait for others of the task do not begin it.
        first = [row for row in rows if not any(
            bound.before in rows and not is_ahead for bound, is_ahead in
            zip(self.part.network.bounds_into[row], self.part.foresight.ahead[row], strict=True))]
        seen = np.max([self._seen_late(row, last) for row in first], axis=0)
        late = np.where(begins > last, last, np.inf)
        return rows[0], np.where(seen <= begins, np.minimum(seen, late), late)

    def _seen_late(self, row: int, last: float) -> np.ndarray:
        """When someone who is free to go there sees that a step would begin too late (inf: nobody does)."""
        network, foresight = self.part.network, self.part.foresight
        free = [(self.played.starts[bound.before] + on_grid(self.given.durations[bound.before]),
                 foresight.least_min(bound)) for bound in network.bounds_into[row] if bound.kind == ORDER]
        free += [(np.zeros(self.played.starts.shape[1]), release.at_min)
                 for release in network.releases_of[row] if release.kind == ORDER]
        seen = np.full(self.played.starts.shape[1], np.inf)
        for at, way in free:
            begins, windows = at + way, network.allowed[row]
            if windows is not None:
                begins = place_in_windows(begins, foresight.expected[row], windows)
            np.minimum(seen, np.where(begins > last, at, np.inf), out=seen)
        return seen

    def _gaps(self) -> list[tuple[int, np.ndarray]]:
        """When the greatest gaps run out that give up a task."""
        index, found = {step: row for row, step in enumerate(self.part.network.steps)}, []
        starts, lengths = self.played.starts, on_grid(self.given.durations)
        for gap in self.part.outing.records.gaps:
            first, then = index.get(gap.first_step), index.get(gap.then_step)
            if gap.if_missed != "drop" or gap.max_gap is None or first is None or then is None:
                continue
            if then in self.part.network.fixed or self.part.steps[then].task not in self.part.rows_of:
                continue
            since = starts[first] + (lengths[first] if gap.first_at == "finish" else 0.0)
            until = since + gap.max_gap - (
                self.part.foresight.expected[then] if gap.then_at == "finish" else 0.0)
            is_over = starts[then] > until + ROUNDING_MIN
            found.append((then, np.where(is_over, np.maximum(until, since), np.inf)))
        return found

    def _windows(self) -> list[tuple[int, np.ndarray]]:
        """When steps have missed their window, where that gives up their task."""
        found, policies = [], {task.task: task.if_missed for task in self.part.outing.records.tasks}
        asked = []
        for row, step in enumerate(self.part.steps):
            missed = self.played.missed_at[row]
            if step.task not in self.part.rows_of or not np.isfinite(missed).any():
                continue
            policy = policies[step.task]
            goes = np.isfinite(missed) if policy == "drop" else self.played.is_lost[row].copy()
            if not policy:
                asked.append((goes, missed, np.flatnonzero(np.isfinite(missed) & ~goes)))
            found.append((row, missed, goes))
        samples = np.concatenate([np.empty(0, dtype=int), *(members for _, _, members in asked)])
        if len(samples):  # all at once
            end = expected_end(self.part.foresight, self.given, self.played.starts, samples,
                               np.concatenate([missed[members] for _, missed, members in asked]))
            is_late = np.split(end > self.part.outing.hard_min,
                               np.cumsum([len(members) for _, _, members in asked])[:-1])
            for (goes, _, members), late in zip(asked, is_late, strict=True):
                goes[members[late]] = True
        return [(row, np.where(goes, missed, np.inf)) for row, missed, goes in found]
