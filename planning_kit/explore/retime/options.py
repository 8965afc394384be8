"""What can still be done: options, each verified by re-timing, ranked, with the last moment each is open.

An option is open until now has come so far that to carry on and to take it are no longer the same: until
then nothing is lost by waiting.

Looked at are: dropping what the cut rule allows, one task or the first few of the rule together; postponing
such a task to just before the last one; giving a swappable task to the other, once it has begun what is left
of it, if that brings no stop finding (things are in hands by then); bringing a get-ahead task forward to come
next. "Carry on" is a row too. Better orders of the whole rest are searched where that is asked
(`planning_kit.explore.retime.reorder`): it takes seconds. Ranked as every plan is
(`planning_kit.judge.review`): no new stop finding before one, the hard limit kept, the planned limit kept,
then what is left out, by weight, then the earlier end. Options together are not tried, but for the cut rule.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest

import pandas as pd

from planning_kit.explore.long_question import Report, silent, told
from planning_kit.explore.propose.goals import CHANCES, chances_of
from planning_kit.explore.propose.solving import Budget
from planning_kit.explore.retime.decisions import Decision, decided_whole, states_in, to_do
from planning_kit.explore.retime.reorder import better_orders
from planning_kit.inputs.faults import ScenarioError, is_whole
from planning_kit.inputs.log_state import OPEN, TO_DO
from planning_kit.inputs.records import Task
from planning_kit.inputs.shown_text import TextTable
from planning_kit.judge.all_checks import findings_of
from planning_kit.judge.check_custody import AT_END
from planning_kit.judge.check_custody import CHECK as CUSTODY
from planning_kit.judge.check_log import CHECK as LOG
from planning_kit.judge.check_log import untouched_items
from planning_kit.judge.drop_order import drop_order, may_be_cut, may_go, task_starts
from planning_kit.judge.findings import CONCERN
from planning_kit.judge.review import Review, review
from planning_kit.plan.activities import Activity
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import Outside, TimedPlan

OPTION_COLUMNS = ["option", "kind", "end_min", "gain_min", "planned_margin_min", "hard_margin_min",
                  "new_stops", "new_concerns", "open_until_min", "must_by_min", "decide", "moves"]
CARRY_ON, DROP, POSTPONE, GIVE, FORWARD, REORDER = (
    "carry on", "drop", "postpone", "give", "bring forward", "reorder")
_KINDS = (CARRY_ON, FORWARD, GIVE, POSTPONE, REORDER, DROP)
_MOST_TOGETHER = 4  # of the cut rule; each costs a whole plan with its findings
_MOST_MOVES = 3  # of a reordering, in the words of its row
_NOTHING = math.nan


@dataclass(frozen=True)
class Option:
    """One thing that could be decided: ``how`` are the arguments of ``decide``, ``tasks`` what it moves.

    ``only_if_sound``: no option where it brings a stop finding.
    """

    words: str
    kind: str
    how: Decision
    tasks: tuple[str, ...] = ()
    moves: tuple[str, ...] = ()
    only_if_sound: bool = False


def options_table(plan: TimedPlan, most: int = 12, search: Budget | None = None,
                  samples: int = 0, report: Report = silent) -> pd.DataFrame:
    """The options at the moment of the re-timing, best first, at most ``most``; PET minutes.

    With ``search`` better orders of the rest are looked for within that budget, and are rows too. With
    ``samples`` three more columns: ``p_planned`` and ``p_hard``, the odds that both are inside by the limits,
    and ``p_required``, those with the required work done.

    ``option`` in words, ``kind``; ``end_min`` and ``gain_min``, how much earlier than carrying on;
    ``planned_margin_min`` and ``hard_margin_min`` to the limits; ``new_stops`` and ``new_concerns`` beside
    those of carrying on (of concerns not the decision itself: that what is dropped is skipped, and what lies
    untouched for that); ``open_until_min``: until then both ways are the same, so it need not be decided
    before; ``must_by_min`` (drops): a task of it not begun by then makes the hard limit impossible with all
    else kept (the backward pass from the hard limit; NaN: it is so already); ``decide``: the arguments that
    make that plan, ``plan.decide(**row.decide)``; ``moves``: what a reordering changes, in words. A search
    without success has a last row that says so. Raises `ScenarioError` for ``most`` below 1 and
    ``samples`` that are no number of samples.
    """
    if not is_whole(most, 1):
        raise ScenarioError.single("must be how many rows to show, 1 or more", table="options", column="most",
                                   value=most)
    if not is_whole(samples, 0):
        raise ScenarioError.single("must be how many samples to draw, or 0 for no odds", table="options",
                                   column="samples", value=samples)
    outside, known = plan.known_outside("options"), findings_of(plan)
    carry_on = Option("Carry on as re-timed", CARRY_ON, {})
    ranked = [_ranked(plan, plan, carry_on, known)]
    known_ways = list(_options(plan, outside))
    for option in (*told(known_ways, report, "options", len(known_ways)), *_searched(plan, search)):
        changed = _decided(plan, option)
        if changed is not None and math.isfinite(_open_until(plan, changed)):  # else it changes nothing
            entry = _ranked(plan, changed, option, known)
            if not (entry[1]["new_stops"] and option.only_if_sound):
                ranked.append(entry)
    ranked.sort(key=lambda entry: entry[0])
    best = ranked[:most]
    # Every gain is counted from carrying on, so that it is shown even where it ranks too low.
    if most > 1 and not any(row["kind"] == CARRY_ON for _, row, _ in best):
        best[-1:] = [entry for entry in ranked if entry[1]["kind"] == CARRY_ON]
    if search is not None and not any(row["kind"] == REORDER for _, row, _ in ranked):
        nothing = Option(f"No better order found{search.how_it_ended}", REORDER, {})
        best.append(_ranked(plan, plan, nothing, known))
    if not samples:
        return TextTable([row for _, row, _ in best], columns=OPTION_COLUMNS)
    rows = [row | {**chances_of(changed, samples)}
            for _, row, changed in told(best, report, "odds", len(best))]
    return TextTable(rows, columns=[*OPTION_COLUMNS, *CHANCES])


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


def _decided(plan: TimedPlan, option: Option) -> TimedPlan | None:
    """The plan of an option; None where no times give it, or where it loses what it does not drop."""
    try:
        return decided_whole(plan, option.how)
    except ScenarioError:
        return None


def _options(plan: TimedPlan, outside: Outside) -> Iterator[Option]:
    tasks = outside.base.scenario.records.tasks
    cuts = drop_order((task for task in tasks if may_be_cut(task) and to_do(outside, task.task)),
                      task_starts(plan))
    for task in cuts:
        yield _drop(outside, [task])
    unasked = list(filter(may_go, cuts))  # required work goes with nothing else: it is decided by itself
    for count in range(2, min(len(unasked), _MOST_TOGETHER) + 1):
        yield _drop(outside, unasked[:count])
    for task in cuts:
        yield from _moved(outside, task, POSTPONE)
    for task in tasks:
        are_fresh = [state.status == TO_DO for state in states_in(outside, task.task)]
        fresh = all(are_fresh)
        if task.swappable and any(are_fresh):
            what = task.task if fresh else f"the rest of {task.task}"
            yield Option(f"Give {what} to the other (the two trade its steps)", GIVE,
                         {"give": [task.task]}, (task.task,), only_if_sound=not fresh)
        if task.need == "get-ahead" and fresh:
            yield from _moved(outside, task, FORWARD)


def _drop(outside: Outside, tasks: Sequence[Task]) -> Option:
    begun = [t.task for t in tasks if any(s.status != TO_DO for s in states_in(outside, t.task))]
    names = " and ".join(f"the rest of {t.task}" if t.task in begun else t.task for t in tasks)
    skip = [name for task in tasks for name in to_do(outside, task.task)]
    return Option(f"Drop {names}", DROP, {"skip": skip}, tuple(t.task for t in tasks))


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
        yield Option(words, kind, {"order": order}, (task.task,))


Ranked = tuple[tuple[float, ...], dict[str, object], TimedPlan]


def _ranked(plan: TimedPlan, changed: TimedPlan, option: Option, known: pd.DataFrame) -> Ranked:
    """The rank, row and plan of an option; of equals carrying on comes first, and less walking last."""
    limits = plan.scenario.settings.limits
    dropped = option.tasks if option.how.get("skip") else ()
    found = review(known, changed, (changed.hard_min, limits.planned_min),
                   plan.known_outside("options").base.scenario.records.tasks, dropped)
    *rank, carried, walk = found.rank
    return (*rank, _KINDS.index(option.kind), carried, walk), _row(plan, changed, option, found), changed


def _row(plan: TimedPlan, changed: TimedPlan, option: Option, found: Review) -> dict[str, object]:
    limits = plan.scenario.settings.limits
    return {
        "option": option.words, "kind": option.kind, "end_min": changed.end_min,
        "gain_min": plan.end_min - changed.end_min,
        "planned_margin_min": limits.planned_min - changed.end_min,
        "hard_margin_min": changed.hard_min - changed.end_min, "new_stops": found.new_stops,
        "new_concerns": _new_concerns(changed, option, found), "open_until_min": _open_until(plan, changed),
        "must_by_min": _must_by(plan, option),
        "decide": dict(option.how), "moves": list(option.moves),
    }


def _new_concerns(changed: TimedPlan, option: Option, found: Review) -> int:
    """Those that are not the decision itself: that steps are skipped, and what lies untouched for that."""
    skipped, untouched = option.how.get("skip", ()), untouched_items(changed)

    def is_decided(row: Mapping[Hashable, object]) -> bool:
        return (row["check"] == LOG and row["step"] in skipped) or (
            row["check"] == CUSTODY and row["rule"] in AT_END and row["about"] in untouched)

    return sum(row["severity"] == CONCERN and not is_decided(row) for row in found.fresh.to_dict("records"))


def _open_until(plan: TimedPlan, changed: TimedPlan) -> float:
    """The first moment at which someone would do something else, now at the earliest: until then it is open.

    Now where someone is underway to what the option does not do: every minute of it has to be made good.
    """
    parting = min(_parting(plan.lanes[who], changed.lanes[who]) for who in plan.lanes)
    return max(parting, plan.now_min or 0.0) if math.isfinite(parting) else _NOTHING


def _parting(one: Iterable[Activity], other: Iterable[Activity]) -> float:
    for a, b in zip_longest(one, other):
        if a is None or b is None:
            return float(min(each.start_min for each in (a, b) if each))
        same = (a.kind, a.step, a.place, a.to_place, a.via) == (b.kind, b.step, b.place, b.to_place, b.via)
        if not same or abs(a.start_min - b.start_min) > ROUNDING_MIN:
            return float(min(a.start_min, b.start_min))
        if abs(a.finish_min - b.finish_min) > ROUNDING_MIN:
            return float(min(a.finish_min, b.finish_min))
    return math.inf


def _must_by(plan: TimedPlan, option: Option) -> float:
    """The latest start of a dropped task's first step that keeps the hard limit, all else kept."""
    names = [name for name in option.how.get("skip", ()) if name in plan.network.steps]
    # The backward pass keeps all other work: it gives no time for several tasks that go together.
    if option.kind != DROP or not names or len(option.tasks) > 1:
        return _NOTHING
    first = min((plan.position(name) for name in names), key=lambda position: plan.starts[position])
    by = float(plan.starts[first] + plan.slack.to_limit[first])
    return by if math.isfinite(by) else _NOTHING
