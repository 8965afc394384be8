"""Where a campaign stands, as tables: the board, threads, its dates."""

import math
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd

from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.open_work import done_on
from planning_kit.explore.odds.odds import odds
from planning_kit.explore.odds.odds_tables import REQUIRED_INSIDE
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.times import pet_min
from planning_kit.judge.all_checks import findings_of
from planning_kit.judge.findings import STOP
from planning_kit.plan.timed import TimedPlan

ODDS_SAMPLES = 500
BOARD_COLUMNS = ["task", "title", "need", "value", "outing", "date", "status", "start_min", "finish_min",
                 "p_done", "margin_min"]
THREAD_COLUMNS = ["outing", "kind", "is", "from_utc", "until_utc", "from_min", "until_min", "by_step"]
THREADS_COLUMNS = ["kind", "name", "title", "outings"]
DATES_COLUMNS = ["kind", "outing", "about", "first", "last"]
MAY_BE, IS_ON, REST, MUST_BY = "may be", "is", "rest", "must be done by"
NOT_LIFTED = "in force, nobody has lifted it"
MAYBE_IN_FORCE = "perhaps in force, to be set by then: ask"
PLANNED, DONE, OPEN = "planned", "done", "on no outing"
_CHANCES: WeakKeyDictionary[TimedPlan, dict[str, float]] = WeakKeyDictionary()  # an edit leaves the others


def chances_of_tasks(plan: TimedPlan) -> dict[str, float]:
    """By task the chance that it is done, with both inside by the hard limit and all required work done.

    NaN: not known.
    """
    if plan not in _CHANCES:
        found = odds(plan, ODDS_SAMPLES)
        inside = found.events[REQUIRED_INSIDE]  # not only in time if they went home straight after the task
        _CHANCES[plan] = {task: float(np.mean(rows * inside)) for task, rows in found.tasks_done.items()}
    return _CHANCES[plan]


@dataclass(frozen=True)
class RoomLeft:
    """What an outing has left: ``free_min`` to its planned limit, the least chance of its tasks, its stops.

    ``p_least`` is NaN where it has none of the backlog, or it is not known.
    """

    free_min: float
    p_least: float
    stops: int


def room_left(plan: TimedPlan, tasks: Collection[str]) -> RoomLeft:
    """The same of a plan with these tasks of the backlog."""
    chances = chances_of_tasks(plan) if tasks else {}
    return RoomLeft(plan.scenario.settings.limits.planned_min - plan.end_min,
                    float(np.min([chances.get(task, np.nan) for task in tasks])) if tasks else np.nan,
                    stops_in(plan))


def stops_in(plan: TimedPlan) -> int:
    """How many stops a plan has by itself."""
    return int((findings_of(plan)["severity"] == STOP).sum())


def board_table(campaign: TimedCampaign) -> pd.DataFrame:
    """A row a task of the backlog and outing that has it, the outing "" where none has.

    ``start_min``, ``finish_min`` (PET); ``p_done``: the chance that the outing does it and is inside by its
    hard limit with all required work done, from 500 samples; ``margin_min``: the least minutes that a start
    of it can slip until the hard limit is missed or a window is jumped.
    """
    rows = []
    has = {name: campaign.planned(name) for name in campaign.ids}
    for task in campaign.source.backlog:
        head = (task.task, task.title, task.need, task.value)
        names = [name for name in campaign.ids if task.task in has[name]]
        status = DONE if task.share_done >= 1 else OPEN
        rows += [(*head, name, *_on_outing(campaign, name, task.task)) for name in names] or [
            (*head, "", "", status, *(np.nan,) * 3, np.nan)]
    return TextTable(rows, columns=BOARD_COLUMNS)


def _on_outing(campaign: TimedCampaign, name: str, task: str) -> tuple[Any, ...]:
    plan = campaign.timed_plan(name)
    steps = [number for number, step in enumerate(plan.steps) if step.task == task]
    has_gone = campaign.has_log(name)
    if has_gone and task not in done_on(campaign, name):
        return campaign.date_of(name).isoformat(), "left undone", np.nan, np.nan, 0.0, np.nan
    slack = [float(each[number]) for number in steps for each in (plan.slack.to_limit, plan.slack.to_window)]
    p_done = float("nan") if not steps else 1.0 if _is_past(plan, steps) else chances_of_tasks(plan).get(task)
    return (campaign.date_of(name).isoformat(), DONE if steps and _is_past(plan, steps) else PLANNED,
            float(plan.starts[steps].min()) if steps else np.nan,
            float(plan.finishes[steps].max()) if steps else np.nan, p_done,
            float(np.floor(np.nanmin(slack) * 10) / 10) if np.isfinite(slack).any() else np.nan)


def _is_past(plan: TimedPlan, steps: list[int]) -> bool:
    return plan.now_min is not None and bool(plan.finishes[steps].max() <= plan.now_min)


def threads_table(campaign: TimedCampaign) -> pd.DataFrame:
    """What can be followed over the outings: a row an item, state or inhibit, with the outings that name it.
    """
    found = dict[tuple[str, str], tuple[str, list[str]]]()
    for outing in campaign.ids:
        for key, title in _names(campaign, outing).items():
            found.setdefault(key, (title, []))[1].append(outing)
    return TextTable([(*key, title, " ".join(outings)) for key, (title, outings) in found.items()],
                     columns=THREADS_COLUMNS)


def _names(campaign: TimedCampaign, outing: str) -> dict[tuple[str, str], str]:
    """The titles of what one outing names, by kind and name."""
    records = campaign.scenario(outing).records
    return {**{("item", each.item): each.title for each in records.hardware},
            **{("state", each.state): each.title for each in records.states},
            **{("inhibit", each.inhibit): each.title for each in records.inhibits}}


