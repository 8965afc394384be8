"""Orbit messages in four forms. All objects are made up; the outside judge is the OMM reader of PyPI `sgp4`.

That reader takes epochs with a fraction only, no KVN, no JSON and no XML namespaces, so it judges the plain
CSV and XML forms; the other forms must give what those give.
"""

from __future__ import annotations

import io
import json
import math
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sgp4 import omm as judge
from sgp4.api import Satrec

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.omm import Elements, parse_epoch
from planning_kit.sky.orbit import load_orbit

VALUES = {
    "OBJECT_NAME": "MADE UP 1", "OBJECT_ID": "2030-001A", "CENTER_NAME": "EARTH", "REF_FRAME": "TEME",
    "TIME_SYSTEM": "UTC", "MEAN_ELEMENT_THEORY": "SGP4", "EPOCH": "2031-05-13T18:00:00.123456",
    "MEAN_MOTION": "15.54012345", "ECCENTRICITY": ".0006703", "INCLINATION": "51.6416",
    "RA_OF_ASC_NODE": "247.4627", "ARG_OF_PERICENTER": "130.5360", "MEAN_ANOMALY": "325.0288",
    "EPHEMERIS_TYPE": "0", "CLASSIFICATION_TYPE": "U", "NORAD_CAT_ID": "90001", "ELEMENT_SET_NO": "292",
    "REV_AT_EPOCH": "56353", "BSTAR": "-.11606E-4", "MEAN_MOTION_DOT": "-2.182E-5", "MEAN_MOTION_DDOT": "0",
}
META = ("OBJECT_NAME", "OBJECT_ID", "CENTER_NAME", "REF_FRAME", "TIME_SYSTEM", "MEAN_ELEMENT_THEORY")
MEAN = ("EPOCH", "MEAN_MOTION", "ECCENTRICITY", "INCLINATION", "RA_OF_ASC_NODE", "ARG_OF_PERICENTER",
        "MEAN_ANOMALY")
UNITS = {"MEAN_MOTION": "rev/day", "INCLINATION": "deg", "RA_OF_ASC_NODE": "deg", "ARG_OF_PERICENTER": "deg",
         "MEAN_ANOMALY": "deg", "BSTAR": "1/ER", "MEAN_MOTION_DOT": "rev/day**2",
         "MEAN_MOTION_DDOT": "rev/day**3"}


def csv_form(values: dict[str, str]) -> str:
    return ",".join(values) + "\n" + ",".join(values.values()) + "\n"


def json_form(values: dict[str, str]) -> str:
    return json.dumps([{key: text if key in META or key == "EPOCH" or text == "U" else float(text)
                        for key, text in values.items()}])


def json_object_form(values: dict[str, str]) -> str:
    return json.dumps(values)


def nested_json_form(values: dict[str, str]) -> str:
    meta = {key: text for key, text in values.items() if key in META}
    rest = {key: text for key, text in values.items() if key not in META}
    return json.dumps({"header": {"COMMENT": ["a", "b"]},
                       "body": {"segment": {"metadata": meta, "data": [rest]}}})


def xml_form(values: dict[str, str], namespace: bool = False) -> str:
    def tags(keys: list[str]) -> str:
        return "".join(f'<{p}{key} units="{UNITS[key]}">{values[key]}</{p}{key}>' if key in UNITS else
                       f"<{p}{key}>{values[key]}</{p}{key}>" for key in keys if key in values)
    p = "n:" if namespace else ""
    spaces = ' xmlns:n="urn:example:ndm"' if namespace else ""
    tle = [key for key in values if key not in META and key not in MEAN]
    return ('<?xml version="1.0" encoding="UTF-8"?>\n'
            f'<{p}ndm{spaces}><{p}omm id="CCSDS_OMM_VERS" version="2.0">'
            f"<{p}header><{p}COMMENT>made up</{p}COMMENT><{p}CREATION_DATE/><{p}ORIGINATOR/></{p}header>"
            f"<{p}body><{p}segment><{p}metadata>{tags(list(META))}</{p}metadata><{p}data>"
            f"<{p}meanElements>{tags(list(MEAN))}</{p}meanElements><{p}tleParameters>{tags(tle)}</{p}tleParameters>"
            f"</{p}data></{p}segment></{p}body></{p}omm></{p}ndm>")


