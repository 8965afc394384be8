"""A valid folder is read as it stands. Expected values are the ones written in `small_folder`."""

from __future__ import annotations

from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from planning_kit.inputs import format as fmt
from planning_kit.inputs import procedure_records as procedure
from planning_kit.inputs import records as rec
from planning_kit.inputs import setting_records
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import ItemMove
from planning_kit.inputs.scenario import Scenario, load_scenario
from tests.inputs.small_folder import SCENARIO_TOML, TABLES, WINDOWS, with_cell, write_small

# The columns of the contract; those after the bar may be absent.
CONTRACT = {
    "crew": "crew metres_per_min exertion_factor carry_slots tether_m | name suit size trained",
    "actors": "actor title | role from until",
    "places": "place title x_m y_m z_m crew_at_once anchor socket caution | zone caution_class rescue "
              "fall_back outward up",
    "routes": "from_place to_place metres minutes tight snag caution | via caution_class rescue",
    "hardware": "item title kind at end_at slots holds bulky mass_kg | end2_at "
                "leave_max_h leave_source other_end_at",
    "tasks": "task title need priority swappable objective | last_start_min cut_order if_missed put_back_min",
    "steps": "step task crew place title minutes_low minutes_likely minutes_high after light same_window "
             "exertion foothold takes leaves uses hooks link caution | windows travel_extra_min wait_at "
             "safe_orderly_min safe_now_min make_safe caution_class via_places moves rides checks "
             "clears when late_margin_min helper block needs sets",
    "gaps": "first_step then_step min_gap max_gap reason | first_at then_at if_missed",
    "inhibits": "inhibit title owner from_step until_step lead_min reason | needed_by hold_max_min window "
                "safe_after_min confirmed_by restore_min set_at",
    "windows": "window start end source",
    "hazards": "hazard title class zones places routes x_m y_m z_m radius_m when limit limit_min controls "
               "applies_to kind source",
    "actions": "step number who action on value unit tool expected record class warning go if_not critical",
    "states": "state title values at_start at_end safe_when | leave_max_h leave_source",
    "responses": "response trigger call companion minutes_low minutes_likely minutes_high decide_by_min "
                 "leave_state first_actions source",
    "bodies": "body kind ends | title zone colour radius_m radius2_m length_m width_m height_m yaw_deg "
              "pitch_deg roll_deg bays model scale",
    "shots": "shot from_step | look_at minutes distance_m side title film_s",
}


@pytest.mark.parametrize("name", CONTRACT)
def test_the_format_has_the_columns_of_the_contract(name: str) -> None:
    always, _, optional = CONTRACT[name].partition("|")
    table = fmt.TABLE_BY_NAME[name]
    assert {field.name for field in table.fields if not field.may_be_absent} == set(always.split())
    assert {field.name for field in table.fields if field.may_be_absent} == set(optional.split())
    assert len(table.fields) == len(table.by_name)


def test_every_column_has_a_place_in_its_record() -> None:
    for name, record in (("crew", rec.Crew), ("actors", rec.Actor), ("places", rec.Place),
                         ("routes", rec.Route),
                         ("hardware", rec.Item), ("tasks", rec.Task), ("steps", rec.Step), ("gaps", rec.Gap),
                         ("inhibits", rec.Inhibit), ("windows", rec.NamedWindow), ("hazards", rec.Hazard),
                         ("actions", procedure.Action), ("states", procedure.State),
                         ("responses", procedure.Response), ("bodies", rec.Body),
                         ("shots", rec.Shot)):
        columns = {each.name.rstrip("_") for each in fields(record)} - {"row"}
        assert columns == set(fmt.TABLE_BY_NAME[name].by_name), name


def test_steps_are_read_as_records(small: Scenario) -> None:
    fetch, set_up, exchange, look, arm = small.records.steps
    assert (fetch.step, fetch.crew, fetch.place) == ("s1", "EV1", "mid")
    assert (fetch.minutes_low, fetch.minutes_likely, fetch.minutes_high) == (4.0, 5.0, 8.0)
    assert fetch.takes == (ItemMove("stand"), ItemMove("gun", out_of="bag1"))
    assert (fetch.light, fetch.link) == ("any", "no")
    assert set_up.after == ("s1",)
    assert set_up.hooks == ("EV1",)
    assert exchange.leaves == (ItemMove("gun", crew="EV1", into="bag1"),)
    assert (exchange.light, exchange.same_window, exchange.link) == ("night", "g1", "wait")
    assert (look.minutes_low, look.minutes_high) == (5.0, 5.0), "an empty estimate is the likely one"
    assert (arm.crew, arm.place) == ("arm", "")


