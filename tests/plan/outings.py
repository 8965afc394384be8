"""Random outings for the tests of hardware and tethers: mostly sensible, now and then wrong."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import pandas as pd

import planning_kit as pk

SMALL = Path(__file__).parents[2] / "scenarios" / "small-outing"
AIRLOCK = "HAT"
# A loop and a spur; no two ways between two places are equally long.
ROUTES = [("HAT", "MID", 6.3), ("MID", "MST", 11.7), ("HAT", "POR", 9.1), ("POR", "BAY", 5.9),
          ("MST", "BAY", 14.3), ("MST", "TIP", 7.7)]
PLACES = ["HAT", "MID", "MST", "POR", "BAY", "TIP"]
KINDS = {"tool-a": "tool", "tool-b": "tool", "spare": "spare", "sack": "bag", "pouch": "bag",
         "foot-1": "foothold", "foot-2": "foothold"}
SLOTS = {"tool-a": 1, "tool-b": 1, "spare": 2, "sack": 1, "pouch": 1, "foot-1": 2, "foot-2": 1}
HOLDS = {"sack": 3, "pouch": 1}


def frame_of(scenario: pk.Scenario, table: str, rows: list[dict[str, object]]) -> pd.DataFrame:
    columns = scenario.table(table).columns
    return pd.DataFrame([{column: row.get(column, "") for column in columns} for row in rows],
                        columns=columns, dtype=object)


@cache
def station() -> pk.Scenario:
    """The small outing emptied of work, with six places, seven items and a loop of routes."""
    scenario = pk.load_scenario(SMALL)
    for table in ("gaps", "inhibits"):
        scenario = scenario.with_table(table, scenario.table(table)[:0])
    steps = scenario.steps[:1]
    scenario = scenario.with_table("steps", steps)
    scenario = scenario.with_table("places", frame_of(scenario, "places", places(random.Random(0))))
    routes = [{"from_place": a, "to_place": b, "metres": m, "tight": "no", "snag": "no"}
              for a, b, m in ROUTES]
    return scenario.with_table("routes", frame_of(scenario, "routes", routes))


def places(draw: random.Random) -> list[dict[str, object]]:
    yes_no = ("yes", "no")
    return [{"place": name, "x_m": number, "y_m": 0, "z_m": 0, "crew_at_once": 2,
             "anchor": "yes" if name == AIRLOCK else draw.choice(yes_no), "socket": draw.choice(yes_no)}
            for number, name in enumerate(PLACES)]


@dataclass
class Sketch:
    """A planner who writes one row after another and keeps in mind where things are, row by row."""

    draw: random.Random
    places: list[dict[str, object]]
    slips: float
    at: dict[str, str] = field(default_factory=dict)
    rows: list[dict[str, object]] = field(default_factory=list)

    def slip(self) -> bool:
        return self.draw.random() < self.slips

    def hardware(self) -> list[dict[str, object]]:
        for item in KINDS:
            spots = [*PLACES, "EV1", "EV2", "inside"] + (["sack"] if item not in HOLDS else [])
            self.at[item] = self.draw.choice(spots)
        ends = ["", "", "inside", *PLACES]
        return [{"item": item, "title": item, "kind": kind, "at": self.at[item],
                 "end_at": self.draw.choice(ends), "slots": SLOTS[item], "holds": HOLDS.get(item, ""),
                 "bulky": "no"} for item, kind in KINDS.items()]

    def step(self, number: int) -> None:
        crew = self.draw.choice(["EV1", "EV2", "EV1", "EV2", "both"])
        team = ("EV1", "EV2") if crew == "both" else (crew,)
        place = self.draw.choice(self.places)
        here = str(place["place"])
        minutes = self.draw.choice([0, 1, 2, 5, 8])
        earlier = [row["step"] for row in self.rows]
        takes = self._takes(team, here)
        uses, foothold = self._needs(team, here)
        self.rows.append({
            "step": f"S{number}", "task": "CLN", "crew": crew, "place": here, "title": "", "takes": takes,
            "minutes_low": minutes, "minutes_likely": minutes, "minutes_high": minutes, "exertion": "light",
            "after": " ".join(earlier[-1:]) if self.draw.random() < 0.7 else "",
            "leaves": self._leaves(team, here), "uses": uses, "foothold": foothold,
            "hooks": self._hooks(team, place),
        })

    def _takes(self, team: tuple[str, ...], here: str) -> str:
        words = []
        for _ in range(self.draw.choice([0, 1, 1, 2])):
            who = self.draw.choice(team)
            near = {here, *team}
            loose = [i for i, where in self.at.items() if where == here or (
                where == "inside" and here == AIRLOCK)]
            bagged = [i for i, where in self.at.items() if where in HOLDS and self.at[where] in near]
            pool = list(KINDS) if self.slip() else [*loose, *bagged]
            if pool:
                item = self.draw.choice(pool)
                out_of = self.at[item] if item in bagged and not self.slip() else ""
                if item not in HOLDS and self.slip():
                    out_of = self.draw.choice(list(HOLDS))
                words.append(self._word(team, who, item, f"<{out_of}" if out_of else ""))
                self.at[item] = who
        return " ".join(words)

    def _leaves(self, team: tuple[str, ...], here: str) -> str:
        words = []
        for _ in range(self.draw.choice([0, 0, 1, 1, 2])):
            held = [(i, where) for i, where in self.at.items() if where in team]
            if self.slip():
                held = [(item, self.draw.choice(team)) for item in KINDS]
            if held:
                item, who = self.draw.choice(held)
                partner = "EV2" if who == "EV1" else "EV1"
                is_near = self.slip()
                bags = [] if item in HOLDS else [b for b in HOLDS if is_near or self.at[b] in (here, *team)]
                goals = ["", "", *bags, *([partner] if len(team) > 1 or self.slip() else [])]
                goal = self.draw.choice(goals)
                words.append(self._word(team, who, item, f">{goal}" if goal else ""))
                self.at[item] = goal or here
        return " ".join(words)

    def _needs(self, team: tuple[str, ...], here: str) -> tuple[str, str]:
        near = {here, *team}
        at_hand = [i for i, w in self.at.items() if w in near or (w in HOLDS and self.at[w] in near)]
        uses = self.draw.choice(list(KINDS) if self.slip() else at_hand or [""])
        feet = [i for i, where in self.at.items() if KINDS[i] == "foothold" and where == here]
        foothold = self.draw.choice(["foot-1", "foot-2"] if self.slip() else feet or [""])
        return (uses if self.draw.random() < 0.5 else ""), (foothold if self.draw.random() < 0.4 else "")

    def _hooks(self, team: tuple[str, ...], place: dict[str, object]) -> str:
        if self.slip():
            return self.draw.choice(["EV1", "EV2", "EV1 EV2"])
        return self.draw.choice(["", *team]) if place["anchor"] == "yes" else ""

    @staticmethod
    def _word(team: tuple[str, ...], who: str, item: str, where: str) -> str:
        return f"{who}:{item}{where}" if len(team) > 1 else f"{item}{where}"


def random_outing(draw: random.Random, slips: float = 0.04) -> pk.Scenario:
    """A scenario of 4 to 12 steps; each choice is a slip with this probability."""
    scenario = station()
    sketch = Sketch(draw, places(draw), slips)
    scenario = scenario.with_table("places", frame_of(scenario, "places", sketch.places))
    scenario = scenario.with_table("hardware", frame_of(scenario, "hardware", sketch.hardware()))
    crew = [{"crew": who, "metres_per_min": draw.choice([5, 6]), "exertion_factor": 1,
             "carry_slots": draw.choice([3, 4, 5]), "tether_m": draw.choice([13.5, 18.5, 26.5])}
            for who in ("EV1", "EV2")]
    scenario = scenario.with_table("crew", frame_of(scenario, "crew", crew))
    for number in range(draw.randint(4, 12)):
        sketch.step(number)
    return scenario.with_table("steps", frame_of(scenario, "steps", sketch.rows))
