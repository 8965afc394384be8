"""A planner's questions put to a plan: what if we are late, slower, leaner, without this task, another day?

Each question becomes edits of the scenario and of the egress, checked as any edit is, and words that say what
was changed. The timing is then asked anew: nothing here computes a time.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial
from numbers import Real

import pandas as pd

from planning_kit.explore.editing.dropping import drop_steps
from planning_kit.explore.editing.edits import close_routes, move_step, relax_gap, set_tethers
from planning_kit.explore.editing.naming import (
    STEP,
    TABLE,
    TASK,
    Named,
    as_names,
    as_pairs,
    find_named,
    find_route,
)
from planning_kit.explore.editing.stretching import Stretch, read_stretch, stretch_steps
from planning_kit.explore.editing.swapping import swap_roles
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.records import Records
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.text_table import TextTable
from planning_kit.inputs.times import as_utc, gmt_label

CHANGE_COLUMNS = ["name", "kind", "change"]
_LONGEST_SLIP_MIN = 14 * 24 * 60.0


@dataclass(frozen=True)
class Change:
    """One thing that was changed, in words; ``kind`` ``note`` for what it brought with it."""

    name: str
    kind: str
    words: str


def changes_table(changes: Iterable[Change]) -> pd.DataFrame:
    """Changes as a table: ``name`` of the what-if, ``kind`` and ``change`` in words."""
    rows = [(change.name, change.kind, change.words) for change in changes]
    return TextTable(rows, columns=CHANGE_COLUMNS)


@dataclass
class Question:
    """A what-if on its way: the scenario and egress so far, and the words of what was changed."""

    scenario: Scenario
    egress: datetime
    name: str
    changes: list[Change]

    def edit(self, kind: str, words: str, edit: Callable[[Scenario], Scenario]) -> None:
        """Make one edit and say so."""
        self.scenario = edit(self.scenario)
        self.say(kind, words)

    def say(self, kind: str, words: str) -> None:
        """Note what was changed."""
        self.changes.append(Change(self.name, kind, words))


@dataclass(frozen=True)
class _Wanted:
    """All that is asked, with every name found."""

    stretches: tuple[Stretch, ...]
    dropped: tuple[Named, ...]
    swapped: tuple[str, ...]
    closed: tuple[frozenset[str], ...]
    moves: tuple[tuple[str, str], ...]
    gaps: tuple[tuple[str, str, Mapping[str, float]], ...]
    tethers: Mapping[str, float]
    slip_min: float
    egress: datetime


def ask(
    scenario: Scenario,
    leaving: datetime,
    egress_slip_min: float = 0.0,
    stretch: Mapping[str, object] | None = None,
    drop: object = (),
    *,
    egress: str | date | datetime | None = None,
    swap: object = (),
    close: object = (),
    tether_m: float | Mapping[str, float] | None = None,
    settings: Mapping[str, object] | None = None,
    move: Mapping[str, str] | None = None,
    gaps: Mapping[str, Mapping[str, float]] | None = None,
    name: str = "",
) -> Question:
    """The changed scenario, its egress and what was changed. Arguments as `planning_kit.front.Plan.what_if`.

    Raises one `ScenarioError` with every name that there is not and every number that makes no sense, and
    otherwise the faults of the changed scenario.
    """
    faults, records = Faults(), scenario.records
    wanted = _Wanted(
        stretches=read_stretch(records, as_pairs(stretch, "stretch", "{'A1': 1.2}", faults), faults),
        dropped=_named(records, drop, "drop", faults, (STEP, TASK)),
        swapped=_tasks_to_swap(records, swap, faults),
        closed=tuple(pair for each in _routes(close) if (pair := find_route(records, each, faults))),
        moves=_moves(records, as_pairs(move, "move", "{'B1': 'A1'}", faults), faults),
        gaps=_gaps(records, as_pairs(gaps, "gaps", "{'A1 B1': {'max_gap': 30}}", faults), faults),
        tethers=_tethers(records, tether_m, faults),
        slip_min=_slip(egress_slip_min, faults),
        egress=_egress(egress, leaving, faults),
    )
    keys = as_pairs(settings, "settings", "{'suit.oxygen_g': 500}", faults)
    if "egress" in keys:
        faults.add(TABLE, None, "settings", "egress", "give another egress as egress or egress_slip_min")
    faults.stop_if_any()
    question = Question(scenario, wanted.egress, name, [])
    _change_egress(question, wanted, leaving)
    _change_settings(question, keys)
    _change_steps(question, wanted)
    return question


def _named(records: Records, names: object, column: str, faults: Faults,
           kinds: tuple[str, ...]) -> tuple[Named, ...]:
    found = (find_named(records, name, column, faults, kinds) for name in as_names(names))
    return tuple(each for each in found if each is not None)


def _routes(close: object) -> tuple[object, ...]:
    """One route or several; two ids side by side are the one route between them."""
    names = as_names(close)
    is_one_pair = len(names) == 2 and all(isinstance(name, str) and " " not in name for name in names)
    return (names,) if is_one_pair else names


def _tasks_to_swap(records: Records, swap: object, faults: Faults) -> tuple[str, ...]:
    if swap == "all":
        return tuple(task.task for task in records.tasks)
    if swap == "swappable":
        return tuple(task.task for task in records.tasks if task.swappable)
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
          faults: Faults) -> tuple[tuple[str, str, Mapping[str, float]], ...]:
    known = tuple(f"{gap.first_step} {gap.then_step}" for gap in records.gaps)
    found = []
    for pair, changes in gaps.items():
        if pair not in known:
            faults.add(TABLE, None, "gaps", pair, "is no gap here; write its two steps, such as "
                       f"'A1 B1'{did_you_mean(str(pair), known)}")
            continue
        changes = as_pairs(changes, "gaps", "{'A1 B1': {'max_gap': 30}}", faults)
        for column, minutes in changes.items():
            is_number = isinstance(minutes, Real) and math.isfinite(minutes)
            if column not in ("min_gap", "max_gap") or not is_number:
                faults.add(TABLE, None, "gaps", f"{pair}: {column}",
                           "change min_gap or max_gap, to a number of minutes")
        first, then = pair.split(" ")
        found.append((first, then, changes))
    return tuple(found)


def _tethers(records: Records, tether_m: float | Mapping[str, float] | None,
             faults: Faults) -> dict[str, float]:
    people = tuple(crew.crew for crew in records.crew)
    if tether_m is None:
        return {}
    wanted = dict(tether_m) if isinstance(tether_m, Mapping) else dict.fromkeys(people, tether_m)
    for who, metres in wanted.items():
        if who not in people:
            faults.add(TABLE, None, "tether_m", who, f"is not EV1 or EV2{did_you_mean(str(who), people)}")
        elif isinstance(metres, bool) or not isinstance(metres, Real) or not metres >= 0:
            faults.add(TABLE, None, "tether_m", metres, "must be a length in metres")
    return wanted


def _slip(slip_min: float, faults: Faults) -> float:
    is_number = isinstance(slip_min, Real) and not isinstance(slip_min, bool)
    if not is_number or not abs(slip_min) <= _LONGEST_SLIP_MIN:
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


def _change_egress(question: Question, wanted: _Wanted, leaving: datetime) -> None:
    try:
        question.egress = wanted.egress + timedelta(minutes=wanted.slip_min)
    except OverflowError:
        raise ScenarioError.single("lies outside the years that can be planned", table=TABLE, column="egress",
                                   value=wanted.egress.isoformat()) from None
    if question.egress == leaving:
        return
    at = f"{question.egress:%Y-%m-%d} GMT {gmt_label(question.egress)}"
    by = (question.egress - leaving).total_seconds() / 60
    how = f"{abs(by):g} min {'later' if by > 0 else 'earlier'}, " if abs(by) < 1440 else ""
    question.say("egress", f"egress {how}at {at}")
    settings = question.scenario.settings
    for limit, words, is_past in (
        (settings.egress_earliest, "before the earliest egress", settings.egress_earliest is not None
         and question.egress < settings.egress_earliest),
        (settings.egress_latest, "after the latest egress", settings.egress_latest is not None
         and question.egress > settings.egress_latest),
    ):
        if is_past and limit is not None:
            at = f"{limit:%Y-%m-%d} GMT {gmt_label(limit)}"
            question.say("note", f"this lies {words} of the scenario, {at}")


def _change_settings(question: Question, settings: Mapping[str, object]) -> None:
    if settings:
        words = ", ".join(f"{key} = {_said(value)}" for key, value in settings.items())
        question.edit("settings", words, lambda scenario: scenario.with_settings(settings))


def _said(value: object) -> str:
    return "not given" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _change_steps(question: Question, wanted: _Wanted) -> None:
    """Edits of tables in an order in which each finds what it names.

    Steps are dropped late, and routes closed last: work that is dropped needs no way.
    """
    if wanted.stretches:
        question.scenario = stretch_steps(question.scenario, wanted.stretches)
        for each in wanted.stretches:
            question.say("stretch", each.words)
    for first, then, gap_changes in wanted.gaps:
        words = ", ".join(f"{column} {minutes:g} min" for column, minutes in gap_changes.items())
        question.edit("gap", f"gap from {first} to {then}: {words}",
                      partial(relax_gap, first_step=first, then_step=then, changes=gap_changes))
    for step, after in wanted.moves:
        question.edit("move", f"{step} moved to just behind {after}",
                      partial(move_step, step=step, after=after))
    if wanted.swapped:
        question.edit("swap", f"EV1 and EV2 trade {', '.join(wanted.swapped)}",
                      lambda s: swap_roles(s, wanted.swapped))
    if wanted.tethers:
        lengths = ", ".join(f"{who} {metres:g} m" for who, metres in wanted.tethers.items())
        question.edit("tether", f"tether of {lengths}", lambda s: set_tethers(s, wanted.tethers))
    if wanted.dropped:
        _drop(question, wanted.dropped)
    if wanted.closed:
        pairs = ", ".join(" to ".join(sorted(pair)) for pair in wanted.closed)
        question.edit("route", f"route closed: {pairs}", lambda s: close_routes(s, set(wanted.closed)))


def _drop(question: Question, dropped: tuple[Named, ...]) -> None:
    steps = {step for each in dropped for step in each.steps}
    tasks = {each.id for each in dropped if each.kind == TASK}
    question.scenario, notes = drop_steps(question.scenario, steps, tasks)
    for each in dropped:
        count = f" ({len(each.steps)} step{'s' * (len(each.steps) != 1)})" if each.kind == TASK else ""
        question.say("drop", f"{each.kind} {each.id} dropped{count}")
    for note in notes:
        question.say("note", note)
