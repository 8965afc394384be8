"""The campaign as a user holds it: its outings, each a scenario and a plan to be asked."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import cast

import pandas as pd

from planning_kit.campaign.assigned import TimedAssignment, assign
from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.check_campaign import campaign_findings
from planning_kit.campaign.early_end import early_end_table
from planning_kit.campaign.moving import Moved, moved
from planning_kit.campaign.standing import (
    board_table,
    dates_table,
    thread_table,
    threads_table,
)
from planning_kit.front.plan import Odds, Other, Plan, timed
from planning_kit.front.progress_bar import Told, shown
from planning_kit.inputs.campaign_file import read_campaign
from planning_kit.inputs.faults import as_path
from planning_kit.show import campaign_charts as charts
from planning_kit.show.chart import Chart


@dataclass(frozen=True, eq=False, repr=False)
class Campaign(TimedCampaign):
    """Outings in their order, and the backlog of work: made by `load_campaign`, never changed in place.

    ``outings`` and ``backlog`` are DataFrames; ``scenario(outing)`` and ``plan(outing)`` are those of one.
    """

    def plan(self, outing: str) -> Plan:
        """The plan of an outing; where its folder holds a log, re-timed by it. Raises `ScenarioError`."""
        return Plan(self.timed_plan(outing))

    def write_pack(self, outing: str, folder: str | Path, baseline: Other | None = None,
                   chances: Odds | None = None) -> pd.DataFrame:
        """The review pack of an outing, as ``plan.write_pack``, with the other outings as they are in memory.
        """
        from planning_kit.show.pack.write import write_pack  # takes long to load, as in plan.write_pack

        return write_pack(self.timed_plan(outing), folder, None if baseline is None else timed(baseline),
                          chances, self.around(outing))

    def findings(self) -> pd.DataFrame:
        """What is wrong between the outings, worst first: ``outing``, then the columns of ``plan.findings``.

        What is wrong within one outing is told by ``plan(outing).findings``.
        """
        return campaign_findings(self)

    def assign(self, effort: str | float = "normal", progress: Told = "bar") -> Assignment:
        """Which open task of the backlog each outing without a log does, and on which of its dates.

        Most value first by need, then few moves. Each outing is timed and checked with its tasks, on the
        light and links of its date: it keeps the reserve before its planned limit and has no new stop. What
        does not fit is tried elsewhere, round by round, until the bound is reached or ``effort`` (quick,
        normal, thorough, or a number of rounds) is spent; the same answer on every run. What an outing with a
        log has left undone is open again. Raises `ScenarioError` where no dates keep the least days between
        the outings, an outing has no plan, or the question makes no sense.
        """
        with shown(progress, "assign") as report:
            found = assign(self, effort, report)
        return Assignment(found.before, found.question, found.found)

    def after(self, outing: str) -> Campaign:
        """The campaign in which the outing after ``outing`` begins with what that left (its log counted).

        ``assign`` of it then puts what was left undone on the outings to come. Raises `ScenarioError` where
        no outing follows.
        """
        end = self.end_state(outing)
        following = self.next_outing(outing)
        return self.with_scenario(following, self.next_scenario(end, following))

    def moved(self, task: str, outing: str) -> Moved[Campaign]:
        """A task taken off the outing that has it and put on another, where that holds; "" takes it off.

        Raises `ScenarioError` for a task or an outing that there is not, and for one with a log.
        """
        return moved(self, task, outing)

    @property
    def board_table(self) -> pd.DataFrame:
        """Which outing has which task, with the chance of being done and the margin.

        A row a task and outing, the outing "" where none has it. ``p_done``: the chance that it is done and
        both are inside by the hard limit with all required work done; ``margin_min``: the least that a start
        of it can slip.
        """
        return board_table(self)

    def board(self, theme: str = "light") -> Chart:
        """Outings by tasks: when each task is done, how likely, and with which margin."""
        return charts.board_chart(self.board_table, self.outings, theme)

    def thread_table(self, name: str) -> pd.DataFrame:
        """Where one item is, what one state is or when an inhibit is in force, over all outings, by stretch.
        """
        return thread_table(self, name)

    @property
    def threads_table(self) -> pd.DataFrame:
        """What ``thread`` can follow: a row an item, state or inhibit, with the outings that name it."""
        return threads_table(self)

    def thread(self, name: str, theme: str = "light") -> Chart:
        """The same as a chart, an outing a row. Raises `ScenarioError` for what no outing has."""
        return charts.thread_chart(self.thread_table(name), name, theme)

    def season(self, theme: str = "light") -> Chart:
        """The dates of all outings in the season's light, by the first outing's orbit data."""
        return charts.dates_chart(self.scenario(self.ids[0]), self.dates_table, theme)

    @property
    def dates_table(self) -> pd.DataFrame:
        """Which dates each outing may have and has, days of rest, and the last date of each open task."""
        return dates_table(self)

    def early_end_table(self, outing: str, every_min: float = 5.0) -> pd.DataFrame:
        """What would be left for later if an outing's work ended at each minute, a row every so many.

        ``minutes_left``: likely minutes of all steps of the backlog not over, or to be done again as what
        they moved comes back inside; a step under way counts whole.
        """
        return early_end_table(self, outing, every_min)

    def early_end(self, outing: str, theme: str = "light") -> Chart:
        """The same as a chart: value and minutes left to do, by the minute at which the work ends."""
        return charts.early_end_chart(self.early_end_table(outing), self.timed_plan(outing).end_min,
                                      outing, theme)


@dataclass(frozen=True, eq=False, repr=False)
class Assignment(TimedAssignment):
    """Which task each outing does and on which date: ``outings``, ``tasks``, ``moves``, ``left_out``.

    ``campaign`` is the new one in memory, ``scenarios`` its outings, ``save`` writes them. ``value`` and
    ``bound`` are by need; ``gap`` is the first need in which the bound is not reached, and by how much.
    """

    @cached_property
    def campaign(self) -> Campaign:
        """The campaign with these outings, in memory."""
        return cast(Campaign, super().campaign)

    def plan(self, outing: str) -> Plan:
        """The plan of an outing with its tasks."""
        return Plan(self.campaign.timed_plan(outing))


def load_campaign(folder: str | Path) -> Campaign:
    """Read the folder of a campaign: ``campaign.toml``, ``backlog.csv``, and each outing's folder in it.

    Raises one `ScenarioError` with every fault of all of them.
    """
    return Campaign(read_campaign(as_path(folder, "folder").absolute()))
