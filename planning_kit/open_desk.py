"""The way to the desk: widgets load only where the workbench is wanted."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pandas as pd

from planning_kit.explore.session.going_outside import go_outside, log_for
from planning_kit.explore.session.session import Session
from planning_kit.inputs.scenario import Scenario, as_scenario

if TYPE_CHECKING:
    from planning_kit.desk.workbench import Workbench


def workbench(scenario: Scenario, actuals: str | Path | pd.DataFrame | None = None,
              now: str | float | datetime | None = None) -> Workbench:
    """The live workbench of a scenario, for JupyterLab: its tables, chart, findings and margins.

    Edits change a draft; ``.scenario`` and ``.plan`` of what is returned are those of the last draft
    without a fault. Nothing is written to the scenario's folder before Save.

    Outside, which is a switch above the chart, the outing is followed: the log (``log.csv`` in the scenario's
    folder) is written from one-key buttons and the plan is re-timed at every entry and every minute;
    ``.plan`` is then the re-timed plan and ``.log`` the log.

    Parameters
    ----------
    actuals : path or DataFrame
        Open outside, with this log: a file or its folder is appended to; a table, as `read_log` makes it, is
        copied and kept in the session only.
    now : PET minutes, PET as text ``h:mm``, or UTC
        Open outside, with now held at this moment, for a rehearsal or a replay. By default the wall clock is
        followed where it lies in the outing, else now is held at the end of the log.

    Raises `ScenarioError` when the scenario has no plan, for a log that is none, and for a ``now`` outside
    the outing.
    """
    from planning_kit.desk.workbench import Workbench

    as_scenario(scenario).stop_if_happened("workbench")
    session = Session(scenario)
    if actuals is not None or now is not None:
        go_outside(session, None if actuals is None else log_for(actuals), now)
    return Workbench(session)
