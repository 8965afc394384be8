"""How far a search for better orders gets. Run on demand: ``python -m tests.bench.bench_propose [effort]``.

Verdict (one run, CPU seconds on a machine that others used; ends and verdicts are repeatable): 40 steps in
free order are proven best, random ones in 2.5 s, 40 of the demo in 4.6 s. The demo (any PET 0 of its range)
comes to 358.0 min in 4 s at effort 1, with PET 0 kept to 366.1.

On outings that it was not made for (effort 4, end by CPU seconds) it is not yet as good as a person in 10 s:
alder 216.8 after 5 s (by hand 209.3), hazel 276.5 after 5 s (267.2), aspen 398.9 after 10 s and 329.6 after
30 s (325.5). Rowan, at effort 2, comes to 229.5 after 5 s (230.5). Begun at the order of the hand, an earlier
form of the local search went on to 305.1 on aspen, 261.2 on hazel and 226.0 on rowan: what is missing are
moves out of a valley (trades on alder, whole visits of both on aspen), not passes. About half of the runs on
aspen ended at 398.9, whatever their length: so two of three begin at the rows with another seed.

Tried and left out (16,000 passes, several seeds): a memory of 150 or 200 orders (later, not better), restarts
of 1,000 passes (worse at 80 steps). Guided by the end alone the climb on aspen never left 398.9 in 12,000
passes; walking weighed in at 0.3 brings one seed of two to 327.
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
