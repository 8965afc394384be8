"""How long all checks take on a plan of 120 steps. Run on demand: ``python -m tests.bench.bench_checks``.

Verdict (2 shared cores, Python 3.11; processor time, expect more on a machine under load): 27 to 31 ms on 120
steps, and 9 to 11 more for the lanes and slacks that the chart needs too; asked are at most 50 ms for the
checks, which run at every edit. The plan is the demo outing with steps from its middle done again, so that
every check has work. With six hazards and 137 exposures they take 1.18 times as long (asked: at most 1.3).
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pandas as pd

import planning_kit as pk
from planning_kit.judge.all_checks import CHECKS, findings_of
from tests.bench.bench_timing import median_ms

DEMO = Path(__file__).parents[1] / "data" / "tern-2"
TRACKERS = ("lanes", "passages", "tracked_custody", "tracked_tethers", "suit_histories", "return_times",
            "inhibit_holds", "link_covers", "gap_clocks", "tracked_exposures")


def longer_demo(count: int) -> pk.Scenario:
    """The demo with steps repeated from its middle, in order, until there are ``count``; no task dropped."""
    demo = pk.load_scenario(DEMO).with_settings({"horizon_h": 20.0, "limits.hard_min": 900})
    steps = demo.steps
    more = steps.iloc[40:40 + count - len(steps)].copy()
    more["step"] += "-again"
    more[["after", "same_window", "light", "windows", "link"]] = ""
    return demo.with_table("steps", pd.concat([steps[:-3], more, steps[-3:]], ignore_index=True))


def with_hazards(scenario: pk.Scenario) -> pk.Scenario:
    """The same with six hazards of all kinds: zone, spheres, light, beta, item, inhibits, both limits."""
    places = scenario.places.astype(object)
    places["zone"] = ["boom" if place in ("BR", "BK", "BO", "REG") else "" for place in places["place"]]
    rows = [
        {"hazard": "BOOM", "zones": "boom", "limit": "keep_out", "controls": "I-DRV | I-PWR"},
        {"hazard": "JET", "x_m": 1, "y_m": -1, "z_m": -12, "radius_m": 4, "limit": "keep_out",
         "controls": "I-JET"},
        {"hazard": "HEAT", "x_m": 3, "y_m": 30, "z_m": 0, "radius_m": 6, "when": "day", "limit": "stay",
         "limit_min": 15},
        {"hazard": "COLD", "places": "AFT GAP FWD", "when": "night and beta<=60", "limit": "total",
         "limit_min": 20},
        {"hazard": "HOSE", "places": "HUB HPP", "routes": "HPP:C1", "when": "abs(beta)>1",
         "limit": "no_contact"},
        {"hazard": "HORN", "places": "NAD", "when": "off:I-TX and item:cable@NAD", "limit": "keep_out"}]
    columns = scenario.hazards.columns
    hazards = [{column: row.get(column, "") for column in columns} | {"class": "warning"} for row in rows]
    return scenario.with_tables({"places": places, "hazards": pd.DataFrame(hazards, dtype=object)})


def fresh(plan: pk.Plan) -> pk.Plan:
    """The same plan with nothing derived yet."""
    return pk.Plan(replace(plan.timed))


def with_lanes(plan: pk.Plan) -> pk.Plan:
    """The same with its lanes known."""
    new = fresh(plan)
    vars(new.timed)["lanes"] = plan.timed.lanes
    return new


def once_ms(plan: pk.Plan, name: str) -> float:
    begin = time.perf_counter()
    getattr(plan.timed, name)
    return 1000 * (time.perf_counter() - begin)


def ratio_of(one: Callable[[], object], other: Callable[[], object], times: int = 41) -> float:
    """The median ratio of the times of two things, done in turn, so that a load meets both."""
    ratios = []
    for _ in range(times):
        seconds = []
        for each in (one, other):
            begin = time.process_time()
            each()
            seconds.append(time.process_time() - begin)
        ratios.append(seconds[0] / seconds[1])
    return statistics.median(ratios)


def main() -> None:
    plan = pk.time_plan(longer_demo(120))
    print(f"steps {len(plan.timed.steps)}, outing {plan.end_min:.0f} min, findings {len(plan.findings)}")
    whole = median_ms(lambda: findings_of(fresh(plan).timed))
    checks = median_ms(lambda: findings_of(with_lanes(plan).timed))
    print(f"{'all checks and trackers (asked: at most 50)':48}{checks:10.2f} ms")
    print(f"{'  with lanes and slacks, which the chart needs':48}{whole:10.2f} ms")
    print(f"{'checks / lanes and slacks':48}{checks / (whole - checks):10.1f}")
    dangerous = pk.time_plan(with_hazards(longer_demo(120)))
    found = dangerous.findings
    print(f"exposures {len(dangerous.exposures)}, findings of hazards {(found['check'] == 'hazards').sum()}")
    ratio = ratio_of(lambda: findings_of(with_lanes(dangerous).timed),
                     lambda: findings_of(with_lanes(plan).timed))
    print(f"{'with six hazards / without (asked: at most 1.3)':48}{ratio:10.2f}")
    new = fresh(dangerous)
    for name in TRACKERS:  # in an order in which each finds its own inputs ready
        print(f"  {name:46}{once_ms(new, name):10.2f} ms")
    for check in CHECKS:
        print(f"  {check.__name__:46}{median_ms(lambda check=check: list(check(new.timed)), 5):10.2f} ms")


if __name__ == "__main__":
    main()
