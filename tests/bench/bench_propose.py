"""How far a search for better orders gets. Run on demand: ``python -m tests.bench.bench_propose [effort]``.

Verdict (one run each at `normal`, effort 2.5; CPU seconds on a machine that others used heavily; ends are
repeatable). By 10 s, and at the end of the search, beside the order by hand and that of the rows:

    outing     rows   hand    1 s    10 s    end   CPU s
    heron     348.7  275.2  298.0   266.7  260.0    24  (a third fewer passes)
    plover    302.1  197.7  209.7   194.7  193.3    16  (a third fewer passes)
    rowan     310.0  230.5  237.2   225.5  225.5    19  (a third fewer passes)
    alder     253.2  209.3  216.8   211.7  203.9    20  (a third fewer passes)
    aspen     449.8  325.5  421.7   323.3  316.8    32
    godwit    477.3  321.4      -   321.5  321.5    20
    larch     367.9  281.4      -   291.8  281.5    52  (two searches: with PET 0 kept, then any)
    hazel     331.5  267.2  302.7   275.5  275.5    22
    dunlin    317.5  285.5  294.9   289.5  289.5    14
    whimbrel  413.4  287.0      -   302.1  295.5    28
    tern-1    375.9      -  371.8   367.1  358.0    42

Not met: a first better order within 1 s on three (building the model takes 0.4 to 1.6 s of it), the hand's
order after 10 s on hazel, dunlin, whimbrel, godwit, alder and larch (3.1, 1.4, 5.3, 0.0, 1.1 and 3.7 % above
it), in the end on hazel, dunlin and whimbrel (3.1, 1.4, 3.0 %). Dunlin's needs five trades at once, by which
two clocks run together in one lane. No search here takes 60 s.

Tried and left out (5 to 20 s each): late acceptance instead of annealing (aspen stays at 398.9, godwit at
336.6 after 10 s), begins at orders put together anew at random (7 to 23 ms each, but their ends are no better
than those from the rows), half or double the heat, a third of the tasks put back, tethers asked at each slot.
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

MARKS_S = (1, 2, 5, 10, 30, 60)


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
