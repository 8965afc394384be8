"""Why no order ends sooner: the least ends that are told, by hand, by every order, and by networkx."""

from __future__ import annotations

import random
from functools import cache
from itertools import pairwise
from pathlib import Path

import networkx as nx
import numpy as np
import pytest

import planning_kit as pk
from planning_kit.explore.propose import least_ends
from planning_kit.explore.propose.least_ends import what_binds
from planning_kit.explore.propose.solving import Budget
from planning_kit.inputs.times import pet_label
from planning_kit.judge.all_checks import findings_of
from planning_kit.judge.review import walk_min
from planning_kit.plan.timing import earliest_starts
from tests.edits import edited
from tests.explore.propose.made import (
    item_row,
    made_outing,
    outing_with,
    place_row,
    route_row,
    step_row,
    task_row,
)
from tests.explore.propose.outings import frame_of
from tests.explore.propose.test_order_screen import plans_of, problem_of

DATA = Path(__file__).parents[2] / "data"
Rows = list[dict[str, object]]


def told(scenario: pk.Scenario, effort: float = 1.0) -> tuple[float, str]:
    done = {task.task for task in scenario.records.tasks}
    return what_binds(problem_of(scenario), done, effort, Budget(effort, 60.0))


def outing_of(steps: Rows, gaps: Rows = [], hardware: Rows = []) -> pk.Scenario:  # noqa: B006
    """The hatch with two sockets 3 min from it, 6 min from each other; a task a step, 4 min at each end."""
    places = [place_row("HAT", anchor="yes"), place_row("POD", socket="yes"), place_row("KEY", socket="yes")]
    routes = [route_row("HAT", "POD", 15, 3), route_row("HAT", "KEY", 15, 3)]
    ends = [step_row(name, task, "both", "HAT", 4) for name, task in (("A1", "EGR"), ("Z1", "CLN"))]
    steps = [row | {"task": f"T{row['step']}"} for row in steps]
    scenario = outing_with(places, routes, hardware, [ends[0], *steps, ends[1]],
                           [task_row(str(row["task"]), False) for row in steps])
    return scenario.with_table("gaps", frame_of(scenario, "gaps", gaps))


def gap_row(first: str, then: str, least: float, most: object = "") -> dict[str, object]:
    return {"first_step": first, "then_step": then, "min_gap": least, "max_gap": most, "first_at": "finish",
            "then_at": "start"}


# Ingress takes 8 min. L of EV1 lasts 40 min at POD, S of EV2 5 min at KEY.
LONG, SHORT = step_row("L", "", "EV1", "POD", 40), step_row("S", "", "EV2", "KEY", 5)


def test_a_lane_binds() -> None:
    least, words = told(outing_of([LONG, SHORT]))
    # 4 + 3 + 40 + 3 + 4 + 8 min.
    assert least == pytest.approx(62)
    assert words.startswith(("the lane of EV1 alone needs 62.0 min (work 48.0, ways and ingress 14.0)",
                             "the chain of rules alone needs 62.0 min (A1, L, Z1)"))
    assert "the lane of EV2 27.0" in words


def test_a_night_binds_and_is_told_with_who_waits_for_it() -> None:
    scenario = outing_of([step_row("N", "", "EV1", "POD", 10, light="night"), SHORT])
    plan = pk.time_plan(scenario).timed
    begin = float(plan.starts[plan.position("N")])
    least, words = told(scenario)
    assert begin > 7
    assert least == pytest.approx(begin + 10 + 3 + 4 + 8)
    assert least == pytest.approx(plan.end_min)
    # Ready after 4 min at the hatch and 3 min of way.
    assert f"N waits from 0:07 to {pet_label(begin)} for night 1" in words


