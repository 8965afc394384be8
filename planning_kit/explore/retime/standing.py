"""Where the outing stands, in words: who is late, which window is at stake, when they will be inside."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.shown_text import visible
from planning_kit.inputs.times import gmt_label, moment_at, pet_label, pet_min
from planning_kit.plan.build import work_order
from planning_kit.plan.network import LIGHT, ROUNDING_MIN, Demand, pinned
from planning_kit.plan.slack import latest_starts
from planning_kit.plan.timed import Outside, TimedPlan

_AS_PLANNED_MIN = 0.5
_WINDOWS_TOLD = 2


def standing_of(plan: TimedPlan) -> str:
    """Where the outing stands, in words, a line a fact.

    Now, each crew member, the next windows at stake, the end, what is left out. Raises `ScenarioError` before
    the plan is re-timed.
    """
    outside = plan.known_outside("standing")
    lines = [_now(plan, outside), *(_crew(plan, outside, crew) for crew in plan.travels),
             *_windows(plan, outside), _end(plan, outside), *_left_out(outside)]
    return "\n".join(map(visible, lines))


def _now(plan: TimedPlan, outside: Outside) -> str:
    now = outside.now_min
    slip = pet_min(plan.egress, outside.planned.egress)
    by = _by(slip, "later", "earlier")
    egress = "" if abs(slip) < _AS_PLANNED_MIN else f" Egress was {by} than planned."
    return f"PET {pet_label(now)}, GMT {gmt_label(moment_at(now, plan.egress))}.{egress}"


def _by(minutes: float, more: str, less: str) -> str:
    return f"{_span(abs(minutes))} {more if minutes > 0 else less}"


def _span(minutes: float) -> str:
    """``12 min``, from three hours on ``3:05 h``, from two days on ``2 days``."""
    if minutes < 179.5:
        return f"{minutes:.0f} min"
    return f"{pet_label(minutes)} h" if minutes < 2880 else f"{minutes / 1440:.0f} days"


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
        window = demand.name_at(start).partition(":")[2].replace("-", " ")
        line = f"{name}: {window}, at {pet_label(start)}"
        planned = _planned_start(outside.planned, plan, members)
        if planned is not None and abs(start - planned) >= _AS_PLANNED_MIN:
            line += f" (planned {pet_label(planned)})"
        yield line + _unless(plan, members, window) + "."


def _stakes(plan: TimedPlan) -> Iterator[tuple[str, tuple[int, ...], Demand]]:
    """Lit groups, and lit steps of no group, that have not begun."""
    network = plan.network
    grouped: set[int] = set()
    for group in network.groups:
        grouped.update(group.members)
        if group.demand.kind == LIGHT and group.members:
            yield f"Steps of {group.name}", group.members, group.demand
    for step, demands in enumerate(network.demands):
        if step not in grouped and step not in network.fixed:
            for demand in demands:
                if demand.kind == LIGHT:
                    yield network.steps[step], (step,), demand


def _planned_start(base: TimedPlan, plan: TimedPlan, members: Sequence[int]) -> float | None:
    names = [plan.network.steps[member] for member in members]
    known = [base.position(name) for name in names if name in base.network.steps]
    return float(base.starts[known].min()) if known else None


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
                                                           network.group_windows, strict=True)),
    )
    slack = latest_starts(network, plan.durations, np.inf) - plan.starts
    nexts = [order[0] for who in (*plan.travels, *(a.actor for a in plan.scenario.records.actors))
             if (order := [p for p in work_order(plan.steps, who) if p not in plan.network.fixed])]
    tightest = min((step for step in nexts if np.isfinite(slack[step])), key=lambda s: slack[s], default=None)
    if tightest is None:
        return ""
    by = np.floor(plan.starts[tightest] + slack[tightest] + ROUNDING_MIN)  # a deadline is not rounded up
    return (f"; {window} is missed unless {plan.steps[tightest].step} starts by {pet_label(by)}, "
            f"{np.floor(slack[tightest] + ROUNDING_MIN):.0f} min from when it can")


def _end(plan: TimedPlan, outside: Outside) -> str:
    limits, later = plan.scenario.settings.limits, plan.end_min - outside.planned.end_min
    when = "as planned" if abs(later) < _AS_PLANNED_MIN else f"{_by(later, 'later', 'earlier')} than planned"
    margins = [f"{name} limit {_margin(limit - plan.end_min)}"
               for name, limit in (("planned", limits.planned_min), ("hard", limits.hard_min))]
    said = "Both inside at" if outside.states.inside_min is None else "Both were inside at"
    return f"{said} {pet_label(plan.end_min)}, {when}; {', '.join(margins)}."


def _margin(minutes: float) -> str:
    """Kept to the minute is kept; half a minute over is over."""
    if minutes >= -ROUNDING_MIN:
        return f"{_span(max(minutes, 0.0))} left"
    return "less than 1 min over" if minutes > -1 else f"{_span(-minutes)} over"


def _left_out(outside: Outside) -> Iterator[str]:
    for kind in ("skipped", "not done"):
        names = [left.step for left in outside.happened.left_out if left.kind == kind]
        if names:
            yield f"{kind.capitalize()}: {', '.join(names)}."
