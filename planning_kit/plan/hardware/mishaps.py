"""What a plan played event by event says of its hardware: where all of it was, and what went wrong."""

from __future__ import annotations

from dataclasses import dataclass

from planning_kit.plan.hardware.custody_state import Holding

(NOT_THERE, EARLY, HAS_IT, NOT_IN_BAG, IN_BAG, BAG_AWAY, NOT_HELD, PARTNER_AWAY, USED_AWAY, NO_SOCKET,
 NOT_IN_SOCKET, SOCKET_TAKEN) = (
    "not there", "early", "has it", "not in bag", "in bag", "bag away", "not held", "partner away",
    "used away", "no socket", "not in socket", "socket taken",
)


@dataclass(frozen=True)
class Mishap:
    """Something that cannot be done as written, at ``at_min`` (PET); ``step`` is "" at the start.

    ``was`` says where the item was (a bag's whereabouts for ``BAG_AWAY``); ``other`` is the bag, partner or
    foothold concerned; ``later_step`` and ``later_min`` say who leaves the item there later, and when.
    """

    kind: str
    at_min: float
    step: str
    crew: str
    place: str
    item: str
    was: Holding
    other: str = ""
    later_step: str = ""
    later_min: float = float("nan")


@dataclass(frozen=True)
class Overload:
    """Hands or a bag that hold more than they can, in one spell; ``slots`` is the most in it."""

    holder: str
    step: str
    from_min: float
    until_min: float
    slots: float
    limit: float
    items: tuple[str, ...]


@dataclass(frozen=True)
class Custody:
    """The history of all hardware. ``endings``: by item where it is in the end, the likeliest last."""

    holdings: tuple[Holding, ...]
    mishaps: tuple[Mishap, ...]
    overloads: tuple[Overload, ...]
    endings: dict[str, tuple[Holding, ...]]
    unweighed: tuple[str, ...]
