"""Format 1 of a scenario, which is not read any more: what its keys are called in format 2."""

from collections.abc import Mapping
from typing import Any

from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import ScenarioError

_RENAMED = {
    "egress": "pet_zero_utc", "egress_earliest": "pet_zero_earliest", "egress_latest": "pet_zero_latest",
    "pet_zero": "pet_zero_event", "airlock": "airlock_place",
    "ingress_min": "hatch_closed_min, repress_start_min and repress_safe_min in [airlock]",
    "used_before_egress_min": "battery_min in [suit.used_before]",
}


def stop_if_format_1(settings: Mapping[str, Any] | None) -> None:
    """Raise `ScenarioError`, with what to rename, where ``scenario.toml`` says that it is of format 1."""
    given = settings or {}
    if given.get("format") == 1 and not isinstance(given["format"], bool):
        keys = _keys(given, 3)
        names = "".join(f"; {old} is now {new}" for old, new in _RENAMED.items() if old in keys)
        raise ScenarioError.single(
            f"is format 1, and this version reads format {fmt.FORMAT}: set the number to {fmt.FORMAT} and "
            f"change the names (see scenarios/FORMAT.md){names}", table=fmt.SCENARIO_FILE, column="format",
            value=1)


def _keys(table: Mapping[str, Any], depth: int) -> set[str]:
    """The keys of values in a table and the tables in it, ``depth`` of them one in another."""
    inner = [_keys(value, depth - 1) for value in table.values() if isinstance(value, Mapping) and depth > 1]
    return set().union(*inner, (key for key, value in table.items() if not isinstance(value, Mapping)))
