"""How long one timing pass takes. Run on demand: ``python -m tests.bench.bench_timing``.

Verdict (2 cores, Python 3.11, numpy 2.4; medians of one run, expect them to vary): a pass over 120 steps
takes about a millisecond, far below the 5 ms asked for; many samples cost a fraction of timing them one by
one. The ratios, not the seconds, are what to compare between machines.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

import planning_kit as pk
from planning_kit.plan.late import planned_starts
from planning_kit.plan.network import AFTER, LIGHT, ORDER, Bound, Demand, Group, Home, Network, Release
from planning_kit.plan.slack import find_holders, slacks
from planning_kit.plan.timing import earliest_starts

DEMO = Path(__file__).parents[1] / "data" / "tern-2"


def network_of(count: int) -> tuple[Network, np.ndarray]:
    """Two crew members, ``count`` steps, cross links, every tenth step lit, one group."""
    random = np.random.default_rng(1)
    nights = np.array([[45.0 + 92 * k, 78.0 + 92 * k] for k in range(30)])
    night = Demand(LIGHT, "night", nights, nights)
    bounds = [Bound(i, i + 2, ORDER, f"s{i}", travel_min=float(random.uniform(0, 3)), crew=f"EV{i % 2 + 1}")
              for i in range(count - 2)]
    bounds += [Bound(i, i + 7, AFTER, f"s{i}") for i in range(0, count - 7, 4)]
    demands = tuple((night,) if i % 10 == 5 or i == 27 else () for i in range(count))
    network = Network(
        tuple(f"s{i}" for i in range(count)), (Release(0, 0.0), Release(1, 0.0)), tuple(bounds), demands,
        tuple(nights if wanted else None for wanted in demands), (Group("g", (25, 27), night),),
        (Home("EV1", count - 2, 3.0), Home("EV2", count - 1, 3.0)), 15.0, 92 * 30.0,
    )
    return network, random.uniform(2, 9, count)


def median_ms(work: Callable[[], object], runs: int = 15) -> float:
    work()
    took = []
    for _ in range(runs):
        begin = time.perf_counter()
        work()
        took.append(time.perf_counter() - begin)
    return 1000 * statistics.median(took)


def main() -> None:
    network, durations = network_of(120)
    starts = earliest_starts(network, durations)
    assert np.isfinite(starts).all()
    many = durations[:, None] * np.random.default_rng(2).uniform(0.8, 1.3, (120, 10_000))
    demo = pk.load_scenario(DEMO)
    one = median_ms(lambda: earliest_starts(network, durations))
    together = median_ms(lambda: earliest_starts(network, many), runs=3)
    late = replace(network, late=(11, 34, 57, 80, 103), late_margins_min=(0.0,) * 5)
    assert (planned_starts(late, durations) != starts).any()
    # The least of many: a ratio of two short times must not be that of what else the machine does.
    without = min(median_ms(lambda: planned_starts(network, durations), 1) for _ in range(100))
    with_late = min(median_ms(lambda: planned_starts(late, durations), 1) for _ in range(100))
    together_late = median_ms(lambda: planned_starts(late, many), runs=3)
    rows = {
        "one pass over 120 steps (asked: at most 5)": one,
        "  three backward passes (slacks)": median_ms(lambda: slacks(network, durations, starts, 600)),
        "  holders of all steps": median_ms(lambda: find_holders(network, durations, starts)),
        "10 000 samples together": together,
        "load the demo scenario": median_ms(lambda: pk.load_scenario(DEMO), 5),
        f"time the demo ({len(demo.steps)} steps), windows cached": median_ms(lambda: pk.time_plan(demo)),
        "  with timeline, slacks and findings": median_ms(lambda: pk.time_plan(demo).findings),
    }
    for name, took in rows.items():
        print(f"{name:48}{took:10.2f} ms")
    print(f"{'with 5 late steps / without (asked: 1.5)':48}{with_late / without:10.2f}")
    print(f"{'  10 000 samples':48}{together_late / together:10.2f}")
    print(f"{'10 000 one by one / together':48}{10_000 * one / together:10.1f}")


if __name__ == "__main__":
    main()
