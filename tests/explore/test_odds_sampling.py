"""Random durations: against scipy's distributions, and streams that survive every edit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

import planning_kit as pk
from planning_kit.explore.odds.distributions import durations_from
from planning_kit.explore.odds.sampled_outing import CHUNK, draw, factor, normals
from planning_kit.inputs.setting_records import OddsSettings

Z = stats.norm.ppf((np.arange(20_000) + 0.5) / 20_000)  # every share alike: quadrature, not chance
CREW = ("EV1", "EV2")
NO_FACTORS = OddsSettings(None, None, None, "pert")
ALL_FACTORS = OddsSettings(0.1, 0.2, 0.3, "pert")


@pytest.mark.parametrize(("low", "likely", "high"), [
    (4, 8, 13), (1, 10, 17), (5, 5, 7), (2, 6, 6), (0, 1, 60), (10, 10.001, 10.002),
])
def test_pert_is_the_beta_of_scipy(low: float, likely: float, high: float) -> None:
    # Beta with a = 1 + 4 (m - low) / range, b = 1 + 4 (high - m) / range, moved and stretched.
    span = high - low
    beta = stats.beta(1 + 4 * (likely - low) / span, 1 + 4 * (high - likely) / span, loc=low, scale=span)
    drawn = durations_from(Z, low, likely, high, "pert")
    assert np.abs(drawn - beta.ppf(stats.norm.cdf(Z))).max() < 1e-5 * span
    assert drawn.mean() == pytest.approx((low + 4 * likely + high) / 6, abs=1e-4 * span)
    assert drawn.mean() == pytest.approx(beta.mean(), abs=1e-4 * span)
    assert drawn.std() == pytest.approx(beta.std(), rel=2e-3)


def test_pert_variance_is_near_that_of_the_original_method() -> None:
    # ((b - a) / 6)^2 is exact for no beta of this form, but within a third for every mode.
    for mode in np.linspace(0, 1, 11):
        variance = durations_from(Z, 0.0, mode, 1.0, "pert").var()
        assert variance == pytest.approx((mode * 4 + 1) / 6 * (1 - (mode * 4 + 1) / 6) / 7, rel=5e-3)
        assert 0.66 * (1 / 36) < variance < 1.34 * (1 / 36)


def test_triangular_and_uniform_are_those_of_scipy() -> None:
    triangle = stats.triang(0.25, loc=2, scale=8)
    drawn = durations_from(Z, 2.0, 4.0, 10.0, "triangular")
    assert np.abs(drawn - triangle.ppf(stats.norm.cdf(Z))).max() < 1e-4
    drawn = durations_from(Z, 2.0, 4.0, 10.0, "uniform")
    assert np.abs(drawn - (2 + 8 * stats.norm.cdf(Z))).max() < 1e-4


def test_fixed_and_degenerate_estimates_do_not_vary() -> None:
    assert (durations_from(Z, 2.0, 4.0, 10.0, "fixed") == 4.0).all()
    for name in ("pert", "triangular", "uniform", "fixed"):
        assert (durations_from(Z, 4.0, 4.0, 4.0, name) == 4.0).all()


def test_a_longer_estimate_is_longer_in_every_sample() -> None:
    for name in ("pert", "triangular", "uniform"):
        short, long = (durations_from(Z, *estimate, name) for estimate in ((4, 8, 13), (5, 9.5, 15)))
        assert (np.diff(short) >= 0).all()
        assert (long > short).all()


def test_factors_have_mean_one_and_the_deviation_asked_for() -> None:
    for sd in (0.05, 0.3):
        drawn = factor(Z, sd)
        assert drawn.mean() == pytest.approx(1.0, abs=2e-4)
        assert np.log(drawn).std() == pytest.approx(sd, rel=1e-3)


def test_who_is_slowed_by_what(small: pk.Scenario) -> None:
    steps = small.records.steps
    desk = replace(steps[0], step="D1", crew="DESK")
    plain = draw((*steps, desk), CREW, NO_FACTORS, 1, 0, CHUNK)
    drawn = draw((*steps, desk), CREW, ALL_FACTORS, 1, 0, CHUNK)
    common = factor(normals(1, 0, "outing", CHUNK), 0.1)
    pace = {who: factor(normals(1, 0, f"pace:{who}", CHUNK), 0.2) for who in CREW}
    slowed = {"EV1": common * pace["EV1"], "EV2": common * pace["EV2"], "DESK": np.ones(CHUNK),
              "both": common * (pace["EV1"] + pace["EV2"]) / 2}
    for step, with_factors, without in zip((*steps, desk), drawn.durations, plain.durations, strict=True):
        assert np.allclose(with_factors / without, slowed[step.crew]), step.step
    for who in CREW:
        own = factor(normals(1, 0, f"travel:{who}", CHUNK), 0.3)
        assert np.allclose(drawn.travel[who], common * pace[who] * own)
        assert (plain.travel[who] == 1.0).all()


def test_means_are_kept_by_all_factors_together(small: pk.Scenario) -> None:
    steps = small.records.steps
    drawn = np.concatenate([draw(steps, CREW, ALL_FACTORS, 7, chunk, CHUNK).durations for chunk in range(8)],
                           axis=1)
    for step, row in zip(steps, drawn, strict=True):
        mean = (step.minutes_low + 4 * step.minutes_likely + step.minutes_high) / 6
        assert abs(row.mean() - mean) < 4 * row.std() / np.sqrt(row.size), step.step


def test_a_step_keeps_its_numbers_through_add_drop_and_reorder(small: pk.Scenario) -> None:
    steps = small.records.steps
    new = replace(steps[2], step="N1")
    changed = (new, *reversed(steps[1:]))
    before = draw(steps, CREW, ALL_FACTORS, 3, 2, 500).durations
    after = draw(changed, CREW, ALL_FACTORS, 3, 2, 500).durations
    for position, step in enumerate(changed):
        if step.step != "N1":
            assert np.array_equal(after[position], before[[s.step for s in steps].index(step.step)])
    assert not np.array_equal(after[0], before[2])  # the same estimate under another name: other numbers


def test_streams_differ_by_seed_chunk_and_name_and_shorter_is_a_beginning() -> None:
    one = normals(1, 0, "step:A", 100)
    assert np.array_equal(normals(1, 0, "step:A", 40), one[:40])
    others = [normals(2, 0, "step:A", 100), normals(1, 1, "step:A", 100), normals(1, 0, "step:B", 100)]
    for other in others:
        assert abs(np.corrcoef(one, other)[0, 1]) < 0.4
