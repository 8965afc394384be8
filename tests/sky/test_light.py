"""Light as the planner sees it: shares of a range, whole windows, a year against one-second brute force."""

from datetime import UTC, date, datetime, timedelta
from itertools import combinations

import numpy as np
import pandas as pd
import pytest

from planning_kit.inputs.faults import ScenarioError
from planning_kit.sky.light import Light, light_between, night_windows, sampling_step_s, shadow_windows
from planning_kit.sky.sun import EARTH_RADIUS_KM, sun_between, sun_margin_rad
from planning_kit.sky.windows import Span, complement, intersect, total, union

COLUMNS = ["penumbra_start", "night_start", "night_end", "penumbra_end", "night_min", "uncertainty_s"]


def test_night_penumbra_and_day_share_out_the_range(orbit):
    light = light_between(orbit, "2031-06-22T01:00Z", "2031-06-22T09:30Z")
    whole = (0.0, 8.5 * 60)
    assert total(light.night) + total(light.penumbra) + total(light.day) == pytest.approx(8.5 * 60, abs=1e-9)
    for first, second in combinations((light.night, light.penumbra, light.day), 2):
        assert len(intersect(first, second)) == 0
    np.testing.assert_array_equal(union(light.night, light.penumbra), complement(light.day, whole))


def test_light_turns_from_day_through_penumbra_to_night_and_back(orbit):
    light = light_between(orbit, "2031-06-22", "2031-06-23")
    dim = union(light.night, light.penumbra)
    inside = dim[(dim[:, 0] > 0) & (dim[:, 1] < 1440)]
    for start, end in inside:
        before, after = light.penumbra[(light.penumbra[:, 0] >= start) & (light.penumbra[:, 1] <= end)]
        assert (before[0], after[1]) == (start, end)
        assert (light.night == [before[1], after[0]]).all(axis=1).any()


def test_light_is_clipped_and_night_windows_are_whole(orbit):
    whole = night_windows(orbit, "2031-06-22", "2031-06-23")
    night = whole.iloc[3]
    middle = night["night_start"] + (night["night_end"] - night["night_start"]) / 2
    start, stop = middle.to_pydatetime(), (middle + pd.Timedelta(minutes=5)).to_pydatetime()
    light = light_between(orbit, start, stop)
    np.testing.assert_allclose(light.night, [[0.0, 5.0]])
    assert light.day.shape == light.penumbra.shape == (0, 2)
    again = night_windows(orbit, start, stop)
    assert len(again) == 1
    for column in COLUMNS[:4]:  # a millisecond is the rounding, where the search starts elsewhere
        assert abs(again.loc[0, column] - night[column]) <= pd.Timedelta(milliseconds=1)


def test_night_windows_and_light_agree(orbit):
    start = datetime(2031, 6, 22, tzinfo=UTC)
    light = light_between(orbit, start, "2031-06-23")
    frame = night_windows(orbit, start, "2031-06-23")
    for column, edge in (("night_start", 0), ("night_end", 1)):
        minutes = (frame[column] - pd.Timestamp(start)) / pd.Timedelta(minutes=1)
        np.testing.assert_allclose(minutes.iloc[1:-1], light.night[1:-1, edge], atol=0.001 / 60)


def test_frame_has_its_columns_and_types(orbit):
    frame = night_windows(orbit, "2031-06-22", "2031-06-23")
    assert list(frame.columns) == COLUMNS
    assert all(str(frame[column].dtype) == "datetime64[us, UTC]" for column in COLUMNS[:4])
    assert frame["penumbra_start"].is_monotonic_increasing
    assert (frame["penumbra_start"] < frame["night_start"]).all()
    assert (frame["night_end"] < frame["penumbra_end"]).all()
    edges = frame[COLUMNS[:4]]
    assert (edges == edges.apply(lambda column: column.dt.floor("ms"))).all(axis=None)
    lengths = (frame["night_end"] - frame["night_start"]) / pd.Timedelta(minutes=1)
    np.testing.assert_allclose(frame["night_min"], lengths, atol=0.001 / 60)


