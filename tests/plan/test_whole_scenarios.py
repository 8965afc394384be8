"""Whole random scenarios: whatever can be timed can be read, and what holds a step is what really does."""

from __future__ import annotations

import contextlib
import random
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.plan.network import (
    GRID_MIN,
    GROUP,
    LIGHT,
    LINK,
    MAX_GAP,
    ORDER,
    WINDOW,
    Bound,
    Home,
    Network,
    Release,
    on_grid,
)
from planning_kit.plan.slack import Holder, find_holders
from planning_kit.plan.timing import earliest_starts, group_floor, place_in_windows
from tests.edits import edited
from tests.plan.networks import with_windows
from tests.plan.whole_scenarios import random_scenario

SCENARIOS = 160
A_PART = 4


@pytest.mark.parametrize("part", range(A_PART))
def test_whatever_can_be_timed_can_be_read(part: int) -> None:
    timed = 0
    for seed in range(part, SCENARIOS, A_PART):
        try:
            plan = pk.time_plan(random_scenario(random.Random(seed)))
        except pk.ScenarioError:
            continue
        timed += 1
        try:
            _read_all(plan, random.Random(seed))
            for step in range(0 if plan.timed.network.given_way else len(plan.timed.steps)):
                _is_held_by_what_is_named(plan, step)
        except Exception as error:
            error.add_note(f"seed {seed}")
            raise
    assert timed > SCENARIOS / A_PART / 4


def _read_all(plan: pk.Plan, draw: random.Random) -> None:
    steps = [step.step for step in plan.timed.steps]
    assert set(plan.timeline["step"]) - {""} == set(steps)
    assert len(plan.summary) > 5
    assert set(plan.findings["severity"]) <= {"stop", "concern", "remark"}
    for step in steps:
        assert plan.explain(step)
    step = draw.choice(steps)
    assert len(plan.delay_curve(step, 60.0, 20.0)) == 4
    with contextlib.suppress(pk.ScenarioError):  # longer than any window, or no time is left
        assert isinstance(plan.what_if(stretch={step: draw.choice([0.5, 1.2, 3.0])}), pk.Plan)


def _is_held_by_what_is_named(plan: pk.Plan, step: int) -> None:
    """The chain ends at PET 0 or a window, and each link is tight by the rule's own words.

    Of a plan in which rules give way each link is tight by what is left of them, which no table says.
    """
    seen: set[int] = set()
    while step >= 0:
        assert step not in seen, "the chain of holders runs in a circle"
        seen.add(step)
        holder = plan.timed.holders.chosen[step]
        _is_tight(plan, step, holder)
        step = holder.source


def _is_tight(plan: pk.Plan, step: int, holder: Holder) -> None:
    network, start, length = plan.timed.network, plan.timed.starts[step], plan.timed.durations[step]
    if holder.kind in (LIGHT, LINK, WINDOW):
        demand = next(d for d in network.demands[step] if d.name_at(start) == holder.text)
        assert start in demand.windows[:, 0]
        just_before = place_in_windows(np.array([start - GRID_MIN]), np.array([length]), demand.windows)
        assert just_before[0] == start
        if holder.group:
            _moves_without(plan, step, holder.group)
    elif holder.kind == GROUP:
        _moves_without(plan, step, holder.text.removeprefix("group:"))
    elif holder.bound is not None:
        weight_min = holder.bound.weight_min(on_grid(plan.timed.durations))
        assert plan.timed.starts[holder.source] + weight_min == start
    else:
        assert any(on_grid(r.at_min) == start for r in network.releases if r.step == step)


