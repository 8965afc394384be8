"""A scenario never changes; what is made from it is a new one, checked like a file."""

from __future__ import annotations

import pickle
from dataclasses import FrozenInstanceError
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from planning_kit.inputs.faults import SaveConflict, ScenarioError
from planning_kit.inputs.format import TABLES
from planning_kit.inputs.scenario import Scenario, load_scenario
from tests.inputs.small_folder import ORBIT_JSON, SCENARIO_TOML, with_cell, write_small


def test_frames_are_copies(small: Scenario) -> None:
    steps = small.steps
    steps.loc[0, "minutes_likely"] = 99.0
    del steps["title"]
    assert small.steps.loc[0, "minutes_likely"] == 5.0
    assert "title" in small.steps
    with pytest.raises(FrozenInstanceError):
        small.folder = Path()  # type: ignore[misc]
    with pytest.raises(TypeError):
        small.settings.exertion_w["rest"] = 1.0  # type: ignore[index]


def test_an_edit_gives_a_new_scenario_and_leaves_the_old(small: Scenario) -> None:
    digest, before = small.digest, small.steps
    edited = small.steps
    edited.loc[0, "minutes_likely"] = 6
    new = small.with_table("steps", edited)
    assert new.records.steps[0].minutes_likely == 6.0
    assert small.records.steps[0].minutes_likely == 5.0
    assert small.digest == digest
    assert small.steps.equals(before)
    assert new != small
    assert new.with_table("steps", before) == small
    assert hash(new.with_table("steps", before)) == hash(small)


@pytest.mark.parametrize("name", [table.name for table in TABLES])
def test_a_table_given_back_changes_nothing(small: Scenario, name: str) -> None:
    again = small.with_table(name, small.table(name))
    assert again == small
    assert again.checked.source == small.checked.source, "the very bytes stay"
    assert again.records == small.records


def test_an_absent_table_stays_absent_until_it_has_rows(tmp_path: Path) -> None:
    scenario = load_scenario(write_small(tmp_path, {"windows.csv": None}))
    assert scenario.with_table("windows", scenario.windows).checked.source == scenario.checked.source
    row = {"window": "quiet", "start": "2031-05-14T12:00Z", "end": "2031-05-14T13:00Z", "source": ""}
    new = scenario.with_table("windows", pd.DataFrame([row])).save()
    assert (tmp_path / "windows.csv").exists()
    assert load_scenario(tmp_path) == new
    emptied = new.with_table("windows", new.windows.iloc[:0])
    assert emptied.save().records.windows == ()
    assert emptied == scenario


def test_a_frame_may_hold_python_values(small: Scenario) -> None:
    steps = small.steps.astype(object)
    steps.at[0, "takes"] = ["stand", "gun<bag1"]
    steps.at[1, "after"] = ("s1",)
    steps.at[3, "minutes_low"] = None
    steps.at[3, "same_window"] = np.nan
    steps.at[3, "caution"] = pd.NA
    steps.at[3, "minutes_likely"] = np.int64(5)
    assert small.with_table("steps", steps) == small
    steps.at[0, "takes"] = small.records.steps[0].takes
    places = small.places.astype(object)
    places["anchor"] = places["anchor"] == "yes"
    windows = small.windows
    windows["start"] = pd.to_datetime(windows["start"])
    new = small.with_table("steps", steps).with_table("places", places).with_table("windows", windows)
    assert new == small


def test_untouched_numbers_keep_their_writing(small: Scenario) -> None:
    crew = small.crew  # EV2 walks 4.50 m/min in the file
    crew.loc[0, "tether_m"] = 30.5
    new = small.with_table("crew", crew.iloc[::-1])
    assert new.checked.source.files()["crew.csv"].decode() == (
        "crew,metres_per_min,exertion_factor,carry_slots,tether_m\nEV2,4.50,1.1,4,25\nEV1,5,1,4,30.5\n")


def test_optional_columns_appear_when_used(small: Scenario) -> None:
    gaps = small.gaps
    assert "first_at" in gaps
    assert small.with_table("gaps", gaps).checked.source.tables["gaps"].header[-1] == "reason"
    gaps["first_at"] = "start"
    header = small.with_table("gaps", gaps).checked.source.tables["gaps"].header
    assert "first_at" in header
    assert "then_at" not in header


