"""What an outing leaves behind, and the next that begins with it: nothing appears, nothing vanishes."""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.campaign.carrying import carried_into, rest_of
from planning_kit.campaign.end_state import EndState
from planning_kit.plan.custody import is_in
from tests.campaign.made_campaign import write_campaign
from tests.campaign.test_campaign_checks import from_nothing
from tests.conftest import SCENARIOS, TESTS
from tests.explore.retime.rehearsal import rehearsed
from tests.inputs.small_folder import ORBIT_JSON
from tests.plan.outings import random_outing

NAMES = ("small-outing", "tern-station", "../tests/data/curlew-deck", "../tests/data/orders-rowan", "4", "6",
         "9")


@cache
def plan_of(name: str) -> pk.Plan:
    if name.isdigit():
        return pk.time_plan(random_outing(random.Random(int(name)), slips=0.0))
    return pk.time_plan(pk.load_scenario(SCENARIOS / name))


def root(scenario: pk.Scenario, name: str) -> str:
    """Where an item of a scenario is at PET 0, or ``inside``: by a second hand, from the tables alone."""
    at = dict(zip(scenario.hardware["item"], scenario.hardware["at"], strict=True))
    where = at[name]
    while where in at:
        where = at[where]
    outside = set(scenario.places["place"]) - {scenario.settings.airlock_place}
    return where if where in outside else "inside"


def conserved(end: EndState, scenario: pk.Scenario) -> None:
    before = [each.item.item for each in end.items]
    assert len(before) == len(set(before))
    assert set(before) <= set(scenario.hardware["item"])
    for each in end.items:
        assert root(scenario, each.item.item) == each.place, each.item.item
    starts = dict(zip(scenario.states["state"], scenario.states["at_start"], strict=True))
    assert {each.state.state: each.value for each in end.states} == starts
    held = {each.inhibit.inhibit for each in end.inhibits}
    assert {each.inhibit for each in scenario.records.inhibits if each.set_at != ""} == held


def set_min(scenario: pk.Scenario) -> float:
    """When the plan has the first inhibit set, PET minutes."""
    return float(pk.time_plan(scenario).inhibits["set_by_min"].iloc[0])


def random_log(plan: pk.Plan, seed: int) -> tuple[pd.DataFrame, float]:
    """A log that ends somewhere: steps slower or faster, some skipped; a rest may be left, or both go in."""
    draw = random.Random(seed)
    now = plan.end_min * draw.random()
    log = rehearsed(plan, seed, now)
    begun, over = (set(log[log["event"] == event]["step"]) for event in ("started", "finished"))
    later = [step.step for step in plan.timed.steps if step.step not in begun]
    rows = [{"step": step, "event": "skipped", "at": now, "remaining_min": ""}
            for step in later if draw.random() < 0.2]
    if draw.random() < 0.5:
        starts = log[log["event"] == "started"].set_index("step")["at"]
        rows += [{"step": step, "event": "partly" if starts[step] < now else "skipped", "at": now,
                  "remaining_min": 3 if starts[step] < now else ""} for step in sorted(begun - over)]
        rows.append({"step": "", "event": "ingress", "at": now + 5.0, "remaining_min": ""})
        now += 5.0
    return pd.concat([log, pd.DataFrame(rows, columns=log.columns)], ignore_index=True), now


def after_a_log(seed: int, plan: pk.Plan) -> None:
    log, now = random_log(plan, seed)
    live = plan.retime(log, now)
    end = live.end_state()
    assert {each.item.item for each in end.items} == set(plan.scenario.hardware["item"])
    last = live.custody.groupby("item")["holder"].last()
    for each in end.items:
        is_home = is_in(plan.scenario.records, last[each.item.item])
        assert each.place == ("inside" if is_home else last[each.item.item])
    assert all(0.0 <= each.share <= 1.0 and each.left_min >= 0 for each in end.tasks)
    following = carried_into(plan.scenario, end)
    conserved(end, following)
    for task in end.tasks:  # what is told as still to do is what the next outing gets to do
        own = [step for step in plan.scenario.records.steps if step.task == task.task.task]
        rest = [step.minutes_likely for row in own if (step := rest_of(row, end)) is not None]
        assert task.share == 1 or task.left_min == pytest.approx(sum(rest), abs=1e-4)
    again = carried_into(following, end)
    assert again.digest == following.digest, "what was carried over is not carried over once more"


