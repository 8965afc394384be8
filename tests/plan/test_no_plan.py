"""When no plan exists the error names the steps and what to do."""

from __future__ import annotations

import shutil
from pathlib import Path

import pandas as pd
import pytest

import planning_kit as pk
from tests.edits import edited, with_row


def problems(scenario: pk.Scenario) -> pd.DataFrame:
    with pytest.raises(pk.ScenarioError) as caught:
        pk.time_plan(scenario)
    return caught.value.problems


def test_a_circle_of_order_and_after_names_its_steps(small: pk.Scenario) -> None:
    found = problems(edited(small, "steps", "B1", after="Z1"))
    assert set(found["value"]) == {"B1", "B2", "B3", "Z1"}
    assert "a circle that no times can satisfy" in found["problem"].iloc[0]
    assert found.set_index("value").loc["B1", "column"] == "after"


def test_gaps_that_cannot_hold_together_name_their_steps(small: pk.Scenario) -> None:
    # C3 must follow C2 within 20 min, but EV2 fetches a tool on the way for 30 min.
    scenario = with_row(small, "steps", at=6, step="C2b", task="CAS", crew="EV2", place="POR", title="Fetch",
                        minutes_low=30, minutes_likely=30, minutes_high=30)
    scenario = edited(scenario, "gaps", "C2", min_gap=0, max_gap=20)
    found = problems(scenario)
    assert set(found["value"]) == {"C2", "C2b", "C3"}
    assert found.set_index("table").loc["gaps", ["column", "value"]].tolist() == ["max_gap", "C2"]
    # 30 min of work between two steps that may lie 20 apart: 10 min too long.
    assert "10 min too long" in found["problem"].iloc[0]
    assert found["problem"].str.contains("within 20 min").any()


def test_a_step_longer_than_any_night_is_named(small: pk.Scenario) -> None:
    found = problems(edited(small, "steps", "B3", minutes_likely=45, minutes_high=50))
    assert found[["table", "row", "column", "value"]].to_numpy().tolist() == [["steps", 7, "light", "B3"]]
    assert "longest night window" in found["problem"].iloc[0]


def test_a_step_pushed_past_the_horizon_is_named(small: pk.Scenario) -> None:
    found = problems(edited(small, "gaps", "C2", min_gap=600, max_gap=None))
    assert found["value"].tolist() == ["C3"]
    assert "horizon (5:00)" in found["problem"].iloc[0]


def test_a_need_for_links_without_relays_is_named(small: pk.Scenario) -> None:
    scenario = edited(small, "steps", "C3", link="wait").with_settings({"relays.longitudes_deg_east": []})
    found = problems(scenario)
    assert found[["column", "value"]].to_numpy().tolist() == [["link", "C3"]]
    assert "does [relays] name any relay?" in found["problem"].iloc[0]


def test_rows_are_those_of_the_file(small: pk.Scenario, tmp_path: Path) -> None:
    folder = tmp_path / "copy"
    shutil.copytree(small.folder, folder)
    lines = (folder / "steps.csv").read_text(encoding="utf-8").splitlines()
    spaced = [lines[0], "", "", *lines[1:]]
    text = "\n".join(spaced) + "\n"
    (folder / "steps.csv").write_text(text.replace("11,14,19,,night", "11,45,50,,night"), encoding="utf-8")
    found = problems(pk.load_scenario(folder))
    row = next(number for number, line in enumerate(spaced, start=1) if line.startswith("B3,"))
    assert found[["value", "row"]].to_numpy().tolist() == [["B3", row]]


def test_gap_faults_have_their_row(small: pk.Scenario) -> None:
    scenario = edited(small, "gaps", "C2", min_gap=0, max_gap=20)
    scenario = with_row(scenario, "steps", at=6, step="C2b", task="CAS", crew="EV2", place="POR",
                        title="Fetch", minutes_likely=30)
    assert problems(scenario).set_index("table").loc["gaps", "row"] == 2


def test_a_group_that_fits_in_no_night_is_named(small: pk.Scenario) -> None:
    scenario = edited(small, "steps", "B3", same_window="g")
    scenario = edited(scenario, "steps", "C3", light="night", same_window="g")
    scenario = edited(scenario, "steps", "B2", light="night", same_window="g")
    found = problems(edited(scenario, "gaps", "C2", min_gap=25, max_gap=None).with_settings(
        {"lighting.night_guard_s": 400}))
    assert set(found["column"]) == {"same_window"}
    assert found["problem"].str.contains("the steps of 'g' do not fit in one window together").all()


def test_steps_that_only_wait_for_a_lost_group_are_not_blamed(demo: pk.Scenario) -> None:
    # Out at 03:20 the survey waits for the first quiet period at 11:30, PET 8:10, and no night is left for
    # the exchange after it before the horizon of 10 h. The regulator leaves its locker at most 46 min before
    # the exchange ends, so both wait for each other, and all that comes later for them: told is the exchange.
    with pytest.raises(pk.ScenarioError) as caught:
        pk.time_plan(demo, "2031-05-14T03:20:00Z")
    found = caught.value.problems
    assert found["value"].tolist() == ["X1", "X2", "X3", "X4", "X5"]
    assert set(found["column"]) == {"same_window"}


def test_steps_that_wait_for_each_other_are_told_as_such(small: pk.Scenario) -> None:
    # C3 begins 600 to 700 min after C2: past the horizon of 5 h it has no time, nor then has C2, for which
    # the greatest gap is a bound by C3.
    scenario = edited(small, "gaps", "C2", min_gap=600, max_gap=700)
    found = problems(scenario)
    assert found["value"].tolist() == ["C2", "C3"]
    assert found["problem"].str.contains("wait for it in turn").all()


def test_an_unknown_step_is_no_traceback(small_plan: pk.Plan) -> None:
    with pytest.raises(pk.ScenarioError, match="did you mean"):
        small_plan.explain("B11")
