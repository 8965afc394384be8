"""What an outing leaves behind: the end of one is the beginning of the next.

Everything is looked up in what the plan knows already: custody, states, tethers, the steps of its log. For
an end at some minute the outing is re-timed as if it had been called so: what is under way is left then, and
both go home in good order (`planning_kit.explore.retime.going_home`). Neglected: time to let go of or stow
what is in hand, which goes inside with whoever has it, and what making safe moves. An actor's step under way
at that minute counts as not done.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, replace
from datetime import datetime
from math import isfinite
from pathlib import Path
from typing import NamedTuple

import pandas as pd

from planning_kit.changes.dropping import moved_by
from planning_kit.explore.retime.going_home import Home, home_of
from planning_kit.explore.retime.retiming import moment_asked, retime_plan
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.format import SUITED
from planning_kit.inputs.log import Actuals
from planning_kit.inputs.log_format import FINISHED, INGRESS, PARTLY, SKIPPED, STARTED, Event
from planning_kit.inputs.log_state import DONE, DROPPED, IN_PROGRESS, TO_DO
from planning_kit.inputs.procedure_records import TERMINATE, State
from planning_kit.inputs.records import INSIDE, Inhibit, Item, Records, Task
from planning_kit.inputs.shown_text import TextTable, one_line
from planning_kit.inputs.times import gmt_label, moment_at, number_label, pet_label, pet_min
from planning_kit.plan.custody import is_in, other_end
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan

END_COLUMNS = ["kind", "id", "title", "is", "place", "since_utc"]
_DONE = "100 % done"
_SOONEST_INSIDE_MIN = 0.1  # a log has both inside after PET 0


class ItemEnd(NamedTuple):
    """Where an item is: a place or ``inside``, directly in the bag ``in_bag``; where its other end is fixed.

    "" for no bag, and for a loose end; ``since`` (UTC), here and of a state: None is since before the outing.
    """

    item: Item
    place: str
    in_bag: str
    other_end: str
    since: datetime | None

    @property
    def is_outside(self) -> bool:
        """Whether it is left outside."""
        return self.place != INSIDE


class StateEnd(NamedTuple):
    """What a state is, and since when; what a step left half done was making of it ("": none was).

    Where there was such a step, ``since`` is its start: from then on it is not sure.
    """

    state: State
    value: str
    since: datetime | None
    on_way_to: str = ""

    @property
    def words(self) -> str:
        """What it is, as far as that is known."""
        on_way = f", or on the way to {self.on_way_to}: look first" if self.on_way_to else ""
        return f"{self.value}{on_way}"


class InhibitEnd(NamedTuple):
    """An inhibit that nobody has lifted, and when it was set (UTC).

    Not ``is_sure``: it was to be set by then, before a step that was not begun, and nobody said otherwise.
    """

    inhibit: Inhibit
    set_at: datetime
    is_sure: bool = True


class TaskEnd(NamedTuple):
    """How far a task has come: the share of its likely minutes that is done, and those still to do."""

    task: Task
    share: float
    left_min: float


@dataclass(frozen=True, repr=False)
class EndState:
    """All that an outing leaves behind, as its ``records`` name it.

    ``end_min`` (PET): both are inside; ``asked_min``: the minute at which it was ended, None for its own end.
    ``hooks``: the place of each tether's hook; ``left_min``: likely minutes still to do, by step; ``done``:
    the steps that are finished; ``again``: those of which something is done, and which are to be done again
    whole; ``begun``: those left half done; ``task_of``: the task of each; ``homes``: the ways home of an end
    that was asked for. ``records``: what was planned.
    """

    folder: Path
    records: Records
    pet_zero: datetime
    end_min: float
    items: tuple[ItemEnd, ...]
    hooks: Mapping[str, str]
    states: tuple[StateEnd, ...]
    inhibits: tuple[InhibitEnd, ...]
    tasks: tuple[TaskEnd, ...]
    left_min: Mapping[str, float]
    done: frozenset[str]
    again: frozenset[str]
    begun: frozenset[str]
    task_of: Mapping[str, str]
    asked_min: float | None = None
    homes: tuple[Home, ...] = ()

    @property
    def ended(self) -> datetime:
        """When both were inside (UTC)."""
        return moment_at(self.end_min, self.pet_zero)

    @property
    def frame(self) -> pd.DataFrame:
        """A row a thing: ``kind``, what it ``is`` in words, ``place``, ``since_utc`` (NaT: before)."""
        return _table(self._rows())

    @property
    def left(self) -> pd.DataFrame:
        """Of ``frame`` what the next outing must know: what is outside, was changed, or is still to do."""
        home = self.records.settings.airlock_place
        unsure = {each.state.state for each in self.states if each.on_way_to}
        return _table(row for row in self._rows() if (
            row[4] not in ("", home) or (row[0] == "state" and (row[5] or row[1] in unsure))
            or row[0] == "inhibit" or (row[0] == "task" and not str(row[3]).startswith(_DONE))))

    def _rows(self) -> Iterator[tuple[object, ...]]:
        titles = {place.place: place.title or place.place for place in self.records.places}
        sockets = {place.place for place in self.records.places if place.socket}
        for home in self.homes:
            first = one_line(home.make_safe) or "nothing to be done first"
            safe = f"makes {home.step} safe ({first}), " if home.step else ""
            inside = f"inside at {pet_label(home.inside_min, 'up')}" if isfinite(home.inside_min) else (
                "how long the way home takes is not known")
            words = f"at {pet_label(home.at_min)} {safe}goes home, {inside}"
            yield "way home", home.crew, "", words, "", None
        for item, place, bag, other, since in self.items:
            at = place if place != INSIDE else ""
            is_set = item.kind == "foothold" and at in sockets and not bag
            how = "in the socket" if is_set else "left outside"
            where = f"{how} at {titles.get(at, at)}" if at else INSIDE
            words = f"in {bag}, which is {where}" if bag else where
            yield item.kind, item.item, item.title, words, at, since
            if item.end2_at:
                words = f"other end fixed at {titles.get(other, other)}" if other else "other end loose"
                yield "cable end", item.item, item.title, words, other, since
        for crew, hook in self.hooks.items():
            yield "tether", crew, "", f"hooked at {titles.get(hook, hook)}", hook, None
        for end in self.states:
            yield "state", end.state.state, end.state.title, end.words, "", end.since
        for each, set_at, is_sure in self.inhibits:
            still = "still in force" if is_sure else "perhaps in force (it was to be set by then: ask)"
            words = f"{still}, held by {one_line(each.owner) or 'nobody named'}"
            yield "inhibit", each.inhibit, each.title, words, "", set_at
        for task, share, left_min in self.tasks:
            left = f", {number_label(left_min, 'up', 0)} min still to do"
            words = f"{number_label(100 * share, 'down', 0)} % done{left}" if share < 1 else _DONE
            yield "task", task.task, task.title, words, "", None

    def __repr__(self) -> str:
        out = sum(each.is_outside for each in self.items)
        todo = sum(task.left_min for task in self.tasks)
        return (f"<EndState of {one_line(self.records.settings.title)!r}: inside {gmt_label(self.ended)}, "
                f"{out} items outside, {number_label(todo, 'up', 0)} min of work left>")


def _table(rows: Iterable[tuple[object, ...]]) -> pd.DataFrame:
    frame = pd.DataFrame(list(rows), columns=END_COLUMNS)
    return TextTable(frame.astype({"since_utc": "datetime64[us, UTC]"}))


def end_state(plan: TimedPlan, minute: object = None) -> EndState:
    """What the outing leaves behind at its end, or if it is ended at ``minute`` (PET or UTC).

    Raises `ScenarioError` for a minute outside the outing, or before the now of a re-timed plan.
    """
    return _at_end(plan, frozenset()) if minute is None else ended(plan, minute)[1]


def ended(plan: TimedPlan, minute: object) -> tuple[TimedPlan, EndState]:
    """An outing that is ended at ``minute``: its plan then, and what it leaves. Raises as `end_state`."""
    at = moment_asked(minute, plan.pet_zero, "end_state", "minute")
    since = plan.now_min or 0.0
    if not since <= at <= plan.end_min:
        raise ScenarioError.single("is no minute at which this outing can still be ended, PET "
                                   f"{pet_label(since)} to {pet_label(plan.end_min)}", column="minute",
                                   value=minute)
    homes = tuple(home_of(plan, crew, at, TERMINATE) for crew in plan.travels)
    inside = max([at, *(home.inside_min for home in homes if isfinite(home.inside_min))])
    in_force = frozenset(hold.inhibit.inhibit for hold in plan.inhibit_holds
                         if hold.set_by_min <= at < hold.lift_after_min)
    # The way home has the hook moved along, to the airlock in the end.
    hooks = dict.fromkeys(plan.travels, plan.scenario.settings.airlock_place)
    then = _ended_at(plan, at, max(inside, _SOONEST_INSIDE_MIN))
    return then, replace(_at_end(then, in_force), asked_min=at, homes=homes, hooks=hooks)


def _ended_at(plan: TimedPlan, at: float, inside: float) -> TimedPlan:
    """The outing as it would be called if all goes on as planned until ``at``, and then home."""
    base, outside = plan.taken_outside, plan.outside
    if outside is not None and outside.states.inside_min is not None:
        return plan
    logged = outside.actuals if outside is not None else Actuals((), None)

    def called(event: str, minute: float, step: str = "", left: float | None = None) -> Event:
        return Event(row=0, event_id=f"{event} {step}", crew="", step=step, event=event, metabolic_w=None,
                     at=moment_at(minute, plan.pet_zero), remaining_min=left, note="")

    events = [*logged.events]
    for step in base.steps:
        name = step.step
        status = outside.states.by_step[name].status if outside is not None else TO_DO
        if status in (DONE, DROPPED) or name not in plan.network.steps:
            continue
        start, finish = plan.span(name)
        is_suited = bool({*step.people} & {*SUITED})
        if status != IN_PROGRESS and start > at - ROUNDING_MIN and finish > at + ROUNDING_MIN:
            events += [] if is_suited else [called(SKIPPED, at, name)]
            continue
        events += [] if status == IN_PROGRESS else [called(STARTED, min(start, at), name)]
        if finish <= at + ROUNDING_MIN:
            events.append(called(FINISHED, min(finish, at), name))
        else:
            is_left = is_suited and start < at - ROUNDING_MIN
            events.append(called(PARTLY, at, name, finish - at) if is_left else called(SKIPPED, at, name))
    events.append(called(INGRESS, inside))
    return retime_plan(base, replace(logged, events=tuple(events)), inside)


def _at_end(plan: TimedPlan, in_force: frozenset[str]) -> EndState:
    """``in_force``: inhibits that stood when the outing was ended."""
    records, base = plan.scenario.records, plan.taken_outside.scenario.records
    left, done = _left_of_steps(plan)
    finished = [step for step in plan.steps if step.step in done]
    items = []
    for item in records.hardware:
        last = plan.tracked_custody.endings[item.item][-1]
        place = INSIDE if is_in(records, last.holder) else last.holder
        fixed = "" if place == INSIDE and item.end2_at != INSIDE else other_end(records, finished, item)
        items.append(ItemEnd(item, place, last.in_bag, fixed,
                             moment_at(last.from_min, plan.pet_zero) if last.by_step else None))
    logged = {} if plan.outside is None else plan.outside.states.by_step
    on_way = {entry.state: (entry.value, logged[step.step].pieces[0][0]) for step in base.steps
              for entry in step.sets
              if step.step in logged and logged[step.step].pieces and step.step not in done}
    states = []
    for *_, each in plan.state_spells.values():
        to, begun_min = on_way.get(each.state.state, ("", 0.0))
        is_sure = to in ("", each.value)
        since = moment_at(each.from_min if is_sure else begun_min, plan.pet_zero)
        states.append(StateEnd(each.state, each.value, None if is_sure and not each.by_step else since,
                               "" if is_sure else to))
    begun = frozenset(step.step for step in base.steps if step.step not in done
                      and left[step.step] not in (0.0, step.minutes_likely))
    again = _to_be_repeated(base, begun, done, {each.item.item for each in items if not each.is_outside})
    return EndState(
        plan.scenario.folder, base, plan.pet_zero, plan.end_min, tuple(items),
        {crew: tether.lies[-1].line[0] for crew, tether in plan.tracked_tethers.items()}, tuple(states),
        tuple(_still_held(plan, base, done, in_force)), tuple(_tasks(base, left, done, again)),
        left, done, again, begun, {step.step: step.task for step in base.steps})


def _left_of_steps(plan: TimedPlan) -> tuple[dict[str, float], frozenset[str]]:
    """Likely minutes still to do of each step that the crew took outside, and the steps that get done."""
    if plan.outside is None:
        return {step.step: 0.0 for step in plan.steps}, frozenset(plan.network.steps)
    base, states = plan.taken_outside, plan.outside.states
    back = {base.steps[base.position(name)].task for name in states.put_back}
    left, done = {}, set()
    for step, state in zip(base.steps, states.by_step.values(), strict=True):
        broken_off = state.given_up_min
        is_done = step.step in plan.network.steps and step.task not in back and broken_off is None
        # Of a task that was given up and put back nothing is done, whatever was.
        left[step.step] = 0.0 if is_done else step.minutes_likely if step.task in back else (
            state.left_to_do_min(plan.outside.now_min) if broken_off is None else broken_off)
        done |= {step.step} if is_done else set()
    return left, frozenset(done)


def _still_held(plan: TimedPlan, base: Records, done: frozenset[str],
                in_force: frozenset[str]) -> Iterator[InhibitEnd]:
    """Inhibits that were set, before or in this outing, and whose last step did not get done."""
    states = {} if plan.outside is None else plan.outside.states.by_step
    over = None if plan.outside is None else plan.outside.states.inside_min
    skips = () if plan.outside is None else (each for each in plan.outside.actuals.events
                                             if each.event == SKIPPED)
    skipped = {each.step: pet_min(each.at, plan.pet_zero) for each in skips}
    for each in base.inhibits:
        is_sure = True
        begun = states[each.from_step].pieces if each.from_step in states else []
        set_min = begun[0][0] - each.lead_min if begun else None
        if each.set_at != "":
            set_min = min(each.set_already_min(plan.pet_zero), 0.0 if set_min is None else set_min)
        elif set_min is None and each.inhibit in in_force:
            set_min = plan.taken_outside.span(each.from_step)[0] - each.lead_min
        elif set_min is None and over is not None and each.from_step in plan.taken_outside.network.steps:
            planned = plan.taken_outside.span(each.from_step)[0] - each.lead_min
            if planned < over and skipped.get(each.from_step, over) > planned:
                set_min, is_sure = planned, False
        if set_min is not None and each.until_step not in done:
            yield InhibitEnd(each, moment_at(set_min, plan.pet_zero), is_sure)


_HELPERS = ("tool", "bag", "foothold")  # what one of these was used for stays done when it comes inside


def _to_be_repeated(base: Records, half: frozenset[str], done: frozenset[str],
                    inside: Set[str]) -> frozenset[str]:
    """Steps with something done that must be done again whole, as what they moved came back inside.

    One that moves a hook; one whose items are all inside; in a task that is not done, one that moved an item
    which came back. Where that item is no mere helper: every step that touched it, and, in doubt, every later
    one of the task but those that moved something which stayed outside.
    """
    again, steps = set[str](), {step.step: step for step in base.steps}
    begun = {name: step for name, step in steps.items() if name in done | half}
    moved = {name: moved_by(base, {name}) for name in begun}
    items = {each.item: each for each in base.hardware}
    from_inside = {name for name, item in items.items() if is_inside(base, items, item.at, {})}
    for task in base.tasks:
        own = {name: step for name, step in begun.items() if step.task == task.task}
        back = set[str]()
        to_do = [step for step in base.steps if step.task == task.task and step.step not in done]
        if to_do:
            needed = {item for step in to_do if not is_in(base, step.place) for item in step.touches}
            back = set[str]().union(*(moved[name] for name in own)) & inside & (from_inside | needed)
        first = {name for name, step in own.items() if step.hooks or moved[name] & back or (
            moved[name] and moved[name] <= inside)}
        work = {item for item in back if items[item].kind not in _HELPERS}
        lost = {name for name, step in own.items() if step.touches & work}
        is_after = False
        for name in own:
            is_after |= name in lost
            if is_after and not (moved[name] and not moved[name] & inside):
                lost.add(name)
        again |= first | lost
    return frozenset(again)


def is_inside(records: Records, items: Mapping[str, Item], where: str, moved: Mapping[str, str]) -> bool:
    """Whether what is at ``where`` at PET 0 is inside, by itself or in what it is packed in.

    ``moved``: items that are elsewhere than their row in ``items`` says.
    """
    for _ in items:  # no more turns than items
        if where not in items:
            break
        where = moved.get(where, items[where].at)
    return is_in(records, where)


def _tasks(base: Records, left: Mapping[str, float], done: frozenset[str],
           again: frozenset[str]) -> Iterator[TaskEnd]:
    for task in base.tasks:
        own = [step for step in base.steps if step.task == task.task]
        is_done = all(step.step in done for step in own)
        likely = sum(step.minutes_likely for step in own)
        still = sum(step.minutes_likely if step.step in again and not is_done else left[step.step]
                    for step in own)
        if own:  # of a task without steps nothing is known
            yield TaskEnd(task, 1.0 if is_done else 1.0 - min(1.0, still / likely) if likely else 0.0, still)
