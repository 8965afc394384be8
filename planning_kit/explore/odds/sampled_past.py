"""The past of a sampled outing: what has happened does not vary, and it may tell of the pace to come.

The pace to come is that of the common factors, given the log. With E a step's own estimate, its duration is
``D = E G C`` (`planning_kit.explore.odds.sampled_outing`), so ``log D - log E`` is ``g + c1`` for EV1 and, to
first order, ``g + (c1 + c2) / 2`` for both. Before the outing g and the c are normal with the deviations of
the scenario. Each finished step is one observation; the spread of log E is taken as that of a lognormal with
the mean m and the variance v of the estimate: variance ``log(1 + v / m^2)``, mean ``log m`` less half of it.
Then the log factors stay normal: the posterior of the linear Gaussian model (Bishop 2006, "Pattern
Recognition and Machine Learning", eq. 2.116 and 2.117, from memory). Neglected: that estimates are no
lognormals; that calls are logged to a minute; fatigue. Steps that nobody in a suit works on, and those of
certain duration, say nothing.

What is in progress varies in what is left. Assumed, and told by ``Odds.assumed``:

* What has finished took what it took, in every sample.
* A step in progress for e minutes has the duration of its own estimate, given that it is longer than e: with
  F its distribution function, ``P(D <= d | D > e) = (F(d) - F(e)) / (1 - F(e))``, pace included. What was
  worked on it before it was left counts into e. Where its remaining minutes were logged, they take the place
  of the likely ones, the spread in proportion to the step's own, without a pace (who said it knew that
  already), and e runs from when it was said. Beyond the highest estimate nothing is known: it is taken to
  end now.
* What has not begun is drawn as before the outing; the factors of pace are corrected by what was slow so far
  only where that is asked (`planning_kit.explore.odds.sampled_past`).
* Travel begun before now is drawn whole; who would have arrived by now starts now.
* Rules that what has begun breaks are let go, as in the re-timing; a group of which a part has begun may go
  on in a later window.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from planning_kit.explore.odds.distributions import durations_beyond, durations_from, share_beyond
from planning_kit.inputs.log_state import DONE, IN_PROGRESS, State
from planning_kit.inputs.records import BOTH, Records, Step
from planning_kit.inputs.setting_records import OddsSettings
from planning_kit.inputs.times import pet_label
from planning_kit.plan.activities import WAIT
from planning_kit.plan.build import work_order
from planning_kit.plan.network import Network
from planning_kit.plan.past import Whereabouts, estimates_left, from_here, with_past
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.travel import Travel

_GRID = np.linspace(-3.5, 3.5, 141)  # standard normal numbers at which an estimate is read for its moments


@dataclass(frozen=True, eq=False)
class Pace:
    """The logs of the outing's factor and of each crew member's: normal, ``mean`` (k,) and root (k, k)."""

    crew: tuple[str, ...]
    mean: np.ndarray
    root: np.ndarray
    observed: int

    @property
    def key(self) -> str:
        """Equal for equal paces."""
        return repr((self.crew, self.mean.tolist(), self.root.tolist()))

    def of_crew(self, z: np.ndarray) -> dict[str, np.ndarray]:
        """The pace of each crew member (samples,) for standard normal ``z`` (1 + crew, samples)."""
        logs = self.mean[:, None] + self.root @ z
        return {who: np.exp(logs[0] + logs[1 + number]) for number, who in enumerate(self.crew)}

    def words(self) -> Iterator[str]:
        """Each one's pace in words, as a factor with the deviation of its logarithm."""
        covariance = self.root @ self.root.T
        for number, who in enumerate(self.crew, start=1):
            pick = np.zeros(len(self.mean))
            pick[[0, number]] = 1.0
            yield (f"{who} takes {np.exp(pick @ self.mean):.2f} times the estimates, give or take "
                   f"{100 * np.sqrt(pick @ covariance @ pick):.0f} %, as learned from {self.observed} steps")


