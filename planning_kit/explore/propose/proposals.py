"""Proposals: better orders with their plans, what they change, and how far from the best they may be.

A question is read here, searched by `order_search`, and told with a verdict.
"""

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from functools import cached_property, partial
from math import inf, nan
from operator import attrgetter, itemgetter
from typing import Generic, TypeVar

import numpy as np
import pandas as pd

from planning_kit.explore.long_question import Report, mapped, silent, told
from planning_kit.explore.propose.choices import Move, as_written
from planning_kit.explore.propose.goals import END, GOALS, chances_of, least_margins, told_chances, told_gain
from planning_kit.explore.propose.order_problem import BY_RUNS, BY_STEPS, Freedom
from planning_kit.explore.propose.order_search import Better, Judge, OrderSearch, Rejected, judge_for
from planning_kit.explore.propose.repairs import looked_with_repairs
from planning_kit.explore.propose.solving import Budget
from planning_kit.inputs.faults import Faults, ScenarioError, is_number, is_whole
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import TextTable, html_text
from planning_kit.inputs.times import number_label, pet_label
from planning_kit.inputs.utc import When, as_utc
from planning_kit.judge.review import LEAST_TOLD, carry_h, cushioned_end_min, given_way_min, walk_min
from planning_kit.plan.build import placeless
from planning_kit.plan.timed import AnyPlan, TimedPlan, as_plan

MOVE_COLUMNS = ["kind", "crew", "what", "words"]
REJECTED_COLUMNS = ["end_min", "gain_min", "check", "rule", "about", "crew", "step", "words"]
TABLE_COLUMNS = ["plan", "pet_zero", "end_min", "gain_min", "walk_min", "carry_h", "p_planned", "p_hard",
                 "p_required", "margin_min", "margin_at", "left_out", "changes", "new_concerns", "verdict"]
PROVEN = "proven best, in whole seconds, of all orders that bring no new stop and no new concern of custody"
"""The solver rounds times up. It leaves out what brings such a concern: who has an item already, where one
is left outside."""

P = TypeVar("P", bound=AnyPlan)
Faced = TypeVar("Faced", bound=AnyPlan)
EFFORTS = {"quick": 1.0, "normal": 1.5, "thorough": 40.0}
_LEAST_EVERY_MIN, _MOST_SEEDS = 0.1, 1_000
_MOST_REJECTIONS = 10
_MOST_PET_ZEROES = 20_000
_MOST_EFFORT, _MOST_LIMIT_MIN = 1e6, 7 * 1440.0  # beyond any use, and far from where numbers overflow


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Proposal(Generic[P]):
    """One better order. Its times are the timing's own: ``plan`` is ``scenario`` timed.

    ``end_min`` is the outing's end on likely durations, ``cushioned_min`` on those with the cushion that was
    asked for (the same without one), ``bound_min`` the least that the latter could be for any order under
    the same freedom, never above it (all PET minutes; proven to a second a link of the chain, for the
    solver counts in seconds); ``dropped`` are the tasks left out; ``is_proven`` says that neither more tasks
    nor an earlier end are possible; ``is_repeatable`` that no clock cut the search short; ``new_concerns``
    counts those that the current plan does not have; ``best_by`` is the goal, perhaps ``end and odds``.
    """

    name: str
    scenario: Scenario
    plan: P
    current: P | None
    changes: tuple[Move, ...]
    dropped: frozenset[str]
    cushioned_min: float
    bound_min: float
    tasks_proven: bool
    end_proven: bool
    is_repeatable: bool
    new_concerns: int
    best_by: str = END

    @property
    def end_min(self) -> float:
        """End of the outing, PET minutes."""
        return as_plan(self.plan).end_min

    @property
    def is_proven(self) -> bool:
        """Whether nothing better exists under the same freedom."""
        return self.tasks_proven and self.end_proven

    @property
    def verdict(self) -> str:
        """Proven best, and of what; or "best found" and how far from the best at most."""
        if self.is_proven:
            return PROVEN
        if not self.tasks_proven:
            return "best found; whether more tasks fit is not proven"
        if not self.bound_min:
            return "best found; of repaired orders no bound is known"
        left = f"{max(self.cushioned_min - self.bound_min, 0.0):.1f} min"
        return f"best found, at most {left} from best" if self.best_by == END else (
            f"best found by {self.best_by}, at most {left} after the earliest end")

    @property
    def moves(self) -> pd.DataFrame:
        """What it changes against the current plan: ``kind``, ``crew``, ``what``, ``words``."""
        return TextTable([asdict(move) for move in self.changes], columns=MOVE_COLUMNS)

    @property
    def chances(self) -> Mapping[str, float]:
        """The odds of the limits, and of the hard one with the required work done."""
        return chances_of(as_plan(self.plan))

    def __repr__(self) -> str:
        return (f"<Proposal {self.name}: both inside at {pet_label(self.end_min)}, {len(self.changes)} "
                f"changes; {told_chances(as_plan(self.plan))}; {self.verdict}>")


