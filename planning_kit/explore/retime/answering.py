"""What a response comes to at one minute: the call, who goes with whom, ways home, what the plan loses."""

from dataclasses import dataclass, replace

import numpy as np

from planning_kit.explore.retime.going_home import ABORT, TERMINATE, Home, home_of, way_words
from planning_kit.explore.retime.retiming import moment_asked
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.format import PARTNER, SUITED
from planning_kit.inputs.procedure_records import ALONG, BRINGS, HOME_ALONE, Response
from planning_kit.inputs.times import pet_label
from planning_kit.plan.responses import left_with, needed_at
from planning_kit.plan.timed import TimedPlan

GOING = (TERMINATE, ABORT, HOME_ALONE)


@dataclass(frozen=True)
class Answer:
    """A response called at ``at_min`` (PET) for ``crew``: plain values, minutes.

    ``home``: the way home of each who goes (of ``go on`` and ``wait``: that they would have). ``margin_min``:
    what is left beyond the reserve and until the hard limit; ``decide_until_min``: the latest minute of the
    call (PET), now where nothing is left; NaN where that is not known. ``loses``: the tasks, by id, of which
    something is not done any more, the required ones in ``loses_required``, too.
    """

    response: Response
    crew: tuple[str, ...]
    at_min: float
    with_whom: str
    home: tuple[Home, ...]
    margin_min: float
    decide_until_min: float
    loses: tuple[str, ...]
    loses_required: tuple[str, ...]


def answer(plan: TimedPlan, asked: object, minute: object = None, crew: str = "") -> Answer:
    """The response called ``asked``, or to that cause, at a minute (PET, UTC; now, if re-timed).

    Without ``crew`` it concerns whoever works on an action that leads to it then, else both. Raises
    `ScenarioError` for a response, a minute or a crew member that there is not.
    """
    records = plan.scenario.records
    named = {name: each for each in records.responses for name in (each.trigger, each.response) if name}
    response = named.get(asked) if isinstance(asked, str) else None
    if response is None:
        raise ScenarioError.single(f"there is no such response{did_you_mean(str(asked), (*named,))}",
                                   table="responses", column="response", value=asked)
    if crew and crew not in SUITED:
        raise ScenarioError.single("must be EV1 or EV2", table="responses", column="crew", value=crew)
    at = plan.known_outside("response").now_min if minute is None else moment_asked(
        minute, plan.pet_zero, "response", "minute")
    if not 0 <= at <= plan.end_min:
        raise ScenarioError.single(f"is no moment of the outing, 0:00 to {pet_label(plan.end_min)}",
                                   table="response", column="minute", value=minute)
    by_action = replace(response, trigger="")
    at_it = tuple(who for who in SUITED for begin, end in needed_at(by_action, plan.doings, who, at)
                  if begin <= at <= end)
    who = (crew,) if crew else tuple(dict.fromkeys(at_it)) or SUITED
    goes = SUITED if response.call in (TERMINATE, ABORT) or response.companion == ALONG else who
    lost = {step.task for step, _, finish in plan.each_step() if response.call in GOING and finish > at
            and {*step.people} & {*goes}}
    margin, until = _margin(plan, response, who, at)
    return Answer(
        response, who, at, _with_whom(response, who),
        tuple(_home(plan, response, each, at) for each in (who if response.companion == BRINGS else goes)),
        margin, until, tuple(task.task for task in records.tasks if task.task in lost),
        tuple(task.task for task in records.tasks if task.task in lost and task.need == "required"))


def _home(plan: TimedPlan, response: Response, crew: str, at: float) -> Home:
    how = ABORT if response.call == ABORT else TERMINATE
    home = home_of(plan, crew, at, how, response.companion == BRINGS)
    return replace(home, way=way_words(plan, home)) if home.place else home


def _with_whom(response: Response, who: tuple[str, ...]) -> str:
    partner = "the partner" if len(who) > 1 else PARTNER[who[0]]
    if response.companion == BRINGS:
        return f"{partner} brings {' or '.join(who)} in"
    if response.companion == ALONG:
        return "EV1 and EV2 go together"
    if response.call == HOME_ALONE:
        return f"{' or '.join(who)} alone; {partner} stays at work"
    return "each on the own way" if response.call in GOING else "nobody goes home"


def _margin(plan: TimedPlan, response: Response, who: tuple[str, ...], at: float) -> tuple[float, float]:
    """What is left, and the latest minute for the call: as long as the response still fits in."""
    reserve_min = plan.scenario.settings.limits.return_reserve_min or 0.0
    given = np.inf if response.decide_by_min is None else response.decide_by_min

    def least(asked: Response) -> float:
        both = [sorted(plan.return_times, key=lambda each: each.crew != crew) for crew in who]
        over = (left_with(asked, each, plan.suit_histories, reserve_min).over(reserve_min) for each in both)
        return float(np.min([np.interp(at, both[0][0].at_min, each) for each in over]))

    left = least(replace(response, decide_by_min=None))
    return least(response), at + float(np.clip(left, 0.0, given))
