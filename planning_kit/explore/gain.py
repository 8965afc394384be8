"""What would start a step earlier: the smallest changes, each proved by timing the changed plan.

Moves in the order of work are searched here, other changes in `planning_kit.explore.gain_changes`.
"""

import itertools
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from planning_kit.changes.order import Follow
from planning_kit.explore import gain_changes as changes
from planning_kit.explore.gain_changes import Candidate, Target
from planning_kit.explore.long_question import Report, silent, told
from planning_kit.explore.what_if import what_if
from planning_kit.inputs.faults import ScenarioError, is_whole
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.row_edits import rows_with
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.times import pet_min
from planning_kit.judge.all_checks import new_findings
from planning_kit.judge.findings import STOP
from planning_kit.plan import build
from planning_kit.plan.build import first_releases, order_bounds, travel_into, ways_home, work_order
from planning_kit.plan.late import planned_starts
from planning_kit.plan.network import GRID_MIN, HATCH, LOGGED, NOW, ORDER, Network
from planning_kit.plan.timed import TimedPlan
from planning_kit.plan.timing import earliest_starts, outing_end

_PLACES_TRIED = 2  # for a step that is taken off the way: the cheapest places behind the target

Orders = Mapping[str, Sequence[int]]
"""Positions of the steps of each lane, in the order of work."""


def likely_moves(plan: TimedPlan, target: Target) -> Iterator[Candidate]:
    """The likely moves of one row that meet the target."""
    return _that_help(plan, target, _likely(plan, target))


def other_moves(plan: TimedPlan, target: Target, known: Iterable[Candidate]) -> Iterator[Candidate]:
    """All moves of one row that meet the target, without those ``known``."""
    tried = {candidate.change for candidate in known}
    yield from (each for each in _that_help(plan, target, _every(plan, target)) if each.change not in tried)


def _that_help(plan: TimedPlan, target: Target, moves: Iterable[tuple[int, int]]) -> Iterator[Candidate]:
    """Those moves (positions: which row, and behind which) that meet the target, each order of work once."""
    tried: set[tuple[tuple[int, ...], ...]] = set()
    for moved, after in moves:
        rows = rows_with(len(plan.steps), moved, after + 1)
        orders = _orders_of(plan, rows)
        key = tuple(tuple(order) for order in orders.values())
        if key in tried:
            continue
        tried.add(key)
        # Only the times: what follows from them is worked out for the few that are proved.
        network = _network_of(plan, orders)
        starts = planned_starts(network, plan.durations)
        if target.is_met(starts):
            end_min = float(outing_end(network, starts, plan.durations))
            step, behind = plan.steps[moved], plan.steps[after].step
            task = [i for i in rows if plan.steps[i].task == step.task and (
                step.crew == plan.steps[i].crew or BOTH in (step.crew, plan.steps[i].crew))]
            inside = task != sorted(task)  # it passed another of its task in someone's lane
            words = f"{step.step} moved to just behind {behind}" + (
                f", past other steps of {step.task}" if inside else "")
            yield Candidate(changes.ORDER, words, 0.0, Follow(step.step, behind),
                            (inside, round(end_min, 3), abs(rows.index(moved) - moved)))


def _likely(plan: TimedPlan, target: Target) -> Iterator[tuple[int, int]]:
    goal, ends = plan.starts[target.judged], _ends(plan)
    for who in plan.lanes:
        lane = _to_come(plan, who)
        before = [i for i in lane if plan.starts[i] < goal]
        # Two neighbours the other way round; then one of them to behind the target; then the target ahead.
        for one, other in itertools.pairwise(lane[:len(before) + 1]):
            if not ends & {one, other}:
                yield one, other
        behind = [i for i in lane if plan.starts[i] >= goal]
        for one in before:
            for place in _cheapest_places(plan, who, one, behind) if one not in ends else ():
                if place not in ends:
                    yield one, place
        if target.judged in lane and target.judged not in ends:
            for one in before[:-1]:
                yield target.judged, one


