"""The bar of a long call: when it comes, what it says, that it goes; what an interrupt leaves."""

from __future__ import annotations

import contextlib
import io
import signal
import threading
import time
from collections.abc import Callable, Iterator
from functools import partialmethod

import pandas as pd
import pytest
from tqdm.auto import tqdm

import planning_kit as pk
from planning_kit.explore.long_question import Progress
from planning_kit.explore.sweep import NOT_REACHED
from planning_kit.front import progress_bar
from planning_kit.front.progress_bar import shown, stoppable
from tests.explore.retime.rehearsal import as_planned

SPAN = ("2031-09-03T07:00:00Z", "2031-09-03T08:30:00Z", 10)


class Screen(io.StringIO):
    """A terminal as tqdm sees one."""

    def isatty(self) -> bool:
        return True

    @property
    def lines(self) -> list[str]:
        """What stood in its last line, one after another."""
        return [line.strip() for line in self.getvalue().split("\r") if line.strip()]


@pytest.fixture(autouse=True)
def _interrupts() -> Iterator[None]:
    """As in a terminal: what a shell starts in the background has them ignored."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.fixture
def screen(monkeypatch: pytest.MonkeyPatch) -> Screen:
    made = Screen()
    monkeypatch.setattr(tqdm, "__init__", partialmethod(tqdm.__init__, file=made))
    monkeypatch.setattr(progress_bar, "DELAY_S", 0.0)
    monkeypatch.setattr(progress_bar, "_EVERY_S", 0.0)
    return made


def test_a_search_shows_the_best_and_the_bound_in_words(screen: Screen) -> None:
    with shown("bar", "propose") as report:
        report(Progress("which tasks fit", 1.0))
        report(Progress("searching", 2.0, best_min=363.0))
        report(Progress("searching", 3.0, best_min=363.0, bound_min=350.0))
    assert screen.lines[-3:] == ["propose: which tasks fit, 0 s", "propose: best so far 6:03, 0 s",
                                 "propose: best so far 6:03, at least 5:50, 0 s"]


def test_a_bar_comes_only_after_its_delay(screen: Screen, monkeypatch: pytest.MonkeyPatch) -> None:
    now_s = 100.0
    monkeypatch.setattr(progress_bar, "DELAY_S", 2.0)
    monkeypatch.setattr(progress_bar.time, "monotonic", lambda: now_s)
    with shown("bar", "sweep") as report:
        now_s = 101.9
        report(Progress("1 of 4 rows", 1.9, 0.25))
        assert not screen.lines
        now_s = 102.1
        report(Progress("2 of 4 rows", 2.1, 0.5))
        assert screen.lines[-1].startswith("sweep: 2 of 4 rows, 2 s |")


def test_none_shows_nothing_and_a_function_is_told_all(screen: Screen, small_plan: pk.Plan) -> None:
    told: list[Progress] = []
    small_plan.odds(40_000, progress=told.append)
    small_plan.odds(40_000, progress=None)
    assert [each.words for each in told] == [f"{done} of 2 parts of 40,000 samples" for done in (0, 1)]
    assert not screen.lines


def test_no_bar_is_left_when_a_call_ends_or_fails(screen: Screen) -> None:
    with contextlib.suppress(ZeroDivisionError), shown("bar", "gain") as report:
        report(Progress("1 of 2 changes", 0.1, 0.5))
        assert "gain" in screen.getvalue().split("\r")[-1]
        raise ZeroDivisionError
    assert not screen.getvalue().split("\r")[-1].strip()  # the line is blank again


def test_no_bar_where_nobody_looks(screen: Screen, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(screen, "isatty", lambda: False)
    with shown("bar", "gain") as report:
        report(Progress("1 of 2 changes", 0.1, 0.5))
    assert not screen.lines


LONG_CALLS: dict[str, Callable[[pk.Plan], object]] = {
    "sweep": lambda plan: plan.sweep(plan.pet_zero, plan.pet_zero, 10, stops=True),
    "odds": lambda plan: plan.odds(100), "cuts": lambda plan: plan.cuts(samples=100),
    "gain": lambda plan: plan.gain("CL1", 5, most=1),
    "decision_table": lambda plan: plan.decision_table(samples=100),
    "propose": lambda plan: plan.propose("quick", seconds=3),
    "find_plan": lambda plan: pk.find_plan(plan.scenario, "quick", seconds=3),
    "options": lambda plan: plan.retime(as_planned(plan, 300.0), 300.0).options(most=1),
}


@pytest.mark.parametrize("name", LONG_CALLS)
def test_every_long_call_has_a_bar(name: str, screen: Screen, demo_plan: pk.Plan) -> None:
    LONG_CALLS[name](demo_plan)
    assert any(line.startswith(f"{name}: ") for line in screen.lines)


def raise_interrupt_after(reports: int) -> Callable[[Progress], None]:
    """A function to tell progress to, which interrupts as Ctrl-C does once it has heard so many."""
    heard: list[Progress] = []

    def report(progress: Progress) -> None:
        heard.append(progress)
        if len(heard) == reports:
            signal.raise_signal(signal.SIGINT)

    return report


def test_an_interrupted_sweep_keeps_what_it_has_and_says_so(small_plan: pk.Plan) -> None:
    whole = small_plan.sweep(*SPAN, stops=True)
    part = small_plan.sweep(*SPAN, stops=True, progress=raise_interrupt_after(5))
    assert len(part) == len(whole)
    assert (part["reason"] == NOT_REACHED).tolist() == [False] * 4 + [True] * (len(whole) - 4)
    pd.testing.assert_frame_equal(pd.DataFrame(part[:4]), pd.DataFrame(whole[:4]))
    last = part.good_spells.query("limit == 'hard'").iloc[-1]
    assert (last["until"], last["may_go_on"]) == (part["pet_zero"].iloc[3], True)
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_a_second_interrupt_ends_the_call_and_odds_are_whole_or_none(small_plan: pk.Plan) -> None:
    with stoppable() as is_over:
        signal.raise_signal(signal.SIGINT)
        assert is_over()
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt):
        small_plan.odds(10_000, progress=raise_interrupt_after(1))


def test_beside_the_main_thread_only_cancel_is_asked() -> None:
    found: list[bool] = []

    def ask() -> None:
        with stoppable(lambda: True) as is_over:
            found.append(is_over())

    thread = threading.Thread(target=ask)
    thread.start()
    thread.join()
    assert found == [True]


@pytest.mark.slow
def test_an_interrupted_search_keeps_the_best_and_says_so(demo_plan: pk.Plan) -> None:
    begun_s = time.monotonic()
    timer = threading.Timer(8.0, signal.raise_signal, [signal.SIGINT])
    timer.start()
    found = demo_plan.propose(1e5, seconds=300, progress=None)
    assert time.monotonic() - begun_s < 60
    assert "cancelled" in found.verdict
    assert not found.is_repeatable
