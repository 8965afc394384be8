"""Samples of an outing played minute by minute: nobody knows how long anything will take before it is over.

Whoever is free plans what is left as the timing plans it: what is over took what it took, all else is
expected to take its likely minutes (what runs longer than that is expected to end now), nothing begins before
now, and what has begun breaks no rule of the rest any more. What is due now in this *plan of the rest* is
begun. So a window is entered when the likely minutes of all that must lie in it fit, a step begun is played
on to its drawn finish wherever that lies, and the first step of a greatest gap is held back by likely minutes
alone: it is let go where no time keeps the gap. Where the drawn minutes are the likely ones, the play is the
plan.

A step that has to ask (`planning_kit.explore.odds.foresight`) looks when it could begin, then whenever
something that it depends on is over or has arrived (``news``), and at the minute at which it is due if there
is no news before. Between two news a step is never due sooner than it was, so that no look is missed.

Steps are decided in the order of the plan on likely minutes, many samples at once. A look must know all that
has begun before; where in a sample something has which that order decides later, the sample is decided anew
with what is known by then. A start depends on earlier ones alone, so this ends, and in one way only.

Neglected: the pace of the day so far tells nobody of the rest, and travel under way is not seen to be slow.
"""

from __future__ import annotations

import numpy as np

from planning_kit.explore.odds.foresight import Foresight, Look
from planning_kit.plan.network import MAX_GAP, on_grid
from planning_kit.plan.timing import TravelFactor, group_floor, place_in_windows

_BLOCK = 5_000
_MOST_SWEEPS = 60
_MANY_LOOKS, _PAUSE_MIN = 50, 0.5


def played_starts(foresight: Foresight, durations: np.ndarray, not_before: np.ndarray | None = None,
                  travel_factor: TravelFactor | None = None) -> np.ndarray:
    """Start of every step as it is played, PET minutes; inf where no window is left for it.

    ``durations`` (steps, samples) and ``travel_factor`` are those drawn; ``not_before`` (steps,) holds steps
    back, and everybody knows it beforehand.
    """
    starts = np.empty(durations.shape)
    for low in range(0, starts.shape[1], _BLOCK):
        block = slice(low, low + _BLOCK)
        factor = {crew: each[block] for crew, each in (travel_factor or {}).items()}
        starts[:, block] = _Played(foresight, on_grid(durations[:, block]), factor, not_before).all_starts()
    return starts


