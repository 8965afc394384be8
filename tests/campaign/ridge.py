"""A campaign made from nothing, for tests: a depot of six places in a line, and some outings."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

import planning_kit as pk
from tests.conftest import SCENARIOS

FIRST = date(2031, 9, 3)
PLACES = ("LCK", "P1", "P2", "P3", "P4", "P5")
STEPS = ("step,task,crew,place,title,minutes_low,minutes_likely,minutes_high,after,light,same_window,"
         "exertion,foothold,takes,leaves,uses,hooks,link,caution")
OWN_STEPS = f"""{STEPS}
E1,EGR,both,LCK,Out,18,20,25,,,,light,,,,,,,
E2,EGR,both,P1,Hook,3,4,5,,,,light,,,,,EV1 EV2,,
X1,CLN,both,LCK,In,12,15,20,,,,light,,,,,EV1 EV2,,
"""
SETTINGS = """format = 2
title = "Ridge outing"
station = "Ridge Depot"
pet_zero_utc = "{day}T07:30:00Z"
horizon_h = 9
airlock_place = "LCK"
orbit = "orbit.kvn"

[limits]
planned_min = {planned:g}
planned_min_source = "demo value"
hard_min = {hard:g}
hard_min_source = "demo value"
return_reserve_min = 10
return_reserve_min_source = "demo value"
emergency_oxygen_min = 30
emergency_oxygen_min_source = "demo value"
partner_carry_factor = 1.5
partner_carry_factor_source = "demo value"
hook_move_min = 1
hook_move_min_source = "demo value"

[airlock]
hatch_closed_min = 3
hatch_closed_min_source = "demo value"
repress_start_min = 5
repress_start_min_source = "demo value"
repress_safe_min = 9
repress_safe_min_source = "demo value"
ends = "hatch_closed"
ends_source = "demo value"

[lighting]
night_guard_s = 30

[exertion_w]
rest = 110
light = 200
moderate = 280
heavy = 390

[suit]
oxygen_g = 900
co2_g = 1100
energy_wh = 700
water_g = 6000
power_w = 50
respiratory_quotient = 0.9
equipment_heat_w = 40
oxygen_reserve_fraction = 0.1
co2_reserve_fraction = 0.1
energy_reserve_fraction = 0.1
water_reserve_fraction = 0.1
"""
HEADERS = {"gaps": "first_step,then_step,min_gap,max_gap,reason",
           "inhibits": "inhibit,title,owner,from_step,until_step,lead_min,reason",
           "hardware": "item,title,kind,at,end_at,slots,holds,bulky,mass_kg"}
BACKLOG = "task,title,need,value,must_by,after,least_gap_days,place,crew,minutes_likely,trained"


def write_ridge(folder: Path, backlog: Sequence[str], outings: int = 2, *, planned: float = 150.0,
                dates: int = 2, apart: int = 5, pairs: str = "", reserve: float = 10.0) -> Path:
    """Write it. ``backlog``: rows below `BACKLOG`; an outing has so many ``dates``, ``apart`` days later."""
    folder.mkdir(parents=True)
    toml = [f'format = 1\ntitle = "Ridge"\nstation = "Ridge Depot"\nleast_days_between = 2\n'
            f'least_days_between_source = "demo value"\nreserve_min = {reserve:g}\n'
            'reserve_min_source = "demo value"\n']
    for number in range(outings):
        day = FIRST + timedelta(days=apart * number)
        toml.append(f'[outings.R{number + 1}]\nfolder = "r{number + 1}"\nearliest = {day}\n'
                    f'latest = {day + timedelta(days=dates - 1)}\nwork_after = "E2"\n{pairs}')
        own = folder / f"r{number + 1}"
        own.mkdir()
        settings = SETTINGS.format(day=day, planned=planned, hard=planned + 40)
        (own / "scenario.toml").write_text(settings, encoding="utf-8")
        shutil.copy(SCENARIOS / "small-outing" / "orbit.kvn", own)
        _write(own / "crew.csv", "crew,metres_per_min,exertion_factor,carry_slots,tether_m,name",
               "EV1,6,1,4,60,Ada", "EV2,6,1,4,60,Ben")
        _write(own / "tasks.csv", "task,title,need,priority,swappable,objective", "EGR,Out,required,1,no,",
               "CLN,In,required,1,no,")
        (own / "steps.csv").write_text(OWN_STEPS, encoding="utf-8")
        for name in ("gaps", "inhibits"):
            _write(own / f"{name}.csv", HEADERS[name])
    (folder / "campaign.toml").write_text("\n".join(toml), encoding="utf-8")
    _write(folder / "backlog.csv", BACKLOG, *backlog)
    _write(folder / "hardware.csv", HEADERS["hardware"])
    _write(folder / "places.csv", "place,title,x_m,y_m,z_m,crew_at_once,anchor,socket,caution",
           *(f"{name},Place {name},{6 * at},2,0,2,yes,no," for at, name in enumerate(PLACES)))
    _write(folder / "routes.csv", "from_place,to_place,metres,minutes,tight,snag,caution",
           *(f"{one},{other},6,,no,no," for one, other in pairwise(PLACES)))
    return folder


def _write(path: Path, *lines: str) -> None:
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def after(campaign: pk.Campaign, *moves: tuple[str, str]) -> pk.Campaign:
    """The campaign after moves, each of which must hold."""
    for task, outing in moves:
        found = campaign.moved(task, outing)
        assert found.why_not == "", found.words
        campaign = found.campaign
    return campaign
