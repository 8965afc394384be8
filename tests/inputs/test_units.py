"""Numbers typed with a unit: what they say, what is refused, and that the text stays."""

from __future__ import annotations

import itertools
import json
import math
from decimal import Decimal
from pathlib import Path

import jsonschema
import pytest
import scipy.constants as known
from hypothesis import given
from hypothesis import strategies as st

import planning_kit as pk
from planning_kit.inputs.cells import CellFault, parse_number
from planning_kit.inputs.fields import Field
from planning_kit.inputs.format import CREW, SECTIONS, TABLES
from planning_kit.inputs.input_changes import compare_inputs
from planning_kit.inputs.schema import format_schema
from planning_kit.inputs.times import converted, units_of
from tests.inputs.small_folder import SCENARIO_TOML, write_small
from tests.inputs.small_folder import TABLES as SMALL
from tests.inputs.test_schema import scenario_document

# scipy.constants is an implementation of its own (of CODATA and NIST SP 811).
JUDGED = [
    ("ft", "m", known.foot), ("in", "m", known.inch), ("cm", "m", known.centi), ("km", "m", known.kilo),
    ("lb", "kg", known.pound), ("g", "kg", known.gram), ("psi", "kPa", known.psi / known.kilo),
    ("ft-lb", "N m", known.pound_force * known.foot), ("Btu/h", "W", known.Btu_IT / known.hour),
    ("Btu", "W h", known.Btu_IT / known.hour), ("h", "min", known.hour / known.minute),
    ("s", "min", 1 / known.minute), ("ft/min", "m/min", known.foot), ("lb", "g", known.pound / known.gram),
]
FEET = {"scenario.toml": SCENARIO_TOML.replace("hard_min = 420", 'hard_min = "7 h"')
        .replace("night_guard_s = 60", 'night_guard_s = "1 min"').replace("power_w = 55", 'power_w = "55 W"'),
        "crew.csv": SMALL["crew"].replace(",4,25\nEV2", ",4,85 ft\nEV2")}
METRES = {"crew.csv": SMALL["crew"].replace(",4,25\nEV2", ",4,25.908\nEV2")}


@pytest.mark.parametrize(("unit", "to", "factor"), JUDGED)
def test_factors_agree_with_scipy(unit: str, to: str, factor: float) -> None:
    assert converted(1.0, unit, to) == pytest.approx(factor, rel=2**-51)


def test_factors_by_hand() -> None:
    # NIST SP 811 (2008), B.8: 1 lbf = 4.448 221 615 260 5 N; 1 Btu(IT) = 1055.055 852 62 J
    assert converted(1.0, "ft-lb", "N m") == float(Decimal("4.4482216152605") * Decimal("0.3048"))
    assert converted(3600.0, "Btu/h", "W") == 1055.05585262
    assert converted(14.7, "psi", "kPa") == pytest.approx(101.353, abs=0.0005)
    assert converted(85.0, "ft", "m") == 25.908


@given(value=st.floats(-1e12, 1e12, allow_nan=False), pair=st.sampled_from(JUDGED))
def test_there_and_back_is_the_same_float_but_for_its_last_bits(value: float,
                                                                pair: tuple[str, str, float]) -> None:
    unit, to, _ = pair
    assert converted(converted(value, unit, to), to, unit) == pytest.approx(value, rel=2**-51, abs=1e-300)


@given(st.decimals(0, 99999, places=4))
def test_the_nearest_float_to_the_exact_product(feet: Decimal) -> None:
    field = Field("x", "number", "a length", "m")
    assert parse_number(f"{feet} ft", field) == float(feet * Decimal("0.3048"))


@pytest.mark.parametrize("text", ["85ft", " 85  ft ", "85. ft", "1020 in", "8.5e1 ft", "25.908 m",
                                  "2590.8 cm", "0.025908km"])
def test_spellings(text: str) -> None:
    assert parse_number(text, CREW.by_name["tether_m"]) == 25.908


@pytest.mark.parametrize("text", ["5 psi", "5 feet", "ft", "5 ft 3 in", "5'", "5 FT", "5 m/min", "5 e3",
                                  "1e308 km", "9" * 9999 + " ft", "nan ft", "5,5 ft", "ft 5", "5\nm\x00"])
def test_what_is_no_length(text: str) -> None:
    with pytest.raises(CellFault):
        parse_number(text, CREW.by_name["tether_m"])


