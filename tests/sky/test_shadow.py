"""The limb, against closed forms for the sphere and against rays traced to the ellipsoid."""

import numpy as np
import pytest
from scipy.optimize import brentq

from planning_kit.sky import sun as shadow
from planning_kit.sky.sun import (
    EARTH_FLATTENING,
    EARTH_RADIUS_KM,
    SUN_RADIUS_KM,
    limb_margin_rad,
    sun_margin_rad,
)
from planning_kit.sky.windows import total, windows_where

ASTRONOMICAL_UNIT_KM = 149_597_870.7
MU_KM3_S2 = 398_600.4418

# Computed apart from this project, after Wertz, Space Mission Analysis and Design: height km, period min,
# beta* deg, and the
# fraction of a circular orbit in a cylindrical shadow at beta 0, 30, 45, 60 degrees.
CYLINDER = [
    (280, 90.113, 73.325, (0.40736, 0.39250, 0.36699, 0.30543)),
    (400, 92.560, 70.218, (0.39010, 0.37220, 0.34113, 0.26333)),
    (420, 92.970, 69.755, (0.38752, 0.36916, 0.33722, 0.25669)),
    (500, 94.616, 68.019, (0.37788, 0.35773, 0.32244, 0.23072)),
    (800, 100.874, 62.692, (0.34829, 0.32228, 0.27527, 0.13016)),
]
CYLINDER_400_HIGH_BETA = [(66.0, 0.18714), (70.0, 0.04607), (75.0, 0.0)]
CYLINDER_ROWS = [(height, beta, fraction) for height, _, _, fractions in CYLINDER
                 for beta, fraction in zip((0.0, 30.0, 45.0, 60.0), fractions, strict=True)]
CYLINDER_ROWS += [(400, beta, fraction) for beta, fraction in CYLINDER_400_HIGH_BETA]


def circle(radius_km, turns):
    """A circular orbit in the x-z plane, (k, 3), at a fraction of a revolution from the +x axis."""
    angle = 2 * np.pi * np.asarray(turns)
    return radius_km * np.column_stack((np.cos(angle), np.zeros_like(angle), np.sin(angle)))


def sun_at(beta_deg, distance_km):
    beta = np.radians(beta_deg)
    return distance_km * np.array([[np.cos(beta), np.sin(beta), 0.0]])


def shadow_fraction(height_km, beta_deg, distance_km, limb):
    """Part of a revolution where the margin lies below ``limb`` semi-diameters; sphere, step a tenth."""
    sun = sun_at(beta_deg, distance_km)

    def darkness(turns):
        margin, semidiameter = sun_margin_rad(circle(EARTH_RADIUS_KM + height_km, turns), sun, flattening=0.0)
        return limb * semidiameter - margin

    return total(windows_where(darkness, 0.0, 1.0, 0.1))


@pytest.mark.parametrize(("height_km", "beta_deg", "fraction"), CYLINDER_ROWS)
def test_cylinder_is_the_limit_for_a_sun_far_away(height_km, beta_deg, fraction):
    """At 1000 AU the Sun is a point and its rays are parallel to 5e-8: what is left is the table's rounding.
    """
    found = shadow_fraction(height_km, beta_deg, 1000 * ASTRONOMICAL_UNIT_KM, limb=0)
    assert found == pytest.approx(fraction, abs=1e-5)


@pytest.mark.parametrize(("height_km", "beta_deg", "fraction"), CYLINDER_ROWS)
def test_cylinder_lies_between_umbra_and_penumbra(height_km, beta_deg, fraction):
    umbra = shadow_fraction(height_km, beta_deg, ASTRONOMICAL_UNIT_KM, limb=-1)
    with_penumbra = shadow_fraction(height_km, beta_deg, ASTRONOMICAL_UNIT_KM, limb=1)
    assert umbra <= fraction <= with_penumbra
    assert umbra < with_penumbra or with_penumbra == 0


@pytest.mark.parametrize(("height_km", "period_min", "critical_deg"), [row[:3] for row in CYLINDER])
def test_critical_beta_and_period(height_km, period_min, critical_deg):
    far = 1000 * ASTRONOMICAL_UNIT_KM
    assert shadow_fraction(height_km, critical_deg - 0.01, far, limb=0) > 0
    assert shadow_fraction(height_km, critical_deg + 0.01, far, limb=0) == 0
    radius = EARTH_RADIUS_KM + height_km
    assert 2 * np.pi * np.sqrt(radius**3 / MU_KM3_S2) / 60 == pytest.approx(period_min, abs=1e-3)


@pytest.mark.parametrize(("limb", "half_angle_deg"), [(-1, 0.264125), (1, 0.269011)])
def test_shadow_cones(monkeypatch, limb, half_angle_deg):
    """Half-angles asin((Rsun -+ Re)/AU) with Rsun 696 000 km (Vallado prints 0.264121687 and 0.269007205,
    from memory): the slope of the edge between two distances behind Earth."""
    monkeypatch.setattr(shadow, "SUN_RADIUS_KM", 696_000.0)
    sun = np.array([[ASTRONOMICAL_UNIT_KM, 0.0, 0.0]])

    def edge(behind_km):
        def darkness(aside_km):
            station = np.array([[-behind_km, aside_km, 0.0]])
            margin, semidiameter = sun_margin_rad(station, sun, flattening=0.0)
            return float((limb * semidiameter - margin)[0])
        return brentq(darkness, 5000.0, 8000.0, xtol=1e-9)

    slope = (edge(30_000.0) - edge(10_000.0)) / 20_000.0
    assert np.degrees(np.arctan(limb * slope)) == pytest.approx(half_angle_deg, abs=1e-6)


