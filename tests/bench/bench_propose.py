"""How far a search for better orders gets. Run on demand: ``python -m tests.bench.bench_propose``.

Verdict (2 cores, quiet, Python 3.11, OR-Tools 9.15, effort 2, one run; ends and verdicts are repeatable,
seconds by the clock are not: under a load of 7 they were three to five times as many, CPU seconds 1.3 times).
40 steps in free order are proven best: the random ones in 2.0 s, 40 of the demo with their hardware, light,
clocks and trades in 2.8 s. Without the bounds of `least_ends` those of the demo were proven as soon, but the
random ones, 2 min later, were left 5.3 min from best after 23 s of CPU time: the solver does not see that
precedence makes a lane walk to and fro. The dynamic programme over one lane does, in 0.1 s.

80 steps end 2.6 min from best after 7 s, 120 steps 6.5 min after 12 s: not proven. The first better order
comes after 0.1 s at 40 steps, 0.7 s at 80, 2.5 s at 120 and 1.4 s on the demo (89 steps, then 33 min from
best after 9 s), half of it for the proof that all tasks fit.

The local search is worth its code, for the time it saves: on the demo 366.1 min in 10 s of CPU time, where
the solver alone (effort 4) came to 368.5 in 22 s; 315.3 min at 80 steps in 9 s, where that came to 314.7 in
49 s. Keeping runs together costs 30 min at 40 steps, 48 at 80, 61 at 120 and 5 on the demo, for the same
CPU time; on 40 steps of the demo it costs nothing.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, field

import numpy as np

import planning_kit as pk
from planning_kit.explore.long_question import Progress
from planning_kit.explore.propose.proposals import Proposals
from tests.conftest import TERN
from tests.explore.propose.outings import half_a_day, outing_of

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
    """One search from the order as it stands, PET 0 kept; prints a row."""
    pet_zero = (scenario.settings.pet_zero_utc, scenario.settings.pet_zero_utc)
    plan = pk.time_plan(scenario)
    clock, begun = Clock(plan.end_min), time.perf_counter()
    found: Proposals = pk.time_plan(scenario).propose(effort, 300, pet_zero, clock, order=order)
    took, cpu = time.perf_counter() - begun, time.process_time() - clock.began_s
    end = found.best.end_min if found.best else plan.end_min
    verdict = found.best.verdict if found.best else found.verdict
    print(f"{name + ', free ' + order:24}{plan.end_min:8.1f}{end:8.1f}{clock.first_s:8.2f}"
          f"{clock.first_cpu_s:8.2f}{took:8.1f}{cpu:8.1f}   {verdict}", flush=True)


def main() -> None:
    print(f"effort {EFFORT:g}; outing ends in min, first better order and all of the search in s\n"
          f"{'':24}{'now':>8}{'best':>8}{'first':>8}{'CPU':>8}{'all':>8}{'CPU':>8}")
    outings = {f"{count} steps": outing_of(count) for count in (20, 40, 80, 120)}
    outings |= {"40 steps of the demo": half_a_day(), "demo": pk.load_scenario(TERN)}
    for name, scenario in outings.items():
        for order in ("steps", "runs"):
            measure(name, scenario, order)


if __name__ == "__main__":
    main()
