"""Ephemerides: SPICE judges the interpolation, SGP4 all that follows from it.

SPICE (spiceypy) has both rules: an SPK segment of type 9 is Lagrange's, of type 13 Hermite's, with as many
states on either side as there are (SPK Required Reading). SGP4's own velocities are a few cm/s off what its
positions do, which Hermite's polynomials feel by half a metre.
"""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
import spiceypy

from planning_kit.inputs.faults import ScenarioError
from planning_kit.sky.light import beta_windows, light_between, links_between, night_windows, season
from planning_kit.sky.orbit import Orbit, edge_uncertainty_s, elements_age_note, load_orbit
from tests.oem_text import FRAMES, oem, segment, states

DAY = timedelta(days=1)
METHODS = [("HERMITE", "7", 4, 13), ("HERMITE", "5", 3, 13), ("LAGRANGE", "7", 8, 9), ("LAGRANGE", "8", 9, 9),
           ("LINEAR", "1", 2, 9)]


def loaded(tmp_path: Path, *segments: str, created: str = "2031-06-20T12:00:00") -> Orbit:
    path = tmp_path / "orbit.txt"
    path.write_text(oem(*segments, created=created), encoding="utf-8")
    return load_orbit(path)


@pytest.fixture
def spk(tmp_path: Path) -> Iterator[Path]:
    path = tmp_path / "judge.bsp"
    yield path
    spiceypy.kclear()


@pytest.mark.parametrize(("method", "degree", "nodes", "kind"), METHODS)
def test_interpolation_is_that_of_spice(tmp_path, spk, orbit, method, degree, nodes, kind):
    step_s, count = 240.0, 60
    keys = {"INTERPOLATION": method, "INTERPOLATION_DEGREE": degree}
    stop = orbit.epoch + timedelta(seconds=step_s * count)
    ours = loaded(tmp_path, segment(orbit, orbit.epoch, stop, step_s, "TEME", keys))
    times = np.arange(count + 1) * step_s
    given = np.round(states(orbit, orbit.epoch, times, "TEME"), 9)
    handle = spiceypy.spkopn(str(spk), "made up", 0)
    write = spiceypy.spkw09 if kind == 9 else spiceypy.spkw13
    write(handle, -999, 399, "J2000", 0.0, times[-1], "made up", nodes - 1 if kind == 9 else 2 * nodes - 1,
          count + 1, given.tolist(), times.tolist())
    spiceypy.spkcls(handle)
    spiceypy.furnsh(str(spk))
    asked = np.linspace(0.0, times[-1], 977)  # in the first and last intervals, too, where no side has enough
    theirs = np.array([spiceypy.spkgeo(-999, at, "J2000", 399)[0] for at in asked])
    position, velocity = ours.state_teme(orbit.epoch, asked)
    np.testing.assert_allclose(position, theirs[:, :3], atol=1e-7)
    np.testing.assert_allclose(velocity, theirs[:, 3:], atol=1e-9)


@pytest.mark.parametrize("frame", FRAMES)
def test_light_links_and_beta_are_those_of_the_orbit_that_was_sampled(tmp_path, orbit, frame):
    ours = loaded(tmp_path, segment(orbit, orbit.epoch, orbit.epoch + DAY, frame=frame))
    start, stop = orbit.epoch + timedelta(hours=4), orbit.epoch + timedelta(hours=14)
    light, expected = light_between(ours, start, stop), light_between(orbit, start, stop)
    assert len(expected.night) > 5
    for kind in ("night", "penumbra", "day"):  # minutes: half a metre is 0.2 ms
        np.testing.assert_allclose(getattr(light, kind), getattr(expected, kind), atol=1e-5)
    for label, windows in links_between(orbit, [41.0, -171.0], start, stop).items():
        found = links_between(ours, [41.0, -171.0], start, stop)[label]
        np.testing.assert_allclose(found, windows, atol=1e-4)
    for degrees in (20.0, -20.0):
        np.testing.assert_allclose(beta_windows(ours, start, stop, ">", degrees),
                                   beta_windows(orbit, start, stop, ">", degrees), atol=0.1)
    passes = night_windows(ours, start, stop)
    assert (passes["uncertainty_s"] > 1).all()


def test_a_season_of_an_ephemeris(tmp_path, orbit):
    ours = loaded(tmp_path, segment(orbit, orbit.epoch, orbit.epoch + 3 * DAY))
    first = orbit.epoch + timedelta(days=1)
    frame, expected = (season(each, first, first + DAY) for each in (ours, orbit))
    np.testing.assert_allclose(frame["night_min_per_rev"], expected["night_min_per_rev"], atol=1e-4)
    np.testing.assert_allclose(frame["beta_deg"], expected["beta_deg"], atol=1e-3)


