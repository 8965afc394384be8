"""One task put on another outing, or taken off: what comes of it, all outings after those two included."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar

import pandas as pd

from planning_kit.campaign.assigning import Assigning
from planning_kit.campaign.assignment import NEEDS
from planning_kit.campaign.campaign import TimedCampaign, with_moved
from planning_kit.campaign.check_campaign import campaign_findings
from planning_kit.campaign.end_state import EndState, end_state
from planning_kit.campaign.left_behind import all_lost
from planning_kit.campaign.open_work import question_of
from planning_kit.campaign.remembered import as_it_stood_words, carried_again, dropped, merged_into
from planning_kit.campaign.standing import chances_of_tasks
from planning_kit.changes.change import apply
from planning_kit.explore.propose.order_search import Judge
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.times import pet_label
from planning_kit.judge.all_checks import new_findings
from planning_kit.judge.findings import STOP
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan

MOVED_COLUMNS = ["outing", "end_min", "new_end_min", "p_done", "new_p_done"]
C = TypeVar("C", bound=TimedCampaign)


def lost_words(outing: str, lines: Sequence[str]) -> str:
    """What an outing loses beside its tasks, in words."""
    return f"beside its tasks {outing} changes so: {'; '.join(lines)}"


@dataclass(frozen=True, eq=False, repr=False)
class Moved(Generic[C]):
    """One task put on another outing, as it comes out. ``why_not`` is empty where that holds.

    ``campaign``: the new one (where it does not hold: as before); ``table``: both outings before and after;
    ``lost``: by outing what it loses beside the task, and what the task has lost that comes back (see
    `planning_kit.campaign.left_behind`).
    """

    task: str
    outing: str
    why_not: str
    before: C
    campaign: C
    lost: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @property
    def changed(self) -> Mapping[str, Scenario]:
        """The scenario of each outing that says something else with it."""
        return {name: self.campaign.scenario(name) for name in self.campaign.ids
                if self.campaign.scenario(name) != self.before.scenario(name)}

    @property
    def table(self) -> pd.DataFrame:
        """A row an outing that changes: its end, and the chance of the task, before and after."""
        pairs = [(name, self.before.timed_plan(name), self.campaign.timed_plan(name))
                 for name in self.campaign.ids]
        return TextTable(
            [(name, *(round(plan.end_min, 1) for plan in plans),
              *(chances_of_tasks(plan).get(self.task, math.nan) for plan in plans))
             for name, *plans in pairs if plans[0] is not plans[1]], columns=MOVED_COLUMNS)

    @property
    def ends(self) -> str:
        """When both are inside on the outings that change, before and after, in words."""
        return "; ".join(f"{name} ends at PET {now}, " + (f"not {then}" if now != then else "as before")
                         for name, *both, _, _ in self.table.itertuples(index=False, name=None)
                         for then, now in [[pet_label(minute, "up") for minute in both]])

    @property
    def words(self) -> str:
        """What comes of it, in a sentence."""
        where = f"on {self.outing}" if self.outing else "off"
        if self.why_not:
            return f"{self.task} does not go {where}: {self.why_not}"
        if not self.ends:
            return f"{self.task} is {where if self.outing else 'on no outing'} by now: nothing changes"
        required = self.campaign.tasks[self.task].need == NEEDS[0] and not self.outing
        beside = "; it is required, and no outing does it then" if required else ""
        told = "; ".join([self.ends, *(lost_words(*each) for each in self.lost.items())])
        return f"{self.task} goes {where}: {told}{beside}"

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.words}>"


def moved(campaign: C, task: str, outing: str, question: Assigning | None = None) -> Moved[C]:
    """A task taken off the outing that has it and put on another, on the present dates; "" takes it off.

    Outings after those two begin with what is left then: a new stop of theirs is told, too. One that comes
    back stands as it did before it left, or in another order; where that breaks what neither broke before, it
    does not come: what protects it is no room to be won. Only where what it names is no more it comes as the
    backlog says, and ``lost`` tells. ``question``: that of this campaign, which remembers what one move asks
    after another. Raises `ScenarioError` for a task or an outing that there is not, and for an outing with a
    log.
    """
    question = question or question_of(campaign)
    for column, value, able in (("task", task, [*question.tasks]),
                                 ("outing", outing, [*question.outings, ""])):
        if value not in able:
            raise ScenarioError.single(
                f"is not one that is open; these are: {', '.join(filter(None, able))}", table="moved",
                column=column, value=value)
    dates = {name: each.present for name, each in question.outings.items()}
    people = {name: each.people for name, each in question.outings.items()}
    has = {name: campaign.planned(name) for name in question.outings}
    last = [each for name in has for each in has[name] if task in question.tasks[each].after]
    why = question.why_not(task, outing, dates, people, has) if outing else (
        f"{', '.join(last)} comes after it" if last else "")
    after, ends = campaign, [] if question.begins is None else [question.begins]
    alone = dict[str, tuple[Scenario, Scenario]]()
    for name, this in question.outings.items() if not why else ():
        made = _outing_then(question, name, task, outing, ends)
        plan, why = made.plan, made.why_not
        if plan is not this.plan:
            why = why or "; ".join(f"{name} has a new stop: {words}" for words in _new_stops(made)[:1])
            after, alone[name] = with_moved(after, name, plan, made.alone, question.rows), made.alone
        if why:
            break
        if ends or plan is not this.plan:
            ends.append(end_state(plan))
    known = {} if why else stops_between(campaign)
    new = [] if why else [
        f"a {'worse' if kind in known else 'new'} stop between the outings: {words}"
        for kind, (words, margin) in stops_between(after).items()
        if kind not in known or margin < known[kind][1] - ROUNDING_MIN]
    why = why or "".join(new[:1])
    lost = {} if why else {name: lines for name in alone if (lines := all_lost(
        question.known(name), (campaign.scenario(name), after.scenario(name)), alone[name], question.rows))}
    return Moved(task, outing, why, campaign, campaign if why else after, lost)


@dataclass(frozen=True, eq=False)
class _Outing:
    """An outing after the move. ``judged_by``: the plans whose stops are no new ones.

    ``alone``: it before and after, without what others leave (`planning_kit.campaign.remembered`).
    """

    plan: TimedPlan
    judged_by: tuple[TimedPlan, ...]
    alone: tuple[Scenario, Scenario]
    why_not: str = ""


def _outing_then(question: Assigning, name: str, task: str, outing: str, ends: Sequence[EndState]) -> _Outing:
    this, known = question.outings[name].plan, question.known(name)
    has, alone = [each.task for each in this.scenario.records.tasks], known.uncarried(this.scenario)
    if name == outing and task not in has:
        stood = _as_it_stood(question, name, task, ends)
        if stood and (not stood.why_not or stood.plan is this):
            return stood
        begins = stood.alone[1] if stood else alone  # another order may hold, with all that protects it
        carried = carried_again(alone, begins, this.scenario, ends, question.tasks)
        on = question.on(name, question.outings[name].present, (),
                         None if carried == this.scenario else carried)
        fitted = on.fit([*(each for each in has if each in question.rows), task])
        why = "; ".join(each if other == task else f"{other}: {each}"
                        for other, each in fitted.refused.items())
        return stood if stood and why else _Outing(
            fitted.plan, (this,), (alone, merged_into(fitted.plan.scenario, carried, begins)), why)
    then = alone
    if name != outing and task in has:
        then = known.as_before(apply(alone, dropped(alone, [task])), task)
    scenario = carried_again(alone, then, this.scenario, ends, question.tasks)
    return _Outing(this if scenario == this.scenario else TimedPlan.of(scenario), (this,), (alone, then))


def _new_stops(made: _Outing) -> list[str]:
    """The stops of an outing that none of those has that it is judged by."""
    found = [[str(words) for words in new_findings(each, made.plan).query(f"severity == '{STOP}'")["message"]]
             for each in made.judged_by]
    return [words for words in found[0] if all(words in others for others in found)]


def _as_it_stood(question: Assigning, name: str, task: str, ends: Sequence[EndState]) -> _Outing | None:
    """An outing with a task as it stood there before it left, or why not; None: no scenario can say that."""
    this, known = question.outings[name], question.known(name)
    alone, full = known.uncarried(this.plan.scenario), known.stood(task)
    back = known.again(alone, [task])
    if full is None or back is alone:
        return None
    scenario = carried_again(alone, back, this.plan.scenario, ends, question.tasks)
    try:
        judges, now = (TimedPlan.of(full), this.plan), TimedPlan.of(scenario)
    except ScenarioError as error:
        return _Outing(this.plan, (this.plan,), (alone, alone), as_it_stood_words(error.words))
    found = [[str(row["message"]) for row in Judge(
        scenario=scenario, records=scenario.records, current=each, limit_min=this.limit_min).blocking(now)]
        for each in judges]
    why = [as_it_stood_words(words) for words in found[0] if words in found[1]]
    return _Outing(now, judges, (alone, back), "".join(why[:1]))


def stops_between(campaign: TimedCampaign) -> dict[tuple[str, str, str], tuple[str, float]]:
    """What is wrong between the outings, in words, and its margin; what no outing has is told as left out."""
    found = campaign_findings(campaign).query(f"severity == '{STOP}' and rule != 'not-planned'")
    return {(row["outing"], row["rule"], row["about"]): (
        f"{row['outing'] or 'backlog'}: {row['message']}", row["margin"]) for row in found.to_dict("records")}
