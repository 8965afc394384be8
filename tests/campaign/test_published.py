"""Published carry-overs: the state after one outing is the state before the next.

Dates, PET 0, what was done and what was left are published (sources beside each). Places, ways, minutes of
steps and the orbit are invented: nobody has published them as tables.
"""

from __future__ import annotations

from pathlib import Path

import pytest

import planning_kit as pk
from tests.inputs.small_folder import ORBIT_JSON

STEP = ("step,task,crew,place,title,minutes_low,minutes_likely,minutes_high,after,light,same_window,exertion,"
        "foothold,takes,leaves,uses,hooks,link,caution,needs,sets")


def outing(folder: Path, zero: str, tasks: list[str], steps: list[dict[str, object]], hardware: list[str],
           states: list[str]) -> None:
    orbit = ORBIT_JSON.replace("2031-05-13", zero[:10])
    made = pk.new_scenario(folder, station="A station", orbit=orbit, pet_zero_utc=zero)
    for table in ("gaps", "inhibits", "actions", "shots"):
        if (path := folder / f"{table}.csv").exists():
            path.write_text(path.read_text().splitlines()[0] + "\n")
    home = made.settings.airlock_place
    site = next(place for place in made.places["place"] if place != home)
    names = STEP.split(",")
    rows = [{"crew": "EV1", "place": site, "title": row["step"], **row} for row in steps]
    lines = [",".join(str(row.get(name, "")).replace("SITE", site) for name in names) for row in rows]
    (folder / "steps.csv").write_text("\n".join([STEP, *lines]) + "\n")
    (folder / "tasks.csv").write_text("task,title,need,priority,swappable,objective\n" + "".join(
        f"{task},{task},required,,no,\n" for task in tasks))
    (folder / "hardware.csv").write_text("item,title,kind,at,end_at,slots,holds,bulky,mass_kg\n" + "".join(
        f"{row.replace('SITE', site)}\n" for row in hardware))
    (folder / "states.csv").write_text("state,title,values,at_start,at_end,safe_when\n" + "".join(
        f"{row}\n" for row in states))


def campaign_of(folder: Path, first: str, second: str, backlog: str) -> pk.Campaign:
    (folder / "campaign.toml").write_text(
        f'format = 1\ntitle = "As flown"\nstation = "A station"\n'
        f'[outings.A]\nfolder = "a"\nearliest = {first[:10]}\nlatest = {first[:10]}\n'
        f'[outings.B]\nfolder = "b"\nearliest = {second[:10]}\nlatest = {second[:10]}\n')
    (folder / "backlog.csv").write_text(backlog)
    return pk.load_campaign(folder)


def logged(folder: Path, *events: tuple[str, str, str]) -> None:
    (folder / "log.csv").write_text("step,event,at\n" + "".join(",".join(each) + "\n" for each in events))


# https://aviationweek.com/awin/nasa-spacewalkers-thwarted-repair-efforts and
# http://space-travel.com/reports/Astronauts_Complete_Second_Expedition_32_Spacewalk_999.html: begun at 8:16
# a.m. EDT on 2012-08-30, 8 h 17 min; the failed unit was removed and stowed, the new one could not be bolted
# and was tied down; one of two power cables was connected; the camera was not replaced.
# https://spaceflightnow.com/news/n1209/05eva/ and
# http://www.redorbit.com/news/space/1112687921/iss-spacewalk-090512/: begun at 7:06 a.m. EDT on 2012-09-05,
# 6 h 28 min; the unit was installed, and the camera.
TIED, FINISHED = "2012-08-30T12:16:00Z", "2012-09-05T11:06:00Z"


