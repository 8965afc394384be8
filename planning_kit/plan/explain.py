"""Why a step starts when it does, in words: its holder, the holder's holder, and so on back to PET 0."""

from dataclasses import dataclass, replace

import numpy as np

from planning_kit.inputs.records import BOTH, Step
from planning_kit.inputs.times import pet_label
from planning_kit.plan import network as kinds
from planning_kit.plan.build import stops_into
from planning_kit.plan.network import Bound, Network
from planning_kit.plan.plan_times import Times
from planning_kit.plan.slack import Holder, Holders, find_holders, ready_holder
from planning_kit.plan.timing import earliest_starts

_WINDOWED = (kinds.LIGHT, kinds.LINK, kinds.WINDOW, kinds.GROUP)


def _gap_words(bound: Bound, first: str, then: str) -> str:
    """What a gap asks, with the ends that it counts between: "B must start within 5 min after A finishes".

    ``first`` and ``then`` are the names of the gap's steps; ``bound`` is its least or its greatest gap.
    """
    if bound.kind == kinds.MAX_GAP:
        first_end, then_end = bound.to_finish, bound.from_finish
        how = f"within {-bound.fixed_min:g} min after"
    else:
        first_end, then_end = bound.from_finish, bound.to_finish
        how = f"at least {bound.fixed_min:g} min after" if bound.fixed_min else "after"
    return (f"{then} must {'finish' if then_end else 'start'} {how} {first} "
            f"{'finishes' if first_end else 'starts'}")


@dataclass(frozen=True)
class _View:
    """The plan as the words see it: as it is, or as it would be without its greatest gaps.

    ``starts`` are the earliest, which a late step keeps only in what is told of others.
    """

    times: Times
    network: Network
    holders: Holders
    verb: str

    @property
    def starts(self) -> np.ndarray:
        return self.holders.earliest

    def is_later(self, position: int) -> bool:
        """Whether a late step stands later than its earliest start."""
        return position in self.network.late and self.times.starts[position] > self.starts[position]


def explain_step(times: Times, position: int) -> list[str]:
    """The chain of holders from the step at ``position`` back to PET 0, a sentence a line.

    A greatest gap can tie a step to a window that itself waits for this step. Where the chain comes back to
    a step, it goes on as if there were no greatest gaps: that is what decides which window it is.
    """
    lines, returns_to = _chain(_View(times, times.network, times.holders, "starts"), position)
    if returns_to is not None:
        bounds = tuple(bound for bound in times.network.bounds if bound.kind != kinds.MAX_GAP)
        network = replace(times.network, bounds=bounds)
        holders = find_holders(network, times.durations, earliest_starts(network, times.durations))
        lines.append("But for the greatest gaps on this chain:")
        lines += _chain(_View(times, network, holders, "could start"), returns_to)[0]
    return lines


def _chain(view: _View, position: int) -> tuple[list[str], int | None]:
    """Sentences back to PET 0, and the step at which the chain closes a circle (None: it does not)."""
    lines: list[str] = []
    seen: set[int] = set()
    chosen = view.holders.chosen
    while position not in seen:
        seen.add(position)
        holder: Holder | None = chosen[position]
        assert holder is not None
        is_late = holder.kind in (kinds.LATE, kinds.LATE_END)
        verb = "could start" if view.is_later(position) and not is_late else view.verb
        at = view.times.starts[position] if is_late else view.starts[position]
        lines.append(f"{_name(view.times, position)} {verb} at {pet_label(at)} "
                     f"{_because(view, position, holder)}.")
        if holder.kind in _WINDOWED:
            # When it was ready is told of the earliest plan, where what is late for it stands earlier.
            chosen, seen = view.holders.early, {each for each in seen if not view.is_later(each)}
            ready = _ready_words(view.times.steps[position], holder)
            holder = ready_holder(view.network, view.times.durations, view.starts, position)
            if holder is not None:
                lines.append(f"  {ready[0].upper()}{ready[1:]} {_because(view, position, holder)}.")
        if holder is None or holder.source < 0:
            return lines, None
        position = holder.source
    return lines, position