def test_no_night_at_all_is_an_answer(orbit_at_beta):
    orbit = orbit_at_beta(72)
    light = light_between(orbit, "2031-06-21", "2031-06-22")
    np.testing.assert_array_equal(light.day, [[0.0, 1440.0]])
    assert light.night.shape == light.penumbra.shape == (0, 2)
    frame = night_windows(orbit, "2031-06-21", "2031-06-22")
    assert len(frame) == 0
    assert list(frame.columns) == COLUMNS
    assert [str(kind) for kind in frame.dtypes] == ["datetime64[us, UTC]"] * 4 + ["float64"] * 2


def test_passes_through_the_penumbra_only_have_no_night(orbit_at_beta):
    """At beta 69 and rising the nights end, and for some revolutions only the penumbra is left."""
    frame = night_windows(orbit_at_beta(69), "2031-06-21", "2031-06-22")
    only = frame["night_start"].isna()
    assert only.any()
    assert (~only).any()
    assert frame.loc[only, "night_end"].isna().all()
    assert frame.loc[only, "night_min"].isna().all()
    assert frame.loc[only, ["penumbra_start", "penumbra_end", "uncertainty_s"]].notna().all(axis=None)
    assert not only.iloc[: (~only).sum()].any()  # the nights come first, then the penumbra alone


@pytest.mark.parametrize(("beta_deg", "is_rising"), [(0, True), (30, True), (60, True)])
def test_nights_are_as_long_as_geometry_says(make_orbit, orbit_at_beta, beta_deg, is_rising):
    """Between the cylinder of the polar radius and that of the equatorial one, less the umbra's narrowing.

    A cylinder's night (Wertz, Space Mission Analysis and Design, from memory) is f P with
    f = acos(sqrt(r² - R²) / (r cos beta)) / pi. The ellipsoid
    lies between spheres of 6356.752 and 6378.137 km; the umbra's edge is half the Sun's disc, 0.267 degrees,
    inside the cylinder's: at most 2 * 0.267/360 P / cos(slant) shorter, where the limb is crossed at
    cos(slant) = sqrt(1 - (sin beta / sin(asin(R/r)))²) of the orbital rate. Eccentricity 0.0007 changes the
    height by 5 km either way: half a percent.
    """
    orbit = orbit_at_beta(beta_deg, is_rising)
    night_min = night_windows(orbit, "2031-06-21", "2031-06-21T03:00")["night_min"].iloc[0]
    radius, beta = orbit.semi_major_axis_km, np.radians(beta_deg)

    def cylinder_min(earth_km):
        cosine = np.sqrt(radius**2 - earth_km**2) / (radius * np.cos(beta))
        return np.arccos(cosine) / np.pi * orbit.period_min

    slant = np.sqrt(1 - (np.sin(beta) / (EARTH_RADIUS_KM / radius)) ** 2)
    narrowing = 2 * 0.267 / 360 * orbit.period_min / slant
    assert cylinder_min(6356.752) * 0.99 - narrowing * 1.05 < night_min < cylinder_min(6378.137) * 1.01


def test_a_year_holds_a_night_for_nearly_every_revolution(make_orbit):
    """15.6 revolutions a day are 5694 a year; this orbit's beta passes 69 degrees for some days, without."""
    orbit = make_orbit(mean_motion_rev_per_day=15.6, bstar=0.0, mean_motion_dot=0.0)
    frame = night_windows(orbit, date(2031, 1, 1), date(2032, 1, 1))
    assert 5400 < len(frame) <= 5696
    gaps = frame["penumbra_start"].diff() / pd.Timedelta(minutes=1)
    assert gaps.min() > orbit.period_min / 2  # no window doubled


# --- brute force --------------------------------------------------------------------------------------------


def brute_force(orbit, span, limb, first_s, last_s):
    """Samples a second apart, and whether each is darker than ``limb`` semi-diameters."""
    seconds = np.arange(first_s, last_s)
    sun = sun_between(span.start, span.stop)
    margin, semidiameter = sun_margin_rad(orbit.position_teme_km(span.start, seconds),
                                          sun.position_teme_km(span.start, seconds))
    return seconds, [margin < limb_ * semidiameter for limb_ in limb]


