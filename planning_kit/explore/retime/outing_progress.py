"""Where the outing stands: planned against actual, step by step and task by task, and in words."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pandas as pd

from planning_kit.inputs.faults import ScenarioError, is_number
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.log_state import DONE, IN_PROGRESS
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import TextTable, visible
from planning_kit.inputs.times import Side, gmt_label, moment_at, number_label, pet_label, pet_min
from planning_kit.plan.build import work_order
from planning_kit.plan.network import LIGHT, ROUNDING_MIN, Demand, grouped, pinned
from planning_kit.plan.past import MINUTES, NOT_DONE, SKIPPED
from planning_kit.plan.slack import latest_starts
from planning_kit.plan.timed import Outside, TimedPlan

PROGRESS_COLUMNS = ["step", "task", "crew", "title", "status", "planned_start_min", "start_min",
                    "planned_finish_min", "finish_min", "late_min", "planned_minutes", "minutes", "over_min"]
TASK_COLUMNS = ["task", "title", "need", "status", "steps", "done", "planned_minutes", "minutes", "over_min",
                "planned_finish_min", "finish_min", "late_min"]
LEFT_OUT_COLUMNS = ["step", "task", "crew", "title", "kind", "why"]
_NONE = float("nan")
_AS_PLANNED_MIN = 0.5
_WINDOWS_TOLD = 2


def progress_table(plan: TimedPlan) -> pd.DataFrame:
    """A row a step of the plan that the crew took outside, in its row order. PET minutes.

    ``status``: done, in progress, to do, left (with a rest to do), skipped, not done (both went in before
    it). ``start_min`` and ``finish_min`` are actual as far as they are history, else re-timed; ``late_min``
    compares the finish with the planned one. ``minutes`` is the work so far, and ``over_min`` what a finished
    step took beyond its likely duration. NaN where there is nothing to compare.
    """
    outside = plan.known_outside("progress")
    base, gone = outside.planned, {left.step: left.kind for left in outside.happened.left_out}
    rows = []
    for state in outside.states.by_step.values():
        step = state.step
        start, finish = times_of(plan, step.step)
        # The row of a step that was taken up again is its last part; it began with the first.
        start = state.pieces[0][0] if state.pieces else start
        planned = base.span(step.step)
        worked = _NONE
        if state.pieces:  # and what has run of the one in hand
            running = outside.now_min - state.pieces[-1][0] if state.status == IN_PROGRESS else 0.0
            worked = state.worked_min + running
        over = worked - step.minutes_likely if state.status == DONE else _NONE
        rows.append((step.step, step.task, step.crew, step.title, gone.get(step.step, state.status),
                     planned[0], start, planned[1], finish, finish - planned[1], step.minutes_likely, worked,
                     over))
    return TextTable(rows, columns=PROGRESS_COLUMNS)


def times_of(plan: TimedPlan, step: str) -> tuple[float, float]:
    """Start and finish of a step, PET minutes; NaN where it is not in the plan."""
    return plan.span(step) if step in plan.network.steps else (_NONE, _NONE)


def task_table(plan: TimedPlan) -> pd.DataFrame:
    """A row a task, in the order of the table.

    ``done`` of so many ``steps``; ``planned_minutes`` and ``minutes`` are those of its finished steps, and
    ``over_min`` their difference; ``late_min`` compares the finish of its last step with the planned one.
    """
    outside, rows = plan.known_outside("task_progress"), []
    steps = progress_table(plan)
    for task in outside.base.scenario.records.tasks:
        own = steps[steps["task"] == task.task]
        finished = own[own["status"] == DONE]
        planned, finish = own["planned_finish_min"].max(), own["finish_min"].max()
        minutes = float(finished["planned_minutes"].sum()), float(finished["minutes"].sum())
        rows.append((task.task, task.title, task.need, _status(own["status"]), len(own), len(finished),
                     *minutes, minutes[1] - minutes[0], planned, finish, finish - planned))
    return TextTable(rows, columns=TASK_COLUMNS)


def _status(states: pd.Series) -> str:
    seen = set(states)
    if len(seen) == 1:
        return str(states.iloc[0])
    if not seen - {DONE, SKIPPED, NOT_DONE}:
        return "partly done" if DONE in seen else NOT_DONE
    return IN_PROGRESS if seen & {DONE, IN_PROGRESS, "left"} else "to do"


def left_out_table(plan: TimedPlan) -> pd.DataFrame:
    """A row a step that the re-timed plan does not hold; ``kind``: skipped or not done, ``why`` in words."""
    outside, rows = plan.known_outside("left_out"), []
    for left in outside.happened.left_out:
        step = outside.base.steps[outside.base.position(left.step)]
        rows.append((step.step, step.task, step.crew, step.title, left.kind, left.why))
    return TextTable(rows, columns=LEFT_OUT_COLUMNS)


def with_updated_estimates(plan: TimedPlan, weight: float = 2.0) -> Scenario:
    """The scenario that was re-timed, with `updated_estimates` in it: the base of the next plan."""
    scenario = plan.known_outside("with_updated_estimates").base.scenario
    table, learned = scenario.steps, updated_estimates(plan, weight).set_index("step")
    for column in MINUTES:
        table[column] = table["step"].map(learned[column]).astype(float).fillna(table[column])
    return scenario.with_table("steps", table)


def updated_estimates(plan: TimedPlan, weight: float = 2.0) -> pd.DataFrame:
    """Three-point estimates that have learned from the outing: a row a finished step.

    With an actual time a the new likely one is ``(weight * likely + a) / (weight + 1)``: the estimate counts
    as ``weight`` earlier outings, the log as one more. ``low`` and ``high`` are widened to hold a, never
    narrowed: one more outing cannot show that a spread was too wide. A rule of thumb for the next plan, not a
    statistical law; what was left, skipped or not finished teaches nothing here.
    """
    if not is_number(weight) or weight < 0:
        raise ScenarioError.single("must be 0 (only the log counts) or more", table="updated_estimates",
                                   column="weight", value=weight)
    rows = []
    states = plan.known_outside("updated_estimates").states
    for state in states.by_step.values():
        step, actual = state.step, round(state.worked_min, 2)
        if state.status == DONE and step.step not in states.put_back and state.given_up_min is None:
            likely = round((weight * step.minutes_likely + actual) / (weight + 1.0), 2)
            low, high = min(step.minutes_low, actual), max(step.minutes_high, actual)
            # Rounded to hundredths, likely could fall just outside of low and high: so it is held to them.
            rows.append((step.step, step.task, step.minutes_low, step.minutes_likely, step.minutes_high,
                         actual, low, float(np.clip(likely, low, high)), high))
    return TextTable(rows, columns=["step", "task", "low_before", "likely_before", "high_before", "actual",
                                    "minutes_low", "minutes_likely", "minutes_high"])


def standing_of(plan: TimedPlan) -> str:
    """Where the outing stands, in words, a line a fact.

    Now, each crew member, the next windows at stake, the end, what is left out. Raises `ScenarioError` before
    the plan is re-timed.
    """
    outside = plan.known_outside("standing")
    now, slip = outside.now_min, pet_min(plan.pet_zero, outside.planned.pet_zero)
    slipped = "" if abs(slip) < _AS_PLANNED_MIN else (
        f" PET 0 was {_by(slip, 'later', 'earlier')} than planned.")
    gone = grouped((left.kind, left.step) for left in outside.happened.left_out)
    lines = [f"PET {pet_label(now)}, GMT {gmt_label(moment_at(now, plan.pet_zero))}.{slipped}",
             *(_crew(plan, outside, crew) for crew in plan.travels),
             *_windows(plan, outside), _end(plan, outside), *(
                 f"{kind.capitalize()}: {', '.join(gone[kind])}." for kind in (SKIPPED, NOT_DONE)
                 if kind in gone)]
    return "\n".join(map(visible, lines))


def _by(minutes: float, more: str, less: str) -> str:
    return f"{_span(abs(minutes))} {more if minutes > 0 else less}"


def _span(minutes: float, side: Side = "nearest") -> str:
    """``12 min``, from three hours on ``3:05 h``, from two days on ``2 days``."""
    if minutes < 179.5:
        return f"{number_label(minutes, side, 0)} min"
    return (f"{pet_label(minutes, side)} h" if minutes < 2880 else
            f"{number_label(minutes / 1440, side, 0)} days")


def _late(minutes: float) -> str:
    return "as planned" if abs(minutes) < _AS_PLANNED_MIN else _by(minutes, "behind", "ahead")


def _crew(plan: TimedPlan, outside: Outside, crew: str) -> str:
    """Late by the expected finish of the step in hand, else by the start of the next one."""
    base = outside.planned
    known = [position for position in work_order(plan.steps, crew)
             if plan.steps[position].step in base.network.steps]
    busy = outside.states.at_work.get(crew)
    if busy is not None:
        position = plan.position(busy)
        late = float(plan.finishes[position] - base.finishes[base.position(busy)])
        to_go = float(plan.finishes[position]) - outside.now_min
        rest = (f"about {to_go:.0f} min to go" if to_go >= 0.5 else "less than a minute to go" if to_go > 0
                else "its estimate is used up: ask how long still")
        state, partner = outside.states.by_step[busy], PARTNER.get(crew)
        if state.step.crew == BOTH and state.called_by and state.called_by == partner:
            return (f"{crew} {_late(late)}: {partner} is on {busy} since {pet_label(plan.starts[position])}, "
                    f"that {crew} has begun is not called.")
        return f"{crew} {_late(late)}: on {busy} since {pet_label(plan.starts[position])}, {rest}."
    ahead = [position for position in known if position not in plan.network.fixed]
    if not ahead:
        return f"{crew}: all steps done."
    step = plan.steps[ahead[0]].step
    late = float(plan.starts[ahead[0]] - base.starts[base.position(step)])
    return f"{crew} {_late(late)}: next is {step} at {pet_label(plan.starts[ahead[0]])}."


def _windows(plan: TimedPlan, outside: Outside) -> Iterator[str]:
    """The next lit steps and groups: their window, and by when the next step must start to keep it."""
    stakes = sorted(_stakes(plan), key=lambda stake: float(plan.starts[list(stake[1])].min()))
    for name, members, demand in stakes[:_WINDOWS_TOLD]:
        start = float(plan.starts[list(members)].min())
        window = demand.title_at(start)
        line = f"{name}: {window}, at {pet_label(start)}"
        known = [times_of(outside.planned, plan.network.steps[member])[0] for member in members]
        planned = float(np.nanmin([*known, np.inf]))
        if np.isfinite(planned) and abs(start - planned) >= _AS_PLANNED_MIN:
            line += f" (planned {pet_label(planned)})"
        yield line + _unless(plan, members, window) + "."


def _stakes(plan: TimedPlan) -> Iterator[tuple[str, tuple[int, ...], Demand]]:
    """Lit groups, and lit steps of no group, that have not begun."""
    network = plan.network
    in_group: set[int] = set()
    for group in network.groups:
        in_group.update(group.members)
        if group.demand.kind == LIGHT and group.members:
            yield f"Steps of {group.name}", group.members, group.demand
    for step, demands in enumerate(network.demands):
        if step not in in_group and step not in network.fixed:
            for demand in demands:
                if demand.kind == LIGHT:
                    yield network.steps[step], (step,), demand


def _unless(plan: TimedPlan, members: Sequence[int], window: str) -> str:
    """``; night 2 is missed unless RG4 starts by 2:04``: one backward pass with this window held.

    All other steps may take any of their windows: what misses one on the way there comes too late as well.
    """
    network = plan.network
    held = pinned(network, plan.starts)
    network = replace(
        network,
        allowed=tuple(held.allowed[step] if step in members else windows
                      for step, windows in enumerate(network.allowed)),
        group_windows=tuple(own if set(group.members) <= set(members) else windows
                            for group, own, windows in zip(network.groups, held.group_windows,
                                                           network.group_windows, strict=True)))
    # No deadline: told is what this window asks, not what the limits ask.
    slack = latest_starts(network, plan.durations, np.inf) - plan.starts
    nexts = [order[0] for who in plan.scenario.records.lane_names
             if (order := [p for p in work_order(plan.steps, who) if p not in plan.network.fixed])]
    tightest = min((step for step in nexts if np.isfinite(slack[step])), key=lambda s: slack[s], default=None)
    if tightest is None:
        return ""
    by = float(plan.starts[tightest] + slack[tightest])
    return (f"; {window} is missed unless {plan.steps[tightest].step} starts by {pet_label(by, 'down')}, "
            f"{number_label(float(slack[tightest]), 'down', 0)} min from when it can")


def _end(plan: TimedPlan, outside: Outside) -> str:
    limits, later = plan.scenario.settings.limits, plan.end_min - outside.planned.end_min
    when = "as planned" if abs(later) < _AS_PLANNED_MIN else f"{_by(later, 'later', 'earlier')} than planned"
    margins = [f"planned limit {_margin(limits.planned_min - plan.end_min)}",
               f"hard limit {_margin(plan.hard_min - plan.end_min)}{plan.hard_limit.bracketed}"]
    said = "Both inside at" if outside.states.inside_min is None else "Both were inside at"
    return f"{said} {pet_label(plan.end_min)}, {when}; {', '.join(margins)}."


def _margin(minutes: float) -> str:
    """Kept to the minute is kept; half a minute over is over."""
    if minutes >= -ROUNDING_MIN:
        return f"{_span(max(minutes, 0.0), 'down')} left"
    return "less than 1 min over" if minutes > -1 else f"{_span(-minutes, 'up')} over"
