"""Solving: lexicographic stages, repeatable by deterministic limits, stoppable by the clock or the planner.

Repeatable means: fixed seed, one worker or several that take turns in a fixed way (``interleave_search``),
and a limit in the solver's deterministic time. The clock is a safety stop only; an answer that it cut short
says that it may differ next time.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from itertools import pairwise

from ortools.sat.python import cp_model

from planning_kit.explore.long_question import Progress
from planning_kit.explore.propose.choices import Choice
from planning_kit.explore.propose.order_model import TICKS_PER_MIN, Literal, OrderModel, minutes_of
from planning_kit.explore.propose.order_problem import Problem
from planning_kit.inputs.faults import ScenarioError

_SEED = 1
TURNS = 5
"""Workers that take turns where one does not prove the best: they look around good orders (LNS)."""
_POLL_S = 0.1
_HINT_EFFORT = 5.0
_GRACE_S = 2.0
"""What completing an order that was found may take after the clock has run out."""
TASKS, FINISH = "tasks", "finish"
FOUND = (cp_model.OPTIMAL, cp_model.FEASIBLE)


@dataclass
class Budget:
    """What a search may use. ``cut_short`` becomes True when the clock or the planner stopped a stage."""

    effort: float
    seconds: float
    progress: Callable[[Progress], None] | None = None
    cancel: Callable[[], bool] | None = None
    begun: float = field(default_factory=time.monotonic)
    cut_short: bool = False
    cancelled: bool = False

    def __post_init__(self) -> None:
        """Raise `ScenarioError` where nobody can be told or asked."""
        for name, given in (("progress", self.progress), ("cancel", self.cancel)):
            if given is not None and not callable(given):
                raise ScenarioError.single("must be a function, or None", column=name, value=given)

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
        return self.cut_short

    @property
    def how_it_ended(self) -> str:
        """Words to put behind a verdict: empty unless the clock or the planner cut the search short."""
        if not self.cut_short:
            return ""
        return f" ({'cancelled' if self.cancelled else 'stopped by the clock'}: not repeatable)"

    def tell(self, doing: str, best_min: float = float("nan"), bound_min: float = float("nan")) -> None:
        """Report progress to whoever asked for it: what is being improved, tasks or finish."""
        if self.progress is not None:
            self.progress(Progress(doing, time.monotonic() - self.begun, best_min=best_min,
                                   bound_min=bound_min))


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
    parameters.random_seed = _SEED
    parameters.num_workers = workers
    parameters.interleave_search = workers > 1
    parameters.cp_model_probing_level = 0  # it takes seconds at 90 steps and wins nothing
    parameters.max_deterministic_time = effort
    parameters.max_time_in_seconds = max(budget.left_s, _GRACE_S if fix_hints else 0.01)
    parameters.fix_variables_to_their_hinted_value = fix_hints
    # An order that was found is completed though time is up, or the work of the search would be lost.
    watch = _Watch()
    with contextlib.nullcontext() if fix_hints else _stopped_when_over(solver, budget):
        status = solver.solve(model.cp, watch)
    if status == cp_model.MODEL_INVALID:
        raise AssertionError(model.cp.validate())
    return Answer(
        status, tuple(solver.response_proto.solution) if status in FOUND else (),
        solver.best_objective_bound if model.cp.has_objective() else float("nan"),
        tuple(watch.passed), solver.response_proto.deterministic_time)


@contextlib.contextmanager
def _stopped_when_over(solver: cp_model.CpSolver, budget: Budget) -> Iterator[None]:
    """The solver looks at no clock of ours: a thread asks while it works."""
    done = threading.Event()

    def watch() -> None:
        while not done.wait(_POLL_S):
            if budget.is_over():
                solver.stop_search()
                return

    guard = threading.Thread(target=watch, daemon=True)
    guard.start()
    try:
        yield
    finally:
        done.set()
        guard.join()


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
    rules = tuple(rule for rule in problem.model.rules if all(holds(each) for each in rule.when))
    return Choice(lanes, frozenset(swapped), frozenset(dropped), pet_zero, rules)


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
