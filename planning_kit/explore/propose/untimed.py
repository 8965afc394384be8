"""Rules that delay nobody in the timing and that an order has to keep all the same, looked at quickly.

Where items and hooks are, what hands and bags hold, the windows of inhibits, last starts. Left out, for the
solver and the checks: crowded worksites, items inside bags that are elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from planning_kit.explore.propose.hardware import room_in, slots_of
from planning_kit.explore.propose.histories import History, Spell
from planning_kit.explore.propose.model import Literal
from planning_kit.explore.propose.problem import Problem
from planning_kit.explore.propose.worksites import inhibit_windows
from planning_kit.inputs.format import PARTNER

_SAME = 1e-6


@dataclass(eq=False)
class UntimedRules:
    """The rules of a problem with some tasks left out."""

    problem: Problem
    dropped: frozenset[str]
    _histories: dict[frozenset[str], list[History]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        work, records = self.problem.work, self.problem.work.records
        self._room, self._slots = room_in(records), slots_of(records)
        self._held = [
            (work.index[inhibit.from_step], work.index[inhibit.until_step], inhibit.lead_min,
             inhibit_windows(self.problem, inhibit).tolist())
            for inhibit in records.inhibits if inhibit.window and not self.dropped & {
                records.steps[work.index[step]].task for step in (inhibit.from_step, inhibit.until_step)}]
        self._begins = [
            ([i for i, step in enumerate(records.steps) if step.task == task.task], task.last_start_min)
            for task in records.tasks if task.last_start_min is not None and task.task not in self.dropped]

    def are_kept(self, starts: Sequence[float], swapped: frozenset[str], egress_min: float) -> bool:
        """Whether an order with these starts (PET min), these tasks' crew traded, keeps them."""
        if any(steps and min(starts[step] for step in steps) > egress_min + last_min + _SAME
               for steps, last_min in self._begins):
            return False
        minutes = self.problem.work.minutes
        for first, last, lead_min, windows in self._held:
            begin_min, end_min = starts[first] - lead_min, starts[last] + minutes[last]
            if not any(begin <= begin_min + _SAME and end_min <= end + _SAME for begin, end in windows):
                return False
        if swapped not in self._histories:
            self._histories[swapped] = list(self._made(swapped))
        loads: dict[str, list[tuple[float, float]]] = {}
        for history in self._histories[swapped]:
            spells = history.spells(starts, minutes)
            if spells is None or not history.are_met(spells, starts, minutes):
                return False
            self._load(history, spells, swapped, loads)
        return all(_fits(changes, self._room[holder]) for holder, changes in loads.items())

    def _made(self, swapped: frozenset[str]) -> Iterator[History]:
        problem = self.problem
        known = {id(problem.model.yes): True}
        known |= {id(literal): task not in self.dropped for task, literal in problem.tasks.items()}
        known |= {id(literal): task not in self.dropped and is_swapped == (task in swapped)
                  for (task, is_swapped), literal in problem.done.items()
                  if literal is not problem.tasks[task]}

        def holds(literal: Literal) -> bool | None:
            return known.get(id(literal))

        return (History.of(chain, problem.work.number, holds) for chain in problem.chains)

    def _load(self, history: History, spells: Sequence[Spell], swapped: frozenset[str],
              loads: dict[str, list[tuple[float, float]]]) -> None:
        slots = self._slots.get(history.name, 0.0)
        goes_along = history.name in self.problem.work.goes_along
        for spell in spells if slots else ():
            holder = spell.state
            if goes_along and spell.begun and self.problem.work.steps[spell.begun.step].task in swapped:
                holder = PARTNER.get(holder, holder)
            if holder in self._room:
                loads.setdefault(holder, []).extend([(spell.begin_min, slots), (spell.end_min, -slots)])


def _fits(changes: list[tuple[float, float]], limit: float) -> bool:
    """Whether what comes and goes (minute, slots) never sums to more than the limit; going comes first."""
    held = 0.0
    for _, slots in sorted(changes):
        held += slots
        if held > limit + _SAME:
            return False
    return True
