"""The compiled rules that delay nobody against those in Python, on orders that a search comes by."""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import partial

import pytest

import planning_kit as pk
from planning_kit.explore.propose import local_search
from planning_kit.explore.propose.local_search import Neighbours
from planning_kit.explore.propose.order_problem import Freedom, Problem
from planning_kit.explore.propose.order_screen import Orders, Timed, UntimedRules
from planning_kit.explore.propose.random_moves import RandomMoves
from planning_kit.explore.propose.screen_arrays import CompiledRules
from planning_kit.explore.propose.stages import build_problem
from tests.conftest import TERN, TESTS
from tests.explore.propose.made import (
    item_row,
    made_outing,
    outing_with,
    place_row,
    route_row,
    step_row,
    task_row,
)
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


def sketched(around: Neighbours, orders: Orders, swapped: frozenset[str],
             pet_zero_min: float) -> Timed | None:
    """An order with its times, even where the model has none such."""
    kernel, to = local_search.kernel(), around.moves.order(orders, swapped, (), (pet_zero_min,))
    while (said := kernel.time_it(around.outing(around.moves), to)) <= kernel.ASKS:
        around.timing.answer(said)
    return around.read(to) if said == kernel.FOUND else None


def drawn(problem: Problem, count: int, dropped: frozenset[str] = frozenset(),
          is_free: bool = False) -> list[Timed]:
    """Orders on a random walk from the rows, kept and broken, with trades and other PET 0 times.

    ``is_free``: even of what must come first.
    """
    around, draws, work = Neighbours(problem, dropped, misses=True), random.Random(count), problem.work
    written = {who: tuple(i for i in lane if work.steps[i].task not in dropped)
               for who, lane in work.lanes.items()}
    here = good = sketched(around, written, frozenset(), 0.0)
    assert here is not None
    assert good is not None
    moves = RandomMoves(work, [()] * len(work.steps) if is_free else problem.before, draws, dropped)
    found = list[Timed]()
    for _ in range(20 * count):
        move = moves.draw(here.orders, here.starts)
        there = move and sketched(around, move[0], here.swapped ^ move[1], draws.choice([0.0, 0.0, 33.0]))
        if there:
            found.append(there)
            is_kept = around.rules.broken(there) is None
            good = there if is_kept else good
            here = there if is_kept or is_free or draws.random() < 0.2 else good
        if len(found) == count:
            break
    return found


class Asked:
    """Compiled and in Python the same rules; ``python`` counts how often the compiled ones had to ask."""

    def __init__(self, problem: Problem, monkeypatch: pytest.MonkeyPatch,
                 dropped: frozenset[str] = frozenset()) -> None:
        self.compiled, self.own = CompiledRules(problem, dropped), UntimedRules(problem, dropped)
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


def sudden(seed: int) -> pk.Scenario:
    """A made outing in which much happens at one instant: short ways, steps of no length, nothing waits."""
    draw, made = random.Random(seed), made_outing(seed, 8)
    steps, routes, tasks, hardware = made.steps, made.routes, made.tasks, made.hardware
    minutes = [draw.choice([0.0, 0.0, 1.0]) for _ in range(len(steps))]
    for column in ("minutes_low", "minutes_likely", "minutes_high"):
        steps[column] = minutes
    steps["after"], routes["minutes"] = "", draw.choice([0.5, 1.0])
    tasks["swappable"] = ["yes" if task in set(steps["task"][1:-1]) else "no" for task in tasks["task"]]
    hardware["at"] = [draw.choice([at, at, "inside"]) for at in hardware["at"]]
    for name, table in (("steps", steps), ("routes", routes), ("tasks", tasks), ("hardware", hardware)):
        made = made.with_table(name, table)
    return made.edit_row("crew", "EV1", tether_m=500).edit_row("crew", "EV2", tether_m=500)


@pytest.mark.parametrize("seed", range(24))
def test_they_agree_where_much_happens_at_once(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    problem = problem_of(sudden(seed))
    problem.more_bounds.clear()  # nor does one step wait for another because of what it takes
    Asked(problem, monkeypatch).agree(drawn(problem, 100, is_free=True))


def test_a_partner_must_stand_where_something_is_handed_over(monkeypatch: pytest.MonkeyPatch) -> None:
    """EV2 is there first of all, for ten minutes, or ten minutes later: EV1 hands over after two."""
    steps = [step_row("A1", "EGR", "both", "HAT", 4), step_row("H", "H", "EV1", "RIM", 2, leaves="tool>EV2"),
             step_row("W", "W", "EV2", "RIM", 10), step_row("D", "D", "EV2", "DEK", 10),
             step_row("Z1", "CLN", "both", "HAT", 4)]
    problem = problem_of(outing_with(
        [place_row(name, anchor="yes") for name in ("HAT", "RIM", "DEK")],
        [route_row("HAT", "RIM", 4), route_row("RIM", "DEK", 4)], [item_row("tool", "tool", "EV1")], steps,
        [task_row(name, False) for name in "HWD"]))
    asked, orders = Asked(problem, monkeypatch), drawn(problem, 20, is_free=True)
    assert {True, False} == {*asked.agree(orders)}
    found = [broken.rule for order in orders if (broken := asked.own.broken(order))]
    assert {*found} == {"partner-away"}


def test_what_moves_twice_at_one_instant_moves_as_the_rows_of_the_order(
        monkeypatch: pytest.MonkeyPatch) -> None:
    """EV2 puts the tool down in the minute in which it comes from EV1: behind it, though written above.

    With Q before X EV2 would put it down a minute sooner.
    """
    steps = [step_row("A1", "EGR", "both", "HAT", 4), step_row("Q", "Q", "EV2", "RIM", 1, leaves="tool"),
             step_row("P", "P", "EV1", "RIM", 2, leaves="tool>EV2"), step_row("X", "X", "EV2", "RIM", 1),
             step_row("Z1", "CLN", "both", "HAT", 4)]
    scenario = outing_with(
        [place_row(name, anchor="yes") for name in ("HAT", "RIM")], [route_row("HAT", "RIM", 4, 1)],
        [item_row("tool", "tool", "EV1")], steps, [task_row(name, False) for name in "QPX"])
    problem = problem_of(scenario)
    problem.more_bounds.clear()
    kept = Asked(problem, monkeypatch).agree(drawn(problem, 20, is_free=True))
    assert {True, False} == {*kept}


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
