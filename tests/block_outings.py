"""Outings made of blocks, for tests: known ones with places taken away, and one from nothing."""

from __future__ import annotations

from pathlib import Path

import planning_kit as pk
from planning_kit.inputs.rules import AT_A_PLACE
from tests.inputs.small_folder import TABLES, write_small

ROOT = Path(__file__).parents[1]
FOLDERS = ["scenarios/small-outing", "tests/data/curlew-deck", "tests/data/tern-1", "tests/data/orders-rowan"]


def without_places(scenario: pk.Scenario, every: int = 3) -> pk.Scenario:
    """The scenario with the place taken from every so many of the steps of EV1, EV2 and both."""
    crews = ("EV1", "EV2", "both")
    suited = [step.step for step in scenario.records.steps if step.place and step.crew in crews]
    frame = scenario.steps
    lost = frame["step"].isin(suited[1::every])
    for column in ("place", *AT_A_PLACE):
        frame[column] = frame[column].astype(object).mask(lost, "")
    return scenario.with_table("steps", frame)


def loaded(name: str) -> pk.Scenario:
    """A scenario of this repository, by its folder."""
    return pk.load_scenario(ROOT / name)


def blocks_only(folder: Path, *, is_empty: bool = False) -> pk.Scenario:
    """An outing from nothing: an airlock, two people and four blocks without a place, or none."""
    head = ("step,task,crew,place,title,minutes_low,minutes_likely,minutes_high,after,light,same_window,"
            "exertion,foothold,takes,leaves,uses,hooks,link,caution\n")
    rows = [("OUT", "both", "Egress and set-up", 35), ("BOX", "EV1", "Box exchange", 90),
            ("CAB", "EV2", "Cable", 60), ("IN", "both", "Clean-up", 20)]
    steps = head + "".join(f"{step},W,{crew},,{title},,{minutes},{',' * 11}\n"
                           for step, crew, title, minutes in rows if not is_empty)
    empty = {f"{name}.csv": TABLES[name].splitlines()[0] + "\n"
             for name in ("gaps", "inhibits", "hardware", "routes")}
    tables = {**empty, "steps.csv": steps, "actors.csv": None, "windows.csv": None,
              "tasks.csv": TABLES["tasks"].splitlines()[0] + "\nW,Work,required,1,,\n",
              "places.csv": TABLES["places"].splitlines()[0] + "\nlock,Airlock,0,0,0,2,yes,,\n"}
    return pk.load_scenario(write_small(folder, tables))