@dataclass(frozen=True, eq=False, repr=False, kw_only=True)
class Proposals(Generic[P]):
    """What `propose` found, best first, or the best by each goal; empty where nothing is better or fits.

    ``current`` is the plan as it stands (None where it has none); ``verdict`` says in a sentence how it went;
    ``rejections`` are the earliest orders that were not shown, by the finding for which they do not hold.
    """

    current: P | None
    found: tuple[Proposal[P], ...]
    verdict: str
    rejections: tuple[Rejected, ...] = ()
    is_repeatable: bool = True

    def __len__(self) -> int:
        return len(self.found)

    def __iter__(self) -> Iterator[Proposal[P]]:
        return iter(self.found)

    def __getitem__(self, number: int) -> Proposal[P]:
        return self.found[number]

    @property
    def best(self) -> Proposal[P] | None:
        """The best proposal, or None."""
        return self.found[0] if self.found else None

    @property
    def rejected(self) -> pd.DataFrame:
        """The best orders that were not shown, the earliest first: what each would win, and what blocked it.

        ``end_min`` (PET), ``gain_min`` (against the current plan), then the finding for which it does not
        hold: ``check``, ``rule``, ``about``, ``crew``, ``step`` and in ``words``.
        """
        now_min = float("nan") if self.current is None else as_plan(self.current).end_min
        rows = [(round(each.end_min, 1), round(now_min - each.end_min, 1), *each.finding, each.words)
                for each in self.rejections]
        return TextTable(rows, columns=REJECTED_COLUMNS)

    @property
    def table(self) -> pd.DataFrame:
        """The current plan and each proposal, a row each.

        ``plan``, ``pet_zero`` (UTC), ``end_min`` (PET), ``gain_min`` (earlier end), ``walk_min`` (both crew
        members), ``carry_h`` (hours of carrying a slot), ``p_planned`` and ``p_hard`` (odds of keeping the
        limits), ``p_required`` (the latter with the required work done), the least
        margin ``margin_min`` and ``margin_at`` what, ``left_out`` (tasks), ``changes`` (how many),
        ``new_concerns``, ``verdict``.
        """
        return self._table.copy()

    @cached_property
    def _table(self) -> pd.DataFrame:
        current = None if self.current is None else as_plan(self.current)
        rows = [] if current is None else [_row("current", current, current, None)]
        rows += [_row(each.name, as_plan(each.plan), current, each) for each in self.found]
        return TextTable(rows, columns=TABLE_COLUMNS)

    def __repr__(self) -> str:
        best = f"; {told_chances(as_plan(self.best.plan))}" if self.best else ""
        return f"<Proposals: {self.verdict}{best}>"

    def _repr_html_(self) -> str:
        table = self.table._repr_html_() or ""  # type: ignore[operator]
        return f"<p>{html_text(self.verdict)}</p>{table}"


def _row(name: str, plan: TimedPlan, current: TimedPlan | None,
         proposal: Proposal[P] | None) -> list[object]:
    gain, least = current.end_min - plan.end_min if current else nan, next(iter(least_margins(plan)), None)
    return [
        name, pd.Timestamp(plan.pet_zero), round(plan.end_min, 1), round(gain, 1),
        round(walk_min(plan), 1), round(carry_h(plan), 2), *(round(p, 3) for p in chances_of(plan).values()),
        *((float(np.floor(least.minutes * 10) / 10), f"{least.step or least.crew}: {least.what}")
          if least else (nan, "")),
        *((" ".join(sorted(proposal.dropped)), len(proposal.changes), proposal.new_concerns, proposal.verdict)
          if proposal else ("", 0, 0, ""))]


