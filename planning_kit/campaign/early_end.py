"""What it costs to end an outing early: the work left for later, and the outings to come."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Any, NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
import pandas as pd

from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.check_campaign import campaign_findings
from planning_kit.campaign.end_state import ended
from planning_kit.inputs.faults import ScenarioError, is_number
from planning_kit.inputs.input_changes import compare_inputs
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import TextTable, one_line
from planning_kit.judge.all_checks import new_findings
from planning_kit.judge.findings import CONCERN, FINDING_COLUMNS, STOP
from planning_kit.plan.network import ROUNDING_MIN, grouped
from planning_kit.plan.timed import TimedPlan

EARLY_COLUMNS = ["minute", "tasks_left", "value_left", "required_left", "minutes_left"]
_AGAIN: WeakKeyDictionary[TimedPlan, dict[bytes, frozenset[str]]] = WeakKeyDictionary()


def early_end_table(campaign: TimedCampaign, outing: str, every_min: float = 5.0) -> pd.DataFrame:
    """What would be left for later if an outing's work ended at each minute of PET, a row every so many.

    Tasks of the backlog that are not over by then, with their value, and the likely minutes of their steps
    that are not over, or are to be done again as what they moved comes back inside (`EndState.again`). One
    that is under way counts whole, as if nothing of it were kept, so that it is never less than the end state
    says. Making safe and the way home are not in it (see ``end_state``). Raises `ScenarioError`, also for an
    outing with a log: of that only what it really did counts.
    """
    if not is_number(every_min) or not 0.5 <= every_min <= 1440:
        raise ScenarioError.single("must be minutes, 0.5 to 1440", table="early_end", column="every_min",
                                   value=every_min)
    end_min = campaign.timed_plan(outing).end_min
    return left_if_ended(campaign, outing, np.arange(0.0, end_min + every_min, every_min))


def left_if_ended(campaign: TimedCampaign, outing: str, minutes: Iterable[float]) -> pd.DataFrame:
    """The same at these minutes (PET). Raises `ScenarioError` for an outing with a log."""
    plan, tasks = campaign.timed_plan(outing), campaign.tasks
    if plan.outside is not None:
        raise ScenarioError.single("has a log, so that it is under way or over: ask what it leaves by "
                                   "campaign.end_state(outing)", table="early_end", column="outing",
                                   value=outing)
    own = grouped((step.task, (step.step, float(plan.finishes[number]), step.minutes_likely))
                  for number, step in enumerate(plan.steps) if step.task in tasks)
    rows = []
    for minute in map(float, minutes):
        names = [task for task, steps in own.items() if any(over > minute for _, over, _ in steps)]
        left = [each for task in names for each in own[task]]
        again = _again(plan, minute) if any(over <= minute for _, over, _ in left) else frozenset()
        rows.append((minute, " ".join(names), sum(tasks[task].value for task in names),
                     sum(tasks[task].need == "required" for task in names),
                     sum(likely for step, over, likely in left if over > minute or step in again)))
    return TextTable(rows, columns=EARLY_COLUMNS)


def _again(plan: TimedPlan, minute: float) -> frozenset[str]:
    """The steps to be done again after an end at a minute: the same as long as no step begins or ends."""
    known = _AGAIN.setdefault(plan, {})
    key = np.packbits([plan.starts <= minute - ROUNDING_MIN,
                       plan.finishes <= minute + ROUNDING_MIN]).tobytes()
    if key not in known:
        known[key] = ended(plan, min(minute, plan.end_min))[1].again
    return known[key]


class Onward(NamedTuple):
    """A campaign in which each outing after one begins with what those before leave.

    ``stopped_at``: the outing that has no plan then ("": none), as ``why`` says; it and those after it stand
    as they were.
    """

    campaign: TimedCampaign
    stopped_at: str = ""
    why: str = ""


def onward(campaign: TimedCampaign, outing: str, minute: float | None = None) -> Onward:
    """The campaign with an outing ended at ``minute`` (PET; None: at its own end). Those with a log stay."""
    then = campaign
    if minute is not None:
        plan, end = ended(campaign.timed_plan(outing), minute)
        then = replace(campaign, known={**campaign.known, outing: plan}, ends={**campaign.ends, outing: end})
    before = outing
    for name in campaign.ids[campaign.ids.index(outing) + 1:]:
        if not campaign.has_log(name):
            try:
                scenario = then.next_scenario(then.end_state(before), name)
                following = then.with_scenario(name, scenario)
                if scenario == then.scenario(name):
                    following.known[name] = then.timed_plan(name)
                following.timed_plan(name)
            except ScenarioError as error:
                return Onward(then, name, error.words)
            then = following
        before = name
    return Onward(then)


def new_over_outings(now: Onward, then: Onward, plans_of: Sequence[str]) -> Iterator[dict[Any, Any]]:
    """New stops and concerns: between all outings, and of the plans of some of them; rows with ``outing``.

    Of outings that have no plan in one of the two, and those after them, nothing is told.
    """
    ids = now.campaign.ids
    upto = min((ids.index(each.stopped_at) for each in (now, then) if each.stopped_at), default=len(ids))
    old, new = (campaign_findings(each.campaign) for each in (now, then))
    for name in ("", *ids[:upto]):
        a, b = (each[each["outing"] == name][FINDING_COLUMNS] for each in (old, new))
        found = [new_findings(a, b)]
        if name in plans_of:
            found.append(new_findings(now.campaign.timed_plan(name), then.campaign.timed_plan(name)))
        yield from ({**row, "outing": name} for each in found for row in each.to_dict("records")
                    if row["severity"] in (STOP, CONCERN))


def begins_otherwise(base: Scenario, planned: Scenario, early: Scenario) -> list[str]:
    """What an outing, ``base``, begins with otherwise after an early end than after the planned one.

    With what no table of it can say, and what of that falls away.
    """
    notes = []
    for each in (planned, early):
        cells = {*map(one_line, compare_inputs(base.checked, each.checked)["words"])}
        notes.append([words for words in each.told if words not in cells])
    said = [*map(one_line, compare_inputs(planned.checked, early.checked)["words"])]
    said += [words for words in notes[1] if words not in notes[0]]
    return said + [f"no longer: {words}" for words in notes[0] if words not in notes[1]]
