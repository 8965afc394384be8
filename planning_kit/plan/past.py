"""The timing of an outing under way: what has started is fixed, and nothing else starts before now.

The network and the timing are the same as before the outing. A step that has started gets its logged start
as its only release, and loses the rules that lead into it, so that nothing moves it. No other step may start
before now. Where the log breaks a rule, the rule is left out, and `broken_rules` names it. Releases are lower
bounds: the result is again the earliest plan, and the only one.

A decision finds each crew member where the re-timed plan has brought them: at work, waiting, or on a route,
from which they go on to its end or back to its beginning. Who is sent elsewhere begins there, not where they
last worked. Only a first step that is another than before is held back by it. Neglected: that they may be
elsewhere than the plan has them.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from planning_kit.inputs.records import Step
from planning_kit.inputs.scenario import Scenario
from planning_kit.plan.build import last_places, travel_into, work_order
from planning_kit.plan.giving_way import LOG_SECOND_MIN
from planning_kit.plan.legs import Passage
from planning_kit.plan.network import HATCH, LOGGED, NOW, TURN, Home, Network, Release, on_grid
from planning_kit.plan.plan_times import Times
from planning_kit.plan.travel import Travel


@dataclass(frozen=True, eq=False, kw_only=True)
class Past:
    """What the rest of an outing that has begun must know of what has happened. PET minutes throughout.

    ``ready_min``: by lane and step, when that one could begin it as the next of all; ``home_min``: by crew
    member, when they could be back at the airlock; ``hooks``: the place of each hook; ``not_before``: first
    start by step, by the rules that delay it; ``windows`` (n, 2): by step, those that the begun part of its
    group leaves; ``last_begun``: by lane the step that was begun last, if any. What delays nobody but must be
    kept: ``free_min``, when the items of a step and a place for one are free, and ``not_after``, last starts.
    """

    ready_min: Mapping[str, Mapping[str, float]]
    home_min: Mapping[str, float]
    hooks: Mapping[str, str]
    not_before: Mapping[str, float]
    free_min: Mapping[str, float]
    not_after: Mapping[str, float]
    windows: Mapping[str, np.ndarray]
    last_begun: Mapping[str, str]


@dataclass(frozen=True)
class Whereabouts:
    """One crew member at a decision: ``spots`` are places with the PET minutes at which they can leave them.

    ``bound_for`` is the first step that they have not begun, "" where they go home.
    """

    crew: str
    bound_for: str
    spots: tuple[tuple[str, float], ...]

    def at_home_min(self, travel: Travel, airlock: str) -> float:
        """PET minutes at which they can be at the airlock."""
        return min(at + travel.time_min(place, airlock) for place, at in self.spots)

    def quickest(self, travel: Travel, step: Step) -> tuple[float, str]:
        """PET minutes at which they can begin a step, and the place that they leave for it."""
        return min((at + travel_into(step, travel, place) + step.travel_extra_min, place)
                   for place, at in self.spots)


def whereabouts_at(times: Times, passages: Mapping[str, Sequence[Passage]],
                   now_min: float) -> tuple[Whereabouts, ...]:
    """Where both are at ``now_min`` in a re-timed plan, and where they are bound for."""
    found = []
    for crew, walked in passages.items():
        order = work_order(times.steps, crew)
        rest = [times.steps[position].step for position in order if position not in times.network.fixed]
        done = [position for position in order if position in times.network.fixed]
        free_min = max((float(times.finishes[position]) for position in done), default=0.0)
        here = next((p for p in walked if p.start_min <= now_min < p.finish_min), walked[-1])
        spots: tuple[tuple[str, float], ...] = ((here.place, now_min),)
        if done and free_min >= now_min:
            spots = ((last_places(times.steps, done, walked[0].place)[-1], free_min),)
        elif here.route is not None:
            # Turning round takes as long again as they have been on this leg.
            spots = (here.to_place, here.finish_min), (here.place, 2 * now_min - here.start_min)
        found.append(Whereabouts(crew, rest[0] if rest else "", spots))
    return tuple(found)


def from_here(network: Network, starts: Mapping[int, float], durations: np.ndarray, steps: Sequence[Step],
              travels: Mapping[str, Travel], airlock: str, here: Sequence[Whereabouts]) -> Network:
    """The network (of `planning_kit.plan.past`) with those whose next step is another held to the way there.

    ``starts``: position of what has begun to its PET minutes; ``durations`` (steps,) minutes.
    """
    releases, homes = list(network.releases), {home.crew: home for home in network.homes}
    for each in here:
        travel = travels[each.crew]
        rest = [position for position in work_order(steps, each.crew) if position not in network.fixed]
        if rest and steps[rest[0]].step != each.bound_for:
            ready, place = each.quickest(travel, steps[rest[0]])
            releases.append(Release(rest[0], float(on_grid(ready)), kind=TURN, name=place, crew=each.crew))
        elif not rest and each.bound_for:
            home = homes[each.crew]
            free = starts[home.last] + float(durations[home.last]) if home.last >= 0 else 0.0
            way = float(on_grid(each.at_home_min(travel, airlock) - free))
            # Never sooner than the network has it: an end told too early would be the unsafe side.
            homes[each.crew] = replace(home, travel_min=max(home.travel_min, way))
    return replace(network, releases=tuple(releases), homes=tuple(homes.values()))


SKIPPED, NOT_DONE = "skipped", "not done"
@dataclass(frozen=True)
class LeftOut:
    """A step that the re-timed plan does not hold; ``why`` in words; ``kind`` is `SKIPPED` or `NOT_DONE`."""

    step: str
    kind: str
    why: str


@dataclass(frozen=True)
class Happened:
    """The scenario with what has happened. ``fixed``: steps that have started, to their start (PET minutes).

    ``parts``: rows that are parts of a step, to the step that they are of. ``went_with_it``: gaps and
    inhibits that a skipped step takes with it, by what they are, and in words.
    """

    scenario: Scenario
    fixed: Mapping[str, float]
    parts: Mapping[str, str]
    left_out: tuple[LeftOut, ...]
    went_with_it: tuple[tuple[str, str], ...] = ()


MINUTES = ("minutes_low", "minutes_likely", "minutes_high")


def estimates_left(step: Step, left: float) -> tuple[float, float, float]:
    """Three estimates (`MINUTES`) of what is still to do of a step, spread as the step's own."""
    share = left / step.minutes_likely if step.minutes_likely > 0 else 0.0
    # Held to what is to do: low <= likely <= high, though a product is rounded.
    return min(left, step.minutes_low * share), left, max(left, step.minutes_high * share)