def test_free_columns_are_kept_and_count(small: Scenario) -> None:
    steps = small.steps
    steps["x_who"] = ["", "me", "", "", ""]
    new = small.with_table("steps", steps)
    assert new.steps["x_who"].tolist() == ["", "me", "", "", ""]
    assert new.steps["x_ref"][0] == "17"
    assert new != small
    assert new.records == small.records


def test_bad_edits_give_the_faults_of_a_file(small: Scenario, tmp_path: Path) -> None:
    steps = small.steps
    steps.loc[0, "place"] = "fra"
    steps.loc[2, "leaves"] = "gun>bag1"
    steps.loc[3, "minutes_likely"] = -1
    with pytest.raises(ScenarioError) as edited:
        small.with_table("steps", steps)
    files = {}
    for row, column, value in ((2, "place", "fra"), (4, "leaves", "gun>bag1"), (5, "minutes_likely", "-1")):
        with pytest.raises(ScenarioError) as read:
            load_scenario(write_small(tmp_path / column, with_cell("steps", row, column, value)))
        files[row] = read.value.problems
    assert pd.concat(files.values()).sort_values("row").reset_index(drop=True).equals(
        edited.value.problems.sort_values("row").reset_index(drop=True))


@pytest.mark.parametrize(("name", "frame", "problem"), [
    ("step", pd.DataFrame(), "did you mean 'steps'"),
    (None, pd.DataFrame(), "is not a table"),
    ("steps", "text", "must be a pandas DataFrame"),
    ("steps", pd.DataFrame(), "missing from the header"),
    ("actors", pd.DataFrame({"actor": ["arm"], "title": ["\ud800"]}), "UTF-8 text cannot hold"),
    ("actors", pd.DataFrame({"actor": ["arm"], "title": ["x" * 10_001]}), "10,000 characters"),
    ("actors", pd.DataFrame({"actor": ["arm"], "title": [""], 3: [1]}), "is not a column of actors"),
    ("actors", pd.DataFrame([["arm", "", ""]], columns=["actor", "title", "title"]), "stands twice"),
    ("actors", pd.DataFrame({"actor": [f"p{i}" for i in range(5001)], "title": ""}), "more than 5,000 rows"),
    ("actors", pd.DataFrame({"actor": [object()], "title": ""}), "letters, digits"),
    ("crew", pd.DataFrame({"crew": ["EV1", "EV2"], "metres_per_min": [np.inf, 10.0**30],
                           "exertion_factor": 10**30,
                           "carry_slots": 1j, "tether_m": "x"}), "finite"),
])
def test_frames_that_are_no_table(small: Scenario, name: str, frame: pd.DataFrame, problem: str) -> None:
    with pytest.raises(ScenarioError, match=problem):
        small.with_table(name, frame)


def test_settings_change_in_a_new_scenario(small: Scenario) -> None:
    new = small.with_settings({"pet_zero_utc": "2031-05-14T12:20:00Z", "limits.hard_min": np.int64(430),
                               "suit.EV1.oxygen_g": 500.0, "summary": None,
                               "relays.longitudes_deg_east": (10.0,),
                               "pet_zero_latest": datetime(2031, 5, 14, 15), "x_reviewed": True})
    settings = new.settings
    assert settings.pet_zero_utc == datetime(2031, 5, 14, 12, 20, tzinfo=UTC)
    assert settings.pet_zero_latest == datetime(2031, 5, 14, 15, tzinfo=UTC)
    assert settings.limits.hard_min == 430
    assert (settings.suits["EV1"].oxygen_g, settings.suits["EV2"].oxygen_g) == (500, 520)
    assert settings.summary == ""
    assert settings.relays is not None
    assert settings.relays.longitudes_deg_east == (10.0,)
    assert small.settings.pet_zero_utc.hour == 11
    assert small.settings.limits.hard_min == 420
    text = new.checked.source.files()["scenario.toml"].decode()
    assert "# the smallest outing" in text
    assert "2031-05-14T12:20:00Z  # agreed with nobody" in text
    assert "x_reviewed = true" in text
    undone = new.with_settings({"x_reviewed": None, "pet_zero_utc": "2031-05-14T11:20:00Z",
                                "limits.hard_min": 420,
                                "suit.EV1.oxygen_g": None, "summary": "Exchange one unit at night.",
                                "relays.longitudes_deg_east": [-41.0, 174],
                                "pet_zero_latest": "2031-05-14T14:00Z"})
    assert undone == small


