"""Better orders: searched by the solver, timed by the timing, judged by the checks, told as moves."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import date, datetime
from math import inf

from planning_kit.explore.long_question import Progress
from planning_kit.explore.propose.choice import as_written
from planning_kit.explore.propose.clash import find_clash
from planning_kit.explore.propose.model import Requirement
from planning_kit.explore.propose.order_search import MOST_REJECTED, Better, Judge, OrderSearch
from planning_kit.explore.propose.problem import Freedom
from planning_kit.explore.propose.proposals import Proposal, Proposals
from planning_kit.explore.propose.search import Budget
from planning_kit.explore.propose.work import BY_RUNS, BY_STEPS
from planning_kit.inputs.arguments import is_number
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import as_utc
from planning_kit.judge.review import cushioned_end_min
from planning_kit.plan.timed import TimedPlan

EFFORTS = {"quick": 1.0, "normal": 1.5, "thorough": 40.0}
_LEAST_EVERY_MIN = 0.1
_MOST_EGRESSES = 20_000
_MOST_EFFORT, _MOST_LIMIT_MIN = 1e6, 7 * 1440.0  # beyond any use, and far from where numbers overflow
Moment = str | date | datetime


def search_orders(
    scenario: Scenario,
    effort: str | float = "normal",
    seconds: float = 10.0,
    egress_window: tuple[Moment, Moment] | None = None,
    progress: Callable[[Progress], None] | None = None,
    cancel: Callable[[], bool] | None = None,
    *,
    order: str = BY_STEPS,
    limit_min: float | None = None,
    cushion: float = 0.0,
    egress_every_min: float = 5.0,
) -> Proposals[TimedPlan]:
    """Search for better orders: `planning_kit.front.propose` says how."""
    amount = _read_question(effort, seconds, order, limit_min, cushion, egress_every_min)
    earliest, latest = _read_window(scenario, egress_window, egress_every_min)
    judge = _judge(scenario, limit_min, cushion)
    freedom = Freedom(earliest=earliest, latest=latest, limit_min=judge.limit_min,
                      egress_every_min=egress_every_min, cushion=cushion, free=order)
    search = OrderSearch(judge=judge, before=as_written(scenario.records, scenario.settings.egress),
                         budget=Budget(amount, seconds, progress, cancel))
    freedoms = _freedoms(freedom, scenario.settings.egress)
    found = [(better, name) for name, each in freedoms.items()
             if (better := search.look(each, amount / len(freedoms)))]
    found.sort(key=lambda one: one[0].rank)
    proposed = tuple(_proposal(search, name, better) for better, name in found)
    clash, words = _said(search, freedom, proposed)
    return Proposals(
        current=judge.current, found=proposed, verdict=words + search.budget.how_it_ended, clashing=clash,
        is_repeatable=not search.budget.cut_short, rejected=search.rejected)


def _judge(scenario: Scenario, limit_min: float | None, cushion: float) -> Judge:
    """Against the plan as it is. No limit asked for: the planned one where that plan keeps it."""
    try:
        current: TimedPlan | None = TimedPlan.of(scenario)
    except ScenarioError:
        current = None
    limits = scenario.settings.limits
    judge = Judge(scenario=scenario, records=scenario.records, current=current, cushion=cushion,
                  limit_min=limits.planned_min if limit_min is None else limit_min)
    if limit_min is None and not (current and judge.holds(current) and not judge.rank(current)[0]):
        return replace(judge, limit_min=limits.hard_min)
    return judge


def _freedoms(freedom: Freedom, egress: datetime) -> dict[str, Freedom]:
    """With the egress kept, then, where there is a choice of it, with any."""
    keeps = {"same egress": replace(freedom, earliest=egress, latest=egress)}
    if freedom.earliest != freedom.latest:
        return keeps | {"any egress": freedom}
    return keeps if freedom.earliest == egress else {"other egress": freedom}


def _proposal(search: OrderSearch, name: str, better: Better) -> Proposal[TimedPlan]:
    plan, solved = better.plan, better.solved
    reached_min = cushioned_end_min(plan, search.judge.cushion)
    return Proposal(
        name=name, scenario=plan.scenario, plan=plan, current=search.judge.current, changes=better.moves,
        dropped=better.choice.dropped, cushioned_min=reached_min,
        # The solver's bound counts in ticks, each link rounded up; the end is exact and may lie below it.
        bound_min=min(solved.bound_min, reached_min), tasks_proven=solved.tasks_proven,
        end_proven=solved.end_proven, is_repeatable=not search.budget.cut_short,
        new_concerns=search.judge.review(plan, better.choice.dropped).new_concerns)


def _said(search: OrderSearch, freedom: Freedom,
          proposed: Sequence[Proposal[TimedPlan]]) -> tuple[tuple[Requirement, ...], str]:
    """What clashes, where nothing fits, and how the search went in words."""
    if search.last is not None:
        return (), _verdict(search, proposed)
    clash = None if search.budget.is_over() else find_clash(
        search.judge.records, search.judge.scenario.elements, freedom, search.budget, search.budget.effort)
    if clash is None:
        return (), "no order found, and not shown that there is none: raise effort and seconds"
    return clash, "nothing fits: " + ("; ".join(each.words for each in clash) or (
        "the row order inside the tasks, the required tasks and the travel between them clash by themselves"))


def _verdict(search: OrderSearch, proposed: Sequence[Proposal[TimedPlan]]) -> str:
    current, last = search.judge.current, search.last
    if proposed:
        best = proposed[0]
        order = "a better order" if current else "an order that fits"
        gain = f", {current.end_min - best.end_min:.1f} min earlier" if current else ""
        out = f", {' '.join(sorted(best.dropped))} left out" if best.dropped else ""
        return f"{order}{gain}{out}: {best.verdict}"
    assert last is not None
    if search.rejected > MOST_REJECTED:
        return f"no better order holds: {search.rejected} were rejected by the checks"
    if last.tasks_proven and last.end_proven:
        return "the current order is proven best"
    left = (max(cushioned_end_min(current, search.judge.cushion) - last.bound_min, 0.0)
            if current else float("nan"))
    return f"no better order found; at most {left:.1f} min can be won"


def read_effort(effort: str | float, seconds: float, table: str = "reorder") -> float:
    """An effort by name or number as deterministic time; `ScenarioError` for none, and for no seconds."""
    faults = Faults()
    amount = _amount(effort, seconds, table, faults)
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


def _read_question(effort: str | float, seconds: float, order: str, limit_min: float | None, cushion: float,
                   egress_every_min: float) -> float:
    faults = Faults()
    amount = _amount(effort, seconds, "propose", faults)
    if order not in (BY_STEPS, BY_RUNS):
        faults.add("propose", None, "order", order, f"must be {BY_STEPS} or {BY_RUNS}")
    if not (is_number(cushion) and 0 <= cushion <= 1):
        faults.add("propose", None, "cushion", cushion, "must be from 0 (likely) to 1 (high)")
    if limit_min is not None and not (is_number(limit_min) and 0 < limit_min <= _MOST_LIMIT_MIN):
        faults.add("propose", None, "limit_min", limit_min,
                   f"must be above 0 minutes, at most {_MOST_LIMIT_MIN:,.0f}")
    if not (is_number(egress_every_min) and egress_every_min >= _LEAST_EVERY_MIN):
        faults.add("propose", None, "egress_every_min", egress_every_min,
                   f"must be minutes, at least {_LEAST_EVERY_MIN:g}")
    faults.stop_if_any()
    return amount


def _read_window(scenario: Scenario, window: Sequence[Moment] | None,
                 every_min: float) -> tuple[datetime, datetime]:
    """The range of egress asked for, else the scenario's own, else its egress."""
    settings = scenario.settings
    if window is None:
        return settings.egress_earliest or settings.egress, settings.egress_latest or settings.egress
    if isinstance(window, str) or not isinstance(window, Sequence) or len(window) != 2:
        raise ScenarioError.single("must be two UTC times, (earliest, latest)", table="propose",
                                   column="egress_window", value=str(window))
    earliest, latest = as_utc(window[0], "egress_window"), as_utc(window[1], "egress_window")
    if latest < earliest:
        raise ScenarioError.single("ends before it begins", table="propose", column="egress_window",
                                   value=f"{window[0]} {window[1]}")
    count = (latest - earliest).total_seconds() / 60 / every_min
    if count > _MOST_EGRESSES:
        raise ScenarioError.single(
            f"asks for {count:.0f} times of egress, at most {_MOST_EGRESSES}: narrow the range, or raise it",
            table="propose", column="egress_every_min", value=every_min)
    return earliest, latest
