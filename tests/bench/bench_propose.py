"""How far a search for better orders gets. Run on demand: ``python -m tests.bench.bench_propose [effort]``.

Verdict (one run each at `normal`; ends are repeatable). By CPU seconds, and at the end of the search, beside
the order by hand and that of the rows; in a process that has searched before, beside tests on the other core:

    outing     rows   hand    1 s    2 s    5 s   10 s   30 s    end   CPU s
    heron      348.7  275.2  267.3  267.3  260.0  258.8  258.8  258.8    25
    plover     302.1  197.7  207.7  196.7  193.3  193.3  193.3  193.3    14
    rowan      310.0  230.5  237.2  237.2  229.7  217.0  217.0  217.0    22
    alder      253.2  209.3  209.3  201.8  199.8  199.8  199.8  199.8    19
    aspen      449.8  325.5  355.3  317.8  302.0  302.0  299.7  299.7    38
    godwit     477.3  321.4      -  335.8  326.3  319.2  311.9  311.9    32
    larch      367.9  281.4      -  293.9  279.8  276.5  273.4  273.4    52
    hazel      331.5  267.2  309.3  269.8  263.7  263.7  259.5  259.5    34
    dunlin     317.5  285.5  289.5  289.5  282.8  274.9  273.4  273.4    23
    whimbrel   413.4  287.0      -  323.2  293.4  283.3  283.3  283.3    38
    tern-1     375.9      -      -  361.7  359.7  359.7  358.0  358.0    49
    40 steps of the demo: proven best for the PET 0 of its rows by 4 CPU s; 40 made steps in 3.4 (not again)

Met on all ten: the hand's order or a better one within 10 s, and `normal` within 60 s; best known are 258.8,
191.3, 217.0, 199.8, 299.7, 311.9, 271.5, 259.2, 270.6 and 278.3, tern-1 358.0. A first better order comes
within 1 s on all ten and on tern-1: after 0.4 to 0.7 s up to 55 steps, 0.7 to 1.0 at 70 and more (on a
machine a quarter slower than that of the table, where larch took 61 s in all). The first search of a process
loads the compiler before (0.9 s more), the first on a machine compiles (up to 50 s beside others, once; told
meanwhile).

A pass of moves, times and rules takes 6 microseconds at 50 steps and 15 to 20 at 80 (140 for the timing alone
before it was compiled); a judgement costs 100 ms, as much as 5,000 of them. What is found hangs on the seed:
three differ by up to 3 %. Restarts three times as long (to 60,000 passes) do as well on 50 steps and better
on 80. Begins from random trades, stretches of up to 25 steps moved at once and fewer slots tried did no
better.

Left out of the model without a loss on the forty steps of the demo (proven in 4.6 s): arcs parted by a third
step (4.6 s), bounds by every way of trading (5.2 s). Needed: turns of any two in a lane (not proven in 16 s
without). Hot restarts from the best order, ever hotter, stay where they are: godwit, 11.8 % off.

Tried and left out (5 to 20 s each): late acceptance instead of annealing (aspen stays at 398.9, godwit at
336.6 after 10 s), begins at orders put together anew at random (7 to 23 ms each, but their ends are no
better than those from the rows), half or double the heat, a third of the tasks put back, tethers asked at
each slot.
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
