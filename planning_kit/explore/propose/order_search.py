"""The search for better orders: before an outing, and of the rest of one that has begun.

Local search and solver offer orders (`stages`); the timing and the checks judge the plan of each (`Judge`) at
once. Solver and checks do not know the same rules: what does not hold is forbidden by its cause,
and told (`Rejected`). What is found comes without the moves that win nothing. What has happened is in the
freedom (`Past`); without it this is the search before an outing.

The present plan may break rules of its own. An order that breaks none is sought first; where none is found,
one that lets go of as little as can be. Whatever the present plan breaks may be broken as badly, not worse.
"""

import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import cached_property
from operator import attrgetter, itemgetter

import pandas as pd

from planning_kit.changes.change import Change, made
from planning_kit.explore.propose import choices
from planning_kit.explore.propose.choices import Choice, Move, Rebuilt, rebuild
from planning_kit.explore.propose.goals import END, MARGIN, ODDS, aimed_at, chances_of
from planning_kit.explore.propose.local_search import AGAIN, Blocks, Neighbours
from planning_kit.explore.propose.order_model import minutes_of
from planning_kit.explore.propose.order_problem import Freedom, Problem
from planning_kit.explore.propose.random_moves import RandomMoves
from planning_kit.explore.propose.solving import TURNS, Budget, completed, hint, read_choice, solve
from planning_kit.explore.propose.stages import Found, Stages, begin_problem, build_problem
from planning_kit.explore.propose.untimed_rules import ending_asked
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import Records
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import number_label, pet_label
from planning_kit.judge import review as reviews
from planning_kit.judge.all_checks import Row, findings_of, worse_stops
from planning_kit.judge.check_rules import RULES
from planning_kit.judge.findings import STOP, Finding, Identity, findings_table, identity
from planning_kit.judge.review import Review, given_way_min, is_worse
from planning_kit.plan.timed import TimedPlan

_MOST_UNDONE = 12
_LET_GO_EFFORT = 0.1  # finds most of what the present order keeps; the last of it may take many times as long
_TIMES, _CLEARLY = "times", 0.01
_TRIES, _DRAWS, _ASTRAY = 30, 100, 0.2  # orders judged for a unit of effort, draws for each


