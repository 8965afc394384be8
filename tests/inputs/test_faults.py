"""One damage, the expected fault, and no other: every rule over tables and settings."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import load_scenario
from tests.inputs.small_folder import SCENARIO_TOML, TABLES, WINDOWS, small_files, with_cell, write_small

Where = tuple[str, int | None, str]


def faults_of(folder: Path, change: dict[str, str | bytes | None]) -> list[tuple[str, int | None, str, str]]:
    with pytest.raises(ScenarioError) as caught:
        load_scenario(write_small(folder, change))
    frame = caught.value.problems
    assert (frame["problem"].str.len() > 0).all()
    return [(row["table"], None if pd.isna(row["row"]) else int(row["row"]), row["column"],
             row["problem"]) for row in frame.to_dict("records")]


CELLS = [
    # what a cell may hold
    (("steps", 2, "minutes_likely", "five"), "must be a number"),
    (("steps", 2, "minutes_likely", "7,5"), "decimal point"),
    (("steps", 2, "minutes_likely", "0:14"), "must be a number; write minutes as a plain number: 14"),
    (("steps", 2, "minutes_likely", "1:05"), "a plain number: 65"),
    (("steps", 2, "minutes_likely", "13 days"), "one with one of these units: min, h, s"),
    (("steps", 2, "minutes_likely", "13 minuts"), "these units: min, h, s"),
    (("routes", 2, "metres", "6.5 lb"), "one with one of these units: m, cm, km, ft, in"),
    (("routes", 2, "metres", "1e400 ft"), "finite"),
    (("routes", 2, "metres", "-1 ft"), "at least 0 m"),
    (("routes", 2, "metres", "70 mi"), "these units: m, cm, km, ft, in"),
    (("hardware", 2, "mass_kg", "3 ft-lb"), "these units: kg, g, lb"),
    (("crew", 2, "metres_per_min", "3 ft"), "these units: m/min, ft/min"),
    (("hardware", 2, "slots", "2 slots"), "write the number alone, in slots, without its unit: 2"),
    (("places", 2, "crew_at_once", "2 people"), "write the number alone without its unit: 2"),
    (("steps", 2, "minutes_likely", "nan"), "finite"),
    (("steps", 2, "minutes_likely", "inf"), "finite"),
    (("steps", 2, "minutes_low", "-1"), "at least 0 min"),
    (("steps", 2, "minutes_high", "1e999"), "finite"),
    (("steps", 2, "minutes_high", "1e6"), "at most 14,400 min"),
    (("steps", 2, "minutes_likely", "1_0"), "must be a number"),
    (("steps", 2, "minutes_likely", "٥"), "must be a number"),
    (("steps", 2, "minutes_likely", ""), "is empty"),
    (("crew", 2, "metres_per_min", "0"), "more than 0"),
    (("places", 3, "crew_at_once", "1.5"), "whole number"),
    (("places", 2, "anchor", "Yes"), "did you mean 'yes'"),
    (("steps", 2, "light", "dark"), "any, night, day"),
    (("steps", 2, "link", "maybe"), "no, yes, wait"),
    (("hardware", 3, "kind", "bolt"), "must be one of"),
    (("tasks", 2, "need", ""), "is empty"),
    (("steps", 2, "title", "bell \x07"), "control character"),
    (("steps", 6, "step", "a 1"), "letters, digits"),
    (("steps", 6, "step", "é"), "letters, digits"),
    (("steps", 6, "crew", " arm"), "spaces around"),
    (("windows", 2, "start", "yesterday"), "ISO 8601"),
    (("windows", 2, "start", "2031-05-14"), "no time of day"),
    (("windows", 2, "start", "0001-01-01T00:00:00+05:00"), "outside the years"),
    (("steps", 2, "takes", "stand gun<"), "must be written"),
    # ids
    (("steps", 6, "step", "s1"), "row 2 already"),
    (("windows", 2, "window", "night"), "word of the format"),
    # references
    (("steps", 2, "task", "swop"), "did you mean 'swap'"),
    (("steps", 5, "crew", "EV3"), "is not in crew.csv or actors.csv"),
    (("steps", 5, "place", "midd"), "is not in places.csv"),
    (("steps", 2, "after", "s9"), "is not in steps.csv"),
    (("steps", 2, "uses", "hammer"), "is not in hardware.csv"),
    (("steps", 2, "hooks", "arm"), "is not in crew.csv"),
    (("steps", 2, "foothold", "nothing"), "is not in hardware.csv"),
    (("steps", 2, "takes", "stand gum<bag1"), "'gum' is not in hardware.csv"),
    (("hardware", 5, "at", "nowhere"), "or the word inside"),
    (("hardware", 5, "end_at", "EV1"), "is not in places.csv"),
    (("gaps", 2, "first_step", "s9"), "is not in steps.csv"),
    (("inhibits", 2, "until_step", "s9"), "is not in steps.csv"),
    # rules
    (("steps", 2, "minutes_low", "6"), "is more than minutes_likely, 5"),
    (("steps", 2, "minutes_high", "4"), "is less than minutes_likely, 5"),
    (("steps", 2, "place", ""), "is empty"),
    (("steps", 2, "after", "s1"), "names the step itself"),
    (("gaps", 2, "then_step", "s1"), "is the first step itself"),
    (("gaps", 2, "max_gap", "-1"), "is less than min_gap"),
    (("steps", 3, "light", ""), "shares a window"),
    (("steps", 4, "light", "day"), "asks for night"),
    (("steps", 4, "foothold", "gun"), "name an item of kind foothold"),
    (("steps", 4, "leaves", "gun>bag1"), "write EV1:gun or EV2:gun"),
    (("steps", 2, "takes", "EV2:stand gun<bag1"), "EV2 does not work in this step"),
    (("steps", 2, "takes", "gun>bag1"), "write it in leaves"),
    (("steps", 4, "leaves", "EV1:gun<bag1"), "write it in takes"),
    (("steps", 2, "takes", "gun<stand"), "only a bag"),
    (("steps", 2, "takes", "gun<mid"), "is not a bag"),
    (("steps", 4, "leaves", "EV1:gun>EV1"), "name the partner"),
    (("steps", 4, "leaves", "EV1:bag1>bag1"), "in itself"),
    (("hardware", 3, "at", "stand"), "only a bag holds items"),
    (("windows", 2, "end", "2031-05-14T12:00:00Z"), "later than start"),
]


@pytest.mark.parametrize(("cell", "problem"), CELLS, ids=lambda value: value if isinstance(value, str)
                         else None)
def test_one_bad_cell(tmp_path: Path, cell: tuple[str, int, str, str], problem: str) -> None:
    table, row, column, value = cell
    found = faults_of(tmp_path, with_cell(table, row, column, value))
    assert [each[:3] for each in found] == [(table, row, column)], found
    assert problem in found[0][3]


TOML = [
    ("format = 2", "format = 3", "format", "at most 2"),
    ("format = 2", "format = true", "format", "must be a number"),
    ('title = "Small outing"\n', "", "title", "is missing"),
    ('title = "Small outing"', 'title = ""', "title", "is empty"),
    ('title = "Small outing"', 'title = "a\\u0007"', "title", "control character"),
    ("hard_min = 420", "hard_min = 380", "limits.planned_min", "is more than hard_min"),
    ("hard_min = 420", 'hard_min = "420"', "limits.hard_min", "without quotation marks"),
    ("hard_min = 420", 'hard_min = "consumable"', "limits.hard_min", "did you mean 'consumables'"),
    ("hard_min = 420", 'hard_min = "Consumables "', "limits.hard_min", 'or "consumables" with them'),
    ("hard_min = 420", 'hard_min = ""', "limits.hard_min", 'or "consumables" with them'),
    ("hard_min = 420", "hard_min = true", "limits.hard_min", "must be a number"),
    ("hard_min = 420", 'hard_min = ["consumables"]', "limits.hard_min", "must be a number"),
    ("planned_min = 390", 'planned_min = "consumables"', "limits.planned_min", "without quotation marks"),
    ("hard_min = 420", "hard_min = inf", "limits.hard_min", "finite"),
    ("hard_min = 420\n", "", "limits.hard_min", "is missing"),
    ("return_reserve_min = 30", "return_reserve = 30", "limits.return_reserve",
     "did you mean 'return_reserve_min'"),
    ("hard_min = 420", "hard_min = 420\nnothing_source = 'me'", "limits.nothing_source", "is not a key"),
    ("planned_min_source = \"demo value\"", "planned_min_source = 3", "limits.planned_min_source",
     "must be text"),
    ("horizon_h = 12.0", "horizon_h = 0", "horizon_h", "more than 0 h"),
    ("horizon_h = 12.0", "horizon_h = 241", "horizon_h", "at most 240 h"),
    ("horizon_h = 12.0", "horizon_h = 6.9", "horizon_h", "is shorter than limits.hard_min"),
    ("horizon_h = 12.0", f"horizon_h = {10**400}", "horizon_h", "finite"),
    ("horizon_h = 12.0", f"horizon_h = 0x{'F' * 9000}", "horizon_h", "finite"),
    ('airlock_place = "lock"', 'airlock_place = "lok"', "airlock_place", "did you mean 'lock'"),
    ('orbit = "orbit.json"', 'orbit = "../orbit.json"', "orbit", "without a path"),
    ('orbit = "orbit.json"', 'orbit = "steps.csv"', "orbit", "plain name"),
    ("pet_zero_utc = 2031-05-14T11:20:00Z", "pet_zero_utc = 2031-05-14", "pet_zero_utc", "no time of day"),
    ("pet_zero_utc = 2031-05-14T11:20:00Z", "pet_zero_utc = 11:20:00", "pet_zero_utc", "not a date and time"),
    ("pet_zero_utc = 2031-05-14T11:20:00Z", "pet_zero_utc = 2031-05-14T14:20:00Z", "pet_zero_latest",
     "lies before PET 0"),
    ("pet_zero_utc = 2031-05-14T11:20:00Z", "pet_zero_utc = 2031-05-14T09:20:00Z", "pet_zero_earliest",
     "lies after PET 0"),
    ("respiratory_quotient = 0.9", "respiratory_quotient = 9", "suit.respiratory_quotient", "at most 1"),
    ("oxygen_reserve_fraction = 0.1", "oxygen_reserve_fraction = 10", "suit.oxygen_reserve_fraction",
     "at most 1"),
    ("[suit.EV2]", "[suit.EV3]", "suit.EV3", "did you mean"),
    ("oxygen_g = 520", "oxygen = 520", "suit.EV2.oxygen", "did you mean 'oxygen_g'"),
    ("longitudes_deg_east = [-41.0, 174.0]", "longitudes_deg_east = -41", "relays.longitudes_deg_east",
     "a list"),
    ("longitudes_deg_east = [-41.0, 174.0]", "longitudes_deg_east = [400]", "relays.longitudes_deg_east",
     "at most"),
    ("longitudes_deg_east = [-41.0, 174.0]\n", "", "relays.longitudes_deg_east", "is missing"),
    ("[lighting]", "[lightning]", "lightning", "did you mean 'lighting'"),
    ("format = 2", "format = 2\n\"\" = 2", "", "is not a key"),
    ("[[odds]]", "[[odds]]", "odds", "must be a table"),
]


@pytest.mark.parametrize(("old", "new", "key", "problem"), TOML,
                         ids=[f"{case[2]}-{i}" for i, case in enumerate(TOML)])
def test_one_bad_setting(tmp_path: Path, old: str, new: str, key: str, problem: str) -> None:
    source = SCENARIO_TOML.replace("[odds]", "[[odds]]") if old == "[[odds]]" else SCENARIO_TOML
    text = source.replace(old, new, 1)
    found = faults_of(tmp_path, {"scenario.toml": text})
    assert [each[:3] for each in found] == [("scenario.toml", None, key)], found
    assert problem in found[0][3]


FILES: list[tuple[dict[str, str | bytes | None], list[Where], str]] = [
    ({"steps.csv": None}, [("steps.csv", None, "")], "is missing"),
    ({"scenario.toml": None}, [("scenario.toml", None, "")], "is missing"),
    ({"orbit.json": None}, [("orbit.json", None, "")], "is missing"),
    ({"scenario.toml": "format = "}, [("scenario.toml", None, "")], "is not TOML"),
    ({"scenario.toml": "a = " + "[" * 5000}, [("scenario.toml", None, "")], "nested too deeply"),
    ({"scenario.toml": "a = " + "9" * 5000}, [("scenario.toml", None, "")], "is not TOML"),
    ({"scenario.toml": b"title = '\xff'"}, [("scenario.toml", None, "")], "UTF-8"),
    ({"tasks.csv": TABLES["tasks"].encode("utf-16")}, [("tasks", None, "")], "not UTF-8"),
    ({"tasks.csv": TABLES["tasks"].replace("Power", "Pow\0er")}, [("tasks", None, "")], "NUL"),
    ({"tasks.csv": ""}, [("tasks", 1, "")], "has no header"),
    ({"tasks.csv": TABLES["tasks"] + '"open,x\n'}, [("tasks", 4, "")], "not CSV"),
    ({"actors.csv": TABLES["actors"] + "mid,\n"}, [("actors", 3, "actor")], "stands in places.csv too"),
    ({"actors.csv": TABLES["actors"] + "both,\n"}, [("actors", 3, "actor")], "reserved word"),
    ({"actors.csv": TABLES["actors"] + "Inside,\n"}, [("actors", 3, "actor")], "reserved word"),
    ({"actors.csv": TABLES["actors"] + "ev1,\n"}, [("actors", 3, "actor")], "reserved for the crew"),
    ({"windows.csv": WINDOWS + "quiet,2031\n"}, [("windows", 4, ""), ("windows", 4, "start")], "has 2 cells"),
    ({"inhibits.csv": TABLES["inhibits"].replace("No sparks", "No sparks, none")}, [("inhibits", 2, "")],
     "8 cells"),
    ({"windows.csv": WINDOWS.replace("source", "soruce")},
     [("windows", 1, "soruce"), ("windows", 1, "source")],
     "did you mean 'source'"),
    ({"windows.csv": WINDOWS.replace("source", "start")}, [("windows", 1, "start"), ("windows", 1, "source")],
     "stands twice"),
    ({"windows.csv": WINDOWS.replace("source", "")}, [("windows", 1, ""), ("windows", 1, "source")],
     "without a name"),
    ({"crew.csv": TABLES["crew"].replace("EV2", "EV3")}, [("crew", 3, "crew"), ("crew", None, "crew")],
     "EV1, EV2"),
    ({"actors.csv": "actor,title\n" + "".join(f"p{i},\n" for i in range(5001))}, [("actors", None, "")],
     "5,000"),
    ({"actors.csv": "actor,title\narm," + "x" * 10_001}, [("actors", 2, "")], "10,000 characters"),
    ({"actors.csv": "actor,title\narm," + "x" * 200_000}, [("actors", 2, "")], "not CSV"),
    ({"actors.csv": "x" * 50_000_001}, [("actors.csv", None, "")], "larger than"),
    ({"hardware.csv": "\n".join(f"{row},{end}" for row, end in zip(
        TABLES["hardware"].splitlines(), ["end2_at", "", "mid", "", ""], strict=True))},
     [("hardware", 3, "end2_at")], "only a cable has two ends"),
    ({"routes.csv": TABLES["routes"].replace("mid,far", "mid,mid")},
     [("routes", 3, "to_place"), ("places", 4, "place")],
     "leads back"),
    ({"routes.csv": TABLES["routes"] + "mid,lock,9,,,,\n"}, [("routes", 4, "to_place")],
     "same two places as row 2"),
    ({"routes.csv": "\n".join(TABLES["routes"].splitlines()[:2])}, [("places", 4, "place")],
     "no chain of routes"),
    ({"hardware.csv": TABLES["hardware"].replace("bag1,Bag,bag,EV1", "bag1,Bag,bag,bag2")
      + "bag2,Bag,bag,bag1,,,,,\n"}, [("hardware", 2, "at")], "bag1 in bag2 in bag1"),
    ({"hardware.csv": TABLES["hardware"].replace("bag1,Bag,bag,EV1", "bag1,Bag,bag,bag1")},
     [("hardware", 2, "at")], "lies in itself"),
]


@pytest.mark.parametrize(("change", "where", "problem"), FILES)
def test_one_bad_file(tmp_path: Path, change: dict[str, str | bytes | None], where: list[Where],
                      problem: str) -> None:
    found = faults_of(tmp_path, change)
    if "scenario.toml" in change:  # what hangs on the settings is not known then, and is not reported
        found = [each for each in found if each[0] != "orbit.json"]
    assert [each[:3] for each in found] == where, found
    assert problem in found[0][3]


@pytest.mark.parametrize("table", ["steps", "places", "hardware", "windows"])
@pytest.mark.parametrize("mark", [";", "\t"])
def test_a_table_that_is_not_separated_by_commas_is_one_fault(tmp_path: Path, table: str, mark: str) -> None:
    text = {**TABLES, "windows": WINDOWS}[table]
    (fault,) = faults_of(tmp_path, {f"{table}.csv": text.replace(",", mark)})
    assert fault[0] == table
    assert "not separated by commas" in fault[3]


def test_faults_of_all_files_come_at_once(tmp_path: Path) -> None:
    change = {
        "scenario.toml": SCENARIO_TOML.replace("hard_min = 420", "hard_min = -1"),
        "orbit.json": small_files()["orbit.json"].replace("0.0006", "1.2"),
        "routes.csv": None,
        **with_cell("steps", 2, "task", "swop"),
        **with_cell("hardware", 3, "slots", "-2"),
    }
    found = {each[:3] for each in faults_of(tmp_path, change)}
    assert found == {
        ("scenario.toml", None, "limits.hard_min"), ("orbit.json", None, "ECCENTRICITY"),
        ("routes.csv", None, ""), ("steps", 2, "task"), ("hardware", 3, "slots"),
    }


def test_a_missing_table_is_one_fault_not_many(tmp_path: Path) -> None:
    assert len(faults_of(tmp_path, {"hardware.csv": None})) == 1
    assert len(faults_of(tmp_path, {"places.csv": b"\xff\xfe"})) == 1


def test_hooks_at_a_place_without_anchor_are_no_fault(tmp_path: Path) -> None:
    folder = write_small(tmp_path, with_cell("steps", 2, "hooks", "EV1 EV2"))
    assert load_scenario(folder).records.steps[0].hooks == ("EV1", "EV2")


@pytest.mark.parametrize("folder", ["nowhere", "a\0b", "x" * 5000, "file"])
def test_no_folder(tmp_path: Path, folder: str) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(ScenarioError, match="is not a folder"):
        load_scenario(tmp_path / folder)


def test_things_in_the_way_of_files(tmp_path: Path) -> None:
    folder = write_small(tmp_path, {"actors.csv": None, "gaps.csv": None, "windows.csv": None})
    (folder / "actors.csv").mkdir()
    (folder / "gaps.csv").symlink_to(folder / "gone.csv")
    (folder / "windows.csv").symlink_to("/dev/zero")
    with pytest.raises(ScenarioError) as caught:
        load_scenario(folder)
    assert set(caught.value.problems["table"]) >= {"actors.csv", "gaps.csv", "windows.csv"}
    problems = dict(zip(caught.value.problems["table"], caught.value.problems["problem"], strict=True))
    assert "not a plain file" in problems["actors.csv"]
    assert "link to nothing" in problems["gaps.csv"]
    assert "leads out of its folder" in problems["windows.csv"]


def test_a_missing_actor_table_leaves_its_steps_dangling(tmp_path: Path) -> None:
    assert [each[:3] for each in faults_of(tmp_path, {"actors.csv": None})] == [("steps", 6, "crew")]


def test_thousands_of_bad_references_stay_quick_to_name(tmp_path: Path) -> None:
    rows = "".join(f"k{i},swap,EV1,plce{i},,,1,,,,,,,,,tol{i},,,,\n" for i in range(2000))
    assert len(faults_of(tmp_path, {"steps.csv": TABLES["steps"] + rows})) == 4000
