"""Random small outings with hazards of all kinds, and where everybody is second by second, by brute force.

The simulation shares nothing with the package's exposures but the plan's passages, custody and times, and the
sky's light and beta, which have tests of their own.
"""

from __future__ import annotations

import math
import random
from datetime import datetime, timedelta
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

import planning_kit as pk
from planning_kit.inputs.hazard_words import Controls
from planning_kit.plan.legs import Passage
from planning_kit.sky.light import BETA_IN_DOUBT_DEG, light_between
from planning_kit.sky.orbit import Orbit, edge_uncertainty_s
from tests.betas import beta_deg

SMALL = Path(__file__).parents[2] / "scenarios" / "small-outing"
# A night of this orbit lasts from about 08:04 to 08:40 on that day: begin in it, within the guard after it,
# and just before it; and a month later, when the elements are old.
PET_ZEROS = ("2031-09-03T08:20:00Z", "2031-09-03T08:40:30Z", "2031-09-03T07:58:00Z", "2031-10-05T03:00:00Z")
SHORT_H, LONG_H = 0.5, 5.0  # some end after the horizon
PLACES = ("HAT", "P1", "P2", "P3", "P4", "P5")
STEP_S = 1.0
Truth = dict[tuple[str, str], tuple[np.ndarray, np.ndarray]]


@cache
def base(pet_zero: str, horizon_h: float) -> pk.Scenario:
    return pk.load_scenario(SMALL).with_settings({
        "pet_zero_utc": pet_zero, "horizon_h": horizon_h, "limits.planned_min": 15, "limits.hard_min": 20,
        "airlock.hatch_closed_min": 0, "airlock.repress_start_min": 1, "airlock.repress_safe_min": 2,
        "lighting.night_guard_s": 75, "checks.body_m": 0.4})


def frame(scenario: pk.Scenario, table: str, rows: list[dict[str, Any]]) -> pd.DataFrame:
    columns = list(scenario.table(table).columns)
    columns += sorted({name for row in rows for name in row} - set(columns))
    return pd.DataFrame([{column: row.get(column, "") for column in columns} for row in rows],
                        columns=columns, dtype=object)


def random_plan(seed: int) -> pk.Plan:
    """Six places, about six steps, three inhibits, two to four hazards; where it can, to a near horizon."""
    try:
        return pk.time_plan(_random_outing(seed, SHORT_H if seed % 3 == 0 else LONG_H))
    except pk.ScenarioError:  # a step would start after the horizon
        return pk.time_plan(_random_outing(seed, LONG_H))


def _random_outing(seed: int, horizon_h: float) -> pk.Scenario:
    draw = random.Random(seed)
    scenario = base(draw.choice(PET_ZEROS), horizon_h)
    points = {place: tuple(round(draw.uniform(-8, 8), 2) for _ in range(3)) for place in PLACES}
    if draw.random() < 0.1:
        points["P2"] = points["P1"]
    rows = {
        "places": [{"place": place, "x_m": x, "y_m": y, "z_m": z, "anchor": "yes", "socket": "no",
                    "zone": draw.choice(["", "", "A", "B"])} for place, (x, y, z) in points.items()],
        "routes": _routes(draw, points),
        "hardware": [{"item": "box", "title": "", "kind": "unit", "at": draw.choice([*PLACES, "EV1"]),
                      "end_at": "", "slots": 1, "holds": "", "bulky": "no"}],
        "steps": _steps(draw), "gaps": [], "crew": [
            {"crew": who, "metres_per_min": draw.choice([4, 6.5]), "exertion_factor": 1, "carry_slots": 3,
             "tether_m": 99} for who in ("EV1", "EV2")],
    }
    names = [row["step"] for row in rows["steps"]]
    rows["inhibits"] = [_inhibit(draw, name, names) for name in ("IA", "IB", "IC")]
    zones = sorted({row["zone"] for row in rows["places"]} - {""})
    rows["hazards"] = [_hazard(draw, number, scenario, rows["routes"], zones)
                       for number in range(draw.randint(2, 4))]
    frames = {"actors": pd.DataFrame({"actor": ["ARM"], "title": [""]})}
    frames |= {name: frame(scenario, name, each) if each else scenario.table(name)[:0]
               for name, each in rows.items()}
    return scenario.with_tables(frames)


