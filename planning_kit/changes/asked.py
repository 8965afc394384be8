"""The keywords of a what-if as changes: names found, numbers in range, every fault at once.

A planner may name a step, a task, someone at work, a route, a gap. What cannot be found is a fault that says
what was perhaps meant.
"""

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from planning_kit.changes.amounts import Amount, Close, GapTo, PetZero, Set, Stretch, Tethers, amount_of_steps
from planning_kit.changes.change import CREW, STEP, TASK, Change, Named, task_named
from planning_kit.changes.dropping import Drop
from planning_kit.changes.order import Follow, Trade
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults, ScenarioError, is_number
from planning_kit.inputs.records import BOTH, Gap, Records
from planning_kit.inputs.utc import pet_zero_asked

TABLE = "what_if"
_KINDS = (STEP, TASK, CREW)
_LONGEST_SLIP_MIN = 14 * 24 * 60.0
_ADDED = re.compile(r"[+−-][0-9]+(\.[0-9]+)?")
_MOST_FACTOR, _MOST_ADDED_MIN = 100.0, 1440.0


def changes_asked_for(records: Records, leaving: datetime, arguments: Mapping[str, object]) -> list[Change]:
    """What is asked of a scenario whose crew is ``leaving`` then (UTC), as changes in the order of making.

    ``arguments``: those of ``plan.what_if`` as they were given. Raises one
    `ScenarioError` with every name that there is not and every number that makes no sense.
    """
    asking = Asking(records)
    at = _pet_zero(asking, arguments.get("pet_zero"), arguments.get("slip_min", 0.0), leaving)
    changes = [change for name, read in _READERS.items() for change in read(asking, arguments.get(name))]
    asking.faults.stop_if_any()
    return [*([PetZero(at, leaving)] if at != leaving else []), *changes]


def leaving_after(changes: Iterable[Change], pet_zero: datetime) -> datetime:
    """When they leave with all changes made (UTC)."""
    return next((change.at for change in reversed([*changes]) if isinstance(change, PetZero)), pet_zero)


@dataclass(frozen=True)
class Asking:
    """What ``records`` know by the names that are asked for, and what is wrong with the question."""

    records: Records
    faults: Faults = field(default_factory=Faults)

    def fault(self, column: str, value: object, problem: str) -> None:
        """Note what is wrong with one argument."""
        self.faults.add(TABLE, None, column, value, problem)

    def pairs(self, value: object, column: str, example: str) -> dict[Any, Any]:
        """A mapping as a dict, empty for None; for anything else, empty with a fault noted."""
        if value is not None and not isinstance(value, Mapping):
            self.fault(column, value, f"must be written as a mapping, such as {example}")
        return dict(value) if isinstance(value, Mapping) else {}

    def all_named(self, names: object, column: str, *kinds: str) -> tuple[Named, ...]:
        """All that is named, each once."""
        found = (self.named(name, column, *kinds) for name in as_names(names))
        return tuple(dict.fromkeys(each for each in found if each is not None))

    def named(self, name: object, column: str, *kinds: str) -> Named | None:
        """The steps, task or crew that ``name`` stands for, or None with a fault noted.

        An id that names two of them is written ``step:ID``, ``task:ID`` or ``crew:ID``.
        """
        prefix, _, bare = str(name).rpartition(":")
        known = self._known()
        possible = (prefix,) if prefix in kinds else kinds
        found = [kind for kind in possible if (bare if prefix else str(name)) in known[kind]]
        if len(found) == 1 and prefix in ("", *kinds):
            return Named(found[0], bare, known[found[0]][bare])
        if len(found) > 1:
            ways = " or ".join(f"{kind}:{bare}" for kind in found)
            self.fault(column, name, f"names a {' and a '.join(found)}: write {ways}")
            return None
        names = tuple(dict.fromkeys(each for kind in kinds for each in known[kind]))
        self.fault(column, name, f"is no {' or '.join(kinds)} here{did_you_mean(bare, names)}")
        return None

    def _known(self) -> dict[str, dict[str, tuple[str, ...]]]:
        """Kind to id to steps. Whom a shared step belongs to: both."""
        records, steps = self.records, self.records.steps
        workers = [*(each.crew for each in records.crew), BOTH, *(each.actor for each in records.actors)]
        return {
            STEP: {step.step: (step.step,) for step in steps},
            TASK: {task.task: task_named(records, task.task).steps for task in records.tasks},
            CREW: {who: tuple(s.step for s in steps if who in (s.crew, *s.people)) for who in workers},
        }

    def route(self, name: object) -> frozenset[str] | None:
        """The two places of a route, written ``"A B"`` or ``("A", "B")`` in any order; None with a fault."""
        ends = tuple(name.split()) if isinstance(name, str) else tuple(str(part) for part in as_names(name))
        routes = self.records.routes
        if len(ends) == 2 and any(set(ends) == {route.from_place, route.to_place} for route in routes):
            return frozenset(ends)
        written = tuple(f"{route.from_place} {route.to_place}" for route in routes)
        hint = did_you_mean(" ".join(ends), written) if len(ends) == 2 else ""
        self.fault("close", " ".join(ends) if not isinstance(name, str) else name, (
            f"is no route here; write its two places, such as {written[0]!r}{hint}" if written
            else "is no route here: there are none"))
        return None

    def gap(self, name: object) -> Gap | None:
        """A gap written ``"A1 B1"`` or, where several have the two steps, ``"A1 finish B1 start"``.

        Of rows between the same ends, which are one rule, the first. None with a fault where there is none.
        """
        by_ends = {gap.ends: gap for gap in reversed(self.records.gaps)}
        by_pair: dict[str, list[str]] = {}
        for ends, gap in reversed(by_ends.items()):
            by_pair.setdefault(f"{gap.first_step} {gap.then_step}", []).append(ends)
        found = by_pair.get(name, [name]) if isinstance(name, str) else []
        if len(found) == 1 and found[0] in by_ends:
            return by_ends[found[0]]
        self.fault("gaps", name, (
            f"names {len(found)} gaps: write {' or '.join(map(repr, found))}" if len(found) > 1 else
            f"is no gap here; write its two steps, such as 'A1 B1'{did_you_mean(str(name), tuple(by_pair))}"))
        return None


