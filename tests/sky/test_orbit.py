import pickle
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from itertools import pairwise

import numpy as np
import pytest

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.omm import Elements
from planning_kit.sky.orbit import Orbit

# The verification set of Vallado, Crawford, Hujsak, Kelso, AIAA 2006-6753, as the package `sgp4` ships it:
# all but 33334, which SGP4 must refuse (its printed row is left over from the case before).
SGP4_TOLERANCE_KM = 1e-6
# An orbit with eccentricity 0.97, to 465 000 km: feels the last digit in which an epoch is held.
SGP4_TOLERANCE_23333_KM = 1e-5
SGP4_TOLERANCE_KM_S = 1e-8
REFUSED = "33334"


def verification_elements():
    """(catalogue number, Elements) of every two-line set, by the column layout of the format."""
    lines = files("sgp4").joinpath("SGP4-VER.TLE").read_text().splitlines()
    for first, second in pairwise(lines):
        if first.startswith("1 ") and second.startswith("2 "):
            yield first[2:7].lstrip("0"), elements_of(first, second)


def exponent(text):
    return float(f"{text[0]}.{text[1:6].strip()}e{text[6:]}".replace(" ", ""))


def elements_of(first, second):
    year = int(first[18:20])
    year += 1900 if year >= 57 else 2000
    epoch = datetime(year, 1, 1, tzinfo=UTC) + timedelta(days=float(first[20:32]) - 1)
    return Elements(
        object_name=first[2:7], object_id="", epoch=epoch, mean_motion_rev_per_day=float(second[52:63]),
        eccentricity=float("." + second[26:33].replace(" ", "0")), inclination_deg=float(second[8:16]),
        raan_deg=float(second[17:25]), arg_perigee_deg=float(second[34:42]),
        mean_anomaly_deg=float(second[43:51]), bstar=exponent(first[53:61]),
        mean_motion_dot=float(first[33:43]), mean_motion_ddot=exponent(first[44:52]), norad_cat_id=1)


def verification_states():
    """Catalogue number -> rows of minutes since epoch, x, y, z, vx, vy, vz (the first block of each)."""
    states, rows = {}, None
    for line in files("sgp4").joinpath("tcppver.out").read_text().splitlines():
        fields = line.split()
        if fields[-1:] == ["xx"]:
            rows = []
            states.setdefault(fields[0], rows)
        elif fields:
            rows.append([float(field) for field in fields[:7]])
    return {number: np.array(rows) for number, rows in states.items() if rows}


ELEMENTS = dict(reversed(list(verification_elements())))
STATES = verification_states()


@pytest.mark.parametrize("number", sorted(set(STATES) - {REFUSED}))
def test_sgp4_verification_set(number):
    orbit, rows = Orbit(ELEMENTS[number]), STATES[number]
    position, velocity = orbit.state_teme(orbit.epoch, rows[:, 0] * 60)
    tolerance_km = SGP4_TOLERANCE_23333_KM if number == "23333" else SGP4_TOLERANCE_KM
    np.testing.assert_allclose(position, rows[:, 1:4], rtol=0, atol=tolerance_km)
    np.testing.assert_allclose(velocity, rows[:, 4:7], rtol=0, atol=SGP4_TOLERANCE_KM_S)


def test_the_verification_set_was_read():
    assert len(STATES) == 32  # the report's 33 less 20413, which comes twice
    assert sum(len(rows) for rows in STATES.values()) > 500


def test_elements_that_sgp4_refuses_are_a_fault():
    with pytest.raises(ScenarioError, match="eccentricity") as caught:
        Orbit(ELEMENTS[REFUSED])
    assert caught.value.problems.loc[0, "table"] == "orbit"


@pytest.mark.parametrize("changed", [
    {"inclination_deg": float("nan")},              # SGP4 would give NaN without an error
    {"bstar": float("inf")},                        # likewise
    {"mean_motion_rev_per_day": float("nan")},
    {"mean_motion_rev_per_day": 0.0},
    {"mean_motion_rev_per_day": -15.5},             # SGP4 would give NaN without an error
    {"mean_motion_rev_per_day": 17.2},              # below the ground: 16.98 a day graze it
    {"eccentricity": 1.0},                          # a parabola
    {"eccentricity": -0.1},
])
def test_elements_of_no_orbit_are_a_fault(make_orbit, changed):
    with pytest.raises(ScenarioError) as caught:
        make_orbit(**changed)
    assert (caught.value.problems["table"] == "orbit").all()


def test_a_decayed_orbit_is_a_fault_not_a_position():
    """28872 is "lost in 50 minutes" (a comment in the verification file)."""
    orbit = Orbit(ELEMENTS["28872"])
    assert np.isfinite(orbit.position_teme_km(orbit.epoch, np.arange(0.0, 3001.0, 60.0))).all()
    with pytest.raises(ScenarioError, match="decayed"):
        orbit.position_teme_km(orbit.epoch, np.arange(0.0, 7200.0, 60.0))


def test_the_reference_moment_only_shifts_the_clock(orbit):
    later = orbit.epoch + timedelta(hours=30, seconds=12.5)
    np.testing.assert_allclose(orbit.position_teme_km(later, np.array([0.0, 600.0])),
                               orbit.position_teme_km(orbit.epoch, np.array([108012.5, 108612.5])), atol=1e-5)


def test_period_is_a_day_over_the_mean_motion(make_orbit):
    assert make_orbit(mean_motion_rev_per_day=16.0).period_min == 90.0


def test_semi_major_axis(make_orbit):
    # With mu = 398600.4418 km3/s2, 400 km above 6378.137 km has a period of 92.560 min; WGS 72's mu is
    # 1e-6 larger.
    orbit = make_orbit(mean_motion_rev_per_day=1440 / 92.560)
    assert orbit.elements.semi_major_axis_km == pytest.approx(6778.137, abs=0.1)


def test_an_orbit_is_a_value(orbit):
    twin = pickle.loads(pickle.dumps(orbit))
    assert twin == orbit
    assert hash(twin) == hash(orbit)
    assert twin != Orbit(replace(orbit.elements, raan_deg=31.0))
    with pytest.raises(AttributeError):
        orbit.elements = None
    assert repr(orbit) == "Orbit('TEST ORBIT', epoch 2031-06-21T00:00:00Z, 92.90 min)"  # 1440 / 15.5
