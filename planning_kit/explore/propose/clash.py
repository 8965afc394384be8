"""Why nothing fits: a small set of requirements that cannot be met together.

Every requirement has a literal that switches it on; the solver is asked under all of them as assumptions and
names a sufficient set. Deletion filtering then takes one after the other away and keeps it out where the rest
still clashes (Chinneck and Dravnieks 1991, "Locating minimal infeasible constraint sets in linear programs"),
so that each one that is left matters, as far as the effort could prove.
"""

from __future__ import annotations

from dataclasses import replace

from ortools.sat.python import cp_model

from planning_kit.explore.propose.model import OrderModel, Requirement
from planning_kit.explore.propose.problem import Freedom
from planning_kit.explore.propose.search import Budget
from planning_kit.explore.propose.stages import build_problem
from planning_kit.explore.propose.work import BY_STEPS
from planning_kit.inputs.omm import Elements
from planning_kit.inputs.records import Records

_TRIES_FOR = 0.3  # deterministic seconds for each requirement taken away


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
