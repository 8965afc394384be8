"""When which crew member is where a hazard is: at work, on the way and waiting, computed exactly.

Where a hazard reaches, when it is there and controlled is `planning_kit.plan.hazard_presence`: an exposure is
a stretch of somebody's time in which both are so. The list for the owners of inhibits says of each when it is
set, safe, confirmed, lifted, and who is inside meanwhile.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from math import isfinite, nan

import numpy as np
import pandas as pd

from planning_kit.inputs.records import Hazard
from planning_kit.inputs.shown_text import ShownTable
from planning_kit.inputs.times import Side, gmt_label, moment_at, pet_label
from planning_kit.plan.activities import TRAVEL
from planning_kit.plan.build import placeless
from planning_kit.plan.custody_state import Custody
from planning_kit.plan.hazard_presence import Conditions, Part, Reach, assumed_in, control_windows, controlled
from planning_kit.plan.legs import Passage
from planning_kit.plan.needs import Hold
from planning_kit.plan.network import ROUNDING_MIN, grouped, joined
from planning_kit.plan.plan_times import Times
from planning_kit.sky.windows import Windows, no_windows, total

EXPOSURE_COLUMNS = ["hazard", "title", "class", "limit", "crew", "from_min", "until_min", "minutes", "place",
                    "to_place", "step", "doing", "assumed", "controls", "open_min"]


@dataclass(frozen=True, eq=False)
class Exposure:
    """One stretch of PET (minutes) that a crew member spends inside a hazard that is there.

    ``place``, and ``to_place`` on a leg ("" where they stand); ``step``: worked on or travelled to;
    ``doing``: work, travel or wait. ``assumed``: why the unsafe case is assumed, in words; "" where all is
    known. ``open_min``: the parts of it in which no control holds, (n, 2) PET minutes; a hazard without
    controls is open throughout. A stretch of no minutes is a moment: a step that takes no time, or a place
    passed by.
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

    @cached_property
    def open_spans(self) -> list[tuple[float, float]]:
        """``open_min`` as pairs, without what is there by rounding only; of a moment, that moment."""
        is_moment = self.until_min - self.from_min <= ROUNDING_MIN
        return [(begin, end) for begin, end in self.open_min.tolist()
                if is_moment or end - begin > ROUNDING_MIN]


def hazard_exposures(times: Times, passages: Mapping[str, Sequence[Passage]], holds: Sequence[Hold],
                     custody: Custody, hazards: Sequence[Hazard]) -> tuple[Exposure, ...]:
    """All exposures to ``hazards``, by crew member, minute and row of the hazard.

    What follows without a break at one place or on one leg, for one step, is one.
    """
    if not hazards:
        return ()
    by_inhibit = control_windows(holds)
    conditions = Conditions(times, passages, custody, by_inhibit)
    inside = _Inside(times, hazards, conditions)
    held = [controlled(each.controls, by_inhibit).tolist() for each in hazards]
    by_spot = {crew: grouped((spot, (begin, end)) for begin, end, spot in inside.stretches(theirs))
               for crew, theirs in passages.items()}
    return tuple(
        Exposure(hazards[number], crew, begin, end, place, to_place, step, doing, assumed,
                 _open(held[number], begin, end))
        for crew, spots in by_spot.items()
        for begin, end, (number, place, to_place, step, doing, assumed) in sorted(
            (*span, spot) for spot, spans in spots.items() for span in joined(spans)))


_Spot = tuple[int, str, str, str, str, str]
"""The number of the hazard, ``place``, ``to_place``, ``step``, ``doing`` and ``assumed`` of an exposure."""