def learned_pace(states: Iterable[State], crew: Sequence[str], odds: OddsSettings) -> Pace:
    """The pace of the rest, given the finished steps."""
    deviation = np.array([odds.common_sd or 0.0, *[odds.crew_sd or 0.0] * len(crew)])
    rows = [row for state in states if state.status == DONE
            if (row := _observation(state, tuple(crew), odds.distribution or "pert")) is not None]
    mean, covariance = -deviation**2 / 2.0, np.diag(deviation**2)
    for seen, value, variance in rows:  # one observation after the other: no precision of a certain factor
        gain = covariance @ seen / (seen @ covariance @ seen + variance)
        mean = mean + gain * (value - seen @ mean)
        covariance = covariance - np.outer(gain, seen @ covariance)
    # By eigenvalues, as a factor that is certain makes the matrix singular; rounding may make one negative.
    # The symmetric root: with nothing learned each factor is made of the numbers of its own stream alone.
    values, vectors = np.linalg.eigh((covariance + covariance.T) / 2.0)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    return Pace(tuple(crew), mean, root @ vectors.T, len(rows))


def _observation(state: State, crew: tuple[str, ...],
                 distribution: str) -> tuple[np.ndarray, float, float] | None:
    """Which factors a finished step tells of, the log of what it took over its estimate, and its variance."""
    step = state.step
    who = crew if step.crew == BOTH else tuple(name for name in crew if name == step.crew)
    # An even grid under the normal density: drawn numbers would add noise to what is learned.
    weight = np.exp(-_GRID**2 / 2.0)
    minutes = durations_from(_GRID, step.minutes_low, step.minutes_likely, step.minutes_high, distribution)
    mean = float(np.average(minutes, weights=weight))
    variance = float(np.average((minutes - mean) ** 2, weights=weight))
    if not who or not variance > 0 or not mean > 0 or not state.worked_min > 0:
        return None
    spread = float(np.log1p(variance / mean**2))
    seen = np.array([1.0, *((name in who) / len(who) for name in crew)])
    return seen, float(np.log(state.worked_min / mean)) + spread / 2.0, spread


@dataclass(frozen=True)
class Underway:
    """A step in progress. Its spell lasts ``offset_min`` and what its estimate is drawn to, minutes.

    ``elapsed_min`` of the estimate have run; ``has_pace``: it is one from before the outing.
    """

    offset_min: float
    elapsed_min: float
    has_pace: bool

    def expected_min(self, estimate_min: float) -> float:
        """Minutes of the spell where its estimate comes to ``estimate_min``, or to what has run of it."""
        return max(self.offset_min + max(estimate_min, self.elapsed_min), 0.0)

    def draw(self, z: np.ndarray, step: Step, distribution: str, pace: np.ndarray) -> np.ndarray:
        """Minutes of the spell (samples,) for standard normal ``z`` and the pace of each sample."""
        scale = pace if self.has_pace else np.ones_like(z)
        whole = scale * durations_beyond(z, step.minutes_low, step.minutes_likely, step.minutes_high,
                                         distribution, self.elapsed_min / scale)
        # Divided by the pace and multiplied again, a duration may come out a rounding below what has run.
        return np.asarray(np.maximum(self.offset_min + np.maximum(whole, self.elapsed_min), 0.0))


@dataclass(frozen=True, eq=False)
class Begun:
    """What a sampled outing must know of its past. PET minutes; steps by id; the tasks ``put_back``."""

    now_min: float
    starts: Mapping[str, float]
    underway: Mapping[str, Underway]
    here: tuple[Whereabouts, ...]
    waited_min: Mapping[str, float]
    put_back: frozenset[str] = frozenset()
    pace: Pace | None = None

    @property
    def key(self) -> str:
        """Equal for equal pasts of one scenario."""
        return repr((self.now_min, sorted(self.starts.items()), sorted(self.underway.items()), self.here,
                     sorted(self.put_back), self.pace.key if self.pace else ""))

    def has_finished(self, step: str) -> bool:
        """Whether a step is history altogether."""
        return step in self.starts and step not in self.underway

    def applied_to(self, network: Network, steps: Sequence[Step], travels: Mapping[str, Travel],
                   airlock: str) -> Network:
        """The network of ``steps`` with this past; ways home are as long as they are."""
        starts = {i: self.starts[step.step] for i, step in enumerate(steps) if step.step in self.starts}
        nothing = np.zeros(len(steps))
        # How late the last step ends differs by sample: not the way home but `Part.end_min` keeps them out.
        held = with_past(network, starts, nothing, self.now_min)
        # Nor in which window of its group it ends: the rest of one may share any.
        held = replace(held, homes=network.homes,
                       group_windows=tuple(group.demand.windows for group in held.groups))
        return from_here(held, starts, nothing, steps, travels, airlock, self.here) if self.here else held