def faced(proposals: Proposals[TimedPlan], face: Callable[[TimedPlan], Faced]) -> Proposals[Faced]:
    """The same, with what ``face`` makes of each plan."""
    current = None if proposals.current is None else face(proposals.current)
    found = tuple(Proposal(**vars(each) | {"plan": face(each.plan), "current": current})
                  for each in proposals.found)
    return Proposals(**vars(proposals) | {"current": current, "found": found})


def search_orders(
    scenario: Scenario,
    effort: str | float = "normal",
    seconds: float = 120.0,
    pet_zero_window: tuple[When, When] | None = None,
    progress: Report = silent,
    cancel: Callable[[], bool] | None = None,
    goal: str | Sequence[str] = END,
    *,
    order: str = BY_STEPS,
    limit_min: float | None = None,
    cushion: float = 0.0,
    pet_zero_every_min: float = 5.0,
    seeds: int = 1,
    executor: Executor | None = None,
) -> Proposals[TimedPlan]:
    """Search for better orders: `Plan.propose` in `planning_kit.front.plan` says how."""
    goals = [*dict.fromkeys(map(str, goal if isinstance(goal, (list, tuple)) and goal else [goal]))]
    amount = _read_question(effort, seconds, goals, order, limit_min, cushion, pet_zero_every_min, seeds)
    work = mapped(executor)
    earliest, latest = _read_window(scenario, pet_zero_window, pet_zero_every_min)
    judges = [judge_for(scenario, limit_min, cushion, each) for each in goals for _ in range(seeds)]
    if lost := placeless(scenario.records.steps):
        return Proposals(current=judges[0].current, found=(), verdict=(
            f"not searched: {' '.join(lost)} without a place, so that ways and hooks of another order are "
            "not known; name the places, or detail these blocks"))
    freedom = Freedom(earliest=earliest, latest=latest, limit_min=judges[0].limit_min,
                      pet_zero_every_min=pet_zero_every_min, cushion=cushion, free=order)
    budgets = [Budget(amount, seconds, seed=seed) for _ in goals for seed in range(1, seeds + 1)]
    if executor is None:  # elsewhere nobody can be told or asked
        budgets = [replace(each, progress=progress, cancel=cancel) for each in budgets]
    made, parts = work(partial(_search, freedom), judges, budgets), []
    for part in made if executor is None else told(made, progress, "searches", len(budgets)):
        parts.append(part)
        if cancel is not None and cancel():
            break
    by_goal = [min(parts[at:at + seeds], key=itemgetter(0))[1] for at in range(0, len(parts), seeds)]
    best: Proposals[TimedPlan] = _together(goals, by_goal) if len(goals) > 1 else by_goal[0]
    if (whole := sum(each.is_repeatable for _, each in parts)) == len(budgets) or not best.is_repeatable:
        return best
    how = f" ({whole} of {len(budgets)} searches went on to their end: not repeatable)"
    return replace(best, verdict=best.verdict + how, is_repeatable=False)


def _together(goals: Sequence[str], parts: Sequence[Proposals[TimedPlan]]) -> Proposals[TimedPlan]:
    """The best by each goal, in their order; what is best by several once."""
    found = dict[str, Proposal[TimedPlan]]()
    for best in (part.found[0] for part in parts if part.found):
        same = found.get(name := best.scenario.digest)
        found[name] = replace(same, best_by=f"{same.best_by} and {best.best_by}") if same else best
    words = [part.verdict for part in parts] + ["not searched"] * (len(goals) - len(parts))
    return replace(
        parts[0], is_repeatable=all(part.is_repeatable for part in parts),
        found=tuple(replace(each, name=f"{each.name}, by {each.best_by}") for each in found.values()),
        verdict="; ".join(f"by {goal}: {said}" for goal, said in zip(goals, words, strict=True)))


