"""What a plan says of itself: tables and plain values under their names, the records under ``records``."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from types import FunctionType
from typing import Generic, TypeVar

import pandas as pd

from planning_kit.changes.change import changes_table
from planning_kit.explore.tightest import tightest, tightest_exact, tightest_margins, told_summary
from planning_kit.judge.acceptances import told_findings
from planning_kit.plan.timed import Face, TimedPlan

Said = TypeVar("Said")


class Shown(Generic[Said]):
    """What the plan within says of itself, in the same words."""

    def __init__(self, ask: Callable[[TimedPlan], Said]) -> None:
        """``ask`` gives it of the plan within: a function with its words, or a lambda that names a part."""
        self._ask = ask
        # By the part that the lambda asks for: records have another name there than their table has here.
        part = getattr(TimedPlan, ask.__code__.co_names[-1], None) if ask.__doc__ is None else ask
        if isinstance(part, property | cached_property | FunctionType):
            self.__doc__ = part.__doc__

    def __get__(self, face: Face | None, owner: type) -> Said:
        if face is None:
            raise AttributeError("is asked of a plan, not of its class")
        return self._ask(face.timed)


@dataclass(frozen=True, eq=False)
class PlanRecords(Face):
    """What the tables of a plan are made of: ``plan.records.links`` gives the records of ``plan.links``."""

    timeline = Shown(lambda plan: plan.lanes)
    suits = Shown(lambda plan: plan.suit_histories)
    returns = Shown(lambda plan: plan.return_times)
    inhibits = Shown(lambda plan: plan.inhibit_holds)
    links = Shown(lambda plan: plan.link_covers)
    clocks = Shown(lambda plan: plan.gap_clocks)
    custody = Shown(lambda plan: plan.tracked_custody)
    tethers = Shown(lambda plan: plan.tracked_tethers)
    exposures = Shown(lambda plan: plan.tracked_exposures)
    changes = Shown(lambda plan: plan.history)
    tightest = Shown(tightest_margins)


@dataclass(frozen=True, eq=False, repr=False)
class ShownPlan(Face):
    """The values and tables of a plan.

    ``timed`` is the plan itself, as the rooms give it to each other: what only they need is asked of it.
    """

    # Plain values
    scenario = Shown(lambda plan: plan.scenario)
    pet_zero = Shown(lambda plan: plan.pet_zero)
    end_min = Shown(lambda plan: plan.end_min)
    now_min = Shown(lambda plan: plan.now_min)
    name = Shown(lambda plan: plan.name)
    light = Shown(lambda plan: plan.light)
    # Tables
    findings = Shown(told_findings)
    timeline = Shown(lambda plan: plan.timeline)
    summary = Shown(told_summary)
    tightest = Shown(tightest)
    tightest_exact = Shown(tightest_exact)
    handovers = Shown(lambda plan: plan.handovers)
    suits = Shown(lambda plan: plan.suits)
    suit_summary = Shown(lambda plan: plan.suit_summary)
    returns = Shown(lambda plan: plan.returns)
    return_summary = Shown(lambda plan: plan.return_summary)
    inhibits = Shown(lambda plan: plan.inhibits)
    links = Shown(lambda plan: plan.links)
    clocks = Shown(lambda plan: plan.clocks)
    cautions_on_the_way = Shown(lambda plan: plan.cautions_on_the_way)
    custody = Shown(lambda plan: plan.custody)
    kit_list = Shown(lambda plan: plan.kit_list)
    tethers = Shown(lambda plan: plan.tethers)
    exposures = Shown(lambda plan: plan.exposures)
    # Asked with arguments
    delay_curve = Shown(lambda plan: plan.delay_curve)
    explain = Shown(lambda plan: plan.explain)

    def __repr__(self) -> str:
        return repr(self.timed).replace("TimedPlan", "Plan", 1)

    @property
    def records(self) -> PlanRecords:
        """The records that the tables are made of, under the tables' names."""
        return PlanRecords(self.timed)

    @property
    def changes(self) -> pd.DataFrame:
        """What the what-ifs behind this plan changed, in order: ``name``, ``kind``, ``change`` in words.

        Rows of the kind ``note`` say what a change brought with it: gaps and inhibits that went with a
        dropped step, a PET 0 outside the scenario's own range. Empty for a plan as it was loaded.
        """
        return changes_table(self.timed.history)