def test_a_second_night_binds_a_lane_that_has_too_much_for_one() -> None:
    nights = [step_row(name, "", "EV1", "POD", 20, light="night") for name in ("N", "M")]
    scenario = outing_of([*nights, SHORT])
    least, words = told(scenario)
    assert least == pytest.approx(pk.time_plan(scenario).end_min)
    assert least > 120
    assert words.startswith("the lane of EV1 alone needs")
    assert "waits for windows" in words
    assert "for night 1" in words
    assert "for night 2" in words


def test_a_hatch_binds_that_opens_late() -> None:
    # Nobody is out before 30 min: 3 min of way, 40 of work, 3 back, 4 min at the hatch, 8 of ingress.
    least, words = told(outing_of([LONG, SHORT]).with_settings({"airlock.hatch_open_min": 30}))
    assert least == pytest.approx(30 + 3 + 40 + 3 + 4 + 8)
    assert words.startswith("the chain of rules alone needs 88.0 min (L not before 0:33 (hatch), Z1)")


def test_the_window_of_an_inhibit_binds() -> None:
    scenario = outing_of([LONG, SHORT])
    row = {"inhibit": "JET", "title": "Jets off", "owner": "DESK", "from_step": "S", "until_step": "S",
           "lead_min": 5, "window": "night", "reason": "test"}
    plan = pk.time_plan(outing_of([LONG, step_row("S", "", "EV2", "KEY", 5, light="night")])).timed
    night_min = float(plan.starts[plan.position("S")])
    least, words = told(scenario.with_table("inhibits", frame_of(scenario, "inhibits", [row])))
    # The night less the lead, 5 min of work, 3 back, 4 min at the hatch, 8 of ingress; L alone takes 62.
    assert night_min + 5 + 5 + 3 + 4 + 8 < 62
    assert "the chain of rules 62.0" in words or words.startswith("the chain of rules alone needs 62.0")
    late = outing_of([step_row("L", "", "EV1", "POD", 20), step_row("S", "", "EV2", "KEY", 5)])
    least, words = told(late.with_table("inhibits", frame_of(late, "inhibits", [row])))
    assert least == pytest.approx(night_min + 5 + 5 + 3 + 4 + 8)
    assert "for inhibit JET in a night" in words


def foothold_outing() -> pk.Scenario:
    plate = item_row("plate", "foothold", "POD", slots=1)
    return outing_of([
        step_row("L", "", "EV1", "POD", 40, foothold="plate"),
        step_row("T", "", "EV1", "POD", 1, takes="plate"),
        step_row("P", "", "EV1", "KEY", 2, leaves="plate"),
        step_row("S", "", "EV2", "KEY", 45, foothold="plate")], hardware=[plate])


def test_a_foothold_binds_that_two_need_in_turn() -> None:
    least, words = told(foothold_outing())
    # What comes first the chain knows, too: 4 + 3 + 40 + 1 + 6 + 2 + 45 + 3 + 4 + 8 min.
    assert least == pytest.approx(116)
    assert "plate, had in turn, 116.0" in words or words.startswith("plate, had in turn, alone needs 116.0")
    # Two more with the plate at KEY, the same work of one: only the plate knows that they are in turn.
    steps = [dict(row) for row in foothold_outing().steps.to_dict("records")]
    more = [step_row(name, "", "EV2", "KEY", 30, foothold="plate") for name in ("U", "V")]
    for row in more:
        row["task"] = "TS"
    scenario = foothold_outing()
    scenario = scenario.with_table("steps", frame_of(scenario, "steps", [*steps[:-1], *more, steps[-1]]))
    least, words = told(scenario)
    assert least == pytest.approx(176)


def test_a_tool_binds_that_no_rule_puts_in_turn() -> None:
    """Both work with one drill, EV1 at POD and EV2 at KEY, in any order: 30 + 6 + 35 min of it."""
    drill = item_row("drill", "tool", "POD")
    scenario = outing_of([
        step_row("L", "", "EV1", "POD", 30, uses="drill"),
        step_row("S", "", "EV2", "KEY", 35, uses="drill"),
        step_row("T", "", "EV1", "POD", 1, takes="drill"),
        step_row("P", "", "EV1", "KEY", 1, leaves="drill")],
        hardware=[drill])
    least, words = told(scenario)
    assert words.startswith("drill, had in turn, alone needs")
    # 4 + 3 before the first, 30 + 35 + 1 + 1 of work, 6 of way, 3 + 4 + 8 behind the last.
    assert "(before 7.0, work 67.0, ways 6.0, behind 15.0)" in words
    assert least == pytest.approx(95)


