import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning_kit.sky.windows import (
    clip,
    complement,
    intersect,
    no_windows,
    shrink,
    total,
    union,
    windows_where,
)

RANGE = (0.0, 100.0)


@st.composite
def window_sets(draw):
    """Sorted, disjoint windows with whole ends, so that sums are exact; some reach outside."""
    edges = sorted(draw(st.sets(st.integers(-10, 110), max_size=20)))
    return np.array(edges[: len(edges) // 2 * 2], dtype=float).reshape(-1, 2)


def covers(windows, times):
    """Membership, written out apart from the algebra."""
    return np.array([any(start <= time < end for start, end in windows) for time in times], dtype=bool)


EVERY_HALF = np.arange(-12.0, 112.0, 0.5)


@given(window_sets(), window_sets())
def test_union_and_intersection_are_or_and_and(first, second):
    assert (covers(union(first, second), EVERY_HALF)
            == (covers(first, EVERY_HALF) | covers(second, EVERY_HALF))).all()
    assert (covers(intersect(first, second), EVERY_HALF)
            == (covers(first, EVERY_HALF) & covers(second, EVERY_HALF))).all()


@given(window_sets(), window_sets())
def test_de_morgan(first, second):
    left = complement(union(first, second), RANGE)
    right = intersect(complement(first, RANGE), complement(second, RANGE))
    np.testing.assert_array_equal(left, right)
    np.testing.assert_array_equal(complement(intersect(first, second), RANGE),
                                  union(complement(first, RANGE), complement(second, RANGE)))


@given(window_sets())
def test_complement_twice_is_the_clipped_set(windows):
    joined = union(clip(windows, *RANGE), no_windows())
    np.testing.assert_array_equal(complement(complement(windows, RANGE), RANGE), joined)
    assert total(joined) + total(complement(windows, RANGE)) == 100


@given(window_sets(), window_sets())
def test_lengths_add_up(first, second):
    assert total(union(first, second)) + total(intersect(first, second)) == total(first) + total(second)


@given(window_sets(), window_sets())
def test_results_are_sorted_disjoint_and_not_empty(first, second):
    for result in (union(first, second), intersect(first, second), complement(first, RANGE),
                   clip(first, *RANGE), shrink(first, 2.0)):
        assert result.shape == (len(result), 2)
        assert (np.diff(result.ravel()) >= 0).all()
        assert (result[:, 1] > result[:, 0]).all()
    assert (np.diff(union(first, second).ravel()) > 0).all()  # windows that touch are one window


@given(window_sets(), st.integers(0, 8))
def test_shrink_takes_the_guard_off_each_end(windows, guard):
    kept = [(start + guard, end - guard) for start, end in windows if end - start > 2 * guard]
    np.testing.assert_array_equal(shrink(windows, guard), np.array(kept, dtype=float).reshape(-1, 2))


def test_shrink_leaves_cuts_alone():
    windows = np.array([[0.0, 10.0], [20.0, 30.0], [90.0, 100.0]])
    np.testing.assert_array_equal(shrink(windows, 1.0, within=RANGE), [[0, 9], [21, 29], [91, 100]])


def test_arguments_are_not_changed():
    windows = np.array([[-5.0, 10.0], [20.0, 130.0]])
    before = windows.copy()
    clip(windows, *RANGE)
    complement(windows, RANGE)
    shrink(windows, 3.0)
    union(windows, windows)
    np.testing.assert_array_equal(windows, before)


def test_windows_of_a_sine():
    found = windows_where(np.sin, -1.0, 14.0, 0.6)
    expected = [[0, np.pi], [2 * np.pi, 3 * np.pi], [4 * np.pi, 14]]
    np.testing.assert_allclose(found, expected, atol=1e-6)


@pytest.mark.parametrize("shift", np.linspace(0.0, 0.6, 13))
@pytest.mark.parametrize("sign", [1, -1])
def test_windows_far_shorter_than_the_step_are_found(shift, sign):
    """cos t > c where |t| < acos c: 0.0089 wide on a grid of 0.6; with the sign turned, gaps as short."""
    half_width = np.arccos(0.99999)
    found = windows_where(lambda t: sign * (np.cos(t - shift) - 0.99999), -4.0, 17.0, 0.6)
    peaks = shift + 2 * np.pi * np.arange(3)
    short = np.column_stack((peaks - half_width, peaks + half_width))
    expected = short if sign > 0 else complement(short, (-4.0, 17.0))
    np.testing.assert_allclose(found, expected, atol=1e-6)


@pytest.mark.parametrize("peak", [-0.003, 0.0, 0.003, 0.01, 2.99, 3.003])
def test_a_short_window_at_the_edge_of_the_range_is_found_and_cut_there(peak):
    half_width = np.arccos(0.99999)
    found = windows_where(lambda t: np.cos(t - peak) - 0.99999, 0.0, 3.0, 0.6)
    expected = [[max(0.0, peak - half_width), min(3.0, peak + half_width)]]
    np.testing.assert_allclose(found, expected, atol=1e-6)


def test_near_misses_stay_misses():
    never = windows_where(lambda t: np.cos(t) - 1.000001, 0.0, 30.0, 0.6)
    always = windows_where(lambda t: 1.000001 - np.cos(t), 0.0, 30.0, 0.6)
    assert never.shape == (0, 2)
    np.testing.assert_array_equal(always, [[0.0, 30.0]])


def test_always_and_never():
    np.testing.assert_array_equal(windows_where(np.ones_like, 3.0, 5.0, 10.0), [[3.0, 5.0]])
    assert windows_where(np.zeros_like, 3.0, 5.0, 0.1).shape == (0, 2)
    assert windows_where(lambda t: -np.ones_like(t), 3.0, 5.0, 0.1).shape == (0, 2)


def test_a_root_on_a_sample():
    np.testing.assert_allclose(windows_where(lambda t: t - 2.0, 0.0, 4.0, 1.0), [[2.0, 4.0]], atol=1e-6)
    np.testing.assert_allclose(windows_where(lambda t: 2.0 - t, 0.0, 4.0, 1.0), [[0.0, 2.0]], atol=1e-6)
