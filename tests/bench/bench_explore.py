"""How long a sweep of days and a gain take: `python -m tests.bench.bench_explore`.

Verdict (2 shared cores under load, one run): with all PET 0 times in one pass of the timing, over a sky
computed once, a row takes about a thousandth of a plan timed by itself (20 us); a gain takes 2 to 5 s, nearly
all of it for proving and checking the changed plans.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import planning_kit as pk

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def _seconds(work: Callable[[], object]) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def _one_by_one(scenario: pk.Scenario, rows: int, every_min: float) -> None:
    for row in range(rows):
        pk.time_plan(scenario, scenario.settings.pet_zero_utc + timedelta(minutes=every_min * row + 0.5))


def main() -> None:
    """Print seconds and ratios."""
    small = pk.load_scenario(SCENARIOS / "small-outing")
    start = small.settings.pet_zero_utc
    few = _seconds(lambda: _one_by_one(small, 60, 24)) / 60
    many = _seconds(lambda: pk.time_plan(small).sweep(start, start + timedelta(days=10), 1)) / 14_401
    print(f"a row of a sweep of 10 days: {1e6 * many:.0f} us; timed by itself {1e6 * few:.0f} us "
          f"(ratio {few / many:.0f})")
    plan = pk.time_plan(pk.load_scenario(SCENARIOS.parent / "tests" / "data" / "tern-2"))
    late = plan.what_if(30)
    one = _seconds(lambda: late.what_if(stretch={"EG1": "-1"}).findings)
    for step, minutes in (("X1", None), ("DK2", 1.0)):
        took = _seconds(lambda step=step, minutes=minutes: late.gain(step, minutes))
        print(f"gain({step!r}, {minutes}) on {len(late.timed.steps)} steps: {took:.2f} s, "
              f"{took / one:.0f} times one what-if with its checks")


if __name__ == "__main__":
    main()