@pytest.mark.parametrize("seed", range(42))
def test_every_item_and_state_is_conserved_after_a_random_log(seed: int) -> None:
    after_a_log(seed, plan_of(NAMES[seed % len(NAMES)]))


@pytest.mark.parametrize("outing", range(50))
def test_a_thousand_random_logs_of_fifty_random_outings(outing: int) -> None:
    try:
        plan = plan_of(str(outing))
    except pk.ScenarioError:  # no way leads to a place, or so: the small one instead
        plan = plan_of("small-outing")
    for seed in range(20):
        after_a_log(20 * outing + seed, plan)


@pytest.mark.parametrize("name", [*NAMES, "faulty-plan"])
def test_after_an_outing_with_nothing_to_do_the_next_is_the_same_to_the_digest(name: str) -> None:
    scenario = plan_of(name).scenario
    idle = pk.time_plan(scenario).what_if(drop=[step.step for step in scenario.records.steps])
    following = carried_into(scenario.shift_dates("2031-12-01"), idle.end_state(), [
        task.task for task in scenario.records.tasks])
    assert following.digest == scenario.shift_dates("2031-12-01").digest
    back = following.with_settings({
        key: getattr(scenario.settings, key) and getattr(scenario.settings, key).isoformat()
        for key in ("pet_zero_utc", "pet_zero_earliest", "pet_zero_latest")})
    assert back.digest == scenario.digest, "but for title and dates"


@pytest.mark.parametrize("name", NAMES)
def test_if_we_end_now_all_is_conserved_and_less_is_left_the_later_it_is(name: str) -> None:
    plan = plan_of(name)
    left = []
    for share in (0.0, 0.13, 0.37, 0.5, 0.77, 1.0):
        end = plan.end_state(share * plan.end_min)
        conserved(end, carried_into(plan.scenario, end))
        assert end.end_min >= share * plan.end_min - 1e-6
        assert {end.hooks[crew] for crew in end.hooks} == {plan.scenario.settings.airlock_place}
        left.append(sum(end.left_min.values()))
        # What came back inside half done is done again: never less than what is not done yet.
        assert sum(each.left_min for each in end.tasks) >= left[-1] - 1e-6
    assert left == sorted(left, reverse=True)
    assert left[-1] == pytest.approx(0.0, abs=1e-6)
    assert left[0] == pytest.approx(sum(step.minutes_likely for step in plan.timed.steps), rel=0.2)
    whole = plan.end_state()
    assert [(each.item.item, each.place, each.in_bag) for each in end.items] == [
        (each.item.item, each.place, each.in_bag) for each in whole.items]


def test_an_early_end_of_the_small_outing_by_hand() -> None:
    # B3 (the lamp swap, 14 min) runs from 0:35.6 on; at 0:40 its lamps are in hand, the cassette hangs open.
    plan = plan_of("small-outing")
    end = plan.end_state(40)
    place = {each.item.item: each.place for each in end.items}
    assert place == {"driver": "inside", "lamp-new": "inside", "lamp-old": "inside", "foothold": "MST",
                     "bag": "inside", "cassette": "POR"}
    left = {each.task.task: each.left_min for each in end.tasks}
    begun = float(plan.timeline.query("step == 'B3' and kind == 'work'")["start_min"].iloc[0])
    assert end.left_min["B3"] == pytest.approx(14 - (40 - begun))
    # The lamp and the bag came home: B1 to B3 (4, 13, 14) again, and C1 (3) before what is left, C3 (8).
    assert left == pytest.approx({"EGR": 0, "LMP": 4 + 13 + 14, "CAS": 3 + 8, "CLN": 10})
    assert [each.inhibit.inhibit for each in end.inhibits] == ["I-LMP"]
    told = end.frame.set_index("id")["is"]
    assert told["cassette"] == "left outside at Port deck"
    assert "still in force, held by Ground desk" in told["I-LMP"]
    assert "inside at 0:51" in told["EV1"].iloc[0]