def _because(view: _View, position: int, holder: Holder) -> str:
    times = view.times
    step = times.steps[position]
    if holder.kind in _WINDOWED:
        is_group = holder.kind == kinds.GROUP
        words = [] if is_group else [window_opens(times, holder.text)]
        if is_group or holder.group:
            group = step.same_window if is_group else holder.group
            words.append(f"the steps of {group!r} share one window and do not all fit in an earlier one")
        return f"because {'; '.join(words)}; {_ready_words(step, holder)}"
    if holder.kind in (kinds.LATE, kinds.LATE_END):
        return _as_late_as_it_can(view, position, holder)
    if holder.kind == kinds.LOGGED:
        return "as logged"
    if holder.kind == kinds.NOW:
        return "because it is not before now: its start has not been called"
    if holder.kind == kinds.TURN:
        place = times.place_title(holder.text.partition(":")[2])
        return (f"because {holder.crew} was bound for something else when it was decided, and comes from "
                f"{place}")
    if holder.kind == kinds.HATCH:
        opens = times.scenario.settings.airlock.hatch_open_min or 0.0
        way = _way_words(times, step, view.starts[position] - opens)
        return f"because the hatch opens at {pet_label(opens)} and {holder.crew}'s way to {way}"
    if holder.source < 0:
        return _from_pet_zero(view, position, holder)
    return _after_another(view, position, holder)


def _as_late_as_it_can(view: _View, position: int, holder: Holder) -> str:
    times, margin = view.times, view.times.steps[position].late_margin_min
    if holder.source >= 0:
        bound, name = holder.bound, _name(times, holder.source)
        starts = f"{name} starts at {pet_label(times.starts[holder.source])}"
        if bound is not None and bound.kind == kinds.MAX_GAP:
            why = f"{_gap_words(bound, name, 'it')}; {starts}"
        elif bound is not None and bound.kind == kinds.MIN_GAP and bound.fixed_min:
            why = f"{_gap_words(bound, 'it', name)}; {starts}"
        else:
            why = f"{starts} and needs it"
    else:
        name = holder.text.partition(":")[2].replace("-", " ")
        why = "the outing ends" if name == "outing" else f"{name!r} ends"
    free = f", with {margin:g} min kept free" if margin else ""
    return f"as late as it can{free}: {why}; its earliest start is {pet_label(view.starts[position])}"


def window_opens(times: Times, held_by: str) -> str:
    """What begins at a start that light, a link or a period holds (``light:night-2``), in words."""
    kind, _, name = held_by.partition(":")
    if kind == kinds.LIGHT:
        guard = times.scenario.settings.night_guard_s
        return f"{name.replace('-', ' ')} begins then" + (f" (after {guard:g} s of guard)" if guard else "")
    return "the next link begins then" if kind == kinds.LINK else f"the period {name!r} begins then"


def _from_pet_zero(view: _View, position: int, holder: Holder) -> str:
    times = view.times
    step, airlock = times.steps[position], times.scenario.settings.airlock_place
    if holder.crew not in times.travels or view.starts[position] == 0:
        whose = "both crew members" if step.crew == BOTH else holder.crew
        return f"with PET 0: it is the first work of {whose}"
    minutes = next(r.at_min for r in times.network.releases_of[position] if r.crew == holder.crew)
    return (f"because {holder.crew} leaves {times.place_title(airlock)} at PET 0 and the way to "
            f"{_way_words(times, step, minutes)}")


def _after_another(view: _View, position: int, holder: Holder) -> str:
    times = view.times
    other, bound = holder.source, holder.bound
    name, finish = _name(times, other), pet_label(view.starts[other] + times.durations[other])
    if bound is None or holder.kind == kinds.AFTER:
        finishes = "could finish" if view.is_later(other) else "finishes"
        return f"because it waits for {name} ({times.steps[other].crew}), which {finishes} at {finish}"
    if holder.kind in (kinds.MIN_GAP, kinds.MAX_GAP):
        end = finish if bound.from_finish else pet_label(view.starts[other])
        done = "finishes" if bound.from_finish else "starts"
        if holder.kind == kinds.MIN_GAP:
            return f"because {_gap_words(bound, name, 'it')}, at {end}"
        own = times.steps[position].step
        return f"and no earlier, because {_gap_words(bound, own, name)}, and {name} {done} at {end}"
    minutes = bound.fixed_min + bound.travel_min
    worked = (f"because {bound.crew} could be done with {name} at {finish}" if view.is_later(other)
              else f"because {bound.crew} works on {name} until {finish}")
    return worked if minutes <= 0 else (
        f"{worked}, and the way from {times.place_title(times.steps[other].place)} to "
        f"{_way_words(times, times.steps[position], minutes)}")


def _way_words(times: Times, step: Step, minutes: float) -> str:
    over = ", ".join(map(times.place_title, stops_into(step)[:-1]))
    via = f" by way of {over}" if over else ""
    return f"{times.place_title(step.place)}{via} takes {minutes:.1f} min"


def _name(times: Times, position: int) -> str:
    step = times.steps[position]
    return f"{step.step} ({step.title})" if step.title else step.step


def _ready_words(step: Step, holder: Holder) -> str:
    who = "both were" if step.crew == BOTH else f"{step.crew} was"
    return f"{who} ready at {pet_label(holder.ready_min)}"