class _Inside:
    """Which hazards reach each place and leg, looked up once, and when they are there."""

    def __init__(self, times: Times, hazards: Sequence[Hazard], conditions: Conditions) -> None:
        self._hazards = hazards
        self._reaches = [Reach(times.scenario.records, hazard) for hazard in hazards]
        self._named = {place for hazard in hazards for place in hazard.places}
        present = [conditions.of(hazard) for hazard in hazards]
        self._there = [windows.tolist() for windows, _ in present]
        self._doubts = [doubts for _, doubts in present]
        self._known: dict[tuple[str, str, int], list[tuple[int, tuple[Part, ...]]]] = {}

    def stretches(self, passages: Sequence[Passage]) -> Iterator[tuple[float, float, _Spot]]:
        """Every stretch that one crew member spends inside, by time."""
        before: Passage | None = None
        for passage in (each for each in passages if each.is_known):  # of the others there is a concern
            # At PET 0 they are at the airlock, also where nothing is done there before they leave.
            if passage.route and (before is None or before.route) and passage.place in self._named:
                moment = Passage(passage.crew, passage.place, "", passage.start_min, passage.start_min,
                                 passage.step, None, TRAVEL)
                for number in self._passed(before, passage):
                    yield from self._when(number, (0.0, 1.0, ""), moment)
            for number, parts in self._parts(passage):
                for part in parts:
                    yield from self._when(number, part, passage)
            before = passage

    def _parts(self, passage: Passage) -> list[tuple[int, tuple[Part, ...]]]:
        key = passage.place, passage.to_place, id(passage.route)
        if key not in self._known:
            parts = ((number, reach.at(passage.place) if passage.route is None else
                      reach.on(passage.place, passage.to_place, passage.route))
                     for number, reach in enumerate(self._reaches))
            self._known[key] = [each for each in parts if each[1]]
        return self._known[key]

    def _passed(self, before: Passage | None, after: Passage) -> list[int]:
        """The hazards of a named place between two legs, where none of the two is inside there."""
        touched = {number for number, parts in (self._parts(before) if before else ()) if parts[-1][1] == 1.0}
        touched |= {number for number, parts in self._parts(after) if parts[0][0] == 0.0}
        return [number for number, reach in enumerate(self._reaches)
                if reach.passes(after.place) and number not in touched]

    def _when(self, number: int, part: Part, passage: Passage) -> Iterator[tuple[float, float, _Spot]]:
        """When the hazard is there in this part of a passage, for those whom it applies to."""
        applies_to, length = self._hazards[number].applies_to, passage.finish_min - passage.start_min
        if applies_to and passage.crew not in applies_to:
            return
        begin = passage.start_min + part[0] * length
        end = passage.finish_min if part[1] == 1.0 else passage.start_min + part[1] * length
        for first, last in self._there[number]:
            low, high = max(first, begin), min(last, end)
            if high > low or low == high == begin == end:
                why = dict.fromkeys(filter(None, (part[2], *assumed_in(self._doubts[number], low, high))))
                yield low, high, (number, passage.place, passage.to_place, passage.step, passage.doing,
                                  "; ".join(why))


def _open(held: Sequence[Sequence[float]], begin: float, end: float) -> Windows:
    """The parts of a stretch in which no control holds; a moment is a part of no minutes."""
    if any(first <= begin and end <= last for first, last in held):
        return no_windows()
    # By hand, as most have one part or none: arrays of so few take longer to ask than to fill.
    edges = [begin, *(min(max(edge, begin), end) for span in held for edge in span), end]
    parts = [span for span in zip(edges[::2], edges[1::2], strict=True) if span[1] > span[0]]
    return np.array(parts or [(begin, end)])


def spells_of(exposures: Sequence[Exposure], *limits: str) -> Iterator[list[Exposure]]:
    """What one crew member spends in one hazard without a break, wherever they are in it."""
    each = grouped(((exposure.hazard.hazard, exposure.crew), exposure) for exposure in exposures
                   if exposure.hazard.limit in limits)
    for theirs in each.values():
        spell: list[Exposure] = []
        for exposure in theirs:
            if spell and exposure.from_min > max(one.until_min for one in spell) + ROUNDING_MIN:
                yield spell
                spell = []
            spell.append(exposure)
        yield spell


def open_parts(spell: Iterable[Exposure]) -> list[tuple[float, float]]:
    """When no control holds, joined: what is open on from one place to the next is one."""
    return joined(span for exposure in spell for span in exposure.open_spans)


