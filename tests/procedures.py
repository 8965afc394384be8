"""Outings with procedures, for tests: the small one, an earlier demo and one made from nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

import planning_kit as pk

TESTS = Path(__file__).parent
SMALL, TERN = (TESTS.parent / "scenarios" / name for name in ("small-outing", "tern-station"))
STATES = ({"state": "J-LMP", "values": "mated capped", "at_start": "mated", "at_end": "mated",
           "safe_when": "I-LMP"},
          {"state": "vent", "values": "closed open", "at_start": "closed", "at_end": "closed",
           "safe_when": "none"})
ACTIONS = (
    {"step": "A1", "number": 1, "who": "both", "action": "Look each other over", "class": "inspect"},
    {"step": "A1", "number": 2, "who": "EV1", "action": "Set the driver", "on": "driver", "value": "A3",
     "class": "set"},
    {"step": "B2", "number": 1, "action": "Loosen the ring", "on": "ring", "value": "6", "unit": "turns",
     "tool": "driver:A3", "class": "turn out", "if_not": "R-TURN"},
    {"step": "B3", "number": 1, "action": "Pull the plug", "on": "J-LMP", "value": "capped",
     "class": "demate", "warning": "warning: live until the desk says dead", "critical": "yes",
     "if_not": "R-TURN"},
    {"step": "B3", "number": 2, "action": "Plug in the new lamp", "on": "J-LMP", "value": "mated",
     "class": "mate"},
    {"step": "B3", "number": 3, "action": "Tighten the ring", "on": "ring", "value": "6", "unit": "turns",
     "tool": "driver:A3", "class": "turn in"},
    {"step": "C2", "number": 1, "action": "Open the vent", "on": "vent", "value": "open", "class": "set"},
)
RESPONSES = (
    {"response": "R-WATER", "trigger": "water in the helmet", "call": "terminate", "companion": "along",
     "minutes_likely": 1, "minutes_high": 2, "decide_by_min": 0, "first_actions": "Say how much",
     "source": "test"},
    {"response": "R-TURN", "call": "go on", "minutes_likely": 2, "minutes_high": 3, "source": "test"},
)
SETS = {"C2": "vent=open", "C3": "vent=closed"}


def frame_of(scenario: pk.Scenario, table: str, *rows: dict[str, Any]) -> pd.DataFrame:
    """A table of these rows; cells not named are empty."""
    columns = scenario.table(table).columns
    return pd.DataFrame([{name: row.get(name, "") for name in columns} for row in rows], columns=columns,
                        dtype=object)


def with_procedures(scenario: pk.Scenario, actions: Any = ACTIONS, states: Any = STATES,
                    responses: Any = RESPONSES, sets: Any = None) -> pk.Scenario:
    """The scenario with these tables, and what its steps set."""
    steps, said = scenario.steps, SETS if sets is None else sets
    steps["sets"] = [said.get(step, "") for step in steps["step"]]
    inhibits = scenario.inhibits
    inhibits["confirmed_by"] = ["B2" if name == "I-LMP" else "" for name in inhibits["inhibit"]]
    return scenario.with_tables({
        "steps": steps, "inhibits": inhibits, "actions": frame_of(scenario, "actions", *actions),
        "states": frame_of(scenario, "states", *states),
        "responses": frame_of(scenario, "responses", *responses)})


def small_with_procedures() -> pk.Scenario:
    """The small outing with a driver to set, a connector, a vent and two responses."""
    return with_procedures(pk.load_scenario(SMALL))


def edited(actions: Any, step: str, number: float, /, **cells: object) -> list[dict[str, Any]]:
    """Actions with cells of one of them changed."""
    keys = {name.rstrip("_"): value for name, value in cells.items()}
    return [row | keys if (row["step"], row["number"]) == (step, number) else row for row in actions]


def new_outing(folder: Path) -> pk.Scenario:
    """An outing from nothing, with a tool and a procedure typed into it by name."""
    scenario = pk.new_scenario(folder, station="Linnet Works", pet_zero_utc="2031-09-03T07:30:00Z",
                               orbit=SMALL / "orbit.kvn")
    scenario = scenario.add_row("hardware", item="key", title="Key", kind="tool", at="EV1", end_at="inside")
    scenario = scenario.add_row("responses", response="R-LOST", trigger="tool lost", call="go on",
                                minutes_likely=2, source="test")
    scenario = scenario.add_row("states", state="lid", values="shut open", at_start="shut", at_end="open",
                                safe_when="none")
    scenario = scenario.add_row("actions", step="work", number=1, action="Open the lid", on="lid",
                                value="open", tool="key", **{"class": "set"})
    return scenario.edit_row("steps", "work", sets="lid=open")
