"""An outing of 49 steps typed from nothing, each cell counted: ``python -m tests.inputs.typed_outing``.

An invented outing: a regulator at the end of a boom while its line is off, a cable, a valve with a clock, an
antenna, a shield, a survey and a panel. What a planner would type is in the tables below, a row a line, and
nothing else is typed; a cell of a list is written with plus signs here.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path

import planning_kit as pk
from tests.conftest import SCENARIOS

MOST = 400
STEPS = 49

TYPED = {
    "places": """
place x_m y_m z_m
porch 3 0 0
rail-1 8 0 0
rail-2 13 0 0
boom-root 16 2 0
boom-end 16 10 0
deck 3 6 0
locker 3 9 1
mast 9 8 2
valve 14 -5 0
antenna 8 -6 1
panel 20 3 0
""",
    "routes": """
from_place to_place metres
airlock porch 3
porch rail-1 5
rail-1 rail-2 5
rail-2 boom-root 4
boom-root boom-end 8
porch deck 6
deck locker 4
deck mast 7
rail-2 valve 5
rail-1 antenna 6
boom-root panel 5
""",
    "hardware": """
item kind at end_at
bag-1 bag inside inside
bag-2 bag inside inside
driver tool EV1 inside
regulator spare bag-1 boom-end
old-one unit boom-end inside
cable cable bag-2 mast
""",
    "tasks": """
task need title
regulator required Exchange+the+regulator
valve required Open+the+valve
shield optional Shield+over+the+locker
cable required Cable+to+the+mast
antenna optional Antenna+bolts
survey get-ahead Pictures+of+the+boom
panel optional Panel+cover
""",
    "steps": """
step task crew place minutes_likely takes leaves uses after
R1 regulator EV1 airlock 5 bag-1
R2 regulator EV1 boom-root 6
R3 regulator EV1 boom-end 8
R4 regulator EV1 boom-end 10 - - driver
R5 regulator EV1 boom-end 7 old-one old-one>bag-1
R6 regulator EV1 boom-end 10 regulator<bag-1 regulator driver
R7 regulator EV1 boom-end 9 - - driver
R8 regulator EV1 boom-root 5
V1 valve EV1 rail-2 4
V2 valve EV1 valve 8
V3 valve EV1 valve 7
V4 valve EV1 valve 6
V5 valve EV1 valve 8
V6 valve EV1 rail-2 4
S1 shield EV1 porch 5
S2 shield EV1 deck 8
S3 shield EV1 locker 9
S4 shield EV1 locker 8
S5 shield EV1 locker 7
S6 shield EV1 deck 6
S7 shield EV1 deck 8
S8 shield EV1 deck 6
S9 shield EV1 porch 4
C1 cable EV2 airlock 5 bag-2
C2 cable EV2 deck 6 cable<bag-2
C3 cable EV2 deck 9
C4 cable EV2 mast 8 - cable
C5 cable EV2 mast 10
C6 cable EV2 mast 7
C7 cable EV2 mast 6
C8 cable EV2 deck 5
A1 antenna EV2 rail-1 4
A2 antenna EV2 antenna 8
A3 antenna EV2 antenna 9
A4 antenna EV2 antenna 7
A5 antenna EV2 antenna 6
A6 antenna EV2 rail-1 4
F1 survey EV2 rail-2 5
F2 survey EV2 boom-root 6
F3 survey EV2 boom-root 6
F4 survey EV2 boom-root 5
F5 survey EV2 rail-2 5
F6 survey EV2 rail-1 5
F7 survey EV2 porch 5
F8 survey EV2 porch 4
F9 survey EV2 porch 4
P1 panel both panel 20
""",
    "inhibits": """
inhibit from_step until_step
line-off R3 R7
""",
    "gaps": """
first_step then_step max_gap
V2 V5 45
""",
}
SPEEDS = {"EV1": 6, "EV2": 6}
SETTINGS = {"limits.planned_min": 330, "limits.hard_min": 390, "airlock.hatch_closed_min": 4,
            "airlock.repress_start_min": 6, "airlock.repress_safe_min": 12}
START = {"station": "Linnet Works", "pet_zero_utc": "2031-09-03T07:30:00Z",
         "orbit": SCENARIOS / "small-outing" / "orbit.kvn"}


@dataclass
class Typist:
    """Types rows into a scenario and counts the cells that are not empty."""

    scenario: pk.Scenario
    cells: int = 0

    def add(self, table: str, rows: list[dict[str, str]], after: str | None = None) -> None:
        self.cells += sum(len(row) for row in rows)
        self.scenario = self.scenario.add_row(table, *rows, after=after)

    def edit(self, table: str, key: str, **cells: object) -> None:
        self.cells += sum(cell != "" for cell in cells.values())
        self.scenario = self.scenario.edit_row(table, key, **cells)


def rows_of(text: str) -> list[dict[str, str]]:
    """Rows as mappings of the cells that are given."""
    head, *lines = text.strip().splitlines()
    return [{name: cell.replace("+", " ") for name, cell in zip(head.split(), line.split(), strict=False)
             if cell != "-"} for line in lines]


def typed_outing(folder: Path) -> Typist:
    """The outing, typed; ``folder`` is new."""
    blank = pk.new_scenario(folder, **START)  # type: ignore[arg-type]
    for table, key in (("steps", "work"), ("tasks", "work"), ("routes", "airlock worksite"),
                       ("places", "worksite")):
        blank = blank.drop_row(table, key)
    sources = {f"{key}_source": "demo value" for key in SETTINGS}
    typist = Typist(blank.with_settings(SETTINGS | sources), len(START) + len(SETTINGS) + len(sources))
    for step, minutes in (("egress", 20), ("clean-up", 15)):
        typist.edit("steps", step, minutes_likely=minutes, x_source="")
    for name, speed in SPEEDS.items():
        typist.edit("crew", name, metres_per_min=speed, x_source="")
    for table, text in TYPED.items():
        typist.add(table, rows_of(text), after="egress" if table in ("tasks", "steps") else None)
    return typist


def main() -> None:
    """Tell how many cells were typed, and what is found."""
    with tempfile.TemporaryDirectory() as place:
        typist = typed_outing(Path(place) / "outing")
    plan = pk.time_plan(typist.scenario)
    print(f"{len(plan.scenario.steps)} steps, {len(plan.scenario.places)} places, {typist.cells} cells "
          f"typed, end {plan.end_min:.0f} min")
    print(plan.findings[["severity", "check", "rule", "message"]].to_string())


if __name__ == "__main__":
    main()