def _routes(draw: random.Random, points: dict[str, tuple[float, ...]]) -> list[dict[str, Any]]:
    names = list(points)
    pairs = {(draw.choice(names[:number]), names[number]) for number in range(1, len(names))}
    pairs |= {tuple(draw.sample(names, 2)) for _ in range(2)}
    rows = []
    for one, other in sorted({frozenset(pair): pair for pair in pairs}.values()):
        bends = [tuple(round(draw.uniform(-8, 8), 2) for _ in range(3))
                 for _ in range(draw.choice([0, 0, 1, 2]))]
        line = [points[one], *bends, points[other]]
        straight = sum(math.dist(a, b) for a, b in pairwise(line))
        rows.append({
            "from_place": one, "to_place": other, "tight": "no", "snag": "no",
            "metres": round(max(0.5, straight * draw.choice([1.0, 1.03, 1.1, 1.4])), 3),
            "via": "; ".join(" ".join(map(str, bend)) for bend in bends),
            "minutes": draw.choice(["", "", round(draw.uniform(0.5, 3), 2)])})
    return rows


def _steps(draw: random.Random) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for number in range(draw.randint(5, 8)):
        minutes = draw.choice([0, 1, round(draw.uniform(0.3, 6), 2)])
        crew = draw.choice(["EV1", "EV2", "EV1", "EV2", "both", "ARM"])
        rows.append({
            "step": f"S{number}", "task": "CLN", "crew": crew, "place": draw.choice(PLACES),
            "exertion": "light",
            "minutes_low": minutes, "minutes_likely": minutes, "minutes_high": minutes,
            "after": rows[-1]["step"] if rows and draw.random() < 0.4 else "",
            "wait_at": draw.choice(PLACES) if crew != "ARM" and draw.random() < 0.15 else "",
            "travel_extra_min": draw.choice(["", "", 0.7]),
            "takes": "box" if number == 1 and crew in ("EV1", "EV2") else "",
            "leaves": "box" if number == 3 and crew in ("EV1", "EV2") else ""})
    return rows


def _inhibit(draw: random.Random, name: str, steps: list[str]) -> dict[str, Any]:
    begin, end = sorted(draw.choices(range(len(steps)), k=2))
    return {"inhibit": name, "from_step": steps[begin], "until_step": steps[end],
            "lead_min": draw.choice([0, 2]), "safe_after_min": draw.choice(["", "", 1.5, 4]),
            "confirmed_by": draw.choice(["", "", draw.choice(steps)])}


def _hazard(draw: random.Random, number: int, scenario: pk.Scenario,
            routes: list[dict[str, Any]], zones: list[str]) -> dict[str, Any]:
    row: dict[str, Any] = {"hazard": f"H{number}", "class": "warning", "limit": "keep_out", "source": "test"}
    kind = draw.choice(["sphere", "sphere", "zone", "named"])
    if kind == "sphere":
        row |= {axis: round(draw.uniform(-6, 6), 2) for axis in ("x_m", "y_m", "z_m")}
        row["radius_m"] = round(draw.uniform(0.5, 4), 2)
    elif kind == "zone" and zones:
        row["zones"] = " ".join(draw.sample(zones, draw.randint(1, len(zones))))
    else:
        route = draw.choice(routes)
        row |= {"places": draw.choice(PLACES), "routes": f"{route['to_place']}:{route['from_place']}"}
    soon = scenario.settings.pet_zero_utc + timedelta(minutes=10)
    beta = float(beta_deg(Orbit(scenario.elements), soon)[0])
    terms = ["day", "night", f"beta<={beta + draw.choice([-1, 0, 0.02]):.3f}",
             f"abs(beta)>{abs(beta) + draw.choice([-1, 0, 0.02, 3]):.3f}", "always",
             f"item:box@{draw.choice(PLACES)}", f"off:{draw.choice(['IA', 'IB'])}"]
    row["when"] = " and ".join(draw.sample(terms, draw.choice([0, 1, 1, 2])))
    row["controls"] = draw.choice(["", "IA", "IA IB", "IA | IB", "2 of (IA IB IC)", "IC | (IA IB)"])
    row["applies_to"] = draw.choice(["", "", "EV1"])
    return row


