"""Terminate, abort and responses at any minute: what first, in which order, how long, what is lost.

Times and margins are those of `planning_kit.plan.returns`, alone; here they are told as a table and as a
sequence. A step that does not say what makes it safe takes no time for that, and the table says so. Both
start at once, each from where they are; ingress waits for the later one. Neglected: that one helps the other
(``partner_abort_min`` and ``partner_terminate_min`` of ``plan.returns``).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from planning_kit.explore.retime.retiming import moment_asked
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.format import PARTNER, SUITED
from planning_kit.inputs.procedure_records import ABORT, ALONG, BRINGS, GOING, HOME_ALONE, TERMINATE, Response
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.times import pet_label
from planning_kit.plan.activities import INGRESS_TITLE, REPRESS_TITLE
from planning_kit.plan.moments import whole_minutes
from planning_kit.plan.procedures import left_with, needed_at
from planning_kit.plan.timed import TimedPlan

HOME_COLUMNS = ["crew", "at_min", "place", "step", "make_safe", "safe_min", "back_min", "total_min",
                "inside_min", "oxygen_margin_min", "suit_margin_min", "first_out"]
SEQUENCE_COLUMNS = ["who", "what", "minutes", "start_min", "finish_min", "start", "finish"]
EMERGENCY_TITLE = "Ingress and emergency repressurisation"
NOTHING_GIVEN = "nothing given for this step"


@dataclass(frozen=True)
class Home:
    """One crew member's way home from one moment, minutes; ``way`` in words, where somebody asked for it."""

    crew: str
    at_min: float
    place: str
    step: str
    make_safe: str
    safe_min: float
    back_min: float
    oxygen_margin_min: float
    suit_margin_min: float
    first_out: str
    airlock_min: float
    way: str = ""

    @property
    def total_min(self) -> float:
        """Minutes until the pressure can be breathed."""
        return self.safe_min + self.back_min

    @property
    def inside_min(self) -> float:
        """PET of it."""
        return self.at_min + self.safe_min + self.back_min


def ways_home(plan: TimedPlan, how: str = TERMINATE, every_min: float = 1.0) -> pd.DataFrame:
    """Terminate or abort at every minute of the outing: a row a crew member and moment.

    ``step`` in hand, ``make_safe`` in words, ``safe_min``; ``back_min`` from the end of that until the
    pressure can be breathed; ``total_min``; ``inside_min`` (PET of it); ``oxygen_margin_min`` of the
    emergency oxygen, and ``suit_margin_min`` of the consumable ``first_out``. Raises `ScenarioError` for
    another ``how`` and for minutes as `whole_minutes` does.
    """
    _check(how)
    moments = whole_minutes(plan, every_min)[:-1]  # at the end they are home
    return _homes_table([home_of(plan, crew, at, how) for at in moments for crew in plan.travels])


def home_now(plan: TimedPlan, how: str = TERMINATE) -> pd.DataFrame:
    """Time home and margins of each crew member, called at the now of a re-timed plan, as in `ways_home`.

    Who is known to be on a step is on it, whatever the plan has (a step may outlast its estimate). Raises
    `ScenarioError` for another ``how``, before the plan is re-timed, and for a now outside the outing.
    """
    plan.known_outside("home_now")
    return _homes_table(_homes(plan, how, None))


def _homes(plan: TimedPlan, how: str, at_min: object) -> list[Home]:
    """Everyone's way home, called at ``at_min`` as the plan has it, or (None) now as it was logged."""
    _check(how)
    minute = plan.known_outside(how).now_min if at_min is None else moment_asked(
        at_min, plan.pet_zero, how, "at_min")
    if not 0 <= minute <= plan.end_min:
        raise ScenarioError.single(f"is no moment of the outing, 0:00 to {pet_label(plan.end_min)}",
                                   table=how, column="at_min", value=minute)
    return [home_of(plan, crew, minute, how) for crew in plan.travels]


def _homes_table(homes: list[Home]) -> pd.DataFrame:
    return TextTable([[getattr(home, name) for name in HOME_COLUMNS] for home in homes], columns=HOME_COLUMNS)