def with_past(network: Network, starts: Mapping[int, float], durations: np.ndarray,
              now_min: float) -> Network:
    """The network with the steps of ``starts`` (position to PET minutes) fixed and the rest not before now.

    ``durations`` (steps,) are those of the fixed steps as worked so far and still expected. A group of which
    a part has happened keeps to the window of that part.
    """
    fixed = frozenset(starts)
    # Once anyone has worked outside, the hatch is open, whatever was planned.
    is_open = any(release.kind == HATCH and release.step in fixed for release in network.releases)
    releases = [release for release in network.releases
                if release.step not in fixed and not (is_open and release.kind == HATCH)]
    releases += [Release(step, at, kind=LOGGED, name="start") for step, at in starts.items()]
    releases += [Release(step, now_min, kind=NOW, name="now")
                 for step in range(len(network.steps)) if step not in fixed]
    groups, windows = [], []
    for group, whole in zip(network.groups, network.group_windows, strict=True):
        rest = tuple(member for member in group.members if member not in fixed)
        begun = [member for member in group.members if member in fixed]
        # What has happened moves no more: it only says which window the rest must find.
        if rest:
            groups.append(replace(group, members=rest))
            windows.append(_window_of(begun, starts, durations, whole))
    return replace(
        network, releases=tuple(releases), fixed=fixed,
        bounds=tuple(bound for bound in network.bounds if bound.after not in fixed),
        demands=tuple(() if step in fixed else own for step, own in enumerate(network.demands)),
        allowed=tuple(None if step in fixed else windows for step, windows in enumerate(network.allowed)),
        groups=tuple(groups), group_windows=tuple(windows),
        homes=tuple(_home(home, starts, durations, now_min - network.ends_min) for home in network.homes))


def _window_of(begun: list[int], starts: Mapping[int, float], durations: np.ndarray,
               windows: np.ndarray) -> np.ndarray:
    """The window that holds all that has begun of a group; all windows where none does or none has begun."""
    if not begun:
        return windows
    first = min(starts[step] for step in begun)
    last = max(starts[step] + durations[step] for step in begun)
    held = (windows[:, 0] <= first + LOG_SECOND_MIN) & (last <= windows[:, 1] + LOG_SECOND_MIN)
    # A past that lies in no window is told as broken; its rest must be timed all the same.
    return windows[held][:1] if held.any() else windows


def _home(home: Home, starts: Mapping[int, float], durations: np.ndarray, earliest_min: float) -> Home:
    """The way home where the last step is done: at the airlock so that the outing has not ended before now.

    Coming in is not logged: who can be on the way in by now is taken to be.
    """
    if home.last not in starts:
        return home if home.last >= 0 else replace(home, travel_min=max(home.travel_min, earliest_min))
    finish = starts[home.last] + float(on_grid(durations[home.last]))
    return replace(home, travel_min=max(home.travel_min, earliest_min - finish))


def ended_at(network: Network, starts: Mapping[int, float], durations: np.ndarray,
             inside_min: float) -> Network:
    """The network of an outing that is over: both inside at ``inside_min`` (PET), as it was called."""
    free = {home.crew: starts[home.last] + float(on_grid(durations[home.last]))
            if home.last in starts else 0.0 for home in network.homes}
    end = float(on_grid(inside_min))
    # Who was inside sooner after work than ingress takes: ingress is cut, the end stays as it was called.
    ends_min = max(0.0, min(network.ends_min, end - max(free.values(), default=0.0)))
    homes = tuple(replace(home, travel_min=max(0.0, end - ends_min - free[home.crew]))
                  for home in network.homes)
    return replace(network, homes=homes, ends_min=ends_min)