def _search(freedom: Freedom, judge: Judge, budget: Budget) -> tuple[tuple[float, ...], Proposals[TimedPlan]]:
    """What one search says, and its rank. What it is given and gives pickles: it can be done anywhere."""
    pet_zero = judge.scenario.settings.pet_zero_utc
    budget.begun = time.monotonic()
    search = OrderSearch(judge=judge, before=as_written(judge.scenario.records, pet_zero), budget=budget)
    freedoms = _freedoms(freedom, pet_zero)
    found = list[tuple[Better, str]]()
    for name, free in freedoms.items():
        if not (search.last and budget.is_over()):
            for better, title in looked_with_repairs(search, name, free, budget.effort / len(freedoms)):
                more = search.likelier(free, better) if title == name else ()
                found += [(better, title), *((other, f"{name}, likelier") for other in more)]
    found.sort(key=lambda one: one[0].rank)
    proposed = tuple(_proposal(search, name, better) for better, name in found)
    known = [judge.current, *(each.plan for each in proposed)]
    best_min = min((plan.end_min for plan in known if plan), default=inf) - LEAST_TOLD
    rejections = sorted((each for each in search.rejected.values() if each.end_min < best_min),
                        key=attrgetter("end_min"))[:_MOST_REJECTIONS]
    said = found[0][0].solved if found else search.last
    rank = (*(found[0][0].rank if found else (inf,)), not (said and said.tasks_proven and said.end_proven))
    return rank, Proposals(
        current=judge.current, found=proposed, rejections=tuple(rejections),
        verdict=_verdict(search, proposed, rejections) + search.budget.how_it_ended,
        is_repeatable=not search.budget.cut_short)


def _freedoms(freedom: Freedom, pet_zero: datetime) -> dict[str, Freedom]:
    """with PET 0 kept, then, where there is a choice of it, with any."""
    keeps = {"same PET 0": replace(freedom, earliest=pet_zero, latest=pet_zero)}
    if freedom.earliest != freedom.latest:
        return keeps | {"any PET 0": freedom}
    return keeps if freedom.earliest == pet_zero else {"other PET 0": freedom}


def _proposal(search: OrderSearch, name: str, better: Better) -> Proposal[TimedPlan]:
    plan, solved = better.plan, better.solved
    reached_min = cushioned_end_min(plan, search.judge.cushion)
    return Proposal(
        name=name, scenario=plan.scenario, plan=plan, current=search.judge.current, changes=better.moves,
        dropped=better.choice.dropped, cushioned_min=reached_min,
        # The solver's bound counts in ticks, each link rounded up; the end is exact and may lie below it.
        bound_min=min(solved.bound_min, reached_min), tasks_proven=solved.tasks_proven,
        end_proven=solved.end_proven, is_repeatable=not search.budget.cut_short,
        new_concerns=search.judge.review(plan, better.choice.dropped).new_concerns, best_by=better.best_by)


def _verdict(search: OrderSearch, proposed: Sequence[Proposal[TimedPlan]],
             rejections: Sequence[Rejected]) -> str:
    """How the search went, in a sentence."""
    current, last = search.judge.current, search.last
    gives_min = given_way_min(current) if current else 0.0
    if proposed:
        best = proposed[0]
        left_min = given_way_min(best.plan)
        order = "a better order" if current and not gives_min else (
            f"no order found keeps every rule; this one breaks less, by {number_label(left_min, 'up')} min"
            if left_min else "an order that fits")
        gain = f", {told_gain(current, best.plan)}" if current and not gives_min else ""
        out = f", {' '.join(sorted(best.dropped))} left out" if best.dropped else ""
        return f"{order}{gain}{out}: {best.verdict}"
    blocked = "".join((f"; one that ends {current.end_min - each.end_min:.1f} min earlier" if current else
                       f"; the earliest that was timed, both inside at PET {pet_label(each.end_min, 'up')},")
                      + f" does not hold: {each.words}" for each in rejections[:1])
    if gives_min:
        return (f"no order found that breaks less: rules give way by {number_label(gives_min, 'up')} min"
                f"{blocked or search.still_broken}")
    if last is not None and last.tasks_proven and last.end_proven and search.judge.goal == END:
        return f"the current order is {PROVEN}{last.why and f': {last.why}'}"
    if last is None or current is None:
        return f"no order found that holds: raise effort and seconds{blocked or search.still_broken}"
    left_min = max(cushioned_end_min(current, search.judge.cushion) - last.bound_min, 0.0)
    won = f"; at most {left_min:.1f} min can be won{last.why and f': {last.why}'}" if last.bound_min else ""
    by = "" if search.judge.goal == END else f" by {search.judge.goal}"
    over_min = max(search.judge.review(current).over_min)
    late = f", none that keeps the limit, {number_label(over_min, 'up')} min sooner" if over_min else ""
    return f"no better order found{by}{late}{won}{blocked}"


