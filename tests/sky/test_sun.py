import socket
from datetime import UTC, datetime, timedelta
from importlib.resources import files

import numpy as np
import pytest
from skyfield.api import load, load_file
from skyfield.sgp4lib import TEME

from planning_kit.sky import sun
from planning_kit.sky.sun import sun_between
from planning_kit.sky.windows import FIRST_YEAR, LAST_YEAR

ARCSECOND = np.radians(1 / 3600)
ASTRONOMICAL_UNIT_KM = 149_597_870.7


def ascension_and_declination(vector):
    x, y, z = vector
    return np.arctan2(y, x) % (2 * np.pi), np.arctan2(z, np.hypot(x, y))


def test_meeus_example_25a():
    """Meeus, Astronomical Algorithms, example 25.a: 1992-10-13.0 TD, a method good to 0.01 degree.

    TD was 59 s ahead of UTC (27 leap-second-era seconds and 32.184). TEME counts right ascension from the
    mean equinox: the equation of the equinoxes, up to 18 arcseconds, comes on top of 36.
    """
    moment = datetime(1992, 10, 13, tzinfo=UTC) - timedelta(seconds=59)
    vector = sun_between(moment, moment).position_teme_km(moment, np.zeros(1))[0]
    ascension, declination = ascension_and_declination(vector)
    assert ascension == pytest.approx(np.radians((13 + 13 / 60 + 31.4 / 3600) * 15), abs=54 * ARCSECOND)
    assert declination == pytest.approx(np.radians(-(7 + 47 / 60 + 6 / 3600)), abs=36 * ARCSECOND)
    assert np.linalg.norm(vector) / ASTRONOMICAL_UNIT_KM == pytest.approx(0.99766, abs=1e-4)


def test_meeus_example_25b():
    """The same moment by the book's full theory (from memory): declination -7°47'01.74", R 0.99760775."""
    moment = datetime(1992, 10, 13, tzinfo=UTC) - timedelta(seconds=59)
    vector = sun_between(moment, moment).position_teme_km(moment, np.zeros(1))[0]
    _, declination = ascension_and_declination(vector)
    assert declination == pytest.approx(np.radians(-(7 + 47 / 60 + 1.74 / 3600)), abs=ARCSECOND)
    assert np.linalg.norm(vector) / ASTRONOMICAL_UNIT_KM == pytest.approx(0.99760775, abs=1e-6)


def skyfield_sun(start, seconds, is_apparent):
    ephemeris = load_file(str(files("skyfield_data").joinpath("data", "de421.bsp")))
    times = load.timescale(builtin=True).utc(start.year, start.month, start.day, 0, 0, seconds)
    earth, body = ephemeris["earth"], ephemeris["sun"]
    place = earth.at(times).observe(body).apparent() if is_apparent else (body - earth).at(times)
    vectors = place.frame_xyz(TEME).km.T
    ephemeris.close()
    return vectors


@pytest.mark.parametrize("is_apparent", [True, False])
def test_interpolation_keeps_its_stated_bound(is_apparent):
    start, days = datetime(2030, 11, 20, tzinfo=UTC), 400
    seconds = (np.arange(days) + np.linspace(0.05, 0.95, days)) * 86400
    table = sun_between(start, start + timedelta(days=days), is_apparent)
    ours = table.position_teme_km(start, seconds)
    theirs = skyfield_sun(start, seconds, is_apparent)
    error = np.linalg.norm(ours - theirs, axis=1) / np.linalg.norm(theirs, axis=1)
    assert error.max() < 3e-9


def test_ends_of_a_table_are_as_good():
    start = datetime(2030, 3, 1, tzinfo=UTC)
    seconds = np.linspace(-7200.0, 86400.0 + 7200.0, 50)
    ours = sun_between(start, start + timedelta(days=1)).position_teme_km(start, seconds)
    theirs = skyfield_sun(start, seconds, True)
    error_km = np.linalg.norm(ours - theirs, axis=1)
    assert error_km.max() / ASTRONOMICAL_UNIT_KM < 3e-9


def test_aberration_is_twenty_arcseconds():
    """The constant of aberration, 20.4955 arcseconds (IAU 1976), is Earth's mean speed over that of light;
    the speed varies by 1.7 %. Light time from the Sun is a part of it: the Sun itself hardly moves."""
    moment = datetime(2030, 3, 1, tzinfo=UTC)
    apparent, geometric = (
        sun_between(moment, moment, is_apparent).position_teme_km(moment, np.zeros(1))[0]
        for is_apparent in (True, False))
    angle = np.arctan2(np.linalg.norm(np.cross(apparent, geometric)), apparent @ geometric)
    assert angle / ARCSECOND == pytest.approx(20.4955, rel=0.02)


def test_no_network(monkeypatch):
    def refuse(*_args, **_kwargs):
        raise AssertionError("asked for the network")

    monkeypatch.setattr(socket, "socket", refuse)
    sun._tabulate.cache_clear()
    sun.timescale.cache_clear()
    moment = datetime(2031, 1, 1, tzinfo=UTC)
    assert np.isfinite(sun_between(moment, moment).position_teme_km(moment, np.zeros(1))).all()


def test_the_ephemeris_reaches_beyond_all_years_that_are_let_through():
    for moment in (datetime(FIRST_YEAR - 1, 12, 1, tzinfo=UTC), datetime(LAST_YEAR + 1, 2, 1, tzinfo=UTC)):
        vector = sun_between(moment, moment).position_teme_km(moment, np.zeros(1))[0]
        assert np.linalg.norm(vector) / ASTRONOMICAL_UNIT_KM == pytest.approx(1, abs=0.02)