def test_settings_in_sections_that_were_not_there(tmp_path: Path) -> None:
    bare = load_scenario(write_small(tmp_path,
                                     {"scenario.toml": SCENARIO_TOML[:SCENARIO_TOML.index("[lighting]")]}))
    new = bare.with_settings({"lighting.night_guard_s": 30, "suit.EV1.oxygen_g": 1,
                              "pet_zero_event": "hatch open"})
    assert new.settings.night_guard_s == 30
    assert new.settings.suits["EV1"].oxygen_g == 1
    assert new.settings.suits["EV2"].oxygen_g is None
    assert new.settings.pet_zero_event == "hatch open"
    assert bare.with_settings({"relays.mask_deg": None}) == bare


def test_inline_and_dotted_tables_can_be_edited(tmp_path: Path) -> None:
    head = SCENARIO_TOML[:SCENARIO_TOML.index("[limits]")]
    toml = head + "suit.EV1.oxygen_g = 3\nlimits = {planned_min = 300, hard_min = 420}\n"
    toml += "airlock = {hatch_closed_min = 1, repress_start_min = 1, repress_safe_min = 1}\n"
    scenario = load_scenario(write_small(tmp_path, {"scenario.toml": toml.replace("\n", "\r\n")}))
    new = scenario.with_settings({"limits.hard_min": 430, "suit.EV1.co2_g": 4, "suit.EV2.co2_g": 5})
    assert new.settings.limits.hard_min == 430
    assert (new.settings.suits["EV1"].oxygen_g, new.settings.suits["EV1"].co2_g) == (3, 4)
    assert new.settings.suits["EV2"].co2_g == 5


@pytest.mark.parametrize(("changes", "column", "problem"), [
    ({"limits.hard_min": "420"}, "limits.hard_min", "must be a number"),
    ({"limits.hard_min": float("nan")}, "limits.hard_min", "finite"),
    ({"limits.hard_mni": 3}, "limits.hard_mni", "did you mean 'hard_min'"),
    ({"limits": {}}, "limits", "must be text, a number"),
    ({"limits": 3}, "limits", "runs through"),
    ({"title.x": 3}, "title.x", "runs through"),
    ({"title": None}, "title", "is missing"),
    ({"": 3}, "", "is not a key"),
    ({"a b": 3}, "a b", "is not a key"),
    ({3: 3}, "3", "is not a key of scenario.toml"),
    ({"pet_zero_utc": "tomorrow"}, "pet_zero_utc", "ISO 8601"),
    ({"pet_zero_utc": object()}, "pet_zero_utc", "must be text"),
    ({"orbit": "../x"}, "orbit", "without a path"),
    ({"orbit": "none.xml"}, "", "is missing"),
    ({"title": "\ud800"}, "title", "UTF-8 text cannot hold"),
    ({"title": "a\0b"}, "title", "control character"),
    ({"horizon_h": 10**5000}, "horizon_h", "sane size"),
    ({"airlock_place": "mars"}, "airlock_place", "not in places.csv"),
])
def test_settings_that_cannot_be(small: Scenario, changes: dict, column: str, problem: str) -> None:
    with pytest.raises(ScenarioError, match=problem) as caught:
        small.with_settings(changes)
    assert column in caught.value.problems["column"].tolist()


