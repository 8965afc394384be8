"""A campaign: its outings in their order, each with its scenario and plan, and the backlog of work."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Self, TypeVar

import pandas as pd

from planning_kit.campaign.carrying import carried_into, left_by
from planning_kit.campaign.end_state import EndState, end_state
from planning_kit.campaign.put_in import TaskRows
from planning_kit.campaign.remembered import NOTHING, Remembered
from planning_kit.explore.retime.retiming import retime
from planning_kit.inputs.campaign_file import CampaignSource, read_campaign
from planning_kit.inputs.campaign_records import BACKLOG, BacklogTask
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults, ScenarioError, must_be
from planning_kit.inputs.format import CAMPAIGN_FILE
from planning_kit.inputs.log_format import LOG_FILE
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.scenario import Scenario, as_scenario, save_all
from planning_kit.inputs.setting_records import FrozenMapping
from planning_kit.inputs.shown_text import TextTable, one_line
from planning_kit.inputs.typed_tables import frame_of
from planning_kit.plan.timed import TimedPlan

OUTING_COLUMNS = ["outing", "folder", "title", "earliest", "latest", "pet_zero_utc", "EV1", "EV2", "tasks",
                  "work_after", "has_log"]


Around = tuple[EndState | None, EndState | None] | str
"""What the outings before left, and what is left for the next (None: there is none); or why it is unknown."""


@dataclass(frozen=True, eq=False, repr=False)
class TimedCampaign:
    """A campaign, never changed in place; a change gives another one, which keeps the plans that still hold.

    ``source`` is what its folder says; ``known`` and ``ends`` hold what was timed so far, by outing;
    ``remembered`` what the outings were before tasks were moved.
    """

    source: CampaignSource
    known: dict[str, TimedPlan] = field(default_factory=dict)
    ends: dict[str, EndState] = field(default_factory=dict)
    remembered: Mapping[str, Remembered] = FrozenMapping({})

    @property
    def folder(self) -> Path:
        """The folder that it was read from."""
        return self.source.folder

    @property
    def ids(self) -> tuple[str, ...]:
        """The outings' ids, in their order."""
        return tuple(self.source.outings)

    @property
    def backlog(self) -> pd.DataFrame:
        """``backlog.csv``; empty where there is none."""
        return frame_of(BACKLOG, self.source.raw_backlog or RawTable(BACKLOG.name))

    @property
    def tasks(self) -> Mapping[str, BacklogTask]:
        """The work of the backlog by id, in its order."""
        return {task.task: task for task in self.source.backlog}

    @property
    def outings(self) -> pd.DataFrame:
        """A row an outing: id, folder, title, dates, PET 0, who goes, its tasks of the backlog."""
        rows = []
        for name, outing in self.source.outings.items():
            scenario = self.scenario(name)
            rows.append([name, outing.folder, scenario.settings.title, outing.earliest.isoformat(),
                         outing.latest.isoformat(), f"{scenario.settings.pet_zero_utc:%Y-%m-%dT%H:%M:%SZ}",
                         *self.people(name), " ".join(self.planned(name)), outing.work_after,
                         self.has_log(name)])
        return TextTable(rows, columns=OUTING_COLUMNS)

    def people(self, outing: str) -> tuple[str, str]:
        """Who is EV1 and EV2: as crew.csv says, else the only pair of ``campaign.toml``, else ""."""
        named = tuple(one_line(each.name) for each in sorted(self.scenario(outing).records.crew,
                                                             key=lambda each: each.crew))
        pairs = self.source.outings[outing].crew
        first, second = (name or (pairs[0][at] if len(pairs) == 1 else "") for at, name in enumerate(named))
        return first, second

    def planned(self, outing: str) -> tuple[str, ...]:
        """The tasks of the backlog that an outing is to do, in the order of its tasks."""
        return tuple(task.task for task in self.scenario(outing).records.tasks if task.task in self.tasks)

    def has_log(self, outing: str) -> bool:
        """Whether the outing is under way or over: its folder holds a log."""
        return os.path.lexists(self.scenario(outing).folder / LOG_FILE)

    def scenario(self, outing: str) -> Scenario:
        """The scenario of an outing, as ``load_scenario`` of its folder gives it."""
        return self.source.scenarios[self._named(outing)]

    def timed_plan(self, outing: str) -> TimedPlan:
        """The plan of an outing; where its folder holds a log, re-timed by it. Raises `ScenarioError`."""
        name = self._named(outing)
        if name not in self.known:
            scenario = self.scenario(name)
            plan = TimedPlan.of(scenario)
            self.known[name] = retime(plan, scenario.folder) if self.has_log(name) else plan
        return self.known[name]

    def with_scenario(self, outing: str, scenario: Scenario) -> Self:
        """The campaign with another scenario of one outing; the plans of the others are kept."""
        name = self._named(outing)
        scenarios = FrozenMapping({**self.source.scenarios, name: as_scenario(scenario)})
        known = {each: plan for each, plan in self.known.items() if each != name}
        ends = {each: end for each, end in self.ends.items() if each != name}
        return replace(self, source=replace(self.source, scenarios=scenarios), known=known, ends=ends)

    def end_state(self, outing: str, minute: object = None) -> EndState:
        """What an outing leaves behind (see `planning_kit.campaign.end_state`); kept, where none is asked."""
        if minute is not None:
            return end_state(self.timed_plan(outing), minute)
        if self._named(outing) not in self.ends:
            self.ends[outing] = end_state(self.timed_plan(outing))
        return self.ends[outing]

    def next_scenario(self, end: EndState, outing: str | None = None) -> Scenario:
        """The scenario of the outing after that of ``end``, or of ``outing``, as it begins then.

        What outings before that of ``end`` have left, and it has no row of, is carried over, too.
        ``told`` says what was carried over, and what no table of it can say. It is bound to that outing's
        folder: ``save`` writes it there. Raises `ScenarioError` where there is no next outing.
        """
        must_be(end, EndState, "end_state", "must be an end state, such as plan.end_state() gives")
        here = next((name for name in self.ids if self.scenario(name).folder == end.folder), None)
        if outing is None:
            after = self.ids[self.ids.index(here) + 1:] if here else ()
            if not after:
                raise ScenarioError.single("is of the last outing of this campaign, or of none: name the "
                                           "outing that follows", column="end_state", value=end.folder)
            outing = after[0]
        older = (self.end_state(name) for name in self.ids[:self.ids.index(here) if here else 0])
        return carried_into(self.scenario(outing), left_by((*older, end), self.tasks), self.tasks)

    def left_after(self, outing: str) -> EndState:
        """What an outing and all before it leave behind, together (`planning_kit.campaign.carrying`)."""
        ends = [self.end_state(name) for name in self.ids[:self.ids.index(self._named(outing)) + 1]]
        return left_by(ends, self.tasks)

    def around(self, outing: str) -> Around:
        """What the outings before have left, and what is left after this one, for the pages of its pack."""
        at = self.ids.index(self._named(outing))
        return (self.left_after(self.ids[at - 1]) if at else None,
                self.left_after(outing) if at + 1 < len(self.ids) else None)

    def next_outing(self, outing: str) -> str:
        """The one that follows. Raises `ScenarioError` for the last one."""
        after = self.ids[self.ids.index(self._named(outing)) + 1:]
        if not after:
            raise ScenarioError.single("is the last outing of this campaign: none follows", column="outing",
                                       value=outing)
        return after[0]

    def date_of(self, outing: str) -> date:
        """The UTC date of an outing's PET 0."""
        return self.timed_plan(outing).pet_zero.date()

    def _named(self, outing: object) -> str:
        if not isinstance(outing, str) or outing not in self.source.outings:
            raise ScenarioError.single(f"is no outing of this campaign; they are {', '.join(self.ids)}"
                                       f"{did_you_mean(str(outing), self.ids)}", column="outing",
                                       value=outing)
        return outing

    def __repr__(self) -> str:
        return (f"<{type(self).__name__} {one_line(self.source.settings.title)!r}: {len(self.ids)} outings, "
                f"{len(self.source.backlog)} tasks>")


