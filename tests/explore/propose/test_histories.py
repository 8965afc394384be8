"""What the history of a thing asks of the model: an item laid down by P1 and taken by T1."""

from __future__ import annotations

from ortools.sat.python import cp_model

from planning_kit.explore.propose.chains import Event, add_chain, need_state
from planning_kit.explore.propose.order_model import OrderModel, Placed, Requirement

ASKED = Requirement("hardware", "item", "is where it is taken")


def least_start(model: OrderModel, step: Placed) -> int:
    solver = cp_model.CpSolver()
    model.cp.minimize(step.start)
    assert solver.solve(model.cp) == cp_model.OPTIMAL
    return solver.value(step.start)


def test_leaving_comes_before_using_and_using_before_taking() -> None:
    """EV1 has the item, P1 leaves it at the rack, U1 needs it there, T1 takes it from there for EV2."""
    model = OrderModel(1000)
    put, use, take = (model.add_step(name, minutes) for name, minutes in (("P1", 5), ("U1", 4), ("T1", 3)))
    made = add_chain(model, "item", "EV1", [
        Event(put, model.yes, frozenset({"EV1"}), "RACK", at_finish=True),
        Event(take, model.yes, frozenset({"RACK"}), "EV2", at_finish=False),
    ], may_end=frozenset({"EV2"}), asked=ASKED)
    need_state(model, made, use, model.yes, {"RACK"}, ASKED)
    assert [least_start(model, step) for step in (put, use, take)] == [0, 5, 5 + 4]


def test_what_is_handed_over_can_be_left_in_the_step_in_which_it_comes() -> None:
    model = OrderModel(1000)
    give, leave = (model.add_step(name, 5) for name in ("P1", "T1"))
    add_chain(model, "item", "EV1", [
        Event(give, model.yes, frozenset({"EV1"}), "EV2", at_finish=True),
        Event(leave, model.yes, frozenset({"EV2"}), "RACK", at_finish=True),
    ], may_end=None, asked=ASKED)
    assert least_start(model, leave) == 0
