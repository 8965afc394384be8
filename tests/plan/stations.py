"""Random stations with random work, for tests that judge routes and ways back."""

from __future__ import annotations

import numpy as np
import pandas as pd

import planning_kit as pk


def random_outing(small: pk.Scenario, seed: int) -> pk.Scenario:
    """The small outing's settings on a random station: loops and trees, lengths without ties, few anchors.

    No leg is longer than a tether. About a dozen steps for two, some of which move a tether to an anchor.
    """
    random = np.random.default_rng(seed)
    names = ["HAT", *(f"P{number}" for number in range(1, int(random.integers(5, 9))))]
    anchors = {"HAT", *(name for name in names if random.random() < 0.6)}
    places = pd.DataFrame([
        {"place": name, "title": name, "x_m": 0, "y_m": 0, "z_m": 0, "crew_at_once": 2,
         "anchor": "yes" if name in anchors else "no", "socket": "no", "caution": ""} for name in names])
    ways = {(names[int(random.integers(0, number))], names[number]) for number in range(1, len(names))}
    ways |= {tuple(sorted(random.choice(names, 2, replace=False))) for _ in range(int(random.integers(0, 3)))}
    routes = pd.DataFrame([
        {"from_place": a, "to_place": b, "metres": round(float(random.uniform(2, 14)), 6), "minutes": "",
         "tight": "no", "snag": "no", "caution": ""}
        for a, b in sorted({frozenset(way): way for way in ways}.values())])
    crew = small.crew
    crew["metres_per_min"] = [round(float(random.uniform(3, 7)), 6) for _ in range(2)]
    crew["tether_m"] = [round(float(random.uniform(14, 30)), 6) for _ in range(2)]
    scenario = small
    for table in ("inhibits", "gaps", "steps", "hardware"):
        scenario = scenario.with_table(table, getattr(scenario, table).iloc[:0])
    old = scenario.places.query("place not in @names")
    scenario = scenario.with_table("places", pd.concat([places, old], ignore_index=True))
    scenario = scenario.with_table("routes", routes).with_table("places", places).with_table("crew", crew)
    return scenario.with_table("steps", _steps(scenario.steps, names, anchors, random))


def _steps(empty: pd.DataFrame, names: list[str], anchors: set[str],
           random: np.random.Generator) -> pd.DataFrame:
    rows = []
    for number in range(12):
        crew = ("EV1", "EV2")[number % 2]
        place = str(random.choice(names))
        hooks = crew if place in anchors and random.random() < 0.7 else ""
        minutes = round(float(random.uniform(0.5, 6)), 3)
        rows.append(dict.fromkeys(empty.columns, "") | {
            "step": f"S{number}", "task": "CLN", "crew": crew, "place": place, "title": "work",
            "minutes_low": minutes, "minutes_likely": minutes, "minutes_high": minutes,
            "exertion": "light", "hooks": hooks,
        })
    return pd.DataFrame(rows)
