"""Relay links, against rays traced second by second and Skyfield's own placing of the relay."""

from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from skyfield.api import load, wgs84
from skyfield.sgp4lib import TEME

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.setting_records import Relays
from planning_kit.sky.light import link_windows, links_between, relay_label, relay_position_teme_km
from planning_kit.sky.windows import total

GEOSTATIONARY_HEIGHT_KM = 35_786.03
"""42 164.17 less the equatorial radius 6378.137."""

RADII_KM = np.array([6378.137, 6378.137, 6378.137 * (1 - 1 / 298.257223563)])


def skyfield_relay(longitude_deg, start, seconds):
    """A point above the equator, (k, 3), km, TEME, by Skyfield's full Earth rotation."""
    times = load.timescale(builtin=True).utc(start.year, start.month, start.day, 0, 0, seconds)
    place = wgs84.latlon(0.0, longitude_deg, elevation_m=GEOSTATIONARY_HEIGHT_KM * 1000)
    return place.at(times).frame_xyz(TEME).km.T


def closest_to_ellipsoid(station, rays):
    """Least distance of half-lines (k, 3) from stations (k, 3) to the centre, Earth scaled to a unit sphere.

    Below 1 the ray meets Earth. A distance to the line is |q x u| / |u|, where its foot lies ahead.
    """
    q, u = station / RADII_KM, rays / RADII_KM
    ahead = np.sum(q * u, axis=1) < 0
    distance = np.linalg.norm(np.cross(q, u), axis=1) / np.linalg.norm(u, axis=1)
    return np.where(ahead, distance, np.inf)


def in_view_by_rays(station, relay, mask_deg):
    """Whether every ray of a cone around the line of sight misses Earth; 180 rays, each second."""
    line = relay - station
    axis = line / np.linalg.norm(line, axis=1)[:, None]
    down = -station
    side = np.cross(axis, down)
    side /= np.linalg.norm(side, axis=1)[:, None]
    other = np.cross(side, axis)
    half_angle = np.radians(mask_deg)
    clear = np.ones(len(station), dtype=bool)
    for turn in np.linspace(0, 2 * np.pi, 180, endpoint=False) if mask_deg else [0.0]:
        across = np.cos(turn) * other + np.sin(turn) * side
        clear &= closest_to_ellipsoid(station, np.cos(half_angle) * axis + np.sin(half_angle) * across) > 1
    return clear


@pytest.mark.parametrize(("longitude_deg", "mask_deg"), [(41.0, 0.0), (-171.0, 0.0), (171.0, 3.0), (0, 20.0)])
def test_links_agree_with_traced_rays(orbit, longitude_deg, mask_deg):
    """Skyfield takes the UT1 - UTC that its table foresees: below 1 s of turn, which is 15 arcseconds, or
    0.07 s of the station's motion around Earth. A cone of 20 degrees is exact to 0.01."""
    start, seconds = orbit.epoch, np.arange(0.0, 86400.0, 2.0)
    label, windows = next(iter(links_between(
        orbit, Relays((longitude_deg,), mask_deg), start, start + timedelta(days=1)).items()))
    assert label == relay_label(longitude_deg)
    seen = in_view_by_rays(orbit.position_teme_km(start, seconds),
                           skyfield_relay(longitude_deg, start, seconds), mask_deg)
    edges_s = windows.ravel() * 60
    ours = np.searchsorted(edges_s, seconds, side="right") % 2 == 1
    wrong = seconds[ours != seen]
    assert all(np.abs(edges_s - second).min() < 0.25 for second in wrong)
    assert 0.3 < seen.mean() < 0.9
    assert 13 < len(windows) < 17


def test_relay_stands_where_skyfield_puts_it(orbit):
    """UT1 taken as UTC: below 0.9 s, 13.5 arcseconds, 2.8 km on the ring."""
    seconds = np.linspace(0.0, 86400.0, 25)
    ours = relay_position_teme_km(41.0, orbit.epoch, seconds)
    apart = np.linalg.norm(ours - skyfield_relay(41.0, orbit.epoch, seconds), axis=1)
    assert apart.max() < 2.8


def test_windows_of_a_station_in_the_relays_plane(make_orbit):
    """In a plane: seen while the angle at Earth's centre between station and relay is below
    acos(R/r) + acos(R/42164). At 417 km: 20.2 + 81.3 = 101.5 degrees, 203/360 of a synodic revolution.
    J2 moves SGP4's radius and rate against Kepler's by some J2 (R/r)², 0.1 %."""
    orbit = make_orbit(inclination_deg=0.01, eccentricity=1e-5, bstar=0.0, mean_motion_dot=0.0)
    earth_km, radius_km = 6378.137, orbit.elements.semi_major_axis_km
    seen = 2 * np.degrees(np.arccos(earth_km / radius_km) + np.arccos(earth_km / 42_164.17)) / 360
    windows = links_between(orbit, [41.0], "2031-06-21", "2031-06-23")["relay 41°E"]
    turn = np.diff(windows[1:-1, 0]).mean()
    assert (windows[1:-1, 1] - windows[1:-1, 0]).mean() / turn == pytest.approx(seen, rel=0.003)
    assert turn == pytest.approx(1 / (1 / orbit.period_min - 1 / 1436.07), rel=0.003)


