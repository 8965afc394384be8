"""Check: how many people stand at a worksite at once.

Rules: ``crowded`` (about the place); ``no-room-given`` (about the places).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from planning_kit.inputs.records import Place
from planning_kit.inputs.times import pet_label
from planning_kit.judge.findings import REMARK, STOP, Finding
from planning_kit.plan.activities import TRAVEL
from planning_kit.plan.spans import Spans
from planning_kit.plan.timed import TimedPlan

CHECK = "worksites"


@dataclass(frozen=True)
class Stay:
    """One crew member at one place, working or waiting, without a break; ``step`` is the first step of it."""

    crew: str
    step: str
    place: str
    start_min: float
    finish_min: float


def check_capacity(plan: TimedPlan) -> Iterator[Finding]:
    """More crew at a place than ``places.crew_at_once`` (stop), one finding a spell.

    Work and waits count, passing through does not; other actors take no room.
    """
    stays = [stay for crew in plan.travels for stay in _stays(plan, crew)]
    by_place: dict[str, list[Stay]] = {}
    for stay in stays:
        by_place.setdefault(stay.place, []).append(stay)
    for place in plan.scenario.records.places:
        if place.crew_at_once is not None:
            for begin, end, present in _spells(by_place.get(place.place, [])):
                if len(present) > place.crew_at_once:
                    yield _crowded(place, place.crew_at_once, begin, end, present)


def check_capacity_data(plan: TimedPlan) -> Iterator[Finding]:
    """One remark that names every place where someone works or waits and whose room is not given."""
    used = {stay.place for crew in plan.travels for stay in _stays(plan, crew)}
    unknown = [place.place for place in plan.scenario.records.places
               if place.crew_at_once is None and place.place in used]
    if unknown:
        yield Finding(
            REMARK, CHECK, "no-room-given", " ".join(unknown), "", "", float("nan"),
            f"no crew_at_once is given for {', '.join(unknown)} (places.csv): how many people are there at "
            "once is not checked",
        )


def _crowded(place: Place, room: int, begin: float, end: float, present: Sequence[Stay]) -> Finding:
    people = sorted(stay.crew for stay in present)
    last = max(present, key=lambda stay: (stay.start_min, stay.crew)).step
    who = " and ".join(people) + (" are" if len(people) > 1 else " is")
    return Finding(
        STOP, CHECK, "crowded", place.place, " ".join(people), last, begin,
        f"{who} at {place.title or place.place} from {pet_label(begin)} to {pet_label(end)}, which has room "
        f"for {room}: let one finish first (after), or wait elsewhere before {last or 'ingress'} (wait_at)",
        "places.crew_at_once", float(len(people)), float(room), float(room - len(people)),
    )


def _stays(plan: TimedPlan, crew: str) -> list[Stay]:
    stays: list[Stay] = []
    for activity in plan.lanes[crew]:
        if activity.kind == TRAVEL:
            continue
        last = stays[-1] if stays else None
        if last and last.finish_min == activity.start_min and last.place == activity.place:
            stays[-1] = Stay(crew, last.step, last.place, last.start_min, activity.finish_min)
        else:
            stays.append(Stay(crew, activity.step, activity.place, activity.start_min, activity.finish_min))
    return stays


def _spells(stays: Sequence[Stay]) -> Iterator[tuple[float, float, list[Stay]]]:
    """Stretches of time between two arrivals or departures, with who is present."""
    edges = sorted({edge for stay in stays for edge in (stay.start_min, stay.finish_min)})
    when = Spans((stay.start_min, stay.finish_min) for stay in stays)
    for begin, end in pairwise(edges):
        near = (stays[number] for number in when.touching(begin, end))
        yield begin, end, [s for s in near if s.start_min < end and s.finish_min > begin]
