"""Re-timing: the plan from now on, given what was logged. It always returns.

What has happened is written into the scenario (`log_as_scenario`), its starts are fixed
(`planning_kit.plan.past`) and the one timing places the rest, not before now, in the real windows. Where it
cannot keep all rules, the plan that breaks least is timed. Findings say all of it.

Suits are corrected by what was really used. A metabolic rate is logged as the mean since PET 0. Its ratio
to the mean that the re-timed plan assumes over the same minutes multiplies the crew member's
``exertion_factor``: what was used until then is then just what was logged, and the rest of the outing is
assumed as much harder, or easier, than planned. Assumption: who worked harder so far goes on so. Neglected:
that the ratio may differ by kind of work; use before PET 0 is scaled too.
"""

from dataclasses import replace
from datetime import datetime

import numpy as np

from planning_kit.explore.retime.log_as_scenario import write_down
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.log import Actuals, read_actuals
from planning_kit.inputs.log_format import LOG, parse_when
from planning_kit.inputs.log_state import States, states_of
from planning_kit.inputs.records import Records
from planning_kit.inputs.times import moment_at, pet_label, pet_min
from planning_kit.plan.build import build_network
from planning_kit.plan.giving_way import LOG_SECOND_MIN, broken_rules, gives_way_order, keeping_most
from planning_kit.plan.network import Broken, Network, on_grid
from planning_kit.plan.past import Happened, Whereabouts, ended_at, from_here, with_past
from planning_kit.plan.plan_times import almanac_for
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
        minutes = np.diff(np.clip(history.at_min, 0.0, logged.at_min if logged else 0.0))
        assumed = float((history.metabolic_w * minutes).sum() / minutes.sum()) if minutes.sum() > 0 else 0.0
        if logged and assumed > 0:
            ratios[history.crew] = ratio = logged.metabolic_w / assumed
            if not 1 / _MOST_RATIO <= ratio <= _MOST_RATIO:
                raise ScenarioError.single(
                    f"{logged.crew} was assumed at {assumed:.0f} W until then: a rate so far from it is "
                    "taken for a typing error; log a correct", table=LOG.name, column="metabolic_w",
                    value=logged.metabolic_w)
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
    happened = write_down(base, states, pet_zero, now_min)
    plan, broken = _placed(replace(base, scenario=happened.scenario, pet_zero=pet_zero, almanac=almanac),
                           happened, now_min, here, states.inside_min)
    plan, effort = with_logged_effort(plan, states)
    outside = Outside(planned=planned or base, base=base, actuals=read, states=states, now_min=now_min,
                      happened=happened, broken=broken, effort=effort, here=here)
    return keeping_times(plan, replace(plan, outside=outside))


def moment_asked(when: object, pet_zero: datetime, table: str, column: str) -> float:
    """PET minutes of a moment given as PET minutes, ``h:mm`` or UTC; `ScenarioError` for anything else."""
    try:
        moment = parse_when(when, pet_zero)
        return float(when) if isinstance(when, int | float) else pet_min(moment, pet_zero)
    except CellFault as fault:
        raise ScenarioError.single(str(fault), table=table, column=column, value=when) from None


def _placed(plan: TimedPlan, happened: Happened, now_min: float, here: tuple[Whereabouts, ...],
            inside_min: float | None) -> tuple[TimedPlan, tuple[Broken, ...]]:
    """``plan`` with times for what is left, that which breaks least; and what the log itself breaks."""
    records = happened.scenario.records
    whole = build_network(records, plan.almanac, plan.travels)
    fixed = {number: happened.fixed[step.step] for number, step in enumerate(records.steps)
             if step.step in happened.fixed}
    durations = np.array([step.minutes_likely for step in records.steps], dtype=float)
    network = with_past(whole, fixed, durations, now_min)
    if inside_min is not None:
        network = ended_at(network, fixed, durations, inside_min)
    if here:
        network = from_here(network, fixed, durations, records.steps, plan.travels,
                            records.settings.airlock_place, here)

    def timed(tried: Network, starts: np.ndarray) -> TimedPlan:
        return replace(plan, network=tried, durations=durations, starts=starts)

    network, starts = keeping_most(network, durations, lambda *tried: timed(*tried).hard_min,
                                   gives_way_order(records))
    broken = tuple(broken_rules(whole, network.fixed, starts, durations, LOG_SECOND_MIN))
    return timed(network, starts), broken


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