class _Played:
    """A block of samples in play. ``starts`` and ``finishes``: inf for what is not decided yet.

    ``adds`` (as ``network.bounds_into``): what each bound adds as drawn, a number or (samples,);
    ``arrivals`` (as ``network.releases_of``) likewise.
    """

    def __init__(self, foresight: Foresight, durations: np.ndarray, factor: TravelFactor,
                 not_before: np.ndarray | None) -> None:
        self.foresight, self.network, self.expected = foresight, foresight.network, foresight.expected
        self.durations, self.factor, self.not_before = durations, factor, not_before
        self.floor = np.full(len(durations), -np.inf) if not_before is None else on_grid(not_before)
        self.starts, self.finishes = np.full((2, *durations.shape), np.inf)
        self.latest = np.full(len(durations), np.inf)
        self.adds = [[on_grid(bound.fixed_min + bound.travel_min * self._factor(bound.crew, bound.travel_min))
                      - (self.expected[bound.after] if bound.to_finish else 0.0) for bound in bounds]
                     for bounds in self.network.bounds_into]
        self.arrivals = [[on_grid(each.at_min + (self._factor(each.crew, each.travel_min) - 1.0)
                                  * each.travel_min) for each in releases]
                         for releases in self.network.releases_of]

    def _factor(self, crew: str, travel_min: float) -> np.ndarray | float:
        # Most bounds have no travel: a number instead of an array of equal ones.
        return self.factor.get(crew, 1.0) if travel_min else 1.0

    def all_starts(self) -> np.ndarray:
        """Decide all, and again the samples in which something had begun that a look did not know of."""
        before, samples = np.full_like(self.starts, np.inf), np.arange(self.starts.shape[1])
        part = self
        while True:
            part._decide_all()
            self.starts[:, samples], self.finishes[:, samples] = part.starts, part.finishes
            missed = part._missed(before)
            if not missed.any():
                return self.starts
            samples = samples[missed]
            part = _Played(self.foresight, self.durations[:, samples],
                           {crew: each[samples] for crew, each in self.factor.items()}, self.not_before)
            part.starts, part.finishes = self.starts[:, samples], self.finishes[:, samples]
            before = part.starts.copy()

    def _missed(self, before: np.ndarray) -> np.ndarray:
        """The samples in which a look took something for not begun, or for begun at another minute."""
        missed = np.zeros(before.shape[1], dtype=bool)
        for step, look in self.foresight.looks.items():
            for row in look.later:
                was, now = before[row], self.starts[row]
                missed |= (was != now) & (np.minimum(was, now) < self.starts[step])
        return missed

    def _decide_all(self) -> None:
        for step in self.foresight.order:
            start = np.full(self.starts.shape[1], self.floor[step])
            for arrival in self.arrivals[step]:
                np.maximum(start, arrival, out=start)
            for number, is_ahead in enumerate(self.foresight.ahead[step]):
                if not is_ahead:
                    np.maximum(start, self.since(step, number) + self.adds[step][number], out=start)
            windows, look = self.network.allowed[step], self.foresight.looks.get(step)
            if look is not None:
                start = self._when_due(look, start)
            elif windows is not None:
                start = place_in_windows(start, self.expected[step], windows)
            self.starts[step] = start
            np.add(start, self.durations[step], out=self.finishes[step])
            self.latest[step] = self.finishes[step].max()

    def since(self, step: int, number: int) -> np.ndarray:
        """Starts or finishes that a bound on a step counts from."""
        bound = self.network.bounds_into[step][number]
        return np.asarray((self.finishes if bound.from_finish else self.starts)[bound.before])

    def _when_due(self, look: Look, ready: np.ndarray) -> np.ndarray:
        """The first minute from ``ready`` on at which the plan of the rest says: now."""
        start, now, looking = np.full_like(ready, np.inf), ready.copy(), np.flatnonzero(np.isfinite(ready))
        count = 0
        while len(looking):
            at = now[looking]
            rest = _Rest(self, look, looking, at)
            due, count = rest.due(), count + 1
            start[looking[due <= at]] = at[due <= at]
            # Where what is late slips by seconds, again and again, a look every half minute will do.
            soon = due if count < _MANY_LOOKS else np.maximum(due, at + _PAUSE_MIN)
            now[looking] = np.where(due <= at, np.inf, np.minimum(soon, rest.news()))
            looking = looking[np.isfinite(now[looking])]
        return start


