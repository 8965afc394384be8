"""Which task on which outing: published optima, and the bound against a search of everything."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from itertools import pairwise, product

import pytest

from planning_kit.campaign.assignment import (
    NEEDS,
    AssignmentProblem,
    OutingRoom,
    TooMuch,
    WantedTask,
    solve_assignment,
)

DAY = date(2031, 3, 1)


def packed(values: Sequence[int], weights: Sequence[Mapping[str, float]],
           rooms: Sequence[Mapping[str, float]], **more: object) -> AssignmentProblem:
    """A knapsack problem as tasks and outings: one date an outing, a lane a dimension."""
    outings = tuple(OutingRoom(f"O{n}", {DAY + timedelta(n): room}) for n, room in enumerate(rooms))
    tasks = tuple(
        WantedTask(f"T{n}", value, "optional",
                   {(f"O{at}", DAY + timedelta(at)): weight for at in range(len(rooms))})
        for n, (value, weight) in enumerate(zip(values, weights, strict=True)))
    return AssignmentProblem(tasks, outings, **more)  # type: ignore[arg-type]


def alone(*weights: float) -> list[dict[str, float]]:
    return [{"EV1": weight} for weight in weights]


# S. Martello, P. Toth, "Knapsack Problems" (Wiley 1990), algorithm MTM; data and its output, 333, in J.
# Burkardt's test of that code: https://people.sc.fsu.edu/~jburkardt/datasets/knapsack_multiple/knapsack_multiple.html
MTM = packed((92, 57, 49, 68, 60, 43, 67, 84, 87, 72), alone(23, 31, 29, 44, 53, 38, 63, 85, 89, 82),
             alone(70, 127))
# The example of the OR-Tools guide, https://developers.google.com/optimization/pack/multiple_knapsack; its
# printed answer, 395, is from memory.
FIVE = packed((10, 30, 25, 50, 35, 30, 15, 40, 30, 35, 45, 10, 20, 30, 25),
              alone(48, 30, 42, 36, 36, 48, 42, 42, 36, 24, 30, 30, 42, 36, 36), alone(*[100] * 5))
# C. C. Petersen, Management Science 13 (1967) 736-750, as problem 1 of mknap1 in J. E. Beasley's OR-Library,
# https://people.brunel.ac.uk/~mastjjb/jeb/orlib/mknapinfo.html: ten dimensions; data and optimum from memory.
PETERSEN_ROWS = (
    (8, 12, 13, 64, 22, 41), (8, 12, 13, 75, 22, 41), (3, 6, 4, 18, 6, 4), (5, 10, 8, 32, 6, 12),
    (5, 13, 8, 42, 6, 20), (5, 13, 8, 48, 6, 20), (0, 0, 0, 0, 8, 0), (3, 0, 4, 0, 8, 0), (3, 2, 4, 0, 8, 4),
    (3, 2, 4, 8, 8, 4))
PETERSEN = packed(
    (100, 600, 1200, 2400, 500, 2000),
    [{str(n): row[item] for n, row in enumerate(PETERSEN_ROWS)} for item in range(6)],
    [{str(n): most for n, most in enumerate((80, 96, 20, 36, 44, 48, 10, 18, 22, 24))}])
# The example of https://developers.google.com/optimization/pack/knapsack; its printed answer, 7534, is from
# memory.
FIFTY = packed(
    (360, 83, 59, 130, 431, 67, 230, 52, 93, 125, 670, 892, 600, 38, 48, 147, 78, 256, 63, 17, 120,
     164, 432, 35, 92, 110, 22, 42, 50, 323, 514, 28, 87, 73, 78, 15, 26, 78, 210, 36, 85, 189, 274,
     43, 33, 10, 19, 389, 276, 312),
    alone(7, 0, 30, 22, 80, 94, 11, 81, 70, 64, 59, 18, 0, 36, 3, 8, 15, 42, 9, 0, 42, 47, 52, 32,
          26, 48, 55, 6, 29, 84, 2, 4, 18, 56, 7, 29, 93, 44, 71, 3, 86, 66, 31, 65, 0, 79, 20, 65,
          52, 13),
    alone(850))


@pytest.mark.parametrize(("problem", "optimum"), [(MTM, 333), (FIVE, 395), (PETERSEN, 3800), (FIFTY, 7534)],
                         ids=["two knapsacks", "five knapsacks", "ten dimensions", "fifty items"])
def test_published_knapsacks(problem: AssignmentProblem, optimum: int) -> None:
    solved = solve_assignment(problem)
    assert solved is not None
    assert solved.is_proven
    assert solved.value == solved.bound == (0, optimum, 0)


# Bins by their least number: the OR-Tools guide packs the first into 4 bins of 100
# (https://developers.google.com/optimization/pack/bin_packing; from memory, and 370 do not go into three).
# The second is the bin packing example of Martello and Toth's code MTP, in Burkardt's test of it (see above):
# 300 in all, but no three full bins hold them, for 30 beside the 70 is no sum of 11, 7 and 3.
@pytest.mark.parametrize("weights", [
    (48, 30, 19, 36, 36, 27, 42, 42, 36, 24, 30), (70, 60, 50, 33, 33, 33, 11, 7, 3)])
def test_published_bins(weights: Sequence[int]) -> None:
    everything = len(weights)
    four, three = (solve_assignment(packed([1] * everything, alone(*weights), alone(*[100] * count)))
                   for count in (4, 3))
    assert four is not None
    assert three is not None
    assert four.value[1] == everything > three.value[1] == three.bound[1]


@pytest.mark.parametrize("seed", range(12))
def test_nothing_is_better_than_the_bound(seed: int) -> None:
    """Against every assignment there is of small problems with prerequisites, dates, training and ways."""
    problem = _drawn(random.Random(seed))
    solved = solve_assignment(problem)
    best = max(filter(None, (_worth(problem, *chosen) for chosen in _all_of(problem))), default=None)
    if best is None:
        assert solved is None
        return
    assert solved is not None
    assert solved.is_proven
    assert solved.value == best == solved.bound
    assert _worth(problem, solved.outing_of, solved.dates, solved.pairs) == best


def test_a_required_task_outweighs_all_others() -> None:
    tasks = (WantedTask("A", 1, "required", {("O", DAY): {"EV1": 60}}),
             WantedTask("B", 500, "optional", {("O", DAY): {"EV1": 30}}),
             WantedTask("C", 500, "get-ahead", {("O", DAY): {"EV1": 30}}))
    solved = solve_assignment(AssignmentProblem(tasks, (OutingRoom("O", {DAY: {"EV1": 60}}),)))
    assert solved is not None
    assert solved.outing_of == {"A": "O"}


def test_what_was_refused_is_not_asked_again_and_what_stands_is_kept() -> None:
    problem = packed((5, 5, 5), alone(40, 40, 40), alone(100, 100), present={"T0": "O1", "T1": "O1"})
    first = solve_assignment(problem)
    assert first is not None
    assert first.outing_of == {"T0": "O1", "T1": "O1", "T2": "O0"}
    cut = solve_assignment(problem, [TooMuch("O1", frozenset({"T0", "T1"}))])
    assert cut is not None
    assert len({cut.outing_of["T0"], cut.outing_of["T1"]}) == 2
    assert cut.value == first.value


def test_the_least_effort_still_answers() -> None:
    solved = solve_assignment(FIFTY, effort=1e-9)
    assert solved is not None
    assert solved.value[1] <= 7534 <= solved.bound[1]


def test_dates_too_close_are_none_and_values_have_a_bound() -> None:
    problem = packed((1, 1), alone(10, 10), alone(50, 50), least_days_between=2)
    assert solve_assignment(problem) is None
    with pytest.raises(OverflowError):
        solve_assignment(packed((10**17,), alone(1), alone(5)))


def _drawn(chance: random.Random) -> AssignmentProblem:
    outings = []
    for n in range(2):
        dates = {DAY + timedelta(3 * n + day): {"EV1": 60 + 20 * day, "EV2": 80} for day in range(2)}
        outings.append(OutingRoom(f"O{n}", dates, (("Ada", "Bo"), ("Bo", "Cy")), {"P": 15, "Q": 5},
                                  {"EV1": 10}))
    tasks: list[WantedTask] = []
    for n in range(5):
        least = {(o.outing, on): {"EV1": chance.randint(10, 50), "EV2": chance.choice((0, 20, 40))}
                 for o in outings for on in o.room_min if chance.random() < 0.85}
        after = {f"T{n - 1}": chance.choice((0, 0, 3))} if n and chance.random() < 0.5 else {}
        tasks.append(WantedTask(
            f"T{n}", chance.randint(1, 9), chance.choice(NEEDS), least, after,
            DAY + timedelta(3) if chance.random() < 0.3 else None,
            {"EV1": ("Ada",)} if chance.random() < 0.3 else {},
            {"EV1": chance.choice((("P",), ("P", "Q"), ())), "EV2": ("Q",)}))
    return AssignmentProblem(tuple(tasks), tuple(outings), chance.choice((0, 3, 4)))


def _all_of(problem: AssignmentProblem):  # type: ignore[no-untyped-def]
    names = [outing.outing for outing in problem.outings]
    for outings in product(["", *names], repeat=len(problem.tasks)):
        taken = {task.task: name for task, name in zip(problem.tasks, outings, strict=True) if name}
        for dates in product(*(outing.room_min for outing in problem.outings)):
            for pairs in product(*(outing.pairs for outing in problem.outings)):
                yield taken, dict(zip(names, dates, strict=True)), dict(zip(names, pairs, strict=True))


def _worth(problem: AssignmentProblem, taken: Mapping[str, str], dates: Mapping[str, date],
           pairs: Mapping[str, tuple[str, ...]]) -> tuple[int, ...] | None:
    """The value by need; None where a rule is broken. Written anew, from the docstrings alone."""
    order = [outing.outing for outing in problem.outings]
    if any((dates[b] - dates[a]).days < problem.least_days_between
           for a, b in pairwise(order)):
        return None
    tasks = {task.task: task for task in problem.tasks}
    for name, outing in taken.items():
        task, on = tasks[name], dates[outing]
        if (outing, on) not in task.least_min or (task.must_by and on > task.must_by):
            return None
        for lane, who in zip(("EV1", "EV2"), pairs[outing], strict=True):
            if task.trained.get(lane) and who not in task.trained[lane]:
                return None
        for earlier, days in task.after.items():
            if earlier not in taken or order.index(taken[earlier]) > order.index(outing) or (
                    days and (taken[earlier] == outing or (on - dates[taken[earlier]]).days < days)):
                return None
    for outing_room in problem.outings:
        here = [tasks[name] for name, outing in taken.items() if outing == outing_room.outing]
        on = dates[outing_room.outing]
        for lane, room in outing_room.room_min[on].items():
            loads = [(each, each.least_min[outing_room.outing, on].get(lane, 0)) for each in here]
            taken_min = sum(minutes for _, minutes in loads)
            places = {place for each, _ in loads for place in each.places.get(lane, ())}
            way_min = sum(outing_room.least_way_min.get(place, 0) for place in places)
            own_min = outing_room.own_way_min.get(lane, 0)
            if taken_min > room or taken_min + way_min > room + own_min:
                return None
    return tuple(sum(tasks[name].value for name in taken if tasks[name].need == need) for need in NEEDS)
