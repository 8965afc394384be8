"""The log of an outing (``log.csv``): one event a row, so that appending is enough. See scenarios/FORMAT.md.

``at`` is UTC; a PET time (``1:23``, ``1:23:30``, or minutes) is understood wherever a log is read and counts
from the PET 0 as logged, or as planned. The log stands beside a scenario and is not part of it: what was
planned is one thing, what happened is another.
"""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby
from typing import Annotated

from planning_kit.inputs.cells import CellFault, parse_moment
from planning_kit.inputs.faults import is_number
from planning_kit.inputs.fields import Table, choice, column, columns_of, number
from planning_kit.inputs.times import moment_at, pet_typed

LOG_FILE = "log.csv"
EVENT_KINDS = ("pet_zero", "started", "finished", "partly", "broken_off", "skipped", "suit", "ingress",
               "correct")
PET_ZERO, STARTED, FINISHED, PARTLY, BROKEN_OFF, SKIPPED, SUIT, INGRESS, CORRECT = EVENT_KINDS
FORMAT_1_PET_ZERO = "egress"  # what format 1 called the first of them
STEP_EVENTS = (STARTED, FINISHED, PARTLY, BROKEN_OFF, SKIPPED)

_MINUTES = re.compile(r"[-−]?[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]+)?")
_EXAMPLE = "write a UTC time like 2031-05-14T12:43:00Z, or PET like 1:23"
_FARTHEST_PET_MIN = 14_400.0
FARTHEST_PET_ZERO = timedelta(days=14)
"""A PET 0 farther than this from the planned one is taken for a wrong date."""


@dataclass(frozen=True, kw_only=True)
class Event:
    """One row of a log, corrections applied. ``at`` is UTC; ``row`` is the row of the file, for messages."""

    row: int
    event_id: Annotated[str, column("id", "id of this row", may_be_absent=True)]
    logged_at: Annotated[datetime | None, column("datetime", "when it was written down, UTC",
        may_be_absent=True)] = None
    crew: Annotated[str, column("id", "who; empty: whose step it is", may_be_absent=True)]
    step: Annotated[str, column("id", "the step; empty for PET 0, ingress and suit")]
    event: Annotated[str, choice("what happened", *EVENT_KINDS, needed=True)]
    at: Annotated[datetime, column("text", "when it happened, UTC")]
    remaining_min: Annotated[float | None, number("how long the step will still take from then on", "min",
        most=14_400, may_be_absent=True)]
    metabolic_w: Annotated[float | None, number("mean metabolic rate of this crew member since PET 0", "W",
        above_least=True, most=2_000, may_be_absent=True)]
    by: Annotated[str, column("text", "who logged it", may_be_absent=True)] = ""
    corrects: Annotated[str, column("id", "the event that a row of the kind correct replaces",
        may_be_absent=True)] = ""
    note: Annotated[str, column("text", "words", may_be_absent=True)]


LOG = Table("log", "what was called during the outing", ("event_id",), columns_of(Event))
LOG_COLUMNS = [field.name for field in LOG.fields]


def by_time(events: Iterable[Event], after: Mapping[str, Sequence[str]] | None = None) -> list[Event]:
    """Events in time, whoever typed which row first.

    At one moment comes first what ends work begun earlier, then the steps that are begun and over at this
    moment (each behind those of them in its ``after``), then what is begun and goes on, then ingress. Of one
    step the start comes before the finish.
    """
    ordered: list[Event] = []
    for _, now in groupby(sorted(events, key=lambda event: (event.at, event.row)), lambda event: event.at):
        ordered += _at_one_moment(list(now), after or {})
    return ordered


def _at_one_moment(events: list[Event], after: Mapping[str, Sequence[str]]) -> list[Event]:
    """``events`` come by row."""
    # A step begun and skipped at one moment is over only if the skip was typed last.
    last = {event.step: event.event for event in events if event.event in (STARTED, SKIPPED)}
    begun = dict.fromkeys(event.step for event in events if event.event == STARTED)
    over = {event.step for event in events if event.event == FINISHED} | {
        step for step in begun if last[step] == SKIPPED}
    depths = _depths([step for step in begun if step in over], after)
    turns = {step: (1 if step in over else 2, depths.get(step, 0), turn) for turn, step in enumerate(begun)}

    def key(event: Event) -> tuple[tuple[int, int, int], bool, int]:
        turn = (3, 0, 0) if event.event == INGRESS else turns.get(event.step, (0, 0, 0))
        return turn, event.event in (FINISHED, PARTLY, BROKEN_OFF), event.row

    return sorted(events, key=key)


def _depths(steps: Sequence[str], after: Mapping[str, Sequence[str]]) -> dict[str, int]:
    """How many of ``steps`` come before each of them at most, along ``after``."""
    depths = dict.fromkeys(steps, 0)
    for _ in steps:  # as many rounds as the longest chain may have links
        for step in steps:
            depths[step] = max([depths[step], *(depths[name] + 1 for name in after.get(step, ())
                                                if name in depths)])
    return depths


def parse_when(value: object, pet_zero: datetime | None) -> datetime:
    """A UTC moment from a UTC time, or from PET as ``h:mm``, ``h:mm:ss`` or minutes since ``pet_zero``.

    Raises `CellFault` for anything else, and for PET without an ``pet_zero``.
    """
    pet = _pet_of(value)
    if pet is None:
        try:
            return parse_moment(value)
        except CellFault as fault:
            problem = str(fault).partition(";")[0]
            raise CellFault(f"{problem}; {_EXAMPLE}") from None
    if pet_zero is None:
        raise CellFault("is PET, but no PET 0 is known here; write a UTC time, or give the plan")
    if not math.isfinite(pet) or abs(pet) > _FARTHEST_PET_MIN:
        raise CellFault(f"is no time of an outing; {_EXAMPLE}")
    return moment_at(pet, pet_zero)


def is_pet(value: object) -> bool:
    """Whether a moment is given as PET, which counts from a PET 0."""
    return _pet_of(value) is not None


def _pet_of(value: object) -> float | None:
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value) if is_number(value) else math.nan
    text = value.strip() if isinstance(value, str) else ""
    return float(text.replace("−", "-")) if _MINUTES.fullmatch(text) else pet_typed(text)
