"""Custody and kit as tables: the small outing followed by hand, and what the demo's tables say of it."""

from __future__ import annotations

import pandas as pd
import pytest

import planning_kit as pk
from tests.edits import edited


def test_the_small_outing_followed_by_hand(small_plan: pk.Plan) -> None:
    """B1 takes the lamp at 11; B3 takes the old one and leaves the new; C3 bags the cassette."""
    b3, c3 = (small_plan.timed.starts[small_plan.timed.position(step)] for step in ("B3", "C3"))
    b3_end, c3_end, end = b3 + 14, c3 + 8, small_plan.end_min
    stays = {item: [tuple(row) for row in rows[["holder", "in_bag", "from_min", "until_min", "by_step"]]
                    .itertuples(index=False)]
             for item, rows in small_plan.custody.groupby("item", sort=False)}
    assert stays == {
        "driver": [("EV1", "", 0, end, "")],
        "lamp-new": [("MID", "", 0, 11, ""), ("EV1", "", 11, b3_end, "B1"), ("MST", "", b3_end, end, "B3")],
        "lamp-old": [("MST", "", 0, b3, ""), ("EV1", "", b3, end, "B3")],
        "foothold": [("MST", "", 0, end, "")],
        "bag": [("MID", "", 0, 11, ""), ("EV2", "", 11, end, "C1")],
        "cassette": [("POR", "", 0, c3, ""), ("EV2", "", c3, c3_end, "C3"),
                     ("EV2", "bag", c3_end, end, "C3")],
    }


def test_tables_are_fresh_copies(small_plan: pk.Plan) -> None:
    for name in ("custody", "kit_list", "tethers", "cautions_on_the_way"):
        table = getattr(small_plan, name)
        table.iloc[:, 0] = "changed"
        pd.testing.assert_frame_equal(getattr(small_plan, name), getattr(small_plan, name))
        assert "changed" not in set(getattr(small_plan, name).iloc[:, 0])


def test_every_item_is_somewhere_at_every_minute(demo_plan: pk.Plan) -> None:
    custody = demo_plan.custody
    assert custody["item"].drop_duplicates().tolist() == demo_plan.scenario.hardware["item"].tolist()
    for _, rows in custody.groupby("item"):
        assert rows["from_min"].iloc[0] == 0
        assert rows["until_min"].iloc[-1] == pytest.approx(demo_plan.end_min)
        assert rows["from_min"].tolist()[1:] == rows["until_min"].tolist()[:-1]


def kit(plan: pk.Plan, item: str) -> tuple[str, ...]:
    row = plan.kit_list.set_index("item").loc[item]
    return tuple(row[["goes_out_with", "in_bag", "ends", "comes_back_with"]])


@pytest.mark.parametrize(("item", "expected"), [
    ("driver-1", ("EV1", "", "inside", "EV1")),  # in hand all along
    ("switch-new", ("EV1", "switch-bag", "BK", "")),  # KN0 takes the bag, KN3 fits the switch
    ("switch-bag", ("EV1", "", "inside", "EV2")),  # KN4 leaves it, KN5 collects it
    ("switch-old", ("", "", "inside", "EV2")),  # starts outside, comes home in the bag
    ("camera", ("EV1", "", "inside", "EV2")),  # SV0, SV1, SV2, SV6
    ("cable", ("", "", "NAD", "")),  # from the tool box, which is outside
    ("tray-1", ("", "", "inside", "EV2")),
])
def test_what_goes_out_and_comes_back(demo_plan: pk.Plan, item: str, expected: tuple[str, ...]) -> None:
    assert kit(demo_plan, item) == expected


def test_what_never_leaves_the_airlock_goes_out_with_nobody(small: pk.Scenario) -> None:
    scenario = edited(small, "hardware", "bag", at="inside")
    scenario = edited(edited(scenario, "steps", "C1", takes=""), "steps", "C3", uses="", leaves="cassette",
                      takes="cassette")
    plan = pk.time_plan(edited(scenario, "steps", "A1", takes="EV2:bag", leaves="EV2:bag"))
    assert kit(plan, "bag") == ("", "", "inside", "")
    assert plan.custody.query("item == 'bag'")["holder"].tolist() == ["EV2", "HAT"]  # taken at 0:00


def test_someone_inside_hands_things_out(demo: pk.Scenario) -> None:
    """An actor's step without a place is inside: what it takes is inside, what it leaves stays there."""
    scenario = edited(edited(demo, "hardware", "camera", at="inside"), "steps", "OP1", takes="camera",
                      leaves="camera")
    plan = pk.time_plan(scenario)
    camera = plan.custody.query("item == 'camera'")
    assert camera["holder"].tolist()[:3] == ["OPR", "inside", "EV1"]  # OP1 starts at 0:00
    assert "custody" not in set(plan.findings["check"])