def read_effort(effort: str | float, seconds: float) -> float:
    """An effort by name or number as deterministic time; `ScenarioError` for none, and for no seconds."""
    faults = Faults()
    amount = _amount(effort, seconds, "reorder", faults)
    faults.stop_if_any()
    return amount


def _amount(effort: object, seconds: object, table: str, faults: Faults) -> float:
    amount = EFFORTS.get(effort, 0.0) if isinstance(effort, str) else effort
    found = float(amount) if is_number(amount) and 0 < amount <= _MOST_EFFORT else 0.0
    if not found:
        faults.add(table, None, "effort", effort,
                   f"must be one of {', '.join(EFFORTS)}, or a number above 0, at most {_MOST_EFFORT:,.0f}")
    has_no_clock = isinstance(seconds, float) and seconds == inf
    if not (has_no_clock or (is_number(seconds) and seconds > 0)):
        faults.add(table, None, "seconds", seconds, "must be above 0")
    return found


def _read_question(effort: str | float, seconds: float, goals: Sequence[str], order: str,
                   limit_min: float | None, cushion: float, pet_zero_every_min: float, seeds: int) -> float:
    faults = Faults()
    amount = _amount(effort, seconds, "propose", faults)
    for name, given, known in (*(("goal", each, GOALS) for each in goals),
                               ("order", order, (BY_STEPS, BY_RUNS))):
        if not isinstance(given, str) or given not in known:
            faults.add("propose", None, name, given, f"must be {', '.join(known[:-1])} or {known[-1]}")
    if not (is_number(cushion) and 0 <= cushion <= 1):
        faults.add("propose", None, "cushion", cushion, "must be from 0 (likely) to 1 (high)")
    if not is_whole(seeds, 1, _MOST_SEEDS):
        faults.add("propose", None, "seeds", seeds, f"must be a whole number from 1 to {_MOST_SEEDS}")
    if limit_min is not None and not (is_number(limit_min) and 0 < limit_min <= _MOST_LIMIT_MIN):
        faults.add("propose", None, "limit_min", limit_min,
                   f"must be above 0 minutes, at most {_MOST_LIMIT_MIN:,.0f}")
    if not (is_number(pet_zero_every_min) and _LEAST_EVERY_MIN <= pet_zero_every_min <= _MOST_LIMIT_MIN):
        faults.add("propose", None, "pet_zero_every_min", pet_zero_every_min,
                   f"must be minutes, at least {_LEAST_EVERY_MIN:g}, at most {_MOST_LIMIT_MIN:,.0f}")
    faults.stop_if_any()
    return amount


def _read_window(scenario: Scenario, window: Sequence[When] | None,
                 every_min: float) -> tuple[datetime, datetime]:
    """The range of PET 0 asked for, else the scenario's own, else its PET 0."""
    settings = scenario.settings
    if window is None:
        zero = settings.pet_zero_utc
        return settings.pet_zero_earliest or zero, settings.pet_zero_latest or zero
    if isinstance(window, str) or not isinstance(window, Sequence) or len(window) != 2:
        raise ScenarioError.single("must be two UTC times, (earliest, latest)", table="propose",
                                   column="pet_zero_window", value=str(window))
    earliest, latest = as_utc(window[0], "pet_zero_window"), as_utc(window[1], "pet_zero_window")
    if latest < earliest:
        raise ScenarioError.single("ends before it begins", table="propose", column="pet_zero_window",
                                   value=f"{window[0]} {window[1]}")
    count = (latest - earliest).total_seconds() / 60 / every_min
    if count > _MOST_PET_ZEROES:
        raise ScenarioError.single(
            f"asks for {count:.0f} times of PET 0, at most {_MOST_PET_ZEROES}: narrow the range, or raise it",
            table="propose", column="pet_zero_every_min", value=every_min)
    return earliest, latest
