"""How far a search for better orders gets. Run on demand: ``python -m tests.bench.bench_propose [effort]``.

VERDICT_HERE
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass, field

import planning_kit as pk
from planning_kit.explore.long_question import Progress
from planning_kit.explore.propose.proposals import Proposals
from tests.conftest import TERN, TESTS
from tests.explore.propose.outings import half_a_day, outing_of

MARKS_S = (0.5, 1, 5, 10, 30, 60)


@dataclass
class Clock:
    """The best end by CPU seconds: what the clock says depends on what else the machine does."""

    end_min: float
    began_s: float = field(default_factory=time.process_time)
    by: dict[float, float] = field(init=False)

    def __post_init__(self) -> None:
        self.by = dict.fromkeys(MARKS_S, self.end_min)

    def __call__(self, progress: Progress) -> None:
        """Called by the search."""
        cpu_s = time.process_time() - self.began_s
        for mark in MARKS_S:
            if cpu_s <= mark and progress.best_min < self.by[mark]:
                self.by[mark] = progress.best_min


def measure(name: str, scenario: pk.Scenario, order: str, effort: str | float) -> None:
    """One search from the order as it stands; prints a row."""
    plan = pk.time_plan(scenario)
    clock = Clock(plan.end_min)
    found: Proposals = plan.propose(effort, 3_000, None, clock, order=order)
    cpu_s = time.process_time() - clock.began_s
    end = found.best.end_min if found.best else plan.end_min
    verdict = found.best.verdict if found.best else found.verdict
    ends = "".join(f"{each:8.1f}" for each in (plan.end_min, *clock.by.values(), end))
    print(f"{name + ', free ' + order:28}{ends}{cpu_s:8.1f}   {verdict}", flush=True)


def main(effort: str | float = "normal") -> None:
    print(f"effort {effort}; ends in min, at first, by CPU seconds and at the end; all CPU seconds\n"
          f"{'':28}{'now':>8}{''.join(f'{mark:>8g}' for mark in MARKS_S)}{'best':>8}{'CPU':>8}")
    outings = {f"{count} steps": outing_of(count) for count in (20, 40, 80, 120)}
    outings |= {"40 steps of the demo": half_a_day(), "demo": pk.load_scenario(TERN)}
    outings |= {folder.name: pk.load_scenario(folder) for folder in sorted((TESTS / "data").glob("orders-*"))}
    for name, scenario in outings.items():
        measure(name, scenario, "steps", effort)


if __name__ == "__main__":
    main(*(float(each) for each in sys.argv[1:2]))
