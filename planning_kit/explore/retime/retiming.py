"""Re-timing: the plan from now on, given what was logged. It always returns.

What has happened is written into the scenario (`write_down`), its starts are fixed
(`planning_kit.plan.past`) and the one timing places the rest, not before now, in the real windows. Where it
cannot keep all rules, the plan that breaks least is timed. Findings say all of it.

Suits are corrected by what was really used. A metabolic rate is logged as the mean since PET 0. Its ratio
to the mean that the re-timed plan assumes over the same minutes multiplies the crew member's
``exertion_factor``: what was used until then is then just what was logged, and the rest of the outing is
assumed as much harder, or easier, than planned. Assumption: who worked harder so far goes on so. Neglected:
that the ratio may differ by kind of work; use before PET 0 is scaled too.

The re-timed plan is a plan like any other, of a scenario that says what was really done: every tracker and
check then judges it as it would judge any plan. A step that was left and taken up again becomes rows of its
own: ``AN1.part1`` is what was done of it, ``AN1`` what finished or is still to finish it. The parts take what
the step takes; only the step itself leaves things and moves hooks, and whoever waits, waits for it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np
import pandas as pd

from planning_kit.changes.change import Cells, made, step_named
from planning_kit.changes.dropping import Drop, moved_by
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.log import Actuals, read_actuals
from planning_kit.inputs.log_format import LOG, parse_when
from planning_kit.inputs.log_state import DONE, DROPPED, IN_PROGRESS, State, States, states_of
from planning_kit.inputs.records import INSIDE, Records
from planning_kit.inputs.row_edits import as_cell
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import moment_at, pet_label, pet_min
from planning_kit.inputs.typed_tables import move_text
from planning_kit.plan.build import build_network
from planning_kit.plan.giving_way import LOG_SECOND_MIN, broken_rules, gives_way_order, keeping_most
from planning_kit.plan.network import ROUNDING_MIN, Broken, Network, on_grid
from planning_kit.plan.past import (
    MINUTES,
    NOT_DONE,
    SKIPPED,
    Happened,
    LeftOut,
    Whereabouts,
    ended_at,
    estimates_left,
    from_here,
    with_past,
)
from planning_kit.plan.plan_times import almanac_for
from planning_kit.plan.timed import Outside, TimedPlan

_LOGGED_FIRST, _TO_DO = 0, 1
_AT_ITS_END = ("leaves", "hooks", "sets", "checks", "clears")
_Spell = tuple[float, float]
"""When a spell of work on a step began (PET), and its minutes."""


def write_down(base: TimedPlan, states: States, pet_zero: datetime, now_min: float) -> Happened:
    """The scenario of ``base`` with everything in ``states`` written into it; PET 0 as it was (UTC)."""
    table = base.scenario.steps
    every = [{str(name): value for name, value in row.items()} for row in table.to_dict("records")]
    rows = [row for row in every if row["step"] in states.by_step]  # a block with steps is no work
    home = dict.fromkeys(_give_up(rows, base.scenario.records, states), INSIDE)
    done: list[tuple[tuple[float, ...], dict[str, object]]] = []
    fixed: dict[str, float] = {}
    parts: dict[str, str] = {}
    for position, state in enumerate(states.by_step.values()):
        here = [*_spells(state, float(base.starts[position]), float(base.finishes[position]), now_min)]
        for order, row in _rows(rows[position], state, here, now_min):
            done.append(((*order, position), row))
        names = _names(state, len(here))
        fixed.update({name: start for name, (start, _) in zip(names, here, strict=True)})
        parts.update({name: state.step.step for name in names if name != state.step.step})
    done.sort(key=lambda entry: entry[0])
    blocks = [row for row in every if row["step"] not in states.by_step]
    frames = {"steps": pd.DataFrame([*(row for _, row in done), *blocks], columns=table.columns),
              **_with_parts(base.scenario, parts)} if fixed or states.put_back else {}
    skipped = [name for name, state in states.by_step.items() if state.status == DROPPED]
    left = tuple(_left_out(state) for name, state in states.by_step.items()
                 if name in skipped or state.given_up_min is not None)
    drop = Drop(tuple(map(step_named, skipped)), put_back=frozenset(states.put_back))
    changed = made(base.scenario, [*([drop] if skipped or drop.put_back else []),
                                   *([Cells("hardware", {"end_at": home})] if home else [])], frames=frames)
    scenario = changed.scenario
    if scenario is not base.scenario:
        scenario = scenario.as_happened(moment_at(now_min, pet_zero))
    return Happened(scenario, fixed, parts, left, tuple((note.about, note.words) for note in changed.notes))


def _give_up(rows: Sequence[dict[str, object]], records: Records, states: States) -> Iterator[str]:
    """Write tasks given up into ``rows``; gives the items of them that should have stayed, and come home.

    What the steps left out would have moved is not handled on the way home.
    """
    for back, since in states.put_back.items():
        own = {name: state for name, state in states.by_step.items()
               if state.step.task == states.by_step[back].step.task}
        begun = {name for name, state in own.items() if any(start < since for start, _ in state.pieces)}
        lost = moved_by(records, {back, *(name for name, state in own.items() if state.status == DROPPED)})
        for row, step in zip(rows, records.steps, strict=True):
            if step.step == back:
                new = own[back].step
                row |= {name: as_cell(value) for name, value in vars(new).items()
                        if name in row and value != getattr(step, name)}
            elif step.step in own.keys() - begun:
                row["takes"], row["leaves"] = (
                    " ".join(move_text(move) for move in moves if move.item not in lost)
                    for moves in (step.takes, step.leaves))
        yield from (item.item for item in records.hardware if item.end_at not in ("", INSIDE)
                    and item.item in lost & moved_by(records, begun))


def _left_out(state: State) -> LeftOut:
    if state.given_up_min is not None:
        return LeftOut(state.step.step, NOT_DONE, "was broken off, and only made safe")
    if state.is_left_undone:
        return LeftOut(state.step.step, NOT_DONE, "was still to do when both went in")
    why = "was given up before it was finished" if state.pieces else "was skipped"
    return LeftOut(state.step.step, SKIPPED, why)


def _spells(state: State, planned_start: float, planned_finish: float, now_min: float) -> Iterator[_Spell]:
    for start, finish in state.pieces:
        begin, end = _as_planned(start, planned_start), _as_planned(finish, planned_finish)
        if finish != finish:  # NaN: it has begun and is not finished
            to_do = state.left_to_do_min(now_min)
            # With the estimate used up it cannot end before now, and each later now moves it on.
            end = _as_planned(now_min + to_do, planned_finish) if to_do else now_min
        yield begin, float(on_grid(end - begin))


def _as_planned(minute: float, planned: float) -> float:
    """A time within rounding of the planned one is the planned one, so that as planned changes nothing.

    UTC is logged in whole microseconds, the timing is finer: without this a step that just fits in a window
    could be thrown out of it.
    """
    return planned if abs(minute - planned) <= ROUNDING_MIN else float(on_grid(minute))


def _names(state: State, spells: int) -> list[str]:
    """Ids of the rows of all spells: the last is the step itself if that spell is its finish, or will be."""
    names = [f"{state.step.step}.part{number}" for number in range(1, spells + 1)]
    if spells and state.status in (DONE, IN_PROGRESS):
        names[-1] = state.step.step
    return names


def _rows(row: Mapping[str, object], state: State, spells: list[_Spell],
          now_min: float) -> Iterator[tuple[tuple[float, ...], dict[str, object]]]:
    """The rows of one step with their place in the order: by start what has begun, then as it was."""
    names = _names(state, len(spells))
    if state.given_up_min is not None:  # nothing that it would have done at its end comes about
        row = dict(row) | dict.fromkeys(_AT_ITS_END, "") | {"title": f"{row['title']} (only made safe)"}
    before = ""
    for number, (name, (start, minutes)) in enumerate(zip(names, spells, strict=True), start=1):
        new = dict(row) | dict.fromkeys(MINUTES, minutes) | {"step": name}
        if number > 1:
            new |= {"takes": "", "after": f"{row['after']} {before}".strip()}
        if name != state.step.step:
            new |= {"leaves": "", "hooks": "", "sets": "", "title": f"{row['title']} (part {number})"}
        before = name
        yield (_LOGGED_FIRST, start), new
    if not names or names[-1] != state.step.step:
        rest = dict(row)
        if names:
            rest |= {"takes": "", "after": f"{row['after']} {before}".strip()}
            rest |= zip(MINUTES, estimates_left(state.step, state.left_to_do_min(now_min)), strict=True)
        yield (_TO_DO, 0.0), rest


def _with_parts(scenario: Scenario, parts: Mapping[str, str]) -> dict[str, pd.DataFrame]:
    """Gaps and inhibits where those that begin with a step begin with its first part."""
    if not parts:
        return {}
    # Backwards, so that of several parts the first one stays.
    first = {step: part for part, step in reversed(list(parts.items()))}
    gaps, inhibits, records = scenario.gaps, scenario.inhibits, scenario.records
    gaps["first_step"] = [first.get(gap.first_step, gap.first_step) if gap.first_at == "start"
                          else gap.first_step for gap in records.gaps]
    gaps["then_step"] = [first.get(gap.then_step, gap.then_step) if gap.then_at == "start"
                         else gap.then_step for gap in records.gaps]
    inhibits["from_step"] = [first.get(name, name) for name in inhibits["from_step"]]
    inhibits["needed_by"] = [
        " ".join([*each.needed_by, *(part for part, step in parts.items() if step in each.needed_by)])
        for each in records.inhibits]
    return {"gaps": gaps, "inhibits": inhibits}


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
