"""What the plan means by a hold: until when someone is meant to have an item that somebody else takes next.

A leave that was forgotten shows when another takes the item: then the first one was meant to leave it there,
in the last step at that place. From then on it does not burden the first one's hands any more.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from math import inf, isfinite
from typing import TYPE_CHECKING

from planning_kit.inputs.records import Step

if TYPE_CHECKING:
    from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True)
class _Act:
    """A take, leave or use (``is_move`` False) of an item by ``people`` at PET ``at_min``."""

    at_min: float
    people: tuple[str, ...]
    place: str
    is_move: bool


class Intentions:
    """Who acts on each item when, looked up for what a hold was meant for."""

    def __init__(self, plan: TimedPlan) -> None:
        """Read all takes, leaves and uses of the plan."""
        self._acts: dict[str, list[_Act]] = {}
        self._stays: dict[tuple[str, str], list[float]] = {}
        for step, start, finish in zip(plan.steps, plan.starts.tolist(), plan.finishes.tolist(), strict=True):
            if isfinite(start):
                self._note(step, start, finish)
        for acts in self._acts.values():
            acts.sort(key=lambda act: act.at_min)
        for finishes in self._stays.values():
            finishes.sort()

    def _note(self, step: Step, start: float, finish: float) -> None:
        for moves, at in ((step.takes, start), (step.leaves, finish)):
            for move in moves:
                who = (move.crew,) if move.crew else step.people
                self._acts.setdefault(move.item, []).append(_Act(at, who, step.place, True))
        for item in step.uses:
            self._acts.setdefault(item, []).append(_Act(finish, step.people, step.place, False))
        for person in step.people:
            self._stays.setdefault((person, step.place), []).append(finish)

    def until_min(self, person: str, item: str, since_min: float) -> float:
        """Until when ``person``, who has ``item`` since ``since_min``, is meant to have it; inf: to the end.

        Where somebody else moves it next and the first one neither uses nor moves it again: the end of the
        first one's last step at that place before, or else that moment itself.
        """
        later = [act for act in self._acts.get(item, ()) if act.at_min > since_min]
        then = next((act for act in later if act.is_move), None)
        if then is None or any(person in act.people for act in later):
            return inf
        finishes = self._stays.get((person, then.place), [])
        known = bisect_right(finishes, then.at_min)
        left = finishes[known - 1] if known else -inf
        return left if left > since_min else then.at_min
