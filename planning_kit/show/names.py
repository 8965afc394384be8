"""What things are called when a plan is told in words: titles with ids, on one line, nothing added.

Every text of a scenario passes through `one_line`: no control characters, no turned writing. Whoever shows
the words as HTML escapes them there.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cached_property

from planning_kit.inputs.records import BOTH, INSIDE, Step
from planning_kit.inputs.times import gmt_label, moment_at, pet_label
from planning_kit.plan.timed import TimedPlan
from planning_kit.show.escape import one_line


class Names:
    """Titles and labels of one plan."""

    def __init__(self, plan: TimedPlan) -> None:
        """Names of ``plan``."""
        self.plan = plan
        self._records = plan.scenario.records

    @cached_property
    def _titles(self) -> dict[str, str]:
        records = self._records
        named = [*((place.place, place.title) for place in records.places),
                 *((item.item, item.title) for item in records.hardware),
                 *((actor.actor, actor.title) for actor in records.actors)]
        return {key: one_line(title) for key, title in named}

    @cached_property
    def steps(self) -> dict[str, Step]:
        """Every step by id."""
        return {step.step: step for step in self._records.steps}

    def title(self, key: str) -> str:
        """The title of a place, item or actor, or its id where it has none; ``inside`` as it is."""
        return self._titles.get(key) or one_line(key)

    def item(self, item: str) -> str:
        """An item by its title, with its id where it shares the title with another thing."""
        title = self.title(item)
        is_shared = sum(other == title for other in self._titles.values()) > 1
        return f"{title} [{one_line(item)}]" if is_shared else title

    def items(self, items: Iterable[str]) -> str:
        """Several items, separated by semicolons (titles hold commas)."""
        return "; ".join(self.item(item) for item in items)

    def step(self, step: str) -> str:
        """A step as ``id (title)``."""
        title = one_line(self.steps[step].title) if step in self.steps else ""
        return f"{one_line(step)} ({title})" if title else one_line(step)

    def who(self, crew: str) -> str:
        """Who does it: both crew members by name, an actor by title."""
        if crew == BOTH:
            return " and ".join(self.plan.travels)
        return crew if crew in self.plan.travels else self.title(crew)

    def where(self, holder: str) -> str:
        """Where something is: at a place, with someone, or inside."""
        if holder == INSIDE:
            return "inside"
        at_place = any(place.place == holder for place in self._records.places)
        return f"at {self.title(holder)}" if at_place else f"with {self.who(holder)}"

    def times(self, pet: float) -> str:
        """A moment as PET with its GMT."""
        return f"{pet_label(pet)} (GMT {gmt_label(moment_at(pet, self.plan.egress))})"


def minutes(value: float) -> str:
    """A length in minutes, to a tenth, with a true minus."""
    rounded = round(value, 1) + 0.0
    return f"{rounded:g}".replace("-", "−") + " min"


def signed(value: float, unit: str = "min") -> str:
    """A margin with its sign, to a tenth."""
    if not math.isfinite(value):
        return "not known"
    rounded = round(value, 1) + 0.0
    return f"{rounded:+.1f} {unit}".replace("-", "−")
