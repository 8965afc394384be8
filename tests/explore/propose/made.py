"""Small outings at random with what delays nobody: loops of routes, bags, hand-overs, footholds, trades.

Every outing is drawn by walking through it, so that most of what is written can be done in the order drawn.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import combinations, permutations, product

import planning_kit as pk
from planning_kit.explore.propose.choices import Choice, as_written
from tests.explore.propose.outings import SCENARIOS, frame_of

PLACES = ("HAT", "RIM", "DEK", "POD", "KEY")
Rows = list[dict[str, object]]
_ROUTES = [("HAT", "RIM"), ("RIM", "DEK"), ("DEK", "POD"), ("POD", "RIM"), ("HAT", "KEY"), ("KEY", "DEK")]


def made_outing(seed: int, count: int = 5) -> pk.Scenario:
    """``count`` steps between the first and the last, which are of both."""
    draw = random.Random(seed)
    places = [place_row(name, crew_at_once=1 if name == "POD" and draw.random() < 0.7 else 2,
                        anchor="yes" if name in ("HAT", "DEK") or draw.random() < 0.3 else "no",
                        socket="yes" if name in ("POD", "KEY") else "no") for name in PLACES]
    routes = [route_row(a, b, draw.randint(5, 12), draw.choice(["", draw.randint(1, 4)]))
              for a, b in (_ROUTES if draw.random() < 0.8 else _ROUTES[:3] + _ROUTES[4:5])]
    bag_at = draw.choice(["HAT", "RIM"])
    hardware = [
        item_row("tool", "tool", "EV1"), item_row("spare", "spare", "RIM"),
        item_row("bag", "bag", bag_at, holds=draw.choice([1, 2, 2])), item_row("part", "unit", "bag"),
        item_row("plate", "foothold", "POD", slots=2)]
    steps: Rows = []
    tasks: Rows = []
    state = {str(row["item"]): str(row["at"]) for row in hardware}
    for number in range(count):
        row = _drawn(draw, number, state, {str(row["place"]) for row in places if row["anchor"] == "yes"})
        if number and draw.random() < 0.3 and steps[-1]["crew"] == row["crew"]:
            row["task"] = steps[-1]["task"]
        else:
            tasks.append(task_row(str(row["task"]), draw.random() < 0.4))
        steps.append(row)
    for row in hardware:
        # Where it has come to, for those that are moved, is where some of them must end.
        at = state[str(row["item"])]
        root = state.get(at, at)
        if draw.random() < 0.6 and (at != row["at"] or root != row["at"]):
            row["end_at"] = "inside" if root in ("EV1", "EV2", "HAT") else at if at in PLACES else ""
    ends = [step_row(name, "EGR" if name == "A1" else "CLN", "both", "HAT", 4) for name in ("A1", "Z1")]
    if draw.random() < 0.6:
        ends[1]["hooks"] = "EV1 EV2"
    scenario = outing_with(places, routes, hardware, [ends[0], *steps, ends[1]], tasks)
    reach = draw.choice([20, 26, 32, 45])
    for crew in ("EV1", "EV2"):
        scenario = scenario.edit_row("crew", crew, tether_m=reach, carry_slots=draw.choice([1, 2, 3, 3]))
    return scenario


def outing_with(places: Rows, routes: Rows, hardware: Rows, steps: Rows, tasks: Rows) -> pk.Scenario:
    """The small outing with other tables, and time enough."""
    small = pk.load_scenario(SCENARIOS / "small-outing")
    small = small.with_settings({"limits.planned_min": 300.0, "limits.hard_min": 350.0, "horizon_h": 9.0})
    tables = {"places": places, "routes": routes, "hardware": hardware, "steps": steps,
              "gaps": [], "inhibits": [],
              "tasks": [*small.tasks.query("task in ('EGR', 'CLN')").to_dict("records"), *tasks]}
    return small.with_tables({name: frame_of(small, name, rows) for name, rows in tables.items()})


def place_row(name: str, **cells: object) -> dict[str, object]:
    """A place with room for two, as far as nothing else is said."""
    return {"place": name, "title": name, "x_m": 0, "y_m": 0, "z_m": 0, "crew_at_once": 2, "anchor": "no",
            "socket": "no", "rescue": "yes"} | cells


def route_row(one: str, other: str, metres: float, minutes: object = "") -> dict[str, object]:
    """A route."""
    return {"from_place": one, "to_place": other, "metres": metres, "minutes": minutes, "tight": "no",
            "snag": "no", "rescue": "yes"}


def task_row(name: str, is_swappable: bool) -> dict[str, object]:
    """A required task."""
    return {"task": name, "title": name, "need": "required", "priority": 1,
            "swappable": "yes" if is_swappable else "no"}


def item_row(name: str, kind: str, at: str, **cells: object) -> dict[str, object]:
    """An item of one slot that may end anywhere."""
    return {"item": name, "title": name, "kind": kind, "at": at, "end_at": "", "slots": 1, "holds": "",
            "bulky": "no", "mass_kg": 1.0} | cells


def step_row(name: str, task: str, crew: str, place: str, minutes: int, **cells: object) -> dict[str, object]:
    """A step whose minutes are certain."""
    return {"step": name, "task": task, "crew": crew, "place": place, "title": name, "minutes_low": minutes,
            "minutes_likely": minutes, "minutes_high": minutes, "light": "any", "exertion": "light"} | cells


def _drawn(draw: random.Random, number: int, where: dict[str, str], anchors: set[str]) -> dict[str, object]:
    """One step, and what it does to where the items are."""
    crew = draw.choice(["EV1", "EV2"] if draw.random() < 0.85 else ["both"])
    # Where one has room no order helps two of one step.
    place = draw.choice([name for name in PLACES if crew != "both" or name != "POD"])
    row = step_row(f"S{number}", f"T{number}", crew, place, draw.choice([0, 2, 3, 5, 5, 8]))
    people = ["EV1", "EV2"] if crew == "both" else [crew]
    near = {place, *people}
    name = draw.choice([*where])
    prefix = f"{draw.choice(people)}:" if crew == "both" else ""
    who = prefix.rstrip(":") or crew
    at = where[name]
    if at == who:
        roll = draw.random()
        if roll < 0.2 and where["bag"] in near and name != "bag":
            row["leaves"], where[name] = f"{prefix}{name}>bag", "bag"
        elif roll < 0.4:
            other = {"EV1": "EV2", "EV2": "EV1"}[who]
            row["leaves"], where[name] = f"{prefix}{name}>{other}", other
        else:
            row["leaves"], where[name] = f"{prefix}{name}", place
    elif at == place or (at == "bag" and where["bag"] in near):
        row["takes"], where[name] = f"{prefix}{name}<bag" if at == "bag" else f"{prefix}{name}", who
    usable = [item for item, here in where.items() if here in near or where.get(here, "") in near]
    if usable and draw.random() < 0.4:
        row["uses"] = draw.choice(usable)
    if draw.random() < 0.5:
        hooks = [who for who in people if draw.random() < 0.8] if place in anchors else []
        row["hooks"] = " ".join(hooks if draw.random() < 0.85 else ["EV1"] if place in anchors else [])
    if where["plate"] == place and place in ("POD", "KEY") and draw.random() < 0.5:
        row["foothold"] = "plate"
    if draw.random() < 0.15:
        row["wait_at"] = draw.choice([*PLACES])
    if draw.random() < 0.15:
        row["via_places"] = draw.choice([*PLACES])
    return row


def every_order(scenario: pk.Scenario) -> Iterator[Choice]:
    """Every order of both lanes, with every trade, that keeps the row order inside each task and lane."""
    records = scenario.records
    swappable = [task.task for task in records.tasks if task.swappable and any(
        step.task == task.task and step.crew != "both" for step in records.steps)]
    current = as_written(records, records.settings.pet_zero_utc)
    for number in range(len(swappable) + 1):
        for swapped in combinations(swappable, number):
            lanes = []
            for who, other in (("EV1", "EV2"), ("EV2", "EV1")):
                mine = [step for step in records.steps[1:-1] if step.crew == "both"
                        or step.crew == (other if step.task in swapped else who)]
                lanes.append([order for order in permutations(mine) if _keeps_tasks(order)])
            for one, two in product(*lanes):
                names = [("A1", *(step.step for step in lane), "Z1") for lane in (one, two)]
                yield Choice({"EV1": names[0], "EV2": names[1]} | {
                    who: lane for who, lane in current.lanes.items() if who not in ("EV1", "EV2")},
                    frozenset(swapped), frozenset(), current.pet_zero)


def _keeps_tasks(order: tuple[object, ...]) -> bool:
    rows: dict[str, int] = {}
    for step in order:
        if rows.get(step.task, -1) > step.row:  # type: ignore[attr-defined]
            return False
        rows[step.task] = step.row  # type: ignore[attr-defined]
    return True
