"""Travel scaled by crew member: the same as a network whose ways are that much longer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings

from planning_kit.plan.network import Network
from planning_kit.plan.timing import earliest_starts, outing_end
from tests.plan.networks import timing_problems


def longer(network: Network, factor: dict[str, float]) -> Network:
    """The network with every way of each crew member scaled (the first way is part of a release)."""
    return replace(
        network,
        releases=tuple(replace(r, at_min=r.at_min + (factor[r.crew] - 1) * r.travel_min)
                       for r in network.releases),
        bounds=tuple(replace(b, travel_min=b.travel_min * factor.get(b.crew, 1.0)) for b in network.bounds),
        homes=tuple(replace(h, travel_min=h.travel_min * factor[h.crew]) for h in network.homes),
    )


@settings(max_examples=40)
@given(timing_problems())
def test_each_crew_member_walks_home_at_their_own_pace(problem: tuple[Network, np.ndarray]) -> None:
    network, durations = problem
    network = replace(network, releases=tuple(replace(r, travel_min=r.at_min / 2) for r in network.releases))
    paces = {"EV1": np.array([1.0, 1.25, 0.5]), "EV2": np.array([1.0, 0.75, 2.0])}
    alone = [longer(network, {crew: pace[sample] for crew, pace in paces.items()}) for sample in range(3)]
    starts = np.array([earliest_starts(each, durations) for each in alone]).T
    ends = outing_end(network, starts, np.repeat(durations[:, None], 3, axis=1), paces)
    for each, own, end in zip(alone, starts.T, ends, strict=True):
        np.testing.assert_array_equal(end, outing_end(each, own, durations))