def _every(plan: TimedPlan, target: Target) -> Iterator[tuple[int, int]]:
    """Every row that could help at all, behind every other row of its own lanes."""
    lanes, ends = {who: _to_come(plan, who) for who in plan.lanes}, _ends(plan)
    for moved in range(len(plan.steps)):
        if moved not in ends and _may_help(plan, target, moved):
            own = {who: lane for who, lane in lanes.items() if moved in lane}
            for after in _places(own, is_crew=bool(own.keys() & plan.travels.keys())):
                if after != moved:
                    yield moved, after


def _places(own: Orders, is_crew: bool) -> list[int]:
    """Rows behind which a step of these lanes can go; a crew member's first and last stay so."""
    rows = sorted({row for lane in own.values() for row in lane})
    if not is_crew:  # someone else's first step may change
        return [row for row in (rows[0] - 1, *rows) if row >= 0] if rows else []
    first, last = max(lane[0] for lane in own.values()), min(lane[-1] for lane in own.values())
    return [row for row in rows if first <= row < last]


def _may_help(plan: TimedPlan, target: Target, moved: int) -> bool:
    """Whether the target is met with ``moved`` taken out of its lanes altogether.

    Wherever it is put in again, it only adds bounds: a way over its place is no shorter than the fastest one.
    """
    # Without this test every move of every row would be timed, which takes the square of the steps.
    rows = [i for i in range(len(plan.steps)) if i != moved]
    network = _network_of(plan, _orders_of(plan, rows))
    # From PET 0 on: out of its lanes the moved step may be held by nothing, and must not look unplaced.
    # The earliest, as a late target must be too to be met: how late it is depends on what is behind it.
    starts = earliest_starts(network, plan.durations, np.zeros(len(plan.steps)))
    return bool(target.is_met(starts - 16 * GRID_MIN))  # ways in parts are rounded in parts


def _to_come(plan: TimedPlan, who: str) -> list[int]:
    """The order of work of one lane, without what has begun."""
    return [position for position in work_order(plan.steps, who) if position not in plan.network.fixed]


def _ends(plan: TimedPlan) -> set[int]:
    """The first and the last step of each crew member."""
    return {lane[place] for who in plan.travels if (lane := work_order(plan.steps, who)) for place in (0, -1)}


def _cheapest_places(plan: TimedPlan, who: str, moved: int, behind: list[int]) -> list[int]:
    """Rows behind which ``moved`` costs the least detour, the nearest first among equals."""
    if who not in plan.travels:
        return behind[:1]
    travel, airlock = plan.travels[who], plan.scenario.settings.airlock_place
    step = plan.steps[moved]
    places = [*build.last_places(plan.steps, behind, airlock)[1:], airlock]
    detour = [travel_into(step, travel, a) + travel.time_min(step.place or a, b) - travel.time_min(a, b)
              for a, b in itertools.pairwise(places)]
    # Rounded, as the same way summed in another order may differ in its last digit.
    return [behind[i] for i in np.argsort(np.round(detour, 6), kind="stable")[:_PLACES_TRIED]]


def _orders_of(plan: TimedPlan, rows: Collection[int]) -> dict[str, list[int]]:
    """The order of work of each lane when the steps stand in these rows."""
    lanes = {who: set(work_order(plan.steps, who)) for who in plan.lanes}
    return {who: [i for i in rows if i in lane] for who, lane in lanes.items()}


def _network_of(plan: TimedPlan, orders: Orders) -> Network:
    """The network of the plan with other orders of work; steps keep their positions, the past its times.

    Who is underway is taken to be where they last worked, which is the most hopeful: the proof knows better.
    """
    steps, airlock, asked = plan.steps, plan.scenario.settings.airlock_place, plan.network.as_asked
    return replace(
        asked,
        releases=(*(each for each in asked.releases if each.kind in (LOGGED, NOW, HATCH)),
                  *(first for first in first_releases(steps, orders, plan.travels, airlock)
                    if first.step not in asked.fixed)),
        bounds=(*(bound for bound in order_bounds(steps, orders, plan.travels, airlock)
                  if bound.after not in asked.fixed),
                *(bound for bound in asked.bounds if bound.kind != ORDER)),
        homes=tuple(ways_home(steps, orders, plan.travels, airlock)),
    )


