"""The error model of the design's section 4, with its numbers worked by hand."""

from datetime import timedelta

import numpy as np
import pytest

from planning_kit.inputs.faults import ScenarioError
from planning_kit.sky.light import night_windows
from planning_kit.sky.orbit import edge_uncertainty_s, elements_age_note


def after_days(orbit, days, **assumed):
    return float(edge_uncertainty_s(orbit, orbit.epoch + timedelta(days=days), np.zeros(1), **assumed)[0])


def test_fresh_elements(orbit):
    assert after_days(orbit, 0) == 1.0


def test_semi_major_axis_error_grows_with_time(make_orbit):
    """0.02 s a metre a day for low orbit (design): 10 days of 50 m are 10 s, within 5 %."""
    orbit = make_orbit(mean_motion_dot=0.0)
    assert after_days(orbit, 10) == pytest.approx(np.hypot(1, 10), rel=0.05)
    assert after_days(orbit, 10, axis_error_km=0.1) == pytest.approx(np.hypot(1, 20), rel=0.05)
    assert after_days(orbit, -10) == after_days(orbit, 10)


def test_drag_error_grows_with_its_square(make_orbit):
    """n' = 1e-4 rev/day² for 10 days: 0.01 revolutions of 5574 s, a fifth of it in doubt: 11.15 s."""
    orbit = make_orbit(mean_motion_dot=1e-4)
    expected = np.hypot(1, 0.2 * 1e-4 * 100 * 86400 / 15.5)
    assert after_days(orbit, 10, axis_error_km=0.0) == pytest.approx(expected, rel=1e-6)
    assert after_days(make_orbit(mean_motion_dot=-1e-4), 10) == after_days(orbit, 10)


def test_windows_carry_it(orbit):
    frame = night_windows(orbit, "2031-06-21", "2031-07-21")
    assert frame["uncertainty_s"].iloc[0] == pytest.approx(1.0, abs=0.01)
    assert frame["uncertainty_s"].is_monotonic_increasing
    assert frame["uncertainty_s"].iloc[-1] == pytest.approx(after_days(orbit, 30), rel=0.01)


def test_a_window_moves_as_the_model_says(make_orbit):
    """The model against the orbit itself: 50 m of semi-major axis more, ten days on, is 9.6 s of shift."""
    orbit = make_orbit(bstar=0.0, mean_motion_dot=0.0)
    rate = orbit.elements.mean_motion_rev_per_day
    higher = make_orbit(bstar=0.0, mean_motion_dot=0.0,
                        mean_motion_rev_per_day=rate * (1 - 1.5 * 0.05 / orbit.semi_major_axis_km))
    ends = [night_windows(each, "2031-07-01", "2031-07-01T01:30Z")["night_start"].iloc[0]
            for each in (orbit, higher)]
    shift = (ends[1] - ends[0]).total_seconds()
    assert shift == pytest.approx(np.sqrt(after_days(orbit, 10) ** 2 - 1), rel=0.03)


def test_note_says_age_method_and_limits(orbit):
    note = elements_age_note(orbit, orbit.epoch + timedelta(days=8))
    for words in ("8.0 days before", "±8 s", "50 m", "20%", "reboost", "refraction and airglow"):
        assert words in note
    assert "say nothing" not in note
    assert "days after this moment" in elements_age_note(orbit, orbit.epoch - timedelta(days=3))


def test_note_on_elements_far_too_old(orbit):
    note = elements_age_note(orbit, orbit.epoch + timedelta(days=500))
    assert "say nothing about single nights" in note


def test_note_without_drag(make_orbit):
    assert "carry no drag" in elements_age_note(make_orbit(mean_motion_dot=0.0), "2031-06-25")


def test_note_refuses_what_is_no_time(orbit):
    with pytest.raises(ScenarioError, match="ISO 8601"):
        elements_age_note(orbit, "soon")
