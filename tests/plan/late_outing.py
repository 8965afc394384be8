"""A made-up outing with late steps: a cold box and its clock, a panel that must be dead, the ground.

EV1 takes the box out (K1) and plugs it in at night (K2). The ground takes a panel's power off (G1), EV2
confirms it dead (M2) and swaps it (M3) once the box is in; then the ground gives the power back (G2).
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pandas as pd

import planning_kit as pk

SMALL = Path(__file__).parents[2] / "scenarios" / "small-outing"
LATE = ("K1", "G1", "M2")
_STEPS: list[dict[str, Any]] = [
    {"step": "K0", "task": "OUT", "crew": "both", "place": "HAT", "minutes_likely": 10, "hooks": "EV1 EV2"},
    {"step": "K1", "task": "BOX", "crew": "EV1", "place": "MID", "minutes_likely": 4, "title": "Box out",
     "takes": "lamp-new"},
    {"step": "K2", "task": "BOX", "crew": "EV1", "place": "MST", "minutes_likely": 14, "light": "night",
     "title": "Plug the box in", "leaves": "lamp-new"},
    {"step": "M1", "task": "PAN", "crew": "EV2", "place": "POR", "minutes_likely": 12},
    {"step": "G1", "task": "PAN", "crew": "GND", "place": "", "minutes_likely": 2, "title": "Power off"},
    {"step": "M2", "task": "PAN", "crew": "EV2", "place": "POR", "minutes_likely": 3, "after": "G1",
     "title": "See it dead"},
    {"step": "M3", "task": "PAN", "crew": "EV2", "place": "POR", "minutes_likely": 8, "after": "K2",
     "title": "Swap the panel"},
    {"step": "G2", "task": "PAN", "crew": "GND", "place": "", "minutes_likely": 2, "after": "M3"},
    {"step": "K9", "task": "OUT", "crew": "both", "place": "HAT", "minutes_likely": 10},
]


def late_outing(late: tuple[str, ...] = LATE, margins: dict[str, float] | None = None) -> pk.Scenario:
    """The outing with the steps named in ``late`` late, and the ``margins`` of some."""
    steps = [{**row, "exertion": "light", "minutes_low": row["minutes_likely"],
              "minutes_high": row["minutes_likely"], "when": "late" if row["step"] in late else "",
              "late_margin_min": (margins or {}).get(row["step"], "")} for row in _STEPS]
    tables: dict[str, list[dict[str, Any]]] = {
        "actors": [{"actor": "GND", "title": "Ground desk"}],
        "tasks": [{"task": task, "title": task, "need": "required", "priority": 1, "swappable": "no"}
                  for task in ("OUT", "BOX", "PAN")],
        "gaps": [{"first_step": "K1", "then_step": "K2", "min_gap": 0, "max_gap": 45,
                  "reason": "it warms up"}],
        "inhibits": [{"inhibit": "P-OFF", "title": "Panel off", "owner": "Ground desk", "from_step": "G1",
                      "until_step": "M3", "lead_min": 0, "reason": "live panel"}],
        "steps": steps,
    }
    scenario = pk.load_scenario(SMALL)
    return scenario.with_tables({name: _frame(scenario, name, rows) for name, rows in tables.items()})


def _frame(scenario: pk.Scenario, table: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    columns = list(scenario.table(table).columns)
    columns += [name for name in dict.fromkeys(name for row in rows for name in row) if name not in columns]
    return pd.DataFrame([{column: row.get(column, "") for column in columns} for row in rows],
                        columns=columns, dtype=object)
