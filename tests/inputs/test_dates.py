"""PET 0 at another date: what goes along, what stays, and who misses it there."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import planning_kit as pk

DATA = Path(__file__).parents[1] / "data"
OUTINGS = ["curlew-deck", "orders-godwit", "orders-aspen"]


def with_period(name: str, start: str, end: str) -> tuple[pk.Scenario, str]:
    """An outing of the tests whose first step must lie in a period from others."""
    scenario = pk.load_scenario(DATA / name)
    step = scenario.records.steps[0].step
    scenario = scenario.add_row("windows", window="calm", start=start, end=end, source="demo value")
    return scenario.edit_row("steps", step, windows="calm"), step


def stops(plan: pk.Plan) -> list[tuple[str, str]]:
    found = plan.findings.query("severity == 'stop'")
    return sorted(zip(found["rule"], found["step"], strict=True))


def utc(scenario: pk.Scenario, minutes: float) -> str:
    return (scenario.settings.pet_zero_utc + timedelta(minutes=minutes)).isoformat()


@pytest.mark.parametrize("name", OUTINGS)
def test_a_period_given_as_pet_times_as_the_same_one_in_utc_and_goes_along(name: str) -> None:
    bare = pk.load_scenario(DATA / name)
    in_utc, _ = with_period(name, utc(bare, -20), utc(bare, 90))
    in_pet, _ = with_period(name, "-0:20", "1:30:00")
    one, other = pk.time_plan(in_utc), pk.time_plan(in_pet)
    assert np.array_equal(one.timed.starts, other.timed.starts)
    assert np.array_equal(one.timed.named_windows["calm"], other.timed.named_windows["calm"])
    for days in (1, 40):
        later = pk.time_plan(in_pet.shift_dates(in_pet.settings.pet_zero_utc.date() + timedelta(days=days)))
        assert later.timed.named_windows["calm"].tolist() == [[0.0, 90.0]]
        assert (later.pet_zero - other.pet_zero) == timedelta(days=days)


@pytest.mark.parametrize("name", OUTINGS)
def test_what_stays_is_told_and_only_who_has_none_left_is_a_stop(name: str) -> None:
    bare = pk.load_scenario(DATA / name)
    day = bare.settings.pet_zero_utc.date() + timedelta(days=30)
    scenario, step = with_period(name, utc(bare, -20), utc(bare, 90))
    shifted = scenario.shift_dates(day)
    stays = f"window calm stays, as windows.csv gives it in UTC, not as PET: none of it is left for {step}"
    assert stays in shifted.told
    assert any(line.startswith("the orbit data stay those of ") for line in shifted.told)
    moved, _ = with_period(name, "-0:20", "1:30")
    assert not any(line.startswith("window ") for line in moved.shift_dates(day).told)
    came = set(stops(pk.time_plan(shifted))) - set(stops(pk.time_plan(moved.shift_dates(day))))
    assert {each for _, each in came} == {step}
    # A what-if says the same, and has the same plan.
    asked = pk.time_plan(scenario).what_if(pet_zero=str(day))
    assert stays in asked.changes["change"].tolist()
    assert np.array_equal(asked.timed.starts, pk.time_plan(shifted).timed.starts)


def test_a_slip_within_the_day_tells_nothing_more() -> None:
    scenario, _ = with_period("curlew-deck", "2033-02-11T05:00Z", "2033-02-11T09:00Z")
    assert pk.time_plan(scenario).what_if(slip_min=30).changes["kind"].tolist() == ["pet_zero"]


def test_the_range_of_pet_zero_times_goes_along_by_whole_days(demo: pk.Scenario) -> None:
    settings = demo.shift_dates("2031-06-02").settings
    assert f"{settings.pet_zero_utc:%m-%d %H:%M}" == f"06-02 {demo.settings.pet_zero_utc:%H:%M}"
    assert settings.pet_zero_earliest - demo.settings.pet_zero_earliest == timedelta(days=19)
    inside = demo.settings.pet_zero_utc + timedelta(minutes=10)
    assert demo.shift_dates(inside).settings.pet_zero_latest == demo.settings.pet_zero_latest
    alone = demo.with_settings({"pet_zero_latest": None}).shift_dates("2031-05-01").settings
    assert alone.pet_zero_earliest == demo.settings.pet_zero_earliest - timedelta(days=13)


@pytest.mark.parametrize("value", ["tomorrow", "", None, 7, "2031-13-01", "9999-12-31", float("nan")])
def test_what_is_no_date_is_a_fault(small: pk.Scenario, value: object) -> None:
    with pytest.raises(pk.ScenarioError):
        small.shift_dates(value)  # type: ignore[arg-type]


def test_each_pet_zero_of_a_sweep_has_its_own_periods() -> None:
    """Row by row as timed by itself, whose times another test holds against those in UTC."""
    scenario, _ = with_period("orders-godwit", "1:30", "3:00")
    first = scenario.settings.pet_zero_utc
    table = pk.time_plan(scenario).sweep(first, first + timedelta(minutes=60), 20, progress=None)
    for row in table.itertuples():
        alone = pk.time_plan(scenario, row.pet_zero.to_pydatetime())
        assert row.end_min == pytest.approx(alone.end_min, abs=1e-6), row.pet_zero
        assert alone.timed.starts[0] >= 90.0


def test_an_outing_that_left_late_has_its_periods_later() -> None:
    scenario, _ = with_period("orders-godwit", "0:00", "2:00")
    plan = pk.time_plan(scenario)
    late = plan.pet_zero + timedelta(minutes=25)
    log = pd.DataFrame([{"step": "", "event": "pet_zero", "at": late.isoformat()}])
    assert plan.retime(log, late).timed.named_windows["calm"].tolist() == [[0.0, 120.0]]