def test_a_least_gap_binds() -> None:
    scenario = outing_of([step_row("P", "", "EV1", "POD", 5), step_row("Q", "", "EV2", "KEY", 5)],
                         [gap_row("P", "Q", 60)])
    least, words = told(scenario)
    # 4 + 3 + 5 + 60 + 5 + 3 + 4 + 8 min.
    assert least == pytest.approx(92)
    assert words.startswith("the chain of rules alone needs 92.0 min (A1, P, Q at least 60 min behind P, Z1)")


def test_a_clock_binds_that_keeps_a_step_near_a_night() -> None:
    """F is over at most 10 min before the night exchange N, and 50 min of W come behind F."""
    scenario = outing_of([
        step_row("F", "", "EV2", "KEY", 5), step_row("N", "", "EV1", "POD", 10, light="night"),
        step_row("W", "", "EV2", "KEY", 50, after="F")], [gap_row("F", "N", 0, 10)])
    plan = pk.time_plan(scenario).timed
    begin = float(plan.starts[plan.position("N")])
    least, words = told(scenario)
    assert least == pytest.approx(begin - 10 + 50 + 3 + 4 + 8)
    # N waits for F, which is over at 0:26 at the earliest.
    assert f"N waits from 0:26 to {pet_label(begin)} for night 1, F at most 10 min before N, W, Z1" in words


def with_rules(scenario: pk.Scenario, draw: random.Random) -> pk.Scenario:
    """Gaps, clocks and nights on some of the steps."""
    names = [step.step for step in scenario.records.steps[1:-1]]
    gaps = []
    for first, then in pairwise(names):
        if draw.random() < 0.4:
            least = draw.choice([0, 7, 25.5])
            gaps.append(gap_row(first, then, least, draw.choice(["", least + 12.25])))
    scenario = scenario.with_table("gaps", frame_of(scenario, "gaps", gaps))
    for name in names:
        if draw.random() < 0.25:
            scenario = edited(scenario, "steps", name, light="night")
    return scenario


@cache
def least_of_all_orders(seed: int) -> tuple[pk.Scenario, float]:
    """The earliest end of all orders, or of 50 drawn, that break no rule, as plans timed and checked."""
    scenario = with_rules(made_outing(seed, 4), random.Random(seed))
    plans = sorted((plan for _, plan in plans_of(scenario, 50)), key=lambda plan: plan.end_min)
    ends = (plan.end_min for plan in plans if not plan.network.given_way and not set(
        findings_of(plan).query("severity == 'stop'")["check"]) - {"suits", "limits", "returns"})
    return scenario, next(ends, float("inf"))


@pytest.mark.parametrize("seed", range(12))
def test_no_order_ends_before_what_is_told(seed: int) -> None:
    scenario, least_min = least_of_all_orders(seed)
    for effort in (0.001, 1.0):
        assert told(scenario, effort)[0] <= least_min + 1e-6


def test_some_of_these_are_as_near_as_can_be() -> None:
    ends = [least_of_all_orders(seed) for seed in range(12)]
    near = [told(scenario)[0] / least for scenario, least in ends if np.isfinite(least)]
    assert len(near) >= 5
    assert max(near) > 0.999
    assert np.mean(near) > 0.85


@pytest.mark.parametrize("name", ["curlew-deck", "tern-1", "orders-whimbrel", "orders-dunlin", "orders-heron",
                                  "orders-rowan"])
