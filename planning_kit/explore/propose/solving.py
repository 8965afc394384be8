"""Solving: lexicographic stages, repeatable by deterministic limits, stoppable by the clock or the planner.

Repeatable means: fixed seed, one worker or several that take turns in a fixed way (``interleave_search``),
and a limit in the solver's deterministic time. The clock is a safety stop only; an answer that it cut short
says that it may differ next time.
"""

import math
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import partial
from itertools import pairwise
from typing import Any, TypeVar

from ortools.sat.python import cp_model

from planning_kit.explore.long_question import Progress, Report, silent
from planning_kit.explore.propose.choices import Choice
from planning_kit.explore.propose.order_model import TICKS_PER_MIN, Literal, OrderModel, minutes_of
from planning_kit.explore.propose.order_problem import Problem

T = TypeVar("T")
TURNS = 5
"""Workers that take turns where one does not prove the best: they look around good orders (LNS)."""
_POLL_S = 0.1
_AGAIN_S = 0.5
"""After this long without news the same is told again, so that a clock or a bar goes on."""
_HINT_EFFORT = 5.0
_GRACE_S = 2.0
"""What completing an order that was found may take after the clock has run out."""
FOUND = (cp_model.OPTIMAL, cp_model.FEASIBLE)


@dataclass
class Budget:
    """What a search may use. ``cut_short`` becomes True when the clock or the planner stopped a stage.

    ``seed``: another one leads the search another way.
    """

    effort: float
    seconds: float
    progress: Report = silent
    cancel: Callable[[], bool] | None = None
    seed: int = 1
    begun: float = field(default_factory=time.monotonic)
    cut_short: bool = False
    cancelled: bool = False
    told: Progress = field(default_factory=partial(Progress, "searching", 0.0))

    @property
    def left_s(self) -> float:
        """Seconds left on the clock."""
        return self.seconds - (time.monotonic() - self.begun)

    def is_over(self) -> bool:
        """Whether to stop now; notes why."""
        if self.cancel is not None and self.cancel():
            self.cancelled = self.cut_short = True
        if self.left_s <= 0:
            self.cut_short = True
        if time.monotonic() - self.begun - self.told.elapsed_s > _AGAIN_S:
            self.tell(self.told.best_min, self.told.bound_min)
        return self.cut_short

    @property
    def how_it_ended(self) -> str:
        """Words to put behind a verdict: empty unless the clock or the planner cut the search short."""
        if not self.cut_short:
            return ""
        return f" ({'cancelled' if self.cancelled else 'stopped by the clock'}: not repeatable)"

    def wait_for(self, work: Callable[[], T], doing: str) -> T:
        """What ``work`` gives; the clock of the search stands meanwhile, and ``doing`` is told."""
        began, before = time.monotonic(), self.told.doing
        with ThreadPoolExecutor(1) as beside:
            working = beside.submit(work)
            while not wait([working], _AGAIN_S).done:
                self.told = replace(self.told, doing=doing, elapsed_s=time.monotonic() - self.begun)
                self.progress(self.told)
        self.begun += time.monotonic() - began
        self.told = replace(self.told, doing=before)
        return working.result()

    def tell(self, best_min: float, bound_min: float = math.nan) -> None:
        """Report the best that holds, and the least that it can be, to whoever asked for progress."""
        if not bound_min > 0:  # no news of it: what was known stays, unless it was that of another question
            bound_min = self.told.bound_min if self.told.bound_min <= best_min else math.nan
        self.told = replace(self.told, elapsed_s=time.monotonic() - self.begun, best_min=best_min,
                            bound_min=bound_min)
        self.progress(self.told)


@dataclass(frozen=True)
class Answer:
    """How one solve ended: the values of all variables (empty: none found) and the bound of the objective.

    ``passed`` are the values of the solutions on the way, the best last; ``spent`` the effort that it took.
    """

    status: cp_model.CpSolverStatus
    values: tuple[int, ...]
    bound: float
    passed: tuple[tuple[int, ...], ...] = ()
    spent: float = 0.0

    @property
    def is_found(self) -> bool:
        """Whether there is a solution."""
        return self.status in FOUND

    @property
    def is_proven(self) -> bool:
        """Whether no better solution exists."""
        return self.status == cp_model.OPTIMAL


class _Watch(cp_model.CpSolverSolutionCallback):
    """Keeps every better solution: the last and best one may not hold where one before it does."""

    def __init__(self) -> None:
        super().__init__()
        self.passed: list[tuple[int, ...]] = []

    def on_solution_callback(self) -> None:
        """CP-SAT calls this."""
        self.passed.append(tuple(self.response_proto.solution))


