"""A minimal valid scenario as files, and a way to write it with a few of them changed."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path

SCENARIO_TOML = """\
# the smallest outing that uses every table
format = 2
title = "Small outing"
station = "Test Station"
summary = "Exchange one unit at night."
pet_zero_utc = 2031-05-14T11:20:00Z  # agreed with nobody
pet_zero_earliest = 2031-05-14T10:00:00Z
pet_zero_latest = "2031-05-14T14:00:00Z"
pet_zero_event = "suits on battery"
horizon_h = 12.0
airlock_place = "lock"
orbit = "orbit.json"
x_note = "kept"

[limits]
planned_min = 390
planned_min_source = "demo value"
hard_min = 420
return_reserve_min = 30
emergency_oxygen_min = 30
partner_carry_factor = 2.0

[airlock]
hatch_closed_min = 5
repress_start_min = 5
repress_safe_min = 15
repress_safe_min_source = "demo value"

[lighting]
night_guard_s = 60

[exertion_w]
rest = 120
light = 200
moderate = 300
heavy = 450

[suit]
oxygen_g = 540
co2_g = 700
energy_wh = 450
water_g = 3600
power_w = 55
respiratory_quotient = 0.9
equipment_heat_w = 55
oxygen_reserve_fraction = 0.1

[suit.EV2]
oxygen_g = 520

[relays]
longitudes_deg_east = [-41.0, 174.0]
mask_deg = 2.0

[odds]
common_sd = 0.1

[x_extra]
anything = [1, 2]
"""

TABLES: dict[str, str] = {
    "crew": """\
crew,metres_per_min,exertion_factor,carry_slots,tether_m
EV1,5,1,4,25
EV2,4.50,1.1,4,25
""",
    "actors": """\
actor,title
arm,Arm operator
""",
    "places": """\
place,title,x_m,y_m,z_m,crew_at_once,anchor,socket,caution
lock,Airlock,0,0,0,2,yes,no,
mid,"Waypoint, middle",5,0,0,,no,no,
far,Worksite,12,0,1,1,yes,yes,"Sharp edge
on the left"
""",
    "routes": """\
from_place,to_place,metres,minutes,tight,snag,caution
lock,mid,6,,no,no,
mid,far,8,2.5,yes,no,
""",
    "hardware": """\
item,title,kind,at,end_at,slots,holds,bulky,mass_kg
bag1,Bag,bag,EV1,inside,1,4,no,2
gun,Driver,tool,bag1,,1,,no,3
stand,Foothold,foothold,mid,far,2,,yes,10
newbox,New unit,unit,lock,far,3,,yes,40
""",
    "tasks": """\
task,title,need,priority,swappable,objective
swap,Exchange the unit,required,1,no,Power is back
look,Look around,get-ahead,,yes,
""",
    "steps": """\
step,task,crew,place,title,minutes_low,minutes_likely,minutes_high,after,light,same_window,exertion,foothold,\
takes,leaves,uses,hooks,link,caution,x_ref
s1,swap,EV1,mid,Fetch the foothold,4,5,8,,,,light,,stand gun<bag1,,,,,,17
s2,swap,EV1,far,Set it up,5,6,9,s1,night,g1,moderate,,,stand,gun,EV1,,,
s3,swap,both,far,Exchange,10,12,20,s2,night,g1,heavy,stand,,EV1:gun>bag1,gun,,wait,Careful,
s4,look,EV2,mid,Look,,5,,,day,,rest,,,,,,yes,,
a1,swap,arm,,Move the arm,3,4,5,,,,,,,,,,,,
""",
    "gaps": """\
first_step,then_step,min_gap,max_gap,reason
s1,s2,,60,The unit cools
""",
    "inhibits": """\
inhibit,title,owner,from_step,until_step,lead_min,reason
i1,Bus off,ground,s2,s3,5,No sparks
""",
}

WINDOWS = """\
window,start,end,source
quiet,2031-05-14T12:00:00Z,2031-05-14T15:00:00Z,flight note
quiet,2031-05-14T16:00:00Z,2031-05-14T17:00:00Z,flight note
"""

# Made-up object; a circular-ish orbit at about 400 km and 51.6 degrees.
ORBIT_JSON = """\
{"OBJECT_NAME": "TEST STATION", "OBJECT_ID": "2030-001A", "EPOCH": "2031-05-13T18:00:00.000000",
 "MEAN_MOTION": 15.54, "ECCENTRICITY": 0.0006, "INCLINATION": 51.6, "RA_OF_ASC_NODE": 120.0,
 "ARG_OF_PERICENTER": 80.0, "MEAN_ANOMALY": 10.0, "EPHEMERIS_TYPE": 0, "NORAD_CAT_ID": 90001,
 "BSTAR": 0.0002, "MEAN_MOTION_DOT": 0.00008, "MEAN_MOTION_DDOT": 0.0}
"""


def small_files() -> dict[str, str]:
    """File name to text."""
    return {"scenario.toml": SCENARIO_TOML, "orbit.json": ORBIT_JSON, "windows.csv": WINDOWS,
            **{f"{name}.csv": text for name, text in TABLES.items()}}


def write_small(folder: Path, changed: Mapping[str, str | bytes | None] | None = None) -> Path:
    """Write the scenario into ``folder``; ``changed`` replaces files, and None leaves one out."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in {**small_files(), **(changed or {})}.items():
        if text is not None:
            (folder / name).write_bytes(text if isinstance(text, bytes) else text.encode())
    return folder


def with_cell(table: str, row: int, column: str, value: str) -> dict[str, str]:
    """The file of ``table`` with one cell changed; ``row`` as the file numbers it."""
    text = small_files()[f"{table}.csv"]
    rows = list(csv.reader(io.StringIO(text, newline="")))
    rows[row - 1][rows[0].index(column)] = value
    return {f"{table}.csv": as_csv(rows)}


def as_csv(rows: list[list[str]]) -> str:
    """Rows as CSV text."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()
