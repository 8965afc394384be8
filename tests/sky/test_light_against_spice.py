"""Shadow edges against SPICE's own occultation search (`gfoclt`), fed the same states and Sun.

SPICE: ellipsoidal Earth (WGS 84) and Sun, no light time, DE421. The comparison takes the geometric Sun on our
side too. SPICE's Earth is given the true pole of date at the middle of the day (nutation moves it by less
than 0.1 arcsecond in 12 hours, which tilts a bulge of 21 km by a centimetre).
"""

from datetime import timedelta
from importlib.resources import files

import numpy as np
import pytest
import spiceypy
from skyfield.api import load
from skyfield.sgp4lib import TEME

from planning_kit.sky.light import shadow_windows
from planning_kit.sky.sun import sun_between
from planning_kit.sky.windows import Span

EDGE_TOLERANCE_S = 0.020
HOURS = 24.0
STATE_EVERY_S = 20.0
STATION = -99901


@pytest.fixture
def kernels():
    spiceypy.furnsh(str(files("skyfield_data").joinpath("data", "de421.bsp")))
    polar_km = 6378.137 * (1 - 1 / 298.257223563)
    for name, values in {
        "BODY399_RADII": [6378.137, 6378.137, polar_km], "BODY10_RADII": [695_700.0] * 3,
        "BODY399_PM": [190.147, 360.9856235, 0.0], "BODY10_POLE_RA": [286.13, 0.0, 0.0],
        "BODY10_POLE_DEC": [63.87, 0.0, 0.0], "BODY10_PM": [84.176, 14.1844, 0.0],
    }.items():
        spiceypy.pdpool(name, values)
    yield
    spiceypy.kclear()


def write_states(orbit, span, file):
    """The orbit's states in an SPK, turned from TEME to the celestial frame; returns its start (TDB s)."""
    seconds = np.arange(-600.0, span.seconds + 600.0, STATE_EVERY_S)
    position, velocity = orbit.state_teme(span.start, seconds)
    start = span.start
    times = load.timescale(builtin=True).utc(start.year, start.month, start.day, 0, 0, seconds)
    turn = np.transpose(TEME.rotation_at(times), (2, 1, 0))
    states = np.hstack([np.einsum("kij,kj->ki", turn, vector) for vector in (position, velocity)])
    epochs = ((times.whole - 2451545.0) + times.tdb_fraction) * 86400.0
    handle = spiceypy.spkopn(str(file), "states", 0)
    spiceypy.spkw13(handle, STATION, 399, "J2000", epochs[0], epochs[-1], "states", 7, len(epochs), states,
                    epochs)
    spiceypy.spkcls(handle)
    spiceypy.furnsh(str(file))
    pole = turn[len(turn) // 2, :, 2]
    spiceypy.pdpool("BODY399_POLE_RA", [np.degrees(np.arctan2(pole[1], pole[0])), 0.0, 0.0])
    spiceypy.pdpool("BODY399_POLE_DEC", [np.degrees(np.arcsin(pole[2])), 0.0, 0.0])
    return float(np.interp(0.0, seconds, epochs))


def spice_windows(kind, first, last):
    confine, found = spiceypy.cell_double(2), spiceypy.cell_double(2000)
    spiceypy.wninsd(first, last, confine)
    spiceypy.gfoclt(kind, "EARTH", "ELLIPSOID", "IAU_EARTH", "SUN", "ELLIPSOID", "IAU_SUN", "NONE",
                    str(STATION), 30.0, confine, found)
    return np.array([spiceypy.wnfetd(found, place) for place in range(spiceypy.wncard(found))]).reshape(-1, 2)


# beta at the epoch, whether it rises from there (by up to 4 degrees in the day), and how many nights and
# passes through the penumbra there are at least: at 420 km a spherical Earth has nights up to beta 69.8.
CASES = [(0, True, 15, 15), (-25, True, 15, 15), (30, True, 15, 15), (60, True, 15, 15), (60, False, 15, 15),
         (69, True, 3, 5), (69, False, 15, 15), (70.5, False, 8, 8), (72, True, 0, 0), (72, False, 3, 6)]


@pytest.mark.parametrize(("beta_deg", "is_rising", "nights", "passes"), CASES)
def test_edges_within_20_ms_of_spice(kernels, tmp_path, orbit_at_beta, beta_deg, is_rising, nights, passes):
    orbit = orbit_at_beta(beta_deg, is_rising)
    span = Span(orbit.epoch, orbit.epoch + timedelta(hours=HOURS))
    first = write_states(orbit, span, tmp_path / "states.bsp")
    sun = sun_between(span.start, span.stop, is_apparent=False)
    dimmed, night = shadow_windows(orbit, span, sun=sun)
    for kind, ours in (("FULL", night), ("ANY", dimmed)):
        theirs = spice_windows(kind, first, first + span.seconds) - first
        assert ours.shape == theirs.shape
        np.testing.assert_allclose(ours, theirs, rtol=0, atol=EDGE_TOLERANCE_S)
    assert len(night) >= nights
    assert len(dimmed) >= passes
    assert passes or not len(dimmed)
