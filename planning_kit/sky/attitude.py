"""Sun, Earth and its pole as the station sees them: directions in the station body frame, minute by minute.

Axes of the orbit (LVLH, local vertical local horizontal): z to the centre of Earth, y against the orbit's
angular momentum, x = y × z, ahead. The station is turned against them by yaw about z, pitch about the new y,
roll about the new x (``[attitude]``; absent: not at all). So a direction d of the orbit's axes is Tᵀ d in the
station's, with T = Rz(yaw) Ry(pitch) Rx(roll), whose columns are the station's axes.

Neglected: aberration by the station's own speed (5 arcseconds), how an attitude hold wobbles (a degree or
so, common practice, no source), the station's size.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from skyfield.sgp4lib import theta_GMST1982

from planning_kit.inputs.setting_records import Attitude
from planning_kit.sky.orbit import Orbit
from planning_kit.sky.sun import EARTH_RADIUS_KM, sun_between
from planning_kit.sky.windows import Vector, julian_date


@dataclass(frozen=True, eq=False)
class SkyDirections:
    """Arrays over the minutes asked for: unit vectors (k, 3) in the station frame, degrees, kilometres.

    ``sun``; ``nadir``, to the centre of Earth; ``north``, along Earth's pole; ``sub_lat`` (geocentric) and
    ``sub_lon`` (-180 to 180, east) of the point below; ``altitude_km`` above a sphere as
    wide as the equator.
    """

    sun: Vector
    nadir: Vector
    north: Vector
    sub_lat: Vector
    sub_lon: Vector
    altitude_km: Vector


def turned(yaw_deg: float, pitch_deg: float, roll_deg: float) -> Vector:
    """Rz(yaw) Ry(pitch) Rx(roll), (3, 3): its columns are the turned axes."""
    (cy, cp, cr), (sy, sp, sr) = (f(np.radians([yaw_deg, pitch_deg, roll_deg])) for f in (np.cos, np.sin))
    return np.array([[cy * cp, cy * sp * sr - sy * cr, cy * sp * cr + sy * sr],
                     [sy * cp, sy * sp * sr + cy * cr, sy * sp * cr - cy * sr],
                     [-sp, cp * sr, cp * cr]])


def from_orbit_axes(attitude: Attitude) -> Vector:
    """The matrix (3, 3) that turns a direction of the orbit's axes into one of the station's."""
    return turned(attitude.yaw_deg, attitude.pitch_deg, attitude.roll_deg).T


def sky_directions(orbit: Orbit, attitude: Attitude, pet_zero: datetime, minutes: Vector) -> SkyDirections:
    """What the station sees at ``minutes`` (k,) of PET. Raises `ScenarioError` where there is no position."""
    seconds = np.asarray(minutes, dtype=float) * 60.0
    position, velocity = orbit.state_teme(pet_zero, seconds)
    sun = sun_between(pet_zero, pet_zero + timedelta(seconds=float(seconds[-1]))).position_teme_km(
        pet_zero, seconds)
    down = _unit(-position)
    right = _unit(np.cross(velocity, position))
    axes = np.stack([np.cross(right, down), right, down], axis=1)  # rows: the orbit's axes in TEME
    to_station = from_orbit_axes(attitude) @ axes

    def seen(direction: Vector) -> Vector:
        return np.asarray(np.einsum("kij,kj->ki", to_station, np.broadcast_to(direction, down.shape)))

    day, fraction = julian_date(pet_zero)
    sidereal = np.array([theta_GMST1982(day, fraction + each / 86400.0)[0] for each in seconds])
    radius = np.linalg.norm(position, axis=1)
    east = np.degrees(np.arctan2(position[:, 1], position[:, 0]) - sidereal)
    return SkyDirections(
        sun=seen(_unit(sun - position)), nadir=seen(down), north=seen(np.array([0.0, 0.0, 1.0])),
        sub_lat=np.degrees(np.arcsin(position[:, 2] / radius)), sub_lon=(east + 180.0) % 360.0 - 180.0,
        altitude_km=radius - EARTH_RADIUS_KM)


def _unit(vectors: Vector) -> Vector:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=1, keepdims=True))
