"""Slower and faster work: factors and added minutes, for a step, a task or whoever does it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from planning_kit.changes.edits import retime_steps
from planning_kit.changes.naming import CREW, STEP, TABLE, TASK, Named, find_named
from planning_kit.inputs.arguments import is_number
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.records import Records
from planning_kit.inputs.scenario import Scenario

_ADDED = re.compile(r"[+−-][0-9]+(\.[0-9]+)?")
_MOST_FACTOR, _MOST_ADDED_MIN = 100.0, 1440.0
_CLOSEST = (STEP, TASK, CREW)


@dataclass(frozen=True)
class Stretch:
    """Steps whose durations are multiplied by ``factor`` and lengthened by ``added_min`` each."""

    named: Named
    factor: float
    added_min: float

    def changed_min(self, minutes: float) -> float:
        """What becomes of a duration."""
        return minutes * self.factor + self.added_min

    @property
    def words(self) -> str:
        """What is changed, as a planner says it."""
        who = f"{self.named.kind} {self.named.id}" if self.named.kind != CREW else self.named.id
        each = " each step" if self.named.kind != STEP else ""
        if self.factor != 1.0:
            return f"{who}:{each} × {self.factor:g}"
        sign = "+" if self.added_min >= 0 else "−"
        return f"{who}:{each} {sign}{abs(self.added_min):g} min"


def read_stretch(records: Records, stretch: Mapping[str, object], faults: Faults) -> tuple[Stretch, ...]:
    """Read ``{name: 1.2}`` (a factor) and ``{name: "+5"}`` (minutes for each step); faults noted."""
    found = []
    for name, amount in stretch.items():
        named, read = find_named(records, name, "stretch", faults), _amount(amount)
        if read is None:
            faults.add(TABLE, None, "stretch", f"{name}: {amount}",
                       f"is neither a factor above 0 and at most {_MOST_FACTOR:g}, such as 1.2, nor minutes "
                       f"with a sign in quotation marks, such as '+5' or '-2.5'")
        elif named is not None and read != (1.0, 0.0):
            found.append(Stretch(named, *read))
    stretches = tuple(found)
    for step, each in _by_step(records, stretches).items():
        likely = next(s.minutes_likely for s in records.steps if s.step == step)
        if each.changed_min(likely) < 0:
            faults.add(TABLE, None, "stretch", each.words,
                       f"would leave {step} less than no time: it takes {likely:g} min")
    return stretches


def stretch_steps(scenario: Scenario, stretches: Iterable[Stretch]) -> Scenario:
    """The scenario with other durations: of several names for one step the closest counts."""
    chosen = _by_step(scenario.records, tuple(stretches))
    return retime_steps(scenario, {step: each.factor for step, each in chosen.items()},
                        {step: each.added_min for step, each in chosen.items()})


def _by_step(records: Records, stretches: tuple[Stretch, ...]) -> dict[str, Stretch]:
    """The one stretch of each step: its own, else its task's, else that of its slowest crew member."""
    chosen: dict[str, Stretch] = {}
    for step in records.steps:
        naming = [each for each in stretches if step.step in each.named.steps]
        for kind in _CLOSEST:
            of_kind = [each for each in naming if each.named.kind == kind]
            if of_kind:
                chosen[step.step] = max(of_kind, key=lambda each: each.changed_min(step.minutes_likely))
                break
    return chosen


def _amount(amount: object) -> tuple[float, float] | None:
    """Factor and added minutes, or None where it is neither."""
    if isinstance(amount, str):
        text = amount.strip().replace("−", "-")
        added = float(text) if _ADDED.fullmatch(text) else math.nan
        return (1.0, added) if abs(added) <= _MOST_ADDED_MIN else None
    return (float(amount), 0.0) if is_number(amount) and 0 < amount <= _MOST_FACTOR else None
