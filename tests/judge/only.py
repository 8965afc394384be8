"""Findings as records, for tests that expect exactly these and no others."""

from __future__ import annotations

from typing import Any

import planning_kit as pk


def all_of(scenario: pk.Scenario) -> list[dict[str, Any]]:
    """All findings of a scenario's plan."""
    return pk.time_plan(scenario).findings.to_dict("records")


def only(scenario: pk.Scenario) -> dict[str, Any]:
    """The one finding of a scenario's plan."""
    found = all_of(scenario)
    assert len(found) == 1, [(each["severity"], each["check"], each["message"]) for each in found]
    return found[0]