def test_a_minute_that_is_past_or_outside_is_told() -> None:
    plan = plan_of("small-outing")
    live = plan.retime(rehearsed(plan, 3, 30.0), 30.0)
    assert live.end_state(31).asked_min == 31
    for of, minute in ((live, 10), (plan, -1), (plan, 1e4), (plan, "soon")):
        with pytest.raises(pk.ScenarioError):
            of.end_state(minute)


def test_the_next_outing_of_a_campaign_goes_on_with_the_work(tmp_path: Path) -> None:
    campaign = pk.load_campaign(write_campaign(tmp_path / "c", backlog=(
        "task,title,need,minutes_likely\nCAS,,required,20\nLMP,,required,20\n")))
    end = campaign.plan("one").end_state(40)
    following = campaign.next_scenario(end)
    steps = {step.step: step for step in following.records.steps}
    assert "C2" not in steps, "the vent was opened, and no item came of it"
    assert {"B1", "C1"} <= set(steps), "the lamp and the bag came home again: they are taken once more"
    assert [steps[name].minutes_likely for name in ("B1", "B2", "B3")] == [4, 13, 14]
    assert any("B1 B2 B3 of LMP are done again whole" in line for line in following.told)
    assert set_min(following) == pytest.approx(12 - 2 * 1440)
    for later in (following.shift_dates("2031-09-08"), following.shift_dates("2031-09-04T07:00Z")):
        assert later.records.inhibits[0].set_at == following.records.inhibits[0].set_at, "it is past"
        shift = (later.settings.pet_zero_utc - following.settings.pet_zero_utc).total_seconds() / 60
        assert set_min(later) == pytest.approx(12 - 2 * 1440 - shift)
    assert any("I-LMP" in line for line in following.told)
    assert following.folder == campaign.scenario("two").folder
    saved = following.save()
    assert pk.load_campaign(tmp_path / "c").scenario("two").digest == saved.digest
    with pytest.raises(pk.ScenarioError, match="last outing"):
        campaign.next_scenario(campaign.plan("two").end_state())
    with pytest.raises(pk.ScenarioError, match="no outing of this campaign"):
        campaign.next_scenario(end, "three")


def test_an_inhibit_set_before_is_in_force_since_then() -> None:
    scenario = plan_of("small-outing").scenario
    cells = {"set_at": "-10:00", "hold_max_min": 60}
    plan = pk.time_plan(scenario.edit_row("inhibits", "I-LMP", **cells))
    assert float(plan.inhibits["set_by_min"].iloc[0]) == -600
    assert "held-too-long" in set(plan.findings["rule"])


def test_a_cable_keeps_its_other_end() -> None:
    plan = pk.time_plan(pk.load_scenario(TESTS / "data" / "tern-2"))
    end = plan.end_state()
    ends = {each.item.item: each.other_end for each in end.items if each.item.end2_at}
    following = carried_into(plan.scenario, end)
    assert ends
    assert all(ends.values())
    idle = pk.time_plan(following).what_if(drop=[step.step for step in following.records.steps])
    assert "other-end-loose" not in set(idle.findings["rule"])
    loose = pk.time_plan(plan.scenario).what_if(drop=[step.step for step in plan.scenario.records.steps])
    assert "other-end-loose" in set(loose.findings["rule"])


