"""A folder of format 1 is refused with what to rename."""

from pathlib import Path

import pytest

import planning_kit as pk
from tests.conftest import SCENARIOS

OLD = """format = 1
egress = "2031-09-03T07:45:00Z"
airlock = "lock"

[limits]
ingress_min = 8

[suit.EV1]
used_before_egress_min = 5
"""


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """A folder whose settings are of format 1, and the tables of the small outing."""
    for each in (SCENARIOS / "small-outing").glob("*.csv"):
        (tmp_path / each.name).write_bytes(each.read_bytes())
    (tmp_path / "scenario.toml").write_text(OLD, encoding="utf-8")
    return tmp_path


def test_a_format_1_folder_is_refused_with_what_to_rename_and_nothing_else(old: Path) -> None:
    before = {each.name: each.read_bytes() for each in old.iterdir()}
    with pytest.raises(pk.ScenarioError) as caught:
        pk.load_scenario(old)
    (row,) = caught.value.problems.to_dict("records")
    assert (row["table"], row["column"], row["value"]) == ("scenario.toml", "format", "1")
    for words in ("is format 1", "egress is now pet_zero_utc", "airlock is now airlock_place",
                  "ingress_min is now hatch_closed_min", "used_before_egress_min is now battery_min"):
        assert words in row["problem"]
    assert "egress_earliest" not in row["problem"]
    assert {each.name: each.read_bytes() for each in old.iterdir()} == before


def test_a_comparison_with_format_1_says_which_side_it_is(old: Path) -> None:
    plan = pk.time_plan(pk.load_scenario(SCENARIOS / "small-outing"))
    with pytest.raises(pk.ScenarioError, match="is format 1") as caught:
        plan.compare(old)
    assert f"(in {old})" in caught.value.problems["problem"][0]


@pytest.mark.parametrize("number", ["true", '"1"', "1.5", "3"])
def test_another_number_is_a_plain_fault(old: Path, number: str) -> None:
    (old / "scenario.toml").write_text(OLD.replace("format = 1", f"format = {number}"), encoding="utf-8")
    with pytest.raises(pk.ScenarioError) as caught:
        pk.load_scenario(old)
    told = caught.value.problems.set_index("column")["problem"]
    assert told["format"].startswith("must be ")
    assert len(told) > 1


def test_a_log_of_format_1_is_refused_with_the_events_there_are(tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text("step,event,at\n,egress,2031-09-03T07:45:00Z\n", encoding="utf-8")
    with pytest.raises(pk.ScenarioError) as caught:
        pk.read_log(log)
    (row,) = caught.value.problems.to_dict("records")
    assert (row["row"], row["column"], row["value"]) == (2, "event", "egress")
    assert "pet_zero" in row["problem"]