def solve(model: OrderModel, budget: Budget, effort: float, workers: int = 1,
          fix_hints: bool = False) -> Answer:
    """Solve once, within ``effort`` (deterministic time) and what the budget's clock leaves."""
    solver = cp_model.CpSolver()
    parameters = solver.parameters
    parameters.random_seed = budget.seed
    parameters.num_workers = workers
    parameters.interleave_search = workers > 1
    parameters.cp_model_probing_level = 0  # it takes seconds at 90 steps and wins nothing
    parameters.max_deterministic_time = effort
    parameters.max_time_in_seconds = max(budget.left_s, _GRACE_S if fix_hints else 0.01)
    parameters.fix_variables_to_their_hinted_value = fix_hints
    parameters.catch_sigint_signal = False  # it would take interrupts from us, and never give them back
    # An order that was found is completed though time is up, or the work of the search would be lost.
    watch = _Watch()
    status = solver.solve(model.cp, watch) if fix_hints else _solved_beside(solver, budget, model.cp, watch)
    if status == cp_model.MODEL_INVALID:
        raise AssertionError(model.cp.validate())
    return Answer(
        status, tuple(solver.response_proto.solution) if status in FOUND else (),
        solver.best_objective_bound if model.cp.has_objective() else float("nan"),
        tuple(watch.passed), solver.response_proto.deterministic_time)


def _solved_beside(solver: cp_model.CpSolver, budget: Budget, *asked: Any) -> cp_model.CpSolverStatus:
    """Solve in a thread: the solver hears of no clock and no interrupt of ours, so it is watched here."""
    with ThreadPoolExecutor(1) as beside:
        solving = beside.submit(solver.solve, *asked)
        try:
            while not wait([solving], _POLL_S).done:
                if budget.is_over():
                    solver.stop_search()
        finally:
            solver.stop_search()
        return solving.result()


def hint(model: OrderModel, values: Sequence[int] | Mapping[int, int]) -> None:
    """Hint values by the index of their variables: all of them, for a hint to be completed is ignored."""
    model.cp.clear_hints()
    for index, value in values.items() if isinstance(values, Mapping) else enumerate(values):
        model.cp.add_hint(model.cp.get_int_var_from_proto_index(index), value)


def read_choice(problem: Problem, values: Sequence[int]) -> Choice:
    """The choice that a solution (a value a variable) stands for."""
    def holds(literal: Literal) -> bool:
        return literal_value(literal, values)

    steps = problem.work.steps
    lanes = dict.fromkeys(problem.work.lanes, ()) | {
        who: tuple(steps[problem.positions[who][number]].step for number in _sequence(lane.arcs, holds))
        for who, lane in problem.lanes.items()
    }
    swapped = {task for (task, is_swapped), literal in problem.done.items() if is_swapped and holds(literal)}
    dropped = {task for task, literal in problem.tasks.items() if not holds(literal)}
    pet_zero = problem.freedom.earliest + timedelta(minutes=minutes_of(values[problem.pet_zero.index]))
    rules = [rule for rule in problem.model.rules if all(holds(each) for each in rule.when)]
    rules += [rule for chain in problem.chains for rule in chain.rules(holds)]
    return Choice(lanes, frozenset(swapped), frozenset(dropped), pet_zero, tuple(dict.fromkeys(rules)))


def literal_value(literal: Literal, values: Sequence[int]) -> bool:
    """Whether a literal, negated or not, holds in a solution."""
    index = literal.index  # type: ignore[union-attr]
    return bool(values[index]) if index >= 0 else not values[-index - 1]


def _sequence(arcs: Mapping[tuple[int, int], Literal], holds: Callable[[Literal], bool]) -> Iterator[int]:
    following = {i: j for (i, j), arc in arcs.items() if holds(arc)}
    here = following.get(-1, -1)
    while here >= 0:
        yield here
        here = following[here]


def hints_for(problem: Problem, choice: Choice) -> list[tuple[Literal, int]] | None:
    """Every choice literal with its value under ``choice``; None where the model has no such arc."""
    index = problem.work.index
    hints: list[tuple[Literal, int]] = []
    for who, lane in problem.lanes.items():
        numbers = [-1, *(problem.positions[who].index(index[step]) for step in choice.lanes[who]), -1]
        # An empty lane takes no arc at all: there is none from the airlock to itself.
        chosen = set(pairwise(numbers)) if len(numbers) > 2 else set()
        if not chosen <= set(lane.arcs):
            return None
        hints += [(arc, int(pair in chosen)) for pair, arc in lane.arcs.items()]
    for task, literal in problem.tasks.items():
        hints.append((literal, int(task not in choice.dropped)))
    for (task, is_swapped), literal in problem.done.items():
        is_done = task not in choice.dropped and is_swapped == (task in choice.swapped)
        hints.append((literal, int(is_done)))
    return hints


def completed(problem: Problem, choice: Choice, budget: Budget,
              effort: float = _HINT_EFFORT) -> Answer | None:
    """The best starts for a choice: a solution with its order fixed; None where it breaks a rule."""
    hints = hints_for(problem, choice)
    if hints is None:
        return None
    model, known = problem.model, {}
    for literal, value in hints:
        index = literal.index  # type: ignore[union-attr]
        known[index if index >= 0 else -index - 1] = value if index >= 0 else int(not value)
    offset_min = (choice.pet_zero - problem.freedom.earliest).total_seconds() / 60
    known[problem.pet_zero.index] = round(offset_min * TICKS_PER_MIN)
    known[model.yes.index] = 1
    hint(model, known)  # the starts are left to the solver, which only fixes what is hinted
    answer = solve(model, budget, effort, fix_hints=True)
    return answer if answer.is_found else None
