"""Classic scheduling problems through the project's own constraint-building functions, without a scenario."""

from __future__ import annotations

import json
import re
from pathlib import Path

from ortools.sat.python import cp_model

from planning_kit.explore.propose.order_model import Member, OrderModel, Placed, neighbours
from planning_kit.explore.propose.solving import Answer, Budget, solve

INSTANCES = Path(__file__).parent / "instances"


def at_once(_one: int, _other: int) -> int:
    """The way of a job from step to step."""
    return 0


def never(_one: int, _other: int) -> bool:
    """No two are kept apart or in turn."""
    return False


def job_shop(name: str) -> tuple[OrderModel, int]:
    """A job shop (machines are lanes without travel) and its published optimum."""
    data = json.loads((INSTANCES / f"{name}.json").read_text())
    model = OrderModel(sum(length for job in data["jobs"] for _, length in job))
    end = model.cp.new_int_var(0, model.horizon, "end")
    machines: dict[int, list[Member]] = {}
    for number, job in enumerate(data["jobs"]):
        before: Placed | None = None
        for place, (machine, length) in enumerate(job):
            step = model.add_step(f"{number}.{place}", length)
            machines.setdefault(machine, []).append(Member(step, step.present))
            if before is not None:
                model.order(before, step, before.length)
            before = step
        assert before is not None
        model.cp.add(end >= before.finish)
    for machine, members in machines.items():
        pairs = neighbours(len(members), at_once, never, never)
        model.add_lane(f"machine {machine}", members, pairs, at_once, 0, end, never)
    model.cp.minimize(end)
    return model, data["optimum"]


def project(name: str) -> OrderModel:
    """A project with renewable resources, from a PSPLIB file: resources are capacities."""
    text = (INSTANCES / f"{name}.sm").read_text()
    links = _rows(text, "PRECEDENCE RELATIONS:")
    needs = _rows(text, "REQUESTS/DURATIONS:")
    limits = [int(word) for word in text.split("RESOURCEAVAILABILITIES:")[1].split("\n")[2].split()]
    model = OrderModel(sum(row[2] for row in needs))
    steps = {row[0]: model.add_step(str(row[0]), row[2]) for row in needs}
    end = model.cp.new_int_var(0, model.horizon, "end")
    for row in links:
        for after in row[3:]:
            model.order(steps[row[0]], steps[after], steps[row[0]].length)
    for resource, limit in enumerate(limits):
        model.no_more_than(limit, [(_span(model, steps[row[0]]), row[3 + resource]) for row in needs
                                   if row[3 + resource]])
    for step in steps.values():
        model.cp.add(end >= step.finish)
    model.cp.minimize(end)
    return model


def _span(model: OrderModel, step: Placed) -> cp_model.IntervalVar:
    return model.cp.new_interval_var(step.start, step.length, step.finish, step.name)


def _rows(text: str, heading: str) -> list[list[int]]:
    lines = text.split(heading)[1].split("****")[0].splitlines()
    return [[int(word) for word in line.split()] for line in lines if re.fullmatch(r"[\s\d]*\d[\s\d]*", line)]


def solved(model: OrderModel, effort: float = 60.0) -> Answer:
    """Solve to a proof with one worker."""
    answer = solve(model, Budget(effort, 300.0), effort)
    assert answer.status == cp_model.OPTIMAL
    return answer