@dataclass(frozen=True, kw_only=True)
class Judge:
    """Judges choices of an order for ``records``: what holds, and what is better.

    ``current`` is the plan that others are compared with (None: the rows have none). ``records`` are all of
    ``scenario``, or what is left to do of a ``current`` outside. The end must keep ``limit_min`` (PET), with
    the ``cushion``, too; where ``own_limit`` is given, what that says of each plan instead. ``goal``: what
    comes before the end among orders that hold as well and leave out as little. ``mends`` change every plan.
    """

    scenario: Scenario
    records: Records
    current: TimedPlan | None
    limit_min: float
    cushion: float = 0.0
    own_limit: Callable[[TimedPlan], float] | None = None
    goal: str = END
    mends: tuple[Change, ...] = ()

    def review(self, plan: TimedPlan, dropped: frozenset[str] = frozenset()) -> Review:
        """A plan against the current one and its limit."""
        limit_min = self.limit_min if self.own_limit is None else self.own_limit(plan)
        return reviews.review(self.known, plan, (limit_min,), self.scenario.records.tasks, dropped,
                              self.cushion)

    @cached_property
    def known(self) -> pd.DataFrame:
        """The findings that the current plan has."""
        return findings_table(()) if self.current is None else findings_of(self.current)

    @cached_property
    def _over_min(self) -> float:
        """By how much the current plan misses its limit: that much is no new fault of another."""
        return 0.0 if self.current is None else max(self.review(self.current).over_min)

    def blocking(self, plan: TimedPlan) -> list[Row]:
        """The findings for which a plan does not hold: new stops, those that got worse, and a limit missed.

        Where rules of the current plan give way, others may instead, as long as they give no more.
        """
        found = self.review(plan)
        rows: list[Row] = [*found.fresh.to_dict("records"), *worse_stops(self.known, plan)]
        given_min = 0.0 if self.current is None else given_way_min(self.current)
        if given_min > 0 and given_way_min(plan) <= given_min + reviews.SAME_MIN:
            rows = [row for row in rows if row["check"] != RULES]
        over_min = max(found.over_min)
        if over_min > self._over_min:
            words = (f"both inside at PET {pet_label(plan.end_min, 'up')}, {number_label(over_min, 'up')} "
                     "min past the limit asked for")
            rows.append(dict(vars(Finding(STOP, "limits", "limit", message=words)).items()))
        return [row for row in rows if row["severity"] == STOP]

    def holds(self, plan: TimedPlan) -> bool:
        """Whether nothing is `blocking` a plan."""
        return not self.blocking(plan)

    def rank(self, plan: TimedPlan, dropped: frozenset[str] = frozenset()) -> tuple[float, ...]:
        """Smaller is better: stop findings, what gives way, the limit kept or not, then what it is worth."""
        # All of them, not only the new ones: an order that mends one is better.
        stops = float((findings_of(plan)["severity"] == STOP).sum())
        *first, end, carried, walk = self.review(plan, dropped).rank
        return stops, given_way_min(plan), *first, *aimed_at(self.goal, plan), end, carried, walk

    def try_out(self, choice: Choice) -> Rebuilt | None:
        """The timed plan of a choice; None where it cannot be timed."""
        try:
            rebuilt = rebuild(self.current, self.scenario, self.records, choice)
            return rebuilt if not self.mends else replace(
                rebuilt, plan=TimedPlan.of(made(rebuilt.plan.scenario, self.mends).scenario))
        except ScenarioError:
            return None


def judge_for(scenario: Scenario, limit_min: float | None, cushion: float, goal: str) -> Judge:
    """Against the plan as it is. No limit asked for: the planned one where that plan keeps it."""
    try:
        current = TimedPlan.of(scenario)
    except ScenarioError:
        current = None
    limits = scenario.settings.limits
    judge = Judge(scenario=scenario, records=scenario.records, current=current, cushion=cushion,
                  limit_min=limits.planned_min if limit_min is None else limit_min,
                  goal=f"{END} and carrying" if goal == END and limits.carry_weight else goal)
    if limit_min is None and not (current and not any(judge.rank(current)[:3])):
        # Searched up to the limit of the plan as it is, without one to the horizon; judged by its own.
        bound = current.hard_min if current else limits.fixed_hard_min or scenario.settings.horizon_h * 60.0
        return replace(judge, limit_min=bound, own_limit=attrgetter("hard_min"))
    return judge


@dataclass(frozen=True)
class Rejected:
    """An order that was not shown: its end (PET min) and a finding for which it does not hold."""

    end_min: float
    finding: Identity
    words: str
    choice: Choice


@dataclass(frozen=True, kw_only=True)
class Better:
    """A better order: the choice, its plan, the moves that lead to it, and what the solver says of it.

    ``rank`` is that of the search's judge, ``best_by`` the goal that it was sought by, ``mends`` as there.
    """

    choice: Choice
    rebuilt: Rebuilt
    moves: tuple[Move, ...]
    solved: Found
    rank: tuple[float, ...]
    best_by: str = END
    mends: tuple[Change, ...] = ()

    @property
    def plan(self) -> TimedPlan:
        """The plan of it."""
        return self.rebuilt.plan

    @property
    def is_proven_best(self) -> bool:
        """Whether neither more tasks nor an earlier end are possible under the same freedom."""
        return self.solved.tasks_proven and self.solved.end_proven


