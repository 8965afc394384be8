"""What procedures come to: actions with their times, states, settings, turns; and what is left for responses.

An action has no time of its own: its moment is its whole step. A state changes at the finish of a step that
sets it; of steps that finish at one minute the one of the later start, then of the later row, counts.

From the trigger on it takes ``decide_by_min``, then its high minutes, then the way home
(`planning_kit.plan.returns`). What these use more than travel does is counted, at the rate of the work under
way. Not given, minutes are none, and a check says so. The way to fall back is that of travel, without hooks.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, pairwise, takewhile
from math import inf
from typing import NamedTuple

import numpy as np
import pandas as pd

from planning_kit.inputs import procedure_records as rec
from planning_kit.inputs.format import SUITED
from planning_kit.inputs.procedure_records import ABORT, ALONG, BRINGS, Response
from planning_kit.inputs.records import Step
from planning_kit.inputs.shown_text import ShownTable, TextTable
from planning_kit.plan.legs import Passage
from planning_kit.plan.needs import gaps_between
from planning_kit.plan.network import ROUNDING_MIN, grouped, joined
from planning_kit.plan.plan_times import Times
from planning_kit.plan.returns import Numbers, Returns
from planning_kit.plan.suits import SuitHistory
from planning_kit.plan.travel import Travel

ACTION_COLUMNS = ["step", "number", "who", "place", "start_min", "finish_min", "action", "on", "value",
                  "unit", "tool", "expected", "record", "class", "warning", "go", "if_not", "critical"]


@dataclass(frozen=True)
class Doing:
    """One action in a plan: its moment is that of its step, PET minutes."""

    action: rec.Action
    step: Step
    start_min: float
    finish_min: float

    @property
    def people(self) -> tuple[str, ...]:
        """Who does it: crew members, actors, or the word ``inside`` or ``ground``."""
        return self.action.people(self.step.people)


@dataclass(frozen=True)
class StateSpell:
    """What a state is between two minutes of PET, and the step that made it so ("" at PET 0)."""

    state: rec.State
    value: str
    from_min: float
    until_min: float
    by_step: str

    @property
    def words(self) -> str:
        """What it is, and since when."""
        return f"{self.value} {f'since {self.by_step}' if self.by_step else 'as at PET 0'}"


def doings(times: Times) -> tuple[Doing, ...]:
    """Every action, by the start of its step, then the row of that, then its number."""
    by_step = grouped((each.step, each) for each in times.scenario.records.actions)
    steps = sorted((each for each in times.each_step() if each[0].step in by_step), key=lambda each: each[1])
    return tuple(Doing(action, *each) for each in steps
                 for action in sorted(by_step[each[0].step], key=lambda action: action.number))


def state_spells(times: Times) -> dict[str, tuple[StateSpell, ...]]:
    """What each state is over the outing, in order."""
    moves = sorted(((finish, start, row, entry, step.step) for row, (step, start, finish)
                    in enumerate(times.each_step()) for entry in step.sets), key=lambda move: move[:3])
    by_state = grouped((entry.state, (entry.value, at, step)) for at, _, _, entry, step in moves)
    values = {state: [(state.at_start, 0.0, ""), *by_state.get(state.state, ())]
              for state in times.scenario.records.states}
    return {state.state: tuple(StateSpell(state, value, at, end, step) for (value, at, step), (_, end, _)
                               in pairwise([*theirs, ("", times.end_min, "")]))
            for state, theirs in values.items()}


def before(spells: Sequence[StateSpell], at_min: float, step: str) -> StateSpell:
    """What a state is when ``step`` begins at that minute, which others have made of it."""
    return next((each for each in reversed(spells)
                 if each.by_step != step and each.from_min <= at_min + ROUNDING_MIN), spells[0])


def touching(times: Times, every: Sequence[Doing]) -> dict[str, list[tuple[Step, float, float, bool]]]:
    """The steps that need or change each state, with start, finish (PET) and whether they change it."""
    known = {state.state for state in times.scenario.records.states}
    by_action = grouped((each.step.step, each.action.on) for each in every if each.action.on in known
                        and each.action.class_ in (rec.MATE, rec.DEMATE, rec.SET))
    found: dict[str, list[tuple[Step, float, float, bool]]] = {}
    for step, start, finish in times.each_step() if known else ():
        changed = {*(entry.state for entry in step.sets), *by_action.get(step.step, ())}
        for name in dict.fromkeys([*(entry.state for entry in step.needs), *sorted(changed)]):
            found.setdefault(name, []).append((step, start, finish, name in changed))
    return found


def in_parallel(touched: Sequence[tuple[Step, float, float, bool]]) -> Iterator[tuple[Step, Step, float]]:
    """Two steps, of different people then, that overlap, of which one changes what both touch; since when."""
    ordered = sorted(touched, key=lambda each: each[1])
    for number, (one, start, finish, sets) in enumerate(ordered):
        rest = islice(ordered, number + 1, None)
        for other, begin, end, also in takewhile(lambda each: each[1] < finish - ROUNDING_MIN, rest):  # noqa: B023
            if (sets or also) and end > start + ROUNDING_MIN:
                yield one, other, begin


def turn_counts(every: Sequence[Doing]) -> dict[str, tuple[str, list[float]]]:
    """Of each thing of which turns are said: the last step; turns out, in, and those said to stay out."""
    # Without a unit those of turn in and turn out are turns; a torque is none.
    classes = (rec.TURN_OUT, rec.TURN_IN, rec.LEAVE)
    said = grouped((each.on, each) for each in (doing.action for doing in every)
                   if each.on and each.value and each.class_ in classes
                   and (each.unit == rec.TURNS or (not each.unit and each.class_ != rec.LEAVE)))
    return {thing: (theirs[-1].step, [sum(rec.number_in(each.value) or 0.0 for each in theirs
                                          if each.class_ == class_) for class_ in classes])
            for thing, theirs in said.items()}


def settings_needed(every: Sequence[Doing]) -> Iterator[tuple[Doing, str, str]]:
    """Each action that needs a setting, with the last one of its tool and the step that set it ("": none)."""
    last: dict[str, tuple[str, str]] = {}
    for each in every:
        item, setting = each.action.setting
        if each.action.class_ == rec.SET:
            last[item] = setting, each.step.step
        elif setting:
            yield each, *last.get(item, ("", ""))


def off_loop(times: Times, who: str, start: float, finish: float) -> list[tuple[float, float]]:
    """When nobody called ``who`` is on the loop between two minutes (PET); of nobody known, never."""
    spans = joined(sorted(each.on_loop_min(times.pet_zero) for each in times.scenario.records.actors
                          if who in (each.actor, each.role)))
    if not spans or any(begin <= start and finish <= end for begin, end in spans):
        return []
    return [*gaps_between(np.array(spans), start, finish)] or ([(start, finish)] if start == finish else [])


def is_on_ground(times: Times, who: str) -> bool:
    """Whether a link is needed to hear them."""
    return who in {rec.GROUND, *(each.actor for each in times.scenario.records.actors
                                 if each.role == rec.GROUND)}


def actions_table(every: Sequence[Doing]) -> pd.DataFrame:
    """A row an action, in their order (columns: see `TimedPlan.actions`)."""
    rows = [vars(each) | vars(each.action) | {"who": each.action.who or each.step.crew,
            "place": each.step.where, "class": each.action.class_} for each in every]
    return TextTable(rows, columns=ACTION_COLUMNS)


def states_table(spells: Mapping[str, Sequence[StateSpell]]) -> pd.DataFrame:
    """A row a stretch of a state, by state and time (columns: see `TimedPlan.states`)."""
    rows = [vars(each) | vars(each.state) for theirs in spells.values() for each in theirs]
    return ShownTable(rows, columns=["state", "title", "value", "from_min", "until_min", "by_step"])


# Responses


class Left(NamedTuple):
    """What is left at each moment of one crew member's way home (n,), minutes; NaN not known, -inf no way.

    ``over_min``: the least beyond the reserve and until the hard limit, ``before_min``: without the response;
    ``supply_min``: of oxygen or of the suits; ``limit_min``: until the hard limit, NaN of an abort.
    """

    over_min: Numbers
    before_min: Numbers
    supply_min: Numbers
    limit_min: Numbers


def left_with(response: Response, who: Sequence[Returns], suits: Sequence[SuitHistory],
              reserve_min: float) -> Left:
    """What is left where ``who`` (the one concerned first, then the partner) do as the response says."""
    going = who if response.companion == ALONG else who[:1]
    (supply, limit), (bare, bare_limit) = (
        np.min([_left(response, each, suits, minutes) for each in going], axis=0)
        for minutes in (response.most_min, 0.0))
    return Left(np.fmin(supply - reserve_min, limit), np.fmin(bare - reserve_min, bare_limit), supply, limit)


def _left(response: Response, returns: Returns, suits: Sequence[SuitHistory],
          minutes: float) -> tuple[Numbers, Numbers]:
    """Of supplies and until the hard limit; of ``go on`` and ``wait`` a terminate must still be left."""
    is_brought = response.companion == BRINGS
    if response.call == ABORT:
        way = returns.partner_abort if is_brought else returns.abort
        return way.oxygen_margin_min - minutes, np.full(len(returns.at_min), np.nan)
    way = returns.partner_terminate if is_brought else returns.terminate
    stores = [store for suit in suits for store in suit.stores if store.is_known and store.travel_rate > 0
              and (suit.crew == returns.crew or is_brought)]
    harder = [np.ones(len(returns.at_min)), *(store.rate_at(returns.at_min) / store.travel_rate
                                              for store in stores if minutes)]
    to_limit = returns.hard_min - returns.at_min - (way.home_min - returns.after_end_min)
    return way.suit_margin_min - minutes * np.max(harder, axis=0), to_limit - minutes


def needed_at(response: Response, every: Sequence[Doing], crew: str,
              last_min: float) -> list[tuple[float, float]]:
    """When one crew member may need it (PET): a cause always, an action (of both, if of nobody in a suit)
    while its step lasts."""
    return [(0.0, last_min)] if response.trigger else [
        (each.start_min, each.finish_min) for each in every if each.action.if_not == response.response
        and crew in ({*each.people} & {*SUITED} or {*each.step.people} & {*SUITED} or SUITED)]


def too_far(passages: Sequence[Passage], travel: Travel, fall_back: Sequence[str],
            most_min: float) -> list[tuple[float, float, Passage]]:
    """Where one crew member is farther than ``most_min`` from the nearest of these places: how far at most
    (infinite: no way), at which minute, in which passage. Where they are not known to be nothing is told."""
    every = ((*_farthest_on(each, travel, fall_back), each) for each in passages if each.is_known)
    return [each for each in every if each[0] > most_min + ROUNDING_MIN]


def _farthest_on(passage: Passage, travel: Travel, places: Sequence[str]) -> tuple[float, float]:
    here, there = (min((travel.time_min(end, each) for each in places), default=inf)
                   for end in (passage.place, passage.to_place or passage.place))
    if passage.route is None or here == there == inf:
        return here, passage.start_min
    leg = travel.legs[passage.place][passage.to_place]
    # They turn round or go on, whichever is nearer: the way is longest where both are equally long.
    done = min(max((leg + there - here) / 2, 0.0), leg)
    return (min(here + done, there + leg - done),
            passage.start_min + done / leg * (passage.finish_min - passage.start_min))