def begun_of(plan: TimedPlan, learns_pace: bool = False) -> Begun | None:
    """The past of a plan; None where it is not re-timed. ``learns_pace``: the rest goes as the past went."""
    outside = plan.outside
    if outside is None:
        return None
    underway = {name: _underway(state, outside.now_min) for name, state in outside.states.by_step.items()
                if state.status == IN_PROGRESS}
    pace = learned_pace(outside.states.by_step.values(), tuple(plan.travels),
                        plan.scenario.settings.odds) if learns_pace else None
    waited = {}
    for crew in plan.travels:  # before what they have begun last
        begun = [float(plan.starts[i]) for i in work_order(plan.steps, crew) if i in plan.network.fixed]
        last = max(begun, default=0.0)
        waited[crew] = sum(a.minutes for a in plan.lanes[crew] if a.kind == WAIT and a.start_min < last)
    return Begun(outside.now_min, dict(outside.happened.fixed), underway, outside.here, waited,
                 outside.states.tasks_put_back, pace)


def _underway(state: State, now_min: float) -> Underway:
    begin = state.pieces[-1][0]
    if state.remaining_min is None:
        return Underway(-state.worked_min, state.worked_min + now_min - begin, True)
    # What was said before this spell began counts from its start.
    since = max(state.reported_min, begin)
    return Underway(since - begin, now_min - since, False)


def with_estimates(plan: TimedPlan) -> Records:
    """The records of a plan; steps in progress with the estimates that are drawn from."""
    outside, records = plan.outside, plan.scenario.records
    if outside is None:
        return records
    return replace(records, steps=tuple(_estimated(step, outside.states.by_step.get(step.step))
                                        for step in records.steps))


def _estimated(step: Step, state: State | None) -> Step:
    if state is None or state.status != IN_PROGRESS:
        return step
    own = state.step
    low, likely, high = (own.minutes_low, own.minutes_likely, own.minutes_high) if (
        state.remaining_min is None) else estimates_left(own, state.remaining_min)
    return replace(step, minutes_low=low, minutes_likely=likely, minutes_high=high)


def assumptions(begun: Begun, records: Records) -> Iterator[tuple[str, str]]:
    """What odds of the rest of an outing rest on: step ("" for all) and words."""
    done = sum(begun.has_finished(step) for step in begun.starts)
    yield "", f"as of PET {pet_label(begun.now_min)}: {done} spells of work are history and do not vary"
    distribution = records.settings.odds.distribution or "pert"
    steps = {step.step: step for step in records.steps}
    for name, each in begun.underway.items():
        step = steps[name]
        left = float(share_beyond(np.array([each.elapsed_min]), step.minutes_low, step.minutes_likely,
                                  step.minutes_high, distribution)[0])
        what = (f"{name} has run {each.elapsed_min:.1f} min of {step.minutes_low:g} / "
                f"{step.minutes_likely:g} / {step.minutes_high:g}"
                + ("" if each.has_pace else ", counted from when that was logged"))
        yield name, (f"{what}: drawn from what is left of its estimate, {100 * left:.0f} % of it" if left > 0
                     else f"{what}: beyond its highest estimate, and taken to end now, which is hopeful")
    if begun.pace is None:
        yield "", ("what has not begun is drawn as before the outing: what was slow so far does not slow the "
                   "rest (learn_pace=True lets it)")
    else:
        yield from (("", words) for words in begun.pace.words())
    yield "", ("rules that what has begun breaks are let go, and a group that has begun may go on in a later "
               "window, as in the re-timing")
