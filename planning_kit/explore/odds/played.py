"""Samples of an outing played minute by minute: nobody knows how long anything will take before it is over.

Whoever is free plans what is left as the timing plans it: what is over took what it took, all else is
expected to take its likely minutes (what runs longer than that is expected to end now), nothing begins before
now, and what has begun breaks no rule of the rest any more. What is due now in this *plan of the rest* is
begun. So a window is entered when the likely minutes of all that must lie in it fit, a step begun is played
on to its drawn finish wherever that lies, and the first step of a greatest gap is held back by likely minutes
alone: it is let go where no time keeps the gap. A late step is begun at its planned PET or when it is free,
the later. Where the drawn minutes are the likely ones, the play is the plan.

A step that has to ask (`planning_kit.explore.odds.foresight`) looks when it could begin, then whenever
something that it depends on is over or has arrived (``news``), and at the minute at which it is due if there
is no news before. Between two news a step is never due sooner than it was, so that no look is missed.

Steps are decided in the order of the plan on likely minutes, many samples at once. A look must know all that
has begun before; where in a sample something has which that order decides later, the sample is decided anew
with what is known by then. A start depends on earlier ones alone, so this ends, and in one way only.

Neglected: the pace of the day so far tells nobody of the rest, and travel under way is not seen to be slow.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from planning_kit.explore.long_question import InPieces
from planning_kit.explore.odds.foresight import Foresight, Look
from planning_kit.plan.network import MAX_GAP, Bound, on_grid
from planning_kit.plan.timing import TravelFactor, group_floor, place_in_windows

_Asked = list[tuple[Bound, np.ndarray | float]]
_BLOCK = 5_000
_MOST_SWEEPS = 60
_MANY_LOOKS, _PAUSE_MIN = 50, 0.5


@dataclass(frozen=True, eq=False)
class Play:
    """Samples as they are played (steps, samples), PET minutes.

    ``starts``; ``missed_at``: when it is seen that the step will not be in the window of the plan any more
    (inf: never), and ``is_lost``: that there is no window left for it. It is then begun outside any.
    """

    starts: np.ndarray
    missed_at: np.ndarray
    is_lost: np.ndarray


@dataclass(frozen=True, eq=False)
class Given:
    """What a play is given. ``durations`` (steps, samples) and ``travel_factor``: as they are drawn.

    ``not_before`` (steps,) holds steps back, and everybody knows it. ``now_min`` (samples,): what of
    ``played`` (steps, samples) has begun before is history, and nothing else begins before. ``window_ends``
    (steps,): where the windows end that the plan uses.
    """

    durations: np.ndarray
    travel_factor: TravelFactor = field(default_factory=dict)
    not_before: np.ndarray | None = None
    now_min: np.ndarray | None = None
    played: np.ndarray | None = None
    window_ends: np.ndarray | None = None

    def of(self, samples: slice | np.ndarray) -> Given:
        """The same for some samples."""
        return replace(self, durations=self.durations[:, samples],
                       travel_factor={crew: each[samples] for crew, each in self.travel_factor.items()},
                       now_min=None if self.now_min is None else self.now_min[samples],
                       played=None if self.played is None else self.played[:, samples])


def playing(foresight: Foresight, given: Given) -> InPieces[Play]:
    """Every sample as it is played."""
    count = given.durations.shape[1]
    blocks = [_Played(foresight, given.of(slice(low, low + _BLOCK))) for low in range(0, count, _BLOCK)]
    for block in blocks:
        yield from block.decide()
    return Play(*(np.concatenate([getattr(block, name) for block in blocks], axis=1)
                  for name in ("starts", "missed_at", "is_lost")))


def expected_end(foresight: Foresight, given: Given, starts: np.ndarray, samples: np.ndarray,
                 now_min: np.ndarray) -> np.ndarray:
    """PET minutes at which the outing is expected to end in ``samples`` (positions), each as seen at its now.

    ``starts`` (steps, samples) are those of all samples, as they are played.
    """
    played = _Played(foresight, given)
    played.starts, played.finishes = starts, starts + played.durations
    played.latest = played.finishes.max(axis=1)
    return _Rest(played, Look(-1, foresight.order, ()), samples, now_min).end()


class _Played:
    """A block of samples in play. ``starts`` and ``finishes``: inf for what is not decided yet."""

    def __init__(self, foresight: Foresight, given: Given) -> None:
        self.foresight, self.network, self.expected = foresight, foresight.network, foresight.expected
        self.given, self.durations, self.factor = given, on_grid(given.durations), given.travel_factor
        durations = self.durations
        nothing = np.full(len(durations), -np.inf)
        self.floor = nothing if given.not_before is None else on_grid(given.not_before)
        self.window_ends = -nothing if given.window_ends is None else given.window_ends
        self.starts, self.finishes, self.missed_at = np.full((3, *durations.shape), np.inf)
        self.is_lost = np.zeros(durations.shape, dtype=bool)
        self.latest = np.full(len(durations), np.inf)
        self._adds: dict[tuple[int, int], np.ndarray | float] = {}
        self._arrivals: dict[int, list[np.ndarray]] = {}

    def adds(self, step: int, number: int) -> np.ndarray | float:
        """What a bound on a step (of ``network.bounds_into``) adds as drawn: a number, or (samples,)."""
        if (step, number) not in self._adds:
            bound = self.network.bounds_into[step][number]
            way = on_grid(bound.fixed_min + bound.travel_min * self._factor(bound.crew, bound.travel_min))
            self._adds[step, number] = way - (self.expected[bound.after] if bound.to_finish else 0.0)
        return self._adds[step, number]

    def arrivals(self, step: int) -> list[np.ndarray]:
        """When the releases of a step (``network.releases_of``) come as drawn: numbers, or (samples,)."""
        if step not in self._arrivals:
            self._arrivals[step] = [
                on_grid(each.at_min + (self._factor(each.crew, each.travel_min) - 1.0) * each.travel_min)
                for each in self.network.releases_of[step]]
        return self._arrivals[step]

    def _factor(self, crew: str, travel_min: float) -> np.ndarray | float:
        # Most bounds have no travel: a number instead of an array of equal ones.
        return self.factor.get(crew, 1.0) if travel_min else 1.0

    def decide(self) -> InPieces[None]:
        """Decide all, and again the samples in which something had begun that a look did not know of."""
        before, samples, part = np.full_like(self.starts, np.inf), np.arange(self.starts.shape[1]), self
        while True:
            yield from part._decide_all()
            if part is not self:
                for name in ("starts", "finishes", "missed_at", "is_lost"):
                    getattr(self, name)[:, samples] = getattr(part, name)
            since = part._missed_since(before)
            missed = np.isfinite(since)
            if not missed.any():
                return
            samples, since = samples[missed], since[missed]
            part = self._anew(samples, since)
            before = part.starts.copy()

    def _anew(self, samples: np.ndarray, since: np.ndarray) -> _Played:
        """Some samples with all that has begun before ``since`` as history."""
        starts = self.starts[:, samples]
        now = since if self.given.now_min is None else np.maximum(since, self.given.now_min[samples])
        part = _Played(self.foresight, replace(self.given.of(samples), played=starts, now_min=now))
        part.starts, part.finishes = starts.copy(), self.finishes[:, samples]
        is_history = starts < now
        part.missed_at = np.where(is_history, self.missed_at[:, samples], np.inf)
        part.is_lost = is_history & self.is_lost[:, samples]
        return part

    def _missed_since(self, before: np.ndarray) -> np.ndarray:
        """Since when (samples,; inf: never) a look took something for not begun, or for begun elsewhen."""
        since = np.full(before.shape[1], np.inf)
        for step, look in self.foresight.looks.items():
            for row in look.later:
                was, now = before[row], self.starts[row]
                first = np.minimum(was, now)
                is_missed = (was != now) & (first < self.starts[step])
                np.minimum(since, np.where(is_missed, first, np.inf), out=since)
        return since

    def _decide_all(self) -> InPieces[None]:
        to_come: np.ndarray = np.ones(self.starts.shape, dtype=bool)
        if self.given.played is not None:
            to_come = np.logical_not(self.given.played < self.given.now_min)
            np.copyto(self.starts, self.given.played, where=~to_come)
            np.add(self.starts, self.durations, out=self.finishes)
        has_some, is_whole = np.atleast_1d(to_come.any(axis=1)), np.atleast_1d(to_come.all(axis=1))
        self.latest = np.where(has_some, np.inf, self.finishes.max(axis=1))
        for step in self.foresight.order:
            if not has_some[step]:
                continue
            ready = self._ready(step)
            if is_whole[step]:
                start = self._start(step, ready)
            else:  # nothing is decided anew of what is history
                ready = np.where(to_come[step], ready, np.inf)
                start = np.where(to_come[step], self._start(step, ready), self.starts[step])
            self.starts[step] = start
            np.add(start, self.durations[step], out=self.finishes[step])
            self.latest[step] = self.finishes[step].max()
            yield

    def _ready(self, step: int) -> np.ndarray:
        """When a step could begin if no window and no bound that looks ahead held it."""
        ready = np.full(self.starts.shape[1], self.floor[step])
        if self.given.now_min is not None:
            np.maximum(ready, self.given.now_min, out=ready)
        for arrival in self.arrivals(step):
            np.maximum(ready, arrival, out=ready)
        for number, is_ahead in enumerate(self.foresight.ahead[step]):
            if not is_ahead:
                np.maximum(ready, self.since(step, number) + self.adds(step, number), out=ready)
        return ready

    def _start(self, step: int, ready: np.ndarray) -> np.ndarray:
        windows, look = self.network.allowed[step], self.foresight.looks.get(step)
        if look is not None:
            return self._when_due(look, ready)
        if windows is None:
            return ready
        return self._judged(step, ready, place_in_windows(ready, self.expected[step], windows))

    def _judged(self, step: int, at: np.ndarray, due: np.ndarray,
                samples: np.ndarray | slice = slice(None)) -> np.ndarray:
        """When a step is begun that is ``due`` as seen ``at``: at once where there is no window left."""
        is_lost = ~np.isfinite(due) & np.isfinite(at)
        is_missed = (due > self.window_ends[step]) | is_lost
        self.is_lost[step, samples] |= is_lost
        self.missed_at[step, samples] = np.minimum(self.missed_at[step, samples],
                                                   np.where(is_missed, at, np.inf))
        return np.where(is_lost, at, due)

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
            rest = _Rest(self, look, slice(None) if len(looking) == len(ready) else looking, at)
            due, count = self._judged(look.step, at, rest.due(), looking), count + 1
            start[looking[due <= at]] = at[due <= at]
            # Where what is late slips by seconds, again and again, a look every half minute will do.
            soon = due if count < _MANY_LOOKS else np.maximum(due, at + _PAUSE_MIN)
            now[looking] = np.where(due <= at, np.inf, np.minimum(soon, rest.news()))
            looking = looking[np.isfinite(now[looking])]
        return start


class _Rest:
    """The plan of the rest on expected minutes, for one look of some samples, each at its ``now``."""

    def __init__(self, played: _Played, look: Look, samples: np.ndarray | slice, now: np.ndarray) -> None:
        self.played, self.look, self.now = played, look, now
        self.network, self.expected = played.network, played.expected
        self.samples = samples
        self.start: dict[int, np.ndarray] = {}
        self.finish: dict[int, np.ndarray] = {}
        self.begun: dict[int, np.ndarray] = {}
        first = float(now.min())
        self.late = [row for row in look.rows if played.latest[row] > first]
        for row in self.late:
            self._know(row)
        self.rows = [row for row in self.late if not self.begun[row].all()]
        self.mixed = {row for row in self.rows if self.begun[row].any()}
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
                arrived = self._arrival(row, number) <= self.now
                found.append(np.where(arrived, -np.inf, least) if arrived.any() else least)
            else:
                found.append(least)
        return found

    def _arrival(self, row: int, number: int) -> np.ndarray | float:
        """When the way of a bound on a step is over, as drawn."""
        return self._drawn(self.played.since(row, number)) + self._drawn(self.played.adds(row, number))

    def _drawn(self, minutes: np.ndarray | float) -> np.ndarray | float:
        return minutes[self.samples] if isinstance(minutes, np.ndarray) and minutes.ndim else minutes

    def due(self) -> np.ndarray:
        """When the step is due (samples,); where no time keeps the greatest gaps, when it is without them."""
        due = self._settled(with_gaps=True)[0][self.look.step]
        lost = ~np.isfinite(due)
        return np.where(lost, self._settled(with_gaps=False)[0][self.look.step], due) if lost.any() else due

    def end(self) -> np.ndarray:
        """When the outing is expected to end (samples,)."""
        finish = self._settled(with_gaps=True)[1]
        for home in self.network.homes:
            if home.last >= 0 and home.last not in finish:  # over long since
                self._know(home.last)
        known = self.finish | finish
        homes = [(known[home.last] if home.last >= 0 else np.zeros_like(self.now)) + home.travel_min
                 for home in self.network.homes]
        return np.asarray(np.max(homes, axis=0) + self.network.ends_min)

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
                    hear(self._arrival(row, number))
            for each, arrival in zip(self.network.releases_of[row], self.played.arrivals(row), strict=True):
                if each.travel_min:
                    hear(self._drawn(arrival))
        return news

    def _settled(self, with_gaps: bool) -> tuple[dict[int, np.ndarray], dict[int, np.ndarray]]:
        """Starts and finishes of the plan of the rest; inf in samples that come to no rest."""
        start, finish = dict(self.start), dict(self.finish)
        asked = {row: [(bound, least) for bound, least in zip(
            self.network.bounds_into[row], self.least[row], strict=True)
            if with_gaps or bound.kind != MAX_GAP] for row in self.rows}
        for row in self.rows:
            self._set(row, self._first(row), start, finish)
        moved = np.ones(len(self.now), dtype=bool)
        for _ in range(_MOST_SWEEPS):
            for row in self.rows:
                self._raise(row, asked[row], start, finish)
            moved = self._raise_groups(start, finish) | self._is_behind(asked, start, finish)
            if not moved.any():
                return start, finish
        for row in self.rows:
            self._set(row, np.where(moved, np.inf, start[row]), start, finish)
        return start, finish

    def _first(self, row: int) -> np.ndarray:
        """Now, or the release of a step: as planned, as long as it has not come."""
        first: np.ndarray = np.maximum(self.now, self.played.floor[row])
        for each, arrival in zip(self.network.releases_of[row], self.played.arrivals(row), strict=True):
            planned = float(on_grid(each.at_min))
            np.maximum(first, np.where(self._drawn(arrival) <= self.now, -np.inf, planned), out=first)
        return first

    def _raise(self, row: int, asked: _Asked, start: dict[int, np.ndarray],
               finish: dict[int, np.ndarray]) -> None:
        """Raise a step by its bounds and into its windows, if it has not begun."""
        raised, expected, windows = start[row].copy(), self.expected[row], self.network.allowed[row]
        for bound, least in asked:
            np.maximum(raised, (finish if bound.from_finish else start)[bound.before] + least, out=raised)
        if windows is not None:
            raised = place_in_windows(raised, expected, windows)
        self._set(row, raised, start, finish)

    def _set(self, row: int, raised: np.ndarray, start: dict[int, np.ndarray],
             finish: dict[int, np.ndarray]) -> None:
        begun = self.begun[row]
        if row in self.mixed:
            start[row] = np.where(begun, start[row], raised)
            finish[row] = np.where(begun, finish[row], raised + self.expected[row])
        else:
            start[row], finish[row] = raised, raised + self.expected[row]

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

    def _is_behind(self, asked: dict[int, _Asked], start: dict[int, np.ndarray],
                   finish: dict[int, np.ndarray]) -> np.ndarray:
        """A mask of the samples in which a bound from a later row would still raise a step."""
        behind, place = np.zeros(len(self.now), dtype=bool), self.played.foresight.place
        for row in self.rows:
            for bound, least in asked[row]:
                if place[bound.before] >= place[row]:
                    since = (finish if bound.from_finish else start)[bound.before]
                    behind |= ~self.begun[row] & (since + least > start[row])
        return behind