def dark_by_windows(windows, seconds):
    """Membership of sorted, disjoint windows: an odd number of edges at or before the time."""
    return np.searchsorted(windows.ravel(), seconds, side="right") % 2 == 1


def assert_same_as_brute_force(orbit, span):
    """Every second of the span is on the same side by windows and by samples, but for edges 1 ms away."""
    dimmed, night = shadow_windows(orbit, span)
    chunk = 86400.0 * 10
    for first in np.arange(0.0, span.seconds, chunk):
        seconds, dark = brute_force(orbit, span, (1, -1), first, min(first + chunk, span.seconds))
        for windows, samples in zip((dimmed, night), dark, strict=True):
            wrong = seconds[samples != dark_by_windows(windows, seconds)]
            edges = windows.ravel()
            assert all(np.abs(edges - second).min(initial=np.inf) < 1e-3 for second in wrong)
    return dimmed, night


def test_a_grazing_season_against_brute_force(orbit_at_beta):
    """Ten days in which nights fade out and, past the highest beta, come back."""
    orbit = orbit_at_beta(67)
    span = Span(orbit.epoch, orbit.epoch + timedelta(days=10))
    dimmed, night = assert_same_as_brute_force(orbit, span)
    assert 20 < len(night) < len(dimmed) < 140
    shortest = (night[:, 1] - night[:, 0]).min()
    assert shortest < sampling_step_s(orbit)  # a search on the samples alone would lose it


@pytest.mark.slow
def test_a_year_against_brute_force(make_orbit):
    orbit = make_orbit(epoch=datetime(2031, 1, 1, tzinfo=UTC))
    span = Span(orbit.epoch, orbit.epoch + timedelta(days=365))
    dimmed, night = assert_same_as_brute_force(orbit, span)
    assert len(night) < len(dimmed)  # there are passes through the penumbra alone among them


def test_an_eccentric_orbit_against_brute_force(make_orbit):
    orbit = make_orbit(mean_motion_rev_per_day=2.0056, eccentricity=0.7, inclination_deg=63.4,
                       arg_perigee_deg=270.0, bstar=0.0, mean_motion_dot=0.0)
    _, night = assert_same_as_brute_force(orbit, Span(orbit.epoch, orbit.epoch + timedelta(days=10)))
    assert len(night) >= 5


# --- what is refused ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("start", "stop", "problem"), [
    ("2031-06-22", "2031-06-22", "later than the start"),      # empty
    ("2031-06-22", "2031-06-21", "later than the start"),      # reversed
    ("2031-06-22", "2034-08-01", "at most 1100 days"),         # absurdly long
    ("2031-06-22", "tomorrow", "ISO 8601"),                    # no time
    ("1890-01-01", "1890-01-02", "1950 to 2052"),              # before the ephemeris
    ("2060-01-01", "2060-01-02", "1950 to 2052"),              # after it
    ("9999-12-30", "9999-12-31", "1950 to 2052"),              # the end of the calendar
])
def test_ranges_that_cannot_be_answered_are_faults(orbit, start, stop, problem):
    for ask in (light_between, night_windows):
        with pytest.raises(ScenarioError, match=problem):
            ask(orbit, start, stop)


def test_zones_are_converted(orbit):
    plus_two = light_between(orbit, "2031-06-22T03:00+02:00", "2031-06-22T06:00+02:00")
    utc = light_between(orbit, "2031-06-22T01:00", datetime(2031, 6, 22, 4))
    np.testing.assert_array_equal(plus_two.night, utc.night)


def test_light_cannot_be_changed():
    light = Light(night=np.empty((0, 2)), penumbra=np.empty((0, 2)), day=np.array([[0.0, 9.0]]))
    with pytest.raises(AttributeError):
        light.night = np.ones((1, 2))
    with pytest.raises(ValueError, match="read-only"):
        light.day[0, 0] = 1.0