def namespaced_xml_form(values: dict[str, str]) -> str:
    return xml_form(values, namespace=True)


def kvn_form(values: dict[str, str]) -> str:
    lines = ["CCSDS_OMM_VERS = 2.0", "COMMENT made up = no", "CREATION_DATE = 2031-05-14T00:00:00", "",
             "ORIGINATOR = me"]
    lines += [f"{key:<20}= {text}  [{UNITS[key]}]" if key in UNITS else f"{key} ={text}" for key,
              text in values.items()]
    return "\r\n".join([*lines, "USER_DEFINED_X = 1 = 2"])


FORMS = [csv_form, json_form, json_object_form, nested_json_form, xml_form, namespaced_xml_form, kvn_form]


def read(tmp_path: Path, text: str | bytes) -> Elements:
    path = tmp_path / "orbit.txt"  # the form is told from the content
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return load_orbit(path).elements


def fault_of(tmp_path: Path, text: str | bytes) -> tuple[str, str]:
    with pytest.raises(ScenarioError) as caught:
        read(tmp_path, text)
    assert len(caught.value.problems) == 1, caught.value
    row = caught.value.problems.iloc[0]
    return row["column"], row["problem"]


@pytest.mark.parametrize(("form", "parse"), [(csv_form, judge.parse_csv), (xml_form, judge.parse_xml)])
def test_our_elements_are_those_of_another_reader(tmp_path: Path, form, parse) -> None:
    text = form(VALUES)
    sat = Satrec()
    judge.initialize(sat, next(parse(io.StringIO(text))))
    ours = read(tmp_path, text)
    per_min = math.tau / 1440
    assert math.isclose(sat.no_kozai, ours.mean_motion_rev_per_day * per_min, rel_tol=1e-14)
    assert math.isclose(sat.ndot, ours.mean_motion_dot * per_min / 1440, rel_tol=1e-14)
    assert sat.ecco == ours.eccentricity
    assert sat.bstar == ours.bstar
    assert sat.satnum == ours.norad_cat_id
    for theirs, degrees in ((sat.inclo, ours.inclination_deg), (sat.nodeo, ours.raan_deg),
                            (sat.argpo, ours.arg_perigee_deg), (sat.mo, ours.mean_anomaly_deg)):
        assert math.isclose(theirs, math.radians(degrees), rel_tol=1e-14)
    julian_day = (ours.epoch - datetime(2000, 1, 1, 12, tzinfo=UTC)).total_seconds() / 86400 + 2451545
    assert abs(sat.jdsatepoch + sat.jdsatepochF - julian_day) < 1e-9  # 0.1 ms, the resolution of one float


@pytest.mark.parametrize("form", FORMS)
def test_every_form_says_the_same(tmp_path: Path, form) -> None:
    assert read(tmp_path, form(VALUES)) == read(tmp_path, csv_form(VALUES))
    assert read(tmp_path, b"\xef\xbb\xbf" + form(VALUES).encode()) == read(tmp_path, csv_form(VALUES))


def test_values_as_written(tmp_path: Path) -> None:
    assert read(tmp_path, json_form(VALUES)) == Elements(
        "MADE UP 1", "2030-001A", datetime(2031, 5, 13, 18, 0, 0, 123456, UTC), 15.54012345, 0.0006703,
        51.6416, 247.4627, 130.5360, 325.0288, -1.1606e-5, -2.182e-5, 0.0, 90001)


def without(*keys: str, **changed: str) -> dict[str, str]:
    return {key: text for key, text in {**VALUES, **changed}.items() if key not in keys}


@pytest.mark.parametrize("form", FORMS)
def test_what_the_standard_makes_optional_may_be_missing(tmp_path: Path, form) -> None:
    least = {key: VALUES[key] for key in MEAN}
    read_back = read(tmp_path, form(least))
    assert (read_back.bstar, read_back.mean_motion_dot, read_back.mean_motion_ddot) == (0, 0, 0)
    assert (read_back.object_name, read_back.norad_cat_id) == ("", 0)
    assert read_back.mean_motion_rev_per_day == 15.54012345


