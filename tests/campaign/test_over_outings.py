"""Over three outings and more: what is left comes through, whatever lies between; gaps, station, order."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.campaign.end_state import EndState
from tests.campaign.ridge import PLACES, write_ridge
from tests.campaign.test_assign_stops import write_log
from tests.campaign.test_campaign_checks import changed, from_nothing, rules, with_one_between
from tests.campaign.test_end_state import root, set_min

ITEMS, STATES = ("spare", "sack", "tag", "unit"), ("flap", "valve", "plug")


def drawn(folder: Path, seed: int, outings: int) -> pk.Campaign:
    """Outings that each know some items, states and inhibits, leave some outside and change some."""
    draw = random.Random(seed)
    write_ridge(folder, (), outings)
    for table in ("hardware", "states"):
        (folder / f"{table}.csv").unlink(missing_ok=True)
    for number in range(1, outings + 1):
        path = folder / f"r{number}"
        (path / "hardware.csv").write_text("item,title,kind,at,end_at,slots,holds,bulky,mass_kg\n")
        (path / "states.csv").write_text("state,title,values,at_start,at_end,safe_when\n")
        scenario = pk.load_scenario(path)
        steps, rows = list[dict[str, object]](), list[dict[str, object]]()
        known = [name for name in ITEMS if number == 1 or draw.random() < 0.5]
        for name in known:
            is_bag = name == "sack"
            rows.append({"item": name, "kind": "bag" if is_bag else "unit", "at": "LCK", "slots": 1,
                         **({"holds": 2} if is_bag else {})})
            if draw.random() < 0.6:
                to = ">sack" if not is_bag and "sack" in known and draw.random() < 0.3 else ""
                steps += [{"step": f"T{number}{name}", "task": "CLN", "crew": "EV1", "place": "LCK",
                           "minutes_likely": 1, "takes": name},
                          {"step": f"L{number}{name}", "task": "CLN", "crew": "EV1",
                           "place": draw.choice(PLACES[1:4]), "minutes_likely": 1, "leaves": name + to}]
        if rows:
            scenario = scenario.add_row("hardware", *rows)
        states = [name for name in STATES if number == 1 or draw.random() < 0.5]
        if states:
            scenario = scenario.add_row("states", *({"state": name, "values": "open shut", "at_start": "shut"}
                                                    for name in states))
        steps += [{"step": f"S{number}{name}", "task": "CLN", "crew": "EV2", "place": "P1",
                   "minutes_likely": 1, "sets": f"{name}={draw.choice(('open', 'shut'))}"}
                  for name in states if draw.random() < 0.5]
        if steps:
            scenario = scenario.add_row("steps", *steps, after="E2")
        scenario.save()
    return pk.load_campaign(folder)


@pytest.mark.parametrize("seed", range(12))
def test_nothing_vanishes_and_nothing_appears_over_several_outings(tmp_path: Path, seed: int) -> None:
    """By a second hand: what the outings leave one after the other is written into one book."""
    campaign = drawn(tmp_path / "ridge", seed, 3 + seed % 3)
    where, bags, values = dict[str, str](), dict[str, str](), dict[str, str]()
    for name, following in zip(campaign.ids, campaign.ids[1:], strict=False):
        end: EndState = campaign.end_state(name)
        for each in end.items:
            where[each.item.item], bags[each.item.item] = each.place, each.in_bag
        for item, bag in bags.items():
            if where[item] != "inside" and bag:
                where[item] = where[bag]
        values |= {each.state.state: each.value for each in end.states}
        campaign = campaign.after(name)
        then = campaign.scenario(following)
        known = {*then.hardware["item"]}
        assert {item for item, at in where.items() if at != "inside"} <= known
        for item in known & {*where}:
            assert root(then, item) == where[item], (item, following)
        starts = dict(zip(then.states["state"], then.states["at_start"], strict=True))
        assert starts == {state: values.get(state, "shut") for state in starts}
        told = [each for each in rules(campaign) if each[1] == following and each[2] in (
            "item-elsewhere", "item-twice", "item-lost", "state-otherwise")]
        assert told == []


def test_work_begun_and_an_inhibit_come_through_an_outing_that_knows_nothing_of_them(tmp_path: Path) -> None:
    """A is begun in R1 and its inhibit is set; R2 has neither, R3 has both."""
    folder = write_ridge(tmp_path / "ridge", ("A,Work,required,5,,,,,,,,steps-a.csv",), 3)
    text = (folder / "backlog.csv").read_text(encoding="utf-8").replace("trained", "trained,steps")
    (folder / "backlog.csv").write_text(text, encoding="utf-8")
    head = (folder / "r1" / "steps.csv").read_text(encoding="utf-8").splitlines()[0]
    rows = ("A1,A,EV1,P1,One,20,20,20,,,,,,,,,,,", "A2,A,EV1,P1,Two,30,30,30,A1,,,,,,,,,,",
            "A3,A,EV1,P1,Three,9,9,9,A2,,,,,,,,,,")
    (folder / "steps-a.csv").write_text("\n".join((head, *rows, "")), encoding="utf-8")
    for name in ("R1", "R3"):
        scenario = pk.load_campaign(folder).scenario(name)
        scenario = scenario.add_row("tasks", task="A", title="Work", need="required", priority=1)
        cells = [row.split(",")[:8] for row in rows]
        scenario = scenario.add_row("steps", *(dict(zip(head.split(","), each, strict=False))
                                               for each in cells), after="E2")
        scenario.add_row("inhibits", inhibit="I", title="Off", owner="Desk", from_step="A1", until_step="A3",
                         lead_min=2).add_row("gaps", first_step="A1", then_step="A2", max_gap=60,
                                             reason="sets").save()
    write_log(folder / "r1", 90, ("E1", 0, 20), ("E2", 22, 26), ("A1", 26, 46), ("X1", 60, 75))
    campaign = pk.load_campaign(folder)
    assert not {"A"} & {*campaign.scenario("R2").tasks["task"]}
    new = campaign.after("R1").after("R2")
    assert [step.step for step in new.scenario("R3").records.steps if step.task == "A"] == ["A2", "A3"]
    assert set_min(new.scenario("R3")) == pytest.approx(24 - 10 * 1440)
    assert list(new.scenario("R3").records.gaps) == []
    found = new.findings().query("check == 'carried'")
    assert [*found[["severity", "outing", "rule", "about"]].itertuples(index=False, name=None)] == [
        ("stop", "R3", "max-gap", "A1 A2"), ("concern", "R2", "inhibit-left", "I")]
    row = found.iloc[0]
    # From 46 min of the 3rd to A2's start on the 13th, both from 07:30.
    assert row["value"] == pytest.approx(10 * 1440 + new.timed_plan("R3").span("A2")[0] - 46)
    assert row["limit"] == 60
    assert "60: come sooner" in row["message"]
    shifted = changed(new, "R3", lambda it: it.shift_dates("2031-09-14"))
    assert shifted.scenario("R3").records.inhibits == new.scenario("R3").records.inhibits
    assert set_min(shifted.scenario("R3")) == pytest.approx(24 - 11 * 1440)
    alone = changed(new, "R3", lambda it: it.drop_row("inhibits", "I").drop_row(
        "steps", ["A2", "A3"]).drop_row("tasks", "A"))
    assert ("concern", "R1", "clock-runs", "A1 A2") in rules(alone)
    # What nobody can carry over is still told by the campaign: R3 as it was begins the work anew.
    assert ("concern", "R3", "inhibit-left", "I") in rules(campaign)
    # The days are counted with the work done in R1, by assign, too.
    assert new.moved("A", "R2").why_not


def test_the_pages_hold_what_older_outings_left(tmp_path: Path) -> None:
    campaign = with_one_between(pk.load_campaign(from_nothing(tmp_path / "c")))
    before, after = campaign.around("B")
    assert {"box", "lid"} <= {*before.left["id"]}
    assert after is None
    assert campaign.around("A")[0] is None


def test_a_station_by_another_name_or_otherwise_is_told(tmp_path: Path) -> None:
    campaign = pk.load_campaign(from_nothing(tmp_path / "c"))
    assert rules(campaign) == []
    named = changed(campaign, "B", lambda it: it.with_settings({"station": "Another"}))
    assert rules(named) == [("concern", "B", "station", "B")]
    assert "Another, campaign.toml Test Station" in named.findings()["message"].iloc[0]
    place = campaign.scenario("B").records.places[-1].place
    moved = changed(campaign, "B", lambda it: it.edit_row("places", place, x_m=99))
    assert rules(moved) == [("concern", "B", "station-otherwise", place)]
    assert "x_m 99.0, not " in moved.findings()["message"].iloc[0]
    route = campaign.scenario("B").records.routes[0]
    longer = changed(campaign, "B", lambda it: it.edit_row(
        "routes", f"{route.from_place} {route.to_place}", metres=route.metres + 1))
    assert [each[2] for each in rules(longer)] == ["station-otherwise"]


def test_an_outing_without_a_log_after_a_later_one_with_a_log_is_a_fault(tmp_path: Path) -> None:
    folder = write_ridge(tmp_path / "ridge", (), 2)
    campaign = pk.load_campaign(folder)
    write_log(folder / "r2", 90)
    pk.load_campaign(folder)
    campaign.scenario("R1").shift_dates("2031-09-20").save()
    with pytest.raises(pk.ScenarioError, match="has no log and is after R2, which stands behind it") as told:
        pk.load_campaign(folder)
    assert told.value.problems[["table", "column"]].to_numpy().tolist() == [["campaign.toml", "outings.R1"]]
    write_log(folder / "r1", 90)
    with pytest.raises(pk.ScenarioError):  # its log is of another date: that is told by its plan
        pk.load_campaign(folder).findings()


def test_required_work_that_is_taken_off_is_told_beside_the_answer(tmp_path: Path) -> None:
    folder = write_ridge(tmp_path / "ridge", ("A,Work,required,5,,,,P1,EV1,20,",
                                              "B,More,optional,5,,,,P1,EV1,20,"))
    campaign = pk.load_campaign(folder)
    on = campaign.moved("A", "R1").campaign.moved("B", "R1").campaign
    assert "it is required, and no outing does it then" in on.moved("A", "").words
    assert "required" not in on.moved("B", "").words
    assert "required" not in on.moved("A", "R2").words


def test_stops_within_an_outing_are_told_in_the_verdict(tmp_path: Path) -> None:
    folder = write_ridge(tmp_path / "ridge", ("A,Work,required,5,,,,P1,EV1,20,",))
    path = folder / "r1" / "scenario.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("return_reserve_min = 10\n", "return_reserve_min = 99\n"), encoding="utf-8")
    found = pk.load_campaign(folder).assign(progress=None)
    assert found.outings["stops"].sum() > 0
    assert f"stops within the outings ({found.outings['stops'].sum()}) are left out of that" in found.verdict
    path.write_text(text, encoding="utf-8")
    assert "within" not in pk.load_campaign(folder).assign(progress=None).verdict


def test_a_repeated_step_that_needs_what_it_has_changed_itself_is_told(tmp_path: Path) -> None:
    """A1 needs the lid closed, opens it and moves a tether hook, so that it is done again; A2 is left."""
    campaign = pk.load_campaign(from_nothing(tmp_path / "c"))
    site = campaign.scenario("A").records.steps[1].place
    work = changed(campaign, "A", lambda it: it.edit_row("steps", "A1", needs="lid=closed", hooks="EV1"))
    more = {"step": "A9", "task": "FIT", "crew": "EV1", "place": site, "title": "More", "minutes_likely": 9}
    work = changed(work, "A", lambda it: it.add_row("steps", more, after="A1"))
    end = work.end_state("A", work.timed_plan("A").span("A9")[0] + 1)
    assert "A1" in end.again
    both = work.scenario("A").shift_dates("2031-05-20").save(campaign.folder / "b2")
    told = work.with_scenario("B", both).next_scenario(end, "B").told
    assert any("A1 of FIT is done again and needs lid=closed, and lid was left open, as this work has made"
               " it already" in line for line in told)
