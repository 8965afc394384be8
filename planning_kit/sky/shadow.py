"""The Earth's limb: how high above it something stands, on the ellipsoid and for a disc of any size.

Derivation. Stretch space along the pole by k = 1/(1 - f): z becomes k z. Straight lines stay straight and
tangents stay tangents, and the ellipsoid (radii a, a, a(1 - f)) becomes a sphere of radius a. With q the
station and d the line of sight to the target, both stretched, Earth's disc seen from q has the half-angle
asin(a/|q|) about -q, exactly. The target's centre stands above the limb by

    margin = angle(d, -q) - asin(a/|q|).

A round target of angular radius s becomes an ellipse. What counts is its radius towards or away from
Earth's centre, along the unit vector n that is perpendicular to d in the plane of d and q. A ball of radius
R, stretched, reaches R |S n| in that direction (support function of an ellipsoid, S = diag(1, 1, k)), and
its distance grows from |d| unstretched to |d|, so that its angular radius there is s times

    spread = |S n| * |d unstretched| / |d stretched|,    |S n|² = 1 + (k² - 1) n_z².

All dark: margin < -spread s. All clear: margin > +spread s. Closed form, vectorised.

Neglected: that the ellipse's point nearest to the limb lies a little aside of n (second order in the 0.3 %
that k differs from 1: below 1 ms against tracing the Sun's rim ray by ray); refraction and extinction by
the atmosphere, terrain, the geoid (100 m of it are 10 to 30 ms of a low orbit), the Moon's shadow.

The idea is old: P. R. Escobal, Methods of Orbit Determination (1965), ch. 5, and S. Adhya, A. Sibthorpe,
M. Ziebart, P. Cross, "Oblate Earth eclipse state algorithm for low-Earth-orbiting satellites", Journal of
Spacecraft and Rockets 41 (2004) 157-159 (both from memory); the projection of the disc is derived above.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planning_kit.sky.sun import SUN_RADIUS_KM

EARTH_RADIUS_KM = 6378.137
EARTH_FLATTENING = 1 / 298.257223563
"""WGS 84 (NIMA TR8350.2)."""

Vector = NDArray[np.float64]

_LEAST_SINE = 1e-12


def limb_margin_rad(station_km: Vector, target_km: Vector,
                    flattening: float = EARTH_FLATTENING) -> tuple[Vector, Vector]:
    """How far the target's centre stands above the limb as the station sees it, and the spread of its disc.

    Both positions are geocentric, (k, 3), km, with z along Earth's pole (TEME). Returns ``margin`` (k,), in
    radians of the stretched space, negative behind Earth, and ``spread`` (k,): what an angle at the target
    is multiplied by, across the limb, to be compared with the margin (see the module's derivation). Holds
    for targets beyond the limb; for a station outside Earth.
    """
    stretch = 1 / (1 - flattening)
    qx, qy, qz = station_km[:, 0], station_km[:, 1], station_km[:, 2]
    dx, dy, dz = target_km[:, 0] - qx, target_km[:, 1] - qy, target_km[:, 2] - qz
    plain_squared = dx * dx + dy * dy + dz * dz
    qz, dz = qz * stretch, dz * stretch
    q = np.sqrt(qx * qx + qy * qy + qz * qz)
    d = np.sqrt(dx * dx + dy * dy + dz * dz)
    cosine = np.clip(-(qx * dx + qy * dy + qz * dz) / (q * d), -1.0, 1.0)
    sine = np.maximum(np.sqrt(1 - cosine * cosine), _LEAST_SINE)
    margin = np.arccos(cosine) - np.arcsin(np.minimum(EARTH_RADIUS_KM / q, 1.0))
    normal_z = (qz / q + cosine * dz / d) / sine
    spread = np.sqrt((1 + (stretch * stretch - 1) * normal_z * normal_z) * plain_squared) / d
    return margin, spread


def sun_margin_rad(station_km: Vector, sun_km: Vector,
                   flattening: float = EARTH_FLATTENING) -> tuple[Vector, Vector]:
    """The Sun's centre above the limb and its semi-diameter across the limb, both (k,), stretched radians.

    Night (umbra) is margin < -semi-diameter, day is margin > +semi-diameter, between is penumbra.
    Arguments as for `limb_margin_rad`. The semi-diameter is asin(R/D) with the Sun's own distance D from
    the station; its sine and its angle stretch alike to 2e-5 of it.
    """
    margin, spread = limb_margin_rad(station_km, sun_km, flattening)
    distance = np.sqrt(np.sum((sun_km - station_km) ** 2, axis=1))
    return margin, spread * np.arcsin(SUN_RADIUS_KM / distance)