GAIN_COLUMNS = ["change", "by_min", "kind", "gain_min", "new_start_min", "end_slip_min", "new_stops",
                "new_findings", "what_if"]
NOTHING_HELPS = "no change of this kind helps"
_CHECKED_FOR_ONE_SHOWN = 4

Row = dict[str, Any]


def gain(plan: TimedPlan, step: str, minutes: float | None = None, most: int = 5,
         report: Report = silent) -> pd.DataFrame:
    """The smallest single changes that meet the target (see ``plan.gain``)."""
    if not is_whole(most, 1):
        raise ScenarioError.single("must be how many rows of a kind to show, 1 or more", column="most",
                                   value=most)
    target = changes.find_target(plan, step, minutes)
    moves = list(likely_moves(plan, target))
    candidates = [*moves, *changes.other_changes(plan, target)]
    rows: list[Row] = []
    nothing: list[Row] = []
    for kind in changes.KINDS:
        if (kind == changes.GUARD and not target.mends) or (
                kind == changes.PET_ZERO and (not target.is_window or plan.network.fixed)):
            continue  # any other step starts as much earlier as PET 0 does; outside, PET 0 is history
        proved = _proved_rows(plan, target, [each for each in candidates if each.kind == kind], most, report)
        # All moves of all rows take long: they are tried only where no likely one is free of new stops.
        if kind == changes.ORDER and all(row["new_stops"] for row in proved):
            others = other_moves(plan, target, moves)
            proved = _best([*proved, *_proved_rows(plan, target, others, most, report)], most)
        rows += proved
        if not proved:
            nothing.append({"change": f"{NOTHING_HELPS}: {target.words}", "kind": kind, "what_if": {}})
    rows.sort(key=lambda row: (row["new_stops"] > 0, row["by_min"]))
    table = TextTable([*rows, *nothing], columns=GAIN_COLUMNS)
    return table.astype({"new_stops": "Int64", "new_findings": "Int64"})


def _proved_rows(plan: TimedPlan, target: Target, candidates: Iterable[Candidate], most: int,
                 report: Report) -> list[Row]:
    """Rows of one kind, smallest first, until enough of them bring no stop finding.

    Where many have been tried the search ends too, but not before one of them holds.
    """
    rows: list[Row] = []
    ranked = sorted(candidates, key=lambda each: (each.by_min, each.rank))
    for number, candidate in enumerate(told(ranked, report, "changes", len(ranked))):
        if rows and number >= most * _CHECKED_FOR_ONE_SHOWN:
            break
        row = _proved(plan, target, candidate)
        rows += [row] if row is not None else []
        if sum(each["new_stops"] == 0 for each in rows) >= most:
            break
    return _best(rows, most)


def _best(rows: list[Row], most: int) -> list[Row]:
    """So many of the rows, those that bring a stop finding last."""
    return sorted(rows, key=lambda row: row["new_stops"] > 0)[:most]


def _proved(plan: TimedPlan, target: Target, candidate: Candidate) -> Row | None:
    """The row of a change, timed and checked as a whole new plan; None if it does not hold."""
    try:
        changed = what_if(plan, candidate.change.arguments())
    except ScenarioError:
        return None
    # The target counts from the PET 0 of the plan, the changed starts from their own.
    later = pet_min(changed.pet_zero, plan.pet_zero)
    named, judged = plan.steps[target.named].step, plan.steps[target.judged].step
    # What breaks a rule has not reached anything.
    if changed.network.given_way or (
            float(changed.starts[changed.position(judged)]) + later > target.latest_min):
        return None
    new_start = float(changed.starts[changed.position(named)])
    found = new_findings(plan, changed)
    return {
        "change": candidate.words, "by_min": candidate.by_min, "kind": candidate.kind,
        "gain_min": float(plan.starts[target.named]) - new_start - later, "new_start_min": new_start,
        "end_slip_min": changed.end_min + later - plan.end_min,
        "new_stops": int((found["severity"] == STOP).sum()), "new_findings": len(found),
        "what_if": candidate.change.arguments(),
    }
