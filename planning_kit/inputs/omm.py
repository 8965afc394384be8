"""Orbit messages: a tolerant reader for CCSDS OMM 502.0-B in JSON, XML, KVN and CSV."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Elements:
    """SGP4 mean elements of one object, as an OMM gives them (TEME, UTC).

    Units: rev/day and its derivatives (``mean_motion_dot`` is the half first derivative in rev/day²,
    ``mean_motion_ddot`` a sixth of the second in rev/day³, as the message carries them), degrees,
    ``bstar`` in 1/Earth radii.
    """

    object_name: str
    object_id: str
    epoch: datetime
    mean_motion_rev_per_day: float
    eccentricity: float
    inclination_deg: float
    raan_deg: float
    arg_perigee_deg: float
    mean_anomaly_deg: float
    bstar: float
    mean_motion_dot: float
    mean_motion_ddot: float
    norad_cat_id: int
