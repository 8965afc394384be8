"""Small timing problems for the tests of the plan room."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import strategies as st

from planning_kit.plan.network import (
    AFTER,
    LIGHT,
    MAX_GAP,
    MIN_GAP,
    ORDER,
    Bound,
    Demand,
    Group,
    Home,
    Network,
    Release,
)

HORIZON_MIN = 800.0


def activity_network(predecessors: dict[str, str]) -> Network:
    """A classic activity-on-node network; every activity without successor ends the outing."""
    names = tuple(predecessors)
    bounds = tuple(
        Bound(names.index(before), names.index(after), AFTER, before)
        for after, befores in predecessors.items() for before in befores.split()
    )
    followed = {bound.before for bound in bounds}
    homes = tuple(Home("EV1", i, 0.0) for i in range(len(names)) if i not in followed)
    return Network(names, tuple(Release(i, 0.0) for i in range(len(names))), bounds, homes=homes)


def with_windows(network: Network, wanted: dict[int, np.ndarray], groups: dict[str, tuple[int, ...]],
                 windows: np.ndarray, horizon_min: float = HORIZON_MIN) -> Network:
    """The same network with lit steps, and groups over ``windows``."""
    demands = tuple(
        (Demand(LIGHT, "night", wanted[i], wanted[i]),) if i in wanted else ()
        for i in range(len(network.steps))
    )
    group = Demand(LIGHT, "night", windows, windows)
    return Network(
        network.steps, network.releases, network.bounds, demands,
        tuple(wanted.get(i) for i in range(len(network.steps))),
        tuple(Group(name, members, group) for name, members in groups.items()),
        network.homes, network.ends_min, horizon_min,
    )


@st.composite
def timing_problems(draw: st.DrawFn, with_max_gaps: bool = True) -> tuple[Network, np.ndarray]:
    """Random problems in whole minutes: two crew in row order, gaps of every form, windows and a group."""
    count = draw(st.integers(2, 9))
    durations = np.array(draw(st.lists(st.integers(0, 20), min_size=count, max_size=count)), dtype=float)
    crews = draw(st.lists(st.sampled_from(["EV1", "EV2", "both"]), min_size=count, max_size=count))
    releases, bounds, homes = [], [], []
    for crew in ("EV1", "EV2"):
        order = [i for i in range(count) if crews[i] in (crew, "both")]
        releases += [Release(i, float(draw(st.integers(0, 15))), crew=crew) for i in order[:1]]
        bounds += [
            Bound(a, b, ORDER, f"s{a}", travel_min=float(draw(st.integers(0, 8))), crew=crew)
            for a, b in pairwise(order)
        ]
        homes.append(Home(crew, order[-1] if order else -1, float(draw(st.integers(0, 8)))))
    pair = st.tuples(st.integers(0, count - 1), st.integers(0, count - 1)).filter(lambda p: p[0] < p[1])
    bounds += [Bound(a, b, AFTER, f"s{a}") for a, b in draw(st.lists(pair, max_size=3))]
    for a, b in draw(st.lists(pair, min_size=1, max_size=3)):
        at_first, at_then = draw(st.booleans()), draw(st.booleans())
        least = draw(st.integers(-10, 10))
        bounds.append(Bound(a, b, MIN_GAP, f"s{a}", float(least), from_finish=at_first, to_finish=at_then))
        if with_max_gaps and draw(st.integers(0, 3)):
            most = least + draw(st.sampled_from([5, 40, 80, 160]))
            bounds.append(Bound(b, a, MAX_GAP, f"s{b}", float(-most), from_finish=at_then,
                                to_finish=at_first))
    windows = draw(window_lists())
    lit = draw(st.lists(st.integers(0, count - 1), max_size=3, unique=True))
    members = draw(st.lists(st.sampled_from(lit), max_size=3, unique=True)) if lit else []
    groups = {"g": tuple(members)} if len(members) > 1 else {}
    network = Network(tuple(f"s{i}" for i in range(count)), tuple(releases), tuple(bounds),
                      homes=tuple(homes), ends_min=float(draw(st.integers(0, 20))))
    return with_windows(network, dict.fromkeys(lit, windows), groups, windows), durations


@st.composite
def window_lists(draw: st.DrawFn) -> np.ndarray:
    """One to five ordered, disjoint windows in whole minutes."""
    lengths = draw(st.lists(st.tuples(st.integers(1, 60), st.integers(20, 60)), min_size=5, max_size=9))
    rows, now = [], 0.0
    for pause, length in lengths:
        rows.append([now + pause, now + pause + length])
        now += pause + length
    return np.array(rows, dtype=float)