def as_names(value: object) -> tuple[object, ...]:
    """One name or several as a tuple: a text is one name, not its letters; None is none."""
    if value is None:
        return ()
    if isinstance(value, str) or not isinstance(value, Iterable):
        return (value,)
    return tuple(value)


def _settings(asking: Asking, settings: object) -> list[Set]:
    keys = asking.pairs(settings, "settings", "{'suit.oxygen_g': 500}")
    if "pet_zero_utc" in keys:
        asking.fault("settings", "pet_zero_utc", "give another PET 0 as pet_zero or slip_min")
    return [Set(keys)] if keys else []


def _stretch(asking: Asking, stretch: object) -> list[Stretch]:
    """``{name: 1.2}`` (a factor) and ``{name: "+5"}`` (minutes for each step)."""
    found = []
    for name, amount in asking.pairs(stretch, "stretch", "{'A1': 1.2}").items():
        named, read = asking.named(name, "stretch", *_KINDS), _amount(amount)
        if read is None:
            asking.fault("stretch", f"{name}: {amount}",
                         f"is neither a factor above 0 and at most {_MOST_FACTOR:g}, such as 1.2, nor "
                         f"minutes with a sign in quotation marks, such as '+5' or '-2.5'")
        elif named is not None and read != (1.0, 0.0):
            found.append(Amount(named, *read))
    likely = {step.step: step.minutes_likely for step in asking.records.steps}
    for step, each in amount_of_steps(asking.records, found).items():
        if each.changed_min(likely[step]) < 0:
            asking.fault("stretch", each.words,
                         f"would leave {step} less than no time: it takes {likely[step]:g} min")
    return [Stretch(tuple(found))] if found else []


def _amount(amount: object) -> tuple[float, float] | None:
    """Factor and added minutes, or None where it is neither."""
    if isinstance(amount, str):
        text = amount.strip().replace("−", "-")
        added = float(text) if _ADDED.fullmatch(text) else math.nan
        return (1.0, added) if abs(added) <= _MOST_ADDED_MIN else None
    return (float(amount), 0.0) if is_number(amount) and 0 < amount <= _MOST_FACTOR else None


