"""Every table of some plans as text, to see that a change of the code changes none of them.

python -m tests.every_table FOLDER before and after the change, then diff -r of the two folders.
"""

from __future__ import annotations

import inspect
import sys
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

import planning_kit as pk
from planning_kit.front.shown import Shown
from planning_kit.inputs.shown_text import TextTable
from planning_kit.plan.moments import whole_minutes

ROOT = Path(__file__).parents[1]
NOT_TOLD = ("scenario", "pet_zero", "name", "light", "records", "relays", "named_windows",
            "steps")  # what was given, not what was found


def told(value: Any) -> str:
    """A value in full, floats to the last bit; what a record holds by its public fields."""
    if isinstance(value, pd.DataFrame):
        rows = [told(list(value.columns)), *(told(list(row)) for row in value.itertuples())]
        return "\n".join(rows)
    if isinstance(value, np.ndarray):
        return repr(value.tolist())
    if is_dataclass(value) and not isinstance(value, type):
        held = {field.name: getattr(value, field.name) for field in fields(value) if field.name[0] != "_"}
        return type(value).__name__ + told(held)
    if isinstance(value, Mapping):
        return "{" + ", ".join(f"{told(key)}: {told(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ",\n ".join(told(each) for each in value) + "]"
    return repr(value)


def parts(plan: pk.Plan) -> Iterator[tuple[str, Any]]:
    """All that a plan says of itself, by name; why not, where it does not."""
    asked = {name: holder for holder in (plan, plan.timed)
             for name, member in inspect.getmembers(type(holder))
             if isinstance(member, property | cached_property | Shown)}
    for name in sorted(asked):
        if name[0] != "_" and name not in NOT_TOLD:
            try:
                value = getattr(asked[name], name)
                if not callable(value):
                    yield name, value
            except pk.ScenarioError as error:  # such as what only a re-timed plan can say
                yield name, error.words
    yield "explained", [plan.explain(step.step) for step in plan.timed.steps]
    yield "moments", [plan.at(minute) for minute in whole_minutes(plan.timed, 7.3)]


def plans() -> Iterator[tuple[str, Any]]:
    """The plans, by name: as loaded, changed in every way of a what-if, and re-timed."""
    tern, small, faulty = (pk.time_plan(pk.load_scenario(ROOT / folder)) for folder in (
        "tests/data/tern-2", "scenarios/small-outing", "scenarios/faulty-plan"))
    yield from (("tern", tern), ("small", small), ("faulty", faulty))
    log = pk.read_log(ROOT / "tests" / "data" / "late-2" / "log.csv")
    at = pd.to_datetime(log["at"], utc=True)
    for now_min in (60, 150, 230, 300):
        by_then = log[at <= tern.pet_zero + pd.Timedelta(minutes=now_min)]
        yield f"late-{now_min}", tern.retime(by_then, now_min)
    asked: list[tuple[str, pk.Plan, dict[str, Any]]] = [
        ("slip", tern, {"slip_min": 33}), ("tether", tern, {"tether_m": 12}),
        ("stretch", tern, {"stretch": {"EV2": 1.1, "EV1": "+1"}}), ("swap", tern, {"swap": "swappable"}),
        ("oxygen", tern, {"settings": {"suit.oxygen_g": 400, "suit.co2_g": 300}}),
        ("least", tern, {"drop": [t.task for t in tern.scenario.records.tasks if t.need != "required"]}),
    ]
    for label, plan in (("tern", tern), ("small", small)):
        names = [step.step for step in plan.timed.steps]
        for one, other in zip(names[::9], names[2::9], strict=False):
            asked += [(f"{label}-without-{one}", plan, {"drop": one}),
                      (f"{label}-moved-{one}", plan, {"move": {one: other}})]
    for name, plan, change in asked:
        try:
            yield name, plan.what_if(**change)
        except pk.ScenarioError as error:
            yield name, error.words


def write(folder: Path) -> None:
    """One folder a plan, one file a part of it (or why there is no plan), and one file a revision."""
    made: dict[str, Any] = dict(plans())
    for name, plan in made.items():
        (folder / name).mkdir(parents=True, exist_ok=True)
        for part, value in (("no_plan", plan),) if isinstance(plan, str) else parts(plan):
            (folder / name / part).write_text(told(value) + "\n", encoding="utf-8")
    for name in ("tether", "swap", "least"):
        revision = made["tern"].compare(made[name].scenario)
        tables: list[TextTable] = [revision.verdict, revision.times, revision.findings, revision.margins]
        (folder / f"revision-{name}").write_text("\n".join(map(told, tables)) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write(Path(sys.argv[1]))
