"""An outing that is sampled: its draws, and what is left of it when tasks are given up.

With E one draw from a step's own estimate, a duration is ``E G C1`` for EV1, ``E G (C1 + C2) / 2`` for both,
and E for anyone not in a suit (what slows a suit does not slow a desk). All travel of EV1, extra minutes
apart, is scaled by ``G C1 T1``. G is drawn once an outing, C and T once an outing and crew member, each as
``exp(s z - s^2 / 2)`` with z standard normal and s the scenario's ``common_sd`` (G), ``crew_sd`` (C) or
``travel_sd`` (T); not given means 0, no such factor. The mean of each factor is exactly 1 and all draws are
independent, so the mean of a duration is that of its estimate; a step with low = high varies by the factors
alone. Neglected: that pace changes during an outing (fatigue, learning).

Every step and every factor has its own stream of random numbers, keyed by the seed, the chunk and the *name*
(a step id): adding, dropping or moving steps changes no other step's numbers. Samples come in fixed chunks
of `CHUNK`, so that the result does not depend on who computes which chunk. Streams: numpy's SeedSequence
(spawn keys) and PCG64; repeatable for one version of numpy (its policy on streams is NEP 19).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from hashlib import blake2b

import numpy as np

from planning_kit.changes.dropping import GivenUp, without_steps
from planning_kit.explore.long_question import at_once
from planning_kit.explore.odds.distributions import durations_from
from planning_kit.explore.odds.foresight import Foresight
from planning_kit.explore.odds.hanging import ItemMoves
from planning_kit.explore.odds.played import Given, playing
from planning_kit.explore.odds.sampled_past import Begun, begun_of, with_estimates
from planning_kit.inputs.records import Records, Step, Task
from planning_kit.inputs.setting_records import OddsSettings
from planning_kit.plan.activities import Timings
from planning_kit.plan.build import build_network
from planning_kit.plan.hard_limit import LimitRule
from planning_kit.plan.network import HATCH, ORDER, Network, grouped, on_grid, pinned
from planning_kit.plan.plan_times import Almanac, planned_windows
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import outing_end
from planning_kit.plan.travel import Travel


@dataclass(frozen=True, eq=False)
class Outing:
    """A scenario and its PET 0, ready to be timed over and over. Equal keys are equal outings.

    Small and without open resources, so that it can be sent to another process. ``unknown``: the tasks whose
    odds are not known, with why; a named period that is not known holds no step in ``records``.
    """

    key: tuple[str, ...]
    records: Records
    almanac: Almanac
    travels: Mapping[str, Travel]
    limit: LimitRule
    hard_min: float
    window_ends: Mapping[str, float]
    late_starts: Mapping[str, float]
    items: ItemMoves
    unknown: Mapping[str, str]
    begun: Begun | None = None

    @classmethod
    def of(cls, plan: TimedPlan, learns_pace: bool = False) -> Outing:
        """The outing of a timed plan; of a re-timed one what is left of it."""
        begun = begun_of(plan, learns_pace)
        key = (plan.scenario.digest, plan.pet_zero.isoformat(), begun.key if begun else "")
        records, items = with_estimates(plan), ItemMoves.of(plan)
        let_go = grouped((each.subject, each.name) for each in planned_windows(plan) if not each.is_known)
        steps = tuple(replace(step, windows=tuple(name for name in step.windows
                                                  if name not in let_go.get(step.step, ())))
                      for step in records.steps)
        return cls(key, replace(records, steps=steps), plan.almanac, plan.travels, plan.limit_rule,
                   plan.hard_min, _window_ends(plan.network, plan.starts),
                   {plan.steps[row].step: float(plan.starts[row]) for row in plan.network.late}, items,
                   _unknown_tasks(steps, items, {step: names for step, names in let_go.items()
                                                 if begun is None or step not in begun.starts}), begun)

    def __eq__(self, other: object) -> bool:
        return self.key == other.key if isinstance(other, Outing) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.key)

    @property
    def crew(self) -> tuple[str, ...]:
        """The suited crew members, in the order of the table."""
        return tuple(self.travels)

    @cached_property
    def steps_of(self) -> Mapping[str, np.ndarray]:
        """Positions of the steps of each task that has any."""
        of_task = np.array([step.task for step in self.records.steps], dtype=object)
        found = {task.task: np.flatnonzero(of_task == task.task) for task in self.records.tasks}
        return {task: positions for task, positions in found.items() if len(positions)}

    @cached_property
    def row_of(self) -> Mapping[str, int]:
        """The position of each step."""
        return {step.step: row for row, step in enumerate(self.records.steps)}

    @property
    def tasks_to_come(self) -> list[Task]:
        """The tasks that have steps, none of which is history."""
        begun = self.begun.starts if self.begun else {}
        started = {step.task for step in self.records.steps if step.step in begun}
        return [task for task in self.records.tasks if task.task in self.steps_of.keys() - started]


def _unknown_tasks(steps: Sequence[Step], items: ItemMoves,
                   let_go: Mapping[str, Sequence[str]]) -> dict[str, str]:
    """Why the odds of tasks are not known: a step needs a named period that is not, or they hang on one."""
    whose = {step.step: step.task for step in steps}
    new = {whose[step]: f"{step} needs {' and '.join(names)}, which is not known for this day"
           for step, names in let_go.items()}
    found: dict[str, str] = {}
    while new:
        found |= new
        missed = items.missed_by([GivenUp(frozenset(step.step for step in steps if step.task in found))])
        new = {whose[step]: f"{step} needs an item that a task that is not known brings"
               for step in reversed(missed) if whose[step] not in found}
    return found


def _window_ends(network: Network, starts: np.ndarray) -> dict[str, float]:
    """Where the window ends that a plan uses, for each step that must lie in one."""
    used = pinned(network, starts)
    ends = {network.steps[row]: float(windows[0, 1]) for row, windows in enumerate(used.allowed)
            if windows is not None and len(windows)}
    for group, windows in zip(used.groups, used.group_windows, strict=True):
        if len(windows):
            ends |= {network.steps[row]: min(float(windows[0, 1]), ends.get(network.steps[row], np.inf))
                     for row in group.members}
    return ends


@dataclass(frozen=True, eq=False)
class Part:
    """What is left of an outing when tasks are given up: its network and its steps, of positions ``kept``.

    ``ways``: how they are given up.
    """

    outing: Outing
    network: Network
    steps: tuple[Step, ...]
    kept: np.ndarray
    ways: frozenset[GivenUp]

    @cached_property
    def foresight(self) -> Foresight:
        """What may be expected of its steps: the likely minutes, or what ``[odds] go_if`` asks of windows."""
        is_high = self.outing.records.settings.odds.go_if == "high"
        expected = []
        for row, step in enumerate(self.steps):
            minutes = step.minutes_high if is_high and self.is_in_windows[row] else step.minutes_likely
            underway = self.outing.begun.underway.get(step.step) if self.outing.begun else None
            expected.append(underway.expected_min(minutes) if underway else minutes)
        return Foresight(self.network, on_grid(np.array(expected, dtype=float)))

    @cached_property
    def window_ends(self) -> np.ndarray:
        """PET at which the window ends (steps,) that the plan uses; inf where there is none."""
        return np.array([self.outing.window_ends.get(step.step, np.inf) if own else np.inf
                         for step, own in zip(self.steps, self.is_in_windows, strict=True)])

    @cached_property
    def is_in_windows(self) -> tuple[bool, ...]:
        """Which steps must lie in a window of their own or in that of a group."""
        return tuple(bool(groups) or windows is not None
                     for groups, windows in zip(self.network.groups_of, self.network.allowed, strict=True))

    @cached_property
    def not_before(self) -> np.ndarray:
        """PET (steps,) before which a step is not begun: that of a late one is its planned start."""
        return np.array([self.outing.late_starts.get(step.step, -np.inf) if step.when == "late" else -np.inf
                         for step in self.steps])

    @cached_property
    def rows_of(self) -> Mapping[str, list[int]]:
        """The steps of each task that is not given up."""
        given_up = {step.task for step in self.outing.records.steps for way in self.ways
                    if step.step in way.gone or step.step == way.put_back}
        given_up |= self.outing.begun.put_back if self.outing.begun else set()
        return grouped((step.task, row) for row, step in enumerate(self.steps) if step.task not in given_up)

    def drawn(self, draws: Draws, samples: np.ndarray) -> Draws:
        """The draws of its steps in some samples (positions); putting back takes what it takes."""
        own, back = draws.part(self.kept, samples), {way.put_back: way.minutes for way in self.ways}
        for row, step in enumerate(self.steps):
            if step.step in back:
                own.durations[row] = back[step.step]
        return own

    def timed(self, draws: Draws, not_before: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
        """Starts (kept steps, samples) and outing end (samples,) in PET minutes, with nothing given up."""
        held = self.not_before if not_before is None else np.maximum(not_before, self.not_before)
        starts = at_once(playing(self.foresight, Given(draws.durations, draws.travel, held))).starts
        return starts, self.end_min(draws, starts)

    def end_min(self, draws: Draws, starts: np.ndarray, given_up_min: np.ndarray | None = None) -> np.ndarray:
        """The outing end (samples,), PET minutes; ``given_up_min``: when something was given up last."""
        end = outing_end(self.network, starts, draws.durations, draws.travel)
        gone = frozenset[str]().union(*(way.gone for way in self.ways))
        crew = {who for step in self.outing.records.steps if step.step in gone for who in step.people}
        for home in self.network.homes:
            if given_up_min is not None and home.crew in crew:
                # Who has nothing else to do goes home from there as soon as it is given up, not before.
                way = home.travel_min * draws.travel[home.crew]
                end = np.maximum(end, on_grid(given_up_min + way + self.network.ends_min))
        # Whatever is drawn, they are still outside now.
        return end if self.outing.begun is None else np.maximum(end, on_grid(self.outing.begun.now_min))

    def hard_min(self, draws: Draws, starts: np.ndarray, end: np.ndarray) -> np.ndarray:
        """The hard limit of each sample (samples,), PET minutes."""
        outing = self.outing
        return outing.limit.minutes(Timings(
            steps=self.steps, travels=outing.travels, settings=outing.records.settings,
            network=self.network, starts=starts, durations=draws.durations, end_min=end,
            travel_factor=draws.travel, begun=self.outing.begun.starts if self.outing.begun else {}))

    def waits(self, draws: Draws, end: np.ndarray) -> np.ndarray:
        """Minutes (crew, samples) neither at work nor on the way until both ingress."""
        # Waiting is what is left of the outing, so that no sample needs its lanes laid out.
        network, rows = self.network, []
        for home in network.homes:
            into = [bound for bound in network.bounds if bound.kind == ORDER and bound.crew == home.crew]
            first = [release for release in network.releases
                     if release.crew == home.crew and release.kind != HATCH]
            fixed = sum(bound.fixed_min for bound in into) + sum(r.at_min - r.travel_min for r in first)
            travel = sum(bound.travel_min for bound in into) + sum(r.travel_min for r in first)
            busy = [r.step for r in first] + [bound.after for bound in into]
            way = fixed + (travel + home.travel_min) * draws.travel[home.crew]
            rows.append(end - network.ends_min - draws.durations[busy].sum(axis=0) - way - self._past_min(
                home.crew, [*(bound.before for bound in into), home.last], draws))
        return np.array(rows)

    def _past_min(self, crew: str, before: Sequence[int], draws: Draws) -> np.ndarray | float:
        """Minutes from PET 0 to the finish of what someone has begun last, but for the waits in them."""
        # The bounds into what has begun are gone (`with_past`), so that all of it counts in one piece.
        last = next((row for row in before if row in self.network.fixed), None)
        if self.outing.begun is None or last is None:
            return 0.0
        start = self.outing.begun.starts[self.network.steps[last]]
        return np.asarray(start + draws.durations[last] - self.outing.begun.waited_min[crew])


def left_out(outing: Outing, tasks: Collection[str]) -> frozenset[GivenUp]:
    """These tasks dropped whole."""
    steps = outing.records.steps
    return frozenset(GivenUp(frozenset(step.step for step in steps if step.task == task)) for task in tasks)


@lru_cache(maxsize=1024)
def given_up_with(part: Part, step: str, begun: frozenset[str]) -> tuple[dict[str, GivenUp], list[str]]:
    """How the task of a step is given up in a part of which these steps have begun (`ItemMoves.given_up`)."""
    items, task = part.outing.items, next(each.task for each in part.steps if each.step == step)
    left = {part.steps[row].step for rows in part.rows_of.values() for row in rows} - begun
    return items.given_up(items.records, task, left, begun, step, part.ways)


@lru_cache(maxsize=512)
def part_without(outing: Outing, ways: frozenset[GivenUp]) -> Part:
    """What is left of an outing in which this is given up; kept, because it is so in many samples."""
    gone = frozenset[str]().union(*(way.gone for way in ways))
    back = {way.put_back: way.minutes for way in ways if way.minutes}
    steps = tuple(step.as_put_back(back[step.step]) if step.step in back else step
                  for step in outing.records.steps)
    gaps = tuple(gap for gap in outing.records.gaps if not back.keys() & {gap.first_step, gap.then_step})
    left = without_steps(replace(outing.records, steps=steps, gaps=gaps), gone)
    network = build_network(left, outing.almanac, outing.travels)
    if outing.begun is not None:
        network = outing.begun.applied_to(network, left.steps, outing.travels, left.settings.airlock_place)
    kept = [position for position, step in enumerate(outing.records.steps) if step.step not in gone]
    return Part(outing, network, left.steps, np.array(kept, dtype=int), ways)


CHUNK, TOGETHER = 5_000, 4
"""Samples of one stream each, and how many such chunks are played at once, which costs a fifth less."""
_OUTING = "outing"
STEP, PACE, TRAVEL = "step", "pace", "travel"


@dataclass(frozen=True, eq=False)
class Draws:
    """Sampled durations (steps, samples) in minutes, and the travel factor (samples,) of each crew member."""

    durations: np.ndarray
    travel: Mapping[str, np.ndarray]

    def part(self, steps: np.ndarray, samples: np.ndarray) -> Draws:
        """The draws of some steps (positions) and some samples (positions)."""
        return Draws(self.durations[np.ix_(steps, samples)],
                     {crew: factor[samples] for crew, factor in self.travel.items()})


def normals(seed: int, chunk: int, name: str, count: int) -> np.ndarray:
    """The first ``count`` standard normal numbers of the stream of ``name`` in ``chunk`` and those behind."""
    # Not hash(), which differs from process to process; one byte order, so that all machines draw alike.
    words = np.frombuffer(blake2b(name.encode("utf-8"), digest_size=16).digest(), dtype="<u4")
    key = tuple(map(int, words))
    streams = [(np.random.SeedSequence(seed, spawn_key=(number, *key)), size)
               for number, size in enumerate(chunk_sizes(count), chunk)]
    return np.concatenate([np.random.Generator(np.random.PCG64(sequence)).standard_normal(size)
                           for sequence, size in streams])


def factor_streams(crew: Sequence[str], odds: OddsSettings) -> dict[str, float]:
    """The names of the streams of the common factors, each with its log-scale standard deviation."""
    pace = {stream(PACE, who): odds.crew_sd or 0.0 for who in crew}
    travel = {stream(TRAVEL, who): odds.travel_sd or 0.0 for who in crew}
    return {_OUTING: odds.common_sd or 0.0, **pace, **travel}


def stream(kind: str, whose: str) -> str:
    """The name of a stream: of a step's estimate, or of the pace or the travel of one crew member."""
    return f"{kind}:{whose}"


