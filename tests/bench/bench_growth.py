"""How the time that each thing takes grows with the outing: `python -m tests.bench.bench_growth [MOST]`.

Verdict (2 shared cores, Python 3.11, one run; ratios vary by a third or more with the load): everything about
doubles with the steps, from 250 to 2,000 and on to 5,000, the most that the format takes. There findings
take 0.1 s (1 s with all that they read). An append to a log of
48,000 rows takes 1.9 s, reading it 1.5 s. What still grows faster is what a plan with faults can pile
up: hands that take and never leave, and a tether's line that is never hooked anew nor walked back.

The outings grow in a told way, the same shift of work at the demo's station again. One shift is 25 steps and
about half an hour: a task, hand-overs, hooks, a gap with a clock, an inhibit, a link, a step of both and ones
of actors, three items that wander. Every fourth shift breaks some rules and waits for a night and a day.
Horizon, limits and suits grow with the number of steps. Processor time, one run, in an order in which each
finds what it needs ready.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import timedelta
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import pandas as pd

import planning_kit as pk
from planning_kit.show.film.scene import scene_of
from planning_kit.show.swimlane import swimlane_spec

DEMO = Path(__file__).parents[1] / "data" / "tern-2"
SHIFT = 25
# name, crew, place, minutes, further cells; "#" becomes the number of the shift
STEPS: list[tuple[str, str, str, float, dict[str, str]]] = [
    ("A", "EV1", "BOX", 1, {"takes": "spare-#", "exertion": "light"}),
    ("B", "EV2", "BOX", 1, {"takes": "sack-#"}),
    ("C", "EV1", "HUB", 1, {"hooks": "EV1"}),
    ("D", "EV2", "HUB", 1, {"hooks": "EV2"}),
    ("E", "both", "HUB", 2, {"leaves": "EV1:spare-#>EV2"}),
    ("F", "EV2", "BR", 1, {"hooks": "EV2", "uses": "driver-2", "exertion": "heavy"}),
    ("G", "EV1", "ZEN", 1, {"hooks": "EV1", "link": "yes"}),
    ("H", "OPR", "", 1, {"after": "G#"}),
    ("I", "EV1", "ZEN", 2, {"after": "H#", "uses": "driver-1", "safe_orderly_min": "1"}),
    ("J", "EV2", "BK", 1, {"hooks": "EV2"}),
    ("K", "EV2", "BK", 2, {"leaves": "spare-#", "safe_orderly_min": "1"}),
    ("L", "EV1", "SUR", 1, {"hooks": "EV1"}),
    ("M", "EV1", "SUR", 1, {"uses": "driver-1", "foothold": "foothold"}),
    ("N", "EV2", "BR", 1, {"hooks": "EV2"}),
    ("O", "EV1", "ZEN", 1, {"hooks": "EV1"}),
    ("P", "EV2", "HUB", 1, {"hooks": "EV2", "leaves": "sack-#"}),
    ("Q", "EV1", "HUB", 1, {"hooks": "EV1", "takes": "sack-#", "after": "P#"}),
    ("R", "EV2", "FWD", 1, {"hooks": "EV2"}),
    ("S", "EV2", "FWD", 1, {"uses": "driver-2", "wait_at": "HUB", "exertion": "moderate"}),
    ("T", "EV1", "HPP", 1, {"takes": "tag-#"}),
    ("U", "EV2", "HUB", 1, {"hooks": "EV2"}),
    ("V", "EV1", "HUB", 1, {"hooks": "EV1", "leaves": "tag-#>sack-#"}),
    ("W", "DESK", "", 1, {"after": "V#"}),
    ("X", "EV1", "AIR", 1, {"hooks": "EV1", "leaves": "sack-#"}),
    ("Y", "EV2", "AIR", 1, {"hooks": "EV2"}),
]
BROKEN = {
    "F": {"hooks": ""}, "G": {"light": "night", "same_window": "W#"}, "I": {"uses": "camera"},
    "J": {"foothold": "foothold"}, "K": {"place": "REG", "light": "day", "link": "wait"}, "L": {"hooks": ""},
    "O": {"light": "night", "same_window": "W#"}, "S": {"uses": "tag-#"}, "T": {"takes": "spare-#"},
    "V": {"leaves": "spare-#>sack-#"},
}


def growing_outing(count: int) -> pk.Scenario:
    """The demo's station with ``count`` steps, a shift after another."""
    demo = pk.load_scenario(DEMO)
    shifts = range(1, -(-count // SHIFT) + 1)
    steps = [_step(name, shift, crew, place, minutes, cells)
             for shift in shifts for name, crew, place, minutes, cells in STEPS][:count]
    there = {str(step["step"]) for step in steps}
    whole = [shift for shift in shifts if f"Y{shift}" in there]
    horizon_h = min(240.0, 10 + count / 10)
    scenario = demo.with_settings({
        "horizon_h": horizon_h, "limits.planned_min": 50 * horizon_h, "limits.hard_min": 60 * horizon_h,
        "suit.oxygen_g": 1e5, "suit.co2_g": 1e5, "suit.energy_wh": 1e5, "suit.water_g": 1e5})
    kept = ("driver-1", "driver-2", "camera", "foothold")
    hardware = demo.hardware[demo.hardware["item"].isin(kept)]
    tables = {
        "gaps": [_gap(shift) for shift in whole],
        "inhibits": [_inhibit(shift) for shift in whole],
        "tasks": [{"task": f"T{shift}", "title": f"Shift {shift}", "need": "required", "priority": "1",
                   "swappable": "no"} for shift in shifts],
        "hardware": [item for shift in shifts for item in _items(shift)],
        "steps": steps,
    }
    for name in ("gaps", "inhibits", "steps"):  # nothing refers to the demo's own work any more
        scenario = scenario.with_table(name, getattr(demo, name)[:0])
    for name in ("tasks", "hardware", "steps", "gaps", "inhibits"):
        columns = getattr(demo, name).columns
        rows = [{column: row.get(column, "") for column in columns} for row in tables[name]]
        frame = pd.DataFrame(rows, columns=columns, dtype=object)
        if name == "hardware":
            frame = pd.concat([hardware.astype(object), frame], ignore_index=True)
        scenario = scenario.with_table(name, frame)
    return scenario


def _step(name: str, shift: int, crew: str, place: str, minutes: float,
          cells: dict[str, str]) -> dict[str, object]:
    cells = cells | (BROKEN.get(name, {}) if shift % 4 == 0 else {})
    row: dict[str, object] = {"step": f"{name}{shift}", "task": f"T{shift}", "crew": crew, "place": place,
                              "title": f"Work {name} of shift {shift}", "minutes_low": minutes,
                              "minutes_likely": minutes, "minutes_high": 2 * minutes}
    return row | {column: text.replace("#", str(shift)) for column, text in cells.items()}


def _gap(shift: int) -> dict[str, object]:
    return {"first_step": f"F{shift}", "then_step": f"R{shift}", "min_gap": 2, "max_gap": 300,
            "first_at": "finish", "then_at": "start", "reason": "A clock"}


def _inhibit(shift: int) -> dict[str, object]:
    return {"inhibit": f"I{shift}", "title": f"Drive off {shift}", "owner": "Desk", "from_step": f"F{shift}",
            "until_step": f"N{shift}", "lead_min": 1, "needed_by": f"J{shift} K{shift}",
            "hold_max_min": 5 if shift % 4 == 0 else 90, "reason": "Nobody there while it turns"}


def _items(shift: int) -> list[dict[str, object]]:
    return [
        {"item": f"spare-{shift}", "title": f"Spare {shift}", "kind": "spare", "at": "BOX", "end_at": "BK",
         "slots": 1, "bulky": "no"},
        {"item": f"sack-{shift}", "title": f"Sack {shift}", "kind": "bag", "at": "BOX", "end_at": "inside",
         "slots": 1, "holds": 2, "bulky": "no"},
        {"item": f"tag-{shift}", "title": f"Tag {shift}", "kind": "unit", "at": "HPP", "end_at": "inside",
         "slots": 1, "bulky": "no"},
    ]


WORK: dict[str, Callable[[pk.Plan], object]] = {
    "time_plan": lambda plan: pk.time_plan(plan.scenario),
    "slack": lambda plan: plan.timed.slack,
    "holders": lambda plan: plan.timed.holders,
    "timeline": lambda plan: plan.timeline,
    "summary": lambda plan: plan.summary,
    "handovers": lambda plan: plan.handovers,
    "explain the last step": lambda plan: plan.explain(plan.timed.steps[-1].step),
    "custody": lambda plan: plan.custody,
    "kit_list": lambda plan: plan.kit_list,
    "tethers": lambda plan: plan.tethers,
    "suits": lambda plan: plan.suits,
    "returns": lambda plan: plan.returns,
    "inhibits": lambda plan: plan.inhibits,
    "links, clocks": lambda plan: (plan.links, plan.clocks),
    "findings": lambda plan: plan.findings,
    "at": lambda plan: plan.at(plan.end_min / 2),
    "swimlane": lambda plan: swimlane_spec(plan.timed),
    "film": lambda plan: scene_of(plan.timed),
}


def took_s(work: Callable[[], object]) -> float:
    """Processor time of a call, seconds."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def told(name: str, seconds: Sequence[float]) -> None:
    """A row: seconds, then by how much each is more than the one before."""
    ratios = [after / max(before, 1e-6) for before, after in pairwise(seconds)]
    print(f"{name:24}" + "".join(f"{each:9.3f}" for each in seconds) + "   "
          + "".join(f"{each:6.1f}" for each in ratios), flush=True)


def long_log(plan: pk.Plan, rows: int, path: Path) -> None:
    """A log of an outing that went as planned, as far as its last tenth, with suit data in between."""
    until = 0.9 * plan.end_min
    events = [(float(at), kind, step.step, "") for kind, times in (("finished", plan.timed.finishes),
                                                                 ("started", plan.timed.starts))
              for step, at in zip(plan.timed.steps, times, strict=True) if at <= until]
    more = max(0, rows - len(events))
    events += [((number + 1) * until / (more + 1), "suit", "", "EV1") for number in range(more)]
    lines = ["event_id,logged_at,crew,step,event,at,remaining_min,metabolic_w,by,corrects,note"]
    for number, (at, kind, step, crew) in enumerate(sorted(events), start=1):
        utc = f"{plan.pet_zero + timedelta(minutes=at):%Y-%m-%dT%H:%M:%S.%f}Z"
        lines.append(f"e{number},{utc},{crew},{step},{kind},{utc},,{250 if crew else ''},,,")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def main(most: int) -> None:
    """One row a thing; the counts double, and 5,000, the most the format takes, comes where it is asked."""
    counts = [count for count in (250, 500, 1_000, 2_000, 5_000) if count <= most]
    print(f"{'steps':24}" + "".join(f"{count:9}" for count in counts) + "   ratios")
    plans: list[Any] = []
    told("scenario", [took_s(lambda count=count: plans.append(growing_outing(count))) for count in counts])
    plans = [pk.time_plan(scenario) for scenario in plans]
    for name, work in WORK.items():
        told(name, [took_s(partial(work, plan)) for plan in plans])
    print(f"findings {[len(plan.findings) for plan in plans]}")
    rows = [6_000, 12_000, 24_000, 48_000]  # a full log, of 50,000, takes no more
    print(f"{'log rows':24}" + "".join(f"{count:9}" for count in rows))
    with tempfile.TemporaryDirectory() as folder:
        logs = [Path(folder) / f"{count}" / "log.csv" for count in rows]
        for count, log in zip(rows, logs, strict=True):
            log.parent.mkdir()
            long_log(plans[0], count, log)
        told("read_log", [took_s(lambda log=log: pk.read_log(log)) for log in logs])
        for name, at_min in (("append, last", 0.95 * plans[0].end_min), ("append, late", 60.03)):
            told(name, [took_s(partial(pk.append_log, log, "suit", at=at_min, crew="EV2", metabolic_w=240,
                                       plan=plans[0])) for log in logs])


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2_000)
