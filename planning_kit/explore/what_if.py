"""A planner's questions put to a plan: what if we are late, slower, leaner, without this task, another day?

Each question becomes edits of the scenario and of the egress, checked as any edit is, and words that say what
was changed. The timing is then asked anew: nothing here computes a time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import partial

import pandas as pd

from planning_kit.explore.editing.dropping import drop_steps
from planning_kit.explore.editing.edits import close_routes, move_step, relax_gap, set_tethers
from planning_kit.explore.editing.naming import TABLE, TASK, Named
from planning_kit.explore.editing.stretching import stretch_steps
from planning_kit.explore.editing.swapping import swap_roles
from planning_kit.explore.editing.wanted import Asked, Wanted, read_wanted
from planning_kit.explore.retime.retiming import re_timed_as
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.text_table import TextTable
from planning_kit.inputs.times import gmt_label, pet_label
from planning_kit.plan.timed import Change, Outside, TimedPlan

CHANGE_COLUMNS = ["name", "kind", "change"]


def changes_table(changes: Iterable[Change]) -> pd.DataFrame:
    """Changes as a table: ``name`` of the what-if, ``kind`` and ``change`` in words."""
    rows = [(change.name, change.kind, change.words) for change in changes]
    return TextTable(rows, columns=CHANGE_COLUMNS)


def what_if(plan: TimedPlan, asked: Asked, name: str = "") -> TimedPlan:
    """The plan with something changed (see `planning_kit.front.Plan.what_if`)."""
    base = plan if plan.outside is None else plan.outside.base
    question = ask(base.scenario, base.egress, asked, name)
    if plan.outside is not None:
        _stop_if_past(plan.outside, question.scenario, question.egress)
    changed = re_timed_as(plan, TimedPlan.of(question.scenario, question.egress))
    return replace(changed, name=name or plan.name, history=(*plan.history, *question.changes))


def _stop_if_past(outside: Outside, scenario: Scenario, egress: datetime) -> None:
    """Raise `ScenarioError` where a what-if changes what has happened: egress, or steps that have begun."""
    faults, base = Faults(), outside.base
    if egress != base.egress:
        faults.add(TABLE, None, "egress", egress.isoformat(), "has happened; only what is to come can be "
                   "another. Ask the plan from before the outing")
    left = {step.step: step for step in scenario.records.steps}
    for name, state in outside.states.by_step.items():
        if not state.pieces:
            continue
        since = f"has begun at PET {pet_label(state.pieces[0][0])}"
        if name not in left:
            faults.add(TABLE, None, "drop", name, f"{since}: it cannot be dropped; plan.decide(skip=...) "
                       "leaves out the rest of a task")
        elif left[name].crew != state.step.crew:
            faults.add(TABLE, None, "swap", name, f"{since} by {state.step.crew}: only a task that has not "
                       "begun can change hands")
    faults.stop_if_any()


@dataclass
class Question:
    """A what-if on its way: the scenario and egress so far, and the words of what was changed."""

    scenario: Scenario
    egress: datetime
    name: str
    changes: list[Change]

    def edit(self, kind: str, words: str, edit: Callable[[Scenario], Scenario]) -> None:
        """Make one edit and say so."""
        self.scenario = edit(self.scenario)
        self.say(kind, words)

    def say(self, kind: str, words: str) -> None:
        """Note what was changed."""
        self.changes.append(Change(self.name, kind, words))


def ask(scenario: Scenario, leaving: datetime, asked: Asked, name: str = "") -> Question:
    """The changed scenario, its egress and what was changed.

    Raises one `ScenarioError` with every name that there is not and every number that makes no sense, and
    otherwise the faults of the changed scenario.
    """
    wanted = read_wanted(scenario.records, leaving, asked)
    question = Question(scenario, wanted.egress, name, [])
    _change_egress(question, wanted, leaving)
    _change_settings(question, wanted.settings)
    _change_steps(question, wanted)
    return question


def _change_egress(question: Question, wanted: Wanted, leaving: datetime) -> None:
    try:
        question.egress = wanted.egress + timedelta(minutes=wanted.slip_min)
    except OverflowError:
        raise ScenarioError.single("lies outside the years that can be planned", table=TABLE, column="egress",
                                   value=wanted.egress.isoformat()) from None
    if question.egress == leaving:
        return
    at = f"{question.egress:%Y-%m-%d} GMT {gmt_label(question.egress)}"
    by = (question.egress - leaving).total_seconds() / 60
    how = f"{abs(by):g} min {'later' if by > 0 else 'earlier'}, " if abs(by) < 1440 else ""
    question.say("egress", f"egress {how}at {at}")
    settings = question.scenario.settings
    for limit, words, is_past in (
        (settings.egress_earliest, "before the earliest egress", settings.egress_earliest is not None
         and question.egress < settings.egress_earliest),
        (settings.egress_latest, "after the latest egress", settings.egress_latest is not None
         and question.egress > settings.egress_latest),
    ):
        if is_past and limit is not None:
            at = f"{limit:%Y-%m-%d} GMT {gmt_label(limit)}"
            question.say("note", f"this lies {words} of the scenario, {at}")


def _change_settings(question: Question, settings: Mapping[str, object]) -> None:
    if settings:
        words = ", ".join(f"{key} = {_said(value)}" for key, value in settings.items())
        question.edit("settings", words, lambda scenario: scenario.with_settings(settings))


def _said(value: object) -> str:
    return "not given" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


def _change_steps(question: Question, wanted: Wanted) -> None:
    """Edits of tables in an order in which each finds what it names.

    Steps are dropped late, and routes closed last: work that is dropped needs no way.
    """
    if wanted.stretches:
        question.scenario = stretch_steps(question.scenario, wanted.stretches)
        for each in wanted.stretches:
            question.say("stretch", each.words)
    for gap, gap_changes in wanted.gaps:
        words = ", ".join(f"{column} {minutes:g} min" for column, minutes in gap_changes.items())
        question.edit("gap", f"gap {gap.words}: {words}",
                      partial(relax_gap, ends=gap.ends, changes=gap_changes))
    for step, after in wanted.moves:
        question.edit("move", f"{step} moved to just behind {after}",
                      partial(move_step, step=step, after=after))
    if wanted.swapped:
        question.edit("swap", f"EV1 and EV2 trade {', '.join(wanted.swapped)}",
                      lambda s: swap_roles(s, wanted.swapped))
    if wanted.tethers:
        lengths = ", ".join(f"{who} {metres:g} m" for who, metres in wanted.tethers.items())
        question.edit("tether", f"tether of {lengths}", lambda s: set_tethers(s, wanted.tethers))
    if wanted.dropped:
        _drop(question, wanted.dropped)
    if wanted.closed:
        pairs = ", ".join(" to ".join(sorted(pair)) for pair in wanted.closed)
        question.edit("route", f"route closed: {pairs}", lambda s: close_routes(s, set(wanted.closed)))


def _drop(question: Question, dropped: tuple[Named, ...]) -> None:
    steps = {step for each in dropped for step in each.steps}
    tasks = {each.id for each in dropped if each.kind == TASK}
    question.scenario, notes = drop_steps(question.scenario, steps, tasks)
    for each in dropped:
        count = f" ({len(each.steps)} step{'s' * (len(each.steps) != 1)})" if each.kind == TASK else ""
        question.say("drop", f"{each.kind} {each.id} dropped{count}")
    for note in notes:
        question.say("note", note)