@dataclass(kw_only=True)
class OrderSearch:
    """One search, from the order ``before``; ``found`` has the best first.

    ``last`` is what was found last; ``rejected`` by finding the earliest order that did not hold for it.
    """

    judge: Judge
    before: Choice
    budget: Budget
    found: list[Better] = field(default_factory=list)
    rejected: dict[Identity, Rejected] = field(default_factory=dict)
    last: Found | None = None
    _nearest: Choice | None = None
    _passed: list[tuple[tuple[float, ...], Choice, TimedPlan]] = field(default_factory=list)

    def look(self, freedom: Freedom, effort: float) -> Better | None:
        """Search under one freedom: the best order that holds, if it is better than all that are known."""
        start = self._start(freedom)
        if freedom.past is not None and not completed(self.problem(freedom), start, self.budget):
            freedom, _ = self._as_far_as_kept(freedom, start, effort)
        found = self._searched(freedom, start, effort)
        if found is None and freedom.past is None and not self.budget.is_over():
            freedom, start = self._as_far_as_kept(freedom, start, effort)
            found = self._searched(freedom, start, effort) if freedom.let_go else None
        if found is None:
            return None
        better, current = self._told(self.judge, freedom, found), self.judge.current
        self.last = better.solved
        known = [each.rank for each in self.found] + ([] if current is None else [self.judge.rank(current)])
        if not all(is_worse(other, better.rank) for other in known):
            return None
        self.found.insert(0, better)
        return better

    def _searched(self, freedom: Freedom, start: Choice, effort: float) -> Found | None:
        """The best of one model, or what was passed on the way and is better than that by its rank."""
        self._passed.clear()
        problem = self.begun_problem(freedom)
        stages = Stages(problem=problem, start=start, budget=self.budget, effort=effort, blocks=self.blocks)
        found = stages.best_order()
        self._nearest = stages.nearest or self._nearest
        if not self._passed:
            return found
        if self.judge.goal != END:
            choice = min(self._passed, key=itemgetter(0))[1]
            self.climb(Neighbours(problem, choice.dropped), choice, effort, lambda choice: self.blocks(
                choice) or is_worse(self._passed[-1][0], min(map(itemgetter(0), self._passed))))
        best = min(self._passed, key=itemgetter(0))
        if found is None:
            return Found(best[1], 0.0, tasks_proven=False, end_proven=False)
        last = self.judge.try_out(found.choice)
        # The walk counts last, and is what the last stage has looked for.
        rank = self.judge.rank(last.plan, found.choice.dropped) if last else best[0]
        return replace(found, choice=best[1]) if not last or is_worse(rank[:-1], best[0][:-1]) else found

    def climb(self, around: Neighbours, choice: Choice, effort: float, blocks: Callable[..., object]) -> None:
        """Judge orders around one, going on from what nothing ``blocks``: the stages know the end alone."""
        problem, draws = around.problem, random.Random(self.budget.seed)
        here, tries, seen = around.of(choice), round(_TRIES * effort), set[tuple[float, ...]]()
        if here is None:  # the timing here does not know it
            return
        around.rules.let_go_of(here)
        moves = RandomMoves(problem.work, problem.before, draws, around.dropped)
        for _ in range(_DRAWS * tries):
            if len(seen) >= tries or self.budget.is_over():
                break
            orders, traded = moves.draw(here.orders, here.starts) or (here.orders, frozenset())
            there = around.timed(orders, here.swapped ^ traded, here.pet_zero_min)
            # Up to the limit, mostly not much later.
            late_min = draws.random() ** 3 * (problem.freedom.limit_min - here.cost[0])
            if there and not (there.cost[0] > here.cost[0] + late_min or around.broken(there)):
                is_new = there.starts not in seen
                seen.add(there.starts)
                # Now and then on from a worse one: better ones may lie behind it alone.
                if (is_new and not blocks(around.choice(there))) or draws.random() < _ASTRAY:
                    here = there

    def blocks(self, choice: Choice) -> Blocks:
        """Judge an order: the findings for which it does not hold; none, and it is kept and told at once."""
        rebuilt = self.judge.try_out(choice)
        if rebuilt is None:
            return [(_TIMES, "none", "", "", "")]
        plan = rebuilt.plan
        rows = self.judge.blocking(plan)
        if not rows:
            rank = self.judge.rank(plan, choice.dropped)
            if all(rank < other for other, *_ in self._passed):
                self.budget.tell(plan.end_min)
            self._passed.append((rank, choice, plan))
        for row in rows:
            name = identity(row)
            if name not in self.rejected or plan.end_min < self.rejected[name].end_min:
                self.rejected[name] = Rejected(plan.end_min, name, row["message"], choice)
        # Which of two of one kind is the new one nobody can tell: then its cause is not named.
        known = set(map(identity, self.judge.known.to_dict("records")))
        return [name if name not in known else (AGAIN, *name[1:]) for name in map(identity, rows)]

    @property
    def still_broken(self) -> str:
        """What the order that came nearest to one that holds, or the rows, still breaks, and what helps."""
        near = self._nearest and self.judge.try_out(self._nearest)
        plans = [plan for plan in (self.judge.current, near and near.plan) if plan]
        if not plans:
            return ""
        found = findings_of(min(plans, key=self.judge.rank))
        stops = found.loc[found["severity"] == STOP, "message"].tolist()
        return "".join(f"; stops in the order that came nearest: {len(stops)}, the first: {words}"
                       for words in stops[:1])

    def begun_problem(self, freedom: Freedom) -> Problem:
        """What the local search asks (see `planning_kit.explore.propose.stages.begin_problem`)."""
        return begin_problem(self.judge.records, self.judge.scenario.elements, freedom)

    def problem(self, freedom: Freedom, explains: bool = False) -> Problem:
        """The model of what is searched (see `planning_kit.explore.propose.stages.build_problem`)."""
        return build_problem(self.judge.records, self.judge.scenario.elements, freedom, explains)

    def _start(self, freedom: Freedom) -> Choice:
        """The order to begin with: the best so far with the same work, else that before."""
        best = self.found[0].choice if self.found else self.before
        # Tasks and crew begin as they were before, and the lanes must hold just these steps.
        lanes = self.before.lanes if best.dropped or best.swapped else best.lanes
        pet_zero = self.before.pet_zero
        if not freedom.earliest <= pet_zero <= freedom.latest:
            pet_zero = freedom.earliest
        late_min = (pet_zero - freedom.earliest).total_seconds() / 60
        # The model knows only a PET 0 every so many minutes: one between them would fit no order.
        whole = timedelta(minutes=late_min // freedom.pet_zero_every_min * freedom.pet_zero_every_min)
        return replace(self.before, lanes=lanes, pet_zero=freedom.earliest + whole)

    def _as_far_as_kept(self, freedom: Freedom, start: Choice, effort: float) -> tuple[Freedom, Choice]:
        """Without what the present order does not keep, and that order; before an outing, what keeps most.

        Outside any requirement but the limit may be let go: the past has brought it about, and what is lost
        is no other order's fault.
        """
        problem = self.problem(freedom, explains=True)
        switches, endings = problem.model.switches, set(map(ending_asked, self.judge.records.hardware))
        # Of an item that ends elsewhere that is let go, and not all that is known of it.
        problem.model.cp.maximize(sum((1 if asked in endings else 2) * switch
                                      for asked, switch in switches.items()))
        kept = completed(problem, start, self.budget, _LET_GO_EFFORT)
        if freedom.past is None:
            hint(problem.model, kept.values if kept else ())
            more = solve(problem.model, self.budget, effort * _LET_GO_EFFORT, TURNS)
            kept = more if more.is_found else kept
        # Nothing is known of what it keeps: then all is asked, the strict side.
        if kept is None:
            return freedom, start
        # The small effort may let go of more than it must: the judge still rejects a new stop finding.
        lost = {asked for asked, switch in switches.items() if not kept.values[switch.index]
                and not (freedom.past and asked.table == "limits")}
        return replace(freedom, let_go=frozenset(lost)), (
            start if freedom.past else read_choice(problem, kept.values))

    def likelier(self, freedom: Freedom, best: Better) -> Iterator[Better]:
        """Of those passed the one whose required work is likeliest, if clearly likelier than in the best."""
        judge, now = replace(self.judge, goal=ODDS), self.judge.current
        least = chances_of(best.plan)["p_required"] + _CLEARLY
        if self.judge.goal in (ODDS, MARGIN) or not self._passed or least > 1 or self.budget.is_over():
            return
        # Equal ranks are one order, judged again.
        passed = {rank: (choice, plan) for rank, choice, plan in self._passed}
        rank, own = min((judge.rank(plan, choice.dropped), own) for own, (choice, plan) in passed.items())
        choice, plan = passed[own]
        if chances_of(plan)["p_required"] >= least and (now is None or is_worse(judge.rank(now), rank)):
            yield self._told(judge, freedom, replace(best.solved, choice=choice))

    def _told(self, judge: Judge, freedom: Freedom, found: Found) -> Better:
        rebuilt = judge.try_out(found.choice)
        assert rebuilt is not None
        # The exact end may have come down to the bound where that in ticks, each link rounded up, has not.
        end_min = reviews.cushioned_end_min(rebuilt.plan, judge.cushion)
        is_least = end_min <= found.bound_min + reviews.SAME_MIN
        # Rounding loses orders that only just fit a window: one that ends before the bound disproves it.
        is_bound = end_min >= found.bound_min - minutes_of(len(judge.records.steps))
        choice, rebuilt = only_what_matters(judge, found.choice, rebuilt, self.before.lanes, self.budget)
        moves = choices.tell_moves(self.judge.records, self.before, choice, rebuilt,
                                   freedom.past.last_begun if freedom.past else {})
        if freedom.past is None:
            let_go = sorted(freedom.let_go, key=lambda asked: asked.row)
            moves += [Move("note", "", each.row, f"let go, as the plan so far does not keep it: {each.words}")
                      for each in let_go]
        if judge.current:
            moves += [Move("note", "", *each) for each in reviews.carried_longer(judge.current, rebuilt.plan)]
        # The solver does not know by how much a rule that it was let off gives way.
        is_proven = (is_bound and (found.end_proven or is_least) and judge.goal == END
                     and not rebuilt.plan.network.given_way)
        return Better(choice=choice, rebuilt=rebuilt, moves=tuple(moves),
                      rank=self.judge.rank(rebuilt.plan, choice.dropped),
                      solved=replace(found, end_proven=is_proven), best_by=judge.goal)


def only_what_matters(judge: Judge, choice: Choice, rebuilt: Rebuilt, before: Mapping[str, Sequence[str]],
                      budget: Budget) -> tuple[Choice, Rebuilt]:
    """The choice without the moves that win nothing: each is put back as long as the plan is as good."""
    best, tried, has_changed = judge.rank(rebuilt.plan, choice.dropped), 0, True
    most = _MOST_UNDONE // (4 if judge.goal == ODDS else 1)  # what odds cost is most of it
    while has_changed and tried < most:
        has_changed = False
        for block in list(choices.moved_blocks(before, choice.lanes)):
            if budget.is_over() or tried >= most:
                return choice, rebuilt
            tried += 1
            simpler = replace(choice, lanes=choices.undone(choice.lanes, before, block))
            other = judge.try_out(simpler)
            # An order that holds only by one more written rule is not simpler.
            if other is None or len(other.written) > len(rebuilt.written):
                continue
            if judge.holds(other.plan) and not is_worse(
                    rank := judge.rank(other.plan, choice.dropped), best):
                choice, rebuilt, best, has_changed = simpler, other, rank, True
                break
    return choice, rebuilt
