from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest

from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.hazard_words import parse_when
from planning_kit.sky.light import BETA_IN_DOUBT_DEG, beta_bands, beta_from_vectors_deg, night_windows, season
from tests.betas import beta_deg

# Computed apart from this project, sin(beta) = cos D sin i sin(W - A) + sin D cos i (Vallado; SMAD):
# i, W, A, D, beta.
BETA_VALUES = [
    (51.64, 90, 0, 0, 51.640), (51.64, 270, 0, 0, -51.640), (51.64, 180, 90, 23.44, 75.080),
    (51.64, 0, 90, 23.44, -28.200), (51.64, 90, 90, 23.44, 14.292), (28.5, 90, 90, 23.44, 20.462),
    (66.56, 180, 90, 23.44, 90.0),
]


@pytest.mark.parametrize(("inclination", "node", "ascension", "declination", "expected"), BETA_VALUES)
def test_beta_values(inclination, node, ascension, declination, expected):
    i, w, a, d = np.radians([inclination, node, ascension, declination])
    normal = np.array([[np.sin(i) * np.sin(w), -np.sin(i) * np.cos(w), np.cos(i)]])
    sun = 1.5e8 * np.array([[np.cos(d) * np.cos(a), np.cos(d) * np.sin(a), np.sin(d)]])
    assert beta_from_vectors_deg(normal, sun)[0] == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize("wanted", [0.0, 30.0, 60.0, 72.0])
@pytest.mark.parametrize("is_rising", [True, False])
def test_beta_of_an_orbit_is_the_formulas(orbit_at_beta, wanted, is_rising):
    """The fixture solves the formula for mean elements; J2 swings the osculating inclination and node by some
    3/4 J2 (R/r)² sin 2i or less, 0.05 degrees."""
    assert beta_deg(orbit_at_beta(wanted, is_rising), "2031-06-21")[0] == pytest.approx(wanted, abs=0.06)


@pytest.mark.parametrize(("height_km", "inclination_deg", "degrees_per_day"), [
    (400, 51.64, -4.998), (800, 98.6, 0.985),
])
def test_node_drift(make_orbit, height_km, inclination_deg, degrees_per_day):
    """Computed apart from this project to first order in J2, 1.08262668e-3.

    SGP4 adds second order and J4: a few J2, 0.5 %.
    """
    radius_km = 6378.137 + height_km
    orbit = make_orbit(mean_motion_rev_per_day=86400 / (2 * np.pi * np.sqrt(radius_km**3 / 398600.4418)),
                       inclination_deg=inclination_deg, eccentricity=1e-5, bstar=0.0, mean_motion_dot=0.0)
    seconds = np.arange(0.0, 10 * 86400.0, 300.0)
    position, velocity = orbit.state_teme(orbit.epoch, seconds)
    normal = np.cross(position, velocity)
    node = np.unwrap(np.arctan2(normal[:, 0], -normal[:, 1]))
    slope = np.degrees(np.polyfit(seconds / 86400, node, 1)[0])
    assert slope == pytest.approx(degrees_per_day, rel=0.005)


def test_beta_takes_one_time_or_many(orbit):
    one = beta_deg(orbit, datetime(2031, 6, 22, 12, tzinfo=UTC))
    many = beta_deg(orbit, pd.date_range("2031-06-21T12:00Z", periods=3, freq="D"))
    assert one.shape == (1,)
    assert many.shape == (3,)
    assert many[1] == pytest.approx(one[0], abs=1e-9)


def test_season_has_a_row_for_every_day(orbit):
    frame = season(orbit, "2031-06-21T15:00Z", "2031-07-05T01:00Z")
    assert list(frame.columns) == ["day", "beta_deg", "night_min_per_rev", "revs_with_night"]
    assert list(frame["day"]) == list(pd.date_range("2031-06-21", "2031-07-05", tz="UTC"))
    noons = frame["day"] + pd.Timedelta(hours=12)
    np.testing.assert_allclose(frame["beta_deg"], beta_deg(orbit, noons), atol=1e-9)
    assert len(season(orbit, "2031-06-21", "2031-06-22")) == 1  # a stop at midnight does not touch its day


