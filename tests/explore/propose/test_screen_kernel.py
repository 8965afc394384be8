"""The compiled rules that delay nobody against those in Python, on orders that a search comes by."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import pytest

import planning_kit as pk
from planning_kit.explore.propose.choices import as_written
from planning_kit.explore.propose.local_search import Neighbours
from planning_kit.explore.propose.order_problem import Freedom, Problem
from planning_kit.explore.propose.order_screen import Timed, UntimedRules
from planning_kit.explore.propose.random_moves import RandomMoves
from planning_kit.explore.propose.stages import build_problem
from tests.conftest import TERN, TESTS
from tests.explore.propose.made import made_outing
from tests.explore.propose.outings import half_a_day, outing_of

MADE = ("whimbrel", "dunlin", "godwit", "larch", "hazel", "rowan")
OUTINGS: dict[str, Callable[[], pk.Scenario]] = {
    **{name: partial(pk.load_scenario, TESTS / "data" / f"orders-{name}") for name in MADE},
    "tern": partial(pk.load_scenario, TERN), "half a day": half_a_day, "forty steps": partial(outing_of, 40)}
SEEDS = range(12)


def problem_of(scenario: pk.Scenario) -> Problem:
    pet_zero = scenario.settings.pet_zero_utc
    return build_problem(scenario.records, scenario.elements, Freedom(
        earliest=pet_zero, latest=pet_zero, limit_min=scenario.settings.limits.hard_min))


def drawn(problem: Problem, count: int, dropped: frozenset[str] = frozenset()) -> list[Timed]:
    """Orders on a random walk from the rows, kept and broken, with trades and other PET 0 times."""
    around, draws = Neighbours(problem, dropped, misses=True), random.Random(count)
    tasks = {step.step: step.task for step in problem.work.steps}
    written = as_written(problem.work.records, problem.freedom.earliest)
    left = {who: tuple(step for step in lane if tasks[step] not in dropped)
            for who, lane in written.lanes.items()}
    here = good = around.of(replace(written, lanes=left))
    assert here is not None
    moves, found = RandomMoves(problem.work, problem.before, draws, dropped), list[Timed]()
    for _ in range(20 * count):
        move = moves.draw(here.orders, here.starts)
        there = move and around.timed(move[0], here.swapped ^ move[1], draws.choice([0.0, 0.0, 33.0]))
        if there:
            found.append(there)
            is_kept = around.rules.broken(there) is None
            good = there if is_kept else good
            here = there if is_kept or draws.random() < 0.2 else good
        if len(found) == count:
            break
    return found


class Asked:
    """Compiled and in Python the same rules; ``python`` counts how often the compiled ones had to ask."""

    def __init__(self, problem: Problem, monkeypatch: pytest.MonkeyPatch,
                 dropped: frozenset[str] = frozenset()) -> None:
        self.compiled, self.own = UntimedRules(problem, dropped), UntimedRules(problem, dropped)
        self.python = 0
        for name in ("broken", "count"):
            monkeypatch.setattr(self.compiled, name, partial(self._ask, name))

    def _ask(self, name: str, order: Timed) -> object:
        self.python += 1
        return getattr(self.own, name)(order)

    def agree(self, orders: list[Timed]) -> list[bool]:
        """Whether each order is kept."""
        for order in orders:
            is_kept, count = self.own.broken(order) is None, self.own.count(order)
            assert self.compiled.count_at(order, stops=True) == (not is_kept), order
            assert (self.compiled.count_at(order, stops=False) > 0) == (count > 0), order
        return [self.own.broken(order) is None for order in orders]


@pytest.mark.parametrize("name", OUTINGS)
def test_the_compiled_rules_say_what_those_in_python_say(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    problem = problem_of(OUTINGS[name]())
    asked, orders = Asked(problem, monkeypatch), drawn(problem, 300)
    kept = asked.agree(orders)
    assert any(kept)
    assert not all(kept) or name == "forty steps"  # which has no items, and narrow places nowhere
    assert any(order.swapped for order in orders) == bool(problem.work.swappable)
    assert asked.python == 0


@pytest.mark.parametrize("seed", SEEDS)
def test_they_agree_where_hooks_bags_and_hands_are_mixed(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Python is asked where somebody else moves a hook in some order, and there alone."""
    problem = problem_of(made_outing(seed, 8))
    asked = Asked(problem, monkeypatch)
    asked.agree(drawn(problem, 150))
    of_others = {step.step for step in problem.work.steps if not {*step.hooks} <= {*step.people}}
    assert bool(asked.python) == bool(of_others)


@pytest.mark.parametrize("name", ["dunlin", "larch", "half a day"])
def test_what_is_let_go_is_not_asked(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    problem = problem_of(OUTINGS[name]())
    asked, orders = Asked(problem, monkeypatch), drawn(problem, 150)
    before = asked.agree(orders)
    for order in random.Random(1).sample(orders, 4):
        for rules in (asked.compiled, asked.own):
            rules.let_go_of(order)
        now = asked.agree(orders)
        assert now[orders.index(order)]
        assert all(is_kept for is_kept, was in zip(now, before, strict=True) if was)


def test_they_agree_with_tasks_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = problem_of(OUTINGS["tern"]())
    dropped = frozenset(problem.work.optional)
    orders = drawn(problem, 200, dropped)
    kept = Asked(problem, monkeypatch, dropped).agree(orders)
    assert dropped
    assert {True, False} == {*kept}