def _gaps(asking: Asking, gaps: object) -> list[GapTo]:
    found, example = [], "{'A1 B1': {'max_gap': 30}}"
    for pair, changes in asking.pairs(gaps, "gaps", example).items():
        gap, minutes = asking.gap(pair), asking.pairs(changes, "gaps", example)
        for column in minutes:
            if column not in ("min_gap", "max_gap") or not is_number(minutes[column]):
                asking.fault("gaps", f"{pair}: {column}", "change min_gap or max_gap, to a number of minutes")
        found += [GapTo(gap, minutes)] if gap is not None else []
    return found


def _moves(asking: Asking, move: object) -> list[Follow]:
    found = []
    for step, after in asking.pairs(move, "move", "{'B1': 'A1'}").items():
        ends = [asking.named(name, "move", STEP) for name in (step, after)]
        if None not in ends and step == after:
            asking.fault("move", step, "a step cannot follow itself")
        found += [Follow(ends[0].id, ends[1].id)] if ends[0] and ends[1] else []
    return found


def _trade(asking: Asking, swap: object) -> list[Trade]:
    swappable = {task.task: task.swappable for task in asking.records.tasks}
    if isinstance(swap, str) and swap in ("all", "swappable"):
        tasks = tuple(task for task in swappable if swappable[task] or swap == "all")
        return [Trade(tasks)] if tasks else []
    found = asking.all_named(swap, "swap", TASK, STEP)
    for each in found:
        if each.kind == STEP:
            asking.fault("swap", each.id, "is a step; name tasks, 'swappable' or 'all'")
        elif not swappable[each.id]:
            asking.fault("swap", each.id,
                         "is not swappable (tasks.csv); mark it so, or swap 'all' to trade whole roles")
    return [Trade(tuple(each.id for each in found))] if found else []


def _tethers(asking: Asking, tether_m: Any) -> list[Tethers]:
    people = tuple(crew.crew for crew in asking.records.crew)
    by_name = isinstance(tether_m, Mapping)
    for who, metres in tether_m.items() if by_name else [] if tether_m is None else [(people[0], tether_m)]:
        if who not in people:
            asking.fault("tether_m", who, f"is not EV1 or EV2{did_you_mean(str(who), people)}")
        elif not is_number(metres) or metres < 0:
            asking.fault("tether_m", metres, "must be a length in metres")
    lengths = dict(tether_m) if by_name else dict.fromkeys(people, tether_m)
    return [Tethers(lengths)] if lengths and tether_m is not None else []


def _close(asking: Asking, close: object) -> list[Close]:
    """One route or several; two ids side by side are the one route between them."""
    names = as_names(close)
    if len(names) == 2 and all(isinstance(name, str) and " " not in name for name in names):
        names = (names,)
    pairs = tuple(pair for name in names if (pair := asking.route(name)))
    return [Close(pairs)] if pairs else []


# In the order in which the changes are made, so that each finds what it names: steps are dropped late, and
# routes are closed last, for work that is dropped needs no way.
_READERS: dict[str, Callable[[Asking, Any], Iterable[Change]]] = {
    "settings": _settings, "stretch": _stretch, "gaps": _gaps, "move": _moves, "swap": _trade,
    "tether_m": _tethers,
    "drop": lambda asking, it: [Drop(named)] if (named := asking.all_named(it, "drop", STEP, TASK)) else [],
    "close": _close}


def _pet_zero(asking: Asking, pet_zero: Any, slip_min: Any, leaving: datetime) -> datetime:
    """The moment asked for; a date without a time of day keeps the present time of day."""
    if not is_number(slip_min) or abs(slip_min) > _LONGEST_SLIP_MIN:
        asking.fault("slip_min", slip_min,
                     "must be minutes, at most 14 days of them; give another day as PET 0")
        slip_min = 0.0
    moment = leaving
    try:
        if pet_zero is not None:
            moment = pet_zero_asked(pet_zero, leaving)
        return moment + timedelta(minutes=slip_min)
    except ScenarioError as error:
        for fault in error.problems.itertuples():
            asking.fault("pet_zero", fault.value, str(fault.problem))
    except OverflowError:
        asking.fault("pet_zero", moment.isoformat(), "lies outside the years that can be planned")
    return leaving