def lasts_through(spans: Iterable[Sequence[float]], begin: float, end: float) -> bool:
    """Whether one of the stretches lasts from one minute to another."""
    return any(first <= begin + ROUNDING_MIN and last >= end - ROUNDING_MIN for first, last in spans)


def exposures_table(exposures: Sequence[Exposure]) -> pd.DataFrame:
    """A row an exposure, by time and crew member (columns: see `TimedPlan.exposures`)."""
    rows = [(each.hazard.hazard, each.hazard.title, each.hazard.class_, each.hazard.limit, each.crew,
             each.from_min, each.until_min, each.until_min - each.from_min, each.place, each.to_place,
             each.step, each.doing, each.assumed,
             each.hazard.controls.words if each.hazard.controls else "", total(each.open_min))
            for each in sorted(exposures, key=lambda each: (each.from_min, each.crew))]
    return ShownTable(rows, columns=EXPOSURE_COLUMNS)


_BEFORE = ["inhibit", "title", "owner", "set_by_min", "lift_after_min", "hold_min", "set_by", "set_by_gmt",
           "safe_from", "confirmed_by", "confirmed"]
_AFTER = ["lift_after", "lift_after_gmt", "restored", "from_step", "until_step", "overlaps", "reason"]


def inhibits_table(times: Times, holds: Sequence[Hold], exposures: Sequence[Exposure],
                   exposed_to: Callable[[Sequence[Hazard]], Sequence[Exposure]]) -> pd.DataFrame:
    """A row an inhibit, by the time it must stand; times as PET minutes, PET labels and GMT labels.

    ``EV1_enters`` and ``EV1_leaves`` (of each crew member): the ends of all exposures to what it controls,
    and to what would be there if it were off. ``exposed_to`` finds those to other hazards than the
    scenario's.
    """
    rows = [[*_row(times, hold, _stays(times, hold.inhibit.inhibit, exposures, exposed_to))]
            for hold in sorted(holds, key=lambda hold: hold.set_by_min)]
    ends = [f"{who}_{end}" for who in times.travels for end in ("enters", "leaves")]
    return ShownTable(rows, columns=[*_BEFORE, *ends, *_AFTER])


def _stays(times: Times, inhibit: str, exposures: Sequence[Exposure],
           exposed_to: Callable[[Sequence[Hazard]], Sequence[Exposure]]) -> list[Exposure]:
    rests = ((each, tuple(term for term in each.when if (term.kind, term.about) != ("off", inhibit)))
             for each in times.scenario.records.hazards)
    if_off = [replace(each, when=rest) for each, rest in rests if rest != each.when]
    return [*(each for each in exposures
              if each.hazard.controls is not None and inhibit in each.hazard.controls.names),
            *exposed_to(if_off)]


def _row(times: Times, hold: Hold, stays: Sequence[Exposure]) -> Iterator[object]:
    inhibit, pet_zero = hold.inhibit, times.pet_zero
    yield from (inhibit.inhibit, inhibit.title, inhibit.owner, hold.set_by_min, hold.lift_after_min,
                hold.hold_min, *_labels(hold.set_by_min, pet_zero, "down"), _label(hold.safe_from_min, "up"),
                inhibit.confirmed_by, _label(hold.confirmed_min, "up"))
    for who in times.travels:  # the first minute of entering and the last of leaving
        if placeless([step for step in times.steps if who in step.people]):
            yield from ("not known", "not known")
            continue
        theirs = [each for each in stays if each.crew == who]
        yield _label(min((each.from_min for each in theirs), default=nan), "down")
        yield _label(max((each.until_min for each in theirs), default=nan), "up")
    yield from (*_labels(hold.lift_after_min, pet_zero, "up"), _label(hold.restored_min, "up"),
                inhibit.from_step, inhibit.until_step, " ".join(hold.overlaps), inhibit.reason)


def _label(pet_min: float, side: Side) -> str:
    return pet_label(pet_min, side) if isfinite(pet_min) else ""


def _labels(pet_min: float, pet_zero: datetime, side: Side) -> tuple[str, str]:
    return pet_label(pet_min, side), gmt_label(moment_at(pet_min, pet_zero), side)