class _Rest:
    """The plan of the rest on expected minutes, for one look of some samples, each at its ``now``."""

    def __init__(self, played: _Played, look: Look, samples: np.ndarray, now: np.ndarray) -> None:
        self.played, self.look, self.now = played, look, now
        self.network, self.expected = played.network, played.expected
        self.samples = slice(None) if len(samples) == played.starts.shape[1] else samples
        self.start: dict[int, np.ndarray] = {}
        self.finish: dict[int, np.ndarray] = {}
        self.begun: dict[int, np.ndarray] = {}
        first = float(now.min())
        self.late = [row for row in look.rows if played.latest[row] > first]
        for row in self.late:
            self._know(row)
        self.rows = [row for row in self.late if not self.begun[row].all()]
        self.least = {row: self._least(row) for row in self.rows}

    def _know(self, row: int) -> None:
        """What is known now of a step; of one not begun what is known without the others."""
        start, finish = self.played.starts[row][self.samples], self.played.finishes[row][self.samples]
        is_over = finish <= self.now
        # What runs longer than expected is expected to end now: how much longer nobody knows.
        known = np.where(is_over, finish, np.maximum(start + self.expected[row], self.now))
        self.begun[row], self.start[row], self.finish[row] = (start < self.now) | is_over, start, known

    def _least(self, row: int) -> list[np.ndarray | float]:
        """What the bounds on a step add as expected; nothing where one has arrived already."""
        found: list[np.ndarray | float] = []
        for number, bound in enumerate(self.network.bounds_into[row]):
            least = self.played.foresight.least_min(bound)
            if bound.before not in self.start:  # over long since
                self._know(bound.before)
            if bound.travel_min:
                arrived = self._drawn(self.played.since(row, number)) + self._drawn(
                    self.played.adds[row][number]) <= self.now
                found.append(np.where(arrived, -np.inf, least) if arrived.any() else least)
            else:
                found.append(least)
        return found

    def _drawn(self, minutes: np.ndarray | float) -> np.ndarray | float:
        return minutes[self.samples] if np.ndim(minutes) else minutes

    def due(self) -> np.ndarray:
        """When the step is due (samples,); where no time keeps the greatest gaps, when it is without them."""
        due = self._plan(with_gaps=True)
        lost = ~np.isfinite(due)
        return np.where(lost, self._plan(with_gaps=False), due) if lost.any() else due

    def news(self) -> np.ndarray:
        """The next minute (samples,) at which something is over or has arrived that the step depends on."""
        news = np.full_like(self.now, np.inf)

        def hear(minutes: np.ndarray | float) -> None:
            np.minimum(news, np.where(minutes > self.now, minutes, np.inf), out=news)

        for row in self.late:
            hear(self._drawn(self.played.finishes[row]))
        for row in self.rows:
            for number, bound in enumerate(self.network.bounds_into[row]):
                if bound.travel_min:
                    hear(self._drawn(self.played.since(row, number)) + self._drawn(
                        self.played.adds[row][number]))
            for each, arrival in zip(self.network.releases_of[row], self.played.arrivals[row], strict=True):
                if each.travel_min:
                    hear(self._drawn(arrival))
        return news

    def _plan(self, with_gaps: bool) -> np.ndarray:
        start, finish = dict(self.start), dict(self.finish)
        for row in self.rows:
            first = self._first(row)
            start[row] = np.where(self.begun[row], start[row], first)
            finish[row] = np.where(self.begun[row], finish[row], first + self.expected[row])
        moved = np.ones(len(self.now), dtype=bool)
        for _ in range(_MOST_SWEEPS):
            for row in self.rows:
                self._raise(row, start, finish, with_gaps)
            moved = self._raise_groups(start, finish) | self._is_behind(start, finish, with_gaps)
            if not moved.any():
                break
        return np.where(moved, np.inf, start[self.look.step])

    def _first(self, row: int) -> np.ndarray:
        """Now, or the release of a step: as planned, as long as it has not come."""
        first = np.maximum(self.now, self.played.floor[row])
        for each, arrival in zip(self.network.releases_of[row], self.played.arrivals[row], strict=True):
            planned = float(on_grid(each.at_min))
            first = np.where(self._drawn(arrival) <= self.now, first, np.maximum(first, planned))
        return first

    def _raise(self, row: int, start: dict[int, np.ndarray], finish: dict[int, np.ndarray],
               with_gaps: bool) -> None:
        """Raise a step by its bounds and into its windows, if it has not begun."""
        raised, expected, windows = start[row].copy(), self.expected[row], self.network.allowed[row]
        for bound, least in zip(self.network.bounds_into[row], self.least[row], strict=True):
            if with_gaps or bound.kind != MAX_GAP:
                since = (finish if bound.from_finish else start)[bound.before]
                np.maximum(raised, since + least, out=raised)
        if windows is not None:
            raised = place_in_windows(raised, expected, windows)
        self._set(row, raised, start, finish)

    def _set(self, row: int, raised: np.ndarray, start: dict[int, np.ndarray],
             finish: dict[int, np.ndarray]) -> None:
        begun = self.begun[row]
        start[row] = np.where(begun, start[row], raised)
        finish[row] = np.where(begun, finish[row], raised + self.expected[row])

    def _raise_groups(self, start: dict[int, np.ndarray], finish: dict[int, np.ndarray]) -> np.ndarray:
        """Raise what is left of each group to a window that holds all of it; a mask of what moved."""
        moved = np.zeros(len(self.now), dtype=bool)
        for group, windows in zip(self.network.groups, self.network.group_windows, strict=True):
            rest = [member for member in group.members if member in self.least]
            if not rest:
                continue
            last = np.max([np.where(self.begun[row], -np.inf, finish[row]) for row in rest], axis=0)
            floor = group_floor(last, windows)
            for row in rest:
                moved |= ~self.begun[row] & (floor > start[row])
                self._set(row, np.maximum(start[row], floor), start, finish)
        return moved

    def _is_behind(self, start: dict[int, np.ndarray], finish: dict[int, np.ndarray],
                   with_gaps: bool) -> np.ndarray:
        """A mask of the samples in which a bound from a later row would still raise a step."""
        behind, place = np.zeros(len(self.now), dtype=bool), self.played.foresight.place
        for row in self.rows:
            for bound, least in zip(self.network.bounds_into[row], self.least[row], strict=True):
                if place[bound.before] >= place[row] and (with_gaps or bound.kind != MAX_GAP):
                    since = (finish if bound.from_finish else start)[bound.before]
                    behind |= ~self.begun[row] & (since + least > start[row])
        return behind
