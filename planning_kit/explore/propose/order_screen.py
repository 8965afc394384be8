"""The rules that delay nobody in the timing, asked of one order whose times are known: exact, and soon.

What the checks of custody, footholds, tethers and worksites call a stop, that somebody has an item already or
that it ends in a bag; inhibits outside their windows; tasks begun after their last start. What no order mends
is left to the checks: two at the airlock or in one step of both where one has room, a hook without an anchor,
a cable's other end. Once an outing has begun, so are where someone stands before their first step of the
rest, and how a line lies before its next hook, or at all where somebody else moves that.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise, product, takewhile
from math import inf
from typing import NamedTuple

import numpy as np

from planning_kit.changes.order import items_that_go_along, traded
from planning_kit.explore.propose.choices import in_order
from planning_kit.explore.propose.order_model import Literal
from planning_kit.explore.propose.order_problem import Problem
from planning_kit.explore.propose.untimed_rules import inhibit_windows
from planning_kit.inputs.format import PARTNER
from planning_kit.inputs.records import BOTH, INSIDE, Item, Records
from planning_kit.plan.activities import Way, walked_in, way_into
from planning_kit.plan.build import stops_into
from planning_kit.plan.custody import Walk, instants, is_at_end, one_by_one
from planning_kit.plan.custody_state import SOCKET_TAKEN, Mishap
from planning_kit.plan.legs import Passage, stands, stands_at
from planning_kit.plan.network import on_grid
from planning_kit.plan.tether_lines import HookMove, follow, laid_along

Orders = Mapping[str, tuple[int, ...]]
"""By crew member or actor the positions of their steps, in the order of work."""
_SAME_MIN = 1e-6


class Broken(NamedTuple):
    """A rule that an order breaks, as its check names it, what it is about, and the steps that it comes of.

    ``arcs`` (whose lane, step, next step; -1 is the airlock) and ``ways`` (task, is traded): whatever else is
    chosen, with all of these the rule is broken. Without arcs it hangs on the times as well.
    """

    rule: str
    about: str
    steps: tuple[int, ...]
    arcs: tuple[tuple[str, int, int], ...] = ()
    ways: tuple[tuple[str, bool], ...] = ()


def cause_of(problem: Problem, broken: Broken) -> list[Literal]:
    """The literals of the model that cannot hold together, as the rule is broken then; empty: not known."""
    arcs = [problem.lanes[who].arcs[problem.numbers[who][a], problem.numbers[who][b]]
            for who, a, b in broken.arcs]
    return [*arcs, *(problem.done[way] for way in broken.ways)]


@dataclass(frozen=True, eq=False)
class _Traded:
    """What hangs on trades alone.

    ``others``: by crew member the steps in which somebody else moves their hook; ``acting``: steps that touch
    items, and which; ``ends``: items that are moved and must end somewhere.
    """

    records: Records
    others: dict[str, list[int]]
    acting: dict[int, set[str]]
    ends: list[Item]


def _rule_of(mishap: Mishap) -> str:
    return mishap.kind.replace(" ", "-")


@dataclass(frozen=True)
class Timed:
    """Orders with their times (minutes); ``swapped``: the tasks whose crew are traded.

    ``cost``: smaller is better; the end first (minutes after PET 0). ``guide`` is what the climb goes by:
    less walking comes before an earlier end shows. ``broken``: how often they break a rule, where they may.
    """

    orders: Orders
    swapped: frozenset[str]
    pet_zero_min: float
    starts: tuple[float, ...]
    cost: tuple[float, float] = (inf, inf)
    guide: float = inf
    broken: int = 0


class _Stay(NamedTuple):
    """Someone stands at ``place``, to which they came over ``over``, its ends included."""

    over: tuple[str, ...]
    place: str
    begin_min: float
    end_min: float


@dataclass(eq=False)
class UntimedRules:
    """The rules of a problem with some tasks left out; ``let_go`` (rule, about) are not asked."""

    problem: Problem
    dropped: frozenset[str]
    let_go: frozenset[tuple[str, ...]] = field(init=False, default=frozenset())
    _traded: dict[frozenset[str], _Traded] = field(init=False, default_factory=dict)
    _lines: dict[tuple[str, tuple[str, ...], int], tuple[tuple[str, ...], float]] = field(
        init=False, default_factory=dict)
    _ways: dict[tuple[str, str, int], Way] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        work, records = self.problem.work, self.problem.work.records
        kept = [i for i, step in enumerate(records.steps) if step.task not in self.dropped]
        self._kept, self._airlock, names = kept, records.settings.airlock_place, work.index
        self._home: tuple[str, ...] = (self._airlock,)
        self._minutes: list[float] = on_grid(np.asarray(work.minutes, dtype=float)).tolist()
        self._anchors = frozenset(place.place for place in records.places if place.anchor)
        # Where nobody moves another's hook, a line hangs on one lane alone.
        self._is_own = all({*step.hooks} <= {*step.people} for step in records.steps)
        self._narrow = [place.place for place in records.places
                        if place.crew_at_once == 1 and place.place != self._airlock]
        self._waits = [(names[before], i) for i in kept for before in records.steps[i].after]
        self._waits += [(names[gap.first_step], names[gap.then_step]) for gap in records.gaps]
        self._held = [(inhibit, names[inhibit.from_step], names[inhibit.until_step],
                       inhibit_windows(self.problem, inhibit).tolist())
                      for inhibit in records.inhibits if inhibit.window
                      and {names[inhibit.from_step], names[inhibit.until_step]} <= {*kept}]
        self._begins = [(task, [i for i in kept if records.steps[i].task == task.task])
                        for task in records.tasks if task.last_start_min is not None]

    def broken(self, passed: Timed) -> Broken | None:
        """The first rule asked that orders do not keep at their times; None: they keep all."""
        return next((broken for broken in self._each(passed) if broken[:2] not in self.let_go), None)

    def count(self, passed: Timed) -> int:
        """How often they break a rule, those that are let go among them."""
        return sum(1 for _ in self._each(passed, stops=False))

    def let_go_of(self, passed: Timed) -> None:
        """Ask of no order any more what these do not keep: the checks tell whether another makes it worse."""
        self.let_go = frozenset()
        self.let_go = frozenset(broken[:2] for broken in self._each(passed, stops=False))

    def _each(self, passed: Timed, stops: bool = True) -> Iterator[Broken]:
        if passed.swapped not in self._traded:
            self._traded[passed.swapped] = self._made(passed.swapped)
        made = self._traded[passed.swapped]
        yield from self._late(passed)
        yield from self._pulled(made, passed)
        yield from self._crowded(passed)
        yield from self._misplaced(made, passed, stops)

    def _made(self, swapped: frozenset[str]) -> _Traded:
        records = self.problem.work.records
        left = replace(records, steps=tuple(records.steps[i] for i in self._kept),
                       tasks=tuple(task for task in records.tasks if task.task not in self.dropped))
        along = items_that_go_along(left, swapped)
        items = tuple(replace(item, at=PARTNER.get(item.at, item.at)) if item.item in along else item
                      for item in records.hardware)
        steps = tuple(traded(step) if step.task in swapped else step for step in records.steps)
        moved = {move.item for i in self._kept for move in (*steps[i].takes, *steps[i].leaves)}
        at = {item.item: item.at for item in items}
        # What nobody moves, nor what it is in, may stay where it is.
        ends = [item for item in items if item.end_at and not moved.isdisjoint(
            {item.item, item.at, at.get(item.at, "")})]
        return _Traded(
            replace(records, hardware=items, steps=steps),
            {who: [i for i in self._kept if who in steps[i].hooks and who not in steps[i].people]
             for who in self.problem.work.crews},
            {i: touched for i in self._kept if (touched := steps[i].touches - {""})}, ends)

    def _late(self, passed: Timed) -> Iterator[Broken]:
        """Tasks that begin after their last start, inhibits in no window, what history leaves no time for."""
        starts, past = passed.starts, self.problem.freedom.past
        if past is not None:
            for step in self._kept:
                name = self.problem.work.steps[step].step
                if starts[step] < past.free_min[name] - _SAME_MIN:
                    yield Broken("early", name, (step,))
                if starts[step] > past.not_after.get(name, inf) + _SAME_MIN:
                    yield Broken("last-start", name, (step,))
        for task, steps in self._begins:
            last = passed.pet_zero_min + (task.last_start_min or 0.0)
            if steps and min(starts[step] for step in steps) > last + _SAME_MIN:
                yield Broken("last-start", task.task, tuple(steps))
        for inhibit, first, last, windows in self._held:
            begin_min, end_min = starts[first] - inhibit.lead_min, starts[last] + self._minutes[last]
            if not any(begin <= begin_min + _SAME_MIN and end_min <= end + _SAME_MIN
                       for begin, end in windows):
                yield Broken("window", inhibit.inhibit, (first, last))

    # --- items ----------------------------------------------------------------------------------------

    def _misplaced(self, made: _Traded, passed: Timed, stops: bool) -> Iterator[Broken]:
        """What custody cannot do as written, where it ``stops`` the first, and what ends elsewhere."""
        rows, steps = self._rows(made, passed), made.records.steps
        spans = [(passed.starts[i], passed.starts[i] + self._minutes[i]) for i in rows]

        def is_standing(who: str, place: str, at_min: float) -> bool:
            own = passed.orders[who]
            if self.problem.freedom.past and (not own or at_min < passed.starts[own[0]]):
                return True
            return any(stay.place == place and stay.begin_min <= at_min <= stay.end_min
                       for stay in self._stays(who, passed))

        def in_turn(places: list[int]) -> list[int]:
            number = {rows[place]: place for place in places}
            waits = (*self._waits, *(pair for lane in passed.orders.values() for pair in pairwise(lane)))
            return one_by_one(places, [(number[a], number[b]) for a, b in waits if number.keys() >= {a, b}])

        walk = Walk(made.records, [steps[i] for i in rows], None, {}, is_standing)
        walk.play(spans, takewhile(lambda _: not (stops and self._is_over(walk)), instants(spans, in_turn)))
        for each in filter(self._is_fault, walk.mishaps):
            yield self._found(_rule_of(each), each.item, each.step, each.was.by_step)
        for spell in walk.loads.overloads(inf):
            yield self._found("overloaded", spell.holder, spell.step, *(
                walk.hardware.main(item).by_step for item in spell.items))
        for item in made.ends:
            if walk.hardware.main(item.item).where != item.end_at:
                endings = walk.endings(item.item, inf)
                if not is_at_end(made.records, item, endings):
                    yield self._found("not-inside" if item.end_at == INSIDE else "not-in-place", item.item,
                                      endings[-1].by_step)

    def _is_over(self, walk: Walk) -> bool:
        return any(("overloaded", holder) not in self.let_go for holder in walk.loads.heavy) or any(
            self._is_fault(mishap) for mishap in walk.mishaps)

    def _is_fault(self, mishap: Mishap) -> bool:
        return mishap.kind != SOCKET_TAKEN and (_rule_of(mishap), mishap.item) not in self.let_go

    def _found(self, rule: str, about: str, *steps: str) -> Broken:
        index = self.problem.work.index
        return Broken(rule, about, tuple(dict.fromkeys(index[step] for step in steps if step)))

    def _rows(self, made: _Traded, passed: Timed) -> list[int]:
        """The steps that touch items, as the rows of this order would have them where it matters."""
        steps, seen = made.records.steps, dict[tuple[bool, float], set[str]]()
        for i, touched in made.acting.items():
            start = passed.starts[i]
            for key in ((True, start), (False, start + self._minutes[i])):
                if key not in seen:
                    seen[key] = touched
                elif seen[key].isdisjoint(touched):
                    seen[key] = seen[key] | touched
                else:
                    names = in_order([steps[k].step for k in self._kept], {
                        who: [steps[k].step for k in lane] for who, lane in passed.orders.items()})
                    rank = {name: number for number, name in enumerate(names)}
                    return sorted(made.acting, key=lambda k: rank[steps[k].step])
        return [*made.acting]

    # --- where people are -----------------------------------------------------------------------------

    def _walked_in(self, who: str, before: int, step: int, passed: Timed) -> tuple[float, float, float]:
        """When someone leaves for a step, has come to where they wait, and goes on."""
        steps = self.problem.work.steps
        here = self._place(before)
        if (who, here, step) not in self._ways:
            self._ways[who, here, step] = Way(*map(float, way_into(
                self.problem.work.records.settings, self.problem.travels[who], steps[step], here)))
        way = self._ways[who, here, step]
        return walked_in(way._replace(opens_min=way.opens_min + passed.pet_zero_min),
                         self._free(before, passed), passed.starts[step])

    def _free(self, step: int, passed: Timed) -> float:
        return passed.starts[step] + self._minutes[step] if step >= 0 else passed.pet_zero_min

    def _stays(self, who: str, passed: Timed) -> Iterator[_Stay]:
        """Where someone stands, from PET 0 until both are inside."""
        order = (-1, *passed.orders[who])
        for before, position in pairwise(order):
            yield from self._stays_for(who, before, position, passed)
        here = self._place(order[-1])
        home_min = float(on_grid(self.problem.travels[who].time_min(here, self._airlock)))
        yield _Stay((self._airlock,), self._airlock, self._free(order[-1], passed) + home_min, inf)

    def _stays_for(self, who: str, before: int, position: int, passed: Timed) -> Iterator[_Stay]:
        """Where someone stands from the end of one step to that of the next."""
        step, here, free = self.problem.work.steps[position], self._place(before), self._free(before, passed)
        if before < 0 and self.problem.freedom.past:
            yield _Stay((step.place,), step.place, passed.starts[position], self._free(position, passed))
            return
        leaves, waits, goes_on = self._walked_in(who, before, position, passed)
        if leaves > free:
            yield _Stay((here,), here, free, leaves)
        at = step.wait_at or step.place
        over: tuple[str, ...] = (*step.via_places, at)
        # To travel without a move is to stay.
        begin = leaves if {*over} == {here} else waits
        end = passed.starts[position] if at == step.place else goes_on
        if end > begin:
            yield _Stay(over, at, begin, end)
            over = ()
        yield _Stay((*over, step.place), step.place, passed.starts[position], self._free(position, passed))

    def _place(self, position: int) -> str:
        return self.problem.work.steps[position].place if position >= 0 else self._airlock

    def _crowded(self, passed: Timed) -> Iterator[Broken]:
        """Two at once, working or waiting, where one has room."""
        crews, steps = self.problem.work.crews, self.problem.work.steps
        for place in self._narrow if len(crews) > 1 else ():
            one, other = ([pair for pair in pairwise((-1, *passed.orders[who]))
                           if place in (steps[pair[1]].place, steps[pair[1]].wait_at)] for who in crews)
            for mine, theirs in product(one, other):
                # Most are far apart: the exact minutes are asked only of those that are not.
                if (mine[1] != theirs[1] and self._free(mine[0], passed) < self._free(theirs[1], passed)
                        and self._free(theirs[0], passed) < self._free(mine[1], passed)
                        and any(max(a.begin_min, b.begin_min) < min(a.end_min, b.end_min)
                                for a, b in product(self._stays_for(crews[0], *mine, passed),
                                                    self._stays_for(crews[1], *theirs, passed))
                                if a.place == b.place == place)):
                    yield Broken("crowded", place, (mine[1], theirs[1]))

    # --- tethers --------------------------------------------------------------------------------------

    def _pulled(self, made: _Traded, passed: Timed) -> Iterator[Broken]:
        """A tether too short for the way walked since its hook, or hooked elsewhere when they go in."""
        for person in self.problem.work.records.crew:
            who, most_m = person.crew, inf if person.tether_m is None else person.tether_m
            if made.others[who]:
                if self.problem.freedom.past is None:
                    yield from self._pulled_at(made, who, most_m, passed)
            else:
                yield from self._pulled_on(made, who, most_m, passed.orders[who])

    def _pulled_on(self, made: _Traded, who: str, most_m: float, order: tuple[int, ...]) -> Iterator[Broken]:
        """Where only their own steps move the hook: the line hangs on their order alone."""
        past = self.problem.freedom.past
        lane, since, is_known = (-1, *order, -1), 0, past is None
        line = (past.hooks[who],) if past else self._home
        for number, (before, position) in enumerate(pairwise(lane)):
            if is_known:
                known = self._lines.get((who, line, position))
                line, reach_m = known or self._walked(who, line, before, position)
                if reach_m > most_m:
                    yield self._pull(made, "reach", line[0], who, lane[since:number + 2])
            if position >= 0 and who in made.records.steps[position].hooks and (
                    here := self._place(position)) in self._anchors:
                line, since, is_known = (here,), number + 1, True
        if line[0] != self._airlock:
            yield self._pull(made, "still-hooked", line[0], who, lane[since:])

    def _walked(self, who: str, line: tuple[str, ...], before: int,
                position: int) -> tuple[tuple[str, ...], float]:
        stops = stops_into(self.problem.work.steps[position]) if position >= 0 else (self._airlock,)
        travel = self.problem.travels[who]
        found = laid_along(travel, line, travel.way_over((self._place(before), *stops)))
        self._lines[who, line, position] = found
        return found

    def _pull(self, made: _Traded, rule: str, hook: str, who: str, walked: tuple[int, ...]) -> Broken:
        steps = tuple(position for position in walked if position >= 0)
        if not self._is_own:
            return Broken(rule, hook, steps)
        # A step of both stays in its lane when it is traded, but moves the other's hook then.
        of = [(self.problem.work.steps[i], made.records.steps[i]) for i in steps]
        ways = {(step.task, step is not done): None for step, done in of
                if step.crew == BOTH and step.hooks and step.task in self.problem.work.swappable}
        return Broken(rule, hook, steps, tuple((who, *arc) for arc in pairwise(walked)), tuple(ways))

    def _pulled_at(self, made: _Traded, who: str, most_m: float, passed: Timed) -> Iterator[Broken]:
        """Where somebody else moves the hook: then it hangs on when, and the check's own line is followed."""
        travel, here, passages = self.problem.travels[who], self._airlock, list[Passage]()
        for stay in self._stays(who, passed):
            way = travel.way_over((here, *stay.over))
            passages += [Passage(who, *leg, stay.begin_min, stay.begin_min, "", travel.routes[leg])
                         for leg in pairwise(way)]
            passages.append(Passage(who, stay.place, "", stay.begin_min, stay.end_min, ""))
            here = stay.place
        steps, standing = tuple(made.others[who]), stands(passages)
        moves = [HookMove("", self._place(i), self._free(i, passed)) for i in self._kept
                 if who in made.records.steps[i].hooks]
        for move in moves:
            if not stands_at(standing, move.place, move.at_min):
                yield Broken("owner-away", move.place, steps)
        good = sorted((move for move in moves if move.place in self._anchors), key=lambda move: move.at_min)
        for lie in (lies := list(follow(travel, passages, good, self._airlock))):
            if lie.reach_m > most_m:
                yield Broken("reach", lie.line[0], steps)
        if lies[-1].line[0] != self._airlock:
            yield Broken("still-hooked", lies[-1].line[0], steps)