def simulated(plan: pk.Plan) -> tuple[np.ndarray, Truth]:
    """Seconds of PET, and by crew member and hazard who is inside, and inside without a control."""
    timed, hazards = plan.timed, plan.scenario.records.hazards
    minutes = np.arange(STEP_S / 2, timed.end_min * 60, STEP_S) / 60
    in_force = {each.inhibit: _in_force(plan, each, minutes) for each in plan.scenario.records.inhibits}
    truth: Truth = {}
    for hazard in hazards:
        there = np.ones(len(minutes), dtype=bool)
        for term in hazard.when:
            there &= _holds(plan, term, minutes, in_force)
        held = _tree(hazard.controls, in_force) if hazard.controls else np.zeros(len(minutes), dtype=bool)
        for crew, passages in timed.passages.items():
            inside = np.zeros(len(minutes), dtype=bool)
            if not hazard.applies_to or crew in hazard.applies_to:
                for passage in passages:
                    now = (minutes >= passage.start_min) & (minutes < passage.finish_min)
                    if now.any():
                        inside[now] = _is_inside(plan, hazard, passage, minutes[now])
            truth[crew, hazard.hazard] = (inside & there, inside & there & ~held)
    return minutes, truth


def _in_force(plan: pk.Plan, inhibit: Any, minutes: np.ndarray) -> np.ndarray:
    begin = plan.timed.span(inhibit.from_step)[0] - inhibit.lead_min
    end = plan.timed.span(inhibit.until_step)[1]
    if end < begin + inhibit.lead_min:
        return np.zeros(len(minutes), dtype=bool)
    begin += inhibit.safe_after_min or 0
    if inhibit.confirmed_by:
        begin = max(begin, plan.timed.span(inhibit.confirmed_by)[1])
    return np.asarray((minutes >= begin) & (minutes < end))


def _tree(controls: Controls | str, in_force: dict[str, np.ndarray]) -> np.ndarray:
    if isinstance(controls, str):
        return in_force[controls]
    return np.asarray(sum(_tree(each, in_force).astype(int) for each in controls.of) >= controls.least)


def _holds(plan: pk.Plan, term: Any, minutes: np.ndarray, in_force: dict[str, np.ndarray]) -> np.ndarray:
    unknown = minutes >= plan.timed.horizon_min
    if term.kind == "off":
        return ~in_force[term.about]
    if term.kind == "item":
        return _item_at(plan, term, minutes)
    if term.kind in ("day", "night"):
        return _light(plan, term.kind, minutes)
    if term.kind in ("beta", "abs(beta)"):
        beta = _beta(plan.scenario.elements, plan.pet_zero)(minutes)
        beta = np.abs(beta) if term.kind == "abs(beta)" else beta
        over = beta - term.degrees if ">" in term.sign else term.degrees - beta
        return np.asarray((over > -BETA_IN_DOUBT_DEG) | unknown)
    return np.ones(len(minutes), dtype=bool)


@cache
def _beta(elements: Any, pet_zero: datetime) -> Any:
    known = np.arange(0, 301)
    beta = beta_deg(Orbit(elements), [pet_zero + timedelta(minutes=int(minute)) for minute in known])
    return lambda minutes: np.interp(minutes, known, beta)


