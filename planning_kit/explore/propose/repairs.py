"""Repairs of orders by helper steps, which only serve the order: left out, done elsewhere, or added.

The search never looks at orders that a tether too short, or an item elsewhere, forbids. Here a look around
does; what blocks such an order, or one that was not shown, is mended where somebody passes, by a step of the
scenario's standard minutes or one that is done there instead. Counted in plans timed, thus repeatable.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice, product
from math import inf
from operator import attrgetter
from typing import TYPE_CHECKING

import numpy as np

from planning_kit.changes.change import Change, made, step_named
from planning_kit.changes.dropping import Drop
from planning_kit.changes.order import Add
from planning_kit.explore.propose.choices import Choice, Move, as_written, tell_moves
from planning_kit.explore.propose.goals import END
from planning_kit.explore.propose.local_search import PASSES, Blocks, LocalSearch, Neighbours
from planning_kit.explore.propose.order_model import Requirement
from planning_kit.explore.propose.order_problem import Freedom
from planning_kit.explore.propose.order_screen import Broken, Timed
from planning_kit.explore.propose.order_search import Better, OrderSearch, only_what_matters
from planning_kit.explore.propose.stages import Found
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.records import INSIDE, Step
from planning_kit.inputs.scenario import Scenario
from planning_kit.judge.review import SAME_MIN, is_worse
from planning_kit.plan.custody import is_at_end
from planning_kit.plan.custody_state import EARLY, NOT_HELD, NOT_IN_SOCKET, NOT_THERE, USED_AWAY
from planning_kit.plan.tether_lines import hook_chances, too_far
from planning_kit.plan.timed import TimedPlan

if TYPE_CHECKING:
    from planning_kit.explore.propose.screen_rules import Rules

_MOST_ADDED, _MOST_TRIED, _TRIES, _PASSES = 3, 6, 60, PASSES // 2


def looked_with_repairs(search: OrderSearch, name: str, freedom: Freedom,
                        effort: float) -> Iterator[tuple[Better, str]]:
    """What the search finds under one freedom, under its ``name``, and what other helper steps win on it."""
    tried, tries = [each.choice for each in search.rejected.values()], round(_TRIES * effort)
    if found := search.look(freedom, effort):
        yield found, name
    judge, steps, start = search.judge, search.judge.records.steps, found.choice if found else search.before
    spare = [each for each in steps if each.helper and (each.hooks or each.takes or each.leaves) and not (
        each.uses or each.foothold or each.checks or each.clears or each.moves)]
    limits = vars(judge.records.settings.limits)
    if (spare or any(limits[key] for key in limits if key.startswith("helper_"))) and (
            freedom.earliest <= start.pet_zero <= freedom.latest):
        # Where something is let go, hardware forces no order.
        problem = search.begun_problem(replace(freedom, let_go=frozenset({Requirement("", "", "")})))
        around = _Repairs(problem, start.dropped, search=search, spare=spare, left=tries)
        around.blocks(start)
        if here := around.of(start):
            around.rules.let_go_of(here)
            LocalSearch(around, around.blocks, search.budget).improve(here, round(_PASSES * effort))
        around.left = tries
        for each in sorted(search.rejected.values(), key=attrgetter("end_min")):
            if each.choice not in tried:
                tried.append(each.choice)
                around.blocks(each.choice)
        if (best := around.best) and judge.goal != END:
            around = replace(around, dropped=best.choice.dropped, left=tries)
            search.climb(around, best.choice, effort, around.blocks)
        known = [each.rank for each in search.found] + [judge.rank(plan) for plan in [judge.current] if plan]
        if around.best and all(is_worse(rank, around.best.rank) for rank in known):
            yield _told(search, around.best), f"{name}, repaired"


@dataclass(eq=False)
class _Repairs(Neighbours):
    """Orders that a few helper steps may mend; ``left`` plans may be timed for the ``best`` that holds."""

    search: OrderSearch = field(kw_only=True)
    spare: Sequence[Step] = field(kw_only=True)
    left: int = field(kw_only=True)
    best: Better | None = None

    @property
    def kernel_rules(self) -> "Rules":
        """The kernel answers for none of them: what `broken` says is not what it asks."""
        rules = self.rules.kernel_rules
        return rules._replace(one=np.zeros_like(rules.one))

    def broken(self, timed: Timed) -> Broken | None:
        kept = self.rules.let_go
        self.rules.let_go_of(timed)
        found, self.rules.let_go = self.rules.let_go - kept, kept
        lost = {rule for rule, *_ in found} & {"last-start", "window", "crowded", "owner-away"}
        return Broken("", "", ()) if lost or len(found) > _MOST_ADDED else None

    def blocks(self, choice: Choice) -> Blocks:
        """Judge an order: it holds where helper steps, if need be, make it better than all so far."""
        judge, last, best, found = self.search.judge, self.search.last, self.best, None
        # No order takes more than half of the tries that are left: the next may be the one that holds.
        kept = self.left // 2
        self.left -= kept
        if rebuilt := judge.try_out(choice):
            solved = Found(choice, 0.0, bool(last and last.tasks_proven), end_proven=False)
            found = self._mended(Better(choice=choice, rebuilt=rebuilt, moves=(), solved=solved, rank=(),
                                        best_by=judge.goal), [()], self._until_min(best))
        self.left = max(self.left, 0) + kept
        if not found or (best and not is_worse(best.rank, found.rank)):
            return (("repairs", "none", "", "", ""),)
        self.best = self._without_needless(found)
        return ()

    def _until_min(self, best: Better | None) -> float:
        """The latest end of what may be better; inf where more than the end decides."""
        is_by_end = (judge := self.search.judge).goal == END and not judge.cushion
        return best.plan.end_min + SAME_MIN if best and is_by_end and not any(best.rank[:-3]) else inf

    def _mended(self, order: Better, changes: Iterable[Sequence[Change]], until_min: float,
                most: float = inf) -> Better | None:
        """The best by rank with one of some changes, which blocks no more, and its mends; it ends by then."""
        best, judge = None, self.search.judge
        for each in changes:
            self.left -= 1
            if self.left < 0 or self.search.budget.is_over():
                break
            try:
                changed = made(order.plan.scenario, each)
                plan = TimedPlan.of(changed.scenario)
            except ScenarioError:
                continue
            if changed.notes or plan.end_min > until_min or (count := len(judge.blocking(plan))) > most:
                continue
            better = replace(order, rebuilt=replace(order.rebuilt, plan=plan), mends=(*order.mends, *each))
            adds = islice(_adds(plan, self.spare), _MOST_TRIED if len(order.mends) < _MOST_ADDED else 0)
            found = self._mended(better, adds, until_min, count) if count else replace(
                better, rank=judge.rank(plan, order.choice.dropped))
            if found and (best is None or is_worse(best.rank, found.rank)):
                best, until_min = found, min(until_min, self._until_min(found))
        return best

    def _without_needless(self, better: Better) -> Better:
        """Without the helper steps that the order does not need, or with them where that wins something."""
        for name in (step.step for step in self.spare):
            found = self._mended(better, [[Drop((step_named(name),))]], self._until_min(better))
            if found and (is_worse(better.rank, found.rank) or not (
                    found.mends[len(better.mends) + 1:] or is_worse(found.rank, better.rank))):
                better = found
        return better


def _told(search: OrderSearch, better: Better) -> Better:
    """Without the moves that win nothing beside the mends; each helper step mended is told by itself."""
    judge, before = replace(search.judge, mends=better.mends), search.before
    choice, rebuilt = only_what_matters(judge, better.choice, better.rebuilt, before.lanes, search.budget)
    names = {each.row["step"] for each in better.mends if isinstance(each, Add)} | {
        name.id for each in better.mends if isinstance(each, Drop) for name in each.names}
    was, now = (replace(each, lanes={who: tuple(step for step in lane if step not in names)
                                     for who, lane in each.lanes.items()}) for each in (before, choice))
    moves = tell_moves(judge.records, was, now, rebuilt)
    for name in sorted(names):
        old, new = _served(name, judge.scenario), _served(name, rebuilt.plan.scenario)
        short = f"{name} {'now' if old else 'added'} {new}" if new else f"{name} left out"
        moves.append(Move("helper", "", name, f"{short} (was {old})" if old else short, short))
    return replace(better, choice=choice, rebuilt=rebuilt, moves=tuple(moves))


def _served(name: str, scenario: Scenario) -> str:
    """Where in the order a helper step is, whose, how long, and what it does there; "": there is none."""
    lanes = as_written(scenario.records, scenario.settings.pet_zero_utc).lanes.values()
    for row in scenario.steps.query("step == @name").to_dict("records"):
        lane = next(("pet_zero", *lane) for lane in lanes if name in lane)
        does = ", ".join(f"{key} {row[key]}" for key in ("hooks", "takes", "leaves") if row[key])
        return (f"behind {lane[lane.index(name) - 1]}: {row['crew']}, {row['minutes_likely']:g} min, "
                f"{does} at {row['place']}")
    return ""


def _adds(plan: TimedPlan, spare: Sequence[Step]) -> Iterator[tuple[Change, ...]]:
    """Helper steps, each of which may mend what is wrong; how hard and how soon broken off: the safe side."""
    settings, names = plan.scenario.settings, {step.step for step in plan.steps}
    kinds, watts = {each.item: each.kind for each in plan.scenario.records.hardware}, settings.exertion_w
    hardest = max(watts.keys() & {"rest", "light", "moderate", "heavy"}, key=watts.__getitem__, default="")
    free = next(name for number in range(1, len(names) + 2) if (name := f"HLP{number}") not in names)
    for who, places, since_min, until_min, step, column, entry in _wanted(plan):
        item, last = entry.split("<")[0], next((a.step for a in reversed(plan.lanes[who]) if a.step), "")
        key = "hook" if item == who else "foothold" if kinds[item] == "foothold" else "item"
        standard = getattr(settings.limits, f"helper_{key}_min")
        ways = [(free, standard)] * bool(standard) + [(each.step, each.minutes_likely) for each in spare if
                each.crew in plan.travels and getattr(each, column) and item in {*each.touches, who}]
        passed = [(each.place, each.step, each.is_on_the_way) for each in hook_chances(
            places, plan.lanes[who], plan.passages[who]) if since_min <= each.at_min <= until_min]
        there = [*passed[:-4:-1], *((place, step, True) for place in places if len(places) == 1)]
        for (place, beside, ahead), (name, minutes) in product(there if last else (), ways):
            drop = [Drop((step_named(name),))] if name in names else []
            at, title = plan.position(step or beside or last), f"{column[:-1].title()} {entry} at {place}"
            yield *drop, Add({
                "step": name, "task": plan.steps[at].task, "crew": who, "place": place, "title": title,
                "exertion": hardest, "minutes_likely": minutes, "safe_orderly_min": minutes,
                "safe_now_min": minutes, column: entry}, beside or last, ahead and beside != "")


def _wanted(plan: TimedPlan) -> Iterator[tuple[str, Collection[str], float, float, str, str, str]]:
    """Who, at one of which places, from when until when, for which step ("": going in), column, entry."""
    records, custody = plan.scenario.records, plan.tracked_custody
    airlock, anchors = records.settings.airlock_place, {each.place for each in records.places if each.anchor}
    for who, tether in plan.tracked_tethers.items():
        for spell in islice(too_far(tether.lies, tether.tether_m or inf), 1):
            yield who, anchors, 0.0, spell.from_min, spell.first.passage.step, "hooks", who
        if tether.lies[-1].line[0] != airlock:
            yield who, {airlock}, 0.0, inf, "", "hooks", who
    needs = [(each.item, each.was, each.place, each.step, each.at_min) for each in custody.mishaps
             if each.kind in (EARLY, NOT_THERE, NOT_HELD, NOT_IN_SOCKET, USED_AWAY)][:1]
    needs += [(item.item, ends[-1], item.end_at, "", inf) for item in records.hardware if item.end_at
              and not is_at_end(records, item, ends := custody.endings[item.item])]
    for item, was, place, step, by_min in needs:
        if was.holder in plan.travels:
            yield was.holder, {place}, was.from_min, by_min, step, "leaves", item
        else:
            entry, where = f"{item}<{was.in_bag}".strip("<"), airlock if was.holder == INSIDE else was.holder
            yield from ((who, {where}, was.from_min, by_min, step, "takes", entry) for who in plan.travels)
    for load in (each for each in custody.overloads if each.holder in plan.travels and each.step):
        yield from ((load.holder, {plan.steps[plan.position(load.step)].place}, 0.0, load.from_min, load.step,
                     "leaves", item) for item in load.items)
