"""The campaign as a user holds it: its outings, each a scenario and a plan to be asked."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from planning_kit.campaign.campaign import TimedCampaign
from planning_kit.campaign.check_campaign import campaign_findings
from planning_kit.front.plan import Odds, Other, Plan, timed
from planning_kit.inputs.campaign_file import read_campaign
from planning_kit.inputs.faults import as_path


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
        """The review pack of an outing, as ``plan.write_pack``, with a page of what the last one left behind.

        And one of what it leaves for the next; neither where there is nothing to be told.
        """
        from planning_kit.show.pack.write import write_pack  # takes long to load, as in plan.write_pack

        plan, at = self.timed_plan(outing), self.ids.index(outing)
        around = (self.end_state(self.ids[at - 1]) if at else None,
                  self.end_state(outing) if at + 1 < len(self.ids) else None)
        return write_pack(plan, folder, None if baseline is None else timed(baseline), chances, around)

    def findings(self) -> pd.DataFrame:
        """What is wrong between the outings, worst first: ``outing``, then the columns of ``plan.findings``.

        What is wrong within one outing is told by ``plan(outing).findings``.
        """
        return campaign_findings(self)


def load_campaign(folder: str | Path) -> Campaign:
    """Read the folder of a campaign: ``campaign.toml``, ``backlog.csv``, and each outing's folder in it.

    Raises one `ScenarioError` with every fault of all of them.
    """
    return Campaign(read_campaign(as_path(folder, "folder").absolute()))