def test_semi_major_axis_in_place_of_mean_motion(tmp_path: Path) -> None:
    # check value, computed apart from this project: a circular orbit 400 km over 6378.137 km has a period of
    # 92.560 min with GM 398600.4418 km³/s², which the message gives itself
    values = without("MEAN_MOTION", SEMI_MAJOR_AXIS="6778.137", GM="398600.4418")
    assert 1440 / read(tmp_path, csv_form(values)).mean_motion_rev_per_day == pytest.approx(92.560, abs=5e-4)
    assert read(tmp_path, csv_form(without(SEMI_MAJOR_AXIS="9999"))).mean_motion_rev_per_day == 15.54012345


@pytest.mark.parametrize(("text", "expected"), [
    ("2031-05-13T18:00:00", datetime(2031, 5, 13, 18, tzinfo=UTC)),
    ("2031-05-13T18:00:00Z", datetime(2031, 5, 13, 18, tzinfo=UTC)),
    ("2031-05-13T18:00:00.5Z", datetime(2031, 5, 13, 18, 0, 0, 500_000, UTC)),
    ("2031-05-13T18:00", datetime(2031, 5, 13, 18, tzinfo=UTC)),
    ("2031-05-13 18:00:00.000", datetime(2031, 5, 13, 18, tzinfo=UTC)),
    # 2020-064 is 4 March 2020: 31 + 29 + 4 (a leap year)
    ("2020-064T10:34:41.4264", datetime(2020, 3, 4, 10, 34, 41, 426_400, UTC)),
    ("2020-366T00:00:00Z", datetime(2020, 12, 31, tzinfo=UTC)),
    ("2016-12-31T23:59:60.5", datetime(2017, 1, 1, 0, 0, 0, 500_000, UTC)),  # inside a leap second
])
def test_epochs(text: str, expected: datetime) -> None:
    assert parse_epoch(text) == expected


@pytest.mark.parametrize("text", ["", "2031", "2031-05-13", "2031-13-01T00:00:00", "2031-366T00:00:00",
                                  "2031-000T00:00:00",
                                  "2031-05-13T25:00:00", "2031-05-13T18:00:61", "2031-05-13T18:00:00+02:00",
                                  "٢٠٣١-05-13T18:00:00", "9999-12-31T23:59:60"])
def test_times_that_are_none(text: str) -> None:
    with pytest.raises(ValueError, match=r".*"):
        parse_epoch(text)


