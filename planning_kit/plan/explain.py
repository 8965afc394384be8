"""Why a step starts when it does, in words: its holder, the holder's holder, and so on back to egress."""

from __future__ import annotations

from typing import TYPE_CHECKING

from planning_kit.inputs.records import BOTH
from planning_kit.inputs.times import pet_label
from planning_kit.plan.holders import Holder, ready_holder
from planning_kit.plan.network import AFTER, GROUP, LIGHT, LINK, MAX_GAP, MIN_GAP, WINDOW

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan


def explain_step(plan: TimedPlan, position: int) -> str:
    """The chain of holders from the step at ``position`` back to egress, a sentence a line."""
    lines, seen = [], set()
    holder: Holder | None = plan.holders.chosen[position]
    while holder is not None and position not in seen:
        seen.add(position)
        lines.append(f"{_name(plan, position)} starts at {pet_label(plan.starts[position])} "
                     f"{_because(plan, position, holder)}.")
        if holder.kind in (LIGHT, LINK, WINDOW, GROUP):
            holder = ready_holder(plan.network, plan.durations, plan.starts, position)
            if holder is not None:
                who = _who(plan.steps[position].crew)
                lines.append(f"  {who[0].upper()}{who[1:]} ready at {pet_label(_ready_min(plan, position))} "
                             f"{_because(plan, position, holder)}.")
        if holder is None or holder.source < 0:
            break
        position = holder.source
        holder = plan.holders.chosen[position]
    return "\n".join(lines)


def _because(plan: TimedPlan, position: int, holder: Holder) -> str:
    step = plan.steps[position]
    if holder.kind in (LIGHT, LINK, WINDOW):
        ready = pet_label(holder.ready_min)
        return f"because {_window_words(plan, holder)}; {_who(step.crew)} ready at {ready}"
    if holder.kind == GROUP:
        name = step.same_window
        return (f"because the steps of {name!r} share one window and do not all fit in an earlier one; "
                f"{_who(step.crew)} ready at {pet_label(holder.ready_min)}")
    if holder.source < 0:
        return _from_egress(plan, position, holder)
    return _after_another(plan, position, holder)


def _window_words(plan: TimedPlan, holder: Holder) -> str:
    name = holder.text.partition(":")[2]
    if holder.kind == LIGHT:
        guard = plan.scenario.settings.night_guard_s
        return f"{name.replace('-', ' ')} begins then" + (f" (after {guard:g} s of guard)" if guard else "")
    if holder.kind == LINK:
        return "the next link begins then"
    return f"the period {name!r} begins then"


def _from_egress(plan: TimedPlan, position: int, holder: Holder) -> str:
    step, airlock = plan.steps[position], plan.scenario.settings.airlock
    if holder.crew not in plan.travels or plan.starts[position] == 0:
        whose = "both crew members" if step.crew == BOTH else holder.crew
        return f"with egress: it is the first work of {whose}"
    minutes = next(r.at_min for r in plan.network.releases if r.step == position and r.crew == holder.crew)
    return (f"because {holder.crew} leaves {plan.place_title(airlock)} at egress and the way to "
            f"{plan.place_title(step.place)} takes {minutes:.1f} min")


def _after_another(plan: TimedPlan, position: int, holder: Holder) -> str:
    other, bound = holder.source, holder.bound
    name, finish = _name(plan, other), pet_label(plan.finishes[other])
    if bound is None or holder.kind == AFTER:
        return f"because it waits for {name} ({plan.steps[other].crew}), which finishes at {finish}"
    if holder.kind == MIN_GAP:
        return f"because it must come at least {bound.fixed_min:g} min after {name}, which ends at {finish}"
    if holder.kind == MAX_GAP:
        return (f"and no earlier, because {name} must follow within {-bound.fixed_min:g} min and cannot "
                f"start before {pet_label(plan.starts[other])}")
    way = bound.fixed_min + bound.travel_min
    travel = "" if way <= 0 else (
        f", and the way from {plan.place_title(plan.steps[other].place)} to "
        f"{plan.place_title(plan.steps[position].place)} takes {way:.1f} min"
    )
    return f"because {bound.crew} works on {name} until {finish}{travel}"


def _ready_min(plan: TimedPlan, position: int) -> float:
    return max(h.ready_min for h in plan.holders.tight[position] if h.ready_min == h.ready_min)


def _name(plan: TimedPlan, position: int) -> str:
    step = plan.steps[position]
    return f"{step.step} ({step.title})" if step.title else step.step


def _who(crew: str) -> str:
    return "both were" if crew == BOTH else f"{crew} was"