def going_home(plan: TimedPlan, how: str, at_min: object = None) -> pd.DataFrame:
    """The sequence of a terminate or abort called at ``at_min`` (PET, UTC; now, if re-timed).

    A row an action: make safe, go home (by which places), wait for the partner, the airlock; first of all the
    inhibits in force, which their owners keep until both are safe. Minutes, PET and PET labels. Raises
    `ScenarioError` for a moment outside the outing.
    """
    homes = _homes(plan, how, at_min)
    airlock = plan.scenario.settings.airlock
    stages: dict[str, float] = {INGRESS_TITLE: airlock.hatch_closed_min,
                                "Prepare repressurisation": airlock.repress_start_min,
                                REPRESS_TITLE: airlock.repress_safe_min}
    if how == ABORT and airlock.emergency_repress_safe_min is not None:
        stages = {EMERGENCY_TITLE: airlock.emergency_repress_safe_min}
    meet = float(np.max([home.inside_min - home.airlock_min for home in homes]))
    at, until = homes[0].at_min, float(np.max([home.inside_min for home in homes]))  # NaN if one is
    kept = (hold.inhibit for hold in plan.inhibit_holds
            if hold.set_by_min <= at <= hold.lift_after_min)  # lifted only when it is called
    rows = [(each.owner, f"Keep {each.inhibit} ({each.title or each.inhibit}) until both are inside",
             until - at, at, until) for each in kept]
    rows += [row for home in homes for row in _sequence(plan, home, meet, stages)]
    labelled = [(*row, pet_label(row[3]), pet_label(row[4])) for row in rows]
    return TextTable(labelled, columns=SEQUENCE_COLUMNS)


def _check(how: str) -> None:
    if not isinstance(how, str) or how not in (TERMINATE, ABORT):
        raise ScenarioError.single(f"must be {TERMINATE} (orderly) or {ABORT} (at once)", column="how",
                                   value=how)


def home_of(plan: TimedPlan, crew: str, at_min: float, how: str, is_brought: bool = False) -> Home:
    """The way home of one crew member from a minute of PET, alone or brought by the partner."""
    returns = next(each for each in plan.return_times if each.crew == crew)
    way = getattr(returns, f"partner_{how}" if is_brought else how)
    number = max(0, int(np.searchsorted(returns.at_min, at_min, side="right")) - 1)
    # Between its moments these run along straight lines, but where `plan.returns` says otherwise.
    back, inside, oxygen, suit = (float(np.interp(at_min, returns.at_min, values)) for values in
                                  (way.back_min, way.airlock_min, way.oxygen_margin_min, way.suit_margin_min))
    name = returns.step[number]
    make_safe = ""
    if name:
        step = plan.steps[plan.position(name)]
        given = step.safe_orderly_min if how == TERMINATE else step.safe_now_min
        make_safe = step.make_safe or (NOTHING_GIVEN if given is None else "")
    return Home(crew, at_min, returns.place[number], name, make_safe, float(way.safe_min[number]), back,
                 oxygen, suit, way.first_out[number].partition(" ")[2], inside)


_Row = tuple[str, str, float, float, float]


def _sequence(plan: TimedPlan, home: Home, meet: float, stages: Mapping[str, float]) -> Iterator[_Row]:
    """``meet``: when both are at the airlock; ``stages``: there, minutes until each of them is done."""
    now = home.at_min
    if home.step:
        words = home.make_safe or "nothing to be done first"
        yield home.crew, f"Make {home.step} safe: {words}", home.safe_min, now, now + home.safe_min
        now += home.safe_min
    way = home.back_min - home.airlock_min
    if np.isnan(way):
        yield home.crew, "Go home: how long is not known, as the step has no place", way, now, way
    if way > 0:
        yield home.crew, way_words(plan, home), way, now, now + way
        now += way
    if meet > now:
        yield home.crew, "Wait at the airlock for the partner", meet - now, now, meet
    now, safe = meet, meet + home.airlock_min
    for title, minutes in stages.items():
        # Called on the way in, the first of it is done.
        end = max(now, safe - (max(stages.values()) - minutes))
        if end > now:
            yield home.crew, title, end - now, now, end
        now = end


def way_words(plan: TimedPlan, home: Home) -> str:
    """By which places; from the nearer end of a leg."""
    travel, airlock = plan.travels[home.crew], plan.scenario.settings.airlock_place
    here = min(home.place.split(" to "), key=lambda place: travel.time_min(place, airlock))
    places = [plan.place_title(place) for place in travel.way(here, airlock)]
    if len(places) == 1:
        return "Hook on at the airlock"
    return f"Go home by {', '.join(places)}, with the hook"


# Responses


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