@cache
def _dark(elements: Any, pet_zero: datetime, horizon_min: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Every half second from 20 min before: its PET, whether the Sun is wholly hidden, and wholly clear."""
    begin = pet_zero - timedelta(minutes=20)
    light = light_between(Orbit(elements), begin, pet_zero + timedelta(minutes=horizon_min))
    seconds = np.arange(-1200, horizon_min * 60, 0.5)

    def within(windows: np.ndarray) -> np.ndarray:
        begin, end = windows.T[:, :, None] * 60 - 1200
        return np.asarray(((begin <= seconds) & (seconds < end)).any(axis=0))

    return seconds, within(light.night), within(light.day)


def _light(plan: pk.Plan, kind: str, minutes: np.ndarray) -> np.ndarray:
    """There is a moment so near at which the Sun is not wholly hidden (day), or not wholly clear (night)."""
    seconds, hidden, clear = _dark(plan.scenario.elements, plan.pet_zero, plan.timed.horizon_min)
    near = edge_uncertainty_s(Orbit(plan.scenario.elements), plan.pet_zero, minutes * 60)
    near = near + plan.scenario.settings.night_guard_s
    there = ~(hidden if kind == "day" else clear)
    count = np.concatenate([[0], np.cumsum(there)])
    first = np.searchsorted(seconds, minutes * 60 - near)
    last = np.searchsorted(seconds, minutes * 60 + near)
    return np.asarray((count[last] > count[first]) | (minutes * 60 + near >= plan.timed.horizon_min * 60))


def _item_at(plan: pk.Plan, term: Any, minutes: np.ndarray) -> np.ndarray:
    found = np.zeros(len(minutes), dtype=bool)
    for hold in plan.custody.to_dict("records"):
        now = (minutes >= hold["from_min"]) & (minutes < hold["until_min"]) & (hold["item"] == term.about)
        if hold["holder"] in ("EV1", "EV2"):
            standing = np.zeros(len(minutes), dtype=bool)
            for passage in plan.timed.passages[hold["holder"]]:
                if passage.route is None and passage.place == term.place:
                    standing |= (minutes >= passage.start_min) & (minutes < passage.finish_min)
            found |= now & standing
        elif hold["holder"] == term.place:
            found |= now
    return found


def _is_inside(plan: pk.Plan, hazard: Any, passage: Passage, minutes: np.ndarray) -> np.ndarray | bool:
    places = {each.place: each for each in plan.scenario.records.places}
    ends = [places[name] for name in (passage.place, passage.to_place) if name]
    if any(each.zone and each.zone in hazard.zones for each in ends):
        return True
    if passage.route is None:
        if passage.place in hazard.places:
            return True
    elif any({passage.place, passage.to_place} == set(pair) for pair in hazard.routes):
        return True
    if hazard.centre is None:
        return False
    radius = hazard.radius_m + plan.scenario.settings.checks.body_m
    points = [np.array([each.x_m, each.y_m, each.z_m]) for each in ends]
    if passage.route is None:
        return bool(np.linalg.norm(points[0] - hazard.centre) <= radius)
    bends = [np.array(bend) for bend in passage.route.via]
    line = [points[0], *(bends if passage.place == passage.route.from_place else bends[::-1]), points[1]]
    lengths = np.array([np.linalg.norm(b - a) for a, b in pairwise(line)])
    spare = passage.route.metres - lengths.sum()
    if spare > 0.05 * lengths.sum():
        return any(could_touch(a, b, np.linalg.norm(b - a) + spare, np.array(hazard.centre), radius)
                   for a, b in pairwise(line))
    share = (minutes - passage.start_min) / (passage.finish_min - passage.start_min)
    along = np.concatenate([[0], np.cumsum(lengths)]) / max(lengths.sum(), 1e-12)
    at = np.interp(share, along, range(len(line)))
    where = np.column_stack([np.interp(at, range(len(line)), [point[axis] for point in line])
                             for axis in range(3)])
    return np.asarray(np.linalg.norm(where - hazard.centre, axis=1) <= radius)


def could_touch(one: np.ndarray, other: np.ndarray, metres: float, centre: np.ndarray, radius: float) -> bool:
    """Whether some point of the ball is within reach, by trying very many points of it."""
    axis = other - one
    away = centre - one
    length = np.linalg.norm(axis)
    along = axis / length if length > 0 else np.array([1.0, 0, 0])
    u = away @ along
    v = np.sqrt(max(0.0, away @ away - u * u))
    angle = np.linspace(0, 2 * np.pi, 2001)[:, None]
    out = radius * np.array([[0.0, 0.5, 1.0]])
    x, y = u + out * np.cos(angle), v + out * np.sin(angle)
    return bool((np.hypot(x, y) + np.hypot(x - length, y)).min() <= metres)
