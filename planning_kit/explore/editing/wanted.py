"""All that a what-if asks for, read and checked: names found, numbers in range, every fault at once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from planning_kit.explore.editing.naming import (
    STEP,
    TABLE,
    TASK,
    Named,
    as_names,
    as_pairs,
    find_gap,
    find_named,
    find_route,
)
from planning_kit.explore.editing.stretching import Stretch, read_stretch
from planning_kit.inputs.arguments import is_number
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.records import Gap, Records
from planning_kit.inputs.times import as_utc

_LONGEST_SLIP_MIN = 14 * 24 * 60.0


@dataclass(frozen=True, kw_only=True)
class Asked:
    """The arguments of `planning_kit.front.Plan.what_if` as they were given."""

    egress_slip_min: float = 0.0
    stretch: Mapping[str, object] | None = None
    drop: object = ()
    egress: str | date | datetime | None = None
    swap: object = ()
    close: object = ()
    tether_m: float | Mapping[str, float] | None = None
    settings: Mapping[str, object] | None = None
    move: Mapping[str, str] | None = None
    gaps: Mapping[str, Mapping[str, float]] | None = None


@dataclass(frozen=True)
class Wanted:
    """All that is asked, with every name found. ``egress`` is UTC before the slip of ``slip_min``."""

    stretches: tuple[Stretch, ...]
    dropped: tuple[Named, ...]
    swapped: tuple[str, ...]
    closed: tuple[frozenset[str], ...]
    moves: tuple[tuple[str, str], ...]
    gaps: tuple[tuple[Gap, Mapping[str, float]], ...]
    tethers: Mapping[str, float]
    settings: Mapping[str, object]
    slip_min: float
    egress: datetime


def read_wanted(records: Records, leaving: datetime, asked: Asked) -> Wanted:
    """What is asked of a scenario whose crew is ``leaving`` then (UTC).

    Raises one `ScenarioError` with every name that there is not and every number that makes no sense.
    """
    faults = Faults()
    wanted = Wanted(
        stretches=read_stretch(records, as_pairs(asked.stretch, "stretch", "{'A1': 1.2}", faults), faults),
        dropped=_named(records, asked.drop, "drop", faults, (STEP, TASK)),
        swapped=_tasks_to_swap(records, asked.swap, faults),
        closed=tuple(pair for each in _routes(asked.close) if (pair := find_route(records, each, faults))),
        moves=_moves(records, as_pairs(asked.move, "move", "{'B1': 'A1'}", faults), faults),
        gaps=_gaps(records, as_pairs(asked.gaps, "gaps", "{'A1 B1': {'max_gap': 30}}", faults), faults),
        tethers=_tethers(records, asked.tether_m, faults),
        settings=as_pairs(asked.settings, "settings", "{'suit.oxygen_g': 500}", faults),
        slip_min=_slip(asked.egress_slip_min, faults),
        egress=_egress(asked.egress, leaving, faults),
    )
    if "egress" in wanted.settings:
        faults.add(TABLE, None, "settings", "egress", "give another egress as egress or egress_slip_min")
    faults.stop_if_any()
    return wanted


def _named(records: Records, names: object, column: str, faults: Faults,
           kinds: tuple[str, ...]) -> tuple[Named, ...]:
    """What is named, each once."""
    found = (find_named(records, name, column, faults, kinds) for name in as_names(names))
    return tuple(dict.fromkeys(each for each in found if each is not None))


def _routes(close: object) -> tuple[object, ...]:
    """One route or several; two ids side by side are the one route between them."""
    names = as_names(close)
    is_one_pair = len(names) == 2 and all(isinstance(name, str) and " " not in name for name in names)
    return (names,) if is_one_pair else names


def _tasks_to_swap(records: Records, swap: object, faults: Faults) -> tuple[str, ...]:
    if isinstance(swap, str) and swap in ("all", "swappable"):
        return tuple(task.task for task in records.tasks if task.swappable or swap == "all")
    found = _named(records, swap, "swap", faults, (TASK, STEP))
    swappable = {task.task: task.swappable for task in records.tasks}
    for each in found:
        if each.kind == STEP:
            faults.add(TABLE, None, "swap", each.id, "is a step; name tasks, 'swappable' or 'all'")
        elif not swappable[each.id]:
            faults.add(TABLE, None, "swap", each.id,
                       "is not swappable (tasks.csv); mark it so, or swap 'all' to trade whole roles")
    return tuple(each.id for each in found)


def _moves(records: Records, move: Mapping[str, str], faults: Faults) -> tuple[tuple[str, str], ...]:
    for step, after in move.items():
        ends = [find_named(records, name, "move", faults, (STEP,)) for name in (step, after)]
        if None not in ends and step == after:
            faults.add(TABLE, None, "move", step, "a step cannot follow itself")
    return tuple((str(step).removeprefix("step:"), str(after).removeprefix("step:"))
                 for step, after in move.items())


def _gaps(records: Records, gaps: Mapping[str, Mapping[str, float]],
          faults: Faults) -> tuple[tuple[Gap, Mapping[str, float]], ...]:
    found = []
    for pair, changes in gaps.items():
        gap = find_gap(records, pair, faults)
        changes = as_pairs(changes, "gaps", "{'A1 B1': {'max_gap': 30}}", faults)
        for column, minutes in changes.items():
            if column not in ("min_gap", "max_gap") or not is_number(minutes):
                faults.add(TABLE, None, "gaps", f"{pair}: {column}",
                           "change min_gap or max_gap, to a number of minutes")
        if gap is not None:
            found.append((gap, changes))
    return tuple(found)


def _tethers(records: Records, tether_m: float | Mapping[str, float] | None,
             faults: Faults) -> dict[str, float]:
    people = tuple(crew.crew for crew in records.crew)
    if tether_m is None:
        return {}
    by_name = isinstance(tether_m, Mapping)
    for who, metres in tether_m.items() if isinstance(tether_m, Mapping) else [("", tether_m)]:
        if by_name and who not in people:
            faults.add(TABLE, None, "tether_m", who, f"is not EV1 or EV2{did_you_mean(str(who), people)}")
        elif not is_number(metres) or metres < 0:
            faults.add(TABLE, None, "tether_m", metres, "must be a length in metres")
    return dict(tether_m) if isinstance(tether_m, Mapping) else dict.fromkeys(people, tether_m)


def _slip(slip_min: float, faults: Faults) -> float:
    if not is_number(slip_min) or abs(slip_min) > _LONGEST_SLIP_MIN:
        faults.add(TABLE, None, "egress_slip_min", slip_min,
                   "must be minutes, at most 14 days of them; give another day as egress")
        return 0.0
    return float(slip_min)


def _egress(egress: str | date | datetime | None, leaving: datetime, faults: Faults) -> datetime:
    """The moment asked for; a date without a time of day keeps the present time of day."""
    if egress is None:
        return leaving
    try:
        moment = as_utc(egress, "egress")
    except ScenarioError as error:
        for fault in error.problems.itertuples():
            faults.add(TABLE, None, "egress", fault.value, str(fault.problem))
        return leaving
    has_no_time = (isinstance(egress, str) and len(egress.strip()) <= 10) or (
        isinstance(egress, date) and not isinstance(egress, datetime))
    return datetime.combine(moment.date(), leaving.timetz()) if has_no_time else moment