def test_a_step_that_was_only_made_safe_is_not_done() -> None:
    plan = plan_of("small-outing")
    log = rehearsed(plan, 1, 40.0, slower=0.8)
    begun, over = (set(log[log["event"] == event]["step"]) for event in ("started", "finished"))
    assert begun - over == {"B3"}
    rows = [{"step": "B3", "event": "broken_off", "at": 40.0, "remaining_min": 2.0},
            {"step": "B3", "event": "finished", "at": 42.0, "remaining_min": ""},
            {"step": "", "event": "ingress", "at": 60.0, "remaining_min": ""}]
    live = plan.retime(pd.concat([log, pd.DataFrame(rows)], ignore_index=True), 60.0)
    end = live.end_state()
    assert "B3" not in end.done
    at = float(log.query("step == 'B3'")["at"].iloc[0])
    assert end.left_min["B3"] == pytest.approx(14 - (40 - at), abs=1e-4)
    assert {each.item.item: each.place for each in end.items}["lamp-new"] == "inside"
    assert [each.inhibit.inhibit for each in end.inhibits] == ["I-LMP"]


HARDWARE = (("lamp", "spare"), ("wrench", "tool"), ("reel", "cable"))
# Rows of a task (who, where, minutes, takes, leaves, uses, after), the step that it is ended in, and what is
# to be done then: by hand, from which item is inside by then.
LAMP = (("EV1", "home", 4, "lamp", "", "", ""), ("EV1", "site", 25, "", "lamp", "", ""))
TWO = (("EV1", "home", 4, "lamp wrench", "", "", ""), ("EV1", "site", 10, "", "lamp", "", ""),
       ("EV1", "site", 20, "", "", "wrench", ""), ("EV1", "home", 3, "", "wrench", "", ""))
CABLE = (("EV1", "home", 4, "reel", "", "", ""), ("EV1", "site", 12, "", "", "", ""),
         ("EV1", "site", 38, "", "reel", "", ""))
CHAIN = (CABLE[0], (*CABLE[1][:-1], "S0"), (*CABLE[2][:-1], "S1"))


@pytest.mark.parametrize(("rows", "ended_in", "to_do"), [
    (LAMP, "S1", {"S0": (4, "lamp"), "S1": (25, "")}),
    (TWO, "S2", {"S0": (4, "wrench"), "S2": (1, ""), "S3": (3, "")}),
    (CABLE, "S2", {"S0": (4, "reel"), "S1": (12, ""), "S2": (38, "")}),
    (CHAIN, "S2", {"S0": (4, "reel"), "S1": (12, ""), "S2": (38, "")}),
    (CABLE, "", {"S0": (4, "reel"), "S1": (12, ""), "S2": (38, "")}),
])
def test_what_was_done_with_an_item_that_came_back_is_done_again(
        tmp_path: Path, rows: tuple[tuple[str | int, ...], ...], ended_in: str,
        to_do: dict[str, tuple[int, str]]) -> None:
    scenario = pk.new_scenario(tmp_path / "o", station="Test Station", orbit=ORBIT_JSON,
                               pet_zero_utc="2031-05-14T08:00:00Z")
    home = scenario.settings.airlock_place
    site = next(place for place in scenario.places["place"] if place != home)
    scenario = scenario.add_row("tasks", task="T", title="T", need="required", after="work")
    for name, kind in HARDWARE:
        scenario = scenario.add_row("hardware", item=name, title=name, kind=kind, at="inside")
    scenario = scenario.add_row("steps", *({
        "step": f"S{at}", "task": "T", "crew": who, "place": {"home": home, "site": site}[str(where)],
        "title": "t", "minutes_likely": minutes, "takes": takes, "leaves": leaves, "uses": uses,
        "after": after}
        for at, (who, where, minutes, takes, leaves, uses, after) in enumerate(rows)), after="work")
    plan = pk.time_plan(scenario)
    at = plan.timed.span(ended_in)[1] - 1 if ended_in else plan.timed.span("S1")[1]
    end = plan.end_state(at)
    following = carried_into(scenario, end, ["T"])
    assert {step.step: (round(step.minutes_likely, 6), " ".join(each.item for each in step.takes))
            for step in following.records.steps if step.task == "T"} == to_do
    assert next(each.left_min for each in end.tasks if each.task.task == "T") == pytest.approx(
        sum(minutes for minutes, _ in to_do.values()))
    assert "stop" not in {*pk.time_plan(following).findings.query("check == 'custody'")["severity"]}
    assert any("done again whole" in line for line in following.told)


