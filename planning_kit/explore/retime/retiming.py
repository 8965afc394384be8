"""Re-timing: the plan from now on, given what was logged. It always returns.

What has happened is written into the scenario (`happened`), its starts are fixed (`planning_kit.plan.past`)
and the one timing places the rest, not before now, in the real windows. A group that the past has torn apart
is let go; a step that then finds no window or no time is left out with all that waits for it, and the rest is
timed anew. Findings say all of it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TypeVar

import numpy as np

from planning_kit.explore.retime.effort import with_logged_effort
from planning_kit.explore.retime.happened import Happened, positions, without, write_down
from planning_kit.explore.retime.log_findings import log_findings, untouched_items
from planning_kit.explore.retime.whereabouts import Whereabouts, from_here
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.log import Actuals, read_actuals
from planning_kit.inputs.log_format import parse_when
from planning_kit.inputs.log_state import states_of
from planning_kit.inputs.log_steps import States
from planning_kit.inputs.times import moment_at, pet_label, pet_min
from planning_kit.judge.findings import Finding
from planning_kit.plan.almanac import Almanac, almanac_for
from planning_kit.plan.build import build_network
from planning_kit.plan.network import AFTER, MIN_GAP, Network, on_grid
from planning_kit.plan.no_plan import is_first_cause, stop_if_circular, why_unplaced
from planning_kit.plan.past import Broken, broken_rules, ended_at, with_past
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import earliest_starts

P = TypeVar("P", bound=TimedPlan)
_LONGEST_MIN = 1440.0  # nobody is outside for a day


@dataclass(frozen=True, eq=False)
class Outside:
    """What a re-timed plan knows of the outing so far.

    ``planned`` is the plan that the crew took outside, with which all is compared; ``base`` is what was
    re-timed: the same, or what a decision or a what-if has made of it. ``here``: where that found the two.
    ``untouched``: items that only skipped steps would have touched.
    """

    planned: TimedPlan
    base: TimedPlan
    actuals: Actuals
    states: States
    now_min: float
    happened: Happened
    effort: dict[str, float]
    findings: tuple[Finding, ...]
    here: tuple[Whereabouts, ...] = ()
    untouched: frozenset[str] = frozenset()


def retime_plan(base: P, actuals: object, now: object = None,
                here: tuple[Whereabouts, ...] = ()) -> tuple[P, Outside]:
    """The plan from ``now`` on (PET minutes, ``h:mm`` or UTC; the last event if not given).

    ``here``: where a decision finds the two (see `planning_kit.explore.retime.whereabouts`).
    Raises `ScenarioError` with the row of every event that cannot be; otherwise it always returns a plan.
    """
    faults = Faults()
    read = read_actuals(actuals, base.egress, faults)
    egress = read.egress or base.egress
    now_min = None if now is None else moment_asked(now, egress, "retime", "now_min")
    clock = None if now_min is None else moment_at(now_min, egress)
    states = states_of(base.scenario.records, read.events, egress, faults, clock)
    faults.stop_if_any()
    now_min = float(on_grid(states.last_min if now_min is None else now_min))
    if now_min > max(base.horizon_min, _LONGEST_MIN):
        raise ScenarioError.single(f"is PET {pet_label(now_min)}: is the date right?", table="retime",
                                   column="now_min", value=now)
    almanac = base.almanac if egress == base.egress else (
        almanac_for(base.scenario.records, base.scenario.elements, egress))
    placed = _placed(base, write_down(base, states, egress, now_min), almanac, now_min, here,
                     states.inside_min)
    plan = replace(base, scenario=placed.happened.scenario, egress=egress, almanac=almanac,
                   network=placed.network, durations=placed.durations, starts=placed.starts)
    plan, effort = with_logged_effort(plan, states)
    findings = log_findings(plan, base, states, placed.happened, placed.broken, effort, now_min,
                            read.events)
    return plan, Outside(base, base, read, states, now_min, placed.happened, effort, tuple(findings),
                         here, untouched_items(plan, base, placed.happened))


def moment_asked(when: object, egress: datetime, table: str, column: str) -> float:
    """PET minutes of a moment given as PET minutes, ``h:mm`` or UTC; `ScenarioError` for anything else."""
    try:
        moment = parse_when(when, egress)
        return float(when) if isinstance(when, int | float) else pet_min(moment, egress)
    except CellFault as fault:
        raise ScenarioError.single(str(fault), table=table, column=column, value=when) from None


@dataclass(frozen=True)
class _Placed:
    happened: Happened
    network: Network
    durations: np.ndarray
    starts: np.ndarray
    broken: tuple[Broken, ...]


def _placed(base: TimedPlan, happened: Happened, almanac: Almanac, now_min: float,
            here: tuple[Whereabouts, ...], inside_min: float | None) -> _Placed:
    """Time what is left, leaving out what cannot be placed: each round leaves out at least one step."""
    released: frozenset[str] = frozenset()
    while True:
        whole = build_network(happened.scenario.records, almanac, base.travels)
        fixed, durations = positions(happened)
        network = with_past(whole, fixed, durations, now_min, released)
        if inside_min is not None:
            network = ended_at(network, fixed, durations, inside_min)
        if here:
            records = happened.scenario.records
            network = from_here(network, fixed, durations, records.steps, base.travels,
                                records.settings.airlock, here)
        if here:
            stop_if_circular(network, durations)  # a decision can be nonsense; what was logged has happened
        starts = earliest_starts(network, durations)
        lost = [step for step in range(len(starts)) if not np.isfinite(starts[step])]
        if not lost:
            broken = tuple(broken_rules(whole, network.fixed, starts, durations, released))
            return _Placed(happened, network, durations, starts, broken)
        torn = frozenset(_torn_groups(whole, network, lost)) - released
        if torn:
            released |= torn
        else:
            happened = without(happened, _lost_steps(network, durations, starts, lost))


def _torn_groups(whole: Network, network: Network, lost: list[int]) -> Iterator[str]:
    """Groups of which a part has happened and the rest finds no place."""
    for group in whole.groups:
        if network.fixed & set(group.members) and set(lost) & set(group.members):
            yield group.name


def _lost_steps(network: Network, durations: np.ndarray, starts: np.ndarray,
                lost: list[int]) -> dict[str, str]:
    """Steps that cannot be placed and all that would be senseless without them, each with its reason."""
    causes = [step for step in lost if is_first_cause(network, durations, starts, step)] or lost
    why = {step: why_unplaced(network, durations, starts, step)[1] for step in causes}
    waiting = list(why)
    while waiting:
        cause = waiting.pop()
        for step in _needs(network, cause) - network.fixed - set(why):
            why[step] = f"makes no sense without {network.steps[cause]}, which cannot be placed"
            waiting.append(step)
    return {network.steps[step]: why[step] for step in sorted(why)}


def _needs(network: Network, cause: int) -> set[int]:
    """What waits for a step by rule (not merely by order of work) or shares its window."""
    after = {bound.after for bound in network.bounds
             if bound.before == cause and bound.kind in (AFTER, MIN_GAP)}
    shared = {step for group in network.groups if cause in group.members for step in group.members}
    return after | shared
