"""Stretches looked up by minute, judged by looking at all of them."""

from __future__ import annotations

import random

import pandas as pd

import planning_kit as pk
from planning_kit.plan.legs import Spans
from planning_kit.plan.moments import moments_of, whole_minutes
from tests.edits import edited, with_row


def drawn(draw: random.Random) -> list[tuple[float, float]]:
    """Stretches that overlap, touch, last no time, and now and then end before they begin."""
    begins = [draw.randrange(30) for _ in range(draw.randrange(12))]
    return [(float(begin), float(begin + draw.choice([0, 0, 1, 2, 5, 25, -3]))) for begin in begins]


def test_spans_are_found_as_by_looking_at_all() -> None:
    draw = random.Random(4)
    for _ in range(400):
        spans, begin = drawn(draw), float(draw.randrange(-2, 32))
        end, found = begin + draw.choice([0.0, 1.0, 6.0]), Spans(spans)
        assert found.touching(begin, end) == [
            n for n, (start, finish) in enumerate(spans) if start <= end and finish >= begin]
        assert found.lasting(begin) == [
            n for n, (start, finish) in enumerate(spans) if start <= begin < finish]
        assert found.any_inside(begin, end) == any(
            start < end and finish > begin for start, finish in spans)


def test_inhibits_that_overlap_are_those_that_share_time(demo: pk.Scenario) -> None:
    scenario = edited(demo, "inhibits", "I-HTR", lead_min=300)  # begins before all others
    scenario = with_row(scenario, "inhibits", inhibit="I-ODD", from_step="HT4", until_step="EG1")  # backwards
    holds = pk.time_plan(scenario).timed.inhibit_holds
    assert sum(len(hold.overlaps) for hold in holds) > 10
    for hold in holds:
        assert hold.overlaps == tuple(
            other.inhibit.inhibit for other in holds if other is not hold
            and other.set_by_min < hold.lift_after_min and hold.set_by_min < other.lift_after_min)


def test_moments_in_any_order_are_those_of_their_minutes(demo_plan: pk.Plan) -> None:
    minutes = [*whole_minutes(demo_plan.timed, 17.0)]
    one_by_one = [demo_plan.at(minute) for minute in minutes]
    assert list(moments_of(demo_plan.timed, minutes)) == one_by_one
    assert list(moments_of(demo_plan.timed, minutes[::-1])) == one_by_one[::-1]
    assert len({moment.stays for moment in one_by_one}) > 5


def test_of_steps_that_wait_in_turns_none_is_taken_for_a_circle(small: pk.Scenario) -> None:
    """Each of the two waits for the other at every step, all rows of EV2 before those of EV1."""
    order = sorted(range(30), key=lambda number: (-(number % 2), number))
    rows = [dict.fromkeys(small.steps.columns, "") | {
        "step": f"S{number}", "task": "CLN", "crew": f"EV{1 + number % 2}", "place": "HAT", "title": "Wait",
        "minutes_low": 1, "minutes_likely": 1, "minutes_high": 1, "exertion": "light",
        "after": f"S{number - 1}" if number else ""} for number in order]
    for table in ("gaps", "inhibits"):
        small = small.with_table(table, small.table(table)[:0])
    plan = pk.time_plan(small.with_table("steps", pd.DataFrame(rows, dtype=object)))
    starts = dict(zip(plan.timed.network.steps, plan.timed.starts.tolist(), strict=True))
    assert [starts[f"S{number}"] for number in range(30)] == list(range(30))
