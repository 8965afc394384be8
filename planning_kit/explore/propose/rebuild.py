"""From a choice back to a scenario: rows in the new order, and rules where the timing would not keep it."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise

import pandas as pd

from planning_kit.explore.editing.dropping import drop_steps
from planning_kit.explore.editing.swapping import swap_roles
from planning_kit.explore.propose.choice import Choice
from planning_kit.explore.propose.model import Rule
from planning_kit.explore.propose.ticks import minutes_of
from planning_kit.inputs.records import INSIDE
from planning_kit.inputs.scenario import Scenario
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True)
class Rebuilt:
    """The scenario of a choice with its plan, the rules that had to be written down, and notes in words."""

    scenario: Scenario
    plan: TimedPlan
    written: tuple[Rule, ...]
    notes: tuple[str, ...]


def rebuild(scenario: Scenario, choice: Choice) -> Rebuilt:
    """Make the scenario of a choice and time it.

    Custody, room and inhibits never delay a step, so where the earliest plan of the new order would break
    what the solver kept, the order is written down as ``after`` or as a gap: only those rules, one round at
    a time. Raises `ScenarioError` where the result cannot be timed.
    """
    gone = [step.step for step in scenario.records.steps if step.task in choice.dropped]
    changed, notes = drop_steps(scenario, gone, choice.dropped) if gone else (scenario, ())
    if choice.swapped:
        changed = swap_roles(changed, choice.swapped)
    if gone:
        changed, left = _let_untouched_stay(changed, scenario)
        notes += left
    changed = _in_order(changed, choice.lanes)
    if choice.egress != scenario.settings.egress:
        changed = changed.with_settings({"egress": choice.egress.strftime("%Y-%m-%dT%H:%M:%SZ")})
    plan = TimedPlan.of(changed)
    written: tuple[Rule, ...] = ()
    while broken := [rule for rule in choice.rules if rule not in written and is_broken(plan, rule)]:
        written += tuple(broken)
        changed = with_waits(changed, map(gap_row, broken))
        plan = TimedPlan.of(changed)
    return Rebuilt(changed, plan, written, notes)


def _in_order(scenario: Scenario, lanes: Mapping[str, Iterable[str]]) -> Scenario:
    """Rows so that every lane has its order; else as near to the present rows as can be."""
    steps = scenario.steps
    row = {step: number for number, step in enumerate(steps["step"])}
    waits_for: dict[str, set[str]] = {step: set() for step in row}
    followers: dict[str, list[str]] = {step: [] for step in row}
    for lane in lanes.values():
        for before, after in pairwise(lane):
            waits_for[after].add(before)
            followers[before].append(after)
    ready = [(row[step], step) for step, before in waits_for.items() if not before]
    heapq.heapify(ready)
    order = []
    while ready:
        _, step = heapq.heappop(ready)
        order.append(row[step])
        for after in followers[step]:
            waits_for[after].discard(step)
            if not waits_for[after]:
                heapq.heappush(ready, (row[after], after))
    if order == sorted(order):
        return scenario
    return scenario.with_table("steps", steps.iloc[list(dict.fromkeys(order))].reset_index(drop=True))


def _let_untouched_stay(changed: Scenario, before: Scenario) -> tuple[Scenario, tuple[str, ...]]:
    """Items that only dropped tasks touched stay where they are: ``end_at`` is emptied, and it is told."""
    touched = {name for step in changed.records.steps for name in (
        *step.uses, step.foothold, *(move.item for move in (*step.takes, *step.leaves)))}
    was_touched = {name for step in before.records.steps for name in (
        *step.uses, step.foothold, *(move.item for move in (*step.takes, *step.leaves)))}
    inside = {INSIDE, before.settings.airlock, *(crew.crew for crew in before.records.crew)}
    stay = [item.item for item in before.records.hardware
            if item.item in was_touched - touched and item.end_at and item.at != item.end_at
            and not (item.end_at == INSIDE and item.at in inside)]
    if not stay:
        return changed, ()
    hardware = changed.hardware
    hardware["end_at"] = hardware["end_at"].where(~hardware["item"].isin(stay), "")
    return changed.with_table("hardware", hardware), (
        f"{', '.join(stay)} stay where they are: their end_at is emptied",)


def is_broken(plan: TimedPlan, rule: Rule) -> bool:
    """Whether a plan does not keep a rule; one about steps that it does not hold is kept."""
    names = plan.network.steps
    if rule.first not in names or rule.then not in names:
        return False
    ends = {"start": plan.starts, "finish": plan.finishes}
    gap = ends[rule.then_at][plan.position(rule.then)] - ends[rule.first_at][plan.position(rule.first)]
    return bool(gap < minutes_of(rule.gap) - ROUNDING_MIN)


def is_after(rule: Rule) -> bool:
    """Whether a rule can be written as ``after``."""
    return rule.gap == 0 and (rule.first_at, rule.then_at) == ("finish", "start")


def with_waits(scenario: Scenario, waits: Iterable[Mapping[str, object]]) -> Scenario:
    """The scenario with rows of ``gaps.csv`` added: as ``after`` where they say no more than that."""
    steps, gaps, rows = scenario.steps, scenario.gaps, []
    for row in waits:
        if (row["min_gap"], row["first_at"], row["then_at"]) == (0, "finish", "start"):
            here = steps["step"] == row["then_step"]
            steps.loc[here, "after"] = (steps.loc[here, "after"] + f" {row['first_step']}").str.strip()
        else:
            rows.append(row)
    changed = scenario.with_table("steps", steps)
    if rows:
        table = pd.concat([gaps.astype(object), pd.DataFrame(rows, dtype=object)], ignore_index=True)
        changed = changed.with_table("gaps", table.fillna(""))
    return changed


def gap_row(rule: Rule) -> dict[str, object]:
    """A row of ``gaps.csv``: a rule against the order of its steps is a greatest gap the other way."""
    minutes = minutes_of(rule.gap)
    return {"first_step": rule.first, "then_step": rule.then, "min_gap": round(minutes, 6), "max_gap": "",
            "first_at": rule.first_at, "then_at": rule.then_at, "reason": rule.why}
