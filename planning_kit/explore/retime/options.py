"""What can still be done: options, each verified by re-timing, ranked, with the last moment each is open.

An option is open until now has come so far that to carry on and to take it are no longer the same: until
then nothing is lost by waiting. "Carry on" is a row too. Looked at are: a task dropped, or given up and put
back once it has begun (`planning_kit.changes.dropping`), required work by itself, of other work the
first few of the cut rule together, too; postponing what may go to just before the last task; giving a
swappable task to the other, once it has begun what is left of it, if that brings no stop (things are in
hands by then); a get-ahead task next of all; with a search (`planning_kit.explore.retime.reorder`) another
order of the rest. Ranked as plans beside each other are (`planning_kit.judge.review`): what all of them
break is told once and does not count, nor do the stops that the plan had when it was taken outside.
"""

import math
from collections import Counter
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from itertools import zip_longest
from operator import and_

import pandas as pd

from planning_kit.changes.dropping import moved_by
from planning_kit.explore.long_question import Report, silent, told
from planning_kit.explore.propose.goals import CHANCES, chances_of
from planning_kit.explore.propose.solving import Budget
from planning_kit.explore.retime.decisions import NOT_KNOWN, Decision, decide, states_in, to_do, ways_out
from planning_kit.explore.retime.reorder import better_orders
from planning_kit.inputs.faults import ScenarioError, is_whole
from planning_kit.inputs.log_state import OPEN, TO_DO
from planning_kit.inputs.records import Task
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.times import number_label
from planning_kit.judge.all_checks import findings_of
from planning_kit.judge.check_custody import AT_END
from planning_kit.judge.check_rules import LOG, untouched_items
from planning_kit.judge.findings import CONCERN, STOP, Identity, identity
from planning_kit.judge.review import Review, drop_order, may_be_cut, may_go, review, stops_in, task_starts
from planning_kit.plan.activities import Activity
from planning_kit.plan.build import placeless
from planning_kit.plan.custody import is_in
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import Outside, TimedPlan

OPTION_COLUMNS = ["option", "kind", "lost", "put_back_min", "end_min", "gain_min", "planned_margin_min",
                  "hard_margin_min", "new_stops", "mended_stops", "new_concerns", "open_until_min",
                  "must_by_min", "decide", "moves"]
CARRY_ON, DROP, POSTPONE, GIVE, FORWARD, REORDER, GIVE_UP, IN_ALL = (
    "carry on", "drop", "postpone", "give", "bring forward", "reorder", "give up", "in all")
_KINDS = (CARRY_ON, FORWARD, GIVE, POSTPONE, REORDER, DROP, GIVE_UP, IN_ALL)
_MOST_TOGETHER = 4  # of the cut rule; each costs a whole plan with its findings
_MOST_MOVES = 3  # of a reordering, in the words of its row
_NOTHING = math.nan


@dataclass(frozen=True)
class Option:
    """One thing that could be decided: ``how`` are the arguments of ``decide``, ``lost`` the tasks left out.

    ``only_if_sound``: no option where it brings a stop; ``back_min``: minutes to put back.
    """

    words: str
    kind: str
    how: Decision
    lost: tuple[str, ...] = ()
    moves: tuple[str, ...] = ()
    only_if_sound: bool = False
    back_min: float = _NOTHING


@dataclass(frozen=True)
class Reviewed:
    """An option with its plan, and what that is beside carrying on."""

    option: Option
    changed: TimedPlan
    found: Review

    def rank(self, shared: Counter[Identity]) -> tuple[float, ...]:
        """Smaller is better; of equals carrying on comes first, and less walking last."""
        *rank, carried, walk = self.found.rank_beside(shared)
        return *rank, float(_KINDS.index(self.option.kind)), carried, walk