def test_season_counts_every_night_once(orbit):
    """By the table of windows: a night belongs to the day of its middle. A night within half a sample of
    midnight may fall to the neighbour day, so days are compared to one night, sums exactly."""
    frame = season(orbit, "2031-06-21", "2032-06-21")
    nights = night_windows(orbit, "2031-06-21", "2032-06-21").dropna(subset=["night_start"])
    middle = nights["night_start"] + (nights["night_end"] - nights["night_start"]) / 2
    first, last = pd.Timestamp("2031-06-21", tz="UTC"), pd.Timestamp("2032-06-21", tz="UTC")
    middle = middle[(middle >= first) & (middle < last)]
    by_day = middle.dt.floor("D").value_counts().reindex(frame["day"], fill_value=0)
    assert np.abs(by_day.to_numpy() - frame["revs_with_night"].to_numpy()).max() <= 1
    assert abs(len(middle) - frame["revs_with_night"].sum()) <= 1


def test_night_per_revolution_is_the_mean_night_where_all_have_one(orbit):
    frame = season(orbit, "2031-09-01", "2031-09-04")
    nights = night_windows(orbit, "2031-09-01", "2031-09-04")["night_min"]
    assert (frame["revs_with_night"] >= 15).all()
    assert frame["night_min_per_rev"].between(nights.min(), nights.max()).all()


def test_a_season_without_night(orbit_at_beta):
    """Beta stays above 71 for some days past 72; the nights fade out before and come back after."""
    frame = season(orbit_at_beta(67), "2031-06-21", "2031-07-03").set_index("day")
    without = frame[frame["revs_with_night"] == 0]
    assert len(without) >= 2
    assert (without["night_min_per_rev"] == 0).all()
    assert (without["beta_deg"] > 69).all()
    assert frame["revs_with_night"].iloc[0] > 0
    assert frame["revs_with_night"].iloc[-1] > 0


def test_revolutions_without_night_count_as_none(orbit_at_beta):
    """On a day on which the nights end, their sum is shared among all of the day's 15 or 16 revolutions."""
    orbit = orbit_at_beta(69)
    day = season(orbit, "2031-06-21", "2031-06-22").iloc[0]
    nights = night_windows(orbit, "2031-06-21", "2031-06-22")["night_min"].dropna()
    assert 0 < day["revs_with_night"] == len(nights) < 10
    assert 15 <= nights.sum() / day["night_min_per_rev"] <= 16 + 1e-9


def test_longest_season(orbit):
    with pytest.raises(ScenarioError, match="1100 days"):
        season(orbit, "2031-06-21", "2035-06-21")


@pytest.mark.parametrize(("when", "expected"), [
    ("beta<=-40", [[-90, -40]]), ("beta>10", [[10, 90]]), ("abs(beta)>75", [[-90, -75], [75, 90]]),
    ("abs(beta)<=30", [[-30, 30]]), ("abs(beta)>60 and beta<0 and night", [[-90, -60]]),
    ("abs(beta)>=-5", [[-90, 90]]), ("abs(beta)<-5", []), ("beta>20 and beta<10", [])])
def test_bands_of_beta_are_where_all_terms_hold_and_a_little_wider(when, expected):
    bands = beta_bands(parse_when(when))
    assert bands.shape == (len(expected), 2)
    for (low, high), (want_low, want_high) in zip(bands.tolist(), expected, strict=True):
        assert low == pytest.approx(want_low, abs=1.01 * BETA_IN_DOUBT_DEG)
        assert high == pytest.approx(want_high, abs=1.01 * BETA_IN_DOUBT_DEG)
        assert low <= want_low
        assert high >= want_high