@pytest.mark.parametrize(("values", "key", "problem"), [
    (without(MEAN_ELEMENT_THEORY="SGP4-XP"), "MEAN_ELEMENT_THEORY", "SGP4"),
    (without(MEAN_ELEMENT_THEORY="DSST"), "MEAN_ELEMENT_THEORY", "SGP4"),
    (without(EPHEMERIS_TYPE="4"), "EPHEMERIS_TYPE", "SGP4-XP"),
    (without(REF_FRAME="EME2000"), "REF_FRAME", "TEME"),
    (without(TIME_SYSTEM="TAI"), "TIME_SYSTEM", "UTC"),
    (without(CENTER_NAME="MARS"), "CENTER_NAME", "EARTH"),
    (without(EPOCH=""), "EPOCH", "must be a UTC time"),
    (without(EPOCH="1066-10-14T09:00:00"), "EPOCH", "outside the years"),
    (without("MEAN_MOTION"), "MEAN_MOTION", "is missing"),
    (without("INCLINATION"), "INCLINATION", "is missing"),
    (without(INCLINATION="181"), "INCLINATION", "between 0 and 180"),
    (without(MEAN_ANOMALY="nan"), "MEAN_ANOMALY", "finite"),
    (without(RA_OF_ASC_NODE="1e999"), "RA_OF_ASC_NODE", "finite"),
    (without(ARG_OF_PERICENTER="a"), "ARG_OF_PERICENTER", "finite number"),
    (without(ECCENTRICITY="1"), "ECCENTRICITY", "not that of a bound orbit"),
    (without(ECCENTRICITY="-0.1"), "ECCENTRICITY", "between 0"),
    (without(MEAN_MOTION="0"), "MEAN_MOTION", "not that of a bound orbit"),
    (without(MEAN_MOTION="-15"), "MEAN_MOTION", "not that of a bound orbit"),
    # 17.2 rev/day: a = (GM/n²)^(1/3) is about 6340 km, less than the Earth's radius
    (without(MEAN_MOTION="17.2"), "MEAN_MOTION", "under the ground"),
    # a is about 6790 km here, so e = 0.1 takes the perigee to some 6110 km
    (without(ECCENTRICITY="0.1"), "MEAN_MOTION", "under the ground"),
    (without(MEAN_MOTION="0.001"), "MEAN_MOTION", "beyond the Moon"),
    (without("MEAN_MOTION", SEMI_MAJOR_AXIS="-7000"), "SEMI_MAJOR_AXIS", "not that of a bound orbit"),
    (without("MEAN_MOTION", SEMI_MAJOR_AXIS="1e-320"), "SEMI_MAJOR_AXIS", "between"),
    (without(NORAD_CAT_ID="1.5"), "NORAD_CAT_ID", "whole number"),
    (without(OBJECT_NAME="x" * 300), "OBJECT_NAME", "200 characters"),
])
@pytest.mark.parametrize("form", [csv_form, json_object_form, namespaced_xml_form, kvn_form])
def test_elements_that_cannot_be_used(tmp_path: Path, form, values, key, problem) -> None:
    column, said = fault_of(tmp_path, form(values))
    assert column == key
    assert problem in said


def test_a_wrong_unit_is_refused(tmp_path: Path) -> None:
    assert fault_of(tmp_path, kvn_form(VALUES).replace("51.6416  [deg]", "0.9013  [rad]"))[0] == "INCLINATION"
    assert "rev/day" in fault_of(tmp_path, xml_form(VALUES).replace('units="rev/day"', 'units="rad/s"'))[1]


def test_all_faults_of_a_message_at_once(tmp_path: Path) -> None:
    values = without("RA_OF_ASC_NODE", REF_FRAME="ICRF", ECCENTRICITY="2", INCLINATION="-1")
    with pytest.raises(ScenarioError) as caught:
        read(tmp_path, csv_form(values))
    found = set(caught.value.problems["column"])
    assert found == {"RA_OF_ASC_NODE", "REF_FRAME", "ECCENTRICITY", "INCLINATION"}


BOMB = ('<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;">]>'
        "<omm><EPOCH>&b;</EPOCH></omm>")


@pytest.mark.parametrize(("text", "problem"), [
    ("", "is not an orbit message"),
    ("hello", "is not an orbit message"),
    ("{", "starts like JSON"),
    ("[]", "holds 0 objects"),
    ("[{},{}]", "holds 2 objects"),
    ("[3]", "one JSON object"),
    ("[" * 100_000, "too deeply"),
    ("<omm>", "starts like XML"),
    (BOMB, "document type"),
    (json_form(VALUES)[:-40], "starts like JSON"),
    (csv_form(VALUES) + csv_form(VALUES).splitlines()[1], "holds 2 objects"),
    (csv_form(VALUES).rstrip()[:-1].rstrip(","), "has 20 values under 21 names"),
    (kvn_form(VALUES) + "\nnonsense", "is not KEYWORD = value"),
    (xml_form(VALUES).replace("</ndm>", "<omm/></ndm>"), "holds 2 objects"),
    (b"\xff\xfe{\x00", "not UTF-8"),
    (kvn_form(VALUES) + "\nECCENTRICITY = 0.5", "stands twice"),
])
def test_texts_that_are_no_message(tmp_path: Path, text: str | bytes, problem: str) -> None:
    assert problem in fault_of(tmp_path, text)[1]


def test_no_file(tmp_path: Path) -> None:
    with pytest.raises(ScenarioError, match="is missing"):
        load_orbit(tmp_path / "none.json")
    with pytest.raises(ScenarioError, match="not a plain file"):
        load_orbit(tmp_path)