def test_segments_are_never_interpolated_across(tmp_path, make_orbit):
    """A jump between two blocks, such as a reboost: before the joint the first counts, then the second."""
    low, high = make_orbit(), make_orbit(mean_motion_rev_per_day=15.4)
    joint = low.epoch + timedelta(hours=6)
    ours = loaded(tmp_path, segment(high, joint, joint + DAY), segment(low, low.epoch, joint))
    for shift, each in ((-1.0, low), (0.0, high), (1.0, high)):
        at = np.array([shift])
        np.testing.assert_allclose(ours.position_teme_km(joint, at), each.position_teme_km(joint, at),
                                   atol=2e-3)
    assert len(light_between(ours, low.epoch + timedelta(hours=1), joint + timedelta(hours=3)).night) > 3


def test_states_outside_what_may_be_used_only_help(tmp_path, orbit):
    keys = {"USEABLE_START_TIME": "2031-06-21T01:00:00", "USEABLE_STOP_TIME": "2031-06-21T20:00:00"}
    ours = loaded(tmp_path, segment(orbit, orbit.epoch, orbit.epoch + DAY, keys=keys))
    at = np.array([3600.0, 20 * 3600.0])
    expected = orbit.position_teme_km(orbit.epoch, at)
    np.testing.assert_allclose(ours.position_teme_km(orbit.epoch, at), expected, atol=1e-6)
    for beyond in (3599.0, 20 * 3600 + 1.0):
        with pytest.raises(ScenarioError, match="covers 2031-06-21T01:00:00Z to 2031-06-21T20:00:00Z; 2031"):
            ours.position_teme_km(orbit.epoch, np.array([beyond]))


def test_a_gap_between_segments_is_refused(tmp_path, orbit):
    hours = [orbit.epoch + timedelta(hours=each) for each in (0, 6, 7, 24)]
    ours = loaded(tmp_path, segment(orbit, *hours[:2]), segment(orbit, *hours[2:]))
    hour = timedelta(hours=1)
    assert len(light_between(ours, hours[2] + hour, hours[3] - hour).night) > 8
    with pytest.raises(ScenarioError, match="without a gap"):
        light_between(ours, hours[0] + timedelta(hours=1), hours[2] + timedelta(hours=3))


def test_coarse_states_widen_the_uncertainty(tmp_path, orbit):
    """Straight lines between states 4 min apart cut the orbit by 6780 km * (0.135 rad)²/2, some 60 km."""
    start, stop = orbit.epoch + timedelta(hours=4), orbit.epoch + timedelta(hours=10)
    keys = {"INTERPOLATION": "LINEAR", "INTERPOLATION_DEGREE": "1"}
    ours = loaded(tmp_path, segment(orbit, orbit.epoch, orbit.epoch + DAY, keys=keys))
    lights = [light_between(each, start, stop).night for each in (ours, orbit)]
    off_s = np.abs(lights[0] - lights[1]).max() * 60
    told_s = edge_uncertainty_s(ours, start, np.zeros(1))[0]
    assert 5 < off_s < told_s < 5 * off_s


def test_age_counts_from_when_it_was_made(tmp_path, orbit):
    text = segment(orbit, orbit.epoch, orbit.epoch + DAY)
    note = elements_age_note(loaded(tmp_path, text, created="2031-06-11T00:00:00"), "2031-06-21")
    assert "of 2031-06-11 00:00 UTC, 10.0 days before" in note
    assert "no drag rate" in note
    late = loaded(tmp_path, text, created="2031-08-01T00:00:00")
    assert late.epoch == orbit.epoch + DAY  # never better known than its last state


def test_an_orbit_that_is_bound_only_as_seen_from_the_ground_is_refused(tmp_path, orbit):
    """At rest over the turning Earth 100 000 km up: 7.3 km/s from outside, more than the 2.8 to escape."""
    keys = ("META_START", "OBJECT_NAME = FAR", "OBJECT_ID = 1", "CENTER_NAME = EARTH", "REF_FRAME = ITRF",
            "TIME_SYSTEM = UTC", "START_TIME = 2031-06-21T00:00:00", "STOP_TIME = 2031-06-21T00:09:00",
            "META_STOP")
    rows = [f"2031-06-21T00:0{minute}:00 100000 0 0 0 0 0" for minute in range(10)]
    with pytest.raises(ScenarioError, match="must be"):
        loaded(tmp_path, "\n".join((*keys, *rows)))
