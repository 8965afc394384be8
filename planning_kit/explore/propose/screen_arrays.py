"""The rules of `planning_kit.explore.propose.order_screen` made into the arrays of its kernel.

This loads the compiler, which is slow: import it where it is wanted.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain, pairwise
from math import inf
from typing import Any

import numpy as np

from planning_kit.changes.order import traded
from planning_kit.explore.propose import screen_kernel
from planning_kit.explore.propose import screen_rules as k
from planning_kit.explore.propose.order_problem import Problem
from planning_kit.explore.propose.order_screen import Timed, UntimedRules
from planning_kit.inputs.format import SUITED
from planning_kit.inputs.records import BOTH, INSIDE, Inhibit, Item, Step, Task
from planning_kit.plan.activities import way_into
from planning_kit.plan.build import placeless, stops_into
from planning_kit.plan.custody import room_in, taken_from
from planning_kit.plan.network import on_grid
from planning_kit.plan.order_kernel import lists
from planning_kit.plan.order_timing import matrix
from planning_kit.plan.travel import Travel

_UNSURE, _PARTS = 1e-6, 1024
_ROWS = {"last-start": k.LAST_START, "window": k.WINDOW, "reach": k.REACH, "still-hooked": k.STILL_HOOKED,
         "crowded": k.CROWDED, "overloaded": k.OVERLOADED, "not-inside": k.ENDS, "not-in-place": k.ENDS}
_NONE = (k.NO,) * 4


@dataclass(kw_only=True)
class Asked:
    """What `UntimedRules` asks, by positions of steps: ``kept`` are those of tasks that are not ``dropped``.

    ``begins``: tasks with the steps that count; ``held``: inhibits, their steps and windows; ``ends``: items
    that must end somewhere; ``narrow``: places where one has room.
    """

    problem: Problem
    dropped: Collection[str]
    kept: Sequence[int]
    minutes: Sequence[float]
    waits: Iterable[tuple[int, int]]
    begins: Sequence[tuple[Task, Sequence[int]]]
    held: Sequence[tuple[Inhibit, int, int, list[list[float]]]]
    ends: Collection[Item]
    narrow: Sequence[str]
    anchors: Collection[str]


class ScreenArrays:
    """The arrays of what is ``asked``: ``rules``."""

    def __init__(self, asked: Asked) -> None:
        """Made at once."""
        self._asked, self._steps = asked, asked.problem.work.steps
        self._records = records = asked.problem.work.records
        self._airlock, places = records.settings.airlock_place, [place.place for place in records.places]
        names = [*dict.fromkeys([*places, INSIDE, "", BOTH, *SUITED, *records.lane_names])]
        self._items = {item.item: number for number, item in enumerate(records.hardware)}
        self._first_item, self._count = len(names), len(names) + len(self._items)
        self._where = {name: number for number, name in enumerate([*names, *self._items])}
        self._let_go = frozenset[tuple[str, ...]]()
        self.rules = self._made()

    def without(self, let_go: frozenset[tuple[str, ...]]) -> k.Rules:
        """The rules, with what is ``let_go`` by now."""
        if let_go != self._let_go and self.rules.one[k.ASKED]:
            self._let_go = let_go
            self.rules.about[:k.SOCKETS] = 0
            # Of hooks that somebody else moves Python is asked in any case.
            for rule, about in (each for each in let_go if each[0] != "owner-away"):
                row = _ROWS.get(rule, k.MISHAP)
                self.rules.about[row, self._number(row, about)] = 1
        return self.rules

    def _number(self, row: int, about: str) -> int:
        """What a rule is about, as the kernel has it."""
        if row == k.LAST_START:
            return [task.task for task, _ in self._asked.begins].index(about)
        if row == k.WINDOW:
            return [inhibit.inhibit for inhibit, *_ in self._asked.held].index(about)
        return (self._items if row in (k.ENDS, k.MISHAP) else self._where)[about]

    def _made(self) -> k.Rules:
        asked, records, where, steps = self._asked, self._records, self._where, self._steps
        past, crews, kept = asked.problem.freedom.past, asked.problem.work.crews, [*asked.kept]
        touched = {i: touches for i in kept if (touches := steps[i].touches - {""})}
        is_known = len(where) == self._count and not placeless([steps[i] for i in kept])
        are_all = {task.task for task in records.tasks} - {*asked.dropped} == {steps[i].task for i in kept}
        rows: list[tuple[int, ...]] = []
        way = np.array([self._way(each, rows) for way in (steps, map(traded, steps)) for each in way],
                       dtype=np.int64).reshape(2, len(steps), k.LEAVES_END + 1)
        slots = np.array([item.slots or 0.0 for item in records.hardware], dtype=float)
        room = np.full(self._count, inf)
        for holder, most in room_in(records).items():
            room[where[holder]] = inf if most is None else most
        pairs = np.zeros((2, len(steps), len(steps)), dtype=bool)
        for a in touched:
            pairs[k.CLASH, a, [b for b in touched if not touched[a].isdisjoint(touched[b])]] = True
        for a, b in asked.waits:
            pairs[k.WAITS, a, b] = True
        ends, items = {item.item: where[item.end_at] for item in asked.ends}, list[tuple[int, ...]]()
        for item in records.hardware:
            first = len(rows)
            rows += ((i, *_NONE) for i in touched if item.item in touched[i])
            items.append((where[item.at], item.kind == "foothold", ends.get(item.item, k.NO), first,
                          len(rows)))
        about = np.zeros((9, max(self._count, len(asked.begins), len(asked.held))), dtype=np.int64)
        about[k.SOCKETS, [where[place.place] for place in records.places if place.socket]] = 1
        until = np.cumsum([0, *(2 * len(windows) for *_, windows in asked.held)])
        return k.Rules(
            one=np.array([is_known and past is None and crews == SUITED, where[self._airlock], where[INSIDE],
                          *map(where.__getitem__, SUITED), self._first_item, len(records.places), are_all]),
            sure=np.array([_unsure(slots), _unsure(np.array([each.metres for each in records.routes]))]),
            kept=np.array(kept, dtype=np.int64), acting=np.array([*touched], dtype=np.int64),
            minutes=np.array(asked.minutes, dtype=float),
            way=way, rows=np.array(rows, dtype=np.int64).reshape(-1, 5),
            items=np.array(items, dtype=np.int64).reshape(-1, 5), slots=slots, room=room, about=about,
            pairs=pairs,
            begins=lists([[(i, task.last_start_min or 0.0) for i in own] for task, own in asked.begins]),
            held=np.array([(first, last, *until[row:row + 2]) for row, (_, first, last, _) in
                           enumerate(asked.held)], dtype=np.int64).reshape(-1, 4),
            lead_min=np.array([inhibit.lead_min for inhibit, *_ in asked.held], dtype=float),
            window_min=np.array([end for *_, windows in asked.held for window in windows for end in window],
                                dtype=float),
            narrow=np.array([where[place] for place in asked.narrow], dtype=np.int64),
            **self._ways([place.place for place in records.places]))

    def _way(self, step: Step, rows: list[tuple[int, ...]]) -> tuple[int, ...]:
        """A step in ``way``; appends what it uses, takes and leaves to ``rows``."""
        where, items, waits_at, first = self._where, self._items, step.wait_at or step.place, len(rows)
        rows += ((items[item], *_NONE) for item in step.uses)
        takes = len(rows)
        rows += ((items[each.item], where[each.crew or step.crew], where[each.out_of or step.where],
                  where[each.out_of] if each.out_of else k.NO,
                  INSIDE in taken_from(self._records, step, each)) for each in step.takes)
        leaves = len(rows)
        rows += ((items[each.item], where[each.crew or step.crew], where[each.into or step.where],
                  k.NO, 0) for each in step.leaves)
        over = {*step.via_places, waits_at}
        one, *other = (where[who] for who in step.people)
        is_anchor = step.place in self._asked.anchors
        return (where[step.place], where[waits_at], where[over.pop()] if len(over) == 1 else k.NO,
                items[step.foothold] if step.foothold and step.place else k.NO, where[step.where],
                one, other[0] if other else k.NO,
                *(where[step.place] if is_anchor and who in step.hooks else k.NO for who in SUITED),
                *(who in step.hooks and who not in step.people for who in SUITED),
                first, takes, leaves, len(rows))

    def _ways(self, places: Sequence[str]) -> dict[str, Any]:
        """The tables of what is walked, from and to where any step is: ways into steps, home, and lines."""
        problem, settings, steps = self._asked.problem, self._records.settings, self._steps
        own = [i for i in self._asked.kept if steps[i].crew in (BOTH, *SUITED)]
        stops = [stops_into(step) if i in own else () for i, step in enumerate(steps)]
        known = {self._airlock, *chain(*stops)}
        stays, home_min = np.full((2, len(places), len(steps), 3), np.nan), np.full((2, len(places)), np.nan)
        paths: list[list[tuple[int, float]]] = []
        for number, who in enumerate(SUITED):
            travel = problem.travels.get(who)
            for here in places:
                if travel is None or here not in known:
                    paths += [[] for _ in places]
                    continue
                paths += [self._path(travel, here, to) if to in known else [] for to in places]
                home_min[number, self._where[here]] = on_grid(travel.time_min(here, self._airlock))
                for i in own:
                    stays[number, self._where[here], i] = way_into(settings, travel, steps[i], here)
        tether_m = {each.crew: each.tether_m for each in self._records.crew}
        lengths = [inf if (most := tether_m.get(who)) is None else most for who in SUITED]
        return {"stays": stays, "home_min": home_min, "paths": lists(paths),
                "tether_m": np.array(lengths, dtype=float),
                "stops": lists([[(self._where[place], 0.0) for place in row]
                                for row in (*stops, (self._airlock,))])}

    def _path(self, travel: Travel, here: str, to: str) -> list[tuple[int, float]]:
        try:
            legs = pairwise(travel.way(here, to))
        except ValueError:  # nothing joins them
            return [(k.NO, 0.0)]
        return [(self._where[leg[1]], travel.routes[leg].metres) for leg in legs]


def _unsure(parts: np.ndarray) -> float:
    """How near its limit a sum of these may differ from one that is added up in another way."""
    return _UNSURE if (parts * _PARTS % 1).any() else 0.0


class CompiledRules(UntimedRules):
    """The same rules, and the arrays by which compiled code asks them."""

    @property
    def kernel_rules(self) -> k.Rules:
        """What `screen_kernel.count_broken` asks, without what is let go by now."""
        return self._arrays.without(self.let_go)

    def count_at(self, passed: Timed, stops: bool) -> int:
        """The `count`, compiled; where it ``stops``, 1 if they break one that is not let go, else 0."""
        work = self.problem.work
        said = screen_kernel.count_broken(
            self.kernel_rules, *matrix(work.records.lane_names, len(passed.starts), passed.orders),
            np.array([step.task in passed.swapped for step in work.steps], dtype=bool),
            np.array(passed.starts), passed.pet_zero_min, stops)
        if said != k.UNKNOWN:
            return said
        return int(self.broken(passed) is not None) if stops else self.count(passed)

    @cached_property
    def _arrays(self) -> ScreenArrays:
        return ScreenArrays(Asked(
            problem=self.problem, dropped=self.dropped, kept=self._kept, minutes=self._minutes,
            waits=self._waits, begins=self._begins, held=self._held, ends=self._made(frozenset()).ends,
            narrow=self._narrow, anchors=self._anchors))
