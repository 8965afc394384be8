"""What is still to do in a campaign, as a question: open tasks as rows, outings that nobody has begun."""

import math
from datetime import date, datetime, timedelta
from fractions import Fraction

from planning_kit.campaign.assigning import Assigning, OpenOuting, OpenTask, days_told, span_of
from planning_kit.campaign.assignment import NEEDS
from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.carrying import left_by, rest_of
from planning_kit.campaign.end_state import EndState
from planning_kit.campaign.put_in import TaskRows, cells_of
from planning_kit.inputs.campaign_records import BacklogTask
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.records import BOTH, ItemMove, Step

_MOST_DATES = 60


def question_of(campaign: TimedCampaign) -> Assigning:
    """What `assign` asks: what no outing has done, on outings without a log.

    An outing with a log has what it has done, and what its plan still does; all else of it is open again.
    Raises `ScenarioError` where an outing has no plan, or too many dates to be tried.
    """
    done, names, ends = dict[str, date](), list[str](), list[EndState]()
    for name in campaign.ids:
        if campaign.has_log(name):
            ends.append(campaign.end_state(name))
            for task in done_on(campaign, name):
                span = span_of(campaign.timed_plan(name), task)
                done[task] = span[1].date() if span else campaign.date_of(name)
        else:
            names.append(name)
    done |= {task.task: date.min for task in campaign.source.backlog if task.share_done >= 1}
    settings, last = campaign.source.settings, _last_end(campaign)
    between = math.ceil(settings.least_days_between)
    outings = {name: _open_outing(campaign, name, last, between)
               for name in names}
    faults = Faults()
    for name, outing in outings.items():
        if not 0 < len(outing.dates) <= _MOST_DATES:
            faults.add("campaign.toml", None, f"outings.{name}.latest", campaign.source.outings[name].latest,
                       f"leaves {name} {len(outing.dates)} dates to try; 1 to {_MOST_DATES} can be"
                       + (f", none before {days_told(between)} after the last one, over on "
                          f"{last:%Y-%m-%d %H:%M}"
                          if last else ""))
        behind = next(step for step in outing.plan.scenario.records.steps if step.step == outing.behind)
        if behind.task in campaign.tasks and campaign.source.outings[name].work_after:
            faults.add("campaign.toml", None, f"outings.{name}.work_after", outing.behind,
                       f"is a step of {behind.task}, which may leave the outing: name a step of its own")
    faults.stop_if_any()
    left = left_by(ends, campaign.tasks) if ends else None
    rows = {task.task: rows_of_task(campaign, task, left) for task in campaign.source.backlog}
    done |= {name: date.min for name, each in rows.items() if not each.steps and name not in done}
    units = {need: math.lcm(*(Fraction(str(task.value)).denominator for task in campaign.source.backlog
                              if task.need == need)) for need in NEEDS}
    tasks = {task.task: OpenTask(
        rows[task.task], task.title, round(task.value * units[task.need]), task.need,
        dict.fromkeys(task.after, math.ceil(task.least_gap_days)), task.must_by,
        dict.fromkeys(rows[task.task].lanes, task.trained) if task.trained else {})
        for task in campaign.source.backlog if task.task not in done}
    return Assigning(tasks, outings, between, done, left, units, campaign.remembered)


def done_on(campaign: TimedCampaign, outing: str) -> list[str]:
    """The tasks of the backlog that an outing with a log has done, or that its plan still does."""
    return [each.task.task for each in campaign.end_state(outing).tasks
            if each.share >= 1 and each.task.task in campaign.tasks]


def behind_of(campaign: TimedCampaign, outing: str) -> str:
    """The step behind which work of the backlog goes: by default the last but one of the outing's own.

    Where all its steps are of the backlog, the first; once that has left, the work goes to the head.
    """
    steps = campaign.scenario(outing).records.steps
    own = [step.step for step in steps if step.task not in campaign.tasks] or [steps[0].step]
    return campaign.source.outings[outing].work_after or own[max(len(own) - 2, 0)]


def rows_of_task(campaign: TimedCampaign, task: BacklogTask, left: EndState | None) -> TaskRows:
    """A task as rows. Of a block with a share done the rest of its minutes is left.

    ``left``: by outings; steps of the same id that are done there go, one half done keeps its rest.
    """
    rows = campaign.source.steps.get(task.task) or (_block(task),)
    if left is not None:
        rows = tuple(rest for row in rows if (rest := rest_of(row, left)) is not None)
    cells = {"task": task.task, "title": task.title, "need": task.need}
    return TaskRows(task.task, cells, tuple(map(cells_of, rows)), task.after)


def _block(task: BacklogTask) -> Step:
    """The minutes of a task as one step."""
    left, likely = 1.0 - task.share_done, task.minutes_likely or 0.0
    low, high = (likely if each is None else each for each in (task.minutes_low, task.minutes_high))
    who = "EV1" if task.crew == BOTH else ""
    return Step(
        task.task, task.task, task.crew, task.place, task.title, low * left, likely * left, high * left,
        after=(), light="any", same_window="", windows=(), exertion="", foothold="",
        takes=tuple(ItemMove(item, who) for item in task.items), leaves=(), uses=(), hooks=(), link="no",
        travel_extra_min=0.0, wait_at="", safe_orderly_min=None, safe_now_min=None, make_safe="", caution="",
        needs=task.needs, sets=task.sets)


def _last_end(campaign: TimedCampaign) -> datetime | None:
    """When the last outing with a log ends."""
    plans = [campaign.timed_plan(name) for name in campaign.ids if campaign.has_log(name)]
    return max((plan.pet_zero + timedelta(minutes=plan.end_min) for plan in plans), default=None)


def _open_outing(campaign: TimedCampaign, name: str, last: datetime | None, between: int) -> OpenOuting:
    """``last``: when the last outing with a log ends; this one begins after it, ``between`` days later."""
    outing, people = campaign.source.outings[name], campaign.people(name)
    begin = outing.earliest
    if last is not None:
        is_over = campaign.timed_plan(name).pet_zero.time() > last.time()
        begin = max(begin, last.date() + timedelta(days=max(between, 0 if is_over else 1)))
    dates = tuple(begin + timedelta(days=day) for day in range((outing.latest - begin).days + 1))
    pairs = outing.crew or ((people,) if all(people) else ())
    return OpenOuting(name, campaign.timed_plan(name), behind_of(campaign, name), dates, people, pairs,
                      campaign.source.settings.reserve_min)