def factor(z: np.ndarray, sd: float) -> np.ndarray:
    """A factor of mean 1: lognormal with log-scale standard deviation ``sd``, from standard normal ``z``."""
    return np.exp(sd * z - sd * sd / 2.0)


def draw(steps: Sequence[Step], crew: Sequence[str], odds: OddsSettings, seed: int, chunk: int,
         count: int, begun: Begun | None = None) -> Draws:
    """The first ``count`` samples of a chunk and those behind; ``begun``: what of the outing has happened."""
    drawn = {name: factor(normals(seed, chunk, name, count), sd) if sd else np.ones(count)
             for name, sd in factor_streams(crew, odds).items()}
    pace = {who: drawn[_OUTING] * drawn[stream(PACE, who)] for who in crew}
    if begun is not None and begun.pace is not None:
        # The same streams as without a learned pace, so that the two differ by what was learned alone.
        names = [_OUTING, *(stream(PACE, who) for who in crew)]
        pace = begun.pace.of_crew(np.array([normals(seed, chunk, name, count) for name in names]))
    durations = np.empty((len(steps), count))
    distribution = odds.distribution or "pert"
    for row, step in zip(durations, steps, strict=True):
        if begun is not None and begun.has_finished(step.step):
            row[:] = step.minutes_likely
            continue
        z = normals(seed, chunk, stream(STEP, step.step), count)
        # The pace of who works on it, 1 for anyone not in a suit.
        paces = [pace[name] for name in step.people if name in pace]
        scale = sum(paces[1:], paces[0]) / len(paces) if paces else np.ones(count)
        if begun is not None and step.step in begun.underway:
            row[:] = begun.underway[step.step].draw(z, step, distribution, scale)
        else:
            row[:] = scale * durations_from(z, step.minutes_low, step.minutes_likely, step.minutes_high,
                                            distribution)
    return Draws(durations, {who: pace[who] * drawn[stream(TRAVEL, who)] for who in crew})


def chunk_sizes(samples: int, size: int = CHUNK) -> list[int]:
    """How many samples each chunk holds: all ``size``, but for the last."""
    return [min(size, samples - first) for first in range(0, samples, size)]
