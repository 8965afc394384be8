"""Re-timing: the plan from now on, given what was logged. It always returns.

What has happened is written into the scenario (`log_as_scenario`), its starts are fixed
(`planning_kit.plan.past`) and the one timing places the rest, not before now, in the real windows. A group
that the past has torn apart is let go; a step that then finds no window or no time is left out with all
that waits for it, and the rest is timed anew. Findings say all of it.

Suits are corrected by what was really used. A metabolic rate is logged as the mean since PET 0. Its ratio
to the mean that the re-timed plan assumes over the same minutes multiplies the crew member's
``exertion_factor``: what was used until then is then just what was logged, and the rest of the outing is
assumed as much harder, or easier, than planned. Assumption: who worked harder so far goes on so. Neglected:
that the ratio may differ by kind of work; use before PET 0 is scaled too.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from planning_kit.explore.retime.log_as_scenario import positions, without, write_down
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.log import Actuals, read_actuals
from planning_kit.inputs.log_format import LOG, parse_when
from planning_kit.inputs.log_state import States, Suited, states_of
from planning_kit.inputs.records import Records
from planning_kit.inputs.times import moment_at, pet_label, pet_min
from planning_kit.plan.build import build_network
from planning_kit.plan.late import planned_starts
from planning_kit.plan.network import AFTER, MIN_GAP, Network, on_grid
from planning_kit.plan.no_plan import is_first_cause, stop_if_circular, why_unplaced
from planning_kit.plan.past import Broken, Happened, Whereabouts, broken_rules, ended_at, from_here, with_past
from planning_kit.plan.plan_times import Almanac, almanac_for
from planning_kit.plan.suits import SuitHistory
from planning_kit.plan.timed import Outside, TimedPlan

_OF_TIMES_ONLY = ("end_min", "holders", "bare_lanes", "passages")  # not slack: limits may rest on suits
_MOST_RATIO = 5.0  # beyond this a typing error is likelier than the work
_LONGEST_MIN = 1440.0  # nobody is outside for a day


def with_logged_effort(plan: TimedPlan, states: States) -> tuple[TimedPlan, dict[str, float]]:
    """The plan with corrected exertion factors, and by crew member logged over assumed metabolic rate.

    Raises `ScenarioError` for a rate more than five times what was assumed, or less than a fifth.
    """
    ratios: dict[str, float] = {}
    for history in plan.suit_histories if states.suited else ():
        logged = states.suited.get(history.crew)
        assumed = _mean_w(history, logged.at_min) if logged else float("nan")
        if logged and assumed > 0:
            ratios[history.crew] = _ratio(logged, assumed)
    if not ratios:
        return plan, {}
    crew = plan.scenario.crew
    factor = crew["exertion_factor"].fillna(1.0)
    crew["exertion_factor"] = factor * crew["crew"].map(ratios).fillna(1.0)
    return keeping_times(plan, replace(plan, scenario=plan.scenario.with_table("crew", crew))), ratios


def keeping_times(plan: TimedPlan, changed: TimedPlan) -> TimedPlan:
    """``changed``, with what is known already of the same times: effort moves nobody."""
    known = vars(plan)
    vars(changed).update({name: known[name] for name in _OF_TIMES_ONLY if name in known})
    return changed


def _mean_w(history: SuitHistory, until_min: float) -> float:
    """Mean metabolic rate assumed from PET 0 to ``until_min``, W."""
    minutes = np.diff(np.clip(history.at_min, 0.0, until_min))
    return float((history.metabolic_w * minutes).sum() / minutes.sum()) if minutes.sum() > 0 else float("nan")


def _ratio(logged: Suited, assumed: float) -> float:
    ratio = logged.metabolic_w / assumed
    if not 1 / _MOST_RATIO <= ratio <= _MOST_RATIO:
        raise ScenarioError.single(
            f"{logged.crew} was assumed at {assumed:.0f} W until then: a rate so far from it is taken for a "
            "typing error; log a correct", table=LOG.name, column="metabolic_w", value=logged.metabolic_w)
    return ratio


def retime(plan: TimedPlan, actuals: object, now: object = None) -> TimedPlan:
    """The plan that the crew took outside re-timed by a log; ``plan`` is it, or was made from it so."""
    if plan.outside is None:
        return retime_plan(plan, actuals, now)
    return retime_plan(plan.outside.base, actuals, now, planned=plan.outside.planned)


def re_timed_as(plan: TimedPlan, changed: TimedPlan, actuals: Actuals | None = None) -> TimedPlan:
    """``changed``, a variant of the plan outside, re-timed at the now of ``plan`` by its log or ``actuals``.

    It is ``changed`` itself where ``plan`` is not re-timed. What the log says of steps that the variant has
    not is passed over.
    """
    if plan.outside is None:
        return changed
    if actuals is None:
        known, actuals = set(changed.network.steps), plan.outside.actuals
        told = tuple(event for event in actuals.events if not event.step or event.step in known)
        actuals = replace(actuals, events=told)
    return retime_plan(changed, actuals, plan.now_min, plan.whereabouts, plan.outside.planned)


def retime_plan(base: TimedPlan, actuals: object, now: object = None, here: tuple[Whereabouts, ...] = (),
                planned: TimedPlan | None = None) -> TimedPlan:
    """The plan from ``now`` on (PET minutes, ``h:mm`` or UTC; the last event if not given).

    ``here``: where a decision finds the two (see `planning_kit.plan.past`); ``planned``: with which
    the outing is compared, if not with ``base``. Raises `ScenarioError` with the row of every event that
    cannot be; otherwise it always returns a plan.
    """
    faults = Faults()
    read = read_actuals(actuals, base.pet_zero, faults)
    pet_zero = read.pet_zero or base.pet_zero
    now_min = None if now is None else moment_asked(now, pet_zero, "retime", "now_min")
    clock = None if now_min is None else moment_at(now_min, pet_zero)
    states = states_of(base.scenario.records, read.events, pet_zero, faults, clock)
    faults.stop_if_any()
    now_min = float(on_grid(states.last_min if now_min is None else now_min))
    if now_min > max(base.horizon_min, _LONGEST_MIN):
        raise ScenarioError.single(f"is PET {pet_label(now_min)}: is the date right?", table="retime",
                                   column="now_min", value=now)
    # PET counts from the PET 0: after another one every window lies at another minute.
    almanac = base.almanac if pet_zero == base.pet_zero else (
        almanac_for(base.scenario.records, base.scenario.elements, pet_zero))
    placed = _placed(base, write_down(base, states, pet_zero, now_min), almanac, now_min, here,
                     states.inside_min)
    plan = replace(base, scenario=placed.happened.scenario, pet_zero=pet_zero, almanac=almanac,
                   network=placed.network, durations=placed.durations, starts=placed.starts)
    plan, effort = with_logged_effort(plan, states)
    outside = Outside(planned=planned or base, base=base, actuals=read, states=states, now_min=now_min,
                      happened=placed.happened, broken=placed.broken, effort=effort, here=here)
    return keeping_times(plan, replace(plan, outside=outside))


def moment_asked(when: object, pet_zero: datetime, table: str, column: str) -> float:
    """PET minutes of a moment given as PET minutes, ``h:mm`` or UTC; `ScenarioError` for anything else."""
    try:
        moment = parse_when(when, pet_zero)
        return float(when) if isinstance(when, int | float) else pet_min(moment, pet_zero)
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
        # Anew in each round: what is left out has gone from the scenario with all its rules.
        whole = build_network(happened.scenario.records, almanac, base.travels)
        fixed, durations = positions(happened)
        network = with_past(whole, fixed, durations, now_min, released)
        if inside_min is not None:
            network = ended_at(network, fixed, durations, inside_min)
        if here:
            records = happened.scenario.records
            network = from_here(network, fixed, durations, records.steps, base.travels,
                                records.settings.airlock_place, here)
        if here:
            stop_if_circular(network, durations)  # a decision can be nonsense; what was logged has happened
        starts = planned_starts(network, durations)
        lost = [step for step in range(len(starts)) if not np.isfinite(starts[step])]
        if not lost:
            broken = tuple(broken_rules(whole, network.fixed, starts, durations, released))
            return _Placed(happened, network, durations, starts, broken)
        torn = frozenset(_torn_groups(whole, network, lost)) - released
        # First these are let go: in another window the rest may find a place, and nothing is left out.
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
    # Steps that wait for each other have no first cause: then all of them go, so that this ends.
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


def network_of(plan: TimedPlan, records: Records) -> Network:
    """The timing problem of changed records, with the past of ``plan`` where that is re-timed."""
    network = build_network(records, plan.almanac, plan.travels)
    if plan.outside is None:
        return network
    fixed = plan.outside.happened.fixed
    starts = {number: fixed[step.step] for number, step in enumerate(records.steps) if step.step in fixed}
    lengths = plan.durations[[plan.position(step.step) for step in records.steps]]
    held = with_past(network, starts, lengths, plan.outside.now_min)
    return from_here(held, starts, lengths, records.steps, plan.travels, records.settings.airlock_place,
                     plan.whereabouts)
