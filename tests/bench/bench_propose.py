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
from pathlib import Path

import numpy as np
import pandas as pd

import planning_kit as pk
from planning_kit.explore.propose.proposals import Proposals
from planning_kit.explore.propose.search import Progress

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def outing_of(count: int) -> pk.Scenario:
    """The small outing's station with ``count`` steps in tasks of three, some at night, in a random order."""
    small = pk.load_scenario(SCENARIOS / "small-outing")
    small = small.with_settings({"limits.planned_min": 12.0 * count, "limits.hard_min": 14.0 * count,
                                 "horizon_h": 0.3 * count + 3})
    for table in ("gaps", "inhibits"):
        small = small.with_table(table, small.table(table)[:0])
    random = np.random.default_rng(count)
    tasks = [{"task": f"T{n}", "title": f"T{n}", "need": "required", "priority": 1, "swappable": "no"}
             for n in range((count + 2) // 3)]
    rows = [_row(0, "T0", "both", "HAT", 10)]
    for number in range(1, count - 1):
        task = number // 3
        rows.append(_row(number, f"T{task}", ("EV1", "EV2")[task % 2],
                         str(random.choice(["HAT", "MID", "POR"])), int(random.integers(3, 12)),
                         "night" if random.random() < 0.1 else "any"))
    rows.append(_row(count - 1, tasks[-1]["task"], "both", "HAT", 10))
    changed = _with(small, "tasks", [*tasks, *small.tasks.to_dict("records")])
    changed = _with(changed, "steps", rows)
    changed = changed.with_table("tasks", _frame(small, "tasks", tasks))
    return changed.with_table("hardware", changed.hardware[:0])


def _row(number: int, task: object, crew: str, place: str, minutes: int,
         light: str = "any") -> dict[str, object]:
    return {"step": f"S{number}", "task": task, "crew": crew, "place": place, "title": f"S{number}",
            "minutes_low": minutes, "minutes_likely": minutes, "minutes_high": minutes, "light": light,
            "exertion": "light"}


def _frame(scenario: pk.Scenario, table: str, rows: list[dict[str, object]]) -> pd.DataFrame:
    columns = scenario.table(table).columns
    return pd.DataFrame([{column: row.get(column, "") for column in columns} for row in rows],
                        columns=columns, dtype=object)


def _with(scenario: pk.Scenario, table: str, rows: list[dict[str, object]]) -> pk.Scenario:
    return scenario.with_table(table, _frame(scenario, table, rows))


@dataclass
class Clock:
    """When the first order came that is better than the one before."""

    end_min: float
    first_s: float = float("nan")
    seen: list[float] = field(default_factory=list)

    def __call__(self, progress: Progress) -> None:
        """Called by the search."""
        if progress.best_min < self.end_min - 1 / 60 and np.isnan(self.first_s):
            self.first_s = progress.elapsed_s


def measure(name: str, scenario: pk.Scenario, **asked: object) -> None:
    egress = (scenario.settings.egress, scenario.settings.egress)
    plan = pk.time_plan(scenario)
    clock, begun = Clock(plan.end_min), time.perf_counter()
    found: Proposals = pk.propose(scenario, seconds=300, egress_window=egress, progress=clock,
                                  **asked)  # type: ignore[arg-type]
    took = time.perf_counter() - begun
    end = found.best.end_min if found.best else plan.end_min
    print(f"{name:28}{plan.end_min:9.1f}{end:9.1f}{took:9.1f} s{clock.first_s:9.1f} s   {found.verdict}")


def main() -> None:
    print(f"{'':28}{'now':>9}{'best':>9}{'took':>11}{'first':>11}")
    for count in (20, 40, 80, 120):
        for order in ("steps", "runs"):
            measure(f"{count} steps, free {order}", outing_of(count), effort=4.0, order=order)
    demo = pk.load_scenario(SCENARIOS / "tern-station")
    for order in ("steps", "runs"):
        measure(f"demo, free {order}", demo, effort=1.0, order=order)


if __name__ == "__main__":
    main()