def test_a_state_that_a_step_was_changing_is_not_known(tmp_path: Path) -> None:
    folder = from_nothing(tmp_path / "c")
    campaign = pk.load_campaign(folder)
    begun, over = campaign.timed_plan("A").span("A1")
    for minute, words in ((begun, "closed"), (begun + 1, "closed, or on the way to open: look first"),
                          (over - 1, "closed, or on the way to open: look first"), (over, "open")):
        end = campaign.end_state("A", minute)
        assert end.frame.set_index("id").loc["lid", "is"] == words, minute
        assert ("lid" in set(end.left["id"])) == (minute > begun)
        told = campaign.next_scenario(end, "B").told
        assert any("look first" in line for line in told) == (begun < minute < over)
    log = [f"{step},{event},{at},{rest}" for step, event, at, rest in (
        ("A0", "started", "0:00", ""), ("A0", "finished", "0:05", ""), ("A1", "started", "0:08", ""),
        ("A1", "partly", "0:20", 18), ("", "ingress", "0:30", ""))]
    (folder / "a" / "log.csv").write_text("step,event,at,remaining_min\n" + "\n".join(log) + "\n")
    found = pk.load_campaign(folder).after("A").findings().query("rule == 'state-otherwise'")
    assert [*found["severity"]] == ["concern"]
    assert "closed, or on the way to open: look first" in found["message"].iloc[0]


@pytest.mark.parametrize(("skipped_at", "in_force"), [(None, True), ("0:20", True), ("0:10", False)])
def test_an_inhibit_that_was_to_be_set_ahead_of_its_step_is_perhaps_in_force(
        tmp_path: Path, skipped_at: str | None, in_force: bool) -> None:
    # B2 begins at 0:16 or so, its inhibit is to be set 5 min before; both go in before B2 is begun.
    folder = write_campaign(tmp_path / "c", backlog=None)
    start = pk.time_plan(pk.load_scenario(folder / "one")).timed.span("B2")[0]
    assert 10 < start - 5 < 20
    rows = [("A1", "started", "0:00"), ("A1", "finished", "0:10"), ("", "ingress", "0:25")]
    rows[2:2] = [("B2", "skipped", skipped_at)] if skipped_at else []
    (folder / "one" / "log.csv").write_text("step,event,at\n" + "\n".join(map(",".join, rows)) + "\n")
    campaign = pk.load_campaign(folder)
    held = campaign.end_state("one").inhibits
    assert [(each.inhibit.inhibit, each.is_sure) for each in held] == [("I-LMP", False)] * in_force
    assert ("inhibit-left" in set(campaign.findings()["rule"])) == in_force
    if in_force:
        assert "perhaps in force" in str(campaign.end_state("one").frame.set_index("id").loc["I-LMP", "is"])
        following = campaign.next_scenario(campaign.end_state("one"))
        assert any("perhaps in force" in line for line in following.told)
        assert set_min(following) == pytest.approx(start - 5 - 2 * 1440, abs=1e-3)


@pytest.mark.parametrize("name", NAMES)
def test_it_can_be_ended_at_the_start_and_the_finish_of_a_step_to_the_rounding(name: str) -> None:
    plan = plan_of(name)
    for step in plan.timed.steps[::2]:
        for minute in plan.timed.span(step.step):
            for off in (-1e-9, 0.0, 1e-9):
                if 0 <= minute + off <= plan.end_min:
                    plan.end_state(minute + off)
