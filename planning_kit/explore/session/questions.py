"""The long questions that a planner asks of the plan: another egress, the odds, a better order."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from planning_kit.explore.odds.odds import Odds, odds
from planning_kit.explore.odds.sampling import chunk_sizes
from planning_kit.explore.odds.study import Study, Tally, joined, run_chunk
from planning_kit.explore.propose.proposals import ODDS_SAMPLES, Proposal, Proposals
from planning_kit.explore.propose.propose import search_orders
from planning_kit.explore.propose.search import TASKS
from planning_kit.explore.propose.search import Progress as SearchProgress
from planning_kit.explore.session.editing import Editing
from planning_kit.explore.session.egress import EGRESS
from planning_kit.explore.session.long_work import LongWork
from planning_kit.explore.sweeping.sweep import sweep_egress
from planning_kit.inputs.times import pet_label
from planning_kit.plan.timed import TimedPlan

SWEEP, ODDS, ORDER = "sweep", "odds", "order"
_SWEEP_EVERY_MIN = 5
_SAMPLES, _SEED = 20_000, 1
_SEARCH_SECONDS = 120.0  # a safety stop: the planner sees it run, and stops it


@dataclass(frozen=True)
class Tried:
    """One egress: minutes left before the hard limit (NaN: no plan, and ``reason`` says why)."""

    egress: datetime
    left_min: float
    reason: str


@dataclass(frozen=True)
class Orders:
    """What a search said; the orders it found, each once; the odds of the plan as it is and of each."""

    said: Proposals[TimedPlan]
    found: tuple[Proposal[TimedPlan], ...]
    current_odds: Odds
    odds: tuple[Odds, ...]


def about_every_egress(editing: Editing) -> LongWork:
    """The same work at every 5 minutes of the range of egress times."""
    first, last = editing.egress_range()
    scenario = editing.scenario

    def do(work: LongWork) -> list[Tried]:
        count = int((last - first).total_seconds() // (60 * _SWEEP_EVERY_MIN)) + 1
        found: list[Tried] = []
        while len(found) < count and not work.is_stopping:
            moment = first + timedelta(minutes=_SWEEP_EVERY_MIN * len(found))
            row = sweep_egress(scenario, moment, moment, 1).iloc[0]
            found.append(Tried(moment, float(row["hard_margin_min"]), str(row["reason"])))
            work.tell(len(found) / count, f"{len(found)} of {count}", found[-1])
        return found

    return LongWork(SWEEP, editing.draft, editing.plan, do, free=(EGRESS,))


def about_the_odds(editing: Editing) -> LongWork:
    """How likely the plan is to fit, its windows to be caught, and when it ends."""
    plan = editing.plan

    def do(work: LongWork) -> Odds | None:
        study, sizes, parts = Study.of(plan, _SEED), chunk_sizes(_SAMPLES), list[Tally]()
        for chunk, size in enumerate(sizes):
            work.tell(len(parts) / len(sizes), f"{sum(sizes[:chunk]):,} of {_SAMPLES:,} samples")
            if work.is_stopping:
                return None
            parts.append(run_chunk(study, chunk, size))
        return Odds(plan, study, joined(parts))

    return LongWork(ODDS, editing.draft, plan, do)


def about_a_better_order(editing: Editing) -> LongWork:
    """Better orders of the same work, with their odds; each can be taken into the draft."""
    plan = editing.plan

    def do(work: LongWork) -> Orders | None:
        said = search_orders(plan.scenario, seconds=_SEARCH_SECONDS, cancel=lambda: work.is_stopping,
                              progress=lambda step: work.tell(math.nan, _search_words(step)))
        # With another egress allowed the search may find the same order again.
        found = tuple({each.scenario.digest: each for each in reversed(said.found)}.values())[::-1]
        if work.is_stopping and not found:
            return None
        work.tell(math.nan, "odds of what was found")
        chances = tuple(odds(each, ODDS_SAMPLES) for each in (plan, *(order.plan for order in found)))
        return Orders(said, found, chances[0], chances[1:])

    return LongWork(ORDER, editing.draft, plan, do)


def _search_words(step: SearchProgress) -> str:
    took = f"{step.elapsed_s:.0f} s"
    if step.doing == TASKS:
        return f"which tasks fit, {took}"
    if math.isfinite(step.best_min):
        return f"best so far {pet_label(step.best_min)}, at least {pet_label(step.bound_min)}, {took}"
    return f"searching, {took}"


QUESTIONS: Mapping[str, Callable[[Editing], LongWork]] = {
    SWEEP: about_every_egress, ODDS: about_the_odds, ORDER: about_a_better_order,
}
