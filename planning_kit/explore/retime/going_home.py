"""Terminate (an orderly return) and abort (at once) at any minute: what first, in which order, how long.

Times and margins are those of `planning_kit.plan.returns`, alone; here they are told as a table and as a
sequence. A step that does not say what makes it safe takes no time for that, and the table says so. Both
start at once, each from where they are; ingress waits for the later one. Neglected: that one helps the other
(``partner_abort_min`` and ``partner_terminate_min`` of ``plan.returns``).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from planning_kit.explore.retime.retiming import moment_asked
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.shown_text import TextTable
from planning_kit.inputs.times import pet_label
from planning_kit.plan.activities import INGRESS_TITLE, REPRESS_TITLE
from planning_kit.plan.moments import whole_minutes
from planning_kit.plan.timed import TimedPlan

TERMINATE, ABORT = "terminate", "abort"
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