def thread_table(campaign: TimedCampaign, name: str) -> pd.DataFrame:
    """Where an item is, what a state is or when an inhibit is in force, over all outings: a row a stretch.

    ``is``: the holder (with the bag), the value, or in force; no row of an inhibit that none sets. Raises
    `ScenarioError` for what no outing has.
    """
    rows = [row for outing in campaign.ids for row in _stretches(campaign, outing, str(name))]
    if not rows and name not in list(threads_table(campaign)["name"]):
        raise ScenarioError.single("is no item, state or inhibit of any outing", table="thread",
                                   column="name", value=name)
    return TextTable(rows, columns=THREAD_COLUMNS)


def left_before(campaign: TimedCampaign, outing: str, kind: str, name: str) -> str:
    """What the outings before one leave an item, state or inhibit as, in words; "": none has any of it."""
    before = campaign.ids[:campaign.ids.index(outing)]
    by = [each for each in before if (kind, name) in _names(campaign, each)]
    if not by:
        return ""
    left = campaign.left_after(before[-1])
    if kind == "state":
        said = next((each.words for each in left.states if each.state.state == name), "")
    elif kind == "inhibit":
        held = next((each for each in left.inhibits if each.inhibit.inhibit == name), None)
        said = "" if held is None else MAYBE_IN_FORCE if not held.is_sure else (
            f"in force since {held.set_at:%Y-%m-%d %H:%M} UTC, and nobody has lifted it")
    else:
        item = next((each for each in left.items if each.item.item == name), None)
        said = "" if item is None else f"{'at ' * item.is_outside}{item.place}" + (
            f" in {item.in_bag}" if item.in_bag else "")
    return f"{by[-1]} leaves it {said}" if said else ""


def _stretches(campaign: TimedCampaign, outing: str, name: str) -> Iterator[tuple[Any, ...]]:
    plan = campaign.timed_plan(outing)
    held = [(f"{each.holder} in {each.in_bag}" if each.in_bag else each.holder, each.from_min, each.until_min,
             each.by_step) for each in plan.tracked_custody.holdings if each.item == name]
    spells = [(each.value, each.from_min, each.until_min, each.by_step)
              for each in plan.state_spells.get(name, ())]
    # What a step left half done was making of it is not sure from then on.
    for end in campaign.end_state(outing).states if spells else ():
        if end.state.state == name and end.on_way_to and end.since is not None:
            value, first, until, by_step = spells.pop()
            begun_min = max(first, pet_min(end.since, plan.pet_zero))
            spells += [(value, first, begun_min, by_step)] if begun_min > first else []
            spells.append((end.words, begun_min, until, ""))
    holds = _in_force(campaign, outing, name)
    for kind, stretches in (("item", held), ("state", spells), ("inhibit", holds)):
        for what, first, last, step in stretches:
            ends = (plan.pet_zero + timedelta(minutes=float(each)) for each in (first, last))
            yield outing, kind, what, *map(pd.Timestamp, ends), first, last, step


def _in_force(campaign: TimedCampaign, outing: str, name: str) -> list[tuple[str, float, float, str]]:
    """When an inhibit is in force; one that nobody has lifted, or whose steps a log left out, too."""
    plan, ends = campaign.timed_plan(outing), campaign.end_state(outing).inhibits
    left = next((each for each in ends if each.inhibit.inhibit == name), None)
    if left is not None:
        words = NOT_LIFTED if left.is_sure else MAYBE_IN_FORCE
        return [(words, pet_min(left.set_at, plan.pet_zero), plan.end_min, "")]
    holds = [("in force", hold.set_by_min, hold.lift_after_min, "")
             for hold in plan.inhibit_holds if hold.inhibit.inhibit == name]
    states = {} if plan.outside is None else plan.outside.states.by_step
    for each in plan.taken_outside.scenario.records.inhibits if not holds else ():
        pieces = states[each.from_step].pieces if each.from_step in states else []
        is_planned = each.from_step in plan.network.steps
        begun = pieces[0][0] if pieces else plan.span(each.from_step)[0] if is_planned else math.inf
        set_min = min(begun - each.lead_min, each.set_already_min(plan.pet_zero))
        if each.inhibit == name and math.isfinite(set_min):
            is_lifted = each.until_step in plan.network.steps
            holds.append(("in force", set_min, plan.span(each.until_step)[1], "") if is_lifted else
                         ("in force, and no step left lifts it", set_min, plan.end_min, ""))
    return holds


def dates_table(campaign: TimedCampaign) -> pd.DataFrame:
    """The dates of all outings, UTC, a row a span from ``first`` to ``last``, both counted.

    ``kind``: the dates that its PET 0 may be on, those that it is on (to that on which both are inside), days
    of rest after it, and the last date of each open task (``about``) with the outing that has it by now.
    """
    rows, settings, day = list[tuple[Any, ...]](), campaign.source.settings, timedelta(days=1)
    rest = math.ceil(settings.least_days_between) - 1
    has = {task: name for name in reversed(campaign.ids) for task in (
        done_on(campaign, name) if campaign.has_log(name) else campaign.planned(name))}
    for name, outing in campaign.source.outings.items():
        over = campaign.end_state(name).ended.date()
        rows += [(MAY_BE, name, "", outing.earliest, outing.latest),
                 (IS_ON, name, "", campaign.date_of(name), over)]
        if rest > 0 and name != campaign.ids[-1]:
            rows.append((REST, name, "", over + day, over + rest * day))
    rows += [(MUST_BY, has.get(task.task, ""), task.task, task.must_by, task.must_by)
             for task in campaign.source.backlog if task.must_by and task.share_done < 1
             and not (task.task in has and campaign.has_log(has[task.task]))]
    return TextTable(rows, columns=DATES_COLUMNS)