# --- rays traced to the ellipsoid ---------------------------------------------------------------------------

POLAR_RADIUS_KM = EARTH_RADIUS_KM * (1 - EARTH_FLATTENING)


def is_blocked(station, rays):
    """Whether a ray (k, 3) from the station (3,) meets the ellipsoid ahead: roots of the quadratic."""
    scale = np.array([EARTH_RADIUS_KM, EARTH_RADIUS_KM, POLAR_RADIUS_KM])
    q, u = station / scale, rays / scale
    a, b, c = np.sum(u * u, axis=1), u @ q, q @ q - 1
    return (b * b - a * c > 0) & (b < 0)


def cone(axis, half_angle, count=3600):
    """Rays (count, 3) around an axis (3,) at a half-angle."""
    axis = axis / np.linalg.norm(axis)
    side = np.cross(axis, [0.3, -0.5, 0.8])
    side /= np.linalg.norm(side)
    other = np.cross(axis, side)
    turn = np.linspace(0, 2 * np.pi, count, endpoint=False)[:, None]
    return np.cos(half_angle) * axis + np.sin(half_angle) * (np.cos(turn) * side + np.sin(turn) * other)


def circular_state(inclination_deg, node_deg, argument, radius_km=6798.0):
    i, node, u = np.radians(inclination_deg), np.radians(node_deg), argument
    p = np.array([np.cos(node), np.sin(node), 0.0])
    q = np.array([-np.sin(node) * np.cos(i), np.cos(node) * np.cos(i), np.sin(i)])
    return radius_km * (np.cos(u) * p + np.sin(u) * q)


@pytest.mark.parametrize("inclination_deg", [5.0, 51.6, 85.0, 98.0])
@pytest.mark.parametrize("declination_deg", [-23.4, 0.0, 11.0])
def test_edges_agree_with_traced_rays_to_a_millisecond(inclination_deg, declination_deg):
    """At our edge moved by 1 ms (6e-6 of a 92.9 min turn is 34 ms; 1 ms is 1.13e-6 rad) to either side, the
    traced rim of the Sun is wholly hidden or not, wholly clear or not, as it must be.

    Nights whose edges cross the limb steeply; grazing ones are judged in test_light_against_spice.
    """
    millisecond = 2 * np.pi / (92.9 * 60) / 1000
    declination = np.radians(declination_deg)
    sun = ASTRONOMICAL_UNIT_KM * np.array([np.cos(declination), 0.0, np.sin(declination)])
    edges = 0
    for node_deg in (0.0, 40.0, 200.0):
        for limb, judge in ((-1, np.all), (1, np.any)):
            def darkness(arguments, limb=limb, node_deg=node_deg):
                stations = np.array([circular_state(inclination_deg, node_deg, u) for u in arguments])
                margin, semidiameter = sun_margin_rad(stations, sun[None, :])
                return limb * semidiameter - margin

            for into, out_of in windows_where(darkness, 0.1, 2 * np.pi + 0.1, 0.6):
                for edge, inward in ((into, 1), (out_of, -1)):
                    if not 0.11 < edge < 2 * np.pi + 0.09:
                        continue
                    edges += 1
                    for side in (-1, 1):
                        station = circular_state(inclination_deg, node_deg,
                                                 edge + side * millisecond)
                        line = sun - station
                        rim = cone(line, np.arcsin(SUN_RADIUS_KM / np.linalg.norm(line)))
                        assert judge(is_blocked(station, rim)) == (side * inward > 0)
    assert edges >= 4


@pytest.mark.parametrize("mask_deg", [0.0, 3.0, 10.0])
def test_a_cone_of_the_mask_clears_the_ellipsoid(mask_deg):
    """A target's margin less the spread of a mask, against the rays of that cone, at places near the limb
    on all sides; agreement to 0.01 degrees at a mask of 10."""
    generator = np.random.default_rng(5)
    tried = 0
    for _ in range(400):
        station = circular_state(98.0, generator.uniform(0, 360), generator.uniform(0, 2 * np.pi))
        target = 42164.0 * np.append(np.exp(1j * generator.uniform(0, 2 * np.pi)), 0.0)
        target = np.array([target[0].real, target[0].imag, 0.0])
        margin, spread = limb_margin_rad(station[None, :], target[None, :])
        excess = float(np.degrees(margin[0] - spread[0] * np.radians(mask_deg)))
        if abs(excess) < 0.01:
            continue
        tried += 1
        rays = cone(target - station, np.radians(mask_deg), 720)
        assert bool(is_blocked(station, rays).any()) == (excess < 0)
    assert tried > 300


def test_straight_above_and_below():
    """On the axis the plane of station, target and Earth has no direction: the answer must stay finite."""
    sun = np.array([[0.0, 0.0, ASTRONOMICAL_UNIT_KM]])
    for sign, expected in ((1.0, np.pi), (-1.0, 0.0)):
        station = np.array([[0.0, 0.0, sign * 7000.0]])
        margin, semidiameter = sun_margin_rad(station, sun)
        half_angle = np.arcsin(EARTH_RADIUS_KM / (7000.0 / (1 - EARTH_FLATTENING)))
        assert margin[0] == pytest.approx(expected - half_angle, abs=1e-6)
        assert semidiameter[0] > 0
