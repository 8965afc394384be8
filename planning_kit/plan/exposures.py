"""When which crew member is where a hazard is: at work, on the way and waiting, computed exactly."""

from __future__ import annotations

from dataclasses import dataclass

from planning_kit.inputs.records import Hazard
from planning_kit.sky.windows import Windows


@dataclass(frozen=True)
class Exposure:
    """One stretch of PET (minutes) that a crew member spends inside a hazard that is there.

    ``place``, and ``to_place`` on a leg ("" where they stand); ``step``: worked on or travelled to;
    ``doing``: work, travel or wait. ``assumed``: why the unsafe case is assumed, in words; "" where all is
    known. ``open_min``: the parts of it in which no control holds, (n, 2) PET minutes; a hazard without
    controls is open throughout.
    """

    hazard: Hazard
    crew: str
    from_min: float
    until_min: float
    place: str
    to_place: str
    step: str
    doing: str
    assumed: str
    open_min: Windows
