"""Events of one moment: what they come to does not depend on the order in which they were typed."""

from __future__ import annotations

import random
from itertools import permutations

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.log import read_actuals
from planning_kit.inputs.log_state import States, states_of
from tests.edits import edited

MOST_ORDERS = 150


@pytest.fixture(scope="module")
def chain(small: pk.Scenario) -> pk.Scenario:
    """EV1: A1, B1, B2, B3, of which B1 and B2 take no time, each after the one before; C1 of EV2 after B2."""
    for step in ("B1", "B2", "C1"):
        small = edited(small, "steps", step, minutes_low=0, minutes_likely=0, minutes_high=0)
    small = edited(small, "steps", "B2", after="B1")
    small = edited(small, "steps", "C1", after="B2")
    return edited(small, "steps", "B3", after="B2 C1", light="any")


def played(scenario: pk.Scenario, rows: list[str]) -> tuple[States, Faults]:
    """``step event at [crew]`` a row."""
    cells = [(row + " ").split(" ") for row in rows]
    log = pd.DataFrame([{"step": "" if c[0] == "-" else c[0], "event": c[1], "at": c[2], "crew": c[3]}
                        for c in cells])
    faults, pet_zero = Faults(), scenario.settings.pet_zero_utc
    return states_of(scenario.records, read_actuals(log, pet_zero, faults).events, pet_zero, faults), faults


def told(states: States) -> dict[str, object]:
    return {name: (state.status, str(state.pieces), state.called_by, tuple(state.apart))
            for name, state in states.by_step.items() if state.pieces or state.status != "to do"}


def orders(rows: list[str]) -> list[tuple[str, ...]]:
    """All orders of few rows, and as many random ones of more."""
    if len(rows) < 6:
        return list(permutations(rows))
    draw = random.Random(len(rows))
    return [tuple(draw.sample(rows, len(rows))) for _ in range(MOST_ORDERS)]


BEFORE = ["A1 started 0:00", "A1 finished 0:10"]
MOMENTS = {
    "a step of no minutes": (["B1 started 0:12", "B1 finished 0:12"], {"B1": "done"}),
    "a chain of them, then one that goes on": (
        ["B1 started 0:12", "B1 finished 0:12", "B2 started 0:12", "B2 finished 0:12", "C1 started 0:12",
         "C1 finished 0:12", "B3 started 0:12"],
        {"B1": "done", "B2": "done", "C1": "done", "B3": "in progress"}),
    "two crew members, one of whom was waited for": (
        ["B1 started 0:12", "B1 finished 0:12", "B2 skipped 0:12", "C1 started 0:12"],
        {"B1": "done", "B2": "skipped", "C1": "in progress"}),
}


@pytest.mark.parametrize("name", MOMENTS)
def test_rows_of_one_moment_may_stand_in_any_order(chain: pk.Scenario, name: str) -> None:
    rows, expected = MOMENTS[name]
    first = None
    for order in orders(rows):
        states, faults = played(chain, [*BEFORE, *order])
        assert faults.rows == [], order
        assert {step: states.by_step[step].status for step in expected} == expected, order
        first = first or told(states)
        assert told(states) == first, order


@pytest.mark.parametrize("first", ["EV1", "EV2"])
def test_a_step_of_both_of_no_minutes_called_apart(chain: pk.Scenario, first: str) -> None:
    chain = edited(chain, "steps", "A1", minutes_low=0, minutes_likely=0, minutes_high=0)
    second = "EV2" if first == "EV1" else "EV1"
    rows = [f"A1 {event} 0:00 {crew}" for crew in (first, second) for event in ("started", "finished")]
    rows += ["B1 started 0:00", "B1 finished 0:00"]
    for order in orders(rows):
        states, faults = played(chain, list(order))
        assert faults.rows == [], order
        assert states.by_step["A1"].pieces == [(0.0, 0.0)]
        assert states.by_step["A1"].apart == []
        assert states.by_step["B1"].status == "done"


def test_the_later_finishes_when_the_sooner_went_on_at_that_very_moment(chain: pk.Scenario) -> None:
    # EV1 ends A1 at 0:10 and does B1 at once: the step counts until then, although EV2 ends it at 0:12.
    rows = ["A1 finished 0:10 EV1", "B1 started 0:10", "B1 finished 0:10"]
    for order in orders(rows):
        states, faults = played(chain, ["A1 started 0:00", *order, "A1 finished 0:12 EV2"])
        assert faults.rows == []
        assert states.by_step["A1"].pieces == [(0.0, 10.0)]


def test_what_was_done_before_at_one_moment_is_no_going_on(chain: pk.Scenario) -> None:
    # EV1 does B1 and then ends a step of both, all at 0:14; EV2 ends it at 0:16: it counts until 0:16.
    scenario = edited(chain, "steps", "Z1", after="B1")
    rows = ["B1 started 0:14", "B1 finished 0:14", "Z1 started 0:14", "Z1 finished 0:14 EV1"]
    for order in orders(rows):
        states, faults = played(scenario, [*BEFORE, *order, "Z1 finished 0:16 EV2"])
        assert faults.rows == [], order
        assert states.by_step["Z1"].pieces == [(14.0, 16.0)]


def test_ingress_comes_last_of_its_moment(chain: pk.Scenario) -> None:
    for order in orders(["- ingress 0:10", "A1 finished 0:10"]):
        states, faults = played(chain, ["A1 started 0:00", *order])
        assert faults.rows == []
        assert states.inside_min == 10.0


def test_what_cannot_be_is_still_refused(chain: pk.Scenario) -> None:
    for rows, column in (
        (["B2 started 0:12", "B2 finished 0:12"], "step"),  # B1, which comes before, is not done
        (["B1 finished 0:12"], "event"),
        (["B1 started 0:12", "B1 started 0:12"], "event"),
        (["B1 started 0:12", "B3 started 0:12"], "step"),
    ):
        for order in orders(rows):
            _, faults = played(chain, [*BEFORE, *order])
            assert column in {str(fault["column"]) for fault in faults.rows}, order


def test_a_log_in_any_order_retimes_alike(chain: pk.Scenario) -> None:
    plan = pk.time_plan(chain)
    rows = [*BEFORE, *MOMENTS["a chain of them, then one that goes on"][0]]
    ends = set()
    for order in orders(rows)[:10]:
        cells = [row.split() for row in order]
        log = pd.DataFrame([{"step": c[0], "event": c[1], "at": c[2]} for c in cells])
        retimed = plan.retime(log, "0:15")
        assert set(retimed.timeline["step"]) >= {"B1", "B2", "C1", "B3"}
        ends.add((retimed.end_min, tuple(retimed.timed.starts)))
    assert len(ends) == 1
