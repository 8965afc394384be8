"""Each check between outings on two campaigns, one made from nothing: one edit, the finding expected."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

import planning_kit as pk
from tests.campaign.made_campaign import BACKLOG, CAMPAIGN_TOML, write_campaign
from tests.conftest import SCENARIOS
from tests.inputs.small_folder import ORBIT_JSON

BLANK_TOML = """\
format = 1
title = "From nothing"
station = "Test Station"
least_days_between = 3
least_days_between_source = "rule R1"
reserve_min = 20
reserve_min_source = "rule R2"

[outings.A]
folder = "a"
earliest = 2031-05-14
latest = 2031-05-14
crew = ["Ada", "Ben"]

[outings.B]
folder = "b"
earliest = 2031-05-17
latest = 2031-05-20
crew = [["Ada", "Ben"], ["Ben", "Ada"]]
"""
BLANK_BACKLOG = """\
task,title,need,value,must_by,after,least_gap_days,crew,minutes_likely,trained,needs,items
FIT,Fit the box,required,9,,,,EV1,30,,,box
PLUG,Plug it in,required,9,2031-05-20,FIT,1,EV2,20,Ben,lid=open,
"""
HARDWARE = "item,title,kind,at,end_at,slots,holds,bulky,mass_kg,leave_max_h,leave_source\n"
STATES = "state,title,values,at_start,at_end,safe_when,leave_max_h,leave_source\n"
STEPS = ("step,task,crew,place,title,minutes_low,minutes_likely,minutes_high,after,light,same_window,"
         "exertion,foothold,takes,leaves,uses,hooks,link,caution,needs,sets\n")


def from_nothing(folder: Path) -> Path:
    """Two outings of a new outing each: A fits a box and opens a lid, B plugs it in and closes the lid."""
    folder.mkdir()
    (folder / "campaign.toml").write_text(BLANK_TOML)
    (folder / "backlog.csv").write_text(BLANK_BACKLOG)
    for name, day in (("a", "14"), ("b", "17")):
        scenario = pk.new_scenario(folder / name, station="Test Station", orbit=ORBIT_JSON,
                                   pet_zero_utc=f"2031-05-{day}T08:00:00Z",
                                   crew={"EV1": {"name": "Ada"}, "EV2": {"name": "Ben"}})
        site = next(place for place in scenario.places["place"] if place != scenario.settings.airlock_place)
        home = scenario.settings.airlock_place
        steps = {"a": f"A0,EGR,both,{home},Out,,5,,,,,,,,,,,,,,\n"
                      f"A1,FIT,EV1,{site},Fit,,30,,A0,,,,,,box,,,,,,lid=open\n"
                      f"A2,EGR,both,{home},In,,5,,A1,,,,,,,,,,,,\n",
                 "b": f"B0,EGR,both,{home},Out,,5,,,,,,,,,,,,,,\n"
                      f"B1,PLUG,EV2,{site},Plug,,20,,B0,,,,,,,box,,,,lid=open,lid=closed\n"
                      f"B2,EGR,both,{home},In,,5,,B1,,,,,,,,,,,,\n"}[name]
        (folder / name / "steps.csv").write_text(STEPS + steps)
        task = {"a": "FIT", "b": "PLUG"}[name]
        (folder / name / "tasks.csv").write_text(
            f"task,title,need,priority,swappable,objective\nEGR,Out and in,required,,no,\n"
            f"{task},{task},required,,no,\n")
        at, lid = {"a": ("EV1", "closed"), "b": (site, "open")}[name]
        (folder / name / "hardware.csv").write_text(HARDWARE + f"box,The box,unit,{at},{site},1,,no,5,,\n")
        (folder / name / "states.csv").write_text(STATES + f"lid,Lid,open closed,{lid},closed,none,90,cold\n")
        for table in ("gaps", "inhibits", "actions"):
            if (folder / name / f"{table}.csv").exists():
                path = folder / name / f"{table}.csv"
                path.write_text(path.read_text().splitlines()[0] + "\n")
        pk.load_scenario(folder / name)
    return folder


def of_the_small_outing(folder: Path) -> Path:
    """Two outings of the small one; the second begins as the first ends, and does its clean-up task."""
    toml = CAMPAIGN_TOML.replace('crew = [["Ada", "Ben"], ["Ben", "Cy"]]\n', "")
    head = BACKLOG.splitlines()[0]
    backlog = (f"{head}\nCAS,Look,optional,2,,LMP,1,POR,EV1,20,,,0,\n"
               "LMP,Lamp,required,9,,,,,EV1,20,,,0,lamp-new\n")
    campaign = pk.load_campaign(write_campaign(folder, toml, backlog))
    one = campaign.scenario("one")
    one = one.drop_row("gaps", "C2 C3").drop_row("steps", ["C1", "C2", "C3"]).drop_row("tasks", "CAS")
    one = one.edit_row("hardware", "cassette", end_at="").save()
    end = pk.time_plan(one).end_state()
    two = campaign.next_scenario(end, "two")
    assert not two.records.inhibits, "the lamp is in: nothing of it is left to be inhibited"
    lamp = [step.step for step in two.records.steps if step.task == "LMP"]
    two.drop_row("steps", lamp).drop_row("tasks", "LMP").save()
    return folder


CAMPAIGNS = {"small": of_the_small_outing, "nothing": from_nothing}


@pytest.fixture(params=CAMPAIGNS)
def campaign(request: pytest.FixtureRequest, tmp_path: Path) -> pk.Campaign:
    return pk.load_campaign(CAMPAIGNS[request.param](tmp_path / "c"))


def rules(campaign: pk.Campaign) -> list[tuple[str, str, str, str]]:
    found = campaign.findings()
    return [*found[["severity", "outing", "rule", "about"]].itertuples(index=False, name=None)]


def changed(campaign: pk.Campaign, outing: str, edit: Callable[[pk.Scenario], pk.Scenario]) -> pk.Campaign:
    return campaign.with_scenario(outing, edit(campaign.scenario(outing)))


def rewritten(campaign: pk.Campaign, file: str, before: str, after: str) -> pk.Campaign:
    path = campaign.folder / file
    text = path.read_text()
    assert before in text
    path.write_text(text.replace(before, after))
    return pk.load_campaign(campaign.folder)


def first_task(campaign: pk.Campaign) -> str:
    return "FIT" if "FIT" in campaign.tasks else "LMP"


def second_task(campaign: pk.Campaign) -> str:
    return "PLUG" if "PLUG" in campaign.tasks else "CAS"


def test_a_clean_campaign_has_no_finding(campaign: pk.Campaign) -> None:
    assert rules(campaign) == []
    assert list(campaign.findings().columns)[:3] == ["outing", "severity", "check"]


def test_dates_order_and_rest(campaign: pk.Campaign) -> None:
    first, second = campaign.ids
    day = campaign.date_of(first)
    later = changed(campaign, second, lambda it: it.shift_dates(day.replace(month=day.month + 1)))
    assert [each for each in rules(later) if each[2] in ("date", "rest-days", "out-of-order")] == [
        ("stop", second, "date", second)]
    soon = changed(campaign, second, lambda it: it.shift_dates(day.replace(day=day.day + 1)))
    assert ("stop", second, "rest-days", first) in rules(soon)
    row = soon.findings().query("rule == 'rest-days'").iloc[0]
    assert (row["value"], row["limit"]) == (1, campaign.source.settings.least_days_between)
    assert row["source"] in ("demo value", "rule R1")
    before = changed(campaign, second, lambda it: it.shift_dates(day.replace(day=day.day - 1)))
    assert ("stop", second, "out-of-order", first) in rules(before)


def test_a_reserve_that_is_not_kept(campaign: pk.Campaign) -> None:
    outing = campaign.ids[0]
    end = campaign.plan(outing).end_min
    tight = changed(campaign, outing, lambda it: it.with_settings({"limits.planned_min": end + 4.0}))
    assert rules(tight) == [("concern", outing, "reserve", outing)]


def test_a_limit_of_the_campaign_without_its_source_is_a_remark(campaign: pk.Campaign) -> None:
    source = campaign.source.settings.sources["reserve_min"]
    bare = rewritten(campaign, "campaign.toml", f'reserve_min_source = "{source}"\n', "")
    assert rules(bare) == [("remark", "", "no-source", "reserve_min")]


def test_who_goes_and_who_is_trained(campaign: pk.Campaign) -> None:
    second, task = campaign.ids[1], second_task(campaign)
    one, other = "Ada", "Ben"
    if task == "CAS":
        campaign = rewritten(campaign, "campaign.toml", "latest = \"2031-09-09\"",
                             'latest = "2031-09-09"\ncrew = [["Ada", "Ben"], ["Ben", "Ada"]]')
        campaign = rewritten(campaign, "backlog.csv", "CAS,Look,optional,2,,LMP,1,POR,EV1,20,,,",
                             "CAS,Look,optional,2,,LMP,1,POR,EV1,20,,Ben,")
        assert rules(campaign) == [("remark", second, "training-unknown", "CAS")]
    named = changed(campaign, second, lambda it: it.with_crew(EV1={"name": one}, EV2={"name": other}))
    assert rules(named) == []
    traded = changed(named, second, lambda it: it.with_crew(swap=True))
    assert rules(traded) == [("concern", second, "not-trained", task)]
    strange = changed(named, second, lambda it: it.with_crew(EV1={"name": "Cy"}))
    assert ("stop", second, "crew", second) in rules(strange)


def test_a_task_before_its_prerequisite_and_too_soon_after_it(campaign: pk.Campaign) -> None:
    task, first = second_task(campaign), campaign.ids[0]
    prior = first_task(campaign)
    far = rewritten(campaign, "backlog.csv", f",{prior},1,", f",{prior},9,")
    assert [each[1:] for each in rules(far)] == [(campaign.ids[1], "too-soon", task)]
    turned = rewritten(far, "backlog.csv", f",{prior},9,", ",,,")
    assert rules(turned) == []
    path = campaign.folder / "backlog.csv"
    head, *rows = path.read_text().splitlines()
    at = head.split(",").index("after")
    cells = {row.split(",")[0]: row.split(",") for row in rows}
    cells[prior][at] = task
    path.write_text("\n".join([head, *(",".join(each) for each in cells.values())]) + "\n")
    assert ("stop", first, "too-soon", prior) in rules(pk.load_campaign(campaign.folder))


def test_a_must_by_date_and_required_work_that_nobody_does(campaign: pk.Campaign) -> None:
    path = campaign.folder / "backlog.csv"
    head, *rows = path.read_text().splitlines()
    columns, task = head.split(","), second_task(campaign)
    cells = {row.split(",")[0]: row.split(",") for row in rows}
    cells[task][columns.index("must_by")] = campaign.date_of(campaign.ids[0]).isoformat()
    new = ["NEW", *[""] * (len(columns) - 1)]
    new[columns.index("need")], new[columns.index("minutes_likely")] = "required", "10"
    path.write_text("\n".join([head, *(",".join(each) for each in [*cells.values(), new])]) + "\n")
    assert rules(pk.load_campaign(campaign.folder)) == [
        ("stop", campaign.ids[1], "must-by", task), ("concern", "", "not-planned", "NEW")]


def test_an_item_that_is_elsewhere_and_one_put_there_twice(campaign: pk.Campaign) -> None:
    first, second = campaign.ids
    item = "box" if "FIT" in campaign.tasks else "lamp-new"
    end = {each.item.item: each for each in campaign.end_state(first).items}[item]
    moved = changed(campaign, second, lambda it: it.edit_row("hardware", item, at="EV1"))
    severity = "stop" if item == "box" else "concern"
    rule = "item-twice" if item == "box" else "item-elsewhere"
    assert (severity, second, rule, item) in rules(moved)
    gone = campaign.scenario(second).hardware
    if item == "lamp-new":
        lost = changed(campaign, second, lambda it: it.with_table("hardware", gone[gone["item"] != item]))
        assert rules(lost) == [("concern", second, "item-lost", item)]
    assert end.is_outside
    path = campaign.folder / "backlog.csv"
    head, *rows = path.read_text().splitlines()
    at = head.split(",").index("items")
    cells = [row.split(",") for row in rows]
    for each in cells:
        each[at] = item
    path.write_text("\n".join([head, *(",".join(each) for each in cells)]) + "\n")
    assert rules(pk.load_campaign(campaign.folder)) == [("stop", "", "item-twice", item)]


def test_work_that_is_done_is_not_done_again(campaign: pk.Campaign) -> None:
    second, task = campaign.ids[1], first_task(campaign)

    def again(it: pk.Scenario) -> pk.Scenario:
        it = it.add_row("tasks", task=task, need="required", title="Again")
        last = it.steps.iloc[-1]
        return it.add_row("steps", {"step": "AGAIN", "task": task, "crew": "EV1", "place": last["place"],
                                    "minutes_likely": 1, "title": "Again"}, after=it.steps.iloc[-2]["step"])

    assert ("concern", second, "done-twice", task) in rules(changed(campaign, second, again))


def test_states_that_nobody_set_are_otherwise_or_are_left_too_long(tmp_path: Path) -> None:
    campaign = pk.load_campaign(from_nothing(tmp_path / "c"))
    unset = changed(campaign, "A", lambda it: it.edit_row("steps", "A1", sets=""))
    assert ("stop", "B", "state-otherwise", "lid") in rules(unset)
    shut = changed(campaign, "B", lambda it: it.edit_row("states", "lid", at_start="closed"))
    assert set(rules(shut)) == {("stop", "B", "state-otherwise", "lid"), ("stop", "B", "state-unset", "lid")}
    cold = changed(campaign, "A", lambda it: it.edit_row("states", "lid", leave_max_h=70))
    assert rules(cold) == [("stop", "A", "left-too-long", "lid")]
    row = cold.findings().iloc[0]
    # Open from 08:00 and a good half hour on the 14th; B1 begins on the 17th after five minutes and the way.
    assert 71 < row["value"] < 72
    assert "cold" in row["message"]
    # Nobody comes: a stop where the limit passes before the last outing is over, else a concern.
    nobody = changed(campaign, "B", lambda it: it.edit_row("steps", "B1", sets="", needs=""))
    assert ("concern", "A", "left-too-long", "lid") in rules(nobody)
    never = changed(nobody, "A", lambda it: it.edit_row("states", "lid", leave_max_h=70))
    assert ("stop", "A", "left-too-long", "lid") in rules(never)
    last = never.findings().query("rule == 'left-too-long'").iloc[0]
    assert last["value"] > row["value"], "at least until then"
    assert "over before B is, and no later outing comes to it" in last["message"]


def test_a_state_without_an_end_of_its_own_is_held_against_that_of_another_outing(tmp_path: Path) -> None:
    campaign = changed(pk.load_campaign(from_nothing(tmp_path / "c")), "A",
                       lambda it: it.edit_row("states", "lid", at_end="", leave_max_h=70))
    assert rules(campaign) == [("stop", "A", "left-too-long", "lid")]
    none = changed(campaign, "B", lambda it: it.edit_row("states", "lid", at_end=""))
    assert rules(none) == [("stop", "A", "left-too-long", "lid")], "it was closed at first"
    later = changed(changed(campaign, "A", lambda it: it.edit_row("states", "lid", leave_max_h="")),
                    "B", lambda it: it.edit_row("states", "lid", leave_max_h=70))
    assert rules(later) == [("stop", "A", "left-too-long", "lid")], "the limit of any outing counts"
    may = changed(campaign, "A", lambda it: it.edit_row("states", "lid", at_end="open"))
    assert rules(may) == []


def test_a_state_perhaps_on_its_way_counts_as_not_where_it_must_be(tmp_path: Path) -> None:
    campaign = pk.load_campaign(from_nothing(tmp_path / "c"))
    campaign.scenario("A").edit_row("states", "lid", at_end="", leave_max_h=70).save()
    (campaign.folder / "a" / "log.csv").write_text(
        "step,event,at\nA0,started,0:00\nA0,finished,0:05\nA1,started,0:08\nA1,partly,0:20\n,ingress,0:30\n")
    campaign = pk.load_campaign(campaign.folder)
    assert ("stop", "A", "left-too-long", "lid") in rules(campaign)
    lid = campaign.thread_table("lid").query("outing == 'A'")
    assert lid["is"].to_list() == ["closed", "closed, or on the way to open: look first"]
    assert lid["from_min"].iloc[1] == 8, "from the start of the step that was left half done"


def test_an_item_left_too_long_is_a_stop_and_one_where_it_belongs_is_not(campaign: pk.Campaign) -> None:
    first, second = campaign.ids
    item = "box" if "FIT" in campaign.tasks else "cassette"
    both = campaign
    for outing in campaign.ids:
        both = changed(both, outing, lambda it: it.edit_row("hardware", item, end_at="", leave_max_h=10,
                                                            leave_source="uncovered"))
    assert ("stop", first, "left-too-long", item) in rules(both)
    if item == "box":
        home = changed(both, first, lambda it: it.edit_row(
            "hardware", item, end_at=it.records.steps[1].place))
        assert ("stop", first, "left-too-long", item) not in rules(home)
    assert second


def test_an_inhibit_left_in_force_is_told_until_it_is_carried_over(tmp_path: Path) -> None:
    folder = write_campaign(tmp_path / "c", backlog=None)
    plan = pk.time_plan(pk.load_scenario(folder / "one"))
    begun = float(plan.timeline.query("step == 'B3' and kind == 'work'")["start_min"].iloc[0])
    log = [f"{step},{event},{at}" for step, event, at in (
        ("A1", "started", "0:00"), ("A1", "finished", "0:10"), ("B1", "started", "0:11"),
        ("B1", "finished", "0:15"), ("B2", "started", "0:17"), ("B2", "finished", "0:31"),
        ("", "ingress", "0:45"))]
    (folder / "one" / "log.csv").write_text("step,event,at\n" + "\n".join(log) + "\n")
    campaign = pk.load_campaign(folder)
    assert begun > 31
    assert ("concern", "two", "inhibit-left", "I-LMP") in rules(campaign)
    carried = campaign.with_scenario("two", campaign.next_scenario(campaign.plan("one").end_state()))
    assert rules(carried) == []
    assert SCENARIOS.exists()


def test_an_edit_keeps_the_plans_of_the_other_outings(campaign: pk.Campaign) -> None:
    first, second = campaign.ids
    campaign.findings()
    edited = changed(campaign, second, lambda it: it.shift_dates(campaign.date_of(second).replace(day=18)))
    assert edited.timed_plan(first) is campaign.timed_plan(first)
    assert edited.timed_plan(second) is not campaign.timed_plan(second)
    assert edited.end_state(first) is campaign.end_state(first)


def with_one_between(campaign: pk.Campaign) -> pk.Campaign:
    """The campaign with an outing between its two, which has rows of nothing that can be left."""
    base = campaign.folder
    idle = pk.new_scenario(base / "m", station="Test Station", orbit=ORBIT_JSON,
                           pet_zero_utc="2031-05-20T08:00:00Z")
    idle.save()
    path = base / "campaign.toml"
    head, last = path.read_text().replace("2031-05-20", "2031-05-30").split("[outings.B]")
    path.write_text(f'{head}[outings.M]\nfolder = "m"\nearliest = 2031-05-17\nlatest = 2031-05-30\n\n'
                    f"[outings.B]{last}")
    campaign.scenario("B").shift_dates("2031-05-24").save()
    return pk.load_campaign(base)


def test_what_is_left_does_not_vanish_over_an_outing_without_a_row_of_it(tmp_path: Path) -> None:
    campaign = with_one_between(pk.load_campaign(from_nothing(tmp_path / "c")))
    assert not {"lid", "box"} & {*campaign.scenario("M").states["state"],
                                 *campaign.scenario("M").hardware["item"]}
    kinds = ("state-otherwise", "item-elsewhere", "item-twice", "item-lost", "inhibit-left")
    told = [each for each in rules(campaign) if each[2] in kinds]
    assert told == [("concern", "M", "item-lost", "box")]
    shut = changed(campaign, "B", lambda it: it.edit_row("states", "lid", at_start="closed").edit_row(
        "hardware", "box", at="EV2"))
    told = [each for each in rules(shut) if each[2] in kinds and each[1] == "B"]
    assert told == [("stop", "B", "item-twice", "box"), ("stop", "B", "state-otherwise", "lid")]
    words = shut.findings().query("rule == 'state-otherwise'")["message"].iloc[0]
    assert "begins closed, and A leaves it open" in words
    held = {"inhibit": "TX", "title": "Radio", "owner": "Desk", "from_step": "A1", "until_step": "A2",
            "lead_min": 1, "reason": "radiates"}
    left = changed(campaign, "A", lambda it: it.add_row("inhibits", held))
    log = [f"{step},{event},{at}" for step, event, at in (
        ("A0", "started", "0:00"), ("A0", "finished", "0:05"), ("A1", "started", "0:08"),
        ("A1", "finished", "0:20"), ("", "ingress", "0:30"))]
    left.scenario("A").save()
    (campaign.folder / "a" / "log.csv").write_text("step,event,at\n" + "\n".join(log) + "\n")
    begun = pk.load_campaign(campaign.folder)
    again = changed(begun, "B", lambda it: it.add_row("inhibits", {
        **held, "from_step": "B1", "until_step": "B2"}))
    assert ("concern", "B", "inhibit-left", "TX") in rules(again)
