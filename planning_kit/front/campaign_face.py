"""The campaign as a user holds it: its outings, each a scenario and a plan to be asked."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from planning_kit.campaign.campaign import TimedCampaign, read_whole_campaign
from planning_kit.campaign.check_campaign import campaign_findings
from planning_kit.front.plan import Plan


@dataclass(frozen=True, eq=False, repr=False)
class Campaign(TimedCampaign):
    """Outings in their order, and the backlog of work: made by `load_campaign`, never changed in place.

    ``outings`` and ``backlog`` are DataFrames; ``scenario(outing)`` and ``plan(outing)`` are those of one.
    """

    def plan(self, outing: str) -> Plan:
        """The plan of an outing; where its folder holds a log, re-timed by it. Raises `ScenarioError`."""
        return Plan(self.timed_plan(outing))

    def findings(self) -> pd.DataFrame:
        """What is wrong between the outings, worst first: ``outing``, then the columns of ``plan.findings``.

        What is wrong within one outing is told by ``plan(outing).findings``.
        """
        return campaign_findings(self)


def load_campaign(folder: str | Path) -> Campaign:
    """Read the folder of a campaign: ``campaign.toml``, ``backlog.csv``, and each outing's folder in it.

    Raises one `ScenarioError` with every fault of all of them.
    """
    return Campaign(read_whole_campaign(folder))