def options_table(plan: TimedPlan, most: int = 12, search: Budget | None = None,
                  samples: int = 0, report: Report = silent) -> pd.DataFrame:
    """The options at the moment of the re-timing, best first, at most ``most``; PET minutes.

    With ``search`` better orders of the rest are looked for within that budget, and are rows too. With
    ``samples`` three more columns: ``p_planned`` and ``p_hard``, the odds that both are inside by the limits,
    and ``p_required``, those with the required work done.

    ``option`` in words, ``kind``; ``lost``: the tasks left out, with their need; ``put_back_min`` for those
    that have begun (else NaN); ``end_min`` and ``gain_min``, how much earlier than carrying on;
    ``planned_margin_min`` and ``hard_margin_min`` to the limits; ``new_stops`` and ``new_concerns`` that
    carrying on has not (of concerns not the decision itself), and ``mended_stops`` that it has;
    ``open_until_min``: until then both ways are the same, so it need not be decided before; ``must_by_min``
    (drops): a task of it not begun by then makes the hard limit impossible with all else kept (the backward
    pass; NaN: it is so already); ``decide``: the arguments that make that plan,
    ``plan.decide(**row.decide)``; ``moves``: more in words. Last come rows that cannot be taken: what all of
    them break, what nobody knows how to put back, a search without success. Raises `ScenarioError` for
    ``most`` below 1 and ``samples`` that are no number of samples.
    """
    for column, value, least in (("most", most, 1), ("samples", samples, 0)):
        if not is_whole(value, least):
            raise ScenarioError.single(f"must be a whole number, {least} or more", table="options",
                                       column=column, value=value)
    outside = plan.known_outside("options")
    carry_on = Option("Carry on as re-timed", CARRY_ON, {})
    looked = [_reviewed(plan, plan, carry_on)]
    known_ways = list(_options(plan, outside))
    for option in (*told(known_ways, report, "options", len(known_ways)), *_searched(plan, search)):
        try:
            changed = decide(plan, **option.how)
        except ScenarioError:  # an order that cannot be
            continue
        each = _reviewed(plan, changed, option)
        # What changes nothing is no option.
        if math.isfinite(_open_until(plan, changed)) and not (each.found.new_stops and option.only_if_sound):
            looked.append(each)
    shared = reduce(and_, (each.found.stops for each in looked))
    before = shared | stops_in(findings_of(outside.planned))  # they went out with those
    looked.sort(key=lambda each: each.rank(before))
    best = looked[:most]
    # Every gain is counted from carrying on, so that it is shown even where it ranks too low.
    if most > 1 and not any(each.option is carry_on for each in best):
        best[-1:] = [each for each in looked if each.option is carry_on]
    best += [_reviewed(plan, plan, note) for note in _notes(plan, outside, looked, shared, search)]
    if not samples:
        return TextTable([_row(plan, each) for each in best], columns=OPTION_COLUMNS)
    rows = [_row(plan, each) | {**chances_of(each.changed, samples)}
            for each in told(best, report, "odds", len(best))]
    return TextTable(rows, columns=[*OPTION_COLUMNS, *CHANCES])


def _notes(plan: TimedPlan, outside: Outside, looked: Sequence[Reviewed], shared: Counter[Identity],
           search: Budget | None) -> Iterator[Option]:
    """Rows that are no options: what all of them break, and what is none, and why."""
    if shared and len(looked) > 1:
        said = [row for row in findings_of(looked[0].changed).to_dict("records")
                if row["severity"] == STOP and identity(row) in shared]
        names = dict.fromkeys(f"{row['rule']} {row['about']} at {row['step'] or 'the end'}" for row in said)
        yield Option(f"Broken in all of them: {'; '.join(names)}", IN_ALL, {},
                     moves=tuple(row["message"] for row in said))
    stuck = [task.task for task in _open_tasks(outside) if task.task not in ways_out(plan, [task.task])]
    if stuck:
        yield Option(f"Cannot be given up: {', '.join(stuck)}: {NOT_KNOWN}", GIVE_UP, {})
    if search is not None and not any(each.option.kind == REORDER for each in looked):
        lost = placeless(plan.steps)
        yield Option(f"No better order searched for: {' '.join(lost)} without a place" if lost else
                     f"No better order found{search.how_it_ended}", REORDER, {})


