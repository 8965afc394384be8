"""From a file to light: the reader has its own tests; this is the way through."""

import json

import numpy as np
import pytest

from planning_kit.inputs.faults import ScenarioError
from planning_kit.sky.light import light_between
from planning_kit.sky.orbit import load_orbit

MESSAGE = {
    "OBJECT_NAME": "TEST ORBIT", "OBJECT_ID": "2031-001A", "CENTER_NAME": "EARTH", "REF_FRAME": "TEME",
    "TIME_SYSTEM": "UTC", "MEAN_ELEMENT_THEORY": "SGP4", "EPOCH": "2031-06-21T00:00:00", "MEAN_MOTION": 15.5,
    "ECCENTRICITY": 0.0007, "INCLINATION": 51.64, "RA_OF_ASC_NODE": 30.0, "ARG_OF_PERICENTER": 20.0,
    "MEAN_ANOMALY": 300.0, "EPHEMERIS_TYPE": 0, "NORAD_CAT_ID": 99901, "BSTAR": 4e-5, "MEAN_MOTION_DOT": 2e-5,
    "MEAN_MOTION_DDOT": 0.0,
}


def test_a_message_gives_the_same_light_as_its_elements(tmp_path, orbit):
    file = tmp_path / "orbit.json"
    file.write_text(json.dumps([MESSAGE]), encoding="utf-8")
    read = load_orbit(file)
    assert read.name == "TEST ORBIT"
    np.testing.assert_array_equal(light_between(read, "2031-06-22", "2031-06-23").night,
                                  light_between(orbit, "2031-06-22", "2031-06-23").night)


def test_a_file_that_is_not_there_is_a_fault(tmp_path):
    with pytest.raises(ScenarioError):
        load_orbit(tmp_path / "none.json")
