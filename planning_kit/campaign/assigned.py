"""What an assignment says: the new campaign, moves against the present one, what is left out and why."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import pandas as pd

from planning_kit.campaign.assigning import ROUNDS, Assigning, Found, days_told
from planning_kit.campaign.assignment import NEEDS
from planning_kit.campaign.campaign import TimedCampaign, save_changed, with_moved
from planning_kit.campaign.fitting import Fitted
from planning_kit.campaign.left_behind import all_lost
from planning_kit.campaign.moving import lost_words, moved, stops_between
from planning_kit.campaign.open_work import question_of
from planning_kit.campaign.remembered import merged_into
from planning_kit.campaign.standing import board_table, room_left, stops_in
from planning_kit.explore.long_question import Report, silent
from planning_kit.inputs.faults import ScenarioError, is_number
from planning_kit.inputs.fields import SUITED
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import TextTable, html_text

OUTING_COLUMNS = ["outing", "date", "EV1", "EV2", "tasks", "end_min", "free_min", "reserve_min", "p_least",
                  "stops"]
MOVE_COLUMNS = ["task", "from", "to", "words"]
MOVED_COLUMNS = ["outing", "end_min", "new_end_min", "p_done", "new_p_done"]
LEFT_COLUMNS = ["task", "title", "need", "value", "why"]
_MOST_ROUNDS = 1_000
C = TypeVar("C", bound=TimedCampaign)


@dataclass(frozen=True, eq=False, repr=False)
class TimedAssignment:
    """Which task each outing does and on which date: ``campaign`` is the new one, whose outings can be saved.

    ``value`` and ``bound`` are by need: none has more than the bound (compared in the order required,
    optional, get-ahead), as it follows from the least minutes that each task can take.
    """

    before: TimedCampaign
    question: Assigning
    found: Found

    @property
    def value(self) -> Mapping[str, float]:
        """The value of what is done, by need."""
        return self._typed(self.found.value)

    def _typed(self, values: Sequence[int]) -> dict[str, float]:
        return {need: self.question.typed(need, value) for need, value in zip(NEEDS, values, strict=True)}

    @property
    def bound(self) -> Mapping[str, float]:
        """The most that it could be, by need, where what counts first is as good as its bound."""
        return self._typed(self.found.bound)

    @property
    def gap(self) -> tuple[str, float] | None:
        """The first need in which the bound is not reached, and by how much value; None: proven best."""
        return next(((need, self.question.typed(need, most - has)) for need, has, most in zip(
            NEEDS, self.found.value, self.found.bound, strict=True) if has != most), None)

    @property
    def scenarios(self) -> Mapping[str, Scenario]:
        """The scenario of each outing that was assigned to, to be saved with ``save``."""
        return {name: fitted.plan.scenario for name, fitted in self.found.fitted.items()}

    @cached_property
    def campaign(self) -> TimedCampaign:
        """The campaign with these outings, in memory."""
        campaign = self.before
        for name, fitted in self.found.fitted.items():
            if fitted.plan.scenario != self.before.scenario(name):
                campaign = with_moved(campaign, name, fitted.plan, self._alone(name, fitted),
                                      self.question.rows)
        return campaign

    def _alone(self, outing: str, fitted: Fitted) -> tuple[Scenario, Scenario]:
        """An outing before and after, both without what the others leave."""
        before = self.before.scenario(outing)
        alone, begins = fitted.begins or (before, before)
        return (self.question.known(outing).uncarried(before),
                merged_into(fitted.plan.scenario, begins, alone))

    def save(self) -> None:
        """Save every outing that changed into its folder, all or none.

        Raises `SaveConflict` or `ScenarioError`; nothing has changed then, in no folder.
        """
        save_changed(self.before, self.scenarios, [scenario for name, scenario in self.scenarios.items()
                                                   if scenario != self.before.scenario(name)])

    @property
    def tasks(self) -> pd.DataFrame:
        """Every task with its outing, chance of being done and margin, as the board has them."""
        return board_table(self.campaign)

    @property
    def outings(self) -> pd.DataFrame:
        """A row an outing: ``free_min`` is left to its planned limit, ``reserve_min`` of it is asked.

        ``p_least``: the least chance among its tasks (as on the board); ``stops``: its stop findings.
        """
        rows = []
        for name, fitted in self.found.fitted.items():
            plan, room = fitted.plan, room_left(fitted.plan, fitted.tasks)
            rows.append((name, self.found.dates[name].isoformat(), *self.campaign.people(name),
                         " ".join(fitted.tasks), round(plan.end_min, 1), math.floor(room.free_min * 10) / 10,
                         self.question.outings[name].reserve_min, room.p_least, room.stops))
        return TextTable(rows, columns=OUTING_COLUMNS)

    @cached_property
    def lost(self) -> Mapping[str, tuple[str, ...]]:
        """By outing what it loses beside tasks (see `planning_kit.campaign.left_behind`)."""
        return {name: lines for name, fitted in self.found.fitted.items() if (lines := all_lost(
            self.question.known(name), (self.before.scenario(name), fitted.plan.scenario),
            self._alone(name, fitted), self.question.rows))}

    @property
    def moves(self) -> pd.DataFrame:
        """What it changes: tasks that come, go or change their outing, dates and persons of outings.

        A row for each outing that loses more than its tasks says what is lost.
        """
        was, now, rows = self.question.present, self.found.outing_of, list[tuple[str, str, str, str]]()
        for task, this in self.question.tasks.items():
            first, then = was.get(task, ""), now.get(task, "")
            if first != then:
                words = f"{task} ({this.title}) " + (
                    f"goes from {first} to {then}" if first and then else
                    f"comes on {then}" if then else f"is taken off {first}")
                rows.append((task, first, then, words))
        rows += [("", name, "", lost_words(name, lines)) for name, lines in self.lost.items()]
        for name, day in self.found.dates.items():
            present = self.question.outings[name].present
            if day != present:
                words = f"{name} goes from {present} to {day}"
                rows.append(("", present.isoformat(), day.isoformat(), words))
            was_pair, pair = self.before.people(name), self.campaign.people(name)
            if pair != was_pair:
                told = [f"{name}: {' and '.join(pair)} go"]
                if all(was_pair):
                    told[0] += f", not {' and '.join(was_pair)}"
                    told += [_whose_numbers(lane, at, was_pair, pair) for at, lane in enumerate(SUITED)
                              if pair[at] not in was_pair]
                old, new = (", ".join(filter(None, each)) for each in (was_pair, pair))
                rows.append(("", old, new, "; ".join(told)))
        return TextTable(rows, columns=MOVE_COLUMNS)

    @property
    def left_out(self) -> pd.DataFrame:
        """The tasks that no outing does, and why not, outing by outing, with numbers."""
        rows = []
        for name in self.question.wanted:
            if name not in self.found.outing_of:
                task = self.question.tasks[name]
                value = self.question.typed(task.need, task.value)
                rows.append((name, task.title, task.need, value, "; ".join(
                    f"{outing}: {self._why(name, outing)}" for outing in self.question.outings)
                    or "no outing is left without a log"))
        return TextTable(rows, columns=LEFT_COLUMNS)

    def _why(self, task: str, outing: str) -> str:
        told = self.found.refused.get(task, {}).get(outing)
        has = {name: fitted.tasks for name, fitted in self.found.fitted.items()}
        return told or self.question.why_not(task, outing, self.found.dates, self.found.pairs, has) or (
            self._beside(task, outing))

    def _beside(self, task: str, outing: str) -> str:
        """What comes of a task on an outing beside what it has in the end, which no round has tried."""
        try:
            tried = moved(self.campaign, task, outing, self._then)
        except ScenarioError as error:
            return f"not tried beside what it has: {error.words}"
        return tried.why_not or (f"no round tried it there, but it does hold it: moved({task!r}, {outing!r}) "
                                 f"of the new campaign puts it there, {tried.ends}")

    @cached_property
    def _then(self) -> Assigning:
        """The question that the new campaign asks."""
        return question_of(self.campaign)

    @cached_property
    def _stops(self) -> list[str]:
        return [words for words, _ in stops_between(self.campaign).values()]

    @property
    def verdict(self) -> str:
        """How good it is, in a sentence; with a stop between the outings it is no answer yet, and says so.

        Stops within an outing, which it had before, are counted beside.
        """
        done, gap = len(self.found.outing_of), self.gap
        inside = sum(stops_in(fitted.plan) for fitted in self.found.fitted.values())
        how = "proven best by the least minutes of each task" if gap is None else (
            f"at most {gap[1]:g} of {gap[0]} value from the bound")
        if self._stops:
            how = (f"no answer yet, stops between the outings ({len(self._stops)}): {self._stops[0]}; mend "
                   "them, or what the backlog asks")
        if inside:  # those that it had before are nobody's fault, and judged by no bound
            how += (f"; stops within the outings ({inside}) are left out of that: mend them, they are in "
                    "plan(outing).findings")
        if self.lost:
            how += f"; more than tasks changes on {', '.join(self.lost)}: read moves before it is saved"
        outings = len(self.found.fitted)
        return f"{done} of {len(self.question.tasks)} open tasks on {outings} outings; {how}"

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.verdict}>"

    def _repr_html_(self) -> str:
        return f"<p>{html_text(self.verdict)}</p>{self.outings._repr_html_() or ''}"  # type: ignore[operator]


def _whose_numbers(lane: str, at: int, before: tuple[str, str], pair: tuple[str, str]) -> str:
    """Of somebody new: the own numbers are not known (`planning_kit.campaign.assigning.Assigning.on`)."""
    other = before[1 - at] if pair[1 - at] == before[at] else before[at]
    return f"speed, exertion and suit of {lane}, {pair[at]}, are those typed for {other}: type the own ones"


def assign(campaign: TimedCampaign, effort: str | float = "normal",
           report: Report = silent) -> TimedAssignment:
    """Which open task each outing without a log does, and on which of its dates.

    ``effort``: quick, normal, thorough, or a number of rounds. Raises `ScenarioError` for a question that
    makes no sense, and where no dates keep the least days between the outings.
    """
    rounds = ROUNDS.get(effort, 0.0) if isinstance(effort, str) else effort
    if not is_number(rounds) or not 1 <= rounds <= _MOST_ROUNDS:
        raise ScenarioError.single(
            f"must be {', '.join(ROUNDS)}, or a number of rounds from 1 to {_MOST_ROUNDS}",
            table="assign", column="effort", value=effort)
    question = question_of(campaign)
    try:
        found = question.search(int(rounds), report)
    except OverflowError as error:
        raise ScenarioError.single(f"{error}; give smaller ones, or fewer decimals", table="backlog",
                                   column="value") from error
    if found is None:
        raise ScenarioError.single(
            f"no dates of the outings lie {days_told(question.least_days_between)} apart, each begun when "
            "the one before is over at the latest; widen earliest and latest, or lessen it",
            table="campaign.toml", column="least_days_between",
            value=question.least_days_between)
    return TimedAssignment(campaign, question, found)
