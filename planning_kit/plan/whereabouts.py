"""Where the two are at a decision: who is sent elsewhere begins there, not where they last worked.

A re-timed plan lets everyone travel as soon as they are free. A decision taken now finds them wherever that
has brought them: at work, waiting, or on a route, from which they go on to its end or back to its beginning.
Only a first step that is another than before is held back by it. Neglected: that they may be elsewhere than
the plan has them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from planning_kit.inputs.records import Step
from planning_kit.plan.build import travel_into, work_order
from planning_kit.plan.lines.legs import Passage
from planning_kit.plan.network import TURN, Network, Release, on_grid
from planning_kit.plan.plan_times import Times
from planning_kit.plan.routes import Travel


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

    def ready_min(self, travel: Travel, step: Step) -> float:
        """PET minutes at which they can begin a step."""
        return self.quickest(travel, step)[0]

    def quickest(self, travel: Travel, step: Step) -> tuple[float, str]:
        """PET minutes at which they can begin a step, and the place that they leave for it."""
        return min((at + travel_into(step, travel, place) + step.travel_extra_min, place)
                   for place, at in self.spots)


def whereabouts_at(times: Times, passages: Mapping[str, Sequence[Passage]],
                   now_min: float) -> tuple[Whereabouts, ...]:
    """Where both are at ``now_min`` in a re-timed plan, and where they are bound for."""
    return tuple(_of_one(times, walked, crew, now_min) for crew, walked in passages.items())


def _of_one(times: Times, passages: Sequence[Passage], crew: str, now_min: float) -> Whereabouts:
    rest = [position for position in work_order(times.steps, crew) if position not in times.network.fixed]
    done = [position for position in work_order(times.steps, crew) if position in times.network.fixed]
    bound_for = times.steps[rest[0]].step if rest else ""
    free_min = max((float(times.finishes[position]) for position in done), default=0.0)
    if free_min >= now_min and done:
        return Whereabouts(crew, bound_for, ((times.steps[done[-1]].place, free_min),))
    return Whereabouts(crew, bound_for, _spots(passages, now_min))


def _spots(passages: Sequence[Passage], now_min: float) -> tuple[tuple[str, float], ...]:
    here = next((p for p in passages if p.start_min <= now_min < p.finish_min), passages[-1])
    if here.route is None:
        return ((here.place, now_min),)
    return (here.to_place, here.finish_min), (here.place, 2 * now_min - here.start_min)


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
            homes[each.crew] = replace(home, travel_min=max(home.travel_min, way))
    return replace(network, releases=tuple(releases), homes=tuple(homes.values()))
