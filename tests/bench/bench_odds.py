"""Speed of the odds on the demo: many samples together, on two cores, and against a plain loop.

Verdict (89 steps, 5 last starts, a machine shared with others): 100 000 samples take 3.0 to 3.4 s of
processor time on one core, all that is given up included, and the chunks share out over processes. Wall times
are those of a quiet machine only where the processor time is near the wall time. With all that is drawn known
beforehand the odds took 1 / 1.35 to 1 / 1.5 of that (asked: 1 / 1.5). A loop that times one sample after
another, nothing given up, takes about a hundred times as long. With a hard limit by consumables,
reckoned for each sample, odds take 1.5 to 1.9 times as long (asked: at most 2), and 2.5 times where every
sample runs out of all.

Run: python -m tests.bench.bench_odds
"""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from statistics import median

import numpy as np

import planning_kit as pk
from planning_kit.explore.odds.played import Given, play
from planning_kit.explore.odds.sampled_outing import part_without
from planning_kit.explore.odds.study import Study, run_chunk
from planning_kit.plan.timing import earliest_starts, outing_end

DEMO = Path(__file__).parents[1] / "data" / "tern-2"
SAMPLES = 100_000
LOOPED = 1_000


def seconds(work: Callable[[], object]) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def loop(plan: pk.Plan, study: Study) -> None:
    """One sample after another through the same timing."""
    draws = study.draw(0, LOOPED)
    for sample in range(LOOPED):
        durations = draws.durations[:, [sample]]
        travel = {who: factor[[sample]] for who, factor in draws.travel.items()}
        starts = earliest_starts(plan.timed.network, durations)
        outing_end(plan.timed.network, starts, durations, travel)


def limits_ratio(share: float) -> float:
    """How much longer odds take with a hard limit by consumables, of which there is a ``share``: a median."""
    demo = pk.load_scenario(DEMO)
    suit = vars(demo.settings.suits["EV1"])
    less = {f"suit.{name}": suit[name] * share for name in ("oxygen_g", "co2_g", "energy_wh", "water_g")}
    fixed, own = (pk.time_plan(demo.with_settings({**less, **more}))
                  for more in ({}, {"limits.hard_min": "consumables"}))
    ratios = []
    for _ in range(9):
        begin = time.process_time()
        fixed.odds(10_000)
        middle = time.process_time()
        own.odds(10_000)
        ratios.append((time.process_time() - middle) / (middle - begin))
    return median(ratios)


def foresight_ratio(plan: pk.Plan, study: Study) -> float:
    """How long it takes to play samples, nothing given up, over timing the same draws with foresight."""
    part, draws = part_without(study.outing, frozenset()), study.draw(0, 5_000)
    network, given = plan.timed.network, Given(draws.durations, draws.travel)
    return float(np.median([
        seconds(lambda: play(part.foresight, given))
        / seconds(lambda: earliest_starts(network, draws.durations))
        for _ in range(7)]))


def main() -> None:
    plan = pk.time_plan(pk.load_scenario(DEMO))
    study = Study.of(plan.timed, 1)
    run_chunk(study, 0, 100)  # tables of quantiles and networks are made once
    before = time.process_time()
    alone = seconds(lambda: plan.odds(SAMPLES))
    processor = time.process_time() - before
    with ProcessPoolExecutor(2) as pool:
        list(pool.map(run_chunk, [study] * 4, range(4), [100] * 4))  # the workers have started
        shared = seconds(lambda: plan.odds(SAMPLES, executor=pool))
    looped = seconds(lambda: loop(plan, study)) * SAMPLES / LOOPED
    result = plan.odds(20_000)
    rows = {
        f"{SAMPLES} samples of {len(plan.timed.steps)} steps, one core": alone,
        "  processor time of that": processor,
        f"{SAMPLES} samples, two processes (asked: about 2)": shared,
        f"one by one without the cut rule ({LOOPED} looped, scaled)": looped,
        "drivers of 20000 samples": seconds(lambda: result.drivers),
        "last starts proposed, 2000 samples": seconds(lambda: plan.cuts()),
    }
    for name, took in rows.items():
        print(f"{name:62}{took:9.2f} s")
    print(f"{'one by one / two processes':62}{looped / shared:9.0f}")
    print(f"{'in play / with foresight, nothing given up':62}{foresight_ratio(plan, study):9.2f}")
    print(f"{'sampling alone, share of one core':62}"
          f"{seconds(lambda: [study.draw(chunk, 5_000) for chunk in range(20)]) / alone:9.2f}")
    for share in (1.0, 0.9, 0.6):
        print(f"{f'own hard limits / one, suits with {share:.0%} of what they have':62}"
              f"{limits_ratio(share):9.2f}")
    assert np.isfinite(result.tally.end_min).any()


if __name__ == "__main__":
    main()
