"""Random scenarios that use the format whole: every column of steps, gaps, windows and inhibits at once.

Built on the random outings (hardware, tethers); the rules of time are drawn so densely that windows, groups,
links and greatest gaps meet on the same steps.
"""

from __future__ import annotations

import random
from datetime import datetime, timedelta
from functools import cache

import pandas as pd

import planning_kit as pk
from tests.plan.outings import random_outing

NAMES = ("quiet", "watch", "calm")


@cache
def with_an_actor(title: str) -> pd.DataFrame:
    return pd.DataFrame([{"actor": "arm", "title": title}], dtype=object)


def random_scenario(draw: random.Random) -> pk.Scenario:
    """A valid scenario; many of them can be timed, some cannot."""
    outing = random_outing(draw, slips=0.02)
    rows = [{str(key): value for key, value in row.items()} for row in outing.steps.to_dict("records")]
    rows = rows[:draw.randint(3, 8)]
    names = [str(row["step"]) for row in rows]
    lights = {group: draw.choice(["night", "day"]) for group in ("g", "h")}
    for number, row in enumerate(rows):
        _times(draw, row, names[:number], lights)
    columns = [*outing.steps.columns, *(set(rows[0]) - set(outing.steps.columns))]
    steps = pd.DataFrame([{column: row.get(column, "") for column in columns} for row in rows], dtype=object)
    tables = {"actors": with_an_actor("Arm operator"), "windows": _windows(draw,
                                                                           outing.settings.pet_zero_utc),
              "steps": steps, "gaps": _gaps(draw, names), "inhibits": _inhibits(draw, names)}
    for table, frame in tables.items():
        outing = outing.with_table(table, frame)
    return outing.with_settings({"horizon_h": draw.choice([5.0, 8.0, 9.5])})


def _times(draw: random.Random, row: dict[str, object], earlier: list[str], lights: dict[str, str]) -> None:
    likely = draw.choice([0, 1, 3, 5, 9.5, 14, 21])
    group = draw.choice(["", "", "g", "h"])
    light = lights.get(group) or draw.choice(["", "", "", "any", "night", "day"])
    row |= {
        "minutes_low": likely / 2, "minutes_likely": likely, "minutes_high": likely * 1.5,
        "after": " ".join(draw.sample(earlier, min(len(earlier), draw.choice([0, 0, 1, 2])))),
        "light": light, "same_window": group, "link": draw.choice(["", "", "", "yes", "wait"]),
        "windows": " ".join(draw.sample(NAMES, draw.choice([0, 0, 0, 1, 1, 2]))),
        "wait_at": draw.choice(["", "", "MID"]), "travel_extra_min": draw.choice(["", "", 0.7, 4]),
        "safe_orderly_min": draw.choice(["", 2, 11]), "safe_now_min": draw.choice(["", 0, 1.5]),
        "make_safe": draw.choice(["", "cap it"]), "caution": draw.choice(["", "mind the edge"]),
    }
    if draw.random() < 0.1:
        row |= {"crew": "arm", "place": "", "wait_at": "", "travel_extra_min": ""}
        row |= dict.fromkeys(("takes", "leaves", "uses", "hooks", "foothold"), "")


def _windows(draw: random.Random, pet_zero: datetime) -> pd.DataFrame:
    rows = []
    for name in NAMES:
        now = pet_zero + timedelta(minutes=draw.choice([-20, 0, 7.25, 40]))
        for _ in range(draw.randint(3, 7)):
            end = now + timedelta(minutes=draw.choice([25.5, 50, 90]))
            rows.append({"window": name, "start": f"{now:%Y-%m-%dT%H:%M:%SZ}",
                         "end": f"{end:%Y-%m-%dT%H:%M:%SZ}", "source": "drawn"})
            now = end + timedelta(minutes=draw.choice([1, 9.5, 33]))
    return pd.DataFrame(rows, dtype=object)


def _gaps(draw: random.Random, names: list[str]) -> pd.DataFrame:
    rows: dict[tuple[str, str], dict[str, object]] = {}
    for _ in range(draw.choice([0, 0, 1, 2, 3])):
        first, then = sorted(draw.sample(range(len(names)), 2))
        if draw.random() < 0.1:
            first, then = then, first
        least = draw.choice(["", 0, 0, 5, 20, -15])
        most = draw.choice(["", "", 0, 30, 60, 120])
        if most != "" and float(most) < float(least or 0):
            most = least
        rows[names[first], names[then]] = {
            "first_step": names[first], "then_step": names[then], "min_gap": least, "max_gap": most,
            "reason": "drawn", "first_at": draw.choice(["", "start", "finish"]),
            "then_at": draw.choice(["", "start", "finish"]),
        }
    columns = ["first_step", "then_step", "min_gap", "max_gap", "reason", "first_at", "then_at"]
    return pd.DataFrame(list(rows.values()), columns=columns, dtype=object)


def _inhibits(draw: random.Random, names: list[str]) -> pd.DataFrame:
    rows: list[dict[str, object]] = []
    for number in range(draw.choice([0, 1, 2])):
        first, last = sorted(draw.choices(range(len(names)), k=2))
        rows.append({
            "inhibit": f"i{number}", "title": "drawn", "owner": "desk", "from_step": names[first],
            "until_step": names[last], "lead_min": draw.choice([0, 5, 12]), "reason": "drawn",
            "needed_by": draw.choice(["", names[first], " ".join(names[first:last + 1])]),
            "hold_max_min": draw.choice(["", 30, 200]), "window": draw.choice(["", "night", "day", *NAMES]),
        })
    columns = ["inhibit", "title", "owner", "from_step", "until_step", "lead_min", "reason", "needed_by",
               "hold_max_min", "window"]
    return pd.DataFrame(rows, columns=columns, dtype=object)
