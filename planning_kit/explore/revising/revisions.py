"""What differs from one scenario or plan to another, and a plain list of it for the reviewer."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import pandas as pd

from planning_kit.explore.comparing.compare import COMPARE_COLUMNS, compare
from planning_kit.explore.comparing.compare_findings import FINDING_CHANGES, compare_findings
from planning_kit.explore.comparing.compare_margins import MARGIN_COLUMNS, compare_margins
from planning_kit.explore.revising.input_changes import compare_inputs
from planning_kit.explore.revising.verdict import VERDICT_COLUMNS, overall, verdicts
from planning_kit.inputs.faults import ScenarioError, told_together
from planning_kit.inputs.git_revision import scenario_at
from planning_kit.inputs.scenario import Scenario, load_scenario
from planning_kit.inputs.shown_text import TextTable, html_text
from planning_kit.plan.timed import TimedPlan

Given = str | Path | Scenario | TimedPlan


@dataclass(frozen=True, eq=False, repr=False)
class TimedComparison:
    """Two scenarios and their plans beside each other, from ``a`` to ``b``.

    ``timed_a`` and ``timed_b`` are None where a side has no plan; ``no_plan`` then says why (of ``b``, where
    neither has one).
    """

    a: Scenario
    b: Scenario
    timed_a: TimedPlan | None
    timed_b: TimedPlan | None
    no_plan: str = ""

    @cached_property
    def inputs(self) -> pd.DataFrame:
        """What the files say differently, by table and row, in words (see `compare_inputs`)."""
        return compare_inputs(self.a, self.b)

    @cached_property
    def times(self) -> pd.DataFrame:
        """The steps that moved (see `planning_kit.explore.comparing`); empty where a side has no plan."""
        if self.timed_a is None or self.timed_b is None:
            return TextTable([], columns=COMPARE_COLUMNS)
        return compare(self.timed_a, self.timed_b)

    @cached_property
    def findings(self) -> pd.DataFrame:
        """Which findings came and went (see `compare_findings`)."""
        if self.timed_a is None or self.timed_b is None:
            return TextTable([], columns=FINDING_CHANGES)
        return compare_findings(self.timed_a, self.timed_b)

    @cached_property
    def margins(self) -> pd.DataFrame:
        """The margins beside each other (see `compare_margins`)."""
        if self.timed_a is None or self.timed_b is None:
            return TextTable([], columns=MARGIN_COLUMNS)
        return compare_margins(self.timed_a, self.timed_b)

    @cached_property
    def verdict(self) -> TextTable:
        """For the reviewer, worst first: ``verdict`` (stop, worse, look, better, same), ``about``, ``words``.

        ``stop``: ``b`` cannot be flown so (no plan, the hard limit missed, a new stop finding).
        ``worse`` and ``better`` are judged by limits, findings and margins; ``look`` asks for eyes: what the
        numbers cannot judge.
        """
        rows = verdicts(self.timed_a, self.timed_b, self.no_plan, inputs=self.inputs, times=self.times,
                        findings=self.findings, margins=self.margins)
        return TextTable(rows, columns=VERDICT_COLUMNS)

    @property
    def overall(self) -> str:
        """The verdict in one line."""
        return overall(self.verdict)

    def __repr__(self) -> str:
        return f"<Comparison {self.a.digest[:12]} to {self.b.digest[:12]}: {self.overall}>"

    def _repr_html_(self) -> str:
        sides = f"From {self.a.digest[:12]} to {self.b.digest[:12]}: "
        return f"<p>{sides}<strong>{html_text(self.overall)}</strong></p>{self.verdict._repr_html_()}"


def compare_revisions(a: Given, b: Given) -> TimedComparison:
    """Compare two scenarios or plans: ``a`` the earlier, ``b`` the later.

    Each is a folder, a git revision of a folder written as git writes it (``"HEAD~1:scenarios/mine"``, the
    path from the working directory), a `Scenario`, or a plan (whose egress then counts). A side that is
    readable but has no plan is a verdict, not an error. Raises `ScenarioError` for a side that cannot be
    read.
    """
    (scenario_a, timed_a, why_a), (scenario_b, timed_b, why_b) = _timed(a), _timed(b)
    return TimedComparison(scenario_a, scenario_b, timed_a, timed_b, why_b or why_a)


def _timed(given: Given) -> tuple[Scenario, TimedPlan | None, str]:
    if isinstance(given, TimedPlan):
        return given.scenario, given, ""
    scenario = given if isinstance(given, Scenario) else _read(given)
    try:
        return scenario, TimedPlan.of(scenario), ""
    except ScenarioError as fault:
        return scenario, None, told_together(fault.problems)


def _read(given: str | Path) -> Scenario:
    if not isinstance(given, str | Path):
        raise ScenarioError.single("must be a folder, 'REVISION:FOLDER', a scenario or a plan",
                                   value=type(given).__name__)
    if not str(given).strip():
        raise ScenarioError.single("is empty; give a folder or 'REVISION:FOLDER'", value=given)
    revision, colon, folder = str(given).partition(":")
    try:
        if isinstance(given, Path) or not colon or Path(given).is_dir():
            return load_scenario(given)
        return scenario_at(folder, revision)
    except ScenarioError as fault:
        raise ScenarioError(fault.problems.assign(problem=[  # which of the two sides it is
            f"{problem} (in {given})" for problem in fault.problems["problem"]])) from None