def test_no_unit_is_in_two_rows_and_every_declared_one_is_first() -> None:
    fields = [field for table in TABLES for field in table.fields]
    fields += [field for top in SECTIONS for _, section in top.each() for field in section.fields]
    for unit in {field.unit for field in fields}:
        assert not units_of(unit) or next(iter(units_of(unit))) == unit
    assert {unit for unit in {field.unit for field in fields} if not units_of(unit)} == {
        "", "slots", "deg", "UTC", "UTC or PET"}
    rows = {tuple(sorted(units_of(unit))) for unit, _, _ in JUDGED}
    assert not any(set(a) & set(b) for a, b in itertools.combinations(rows, 2))


def test_feet_and_metres_are_one_scenario(tmp_path: Path) -> None:
    feet, metres = (pk.load_scenario(write_small(tmp_path / name, files))
                    for name, files in (("feet", FEET), ("metres", METRES)))
    assert feet.records.crew[0].tether_m == 25.908
    assert (feet.settings.limits.hard_min, feet.settings.night_guard_s) == (420.0, 60.0)
    assert feet.digest == metres.digest
    assert feet.crew["tether_m"].tolist() == [25.908, 25.0]
    other = metres.with_settings({"limits.planned_min": 380})
    words = compare_inputs(feet.checked, other.checked)["words"].tolist()
    assert words == ["limits.planned_min: was 390, is 380"]


def test_the_text_stays_through_edits_saves_and_a_workbook(tmp_path: Path) -> None:
    scenario = pk.load_scenario(write_small(tmp_path / "feet", FEET))
    crew = scenario.crew
    crew.loc[1, "tether_m"] = 20.0
    edited = scenario.with_tables({"crew": crew}, {"limits.planned_min": 380}).save()
    assert ",85 ft\n" in (tmp_path / "feet" / "crew.csv").read_text(encoding="utf-8")
    assert 'hard_min = "7 h"\n' in (tmp_path / "feet" / "scenario.toml").read_text(encoding="utf-8")
    book = pk.load_scenario(edited.write_workbook(tmp_path / "outing.xlsx"))
    assert book.digest == edited.digest
    assert book.checked.source.tables["crew"].rows[0][-1] == "85 ft"
    assert b'hard_min = "7 h"' in book.checked.source.toml


def test_a_frame_may_hold_what_a_file_may(small: pk.Scenario) -> None:
    crew = small.crew.astype({"tether_m": object})
    crew.loc[0, "tether_m"] = "85 ft"
    edited = small.with_tables({"crew": crew}, {"limits.hard_min": "7 h", "checks.body_m": "2 ft"})
    assert edited.records.crew[0].tether_m == 25.908
    assert edited.settings.checks.body_m == 0.6096


def test_a_wrong_unit_names_the_place_and_the_units(small: pk.Scenario) -> None:
    with pytest.raises(pk.ScenarioError) as caught:
        small.with_settings({"limits.hard_min": "7 ft", "suit.EV1.power_w": "5 Btu",
                             "limits.planned_min": "9"})
    told = dict(zip(caught.value.problems["column"], caught.value.problems["problem"], strict=True))
    assert "these units: min, h, s" in told["limits.hard_min"]
    assert "these units: W, Btu/h" in told["suit.EV1.power_w"]
    assert told["limits.planned_min"] == "must be a number, without quotation marks"


@pytest.mark.parametrize(("value", "is_good"), [(25.9, True), ("85 ft", True), ("85ft", True), ("85", False),
                                                ("85 psi", False), (-1, False), (None, True)])
def test_the_schema_says_the_same(small: pk.Scenario, value: object, is_good: bool) -> None:
    document = json.loads(json.dumps(scenario_document(small)))
    document["crew"][0]["tether_m"] = value
    assert jsonschema.Draft202012Validator(format_schema()).is_valid(document) == is_good


def test_the_smallest_and_the_largest() -> None:
    assert converted(5e-324, "cm", "m") == 0.0
    with pytest.raises(OverflowError):
        converted(1.7e308, "km", "m")
    assert math.copysign(1, converted(-3.0, "ft", "m")) == -1


def test_a_unit_of_a_setting_is_no_change_but_its_value_is(tmp_path: Path) -> None:
    hours = pk.load_scenario(write_small(tmp_path, FEET))
    other = hours.with_settings({"limits.hard_min": "7.5 h", "suit.power_w": "55 W"})
    assert compare_inputs(hours.checked, other.checked)["words"].tolist() == [
        "limits.hard_min: was 7 h, is 7.5 h"]
    by_suits = hours.with_settings({"limits.hard_min": "consumables"})
    assert compare_inputs(hours.checked, by_suits.checked)["words"].tolist() == [
        "limits.hard_min: was 7 h, is consumables"]
