"""What a planner may name in a question: a step, a task, someone at work, a route, a gap.

Whatever cannot be found is a fault with what was perhaps meant; all faults of a question come at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.records import BOTH, Gap, Records

TABLE = "what_if"
STEP, TASK, CREW = "step", "task", "crew"
_KINDS = (STEP, TASK, CREW)


@dataclass(frozen=True)
class Named:
    """What one name stands for: its kind, its id and the ids of its steps in row order."""

    kind: str
    id: str
    steps: tuple[str, ...]


def as_names(value: object) -> tuple[object, ...]:
    """One name or several as a tuple: a text is one name, not its letters; None is none."""
    if value is None:
        return ()
    if isinstance(value, str) or not isinstance(value, Iterable):
        return (value,)
    return tuple(value)


def as_pairs(value: object, column: str, example: str, faults: Faults) -> dict[Any, Any]:
    """A mapping as a dict, empty for None; for anything else, empty with a fault noted."""
    if value is None or isinstance(value, Mapping):
        return dict(value or {})
    faults.add(TABLE, None, column, value, f"must be written as a mapping, such as {example}")
    return {}


def find_named(records: Records, name: object, column: str, faults: Faults,
               kinds: tuple[str, ...] = _KINDS) -> Named | None:
    """The steps, task or crew that ``name`` stands for, or None with a fault noted.

    An id that names two of them is written ``step:ID``, ``task:ID`` or ``crew:ID``.
    """
    prefix, _, bare = str(name).rpartition(":")
    known = _known(records)
    wanted = (prefix,) if prefix in kinds else kinds
    found = [kind for kind in wanted if (bare if prefix else str(name)) in known[kind]]
    if len(found) == 1 and prefix in ("", *kinds):
        return Named(found[0], bare, known[found[0]][bare])
    if len(found) > 1:
        ways = " or ".join(f"{kind}:{bare}" for kind in found)
        faults.add(TABLE, None, column, name, f"names a {' and a '.join(found)}: write {ways}")
        return None
    names = tuple(dict.fromkeys(each for kind in kinds for each in known[kind]))
    faults.add(TABLE, None, column, name, f"is no {' or '.join(kinds)} here{did_you_mean(bare, names)}")
    return None


def _known(records: Records) -> dict[str, dict[str, tuple[str, ...]]]:
    """Kind to id to steps. Whom a shared step belongs to: both."""
    steps = records.steps
    people = [each.crew for each in records.crew]
    workers = [*people, BOTH, *(each.actor for each in records.actors)]
    return {
        STEP: {step.step: (step.step,) for step in steps},
        TASK: {task.task: tuple(s.step for s in steps if s.task == task.task) for task in records.tasks},
        CREW: {who: tuple(s.step for s in steps if who in (s.crew, *s.people))
               for who in workers},
    }


def find_route(records: Records, name: object, faults: Faults) -> frozenset[str] | None:
    """The two places of a route written ``"A B"`` or ``("A", "B")``, in any order, or None with a fault."""
    ends = tuple(name.split()) if isinstance(name, str) else tuple(str(part) for part in as_names(name))
    routes = {frozenset((route.from_place, route.to_place)): route for route in records.routes}
    if len(ends) == 2 and frozenset(ends) in routes:
        return frozenset(ends)
    written = tuple(f"{route.from_place} {route.to_place}" for route in records.routes)
    hint = did_you_mean(" ".join(ends), written) if len(ends) == 2 else ""
    faults.add(TABLE, None, "close", name if isinstance(name, str) else " ".join(ends),
               f"is no route here; write its two places, such as {written[0]!r}{hint}" if written
               else "is no route here: there are none")
    return None


def find_gap(records: Records, name: object, faults: Faults) -> Gap | None:
    """A gap written ``"A1 B1"`` or, where several have the two steps, ``"A1 finish B1 start"``.

    Of rows between the same ends, which are one rule, the first. None with a fault noted where there is none.
    """
    by_ends = {gap.ends: gap for gap in reversed(records.gaps)}
    by_pair: dict[str, list[str]] = {}
    for ends, gap in reversed(by_ends.items()):
        by_pair.setdefault(f"{gap.first_step} {gap.then_step}", []).append(ends)
    found = by_pair.get(name, [name]) if isinstance(name, str) else []
    if len(found) > 1:
        faults.add(TABLE, None, "gaps", name,
                   f"names {len(found)} gaps: write {' or '.join(map(repr, found))}")
        return None
    if found and found[0] in by_ends:
        return by_ends[found[0]]
    faults.add(TABLE, None, "gaps", name, "is no gap here; write its two steps, such as "
               f"'A1 B1'{did_you_mean(str(name), tuple(by_pair))}")
    return None
