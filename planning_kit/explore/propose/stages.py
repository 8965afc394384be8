"""Better before worse, in order: tasks by drop order, then the finish, then walking and changes.

All required tasks are done in every answer. Waiting needs no stage of its own: with the same tasks and the
same finish, what both crew members wait and walk in all is fixed (each lane is work, walk and wait from
egress to ingress), so that less walking is all that can be won.

Why nothing fits is told by `find_clash`, a small set of requirements that cannot be met together. Every
requirement has a literal that switches it on; the solver is asked under all of them as assumptions and names
a sufficient set. Deletion filtering then takes one after the other away and keeps it out where the rest still
clashes (Chinneck and Dravnieks 1991, "Locating minimal infeasible constraint sets in linear programs"), so
that each one that is left matters, as far as the effort could prove.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from ortools.sat.python import cp_model

from planning_kit.explore.propose.choices import Choice
from planning_kit.explore.propose.least_ends import add_lane_bounds
from planning_kit.explore.propose.local_search import PASSES, improve
from planning_kit.explore.propose.order_model import OrderModel, Requirement, minutes_of
from planning_kit.explore.propose.order_problem import (
    BY_STEPS,
    Freedom,
    Problem,
    Work,
    find_precedence,
    start_problem,
)
from planning_kit.explore.propose.solving import (
    FINISH,
    TASKS,
    TURNS,
    Answer,
    Budget,
    completed,
    hint_all,
    hints_for,
    literal_value,
    read_choice,
    solve,
)
from planning_kit.explore.propose.timed_rules import (
    add_after,
    add_gaps,
    add_lanes,
    add_last_starts,
    add_limit,
    add_past,
    add_windows,
)
from planning_kit.explore.propose.untimed_rules import add_hardware, add_inhibits, add_room, add_tethers
from planning_kit.inputs.omm import Elements
from planning_kit.inputs.records import Records
from planning_kit.judge.drop_order import drop_weights, may_go

_CHANGE_PART = 100
_SHARES = {"tasks": 0.15, "proof": 0.25, "finish": 0.25, "walk": 0.10}
_MOST_COMPLETED = 12
_TRIES_FOR = 0.3  # deterministic seconds for each requirement taken away


@dataclass(frozen=True)
class Found:
    """The best order of one search: the choice, its outing length and the least there can be (min)."""

    choice: Choice
    end_min: float
    bound_min: float
    tasks_proven: bool
    end_proven: bool


def build_problem(records: Records, elements: Elements, freedom: Freedom, explains: bool = False) -> Problem:
    """The whole model of a scenario."""
    minutes = tuple(step.minutes_likely + freedom.cushion * (step.minutes_high - step.minutes_likely)
                    for step in records.steps)
    work = Work(records, minutes, freedom.free, knows_rules=not explains, has_begun=freedom.past is not None)
    problem = start_problem(work, elements, freedom, explains)
    add_hardware(problem)
    add_tethers(problem)
    find_precedence(problem, explains)
    for add in (add_limit, add_lanes, add_after, add_gaps, add_windows, add_last_starts, add_room,
                add_inhibits):
        add(problem)
    add_past(problem)
    return problem


def _weights(problem: Problem) -> dict[str, int]:
    """Weights of the tasks that may be left out: one more of a level outweighs all that go before it."""
    return drop_weights(filter(may_go, problem.work.records.tasks))


def best_order(records: Records, elements: Elements, freedom: Freedom, start: Choice | None, budget: Budget,
               effort: float, forbidden: list[Choice]) -> Found | None:
    """Search in stages from ``start`` (if it keeps every rule of the model); None where nothing is found."""
    problem = build_problem(records, elements, freedom)
    for choice in forbidden:
        forbid(problem, choice)
    tasks = _by_tasks(problem, start, budget, effort)
    if not tasks.is_found:
        return None
    answer, bound = _by_finish(problem, tasks, budget, effort, forbidden)
    if not tasks.is_proven and not budget.is_over():  # an earlier finish may have made room for more
        tasks = _by_tasks(problem, read_choice(problem, answer.values), budget, effort)
        answer, bound = _by_finish(problem, tasks, budget, effort, forbidden)
    end = _objective_ticks(problem, answer)
    problem.model.cp.add(problem.end - problem.egress <= end)
    least = _by_walk(problem, answer, budget, effort, start)
    values = least.values if least.is_found else answer.values
    return Found(read_choice(problem, values), minutes_of(end), minutes_of(bound), tasks.is_proven,
                 bound >= end)


def forbid(problem: Problem, choice: Choice) -> None:
    """Not this order again: at least one of its choices is another."""
    hints = hints_for(problem, choice)
    if hints is not None:
        chosen = [literal for literal, value in hints if value and literal is not problem.model.yes]
        problem.model.cp.add_bool_or(*(~literal for literal in chosen))


def _by_tasks(problem: Problem, start: Choice | None, budget: Budget, effort: float) -> Answer:
    """As many tasks as fit, by weight; whether that is proven stands in the answer."""
    model = problem.model
    weights = _weights(problem)
    value = sum(weight * problem.tasks[task] for task, weight in weights.items())
    model.cp.clear_objective()
    model.cp.maximize(value)
    known = _what_fits(problem, start, weights, budget) if start else None
    if known:
        hint_all(model, known.values)
    else:
        model.cp.clear_hints()
    answer = solve(model, budget, effort * _SHARES["tasks"], doing=TASKS)
    if not answer.is_proven and not budget.is_over():
        if answer.is_found:
            hint_all(model, answer.values)
        more = solve(model, budget, effort * _SHARES["tasks"], TURNS, doing=TASKS)
        answer = more if more.is_found else answer
    if not answer.is_found and known:
        answer = known
    if answer.is_found and weights:
        model.cp.add(value >= _sum_of(weights, problem, answer))
    return answer


def _what_fits(problem: Problem, start: Choice, weights: dict[str, int], budget: Budget) -> Answer | None:
    """The order that is there, without the least of the tasks until it fits, then with those that do."""
    known = completed(problem, start, budget)
    dropped = [*start.dropped]
    for task in sorted(weights.keys() - start.dropped, key=lambda task: weights[task]):
        if known or budget.is_over():
            break
        dropped.append(task)
        known = completed(problem, _without(problem, start, dropped), budget)
    for task in sorted(set(dropped) - start.dropped, key=lambda task: -weights[task]):
        rest = [each for each in dropped if each != task]
        more = completed(problem, _without(problem, start, rest), budget) if known and rest else None
        known, dropped = (more, rest) if more else (known, dropped)
    return known


def _without(problem: Problem, start: Choice, dropped: list[str]) -> Choice:
    gone = {step.step for step in problem.work.steps if step.task in dropped}
    lanes = {who: tuple(step for step in lane if step not in gone) for who, lane in start.lanes.items()}
    return replace(start, lanes=lanes, dropped=frozenset(dropped))


def _sum_of(weights: dict[str, int], problem: Problem, answer: Answer) -> int:
    return sum(weight for task, weight in weights.items()
               if literal_value(problem.tasks[task], answer.values))


def _by_finish(problem: Problem, start: Answer, budget: Budget, effort: float,
               forbidden: list[Choice]) -> tuple[Answer, float]:
    """The earliest finish and its bound: a quick look around, the lanes alone, then the solver.

    The solver begins with one worker, for a proof; then several take turns. The rest of an outing that has
    begun is left to it alone.
    """
    problem.model.cp.clear_objective()
    problem.model.cp.minimize(problem.end - problem.egress)
    best = completed(problem, read_choice(problem, start.values), budget) or start
    bound = 0.0
    if problem.freedom.past is None:
        known = read_choice(problem, best.values)
        passed = improve(problem, known, round(PASSES * effort), budget, forbidden)
        best = _best_completed(problem, best, passed, budget)
        bound = add_lane_bounds(problem, _surely_done(problem, start), _objective_ticks(problem, best),
                                effort, budget)
    for doing, workers in (("proof", 1), ("finish", TURNS)):
        if budget.is_over() or bound >= _objective_ticks(problem, best):
            break
        hint_all(problem.model, best.values)
        answer = solve(problem.model, budget, effort * _SHARES[doing], workers, FINISH)
        bound = max(bound, answer.bound)
        if answer.is_found and _objective_ticks(problem, answer) <= _objective_ticks(problem, best):
            best = answer
        if answer.is_proven:
            break
    return best, min(bound, _objective_ticks(problem, best))


def _best_completed(problem: Problem, best: Answer, passed: list[Choice], budget: Budget) -> Answer:
    """The best order of a local search that the solver can complete, if it is better."""
    for choice in reversed(passed[-_MOST_COMPLETED:]):
        answer = completed(problem, choice, budget)
        if answer is not None and _objective_ticks(problem, answer) < _objective_ticks(problem, best):
            return answer
    return best


def _surely_done(problem: Problem, tasks: Answer) -> set[str]:
    """The tasks done in every answer worth as much: whole levels (see `drop_weights`) with none left out."""
    weights = _weights(problem)
    out = {weights[task] for task, literal in problem.tasks.items()
           if task in weights and not literal_value(literal, tasks.values)}
    return {task for task in problem.tasks
            if task not in weights or not out or (tasks.is_proven and weights[task] not in out)}


def _by_walk(problem: Problem, best: Answer, budget: Budget, effort: float, start: Choice | None) -> Answer:
    """Among orders with this finish: the least walking, then the fewest changes against ``start``."""
    model = problem.model
    crew = [problem.lanes[who] for who in problem.work.crews if who in problem.lanes]
    walk = cp_model.LinearExpr.sum([lane.walk for lane in crew])
    kept = cp_model.LinearExpr.sum([])
    hints = hints_for(problem, start) if start else None
    if hints is not None:
        arcs = {arc.index for lane in crew for arc in lane.arcs.values()}  # type: ignore[union-attr]
        kept = cp_model.LinearExpr.sum([
            literal for literal, value in hints if value and literal.index in arcs])  # type: ignore[union-attr]
    model.cp.clear_objective()
    model.cp.minimize(_CHANGE_PART * walk - kept)
    hint_all(model, best.values)
    if budget.is_over():
        return best
    return solve(model, budget, effort * _SHARES["walk"], doing="")


def _objective_ticks(problem: Problem, answer: Answer) -> int:
    return answer.values[problem.end.index] - answer.values[problem.egress.index]


def find_clash(records: Records, elements: Elements, freedom: Freedom, budget: Budget,
               effort: float) -> tuple[Requirement, ...] | None:
    """Requirements that cannot be met together; None where that was not shown; empty where it is the order.

    Required tasks, row order inside a task and travel are not requirements here but what all must live with.
    """
    model = build_problem(records, elements, replace(freedom, free=BY_STEPS), explains=True).model
    everything = list(model.switches)
    core = _core(model, everything, effort, budget)
    if core is None:
        return None
    kept = core
    for requirement in core:
        if len(kept) == 1 or budget.is_over():
            break
        rest = [each for each in kept if each is not requirement]
        smaller = _core(model, rest, max(_TRIES_FOR, effort / 20), budget)
        if smaller is not None:
            kept = [each for each in rest if each in smaller]
    return tuple(kept)


def _core(model: OrderModel, asked: list[Requirement], effort: float,
          budget: Budget) -> list[Requirement] | None:
    """A subset of ``asked`` that clashes; None where the solver found starts or gave up."""
    by_index = {model.switches[each].index: each for each in asked}
    model.cp.clear_assumptions()
    model.cp.add_assumptions([model.switches[each] for each in asked])
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = effort
    solver.parameters.max_time_in_seconds = max(budget.left_s, 0.01)
    if solver.solve(model.cp) != cp_model.INFEASIBLE:
        return None
    named = solver.sufficient_assumptions_for_infeasibility()
    return [by_index[index] for index in named if index in by_index]