def _moves_without(plan: pk.Plan, step: int, name: str) -> None:
    """Without the group its steps would be in several windows, or all in an earlier one."""
    network = plan.timed.network
    number = [group.name for group in network.groups].index(name)
    members = list(network.groups[number].members)
    assert step in members
    windows = network.group_windows[number]
    last = (plan.timed.starts[members] + plan.timed.durations[members]).max()
    assert group_floor(np.array([last]), windows)[0] <= plan.timed.starts[members].min()
    rest = {"groups": network.groups[:number] + network.groups[number + 1:],
            "group_windows": network.group_windows[:number] + network.group_windows[number + 1:]}
    slack = tuple(bound for bound in network.bounds if bound.kind != MAX_GAP)  # they can ask for the same
    assert any(
        earliest_starts(replace(whole, **rest), plan.timed.durations)[step]
        < earliest_starts(whole, plan.timed.durations)[step]
        for whole in (network, replace(network, bounds=slack)))


def test_a_group_moves_a_step_on_and_its_own_period_snaps_it_forward(small: pk.Scenario) -> None:
    # C2 alone could be in the first night, which its period covers; B3 is late for that night.
    nights = pk.time_plan(small).light.night
    pet_zero = pd.Timestamp(small.settings.pet_zero_utc)
    spans = [(0.0, nights[0, 1]), (nights[1, 0] + 5, nights[1, 1])]
    at = [[f"{pet_zero + pd.Timedelta(minutes=minute):%Y-%m-%dT%H:%M:%SZ}" for minute in span]
          for span in spans]
    scenario = small.with_table("windows", pd.DataFrame(
        [{"window": "quiet", "start": start, "end": end, "source": "test"} for start, end in at]))
    scenario = scenario.with_table("gaps", scenario.gaps[:0])
    scenario = edited(scenario, "steps", "C2", windows="quiet", light="night", minutes_low=1,
                      minutes_likely=1, minutes_high=1)
    alone = pk.time_plan(scenario)
    c2 = alone.timed.position("C2")
    scenario = edited(scenario, "steps", "B2", minutes_likely=45, minutes_high=45)
    scenario = edited(scenario, "steps", "B3", same_window="g")
    plan = pk.time_plan(edited(scenario, "steps", "C2", same_window="g"))
    assert alone.timed.starts[c2] < nights[0, 1] < nights[1, 0] + 4 <= plan.timed.starts[c2]
    assert plan.timed.holders.chosen[c2].text == "window:quiet"
    assert plan.timed.holders.chosen[c2].ready_min < nights[0, 1]
    assert "the steps of 'g' share one window" in plan.explain("C2").splitlines()[0]
    assert "C2" in set(plan.timeline["step"])


def test_two_steps_bound_to_each_other_are_held_by_the_window_of_the_second() -> None:
    # B follows A at once and at once only: nothing but each other and B's window is tight.
    network = Network(
        ("A", "B"), (Release(0, 7.0, crew="EV1"),),
        (Bound(0, 1, ORDER, "A", crew="EV1"), Bound(1, 0, MAX_GAP, "B", from_finish=False, to_finish=True)),
        homes=(Home("EV1", 1, 0.0),),
    )
    night = np.array([[0.0, 10.0], [20.0, 40.0]])
    network = with_windows(network, {1: night}, {}, night)
    durations = np.array([5.0, 5.0])
    holders = find_holders(network, durations, earliest_starts(network, durations))
    assert [holder.text for holder in holders.chosen] == ["max_gap:B", "light:night-2"]


def test_a_group_is_not_named_where_a_bound_brings_the_step_to_the_window_by_itself() -> None:
    # A waits for the release at 20, where the second night begins; B is moved there by the group.
    night = np.array([[0.0, 10.0], [20.0, 40.0]])
    network = Network(("A", "B"), (Release(0, 20.0), Release(1, 0.0)), homes=(Home("EV1", 1, 0.0),))
    network = with_windows(network, {0: night, 1: night}, {"g": (0, 1)}, night)
    durations = np.array([5.0, 5.0])
    holders = find_holders(network, durations, earliest_starts(network, durations))
    assert [holder.text for holder in holders.chosen] == ["order:pet_zero", "group:g"]
