"""Two plans compared: what moved, which findings came and went, what each leaves in hand.

The two may be plans, or revisions of a scenario; what their inputs say differently is for
`planning_kit.inputs.input_changes`, what a reviewer should look at for `planning_kit.explore.verdict`.
"""

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass
from functools import cached_property
from math import nan
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from planning_kit.explore.verdict import VERDICT_COLUMNS, overall, verdicts
from planning_kit.inputs.faults import ScenarioError, told_together
from planning_kit.inputs.git_revision import scenario_at
from planning_kit.inputs.input_changes import compare_inputs
from planning_kit.inputs.scenario import Scenario, load_any_format
from planning_kit.inputs.shown_text import TextTable, html_text
from planning_kit.inputs.source import steps_within
from planning_kit.inputs.timeline_sheet import Baseline
from planning_kit.judge.all_checks import BETTER, CAME, WENT, WORSE, finding_changes
from planning_kit.judge.findings import RANK
from planning_kit.plan.activities import WAIT, minutes_of
from planning_kit.plan.network import LOGGED, ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan

COMPARE_COLUMNS = ["step", "title", "change", "crew_a", "crew_b", "start_a_min", "start_b_min", "moved_min",
                   "held_by_a", "held_by_b"]


def compare(a: TimedPlan, b: TimedPlan) -> pd.DataFrame:
    """Steps that differ from plan ``a`` to plan ``b``, by start; empty when nothing moved.

    ``change``: ``later``, ``earlier``, ``changed`` (same start; other crew, place, length or holder),
    ``added`` or ``dropped``. Times in PET minutes of each plan's own PET 0; ``moved_min`` is b minus a.
    """
    columns = ["step", "title", "crew", "place", "minutes", "start", "held_by"]
    before, after = (pd.DataFrame(
        [(step.step, step.title, step.crew, step.place, plan.durations[i], plan.starts[i],
          plan.holders.chosen[i].text) for i, step in enumerate(plan.steps)],
        columns=columns).set_index("step") for plan in (a, b))
    both = before.add_suffix("_a").join(after.add_suffix("_b"), how="outer")
    both = both.rename(columns={"start_a": "start_a_min", "start_b": "start_b_min"})
    both["moved_min"] = both["start_b_min"] - both["start_a_min"]
    both["change"] = [_change(row) for row in both.to_dict("records")]
    both["title"] = both["title_b"].fillna(both["title_a"])
    moved = both[both["change"] != ""].reset_index(names="step")
    moved["at"] = moved["start_b_min"].fillna(moved["start_a_min"])
    text = ["crew_a", "crew_b", "held_by_a", "held_by_b"]
    moved[text] = moved[text].fillna("")
    ordered = moved.sort_values(["at", "step"], kind="stable")[COMPARE_COLUMNS]
    return TextTable(ordered.reset_index(drop=True))


_AS_LOGGED = {f"{LOGGED}:start"}


def _change(row: dict[Hashable, Any]) -> str:
    if pd.isna(row["start_a_min"]):
        return "added"
    if pd.isna(row["start_b_min"]):
        return "dropped"
    if row["moved_min"] != 0:
        return "later" if row["moved_min"] > 0 else "earlier"
    names = ["crew", "place", "minutes"]
    if not {row["held_by_a"], row["held_by_b"]} & _AS_LOGGED:  # that it has happened is no change of it
        names.append("held_by")
    same = all(row[f"{name}_a"] == row[f"{name}_b"] for name in names)
    return "" if same else "changed"


BASELINE_COLUMNS = ["step", "title", "change", "crew_then", "crew_now", "start_then_min", "finish_then_min",
                    "start_now_min", "finish_now_min", "moved_min"]


