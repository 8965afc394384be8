"""When each inhibit must be in place and when it may be lifted, for its owner."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import pandas as pd

from planning_kit.inputs.records import Inhibit
from planning_kit.inputs.text_table import ShownTable
from planning_kit.inputs.times import gmt_label, moment_at, pet_label

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True)
class Hold:
    """One inhibit in force from ``set_by_min`` to ``lift_after_min`` (PET minutes).

    ``overlaps`` names the inhibits in force at some moment of it. When the last step finishes before the
    first starts, ``hold_min`` may be negative.
    """

    inhibit: Inhibit
    set_by_min: float
    lift_after_min: float
    overlaps: tuple[str, ...]

    @property
    def hold_min(self) -> float:
        """How long it must be held, lead included."""
        return self.lift_after_min - self.set_by_min


def inhibit_holds(plan: TimedPlan) -> tuple[Hold, ...]:
    """Every inhibit with its times, in the order of the table."""
    inhibits = plan.scenario.records.inhibits
    spans = [_span(plan, inhibit) for inhibit in inhibits]
    return tuple(
        Hold(inhibit, begin, end, tuple(
            other.inhibit for other, (other_begin, other_end) in zip(inhibits, spans, strict=True)
            if other is not inhibit and other_begin < end and begin < other_end
        ))
        for inhibit, (begin, end) in zip(inhibits, spans, strict=True)
    )


def _span(plan: TimedPlan, inhibit: Inhibit) -> tuple[float, float]:
    """From the start of ``from_step`` less the lead to the finish of ``until_step``."""
    begin = float(plan.starts[plan.position(inhibit.from_step)]) - inhibit.lead_min
    return begin, float(plan.finishes[plan.position(inhibit.until_step)])


INHIBIT_COLUMNS = ["inhibit", "title", "owner", "set_by_min", "lift_after_min", "hold_min", "set_by",
                   "set_by_gmt", "lift_after", "lift_after_gmt", "from_step", "until_step", "overlaps",
                   "reason"]


def inhibits_table(holds: Sequence[Hold], egress: datetime) -> pd.DataFrame:
    """A row an inhibit, by the time it must stand; times as PET minutes, PET labels and GMT labels."""
    rows = [
        (hold.inhibit.inhibit, hold.inhibit.title, hold.inhibit.owner, hold.set_by_min, hold.lift_after_min,
         hold.hold_min, *_labels(hold.set_by_min, egress), *_labels(hold.lift_after_min, egress),
         hold.inhibit.from_step, hold.inhibit.until_step, " ".join(hold.overlaps), hold.inhibit.reason)
        for hold in sorted(holds, key=lambda hold: hold.set_by_min)
    ]
    return ShownTable(rows, columns=INHIBIT_COLUMNS)


def _labels(pet_min: float, egress: datetime) -> tuple[str, str]:
    return pet_label(pet_min), gmt_label(moment_at(pet_min, egress))