def _searched(plan: TimedPlan, search: Budget | None) -> Iterator[Option]:
    """Better orders of the rest, if they are looked for."""
    if search is None:
        return
    for found in better_orders(plan, search):
        words = [move.short or move.words for move in found.moves]
        more = f"; and {len(words) - _MOST_MOVES} more" if len(words) > _MOST_MOVES else ""
        ended = " (proven best)" if found.is_proven_best else search.how_it_ended
        yield Option(f"Reorder: {'; '.join(words[:_MOST_MOVES])}{more}{ended}", REORDER, found.rebuilt.how,
                     tuple(sorted(found.choice.dropped)), tuple(move.words for move in found.moves))


def _options(plan: TimedPlan, outside: Outside) -> Iterator[Option]:
    tasks = outside.base.scenario.records.tasks
    cuts = drop_order(_open_tasks(outside), task_starts(plan))
    left_out = [task for task in cuts if (way := ways_out(plan, [task.task]).get(task.task)) is not None
                and way.put_back not in way.home]  # else it is done, and on its way home
    for task in left_out:
        yield _drop(plan, outside, [task])
    unasked = list(filter(may_go, left_out))  # required work goes with nothing else: it is decided by itself
    for count in range(2, min(len(unasked), _MOST_TOGETHER) + 1):
        yield _drop(plan, outside, unasked[:count])
    for task in filter(may_be_cut, cuts):
        yield from _moved(outside, task, POSTPONE)
    for task in tasks:
        are_fresh = [state.status == TO_DO for state in states_in(outside, task.task)]
        fresh = all(are_fresh)
        if task.swappable and any(are_fresh):
            what = task.task if fresh else f"the rest of {task.task}"
            yield Option(f"Give {what} to the other (the two trade its steps)", GIVE,
                         {"give": [task.task]}, only_if_sound=not fresh)
        if task.need == "get-ahead" and fresh:
            yield from _moved(outside, task, FORWARD)


def _open_tasks(outside: Outside) -> list[Task]:
    """Those with steps to do that are not given up."""
    return [task for task in outside.base.scenario.records.tasks
            if to_do(outside, task.task) and task.task not in outside.states.tasks_put_back]


def _drop(plan: TimedPlan, outside: Outside, tasks: Sequence[Task]) -> Option:
    """Tasks left out, with what hangs on them by items: those that have begun are put back."""
    names = [task.task for task in tasks]
    ways = ways_out(plan, names)
    skip = [step for way in ways.values() for step in outside.states.by_step if step in way.gone]
    back = {name: way for name, way in ways.items() if way.put_back}
    what = " and ".join(f"the rest of {each}" if each in back and not back[each].minutes else each
                        for each in names)
    if more := [name for name in ways if name not in names]:
        what += f", with {' and '.join(more)} for want of {'its' if len(names) == 1 else 'their'} items"
    put = " and ".join(f"{name} back at {way.put_back} in {number_label(way.minutes, 'up')} min"
                       for name, way in back.items() if way.minutes)
    how = Decision(skip=skip, give_up=list(back)) if back else Decision(skip=skip)
    return Option(f"Give up {what}: put {put}" if put else f"Drop {what}", GIVE_UP if put else DROP, how,
                  tuple(ways), back_min=sum(way.minutes for way in back.values()) if back else _NOTHING)


def _moved(outside: Outside, task: Task, kind: str) -> Iterator[Option]:
    """The task's steps next of all that is to do, or just before the last task; none if they are there."""
    rest = [name for name, state in outside.states.by_step.items() if state.status in OPEN]
    own = to_do(outside, task.task)
    others = [name for name in rest if name not in own]
    last_task = next(reversed(outside.states.by_step.values())).step.task
    at = 0 if kind == FORWARD else next(
        (i for i, name in enumerate(others) if outside.states.by_step[name].step.task == last_task), None)
    if at is None or task.task == last_task:
        return
    order = [*others[:at], *own, *others[at:]]
    if order != rest:
        words = f"Bring {task.task} forward, next of all" if kind == FORWARD else (
            f"Postpone {task.task} to just before {others[at]}")
        yield Option(words, kind, {"order": order})


