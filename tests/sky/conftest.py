"""Invented orbits for the tests of the sky room."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from planning_kit.inputs.omm import Elements
from planning_kit.sky.orbit import Orbit
from planning_kit.sky.sun import sun_between

EPOCH = datetime(2031, 6, 21, tzinfo=UTC)
INCLINATION_DEG = 51.64

ELEMENTS = Elements(
    object_name="TEST ORBIT", object_id="2031-001A", epoch=EPOCH, mean_motion_rev_per_day=15.5,
    eccentricity=0.0007, inclination_deg=INCLINATION_DEG, raan_deg=30.0, arg_perigee_deg=20.0,
    mean_anomaly_deg=300.0, bstar=4e-5, mean_motion_dot=2e-5, mean_motion_ddot=0.0, norad_cat_id=99901)


@pytest.fixture(scope="session")
def make_orbit() -> Callable[..., Orbit]:
    """Make an orbit like a space station's, with any of its elements replaced."""
    return lambda **changed: Orbit(replace(ELEMENTS, **changed))


@pytest.fixture(scope="session")
def orbit(make_orbit: Callable[..., Orbit]) -> Orbit:
    return make_orbit()


@pytest.fixture(scope="session")
def orbit_at_beta(make_orbit: Callable[..., Orbit]) -> Callable[..., Orbit]:
    """Make an orbit whose beta is as asked at the epoch, by solving the formula for the node.

    At the June solstice beta runs from 23.4 - 51.6 = -28 to 51.6 + 23.4 = 75 degrees. Of the two nodes that
    give it, one lets beta rise and one lets it fall, as the node drifts west.
    """
    def make(beta_deg: float, is_rising: bool = True) -> Orbit:
        x, y, z = sun_between(EPOCH, EPOCH).position_teme_km(EPOCH, np.zeros(1))[0]
        declination, ascension = np.arctan2(z, np.hypot(x, y)), np.arctan2(y, x)
        inclination = np.radians(INCLINATION_DEG)
        sine = ((np.sin(np.radians(beta_deg)) - np.sin(declination) * np.cos(inclination))
                / (np.cos(declination) * np.sin(inclination)))
        from_sun = np.pi - np.arcsin(sine) if is_rising else np.arcsin(sine)
        return make_orbit(raan_deg=float(np.degrees(ascension + from_sun) % 360))

    return make
