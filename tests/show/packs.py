"""Packs that many tests read: one whose every free text is hostile."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import planning_kit as pk
from planning_kit.show.pack.content import Rich, Section
from tests.attack import hostile

SCENARIOS = Path(__file__).parents[2] / "scenarios"
HOSTILE = hostile.PAYLOADS


def hostile_scenario(name: str = "small-outing") -> pk.Scenario:
    """A scenario in which every free text is hostile."""
    return hostile.hostile_scenario(pk.load_scenario(SCENARIOS / name), HOSTILE)


@dataclass(frozen=True)
class OnCard:
    """One event of a pocket card: PET, step ("" of a way or wait), slack in minutes as printed, lines."""

    pet: str
    step: str
    slack: str
    lines: tuple[str, ...]

    @property
    def words(self) -> str:
        return " ".join(self.lines)


def on_card(sheet: Section) -> list[OnCard]:
    """What a pocket card tells, event by event, with the rows of its actions."""
    told: list[list[Any]] = []
    for row in sheet.blocks[0].rows:
        if isinstance(row[0], Rich):
            told.append([row[0], [], []])
        told[-1][1] += row[-2].lines
        told[-1][2] += [line for line, look in row[-2].looked if look == "strong"]
    return [OnCard(clock.lines[0], strong[0].partition(":")[0] if strong and ": " in strong[0] else "",
                   clock.lines[1].removeprefix("slack ") if len(clock.lines) > 1 else "", tuple(lines))
            for clock, lines, strong in told]