def compare_baseline(plan: TimedPlan, baseline: Baseline) -> pd.DataFrame:
    """The plan against an old sheet: each step of either by start, then the end (of a sheet its last finish).

    ``change``: ``later``, ``earlier`` or ``same`` (by starts, of the end by finishes), ``dropped`` (not in
    the plan) or ``added`` (not on the sheet). A block with steps of its own lasts from the first of them to
    the last. PET minutes; ``moved_min`` is now minus then.
    """
    records = plan.scenario.records
    now = {each.step: [each] for each in records.steps} | steps_within(records)
    known = {each.step for name in baseline for each in now.get(name, ())}
    then = baseline | {each.step: ("", nan, nan, each.title) for each in records.steps
                       if each.step not in known}
    rows = []
    for name, (who, begin, end, title) in then.items():
        spans = [plan.span(each.step) for each in now.get(name, ())]
        start, finish = min((at for at, _ in spans), default=nan), max((at for _, at in spans), default=nan)
        change = "dropped" if not spans else _moved(start - begin) if who else "added"
        crews = " ".join(dict.fromkeys(each.crew for each in now.get(name, ())))
        rows.append((name, title, change, who, crews, begin, end, start, finish, start - begin))
    rows.sort(key=lambda row: row[5] if row[3] else row[7])
    last = max((end for _, _, end, _ in baseline.values()), default=nan)
    rows.append(("", "both inside", _moved(plan.end_min - last), "", "", nan, last, nan, plan.end_min,
                 plan.end_min - last))
    return TextTable(rows, columns=BASELINE_COLUMNS)


def _moved(minutes: float) -> str:
    return "later" if minutes > ROUNDING_MIN else "earlier" if minutes < -ROUNDING_MIN else "same"


FINDING_CHANGES = ["change", "severity", "check", "rule", "about", "crew", "step", "start_min", "message"]
_ORDER = {CAME: 0, WORSE: 1, BETTER: 2, WENT: 3}


def compare_findings(a: TimedPlan, b: TimedPlan) -> pd.DataFrame:
    """Findings that differ from plan ``a`` to plan ``b``: what came first, worst first; empty when none did.

    ``change``: ``came``, ``went``, or ``worse`` and ``better`` for one whose severity changed; the other
    columns are those of the plan that has the finding (b's where both have it). What makes two findings the
    same says `planning_kit.judge.findings.identity`: rule, subject, crew and step, not times and numbers; two
    of one identity are two.
    """
    rows = [{"change": change, **row} for change, row in finding_changes(a, b)]
    table = TextTable(rows, columns=FINDING_CHANGES)
    ranked = table.assign(order=table["change"].map(_ORDER), rank=table["severity"].map(RANK))
    ranked = ranked.sort_values(["order", "rank", "start_min"], kind="stable", na_position="first")
    return ranked[FINDING_CHANGES].reset_index(drop=True)


MARGIN_COLUMNS = ["margin", "crew", "unit", "a", "b", "change", "at_a", "at_b"]

Margin = tuple[tuple[str, str, str], float, str]
"""What it is (margin, crew, unit), its value, and where it is least (a step or a place)."""


def compare_margins(a: TimedPlan, b: TimedPlan) -> pd.DataFrame:
    """The margins of plan ``a`` and of plan ``b`` beside each other; ``change`` is b minus a.

    ``margin``, ``crew`` (empty for the whole outing), ``unit``, ``a``, ``b``, ``change``; ``at_a`` and
    ``at_b``: the step or place where each is least. The end of the outing and each crew member's waiting
    stand with them. NaN where a plan has no such margin (no data, or nothing that depends on it); slack to
    window is inf where no step depends on a window.
    """
    before, after = ({key: (value, at) for key, value, at in _margins(plan)} for plan in (a, b))
    nothing = (float("nan"), "")
    rows = []
    for key in dict.fromkeys([*before, *after]):
        (value_a, at_a), (value_b, at_b) = before.get(key, nothing), after.get(key, nothing)
        change = 0.0 if value_a == value_b else value_b - value_a
        rows.append((*key, value_a, value_b, change, at_a, at_b))
    return TextTable(rows, columns=MARGIN_COLUMNS)


