"""What the history of a thing forces: an item laid down by P1 and taken by T1."""

from __future__ import annotations

import pytest

from planning_kit.explore.propose.chains import Chain, Event, add_chain, forced_orders, need_state
from planning_kit.explore.propose.order_model import OrderModel, Requirement

NUMBERS = {"P1": 0, "U1": 1, "T1": 2}
MINUTES = [5.0, 4.0, 3.0]
ASKED = Requirement("hardware", "item", "is where it is taken")


@pytest.fixture
def chain() -> Chain:
    """EV1 has the item, P1 leaves it at the rack, U1 needs it there, T1 takes it from there for EV2."""
    model = OrderModel(1000)
    put, use, take = (model.add_step(name, int(MINUTES[number])) for name, number in NUMBERS.items())
    made = add_chain(model, "item", "EV1", [
        Event(put, model.yes, frozenset({"EV1"}), "RACK", at_finish=True),
        Event(take, model.yes, frozenset({"RACK"}), "EV2", at_finish=False),
    ], may_end=frozenset({"EV2"}), asked=ASKED)
    need_state(model, made, use, model.yes, {"RACK"}, ASKED)
    return made


def number(placed: object) -> int:
    return NUMBERS[placed.name]  # type: ignore[attr-defined]


def test_leaving_comes_before_using_and_using_before_taking(chain: Chain) -> None:
    assert set(forced_orders(chain, number, lambda step, whens: True)) == {(0, 1), (0, 2), (1, 2)}


def test_nothing_is_forced_on_a_step_that_may_go_otherwise(chain: Chain) -> None:
    assert set(forced_orders(chain, number, lambda step, whens: step != 2)) == {(0, 1)}


def test_what_is_handed_over_can_be_left_in_the_step_in_which_it_comes() -> None:
    model = OrderModel(1000)
    give, leave = (model.add_step(name, 5) for name in ("P1", "T1"))
    made = add_chain(model, "item", "EV1", [
        Event(give, model.yes, frozenset({"EV1"}), "EV2", at_finish=True),
        Event(leave, model.yes, frozenset({"EV2"}), "RACK", at_finish=True),
    ], may_end=None, asked=ASKED)
    assert not set(forced_orders(made, number, lambda step, whens: True))
