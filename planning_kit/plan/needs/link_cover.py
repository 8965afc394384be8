"""How much of each step that needs a link is covered by a relay."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from planning_kit.inputs.records import Step
from planning_kit.inputs.text_table import ShownTable
from planning_kit.inputs.times import pet_label
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.sky.windows import Windows, complement

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True)
class LinkCover:
    """One step that needs a link. PET minutes; ``share`` of it covered by at least one relay, 0 to 1.

    ``gaps`` are the stretches without a relay. ``next_cover_min`` is the earliest start from the plan's own
    on at which the whole step is covered; NaN where there is none before the horizon.
    """

    step: Step
    start_min: float
    finish_min: float
    share: float
    gaps: tuple[tuple[float, float], ...]
    next_cover_min: float


def link_covers(plan: TimedPlan) -> tuple[LinkCover, ...]:
    """The steps with ``link`` yes or wait, in row order; none where the scenario has no relays."""
    if not plan.links:
        return ()
    covered = plan.almanac.any_link
    return tuple(_cover(step, float(start), float(finish), covered)
                 for step, start, finish in zip(plan.steps, plan.starts, plan.finishes, strict=True)
                 if step.link in ("yes", "wait"))


def _cover(step: Step, start: float, finish: float, covered: Windows) -> LinkCover:
    gaps = _gaps(start, finish, covered)
    length = finish - start
    lost = sum(end - begin for begin, end in gaps)
    return LinkCover(step, start, finish, 1.0 - lost / length if length > 0 else 1.0, gaps,
                     _next_cover(start, length, covered))


def _gaps(start: float, finish: float, covered: Windows) -> tuple[tuple[float, float], ...]:
    """What [start, finish) lacks of the windows."""
    return tuple((begin, end) for begin, end in complement(covered, (start, finish)).tolist()
                 if end - begin > ROUNDING_MIN)


def _next_cover(start: float, length: float, covered: Windows) -> float:
    for begin, end in covered.tolist():
        earliest = max(begin, start)
        if end - earliest >= length - ROUNDING_MIN:
            return float(earliest)
    return float("nan")


LINK_COLUMNS = ["step", "crew", "start_min", "share", "gaps", "next_cover_min"]


def links_table(covers: Sequence[LinkCover]) -> pd.DataFrame:
    """A row a step; ``gaps`` in words, as PET labels."""
    rows = [(cover.step.step, cover.step.crew, cover.start_min, cover.share, gaps_text(cover.gaps),
             cover.next_cover_min) for cover in covers]
    return ShownTable(rows, columns=LINK_COLUMNS)


def gaps_text(gaps: Sequence[tuple[float, float]]) -> str:
    """Gaps as PET labels: ``0:39 to 1:23``, joined by commas."""
    return ", ".join(f"{pet_label(begin)} to {pet_label(end)}" for begin, end in gaps)