def _margins(plan: TimedPlan) -> Iterator[Margin]:
    limits = plan.scenario.settings.limits
    yield ("outing end", "", "PET min"), plan.end_min, ""
    yield ("to the planned limit", "", "min"), limits.planned_min - plan.end_min, ""
    yield ("to the hard limit", "", "min"), plan.hard_min - plan.end_min, ""
    for name, slack in (("least slack to limit", plan.slack.to_limit),
                        ("least slack to window", plan.slack.to_window)):
        if not np.isnan(slack).all():  # outside, steps that have started have none
            least = int(np.nanargmin(slack))
            yield (name, "", "min"), float(slack[least]), plan.steps[least].step
    for row in plan.suit_summary.to_dict("records"):
        yield (f"{row['consumable']} over its reserve", row["crew"], row["unit"]), float(row["margin"]), ""
    for row in plan.return_summary.to_dict("records"):
        yield (f"way back, {row['case']}", row["crew"], "min"), float(row["margin_min"]), row["place"]
    for crew in plan.travels:
        waits = minutes_of(plan.lanes[crew], WAIT)
        yield ("waiting", crew, "min"), float(waits), ""


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
        return compare_inputs(self.a.checked, self.b.checked)

    @cached_property
    def times(self) -> pd.DataFrame:
        """The steps that moved (see `compare`); empty where a side has no plan."""
        return self._of_plans(compare, COMPARE_COLUMNS)

    @cached_property
    def findings(self) -> pd.DataFrame:
        """Which findings came and went (see `compare_findings`)."""
        return self._of_plans(compare_findings, FINDING_CHANGES)

    @cached_property
    def margins(self) -> pd.DataFrame:
        """The margins beside each other (see `compare_margins`)."""
        return self._of_plans(compare_margins, MARGIN_COLUMNS)

    def _of_plans(self, of: Callable[[TimedPlan, TimedPlan], pd.DataFrame],
                  columns: list[str]) -> pd.DataFrame:
        if self.timed_a is None or self.timed_b is None:
            return TextTable([], columns=columns)
        return of(self.timed_a, self.timed_b)

    @cached_property
    def verdict(self) -> TextTable:
        """For the reviewer, worst first: ``verdict`` (stop, worse, look, better, same), ``about``, ``words``.

        ``stop``: ``b`` cannot be flown so (no plan, the hard limit missed, a new stop finding).
        ``worse`` and ``better`` are judged by limits, findings and margins; ``look`` asks for eyes: what the
        numbers cannot judge.
        """
        upgraded = [name for name, side in (("before", self.a), ("now", self.b)) if side.is_upgraded]
        rows = verdicts(self.timed_a, self.timed_b, self.no_plan, inputs=self.inputs, times=self.times,
                        findings=self.findings, margins=self.margins, upgraded=upgraded)
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
    path from the working directory), a `Scenario`, or a plan (whose PET 0 then counts). A side of format 1 is
    upgraded in memory, and the verdict says so. A side that is readable but has no plan is a verdict, not an
    error. Raises `ScenarioError` for a side that cannot be read.
    """
    (scenario_a, timed_a, why_a), (scenario_b, timed_b, why_b) = _timed(a), _timed(b)
    return TimedComparison(scenario_a, scenario_b, timed_a, timed_b, why_b or why_a)


def _timed(given: Given) -> tuple[Scenario, TimedPlan | None, str]:
    if isinstance(given, TimedPlan):
        return given.scenario, given, ""
    scenario = given if isinstance(given, Scenario) else _read(given)
    scenario.stop_if_happened("compare")
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
            return load_any_format(Path(given))
        return scenario_at(folder, revision)
    except ScenarioError as fault:
        raise ScenarioError(fault.problems.assign(problem=[  # which of the two sides it is
            f"{problem} (in {given})" for problem in fault.problems["problem"]])) from None
