"""Exposures: against a simulation by the second on random outings; the geometry against brute force."""

from __future__ import annotations

import math

import numpy as np
import pytest

from planning_kit.plan.exposures import Exposure
from planning_kit.plan.hazard_presence import gap_to_ellipsoid_m, inside_sphere
from tests.plan.hazard_outings import could_touch, random_plan, simulated

PLANS, PARTS = 1000, 10
SECOND_MIN = 1 / 60


def stretches(exposures: list[Exposure], is_open: bool) -> list[tuple[float, float]]:
    return [span for each in exposures for span in
            (each.open_min.tolist() if is_open else [(each.from_min, each.until_min)])]


@pytest.mark.parametrize("part", range(PARTS))
def test_intervals_agree_with_a_simulation_by_the_second(part: int) -> None:
    met = set()
    for seed in range(part * PLANS // PARTS, (part + 1) * PLANS // PARTS):
        plan = random_plan(seed)
        exposures = plan.records.exposures
        minutes, truth = simulated(plan)
        for (crew, hazard), expected in truth.items():
            theirs = [each for each in exposures if (each.crew, each.hazard.hazard) == (crew, hazard)]
            for is_open in (False, True):
                spans = stretches(theirs, is_open)
                found = np.zeros(len(minutes), dtype=int)
                is_edge = np.zeros(len(minutes), dtype=bool)
                for begin, end in spans:
                    found += (minutes >= begin) & (minutes < end)
                    for edge in (begin, end):
                        is_edge |= np.abs(minutes - edge) <= SECOND_MIN
                wrong = (found != expected[is_open]) & ~is_edge  # nor may two of them overlap
                assert not wrong.any(), (seed, crew, hazard, is_open, minutes[wrong][:3])
                met |= {("open", is_open, "met", bool(spans))}
            for each in theirs:
                met |= {each.doing, "assumed" if each.assumed else "known", f"{len(each.open_min)} open"}
    assert met >= {"work", "travel", "wait", "assumed", "known", "0 open", "1 open",
                   ("open", True, "met", True), ("open", True, "met", False)}


def test_the_table_has_no_duplicates() -> None:
    for seed in range(20):
        plan = random_plan(seed)
        table = plan.exposures
        assert len(table) == len(plan.records.exposures)
        assert not table.duplicated(["hazard", "crew", "from_min", "place", "to_place", "step"]).any()
        assert (table["minutes"] >= 0).all()
        assert (table["open_min"] <= table["minutes"] + 1e-9).all()


def test_a_ball_that_a_length_can_reach_is_never_missed() -> None:
    """Foci, length, centre and radius at random: exact to a millimetre, and in doubt it touches."""
    random = np.random.default_rng(5)
    touched = 0
    for _ in range(400):
        one, other, centre = random.uniform(-10, 10, (3, 3))
        metres = math.dist(one, other) * random.uniform(1.0001, 2) + (random.random() < 0.2)
        gap = gap_to_ellipsoid_m(tuple(centre), tuple(one), tuple(other), metres)
        if gap > 0:
            # The points tried lie a little inside the true ball, so that the farther radius must touch.
            assert not could_touch(one, other, metres, centre, gap * 0.999)
            assert could_touch(one, other, metres, centre, gap + 0.001)
        else:
            touched += 1
            assert math.dist(centre, one) + math.dist(centre, other) <= metres
    assert 20 < touched < 380


@pytest.mark.parametrize(("point", "one", "other", "metres", "gap"), [
    # Foci 6 m apart and 10 m: semi-axes 5 and 4. On the axis beyond the tip, beside the middle, and inside.
    ((8, 0, 0), (-3, 0, 0), (3, 0, 0), 10, 3.0),
    ((0, 0, 6), (-3, 0, 0), (3, 0, 0), 10, 2.0),
    ((4.9, 0, 0), (-3, 0, 0), (3, 0, 0), 10, 0.0),
    # Both ends at one place: a ball of half the length.
    ((0, 5, 0), (0, 0, 0), (0, 0, 0), 4, 3.0),
])
def test_gaps_by_hand(point: tuple[float, ...], one: tuple[float, ...], other: tuple[float, ...],
                      metres: float, gap: float) -> None:
    found = gap_to_ellipsoid_m(point, one, other, metres)  # type: ignore[arg-type]
    assert found == pytest.approx(gap, abs=1e-9)
    assert found <= gap + 1e-12


def test_the_part_of_a_bent_way_inside_by_hand() -> None:
    # 10 m along x, then 10 m up. A ball of 5 m about the bend takes the middle half, as one part.
    line = [(0.0, 0.0, 0.0), (10.0, 0.0, 0.0), (10.0, 0.0, 10.0)]
    assert list(inside_sphere(line, (10.0, 0.0, 0.0), 5.0)) == [pytest.approx((0.25, 0.75))]
    # 3 m beside the first half, 5 m wide: a chord of 8 m about its middle.
    assert list(inside_sphere(line, (5.0, 3.0, 0.0), 5.0)) == [pytest.approx((0.05, 0.45))]
    # Out of the first leg and into the second: two parts.
    parts = list(inside_sphere([(-9.0, 3.0, 0.0), (9.0, 3.0, 0.0), (-9.0, 3.0, 0.0)], (0.0, 0.0, 0.0), 5.0))
    assert parts == [pytest.approx((5 / 36, 13 / 36)), pytest.approx((23 / 36, 31 / 36))]
    assert list(inside_sphere(line, (5.0, 5.1, 0.0), 5.0)) == []
