"""An OEM as text, sampled from any orbit: its states turned into the frame by skyfield."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

import numpy as np
from skyfield.framelib import ICRS, ICRS_to_J2000, InertialFrame, itrs
from skyfield.positionlib import ICRF
from skyfield.sgp4lib import TEME
from skyfield.units import Distance, Velocity

from planning_kit.sky.orbit import Orbit
from planning_kit.sky.sun import timescale

FRAMES = {"TEME": TEME, "GCRF": ICRS, "ICRF": ICRS, "EME2000": InertialFrame("", ICRS_to_J2000),
          "ITRF2014": itrs}


def stamp(moment: datetime) -> str:
    return f"{moment:%Y-%m-%dT%H:%M:%S.%f}"


def states(orbit: Orbit, start: datetime, seconds: np.ndarray, frame: str = "EME2000") -> np.ndarray:
    """States (k, 6) of an orbit in a frame."""
    position, velocity = orbit.state_teme(start, seconds)
    days = (start - datetime(2000, 1, 1, tzinfo=UTC)).total_seconds() / 86400 + seconds / 86400
    place = ICRF.from_time_and_frame_vectors(
        timescale().utc(2000, 1, 1 + days), TEME, Distance(km=position.T), Velocity(km_per_s=velocity.T))
    found, rate = place.frame_xyz_and_velocity(FRAMES[frame])
    return np.vstack((found.km, rate.km_per_s)).T


def segment(orbit: Orbit, start: datetime, stop: datetime, step_s: float = 240.0, frame: str = "EME2000",
            keys: Mapping[str, str] | None = None) -> str:
    count = round((stop - start).total_seconds() / step_s)
    seconds = np.arange(count + 1) * step_s
    said = {"OBJECT_NAME": orbit.name or "TEST", "OBJECT_ID": "2031-001A", "CENTER_NAME": "EARTH",
            "REF_FRAME": frame, "TIME_SYSTEM": "UTC", "START_TIME": stamp(start),
            "STOP_TIME": stamp(start + timedelta(seconds=seconds[-1])), "INTERPOLATION": "HERMITE",
            "INTERPOLATION_DEGREE": "7"} | dict(keys or {})
    lines = ["META_START", *(f"{key} = {text}" for key, text in said.items() if text), "META_STOP", ""]
    for at, row in zip(seconds, states(orbit, start, seconds, frame), strict=True):
        lines.append(" ".join((stamp(start + timedelta(seconds=at)), *(f"{value:.9f}" for value in row))))
    return "\n".join(lines) + "\n"


def oem(*segments: str, created: str = "2031-06-20T12:00:00") -> str:
    return "\n".join(["CCSDS_OEM_VERS = 2.0", "COMMENT made up", f"CREATION_DATE = {created}",
                      "ORIGINATOR = ME", "", *segments])
