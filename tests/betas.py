"""Beta at given moments."""

from collections.abc import Iterable
from datetime import date

import numpy as np

from planning_kit.inputs.utc import When
from planning_kit.sky import light
from planning_kit.sky.orbit import Orbit
from planning_kit.sky.windows import Span, Vector, covered_moment


def beta_deg(orbit: Orbit, times: When | Iterable[When]) -> Vector:
    """Beta at each of several times, or at one, degrees (k,)."""
    several = [times] if isinstance(times, str | date) else times
    moments = [covered_moment(each, "times") for each in several]
    span = Span(min(moments), max(moments))
    return light.beta_deg(orbit, span, np.array([(each - span.start).total_seconds() for each in moments]))
