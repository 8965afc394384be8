"""From a log entry to the new picture. Run on demand: ``python -m tests.bench.bench_retime``.

Verdict (Python 3.11, medians of one run): about 100 ms of processor time from entry to picture for 89 steps,
of which 4 to append, 35 to re-time, 17 for findings, 45 to draw; asked are at most 200 for 80 steps. Waiting
for the disk, and for other work on the machine, is not in it. The options cost a whole plan with its findings
each, 1 to 2 s together: they are asked for, not kept up to date. Other orders of the rest take seconds more,
5 to 10 at two hours into the outing, and fewer as the rest grows short.
"""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import planning_kit as pk
from planning_kit.show.swimlane import swimlane_spec
from tests.bench.bench_timing import DEMO
from tests.explore.retime.rehearsal import rehearsed

NOW_MIN = 120.0


def median_ms(run: Callable[[], object], runs: int) -> float:
    """Median processor time of a call, ms."""
    took = []
    for _ in range(runs):
        begin = time.process_time()
        run()
        took.append(1000 * (time.process_time() - begin))
    return statistics.median(took)


def main() -> None:
    plan = pk.time_plan(pk.load_scenario(DEMO))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        for row in rehearsed(plan, 3, NOW_MIN).to_dict("records"):
            pk.append_log(path, row["event"], row["step"], row["at"], plan=plan)
        appended = median_ms(lambda: pk.append_log(path, "suit", at=NOW_MIN, crew="EV1", metabolic_w=250,
                                                   plan=plan), 9)
        retimed = median_ms(lambda: plan.retime(path, NOW_MIN), 9)
        judged = median_ms(lambda: plan.retime(path, NOW_MIN).findings, 9)
        drawn = median_ms(lambda: swimlane_spec(plan.retime(path, NOW_MIN).timed, plan.timed), 9)
        new = plan.retime(path, NOW_MIN)
        rows = {"append, judged and flushed": appended, "read the log and re-time": retimed,
                "  with findings": judged, "  with findings and drawing": drawn,
                "log entry to new picture (asked: at most 200)": appended + drawn,
                "standing": median_ms(lambda: new.standing, 3), "options": median_ms(new.options, 1),
                "odds, 2000 samples": median_ms(lambda: new.odds(2000), 3),
                "options with other orders, quick": median_ms(
                    lambda: new.options(reorder="quick", seconds=60), 1)}
    outside = new.timed.known_outside("a re-timing")
    print(f"steps {len(plan.timed.steps)}, events {len(outside.actuals.events)}")
    for name, took in rows.items():
        print(f"{name:48}{took:10.2f} ms")
    print(f"{'entry to picture / asked':48}{(appended + drawn) / 200:10.2f}")


if __name__ == "__main__":
    main()