def _reviewed(plan: TimedPlan, changed: TimedPlan, option: Option) -> Reviewed:
    limits = plan.scenario.settings.limits
    return Reviewed(option, changed, review(plan, changed, (changed.hard_min, limits.planned_min),
                                            plan.scenario.records.tasks, option.lost))


def _row(plan: TimedPlan, each: Reviewed) -> dict[str, object]:
    option, changed, found, limits = each.option, each.changed, each.found, plan.scenario.settings.limits
    return {
        "option": option.words + _brought_home(plan, changed, option), "kind": option.kind,
        "lost": ", ".join(f"{task.task} ({task.need})" for task in plan.scenario.records.tasks
                          if task.task in option.lost),
        "put_back_min": option.back_min, "end_min": changed.end_min,
        "gain_min": plan.end_min - changed.end_min,
        "planned_margin_min": limits.planned_min - changed.end_min,
        "hard_margin_min": changed.hard_min - changed.end_min, "new_stops": found.new_stops,
        "mended_stops": (stops_in(findings_of(plan)) - found.stops).total(),
        "new_concerns": _new_concerns(changed, option, found), "open_until_min": _open_until(plan, changed),
        "must_by_min": _must_by(plan, option),
        "decide": dict(option.how), "moves": list(option.moves),
    }


def _brought_home(plan: TimedPlan, changed: TimedPlan, option: Option) -> str:
    """In words, what has been moved for the tasks that are put back, and is inside at the end."""
    begun = {plan.steps[row].step for row in plan.network.fixed
             if plan.steps[row].task in option.how.get("give_up", ())}
    items = [item for item in sorted(moved_by(plan.scenario.records, begun))
             if any(is_in(changed.scenario.records, each.holder)
                    for each in changed.tracked_custody.endings[item])]
    return f"; {', '.join(items)} back inside" if items else ""


def _new_concerns(changed: TimedPlan, option: Option, found: Review) -> int:
    """Those that are not the decision itself: that steps are skipped, and what lies untouched for that."""
    skipped, untouched = option.how.get("skip", ()), untouched_items(changed)

    def is_decided(row: Mapping[Hashable, object]) -> bool:
        return (row["check"] == LOG and row["step"] in skipped) or (
            (row["check"], row["rule"]) in AT_END and row["about"] in untouched)

    return sum(row["severity"] == CONCERN and not is_decided(row) for row in found.fresh.to_dict("records"))


def _open_until(plan: TimedPlan, changed: TimedPlan) -> float:
    """The first moment at which someone would do something else, now at the earliest: until then it is open.

    Now where someone is underway to what the option does not do: every minute of it has to be made good.
    """
    parting = min(_parting(plan.lanes[who], changed.lanes[who]) for who in plan.lanes)
    return max(parting, plan.now_min or 0.0) if math.isfinite(parting) else _NOTHING


def _parting(one: Iterable[Activity], other: Iterable[Activity]) -> float:
    for a, b in zip_longest(one, other):
        if a is None or b is None or abs(a.start_min - b.start_min) > ROUNDING_MIN or (
                (a.kind, a.step, a.place, a.to_place, a.via) != (b.kind, b.step, b.place, b.to_place, b.via)):
            return float(min(each.start_min for each in (a, b) if each))
        if abs(a.finish_min - b.finish_min) > ROUNDING_MIN:
            return float(min(a.finish_min, b.finish_min))
    return math.inf


def _must_by(plan: TimedPlan, option: Option) -> float:
    """The latest start of a dropped task's first step that keeps the hard limit, all else kept."""
    names = [name for name in option.how.get("skip", ()) if name in plan.network.steps]
    # The backward pass keeps all other work: it gives no time for several tasks that go together.
    if option.kind != DROP or not names or len(option.lost) > 1:
        return _NOTHING
    first = min((plan.position(name) for name in names), key=lambda position: plan.starts[position])
    by = float(plan.starts[first] + plan.slack.to_limit[first])
    return by if math.isfinite(by) else _NOTHING
