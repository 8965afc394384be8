"""Travelling salesmen with time windows as outings: one crew member, a place and a step for each customer.

The depot is the airlock, a route leads from each place to each other, and the outing ends as soon as the one
who works is back: its end is the makespan. Nothing else can run short. `propose` is asked as of any outing,
with no way round the scenario format. Sources: `instances/README.md`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from itertools import combinations
from pathlib import Path

import planning_kit as pk
from tests.explore.propose.made import Rows, place_row, route_row, step_row, task_row
from tests.explore.propose.outings import SCENARIOS, frame_of

DEPOT, CLOSES_MIN, SERVICE_MIN = (40, 50), 960, 10
_ROUNDING_MIN = 0.01  # published travel has four decimals
_PLENTY = {
    "limits.planned_min": CLOSES_MIN, "limits.hard_min": CLOSES_MIN, "horizon_h": 17.0,
    "limits.return_reserve_min": 0, "limits.emergency_oxygen_min": 1000,
    "airlock.hatch_closed_min": 0, "airlock.repress_start_min": 0, "airlock.repress_safe_min": 0,
    "suit.oxygen_g": 1e5, "suit.co2_g": 1e5, "suit.energy_wh": 1e5, "suit.water_g": 1e5}


@dataclass(frozen=True)
class Salesman:
    """One instance. Its unit of time is a minute, that of length a metre."""

    makespan: float  # the best known
    order: tuple[int, ...]  # one that reaches it; customers are numbered from 1
    customers: tuple[tuple[int, int, int, int], ...]  # x, y, first and last start of the service

    def minutes(self, one: int, other: int) -> float:
        """Travel between two customers (0: the depot), to four decimals as in the published matrices."""
        places = [DEPOT, *(each[:2] for each in self.customers)]
        return round(math.dist(places[one], places[other]), 4)

    def back(self, order: Iterable[int]) -> float:
        """When who goes in this order is back, by the problem's definition; infinite if too late anywhere."""
        now, here = 0.0, 0
        for customer in order:
            first, last = self.customers[customer - 1][2:]
            now = max(now + self.minutes(here, customer), first)
            if now > last + _ROUNDING_MIN:
                return math.inf
            now, here = now + SERVICE_MIN, customer
        return now + self.minutes(here, 0)

    def outing(self) -> pk.Scenario:
        """As a scenario, its rows in the order of the published file."""
        small = pk.load_scenario(SCENARIOS / "small-outing")
        pet_zero, numbers = small.settings.pet_zero_utc, range(1, len(self.customers) + 1)
        names = ["HAT", *(f"C{number}" for number in numbers)]
        tables: dict[str, Rows] = {
            "crew": [row | {"tether_m": 10_000} for row in small.crew.to_dict("records")],
            "places": [place_row(name, anchor="yes") for name in names],
            "routes": [route_row(names[one], names[other], minutes, minutes)
                       for one, other in combinations(range(len(names)), 2)
                       for minutes in [self.minutes(one, other)]],
            "windows": [{"window": f"w{number}", "start": pet_zero + timedelta(minutes=first),
                         "end": pet_zero + timedelta(minutes=last + SERVICE_MIN), "source": "published"}
                        for number, (_, _, first, last) in enumerate(self.customers, 1)],
            "tasks": [task_row(f"T{number}", False) for number in numbers],
            "steps": [step_row(f"S{number}", f"T{number}", "EV1", names[number], SERVICE_MIN,
                               windows=f"w{number}") for number in numbers],
            "hardware": [], "gaps": [], "inhibits": []}
        return small.with_tables({name: frame_of(small, name, rows) for name, rows in tables.items()},
                                 _PLENTY)


def salesmen() -> dict[str, Salesman]:
    """All instances by name."""
    text = (Path(__file__).parent / "instances" / "potvin-bengio.json").read_text()
    return {name: Salesman(each["makespan"], tuple(each["order"]), tuple(map(tuple, each["customers"])))
            for name, each in json.loads(text).items()}


def order_of(scenario: pk.Scenario) -> list[int]:
    """The customers in the order of the rows."""
    return [int(step[1:]) for step in scenario.steps["step"]]