def test_a_mask_only_takes_away(orbit):
    lengths = [total(links_between(orbit, Relays((41.0,), mask), "2031-06-21", "2031-06-22")["relay 41°E"])
               for mask in (0.0, 1.0, 5.0, 20.0)]
    assert lengths == sorted(lengths, reverse=True)
    assert lengths[0] > lengths[1] > lengths[3] > 0


def test_a_link_frame_has_its_columns_and_whole_windows(orbit):
    frame = link_windows(orbit, [41.0, -171.0], "2031-06-21", "2031-06-22")
    assert list(frame.columns) == ["relay", "start", "end", "minutes"]
    assert [str(kind) for kind in frame.dtypes[1:]] == ["datetime64[us, UTC]"] * 2 + ["float64"]
    assert frame["start"].is_monotonic_increasing
    assert set(frame["relay"]) == {"relay 41°E", "relay 171°W"}
    np.testing.assert_allclose((frame["end"] - frame["start"]) / pd.Timedelta(minutes=1), frame["minutes"],
                               atol=0.001 / 60)
    within = frame.iloc[5]
    start = within["start"] + pd.Timedelta(minutes=1)
    again = link_windows(orbit, [41.0, -171.0], start.to_pydatetime(),
                         (start + pd.Timedelta(minutes=1)).to_pydatetime())
    row = again[again["relay"] == within["relay"]].iloc[0]
    assert abs(row["start"] - within["start"]) <= pd.Timedelta(milliseconds=1)
    assert row["minutes"] == pytest.approx(within["minutes"], abs=1e-5)


def test_links_between_are_clipped(orbit):
    frame = link_windows(orbit, [41.0], "2031-06-21", "2031-06-22")
    start = (frame.loc[3, "start"] + pd.Timedelta(minutes=1)).to_pydatetime()
    windows = links_between(orbit, [41.0], start, start + timedelta(minutes=2))
    np.testing.assert_array_equal(windows["relay 41°E"], [[0.0, 2.0]])


def test_no_relays_and_no_windows_keep_their_form(orbit):
    assert links_between(orbit, [], "2031-06-21", "2031-06-22") == {}
    empty = link_windows(orbit, [], "2031-06-21", "2031-06-22")
    full = link_windows(orbit, [41.0], "2031-06-21", "2031-06-22")
    assert len(empty) == 0
    pd.testing.assert_series_equal(empty.dtypes, full.dtypes)
    gap = full.loc[3, "end"].to_pydatetime()
    hidden = links_between(orbit, [41.0], gap + timedelta(minutes=5), gap + timedelta(minutes=10))
    assert {label: windows.shape for label, windows in hidden.items()} == {"relay 41°E": (0, 2)}


@pytest.mark.parametrize(("longitude", "label"), [
    (41, "relay 41°E"), (-171, "relay 171°W"), (189, "relay 171°W"), (0, "relay 0°E"), (360, "relay 0°E"),
    (180, "relay 180°E"), (-180, "relay 180°E"), (-49.5, "relay 49.5°W"),
])
def test_relay_labels(longitude, label):
    assert relay_label(longitude) == label


@pytest.mark.parametrize(("relays", "changed", "column"), [
    (Relays((361.0,), 0.0), {}, "longitudes_deg_east"),             # beyond a turn
    (Relays((float("nan"),), 0.0), {}, "longitudes_deg_east"),      # not a number
    (Relays((41.0,), -1.0), {}, "mask_deg"),                        # would look through the limb
    (Relays((41.0,), 90.0), {}, "mask_deg"),                        # never anything in view
    (Relays((41.0,), 0.0), {"mean_motion_rev_per_day": 1.0}, "MEAN_MOTION"),  # as high as the relays
])
def test_relays_that_cannot_be_used_are_faults(make_orbit, relays, changed, column):
    with pytest.raises(ScenarioError) as caught:
        links_between(make_orbit(**changed), relays, "2031-06-21", "2031-06-22")
    assert list(caught.value.problems["column"]) == [column]


@pytest.mark.parametrize("relays", [None, "41", 41.0, ["east"]])
def test_what_are_no_relays_is_refused_in_words(make_orbit, relays):
    with pytest.raises(ScenarioError, match="longitudes in degrees east"):
        link_windows(make_orbit(), relays, "2031-05-14", "2031-05-15")
