"""Better before worse, in order: tasks by drop order, then the finish, then walking and changes.

All required tasks are done in every answer. Waiting needs no stage of its own: with the same tasks and the
same finish, what both crew members wait and walk in all is fixed (each lane is work, walk and wait from
PET 0 to ingress), so that less walking is all that can be won.

Where steps of the first order miss windows or clocks, break rules or stand before what they wait for, a look
around mends that first: there such orders may be passed, at a cost that rises as it cools. The finish is
sought by turns: the local search goes on from the best order that holds, the solver from what that found,
until the effort is spent or nothing earlier is possible. Whatever either offers is judged at once. What does
not hold is forbidden in the same model by its cause (`cause_in`), so that a proof is one about all orders
that bring no new stop finding.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import inf

from ortools.sat.python import cp_model

from planning_kit.explore.propose import solving
from planning_kit.explore.propose.choices import Choice
from planning_kit.explore.propose.least_ends import add_lane_bounds, what_binds
from planning_kit.explore.propose.local_search import AGAIN, PASSES, Blocks, LocalSearch, Neighbours
from planning_kit.explore.propose.order_model import Literal, minutes_of, ticks_down
from planning_kit.explore.propose.order_problem import Freedom, Problem, Work, find_precedence, start_problem
from planning_kit.explore.propose.order_screen import cause_of
from planning_kit.explore.propose.solving import Answer, hint, literal_value, read_choice, solve
from planning_kit.explore.propose.timed_rules import TIMED_RULES, add_past
from planning_kit.explore.propose.untimed_rules import (
    add_hardware,
    add_inhibits,
    add_room,
    add_tethers,
    bound_by_inhibits,
)
from planning_kit.inputs.oem import OrbitData
from planning_kit.inputs.records import Records
from planning_kit.judge.review import drop_weights, may_go
from planning_kit.plan.custody import one_by_one

_CHANGE_PART = 100
_SHARES = {"tasks": 0.15, "finish": 0.5, "turn": 0.25, "walk": 0.10}
_MOST_TURNS = 20
_FIRST_LOOK, _MANY_STEPS, _FULL_STEPS, _MEND = 0.5, 150, 60, 8
"""The first look's part of all passes, and for how many steps: of few the solver soon knows the best order;
into so many parts mending is cut."""
_MOST_JUDGED = 12


@dataclass(frozen=True)
class Found:
    """The best order of one search, the least that the outing could take (min), and why so much."""

    choice: Choice
    bound_min: float
    tasks_proven: bool
    end_proven: bool
    why: str = ""


def begin_problem(records: Records, elements: OrbitData, freedom: Freedom, explains: bool = False) -> Problem:
    """What the local search asks of a scenario: the choices, and what comes first in any case."""
    problem = start_problem(Work(records, freedom, explains), elements)
    # What hardware and tethers force is precedence, and lanes leave out the arcs against it: so chains first.
    add_hardware(problem)
    add_tethers(problem)
    find_precedence(problem)
    bound_by_inhibits(problem)
    return problem


def complete(problem: Problem) -> Problem:
    """The same with all that the solver asks: most of the time that a model takes."""
    for add in (*TIMED_RULES, add_room, add_inhibits, add_past):
        add(problem)
    return problem


def build_problem(records: Records, elements: OrbitData, freedom: Freedom, explains: bool = False) -> Problem:
    """The whole model of a scenario."""
    return complete(begin_problem(records, elements, freedom, explains))


def cause_in(around: Neighbours, choice: Choice, blocks: Blocks) -> list[Literal]:
    """What cannot hold together in an order that holds: the cause of what blocks this one, else all of it.

    Where a finding hangs on a stretch of a lane alone, that is the cause; of anything else other steps may be
    the cause by their times.
    """
    timed, problem = around.of(choice), around.problem
    broken = around.broken(timed) if timed else None
    if broken and broken.arcs and (broken.rule, broken.about) in {
            (rule, about) for check, rule, about, *_ in blocks if check != AGAIN}:
        return cause_of(problem, broken)
    hints = solving.hints_for(problem, choice)
    assert hints is not None  # it is an order of this model
    return [literal for literal, value in hints if value]


@dataclass(eq=False, kw_only=True)
class Stages:
    """The stages over one begun model, from the order ``start``; each keeps what the one before has reached.

    ``blocks`` judges an order: the findings for which it does not hold. ``nearest``: where the start misses
    or breaks something, what breaks least.
    """

    problem: Problem
    start: Choice
    budget: solving.Budget
    effort: float
    blocks: Callable[[Choice], Blocks]
    nearest: Choice | None = field(init=False, default=None)
    _searches: dict[frozenset[str], LocalSearch] = field(init=False, default_factory=dict)

    def best_order(self) -> Found | None:
        """Search in stages; None where no order is found that holds."""
        start = self._first_look()
        complete(self.problem)
        tasks, are_proven = self.by_tasks(start)
        if not tasks.is_found:
            return None
        answer, bound = self.by_finish(tasks, are_proven)
        if answer and not are_proven and not self.budget.is_over():  # an earlier end may make room for more
            tasks, are_proven = self.by_tasks(read_choice(self.problem, answer.values))
            answer, bound = self.by_finish(tasks, are_proven)
        if answer is None:
            return None
        end = self.end_ticks(answer)
        # Each stage may only choose among the best answers of those before.
        self.problem.model.cp.add(self.problem.end - self.problem.pet_zero <= end)
        least_min, why = (0.0, "") if self.problem.freedom.past or self.problem.model.let_go else what_binds(
            self.problem, self._surely_done(tasks, are_proven), self.effort, self.budget)
        bound = max(bound, min(float(end), ticks_down(least_min)))
        return Found(self.by_walk(answer), minutes_of(bound), are_proven, bound >= end, why)

    def _first_look(self) -> Choice:
        """The start, or a better order of the same tasks: before the solver has even read the model."""
        search, start = self._search(self.start.dropped), self.start
        here = search.load(start)
        if here is None or search.around.broken(here) is not None:
            start = self._missing_less()
            here = search.around.of(start)
        if here is None or search.around.broken(here) is not None or self.blocks(start):
            return start
        part = min(_FIRST_LOOK, len(self.problem.work.steps) / _MANY_STEPS)
        return search.around.choice(search.improve(here, round(self._passes * part)))

    def _missing_less(self) -> Choice:
        """An order that misses and breaks less than the start does: with luck nothing."""
        around = Neighbours(self.problem, self.start.dropped, misses=True)
        strict = self._search(self.start.dropped).around
        choice = next(filter(around.of, (self.start, self._in_turn())), self.start)
        look, timed = LocalSearch(around, None, self.budget), list[Choice]()
        for _ in range(_MEND):
            there, here = strict.of(choice), around.of(choice)
            if there and strict.broken(there) is None:
                return choice
            timed += [choice] if there else []
            if here is None or self.budget.is_over():
                break
            choice = around.choice(look.improve(around.kept(here) or here, self._passes // _MEND))
            self.nearest = choice
        # The first that misses nothing is nearest to the start: what it breaks the solver may mend.
        return timed[0] if timed else choice

    def _in_turn(self) -> Choice:
        """The start with each step behind all that it waits for whatever is chosen."""
        steps, before = self.problem.work.steps, self.problem.before
        turns = one_by_one(range(len(steps)), [*self._search(self.start.dropped).around.timing.waits, *(
            (near, i) for i, some in enumerate(before) for near in some)])
        rank = {steps[i].step: number for number, i in enumerate(turns)}
        return replace(self.start, lanes={who: tuple(sorted(lane, key=rank.__getitem__))
                                          for who, lane in self.start.lanes.items()})

    @property
    def _passes(self) -> int:
        """Passes of the local search: few steps need fewer, and of many each pass takes longer."""
        return round(PASSES * self.effort * min(len(self.problem.work.steps), _FULL_STEPS))

    def _search(self, dropped: frozenset[str]) -> LocalSearch:
        if dropped not in self._searches:
            around = Neighbours(self.problem, dropped)
            self._searches[dropped] = LocalSearch(around, self.blocks, self.budget)
        return self._searches[dropped]

    @cached_property
    def weights(self) -> dict[str, int]:
        """Of the tasks that may be left out: one more of a level outweighs all that go before it."""
        return drop_weights(filter(may_go, self.problem.work.records.tasks))

    def by_tasks(self, start: Choice) -> tuple[Answer, bool]:
        """As many tasks as fit, by weight, and whether that is proven."""
        model, share, tasks = self.problem.model, self.effort * _SHARES["tasks"], self.problem.tasks
        value = sum(weight * tasks[task] for task, weight in self.weights.items())
        model.cp.clear_objective()
        model.cp.minimize(self.problem.end - self.problem.pet_zero)  # of the order that is known
        known = self._what_fits(start)
        if known and all(literal_value(tasks[task], known.values) for task in self.weights):
            answer, is_proven = known, True
        else:
            model.cp.clear_objective()
            model.cp.maximize(value)
            hint(model, known.values if known else ())  # one worker proves soon where the order fits as it is
            answer = solve(model, self.budget, share)
            if not answer.is_proven and not self.budget.is_over():
                if answer.is_found:
                    hint(model, answer.values)
                more = solve(model, self.budget, share, solving.TURNS)
                answer = more if more.is_found else answer
            is_proven = answer.is_proven
            if not answer.is_found and known:
                answer = known
        if answer.is_found and self.weights:
            # What they are worth is kept, not which they are: others of the same worth may end earlier.
            model.cp.add(value >= sum(weight for task, weight in self.weights.items()
                                      if literal_value(tasks[task], answer.values)))
        return answer, is_proven

    def _what_fits(self, start: Choice) -> Answer | None:
        """The order that is there, without the least of the tasks until it fits, then with those that do."""
        known, dropped, weights = self._completed(start), [*start.dropped], self.weights
        for task in sorted(weights.keys() - start.dropped, key=lambda task: weights[task]):
            if known or self.budget.is_over():
                break
            dropped.append(task)
            known = self._completed(self._without(start, dropped))
        # Leaving out one after the other went too far for some: the weightiest is tried again first.
        for task in sorted(set(dropped) - start.dropped, key=lambda task: -weights[task]):
            rest = [each for each in dropped if each != task]
            more = self._completed(self._without(start, rest)) if known and rest else None
            known, dropped = (more, rest) if more else (known, dropped)
        return known

    def _completed(self, choice: Choice) -> Answer | None:
        return solving.completed(self.problem, choice, self.budget)

    def _without(self, start: Choice, dropped: list[str]) -> Choice:
        gone = {step.step for step in self.problem.work.steps if step.task in dropped}
        lanes = {who: tuple(step for step in lane if step not in gone) for who, lane in start.lanes.items()}
        return replace(start, lanes=lanes, dropped=frozenset(dropped))

    def by_finish(self, tasks: Answer, are_proven: bool) -> tuple[Answer | None, float]:
        """The earliest finish of an order that holds and its bound, in ticks.

        A look around, the lanes alone, then the solver and the look around by turns. The solver begins with
        one worker, for a proof; then several take turns.
        """
        problem = self.problem
        problem.model.cp.clear_objective()
        problem.model.cp.minimize(problem.end - problem.pet_zero)
        best = self._that_holds([tasks.values], None)
        bound = float(add_lane_bounds(problem, self._surely_done(tasks, are_proven), self.end_ticks(
            best or tasks), self.effort, self.budget))
        if best and bound < self.end_ticks(best):
            best = self._looked_around(best, self._passes // 8)
        left, workers = self.effort * _SHARES["finish"], 1
        while left > 0 and not self.budget.is_over() and (best is None or bound < self.end_ticks(best)):
            hint(problem.model, (best or tasks).values)
            answer = solve(problem.model, self.budget, min(left, self.effort * _SHARES["turn"]), workers)
            left -= max(answer.spent, self.effort / _MOST_TURNS)
            if answer.status == cp_model.INFEASIBLE:  # all that is left is forbidden
                return best, float(self.end_ticks(best)) if best else bound
            bound, workers = max(bound, answer.bound), solving.TURNS
            better = self._that_holds(answer.passed, best)
            if better and bound < self.end_ticks(better):
                better = self._looked_around(better, self._passes // 4)
            best = better or best
            if best:
                self.budget.tell(minutes_of(self.end_ticks(best)), minutes_of(bound))
        if best and bound < self.end_ticks(best):
            best = self._looked_around(best, self._passes // 2)
        return best, min(bound, self.end_ticks(best)) if best else bound

    def _that_holds(self, passed: Sequence[Sequence[int]], best: Answer | None) -> Answer | None:
        """The last of some solutions that holds, earlier than the best; what does not is forbidden."""
        for values in list(reversed(passed))[:_MOST_JUDGED]:
            if best and self._ticks(values) >= self.end_ticks(best):
                break
            choice = read_choice(self.problem, values)
            blocks = self.blocks(choice)
            if not blocks:
                return Answer(cp_model.FEASIBLE, tuple(values), 0.0)
            cause = cause_in(Neighbours(self.problem, choice.dropped), choice, blocks)
            self.problem.model.cp.add_bool_or(
                ~literal for literal in cause if literal is not self.problem.model.yes)
        return None

    def _looked_around(self, best: Answer, passes: int) -> Answer:
        """The best order of the local search that the solver can complete, if it is better."""
        choice = read_choice(self.problem, best.values)
        search = self._search(choice.dropped)
        here = search.around.of(choice)
        if here is None:
            return best
        # What this order breaks as it is timed here no other is asked: the judge looks at what is new.
        search.around.rules.let_go_of(here)
        if choice.rules:  # it may hold by what is written down alone, which the timing here does not know
            here = replace(here, cost=(minutes_of(self.end_ticks(best)), inf))
        found = search.improve(here, passes)
        answer = self._completed(search.around.choice(found)) if found is not here else None
        return answer if answer and self.end_ticks(answer) < self.end_ticks(best) else best

    def _surely_done(self, tasks: Answer, are_proven: bool) -> set[str]:
        """The tasks done in every answer worth as much: whole levels with none left out (`drop_weights`)."""
        weights, literals = self.weights, self.problem.tasks
        # A task that an equal answer leaves out would lift the bound above an end that is possible.
        out = {weight for task, weight in weights.items() if not literal_value(literals[task], tasks.values)}
        return {task for task in literals
                if task not in weights or not out or (are_proven and weights[task] not in out)}

    def by_walk(self, best: Answer) -> Choice:
        """Among orders with this finish: the least walking, then the fewest changes against the start."""
        problem, cp = self.problem, self.problem.model.cp
        crew = [problem.lanes[who] for who in problem.work.crews if who in problem.lanes]
        arcs = {id(arc) for lane in crew for arc in lane.arcs.values()}
        walk = cp_model.LinearExpr.sum([lane.walk for lane in crew])
        hints = solving.hints_for(problem, self.start) or ()
        kept = cp_model.LinearExpr.sum([arc for arc, value in hints if value and id(arc) in arcs])
        cp.clear_objective()
        # One second of walking outweighs any number of changes below a hundred.
        cp.minimize(_CHANGE_PART * walk - kept)
        hint(problem.model, best.values)
        least = None if self.budget.is_over() else solve(
            problem.model, self.budget, self.effort * _SHARES["walk"])
        held = self._that_holds(least.passed, None) if least else None
        return read_choice(problem, (held or best).values)

    def _ticks(self, values: Sequence[int]) -> int:
        return values[self.problem.end.index] - values[self.problem.pet_zero.index]

    def end_ticks(self, answer: Answer) -> int:
        """How long the outing lasts."""
        return self._ticks(answer.values)
