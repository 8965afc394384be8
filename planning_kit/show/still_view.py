"""The camera of a still, and what it sees far away: Earth by day and by night, its limb where it is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from planning_kit.plan.shots import FOV_DEG
from planning_kit.plan.surfaces import Vector, across
from planning_kit.show.pack.content import Area, Line, Shape
from planning_kit.sky.attitude import SkyDirections
from planning_kit.sky.sun import EARTH_RADIUS_KM

WIDTH, HEIGHT = 528.0, 297.0
_NEAR_M = 0.4
_RINGS, _SECTORS = 10, 24
_EARTH_DAY, _EARTH_NIGHT = (0xB4, 0xCB, 0xE6), (0x2F, 0x39, 0x58)
_DARKER = 0.62  # what is lit of Earth, seen out of the shadow on dark ground

Spot = tuple[float, float]
Drawn = tuple[float, tuple[Shape, ...]]
"""How far away something is, and its shapes."""


@dataclass(frozen=True, eq=False)
class View:
    """A camera: where it is, its axes (right, up, ahead), points of the picture per unit of slope."""

    eye: Vector
    axes: Vector
    scale: float
    top: float

    @classmethod
    def of(cls, eye: Vector, look: Vector, up: Vector, top: float) -> View:
        """One at ``eye`` that looks at ``look``, ``up`` upward; ``top`` points below the picture's edge."""
        along = (look - eye) / np.linalg.norm(look - eye)
        up = across(along, up, np.array([1.0, 0.0, 0.0]))
        return cls(eye, np.array([np.cross(along, up), up, along]),
                   HEIGHT / 2 / np.tan(np.radians(FOV_DEG / 2)), top)

    def spots(self, points: Vector) -> tuple[Vector, Vector]:
        """Where points (n, 3) are in the picture (n, 2), and how far ahead (n,)."""
        own = (points - self.eye) @ self.axes.T
        depth = np.maximum(own[:, 2], 1e-6)
        flat = np.stack([WIDTH / 2 + own[:, 0] / depth * self.scale,
                         self.top + HEIGHT / 2 - own[:, 1] / depth * self.scale], axis=1)
        return flat, own[:, 2]

    def clipped(self, spots: Sequence[Spot]) -> tuple[Spot, ...]:
        """What of a convex polygon is inside the picture, one edge of it after the other."""
        inside = [*spots]
        for axis, edge, sign in ((0, 0.0, 1), (0, WIDTH, -1), (1, self.top, 1), (1, self.top + HEIGHT, -1)):
            kept: list[Spot] = []
            for one, other in zip(inside, inside[1:] + inside[:1], strict=True):
                a, b = (one[axis] - edge) * sign, (other[axis] - edge) * sign
                if a >= 0:
                    kept.append(one)
                if (a >= 0) != (b >= 0):
                    share = a / (a - b)
                    cut = [one[k] + share * (other[k] - one[k]) for k in (0, 1)]
                    cut[axis] = edge
                    kept.append((cut[0], cut[1]))
            inside = kept
        return tuple((round(x, 1), round(y, 1)) for x, y in inside)

    def holds(self, spot: Vector) -> bool:
        """Whether a spot is in the picture."""
        return bool(2 <= spot[0] <= WIDTH - 2 and self.top + 2 <= spot[1] <= self.top + HEIGHT - 2)

    def lines(self, points: Vector, colour: str, width: float) -> Iterator[Drawn]:
        """A line through points as short pieces, each as far away as it is."""
        for one, other in pairwise(points):
            count = max(int(np.ceil(np.linalg.norm(other - one) / 1.5)), 1)
            spots, depth = self.spots(one + np.linspace(0, 1, count + 1)[:, None] * (other - one))
            for (a, b), far in zip(pairwise(spots), depth, strict=False):
                if far > _NEAR_M and self.holds(a) and self.holds(b):
                    ends = tuple((round(float(x), 1), round(float(y), 1)) for x, y in (a, b))
                    yield far, (Line(ends, colour, width),)


def earth(view: View, sky: SkyDirections, is_night: bool) -> Iterator[Shape]:
    """Earth as tiles from below to the limb, each in the light of where it is: a ball, without air.

    At the angle alpha from straight down one sees the ground at the angle beta from Earth's centre, with
    sin(alpha + beta) = sin(alpha) (R + h) / R; the limb is where that is 1.
    """
    nadir, sun = sky.nadir[0], sky.sun[0]
    aside = across(nadir, np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]))
    sides = np.array([aside, np.cross(nadir, aside)])
    ratio = 1.0 + float(sky.altitude_km[0]) / EARTH_RADIUS_KM
    limb = float(np.arcsin(1.0 / ratio))
    turns = np.linspace(0.0, 2 * np.pi, _SECTORS + 1)
    for low, high in pairwise(limb * np.sin(np.linspace(0.0, np.pi / 2, _RINGS + 1))):
        middle = (low + high) / 2
        beta = float(np.arcsin(min(np.sin(middle) * ratio, 1.0))) - middle
        for one, other in pairwise(turns):
            # A little over their edges, or the ground would be seen between two.
            ends = low * 0.99, min(high * 1.01, limb), one - 0.01, other + 0.01
            corners = np.array([
                np.cos(ends[tilt]) * nadir
                + np.sin(ends[tilt]) * (np.cos(ends[turn]) * sides[0] + np.sin(ends[turn]) * sides[1])
                for tilt, turn in ((0, 2), (1, 2), (1, 3), (0, 3))])
            spots, depth = view.spots(view.eye + corners)
            if depth.min() < 0.05:
                continue
            if len(area := view.clipped([(float(x), float(y)) for x, y in spots])) > 2:
                half = (one + other) / 2
                ground = -np.cos(beta) * nadir + np.sin(beta) * (np.cos(half) * sides[0]
                                                                 + np.sin(half) * sides[1])
                lit = float(np.clip((ground @ sun + 0.1) / 0.35, 0.0, 1.0)) * (_DARKER if is_night else 1.0)
                parts = (round(dark + (bright - dark) * lit)
                         for dark, bright in zip(_EARTH_NIGHT, _EARTH_DAY, strict=True))
                yield Area(area, "#" + "".join(f"{part:02X}" for part in parts))
