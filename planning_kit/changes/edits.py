"""Edits of a scenario that a planner makes all day, each giving a new, validated scenario."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario, as_scenario

MINUTES = ["minutes_low", "minutes_likely", "minutes_high"]
_DIGITS = 9  # of a minute: hides what binary fractions leave behind, and keeps what a planner typed


def move_step(scenario: Scenario, step: str, *, after: str) -> Scenario:
    """The scenario with one row of ``steps.csv`` moved to just behind the row of ``after``.

    The row order is each crew member's order of work. Raises `ScenarioError` for a step that there is not,
    or for ``after`` the step itself.
    """
    steps = as_scenario(scenario).steps
    known = tuple(steps["step"])
    for name in (step, after):
        if not isinstance(name, str) or name not in known:
            raise ScenarioError.single(f"there is no such step{did_you_mean(str(name), known)}",
                                       table="steps", column="step", value=name)
    if step == after:
        raise ScenarioError.single("a step cannot follow itself", table="steps", column="step", value=step)
    moved, others = steps[steps["step"] == step], steps[steps["step"] != step]
    cut = list(others["step"]).index(after) + 1
    ordered = pd.concat([others[:cut], moved, others[cut:]], ignore_index=True)
    return scenario.with_table("steps", ordered)


def retime_steps(scenario: Scenario, factors: Mapping[str, float],
                 added_min: Mapping[str, float]) -> Scenario:
    """The scenario with durations of steps multiplied by a factor, or with minutes added (or taken).

    All three estimates change alike, so that the spread of a step scales with a factor and stays with added
    minutes; none falls below 0. Raises `ScenarioError` where a likely duration would.
    """
    steps = scenario.steps
    factor = steps["step"].map(dict(factors)).fillna(1.0).astype(float)
    added = steps["step"].map(dict(added_min)).fillna(0.0).astype(float)
    for column in MINUTES:
        changed = (steps[column] * factor + added).round(_DIGITS)
        if column != "minutes_likely":
            changed = changed.clip(lower=0.0)
        touched = (factor != 1.0) | (added != 0.0)
        steps[column] = changed.where(touched, steps[column])
    return scenario.with_table("steps", steps)


def relax_gap(scenario: Scenario, ends: str, changes: Mapping[str, float]) -> Scenario:
    """The scenario with ``min_gap`` or ``max_gap`` (minutes) set anew in all rows between the same ends."""
    gaps = scenario.gaps
    rows = [gap.ends == ends for gap in scenario.records.gaps]
    for column, minutes in changes.items():
        gaps.loc[rows, column] = round(float(minutes), _DIGITS)
    return scenario.with_table("gaps", gaps)


def close_routes(scenario: Scenario, pairs: set[frozenset[str]]) -> Scenario:
    """The scenario without the routes between the two places of each pair.

    Raises `ScenarioError` when a place of work can then no longer be reached.
    """
    routes = scenario.routes
    ends = zip(routes["from_place"], routes["to_place"], strict=True)
    closed = [frozenset(pair) in pairs for pair in ends]
    return scenario.with_table("routes", routes[[not is_closed for is_closed in closed]])


def set_tethers(scenario: Scenario, tether_m: Mapping[str, float]) -> Scenario:
    """The scenario with other tether lengths, metres by crew member."""
    crew = scenario.crew
    crew["tether_m"] = [tether_m.get(name, before)
                        for name, before in zip(crew["crew"], crew["tether_m"], strict=True)]
    return scenario.with_table("crew", crew)
