"""Packs that many tests read: one whose every free text is hostile."""

from __future__ import annotations

from pathlib import Path

import planning_kit as pk
from tests.attack import hostile

SCENARIOS = Path(__file__).parents[2] / "scenarios"
HOSTILE = hostile.PAYLOADS


def hostile_scenario(name: str = "small-outing") -> pk.Scenario:
    """A scenario in which every free text is hostile."""
    return hostile.hostile_scenario(pk.load_scenario(SCENARIOS / name), HOSTILE)
