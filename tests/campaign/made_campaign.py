"""Campaigns as files, for tests: two outings of the small outing, whose station is the campaign's."""

from __future__ import annotations

import shutil
from pathlib import Path

from tests.conftest import SCENARIOS

CAMPAIGN_TOML = """\
format = 1
title = "Two outings"
station = "Heron Annex"
least_days_between = 2
least_days_between_source = "demo value"
reserve_min = 5
reserve_min_source = "demo value"

[outings.one]
folder = "one"
earliest = 2031-09-03
latest = 2031-09-04
work_after = "A1"

[outings.two]
folder = "two"
earliest = 2031-09-05
latest = "2031-09-09"
crew = [["Ada", "Ben"], ["Ben", "Cy"]]
"""
BACKLOG = """\
task,title,need,value,must_by,after,least_gap_days,place,crew,minutes_likely,steps,trained,share_done,items
CLN,Clean,required,10,2031-09-20,,,,both,40,,Ada; Ben,,
CAS,Look,optional,2,,CLN,1,POR,EV1,20,,,0.5,
"""
SHARED = ("places.csv", "routes.csv", "hardware.csv")


def write_campaign(folder: Path, toml: str = CAMPAIGN_TOML, backlog: str | None = BACKLOG,
                   base: str = "small-outing", days: int = 2) -> Path:
    """Write a campaign of two outings made from one of the scenarios; ``days`` lie between the two."""
    source = SCENARIOS / base
    folder.mkdir(parents=True)
    (folder / "campaign.toml").write_text(toml, encoding="utf-8")
    if backlog is not None:
        (folder / "backlog.csv").write_text(backlog, encoding="utf-8")
    for name in SHARED:
        shutil.copy(source / name, folder / name)
    for number, outing in enumerate(("one", "two")):
        shutil.copytree(source, folder / outing, ignore=shutil.ignore_patterns(*SHARED, "log.csv"))
        path = folder / outing / "scenario.toml"
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace("2031-09-03T", f"2031-09-{3 + days * number:02d}T"), encoding="utf-8")
    return folder