C = TypeVar("C", bound=TimedCampaign)


def around_of(plan: TimedPlan) -> Around:
    """`TimedCampaign.around` of the campaign in which the folder of a plan's scenario is, with this plan."""
    folder = plan.scenario.folder
    if not os.path.lexists(folder.parent / CAMPAIGN_FILE):
        return None, None
    try:
        campaign = TimedCampaign(read_campaign(folder.parent))
        here = next((name for name in campaign.ids if campaign.scenario(name).folder == folder), None)
        if here is None:
            return None, None
        campaign.known[here] = plan
        return campaign.around(here)
    except ScenarioError as fault:
        return f"What other outings leave is not known, the campaign cannot be read or timed: {fault.words}"


def with_moved(campaign: C, outing: str, plan: TimedPlan, alone: tuple[Scenario, Scenario],
               rows: Mapping[str, TaskRows]) -> C:
    """The campaign with another plan of one outing, which a move has made; what it was is remembered.

    ``alone``: it before and after, without what others leave; ``rows``: open tasks as the backlog has them.
    """
    before = campaign.remembered.get(outing, NOTHING).after(*alone, plan.scenario, rows)
    after = campaign.with_scenario(outing, plan.scenario)
    after.known[outing] = plan
    return replace(after, remembered=FrozenMapping({**campaign.remembered, outing: before}))


def save_changed(campaign: TimedCampaign, planned: Iterable[str], scenarios: Iterable[Scenario]) -> None:
    """Save outings of a campaign into their folders, all or none.

    ``planned``: all outings that were taken as not yet begun when this was worked out. One of them that has
    got a log since leaves what nobody has counted on, even where nothing of itself is saved: a fault. So is a
    backlog or another file of the campaign's own that has changed since. Raises `SaveConflict` or
    `ScenarioError`; nothing has changed then, in no folder.
    """
    faults = Faults()
    for name in filter(campaign.has_log, planned):
        faults.add(LOG_FILE, None, "outing", name, f"{name} is under way since: it has a log; read again. "
                   "Nothing was saved")
    faults.stop_if_any()
    save_all(campaign.folder, scenarios, campaign.source.on_disk)