def test_no_more_is_told_than_a_good_order_takes(name: str) -> None:
    scenario = pk.load_scenario(DATA / name)
    least, words = told(scenario)
    assert 0 < least <= pk.time_plan(scenario).end_min + 1e-6
    starts = {"curlew-deck": "the chain of rules", "tern-1": "the lane of EV1", "orders-dunlin":
              "the chain of rules alone needs 200.6 min (C2 waits", "orders-heron": "drv-2, had in turn,",
              "orders-whimbrel": "the chain of rules alone needs 138.8 min (M5 waits",
              "orders-rowan": "the lane of EV1"}
    assert words.startswith(starts[name])


@pytest.mark.parametrize("seed", range(12))
def test_the_longest_path_is_that_of_networkx(seed: int) -> None:
    """What the rows say, as a graph of our own: `networkx.dag_longest_path_length`."""
    draw, way = random.Random(seed), {"HAT": 0, "POD": 3, "KEY": 3}
    rows = [step_row(f"S{n}", "", draw.choice(["EV1", "EV2"]), draw.choice([*way]), draw.randint(1, 20))
            for n in range(7)]
    graph, gaps = nx.DiGraph(), []
    minutes = {str(row["step"]): float(str(row["minutes_likely"])) for row in rows} | {"A1": 4, "Z1": 4}
    for then, row in enumerate(rows):
        graph.add_edges_from([("A1", row["step"]), (row["step"], "Z1")], gap=0)
        if then and draw.random() < 0.5:
            row["after"] = f"S{draw.randrange(then)}"
            graph.add_edge(row["after"], row["step"], gap=0)
        if then and draw.random() < 0.4:
            gaps.append(gap_row(f"S{draw.randrange(then)}", str(row["step"]), draw.choice([0, 15, 40.5])))
            graph.add_edge(gaps[-1]["first_step"], gaps[-1]["then_step"], gap=gaps[-1]["min_gap"])
    whose = {str(row["step"]): ({row["crew"]}, str(row["place"])) for row in rows}
    whose |= dict.fromkeys(("A1", "Z1"), ({"EV1", "EV2"}, "HAT"))
    for a, b in nx.transitive_closure_dag(graph).edges:
        (one, here), (other, there) = whose[a], whose[b]
        apart = 0 if here == there or not one & other else 6 if "HAT" not in (here, there) else 3
        graph.add_edge(a, b, weight=minutes[a] + max(graph.get_edge_data(a, b, {}).get("gap", 0), apart))
    graph.add_edge("Z1", "inside", weight=minutes["Z1"] + 8)
    problem = problem_of(outing_of(rows, gaps))
    network = least_ends._sure_network(problem, [True] * len(problem.work.steps))
    found = least_ends._chain(problem, network, earliest_starts(network, np.array(problem.work.minutes)))
    assert found[0] == pytest.approx(nx.dag_longest_path_length(graph), abs=1e-6)


@pytest.mark.parametrize("name", ["curlew-deck", "tern-1", "orders-alder", "orders-rowan"])
def test_the_walk_of_a_plan_is_that_of_networkx(name: str) -> None:
    """Places in the order of work, joined by `networkx.shortest_path_length` over the routes."""
    plan = pk.time_plan(pk.load_scenario(DATA / name)).timed
    records = plan.scenario.records
    total = 0.0
    for crew in records.crew:
        graph = nx.MultiGraph()
        for route in records.routes:
            minutes = route.metres / crew.metres_per_min if route.minutes is None else route.minutes
            graph.add_edge(route.from_place, route.to_place, weight=minutes)
        stops, extra = [records.settings.airlock_place], 0.0
        for step in records.steps:
            if crew.crew in step.people:
                stops += [*step.via_places, *filter(None, [step.wait_at]), step.place]
                extra += step.travel_extra_min
        stops.append(records.settings.airlock_place)
        total += extra + sum(nx.shortest_path_length(graph, a, b, weight="weight")
                             for a, b in pairwise(stops))
    assert walk_min(plan) == pytest.approx(total, abs=1e-5)