def test_a_unit_tied_down_after_an_attempt_is_finished_six_days_later(tmp_path: Path) -> None:
    tasks = ["UNIT", "CABLE", "CAMERA"]
    steps: list[dict[str, object]] = [
        {"step": "U1", "task": "UNIT", "minutes_likely": 120, "sets": "old=removed"},
        {"step": "U2", "task": "UNIT", "minutes_likely": 20, "leaves": "unit", "sets": "unit-fixed=tied"},
        {"step": "U3", "task": "UNIT", "minutes_likely": 90, "needs": "old=removed",
         "sets": "unit-fixed=bolted"},
        {"step": "C1", "task": "CABLE", "crew": "EV2", "minutes_likely": 60, "sets": "cable-1=connected"},
        {"step": "C2", "task": "CABLE", "crew": "EV2", "minutes_likely": 60, "sets": "cable-2=connected"},
        {"step": "K1", "task": "CAMERA", "crew": "EV2", "minutes_likely": 60, "leaves": "camera"}]
    hardware = ["unit,New unit,unit,EV1,SITE,1,,no,100", "camera,Camera,spare,EV2,SITE,1,,no,5"]
    states = ["old,Failed unit,fitted removed,fitted,removed,none",
              "unit-fixed,How the new unit is held,loose tied bolted,loose,bolted,none",
              "cable-1,Power cable 1,loose connected,loose,,none",
              "cable-2,Power cable 2,loose connected,loose,,none"]
    for name, zero in (("a", TIED), ("b", FINISHED)):
        outing(tmp_path / name, zero, tasks, steps, hardware, states)
    logged(tmp_path / "a", ("U1", "started", "0:30"), ("U1", "finished", "3:00"), ("U2", "started", "3:00"),
           ("U2", "finished", "3:20"), ("U3", "started", "3:20"), ("U3", "skipped", "7:30"),
           ("C1", "started", "0:30"), ("C1", "finished", "2:00"), ("C2", "skipped", "2:00"),
           ("K1", "skipped", "2:00"), ("", "ingress", "8:17"))
    campaign = campaign_of(tmp_path, TIED, FINISHED, "task,title,need,minutes_likely\n"
                           "UNIT,,required,230\nCABLE,,optional,120\nCAMERA,,required,60\n")
    end = campaign.plan("A").end_state()
    assert f"{end.ended:%Y-%m-%dT%H:%M}" == "2012-08-30T20:33"  # 4:33 p.m. EDT, as published
    following = campaign.next_scenario(end)
    starts = dict(zip(following.states["state"], following.states["at_start"], strict=True))
    assert starts == {"old": "removed", "unit-fixed": "tied", "cable-1": "connected", "cable-2": "loose"}
    assert {each.item.item: each.is_outside for each in end.items} == {"unit": True, "camera": False}
    at = dict(zip(following.hardware["item"], following.hardware["at"], strict=True))
    assert at["unit"] == next(each.place for each in end.items if each.item.item == "unit")
    # What the second outing did, and the second cable, which stayed for later.
    assert list(following.steps["step"]) == ["U3", "C2", "K1"]
    done = pk.time_plan(following).end_state()
    assert {each.state.state: each.value for each in done.states}["unit-fixed"] == "bolted"
    found = campaign.with_scenario("B", following).findings()
    assert set(found["severity"]) <= {"concern", "remark"}


# http://astronautix.com/d/details82990.html (MCC status report 19): before the outing of Saturday 2006-12-16
# 17 of 31 bays were extended; at its end six more were retracted, leaving 11; an outing was added on Monday
# 2006-12-18, in which the array was retracted.
# https://spaceref.com/status-report/nasa-space-shuttle-status-report-16-december-2006-930-pm-cst/: begun at
# 1:25 p.m. CST; three bundles of debris panels were left outside for a later outing.
# Length 7 h 31 min: https://www.space.com/3272-sts-116-mission-updates-part-3.html
# The date of the second is published, its PET 0 is from memory.
PUT_OFF, DONE = "2006-12-16T19:25:00Z", "2006-12-18T19:00:00Z"