def test_other_tables_are_read_as_records(small: Scenario) -> None:
    records = small.records
    assert [each.metres_per_min for each in records.crew] == [5.0, 4.5]
    assert records.places[1].title == "Waypoint, middle"
    assert records.places[1].crew_at_once is None
    assert records.places[2].caution == "Sharp edge\non the left"
    assert (records.places[2].anchor, records.places[1].anchor) == (True, False)
    assert records.routes[1].minutes == 2.5
    assert records.routes[1].tight
    assert records.routes[0].minutes is None
    driver = records.hardware[1]
    assert (driver.at, driver.end_at, driver.end2_at) == ("bag1", "", "")
    assert records.tasks[1].priority is None
    gap, = records.gaps
    assert (gap.row, gap.min_gap, gap.max_gap, gap.first_at, gap.then_at) == (2, 0.0, 60.0, "finish", "start")
    assert records.inhibits[0].needed_by == ()
    assert [each.start.hour for each in records.windows] == [12, 16]
    assert records.actors[0].actor == "arm"


def test_settings_are_read(small: Scenario) -> None:
    settings = small.settings
    assert settings.pet_zero_utc == datetime(2031, 5, 14, 11, 20, tzinfo=UTC)
    assert settings.pet_zero_latest == datetime(2031, 5, 14, 14, tzinfo=UTC), "a time may be text"
    assert settings.limits.hard_min == 420
    assert settings.limits.hook_move_min is None
    assert settings.limits.sources == {"planned_min": "demo value"}
    assert settings.exertion_w == {"rest": 120, "light": 200, "moderate": 300, "heavy": 450}
    assert settings.suits["EV1"].oxygen_g == 540
    assert settings.suits["EV2"].oxygen_g == 520
    assert settings.suits["EV2"].co2_g == 700, "only the keys of [suit.EV2] differ"
    assert settings.suits["EV2"].water_reserve_fraction is None
    assert settings.relays == setting_records.Relays((-41.0, 174.0), 2.0)
    assert settings.odds == setting_records.OddsSettings(0.1, None, None, "")
    assert small.elements.mean_motion_rev_per_day == 15.54


def test_what_may_be_absent_may_be_absent(tmp_path: Path) -> None:
    toml = SCENARIO_TOML[:SCENARIO_TOML.index("[lighting]")]
    steps = TABLES["steps"].replace("a1,swap,arm,,Move the arm,3,4,5,,,,,,,,,,,,\n", "")
    changed = {"scenario.toml": toml, "actors.csv": None, "windows.csv": None, "steps.csv": steps}
    scenario = load_scenario(write_small(tmp_path, changed))
    assert scenario.records.actors == ()
    assert scenario.records.windows == ()
    assert scenario.settings.relays is None
    assert scenario.settings.night_guard_s == 0
    assert scenario.settings.suits["EV1"].oxygen_g is None
    assert scenario.settings.odds.common_sd is None
    assert list(scenario.windows.columns) == ["window", "start", "end", "source"]
    assert len(scenario.windows) == 0


def test_tables_are_frames_as_the_file_has_them(small: Scenario) -> None:
    steps = small.steps
    assert list(steps.columns[:4]) == ["step", "task", "crew", "place"]
    assert set(fmt.STEPS.by_name) | {"x_ref"} == set(steps.columns)
    assert steps["minutes_low"].dtype == np.float64
    assert np.isnan(steps["minutes_low"][3])
    assert steps.loc[0, "takes"] == "stand gun<bag1"
    assert steps.loc[0, "light"] == "", "not given stays empty, whatever the record makes of it"
    assert steps.loc[0, "x_ref"] == "17"
    assert steps.loc[0, "wait_at"] == ""
    assert small.windows["start"].tolist() == ["2031-05-14T12:00:00Z", "2031-05-14T16:00:00Z"]
    for name in fmt.TABLE_BY_NAME:
        frame = small.table(name)
        assert frame.equals(getattr(small, name))
        assert not any(frame[column].isna().any() for column in frame if frame[column].dtype != np.float64)


