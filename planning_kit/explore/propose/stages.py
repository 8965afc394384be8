"""Better before worse, in order: tasks by drop order, then the finish, then walking and changes.

All required tasks are done in every answer. Waiting needs no stage of its own: with the same tasks and the
same finish, what both crew members wait and walk in all is fixed (each lane is work, walk and wait from
PET 0 to ingress), so that less walking is all that can be won.

Why nothing fits is told by `find_clash`: a clash is a small set of requirements that cannot be met together.
Every requirement has a literal that switches it on; the solver is asked under all of them as assumptions and
names a sufficient set. Deletion filtering then takes one after the other away and keeps it out where the
rest still clashes (Chinneck and Dravnieks 1991, "Locating minimal infeasible constraint sets in linear
programs"), so that each one that is left matters, as far as the effort could prove.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from ortools.sat.python import cp_model

from planning_kit.explore.propose.choices import Choice
from planning_kit.explore.propose.least_ends import add_lane_bounds
from planning_kit.explore.propose.local_search import PASSES, improve
from planning_kit.explore.propose.order_model import OrderModel, Requirement, minutes_of
from planning_kit.explore.propose.order_problem import (
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
    hint,
    hints_for,
    literal_value,
    read_choice,
    solve,
)
from planning_kit.explore.propose.timed_rules import (
    add_after,
    add_gaps,
    add_hatch,
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
    """The best order of one search: the choice, and the least that the outing could take (min)."""

    choice: Choice
    bound_min: float
    tasks_proven: bool
    end_proven: bool


def build_problem(records: Records, elements: Elements, freedom: Freedom, explains: bool = False) -> Problem:
    """The whole model of a scenario."""
    problem = start_problem(Work(records, freedom, explains), elements)
    # What hardware and tethers force is precedence, and lanes leave out the arcs against it: so chains first.
    add_hardware(problem)
    add_tethers(problem)
    find_precedence(problem)
    for add in (add_limit, add_lanes, add_after, add_gaps, add_windows, add_hatch, add_last_starts,
                add_room, add_inhibits):
        add(problem)
    add_past(problem)
    return problem


def best_order(problem: Problem, start: Choice, budget: Budget, effort: float,
               forbidden: list[Choice]) -> Found | None:
    """Search in stages from ``start`` (if it keeps every rule of the model); None where nothing is found."""
    for choice in forbidden:
        forbid(problem, choice)
    stages = _Stages(problem, budget, effort, forbidden)
    tasks = stages.by_tasks(start)
    if not tasks.is_found:
        return None
    answer, bound = stages.by_finish(tasks)
    if not tasks.is_proven and not budget.is_over():  # an earlier finish may have made room for more
        tasks = stages.by_tasks(read_choice(problem, answer.values))
        answer, bound = stages.by_finish(tasks)
    end = stages.end_ticks(answer)
    # Each stage may only choose among the best answers of those before.
    problem.model.cp.add(problem.end - problem.pet_zero <= end)
    least = stages.by_walk(answer, start)
    values = least.values if least.is_found else answer.values
    return Found(read_choice(problem, values), minutes_of(bound), tasks.is_proven, bound >= end)


def forbid(problem: Problem, choice: Choice) -> None:
    """Not this order again: at least one of its choices is another."""
    hints = hints_for(problem, choice)
    if hints is not None:
        problem.model.cp.add_bool_or(*(
            ~literal for literal, value in hints if value and literal is not problem.model.yes))


@dataclass(eq=False)
class _Stages:
    """The stages over one model; each keeps what the one before has reached."""

    problem: Problem
    budget: Budget
    effort: float
    forbidden: list[Choice]

    @cached_property
    def weights(self) -> dict[str, int]:
        """Of the tasks that may be left out: one more of a level outweighs all that go before it."""
        return drop_weights(filter(may_go, self.problem.work.records.tasks))

    def by_tasks(self, start: Choice) -> Answer:
        """As many tasks as fit, by weight; whether that is proven stands in the answer."""
        model, share, tasks = self.problem.model, self.effort * _SHARES["tasks"], self.problem.tasks
        value = sum(weight * tasks[task] for task, weight in self.weights.items())
        model.cp.clear_objective()
        model.cp.maximize(value)
        known = self._what_fits(start)
        hint(model, known.values if known else ())  # one worker proves soon where the order fits as it is
        answer = solve(model, self.budget, share, doing=TASKS)
        if not answer.is_proven and not self.budget.is_over():
            if answer.is_found:
                hint(model, answer.values)
            more = solve(model, self.budget, share, TURNS, doing=TASKS)
            answer = more if more.is_found else answer
        if not answer.is_found and known:
            answer = known
        if answer.is_found and self.weights:
            # What they are worth is kept, not which they are: others of the same worth may end earlier.
            model.cp.add(value >= sum(weight for task, weight in self.weights.items()
                                      if literal_value(tasks[task], answer.values)))
        return answer

    def _what_fits(self, start: Choice) -> Answer | None:
        """The order that is there, without the least of the tasks until it fits, then with those that do."""
        known, dropped, weights = self._completed(start), [*start.dropped], self.weights
        for task in sorted(weights.keys() - start.dropped, key=lambda task: weights[task]):
            if known or self.budget.is_over():
                break
            dropped.append(task)
            known = self._completed(self._without(start, dropped))
        # Leaving out one after the other went too far for some: the weightiest is tried again first.
        for task in sorted(set(dropped) - start.dropped, key=lambda task: -weights[task]):
            rest = [each for each in dropped if each != task]
            more = self._completed(self._without(start, rest)) if known and rest else None
            known, dropped = (more, rest) if more else (known, dropped)
        return known

    def _completed(self, choice: Choice) -> Answer | None:
        return completed(self.problem, choice, self.budget)

    def _without(self, start: Choice, dropped: list[str]) -> Choice:
        gone = {step.step for step in self.problem.work.steps if step.task in dropped}
        lanes = {who: tuple(step for step in lane if step not in gone) for who, lane in start.lanes.items()}
        return replace(start, lanes=lanes, dropped=frozenset(dropped))

    def by_finish(self, tasks: Answer) -> tuple[Answer, float]:
        """The earliest finish and its bound: a quick look around, the lanes alone, then the solver.

        The solver begins with one worker, for a proof; then several take turns. The rest of an outing that
        has begun is left to it alone.
        """
        problem = self.problem
        problem.model.cp.clear_objective()
        problem.model.cp.minimize(problem.end - problem.pet_zero)
        # The stage before asked for no early end: the same order may end sooner.
        best, bound = self._completed(read_choice(problem, tasks.values)) or tasks, 0.0
        # The look around times every lane from the airlock at PET 0, and so knows no past.
        if problem.freedom.past is None:
            best = self._after_a_look_around(best)
            bound = add_lane_bounds(problem, self._surely_done(tasks), self.end_ticks(best), self.effort,
                                    self.budget)
        for doing, workers in (("proof", 1), ("finish", TURNS)):
            if self.budget.is_over() or bound >= self.end_ticks(best):
                break
            hint(problem.model, best.values)
            answer = solve(problem.model, self.budget, self.effort * _SHARES[doing], workers, FINISH)
            bound = max(bound, answer.bound)
            if answer.is_found and self.end_ticks(answer) <= self.end_ticks(best):
                best = answer
            if answer.is_proven:
                break
        return best, min(bound, self.end_ticks(best))

    def _after_a_look_around(self, best: Answer) -> Answer:
        """The best order of a local search that the solver can complete, if it is better."""
        passed = improve(self.problem, read_choice(self.problem, best.values), round(PASSES * self.effort),
                         self.budget, self.forbidden)
        # The best may break what the look around neglects (room at a worksite): then the one before it.
        for choice in reversed(passed[-_MOST_COMPLETED:]):
            answer = self._completed(choice)
            if answer is not None and self.end_ticks(answer) < self.end_ticks(best):
                return answer
        return best

    def _surely_done(self, tasks: Answer) -> set[str]:
        """The tasks done in every answer worth as much: whole levels with none left out (`drop_weights`)."""
        weights, literals = self.weights, self.problem.tasks
        # A task that an equal answer leaves out would lift the bound above an end that is possible.
        out = {weight for task, weight in weights.items() if not literal_value(literals[task], tasks.values)}
        return {task for task in literals
                if task not in weights or not out or (tasks.is_proven and weights[task] not in out)}

    def by_walk(self, best: Answer, start: Choice) -> Answer:
        """Among orders with this finish: the least walking, then the fewest changes against ``start``."""
        problem, cp = self.problem, self.problem.model.cp
        crew = [problem.lanes[who] for who in problem.work.crews if who in problem.lanes]
        arcs = {id(arc) for lane in crew for arc in lane.arcs.values()}
        walk = cp_model.LinearExpr.sum([lane.walk for lane in crew])
        kept = cp_model.LinearExpr.sum([literal for literal, value in hints_for(problem, start) or ()
                                        if value and id(literal) in arcs])
        cp.clear_objective()
        # One second of walking outweighs any number of changes below a hundred.
        cp.minimize(_CHANGE_PART * walk - kept)
        hint(problem.model, best.values)
        return best if self.budget.is_over() else solve(
            problem.model, self.budget, self.effort * _SHARES["walk"])

    def end_ticks(self, answer: Answer) -> int:
        """How long the outing lasts."""
        return answer.values[self.problem.end.index] - answer.values[self.problem.pet_zero.index]


def find_clash(problem: Problem, budget: Budget, effort: float) -> tuple[Requirement, ...] | None:
    """Requirements that cannot be met together; None where that was not shown; empty where it is the order.

    Required tasks, row order inside a task and travel are not requirements here but what all must live with.
    ``problem`` is one that explains.
    """
    model = problem.model
    core = kept = _core(model, list(model.switches), effort, budget)
    if core is None or kept is None:
        return None
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
    named = solve(model, budget, effort).clashing
    return None if named is None else [by_index[index] for index in named if index in by_index]
