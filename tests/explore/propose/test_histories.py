"""What the history of a thing forces, and which times keep it: an item laid down by P1 and taken by T1."""

from __future__ import annotations

import pytest

from planning_kit.explore.propose.chains import Chain, Event, History, add_chain, forced_orders, need_state
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


@pytest.mark.parametrize(("starts", "is_kept"), [
    ([0.0, 5.0, 9.0], True),
    ([0.0, 5.0, 30.0], True),
    ([0.0, 4.0, 9.0], False),  # used before it is there
    ([0.0, 9.0, 5.0], False),  # taken before it is used
    ([0.0, 6.0, 9.0], False),  # taken while it is used
    ([9.0, 14.0, 0.0], False),  # taken before it is left
    ([0.0, 5.0, 4.0], False),  # taken while the step that leaves it goes on
])
def test_times_keep_a_history_or_do_not(chain: Chain, starts: list[float], is_kept: bool) -> None:
    history = History.of(chain, number, lambda literal: True)
    spells = history.spells(starts, MINUTES)
    assert (spells is not None and history.are_met(spells, starts, MINUTES)) == is_kept


def test_a_thing_that_ends_elsewhere_is_no_history(chain: Chain) -> None:
    history = History.of(chain, number, lambda literal: True)
    left = History(history.name, history.initial, history.acts[:1], (), history.may_end)
    assert left.spells([0.0, 5.0, 9.0], MINUTES) is None


def test_a_thing_that_nobody_moves_may_stay_where_it_is(chain: Chain) -> None:
    history = History.of(chain, number, lambda literal: False)  # the tasks that would move it are left out
    assert history.spells([0.0, 5.0, 9.0], MINUTES) is not None