def test_tables_and_settings_together_are_as_one_after_the_other_and_tell_all_faults(small: Scenario) -> None:
    steps, crew = small.steps, small.crew
    steps.loc[0, "minutes_likely"], crew.loc[0, "tether_m"] = 6, 31
    keys = {"limits.hard_min": 425}
    at_once = small.with_tables({"steps": steps, "crew": crew}, keys)
    in_turn = small.with_settings(keys).with_table("crew", crew).with_table("steps", steps)
    assert at_once.checked.source.files() == in_turn.checked.source.files() != small.checked.source.files()
    steps.loc[0, "minutes_likely"], crew.loc[0, "tether_m"] = -6, -31
    with pytest.raises(ScenarioError) as error:
        small.with_tables({"steps": steps, "crew": crew}, {"limits.hard_min": "late"})
    assert {"steps", "crew", "scenario.toml"} <= set(error.value.problems["table"])


def test_a_record_with_another_orbit_is_a_record_still(small: Scenario) -> None:
    (small.folder / "second.json").write_text(ORBIT_JSON, encoding="utf-8")
    until = small.settings.pet_zero_utc
    assert small.as_happened(until).with_settings({"orbit": "second.json"}).happened_until == until


def test_another_orbit_is_read_from_the_folder(small: Scenario) -> None:
    (small.folder / "second.json").write_text(ORBIT_JSON.replace("15.54", "15.6"))
    new = small.with_settings({"orbit": "second.json"})
    assert new.elements.mean_motion_rev_per_day == 15.6
    assert small.elements.mean_motion_rev_per_day == 15.54
    assert new != small
    assert load_scenario(new.save().folder) == new
    assert (small.folder / "orbit.json").read_text() == ORBIT_JSON, "the first message stays where it is"
    (small.folder / "third.json").write_text('{"EPOCH": ""}')
    with pytest.raises(ScenarioError, match="is missing"):
        small.with_settings({"orbit": "third.json"})


def test_content_counts_not_spelling(tmp_path: Path, small: Scenario) -> None:
    toml = SCENARIO_TOML.replace("hard_min = 420", "hard_min = 420.0").replace("# the smallest", "# any")
    toml = toml.replace("pet_zero_utc = 2031-05-14T11:20:00Z", 'pet_zero_utc = "2031-05-14T13:20:00+02:00"')
    assert load_scenario(write_small(tmp_path / "a", {"scenario.toml": toml})) == small
    assert load_scenario(write_small(tmp_path / "b", with_cell("crew", 2, "metres_per_min", "5.00"))) == small
    assert load_scenario(write_small(tmp_path / "c", with_cell("crew", 2, "metres_per_min", "5.01"))) != small
    for old, new in (('"kept"', '"lost"'), ("[1, 2]", "[1, 3]"), ("0.0002", "0.0003")):
        files = {"scenario.toml": SCENARIO_TOML.replace(old, new), "orbit.json": ORBIT_JSON.replace(old, new)}
        assert load_scenario(write_small(tmp_path / new.strip('"[]'), files)) != small
    assert small != "a scenario"


def test_a_scenario_can_be_pickled(small: Scenario) -> None:
    assert pickle.loads(pickle.dumps(small)) == small
    assert pickle.loads(pickle.dumps(small.records)) == small.records


def test_an_error_can_be_pickled() -> None:
    error = SaveConflict.single("is wrong", table="steps", row=2)
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is SaveConflict
    assert str(again) == str(error)
    assert again.problems.equals(error.problems)


def test_the_repr_is_short_and_exact(small: Scenario) -> None:
    assert repr(small) == (
        "<Scenario 'Small outing': station Test Station, PET 0 2031-05-14T11:20:00Z, steps 5 in 2 tasks "
        "at 3 places, 4 items, limits 390 min planned, 420 min hard, "
        "elements TEST STATION of 2031-05-13T18:00:00Z, "
        f"digest {small.digest[:12]}>")


class _Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def test_the_html_says_the_same_and_is_escaped(small: Scenario) -> None:
    hostile = "<img src=x onerror=alert(1)>&\"'"
    parser = _Tags()
    parser.feed(small.with_settings({"title": hostile, "station": hostile})._repr_html_())
    assert set(parser.tags) == {"table", "caption", "tr", "th", "td"}
    assert parser.texts.count(hostile) == 2
    assert "390 min planned, 420 min hard" in parser.texts
