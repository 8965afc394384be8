"""Where nothing fits: a small set of requirements, each of which matters."""

from __future__ import annotations

import pytest

import planning_kit as pk
from planning_kit.explore.propose.proposals import search_orders
from tests.edits import edited


def clash(scenario: pk.Scenario, **asked: object) -> list[tuple[str, str]]:
    found = search_orders(scenario, effort=5.0, seconds=120, **asked)  # type: ignore[arg-type]
    assert len(found) == 0
    assert found.verdict.startswith("nothing fits")
    return list(zip(found.clash["table"], found.clash["row"], strict=True))


def test_a_limit_that_the_work_does_not_fit_in(small: pk.Scenario) -> None:
    # EV1 alone works 10 + 4 + 13 + 14 + 10 min and ingress takes 8: 59 min before any travel.
    assert clash(small, limit_min=58.0) == [("limits", "limit")]


def test_an_item_that_nobody_can_take_where_it_is(small: pk.Scenario) -> None:
    assert clash(edited(small, "hardware", "lamp-new", at="POR")) == [("hardware", "lamp-new")]


def test_a_step_that_waits_for_a_later_one_of_its_task(small: pk.Scenario) -> None:
    assert clash(edited(small, "steps", "B1", after="B2")) == [("steps", "B1")]


def test_a_clock_too_short_for_what_it_needs(small: pk.Scenario) -> None:
    # C3 needs 25 min after C2, and now at most 20 after C2.
    steps = edited(small, "gaps", "C2", min_gap="", max_gap=20)
    gaps = steps.gaps.astype(object)
    gaps.loc[len(gaps)] = ["C2", "C3", 25, "", *[""] * (len(gaps.columns) - 4)]
    named = clash(steps.with_table("gaps", gaps))
    assert named == [("gaps", "C2 C3")] * 2


def test_a_night_that_is_too_short(small: pk.Scenario) -> None:
    assert clash(edited(small, "steps", "B3", minutes_likely=50, minutes_high=60),
                 limit_min=250.0) == [("steps", "B3")]


def test_a_tether_that_does_not_reach(small: pk.Scenario) -> None:
    # The mast head is 6 + 12 m from the hatch, where the hook is.
    assert clash(edited(small, "crew", "EV1", tether_m=17)) == [("crew", "EV1")]


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
