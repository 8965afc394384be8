"""How far a search for better orders gets. Run on demand: ``python -m tests.bench.bench_propose``.

Verdict (2 cores under a load of 6, Python 3.11, OR-Tools 9.15; seconds vary with the load, the rest is
repeatable): 20 steps are proven best in half a second. 40 steps of free order: the first better order after
half a second, 34 min earlier and at most 5 min from best after a minute, not proven; with runs of one task
kept together proven in less than a second, but 28 min later than the free order. On the
demo (89 steps) the answer is a better order and a bound, not a proof. One run; the rows of 80 and 120 steps
were not reached in it.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field

import numpy as np

import planning_kit as pk
from planning_kit.explore.propose.proposals import Proposals
from planning_kit.explore.propose.search import Progress
from tests.explore.propose.outings import SCENARIOS, half_a_day, outing_of

EFFORT = 2.0

@dataclass
class Clock:
    """When the first order came that is better than the present one, by the clock and by CPU time."""

    end_min: float
    began_s: float = field(default_factory=time.process_time)
    first_s: float = float("nan")
    first_cpu_s: float = float("nan")

    def __call__(self, progress: Progress) -> None:
        """Called by the search."""
        if progress.best_min < self.end_min - 1 / 60 and np.isnan(self.first_s):
            self.first_s, self.first_cpu_s = progress.elapsed_s, time.process_time() - self.began_s


def measure(name: str, scenario: pk.Scenario, order: str, effort: float = EFFORT) -> None:
    """One search from the order as it stands, egress kept; prints a row."""
    egress = (scenario.settings.egress, scenario.settings.egress)
    plan = pk.time_plan(scenario)
    clock, begun = Clock(plan.end_min), time.perf_counter()
    found: Proposals = pk.propose(scenario, effort, 300, egress, clock, order=order)
    took, cpu = time.perf_counter() - begun, time.process_time() - clock.began_s
    end = found.best.end_min if found.best else plan.end_min
    verdict = found.best.verdict if found.best else found.verdict
    print(f"{name + ', free ' + order:24}{plan.end_min:8.1f}{end:8.1f}{clock.first_s:8.2f}"
          f"{clock.first_cpu_s:8.2f}{took:8.1f}{cpu:8.1f}   {verdict}", flush=True)


def main() -> None:
    print(f"effort {EFFORT:g}; outing ends in min, first better order and all of the search in s\n"
          f"{'':24}{'now':>8}{'best':>8}{'first':>8}{'CPU':>8}{'all':>8}{'CPU':>8}")
    outings = {f"{count} steps": outing_of(count) for count in (20, 40, 80, 120)}
    outings |= {"40 steps of the demo": half_a_day(), "demo": pk.load_scenario(SCENARIOS / "tern-station")}
    for name, scenario in outings.items():
        for order in ("steps", "runs"):
            measure(name, scenario, order)


if __name__ == "__main__":
    main()
