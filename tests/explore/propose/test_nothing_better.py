"""Where nothing fits, nothing better holds, or the question makes no sense."""

from __future__ import annotations

import pytest

import planning_kit as pk
from tests.conftest import TESTS
from tests.edits import edited


def asked_of(scenario: pk.Scenario, **asked: object) -> pk.Proposals:
    return pk.time_plan(scenario).propose(effort=1.0, seconds=120, **asked)  # type: ignore[arg-type]


def test_a_limit_that_the_work_does_not_fit_in_is_missed_by_no_more(small: pk.Scenario) -> None:
    # EV1 alone works 10 + 4 + 13 + 14 + 10 min and ingress takes 8: 59 min before any travel.
    found = asked_of(small, limit_min=58.0)
    assert all(each.end_min < found.current.end_min for each in found)


def test_a_night_that_is_too_short_breaks_no_more_than_now(small: pk.Scenario) -> None:
    long = edited(small, "steps", "B3", minutes_likely=50, minutes_high=60)
    found = asked_of(long, limit_min=250.0)
    assert found.current.timed.network.given_way
    assert found.best is not None or found.verdict.startswith("no order found that breaks less")


@pytest.mark.parametrize("wrong", [
    ("hardware", "lamp-new", {"at": "POR"}),  # nobody can take it where it is
    ("crew", "EV1", {"tether_m": 17}),  # the mast head is 6 + 12 m from the hatch, where the hook is
])
def test_what_the_plan_breaks_already_keeps_no_order_back(small: pk.Scenario, wrong: tuple) -> None:
    table, row, cells = wrong
    scenario = edited(small, table, row, **cells)
    known = pk.time_plan(scenario).findings
    found = asked_of(scenario)
    assert (known["severity"] == "stop").any()
    for each in found:
        assert (each.plan.findings["severity"] == "stop").sum() <= (known["severity"] == "stop").sum()


def test_an_earlier_order_that_does_not_hold_is_told_with_what_blocks_it() -> None:
    found = asked_of(pk.load_scenario(TESTS / "data" / "curlew-deck"))
    assert found.best is None
    told = found.rejected.iloc[0]
    # EV2 would walk through the beam after the antenna is on again.
    assert (told["check"], told["rule"], told["about"], told["step"]) == ("hazards", "lifted", "H-ANT", "N4")
    assert told["gain_min"] > 20
    assert "EV2 is inside hazard H-ANT" in told["words"]
    assert found.rejected["end_min"].is_monotonic_increasing
    assert (found.rejected["end_min"] < found.current.end_min).all()


@pytest.mark.parametrize("asked", [
    {"effort": "huge"},  # no such word
    {"effort": 0},
    {"seconds": 0},
    {"order": "tasks"},
    {"cushion": 1.5},
    {"cushion": "a quarter"},
    {"limit_min": -1},
    {"limit_min": "all day"},
    {"effort": float("inf")},
    {"effort": 1e300},  # no such number of passes
    {"effort": 10**400},  # no float
    {"seconds": 10**400},
    {"limit_min": float("inf")},
    {"limit_min": 1e300},
    {"pet_zero_every_min": 1e-9},  # billions of times
    {"pet_zero_every_min": float("inf")},
    {"pet_zero_every_min": 0.1, "pet_zero_window": ("2031-09-01", "2031-12-01")},  # over a million
    {"pet_zero_window": ("2031-09-03T07:00:00Z",)},  # no end
    {"pet_zero_window": 5},
    {"pet_zero_window": ("2031-09-03T08:00:00Z", "2031-09-03T07:00:00Z")},  # ends before it begins
    {"pet_zero_window": ("soon", "later")},
])
def test_a_question_without_sense_is_refused(small: pk.Scenario, asked: dict[str, object]) -> None:
    with pytest.raises(pk.ScenarioError):
        pk.time_plan(small).propose(**asked)  # type: ignore[arg-type]
