"""What a response comes to at one minute: the call, who goes with whom, ways home, what the plan loses."""

from dataclasses import dataclass, replace

import numpy as np

from planning_kit.explore.retime.going_home import Home, home_of, way_words
from planning_kit.explore.retime.retiming import moment_asked
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.format import PARTNER, SUITED
from planning_kit.inputs.procedure_records import ABORT, ALONG, BRINGS, GOING, HOME_ALONE, TERMINATE, Response
from planning_kit.inputs.times import pet_label
from planning_kit.plan.responses import left_with, needed_at
from planning_kit.plan.timed import TimedPlan


@dataclass(frozen=True)
class Answer:
    """A response called at ``at_min`` (PET) for ``crew``: plain values, minutes.

    ``home``: the way of each who goes, by ``response.companion`` together or brought by the other (of ``go
    on`` and ``wait``: of those concerned). ``margin_min``: left beyond the reserve and until the hard limit;
    ``decide_until_min``: the latest call (PET), at once where nothing is left, NaN where that is not known.
    ``loses``: the tasks, by id, of which something is not done any more.
    """

    response: Response
    crew: tuple[str, ...]
    at_min: float
    home: tuple[Home, ...]
    margin_min: float
    decide_until_min: float
    loses: tuple[str, ...]

    @property
    def inside_min(self) -> float:
        """PET at which all who go are inside at the latest: the high minutes of the first actions, then home;
        the airlock waits for the later one. NaN not known, infinite: no way."""
        return self.response.acting_min + float(np.max([home.inside_min for home in self.home]))

    @property
    def with_whom(self) -> str:
        """Who goes with whom, in words."""
        who, partner = " or ".join(self.crew), PARTNER[self.crew[0]] if len(self.crew) == 1 else "the partner"
        if self.response.companion == BRINGS:
            return f"{partner} brings {who} in"
        if self.response.companion == ALONG:
            return "EV1 and EV2 go together"
        if self.response.call not in GOING:
            return "nobody goes home"
        return f"{who} alone" if self.response.call == HOME_ALONE else "each on the own way"


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
    if crew not in ("", *SUITED):
        raise ScenarioError.single("must be EV1 or EV2", table="responses", column="crew", value=crew)
    at = plan.known_outside("response").now_min if minute is None else moment_asked(
        minute, plan.pet_zero, "response", "minute")
    if not 0 <= at <= plan.end_min:
        raise ScenarioError.single(f"is no moment of the outing, 0:00 to {pet_label(plan.end_min)}",
                                   table="response", column="minute", value=minute)
    by_action = replace(response, trigger="")
    at_it = tuple(who for who in SUITED if any(
        begin <= at <= end for begin, end in needed_at(by_action, plan.doings, who, at)))
    who = (crew,) if crew else at_it or SUITED
    goes = SUITED if response.call in (TERMINATE, ABORT) or response.companion == ALONG else who
    lost = {step.task for step, _, finish in plan.each_step() if response.call in GOING and finish > at
            and {*step.people} & {*goes}}
    margin, wait = (_least_left(plan, each, who, at)
                    for each in (response, replace(response, decide_by_min=None)))
    how, is_brought = ABORT if response.call == ABORT else TERMINATE, response.companion == BRINGS
    homes = [home_of(plan, each, at, how, is_brought) for each in (who if is_brought else goes)]
    return Answer(response, who, at, tuple(replace(home, way=way_words(plan, home)) if home.place else home
                                           for home in homes),
                  margin, at + float(np.clip(wait, 0.0, response.decide_by_min)),
                  tuple(task.task for task in records.tasks if task.task in lost))


def _least_left(plan: TimedPlan, response: Response, who: tuple[str, ...], at: float) -> float:
    """What is left of whoever has least, beyond the reserve and until the hard limit."""
    reserve_min = plan.scenario.settings.limits.return_reserve_min or 0.0
    both = [sorted(plan.return_times, key=lambda each: each.crew != crew) for crew in who]
    return float(np.min([np.interp(at, each[0].at_min, left_with(
        response, each, plan.suit_histories, reserve_min).over_min) for each in both]))