def test_all_optional_columns_are_read(tmp_path: Path) -> None:
    steps = TABLES["steps"].splitlines()
    extra = "windows,travel_extra_min,wait_at,safe_orderly_min,safe_now_min,make_safe"
    given = ["quiet,3,mid,10,2,Close the cover"] + [",,,,,"] * 4
    changed = {
        "steps.csv": "\n".join(f"{row},{more}" for row, more in zip(steps, [extra, *given], strict=True)),
        "gaps.csv": "first_step,then_step,min_gap,max_gap,reason,first_at,then_at\n"
                    "s1,s2,-5,60,,start,finish\n",
        "inhibits.csv": "inhibit,title,owner,from_step,until_step,lead_min,reason,"
                        "needed_by,hold_max_min,window\n"
                        "i1,Bus off,ground,s2,s3,5,No sparks,s3 s2,90,night\n",
    }
    records = load_scenario(write_small(tmp_path, changed)).records
    step = records.steps[0]
    assert (step.windows, step.travel_extra_min, step.wait_at) == (("quiet",), 3.0, "mid")
    assert (step.safe_orderly_min, step.safe_now_min, step.make_safe) == (10.0, 2.0, "Close the cover")
    gap, = records.gaps
    assert (gap.min_gap, gap.first_at, gap.then_at) == (-5.0, "start", "finish")
    assert (records.inhibits[0].needed_by, records.inhibits[0].hold_max_min) == (("s3", "s2"), 90.0)
    assert records.inhibits[0].window == "night"


@pytest.mark.parametrize("change", [
    {"places.csv": "\ufeff" + TABLES["places"]},  # a byte order mark, as spreadsheets write it
    {"places.csv": TABLES["places"].replace("\n", "\r\n")},  # line ends of RFC 4180
    {"windows.csv": WINDOWS.rstrip("\n")},  # no line end after the last row
    {"windows.csv": WINDOWS + "\n\n,,,\n"},  # blank rows, as spreadsheets leave them
    {"scenario.toml": "\ufeff" + SCENARIO_TOML},
    with_cell("crew", 2, "metres_per_min", " 5.0 "),
    with_cell("steps", 3, "after", "  s1 "),
    with_cell("tasks", 2, "priority", "1.0"),
])
def test_harmless_spelling_means_the_same(tmp_path: Path, small: Scenario, change: dict[str, str]) -> None:
    other = load_scenario(write_small(tmp_path / "other", change))
    assert [each.title for each in other.records.places][:2] == ["Airlock", "Waypoint, middle"]
    if "\r\n" not in next(iter(change.values())):  # the caution's own line end differs there
        assert other == small


def test_a_quoted_line_end_does_not_shift_row_numbers(tmp_path: Path) -> None:
    header = "from_place,to_place,metres,minutes,tight,snag,caution\n"
    routes = header + '\nlock,mid,6,,no,no,"a\nb"\nmid,far,8,,,,\n'
    gaps = "first_step,then_step,min_gap,max_gap,reason\n\n,,,,\ns1,s2,,60,\"one\ntwo\"\ns2,s3,,,\n"
    records = load_scenario(write_small(tmp_path, {"routes.csv": routes, "gaps.csv": gaps})).records
    assert [gap.row for gap in records.gaps] == [4, 5]


@pytest.mark.parametrize("given", [5, None, ["scenarios"]])
def test_what_is_no_path_is_refused_in_words(given):
    with pytest.raises(ScenarioError, match="is no path"):
        load_scenario(given)


def test_a_column_that_got_another_name_is_told_with_the_new_one(tmp_path):
    table = TABLES["inhibits"].splitlines()
    table[0] += ",set_before_min"
    text = "\n".join([table[0], *(f"{row}," for row in table[1:])])
    folder = write_small(tmp_path / "s", {"inhibits.csv": text})
    with pytest.raises(ScenarioError, match="is not a column of inhibits any more: write set_at"):
        load_scenario(folder)