def test_an_array_retraction_goes_on_two_days_later(tmp_path: Path) -> None:
    bays: list[dict[str, object]] = [
        {"step": f"R{bay}", "task": "ARRAY", "crew": "both", "minutes_likely": 10}
        for bay in range(17, 0, -1)]
    wires: list[dict[str, object]] = [
        {"step": "W1", "task": "WIRE", "crew": "both", "minutes_likely": 110, "sets": "wiring=new"},
        {"step": "P1", "task": "PANELS", "crew": "EV2", "minutes_likely": 20,
         "leaves": "panels-1 panels-2 panels-3"}]
    hardware = [f"panels-{number},Debris panels {number},unit,EV2,,1,,no,50" for number in (1, 2, 3)]
    states = ["wiring,Power grid,old new,old,new,none"]
    outing(tmp_path / "a", PUT_OFF, ["WIRE", "PANELS", "ARRAY"], [*wires, *bays], hardware, states)
    outing(tmp_path / "b", DONE, ["ARRAY"], bays, hardware, states)
    events = [("W1", "started", "0:05"), ("W1", "finished", "1:53"), ("P1", "started", "3:30"),
              ("P1", "finished", "3:50")]
    for number, bay in enumerate(range(17, 11, -1)):
        events += [(f"R{bay}", "started", f"5:{number:02d}"), (f"R{bay}", "finished", f"5:{number + 1:02d}")]
    logged(tmp_path / "a", *events, ("", "ingress", "7:31"))
    campaign = campaign_of(tmp_path, PUT_OFF, DONE, "task,title,need,minutes_likely\nARRAY,,required,170\n")
    end = campaign.plan("A").end_state()
    share = next(each.share for each in end.tasks if each.task.task == "ARRAY")
    assert share == pytest.approx(6 / 17)
    following = campaign.next_scenario(end)
    assert len(following.steps) == 11
    assert set(following.states["at_start"]) == {"new"}
    assert {each.item.item for each in end.items if each.is_outside} == {"panels-1", "panels-2", "panels-3"}
    assert not set(following.hardware["at"]) & {"EV1", "EV2", "inside"}
    again = campaign.with_scenario("B", following)
    assert not len(again.findings())
    assert [each.share for each in again.end_state("B").tasks] == [1.0]


# https://www.aero-news.net/subscribe.cfm?do=main.textpost&id=03D90710-385D-4888-B887-285CC0C98FD2: hatch open
# at 16:56 CDT on 2004-06-24, 14 min 22 s, nothing done. https://www.nasa.gov/home/hqnews/2004/jun/
# HQ_ss04018_station_status.html: the same work from 5:19 p.m. EDT on 2004-06-30 on, 5 h 40 min.
CUT, REPEATED = "2004-06-24T21:56:00Z", "2004-06-30T21:19:00Z"


def test_an_outing_of_fourteen_minutes_is_repeated_whole_six_days_later(tmp_path: Path) -> None:
    steps: list[dict[str, object]] = [
        {"step": "T1", "task": "BREAKER", "crew": "both", "minutes_likely": 60},
        {"step": "T2", "task": "BREAKER", "minutes_likely": 90, "leaves": "breaker", "sets": "power=on"}]
    for name, zero in (("a", CUT), ("b", REPEATED)):
        outing(tmp_path / name, zero, ["BREAKER"], steps, ["breaker,Circuit breaker,spare,EV1,SITE,1,,no,3"],
               ["power,Power of the gyroscope,off on,off,on,none"])
    logged(tmp_path / "a", ("", "ingress", "0:14"))
    campaign = campaign_of(tmp_path, CUT, REPEATED, "task,title,need,minutes_likely\nBREAKER,,required,150\n")
    end = campaign.plan("A").end_state()
    assert [each.share for each in end.tasks] == [0.0]
    assert not any(each.is_outside for each in end.items)
    following = campaign.next_scenario(end)
    assert following.digest == campaign.scenario("B").digest, "all of it is repeated"
    assert not following.told
    moved = campaign.scenario("A").shift_dates(REPEATED)
    assert (moved.records.steps, moved.records.hardware, moved.records.states) == (
        following.records.steps, following.records.hardware, following.records.states)
    assert not len(campaign.findings())
