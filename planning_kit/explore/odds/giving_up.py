"""When a task is given up in samples in play, and why: it is late, its window is missed, or a clock ran out.

* The cut rule (``tasks.last_start_min``): at PET L the task has not begun, so it is not begun any more; nor
  does anyone set out for it who sees, when free to go, that the way and a window of its own lead past L.
* A window is missed when, as seen at a look, a step of the task does not lie in the window of the plan any
  more. ``tasks.if_missed`` says what then: ``drop`` gives the task up, ``next_window`` waits for the next.
  Empty: it waits as long as the outing is still expected to end by its hard limit. Where no window is left
  it is given up in any case.
* A greatest gap with ``gaps.if_missed = drop``: when it has passed, the task of its later step is given up.

How it is given up see `planning_kit.changes.putting_back`, and what goes with it
`planning_kit.explore.odds.hanging`; precedence passes through, as wherever a task is dropped. Where nobody
knows how, it is played on. Idealised: the way back from a step that was being waited for is that from the
step before it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from planning_kit.changes.putting_back import put_back_min
from planning_kit.explore.odds.played import Given, Play, expected_end
from planning_kit.explore.odds.sampled_outing import Part
from planning_kit.inputs.records import Task
from planning_kit.plan.network import ORDER, ROUNDING_MIN, on_grid
from planning_kit.plan.timing import place_in_windows


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
