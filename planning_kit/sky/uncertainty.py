"""How far a window may be off: the age of the elements as an error along the orbit."""

from __future__ import annotations

from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from planning_kit.inputs.times import as_utc
from planning_kit.sky.orbit import Orbit
from planning_kit.sky.span import SECONDS_PER_DAY, Moment

FRESH_ELEMENTS_S = 1.0
"""Assumed error of a shadow edge from elements of no age: 7 to 8 km along a low orbit. An assumption."""

SEMI_MAJOR_AXIS_ERROR_KM = 0.05
"""Assumed error of the elements' semi-major axis. An assumption."""

DRAG_ERROR_FRACTION = 0.2
"""Assumed relative error of the drag to come, against the drag in the elements. An assumption."""


def edge_uncertainty_s(orbit: Orbit, reference: datetime, seconds: NDArray[np.float64],
                       axis_error_km: float = SEMI_MAJOR_AXIS_ERROR_KM,
                       drag_error: float = DRAG_ERROR_FRACTION) -> NDArray[np.float64]:
    """Plus or minus seconds (k,) by which a window ``seconds`` (k,) after ``reference`` may be shifted.

    The error of old elements lies along the orbit: the station is early or late, so a window is shifted and
    hardly lengthened. With t days between window and elements (before counts like after),

        sqrt(fresh² + (1.5 δa/a * 86 400 t)² + (ε * n' P t²)²)

    where Kepler's third law turns an axis error δa into a rate (δn/n = -1.5 δa/a; 0.02 s a day for each
    metre in low orbit), and n' = half the first derivative of the mean motion (rev/day²) makes n' t²
    revolutions of P seconds, ε of which are in doubt. Roughly a standard deviation, of assumptions that are
    named above. Neglected: what is across the orbit, how beta drifts, how long after t = 0 the axis error
    itself grows; any reboost, which voids the windows.
    """
    age_s = (reference - orbit.epoch).total_seconds() + np.asarray(seconds, dtype=float)
    age_days = age_s / SECONDS_PER_DAY
    rate = 1.5 * axis_error_km / orbit.semi_major_axis_km * SECONDS_PER_DAY
    drag = drag_error * orbit.elements.mean_motion_dot * orbit.period_min * 60
    return np.sqrt(FRESH_ELEMENTS_S**2 + (rate * age_days) ** 2 + (drag * age_days**2) ** 2)


def elements_age_note(orbit: Orbit, moment: Moment) -> str:
    """How old the elements are at ``moment`` (UTC), what that means for windows, and how it was judged.

    Plain text in whole sentences, without the object's name. Raises `ScenarioError` when ``moment`` is no
    time.
    """
    when = as_utc(moment, "moment")
    age_days = (when - orbit.epoch).total_seconds() / SECONDS_PER_DAY
    shift = float(edge_uncertainty_s(orbit, when, np.zeros(1))[0])
    side = "before" if age_days >= 0 else "after"
    drag = ("The elements carry no drag, so its error is not counted. "
            if orbit.elements.mean_motion_dot == 0 else "")
    useless = (" That is a quarter of a revolution or more: these windows say nothing about single nights."
               if shift > orbit.period_min * 60 / 4 else "")
    return (
        f"Elements of {orbit.epoch:%Y-%m-%d %H:%M} UTC, {abs(age_days):.1f} days {side} this moment: a "
        f"window may be shifted by about ±{_in_words(shift)}, its length hardly changes.{useless} "
        f"Assumed: {FRESH_ELEMENTS_S:g} s for fresh elements, {SEMI_MAJOR_AXIS_ERROR_KM * 1000:g} m of "
        f"semi-major axis, {DRAG_ERROR_FRACTION:.0%} of the drag. {drag}"
        "Any reboost after the elements' epoch voids the windows. They are geometric: refraction and airglow "
        "shift what an eye sees by seconds.")


def _in_words(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.0f} min"
