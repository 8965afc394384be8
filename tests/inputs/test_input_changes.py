"""Which inputs differ between two scenarios, in words."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import planning_kit as pk
from planning_kit.inputs.input_changes import compare_inputs
from tests.edits import edited, with_row


@pytest.fixture
def small() -> pk.Scenario:
    return pk.load_scenario(SCENARIOS / "small-outing")


def compared(a: pk.Scenario, b: pk.Scenario) -> pd.DataFrame:
    return compare_inputs(a.checked, b.checked)


def words(a: pk.Scenario, b: pk.Scenario) -> list[str]:
    return compared(a, b)["words"].tolist()


def test_nothing_changed(small: pk.Scenario) -> None:
    assert compared(small, small).empty


def test_a_cell(small: pk.Scenario) -> None:
    changed = edited(small, "steps", "B2", minutes_likely=15)
    table = compared(small, changed)
    assert table.to_dict("records") == [{
        "table": "steps", "row": "B2", "change": "changed", "column": "minutes_likely", "before": "13",
        "after": "15",
        "words": "B2 (Get into the foothold; loosen the lamp ring), minutes_likely: was 13, is 15"}]


def test_a_cell_that_is_given_or_taken_away(small: pk.Scenario) -> None:
    changed = edited(small, "places", "MST", caution="")
    changed = edited(changed, "places", "HAT", caution="Mind the seal")
    assert words(small, changed) == ["HAT (Hatch), caution: now Mind the seal",
                                     "MST (Mast head), caution: no longer Lamp glass: no touching"]


def test_spelling_does_not_count(small: pk.Scenario) -> None:
    frame = small.steps.astype(object)
    frame["minutes_likely"] = [f"{number:.2f}" for number in small.steps["minutes_likely"]]
    assert compared(small, small.with_table("steps", frame)).empty


def test_rows_that_come_and_go(small: pk.Scenario) -> None:
    more = with_row(small, "tasks", task="SWP", title="Sweep", need="optional")
    assert words(small, more) == ["SWP (Sweep) added: task SWP, need optional"]
    assert words(more, small) == ["SWP (Sweep) removed: task SWP, need optional"]


def test_the_fewest_rows_that_moved_are_named(small: pk.Scenario) -> None:
    frame = small.steps
    order = [step for step in frame["step"] if step != "C2"]
    order.insert(order.index("B3") + 1, "C2")  # C2 from before B2 to behind B3: one move, not three
    moved = small.with_table("steps", frame.set_index("step", drop=False).loc[order].reset_index(drop=True))
    assert words(small, moved) == [
        "C2 (Open the cassette vent) moved in the row order: was after C1, is after B3"]


def test_the_order_of_places_means_nothing_and_takes_one_line(demo: pk.Scenario) -> None:
    turned = demo.with_table("places", demo.places[::-1].reset_index(drop=True))
    (line,) = words(demo, turned)
    assert line.startswith("rows stand in another order (")
    assert line.endswith("only the order of the steps means something")


def test_a_setting_and_the_orbit(small: pk.Scenario, demo: pk.Scenario) -> None:
    changed = small.with_settings({"limits.hard_min": 140, "suit.oxygen_g": None,
                                   "relays.longitudes_deg_east": [-62.0, 120.5]})
    table = compared(small, changed).set_index("row")
    assert table.loc["limits.hard_min", "words"] == "limits.hard_min: was 130, is 140"
    assert table.loc["suit.oxygen_g", "words"] == "suit.oxygen_g: no longer 400"
    assert table.loc["relays.longitudes_deg_east", "after"] == "-62 120.5"
    assert set(table["table"]) == {"scenario.toml"}
    assert "mean_motion_rev_per_day" in set(compared(small, demo).query("table == 'orbit'")["row"])


def test_free_columns_are_told_too(small: pk.Scenario) -> None:
    noted = small.with_table("tasks", small.tasks.assign(x_owner=["a", "", "", ""]))
    assert words(small, noted) == ["EGR (Egress), x_owner: now a"]


SCENARIOS = Path(__file__).resolve().parents[2] / "scenarios"
COLUMNS = ["minutes_likely", "minutes_high", "title", "exertion", "caution", "x_free", "link", "light"]
VALUES = {"minutes_likely": 7.5, "minutes_high": 30, "exertion": "heavy", "link": "yes", "light": "day"}


@settings(max_examples=25)
@given(st.lists(st.tuples(st.integers(0, 7), st.sampled_from(COLUMNS)), max_size=3))
def test_there_are_changes_just_when_the_digests_differ(edits: list[tuple[int, str]]) -> None:
    scenario = pk.load_scenario(SCENARIOS / "small-outing")
    frame = scenario.steps.astype(object)
    for row, column in edits:
        if column not in frame:
            frame[column] = ""
        frame.loc[row, column] = VALUES.get(column, "other words")
    try:
        changed = scenario.with_table("steps", frame)
    except pk.ScenarioError:
        return
    assert compared(scenario, changed).empty == (scenario.digest == changed.digest)
    assert compared(changed, scenario).empty == (scenario.digest == changed.digest)


def test_hostile_cells_are_told_as_typed_and_shown_escaped(small: pk.Scenario) -> None:
    nasty = edited(small, "steps", "B2", caution="<img src=x onerror=alert(1)>")
    revision = pk.time_plan(small).compare(nasty)
    assert "now <img src=x onerror=alert(1)>" in revision.inputs["words"].item()
    shown = pd.DataFrame(revision.inputs)._repr_html_() + revision._repr_html_()
    assert "<img" not in shown


@pytest.mark.parametrize("name", ["small-outing", "tern-station", "faulty-plan"])
def test_from_nothing_to_all(name: str, small: pk.Scenario) -> None:
    other = pk.load_scenario(SCENARIOS / name)
    there, back = compared(small, other), compared(other, small)
    assert len(there) == len(back)
    swapped = {"added": "removed", "removed": "added"}
    count = there["change"].replace(swapped).value_counts().sort_index()
    assert count.equals(back["change"].value_counts().sort_index())
