"""The long questions that a planner asks of the plan: another PET 0, the odds, a better order."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from planning_kit.explore.long_question import LongQuestion
from planning_kit.explore.odds.odds import TimedOdds, odds
from planning_kit.explore.odds.study import Study, Tally, joined, tallies
from planning_kit.explore.propose.goals import ODDS_SAMPLES
from planning_kit.explore.propose.proposals import Proposal, Proposals, search_orders
from planning_kit.explore.session.editing import PET_ZERO, Editing
from planning_kit.explore.sweep import sweep_pet_zero
from planning_kit.plan.timed import TimedPlan

SWEEP, ODDS, ORDER = "sweep", "odds", "order"
_SWEEP_EVERY_MIN = 5
_SAMPLES, _SEED = 20_000, 1
_SEARCH_SECONDS = 120.0  # a safety stop: the planner sees it run, and stops it


@dataclass(frozen=True)
class Tried:
    """One PET 0: minutes left before the hard limit (NaN: no plan, and ``reason`` says why)."""

    pet_zero: datetime
    left_min: float
    reason: str


@dataclass(frozen=True)
class Orders:
    """What a search said; the orders it found, each once; the odds of the plan as it is and of each."""

    said: Proposals[TimedPlan]
    found: tuple[Proposal[TimedPlan], ...]
    current_odds: TimedOdds
    odds: tuple[TimedOdds, ...]


def about_every_pet_zero(editing: Editing) -> LongQuestion:
    """The same work at every 5 minutes of the range of PET 0 times."""
    first, last = editing.pet_zero_range()
    scenario = editing.scenario

    def answer(question: LongQuestion) -> list[Tried]:
        count = int((last - first).total_seconds() // (60 * _SWEEP_EVERY_MIN)) + 1
        found: list[Tried] = []
        while len(found) < count and not question.is_stopping:
            moment = first + timedelta(minutes=_SWEEP_EVERY_MIN * len(found))
            row = sweep_pet_zero(scenario, moment, moment, 1).iloc[0]
            left = float("nan") if row["reason"] else float(row["hard_margin_min"])
            found.append(Tried(moment, left, str(row["reason"])))
            question.tell(f"{len(found)} of {count}", len(found) / count, found[-1])
        return found

    return LongQuestion(SWEEP, answer, _is_same(editing, free=(PET_ZERO,)))


def about_the_odds(editing: Editing) -> LongQuestion:
    """How likely the plan is to fit, its windows to be caught, and when it ends."""
    plan = editing.plan

    def answer(question: LongQuestion) -> TimedOdds | None:
        study, parts = Study.of(plan, _SEED), list[Tally]()
        for part in tallies(study, _SAMPLES, report=question.report, together=1):
            if question.is_stopping:
                return None
            parts.append(part)
        return TimedOdds(plan, study, joined(parts))

    return LongQuestion(ODDS, answer, _is_same(editing))


def about_a_better_order(editing: Editing) -> LongQuestion:
    """Better orders of the same work, with their odds; each can be taken into the draft."""
    plan = editing.plan

    def answer(question: LongQuestion) -> Orders | None:
        search = search_orders(plan.scenario, seconds=_SEARCH_SECONDS, progress=question.report,
                               cancel=lambda: question.is_stopping)
        # With another PET 0 allowed the search may find the same order again.
        found = tuple({each.scenario.digest: each for each in reversed(search.found)}.values())[::-1]
        if question.is_stopping and not found:
            return None
        question.tell("odds of what was found")
        chances = tuple(odds(each, ODDS_SAMPLES) for each in (plan, *(order.plan for order in found)))
        return Orders(search, found, chances[0], chances[1:])

    return LongQuestion(ORDER, answer, _is_same(editing))


def _is_same(editing: Editing, free: Collection[str] = ()) -> Callable[[], bool]:
    """Whether the draft says what it says now; ``free`` are settings that an answer does not depend on."""
    blank = dict.fromkeys(free, "")
    asked = editing.draft.with_settings(blank)
    return lambda: asked.says_the_same_as(editing.draft.with_settings(blank))


QUESTIONS: Mapping[str, Callable[[Editing], LongQuestion]] = {
    SWEEP: about_every_pet_zero, ODDS: about_the_odds, ORDER: about_a_better_order}
