"""A response asked for and taken outside; and the published emergency return of US EVA 23 played as a log."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.explore.session.going_outside import go_outside, take_response
from planning_kit.explore.session.session import Session
from planning_kit.explore.watch.logbook import Logbook
from planning_kit.explore.watch.now import HELD
from planning_kit.explore.watch.watch import Watch
from tests.explore.retime.rehearsal import as_planned
from tests.procedures import SMALL, TERN, small_with_procedures

# Times of the emergency return of US EVA 23 (2013) from the call to terminate on, minutes, from a summary of
# the public mishap investigation report (as retrieved in the project's check values; read the source again
# before quoting words): the second crew member in the hatch, hatch closed, repressurisation begins, done; and
# the minutes that passed from the first report of water to the call.
IN_HATCH, HATCH_CLOSED, REPRESS, DONE, CALLED_LATE = 15, 20, 23, 31, 23


@pytest.fixture(scope="module")
def plan() -> pk.Plan:
    return pk.time_plan(small_with_procedures())


@pytest.fixture(scope="module")
def tern() -> pk.Plan:
    return pk.time_plan(pk.load_scenario(TERN))


# --- asked --------------------------------------------------------------------------------------------------


def test_a_cause_and_an_id_lead_to_one_response(tern: pk.Plan) -> None:
    assert tern.response("water in the helmet", 100.0, "EV1") == tern.response("R-WATER", 100.0, "EV1")


@pytest.mark.parametrize("name", ["R-WATER", "R-CO2", "R-SILENT", "R-VOICE", "R-TURN"])
@pytest.mark.parametrize("minute", [0.0, 61.0, 155.5, 300.0])
def test_the_ways_home_are_those_of_the_plan(tern: pk.Plan, name: str, minute: float) -> None:
    told = tern.response(name, minute, "EV2")
    how = "abort" if told.response.call == "abort" else "terminate"
    ways = tern.ways_home(how).query("at_min == @minute") if minute == int(minute) else None
    for home in told.home:
        assert home.at_min == minute
        if ways is not None and told.response.companion != "brings":
            row = ways.set_index("crew").loc[home.crew]
            assert (home.total_min, home.place, home.step) == (
                pytest.approx(row["total_min"]), row["place"], row["step"])
    assert {home.crew for home in told.home} == ({"EV2"} if told.response.call in ("wait", "go on")
                                                 or told.response.companion == "brings" else {"EV1", "EV2"})
    assert minute <= told.decide_until_min <= minute + (told.response.decide_by_min or 0.0)
    assert asdict(told)["response"]["source"] == "invented for the demo"


def test_brought_by_the_partner_it_takes_longer(tern: pk.Plan) -> None:
    for minute in (100.0, 200.0):
        alone, brought = (tern.response(name, minute, "EV2").home for name in ("R-WATER", "R-SILENT"))
        own = next(home for home in alone if home.crew == "EV2")
        assert brought[0].total_min > own.total_min
        assert len(brought) == 1


def test_it_concerns_whoever_works_on_such_an_action(tern: pk.Plan) -> None:
    start, _ = tern.timed.span("X4")
    assert tern.response("R-TURN", start + 1).crew == ("EV1",)
    assert tern.response("R-TURN", start + 1, "EV2").crew == ("EV2",)
    assert tern.response("glove cut", start + 1).crew == ("EV1", "EV2")
    assert tern.response("cannot turn", 1.0).crew == ("EV1", "EV2")


def test_what_it_loses_is_what_is_not_done_yet(tern: pk.Plan) -> None:
    end = tern.response("R-WATER", tern.end_min)
    assert end.loses == ()
    early = tern.response("R-WATER", 0.0)
    assert set(early.loses) == {task.task for task in tern.scenario.records.tasks}
    assert tern.response("R-TURN", 100.0).loses == ()
    finish = tern.timed.span("CB6")[1]
    assert "CAB" in tern.response("R-WATER", finish - 1).loses
    assert "CAB" not in tern.response("R-WATER", finish).loses


def test_home_alone_loses_the_work_of_one(tern: pk.Plan) -> None:
    alone = pk.time_plan(tern.scenario.edit_row("responses", "R-GLOVE", call="home alone", companion=""))
    minute = alone.timed.span("HT3")[0] + 1
    told = alone.response("glove cut", minute, "EV2")
    assert [home.crew for home in told.home] == ["EV2"]
    assert "HTR" in told.loses
    assert "ANT" not in told.loses, "EV1 alone does it"


def test_the_call_can_wait_as_long_as_it_still_fits(tern: pk.Plan) -> None:
    told = tern.response("R-CO2", 155.0, "EV1")

    def otherwise(**cells: float) -> pk.Answer:
        edited = tern.scenario.edit_row("responses", "R-CO2", **cells)
        return pk.time_plan(edited).response("R-CO2", 155.0, "EV1")

    wide, gone = otherwise(decide_by_min=60), otherwise(minutes_high=60)
    assert told.decide_until_min == 156.0
    # 60 min would be allowed, but the oxygen is not: as much as was left without them.
    assert wide.decide_until_min - 155.0 == pytest.approx(told.margin_min + 1.0)
    assert wide.margin_min == pytest.approx(told.margin_min - 59)
    assert gone.decide_until_min == 155.0
    assert gone.margin_min < 0


@pytest.mark.parametrize(("asked", "minute", "crew", "words"), [
    ("R-WTER", 10.0, "", "there is no such response; did you mean 'R-WATER'?"),
    ("", 10.0, "", "no such response"),
    (None, 10.0, "", "no such response"), (["R-WATER"], 10.0, "", "no such response"),
    ("R-WATER", 5000, "", "is no moment of the outing"), ("R-WATER", -5, "", "is no moment"),
    ("R-WATER", float("nan"), "", "is no time"), ("R-WATER", "soon", "", "is not an ISO 8601 UTC time"),
    ("R-WATER", 10.0, "EV3", "must be EV1 or EV2"),
    ("R-WATER", None, "", "needs a log"),
])
def test_what_there_is_not_is_told(tern: pk.Plan, asked: object, minute: object, crew: str,
                                   words: str) -> None:
    with pytest.raises(pk.ScenarioError) as error:
        tern.response(asked, minute, crew)  # type: ignore[arg-type]
    assert words in str(error.value)


def test_where_somebody_is_not_known_nothing_is_known_of_the_way(plan: pk.Plan) -> None:
    block = pk.time_plan(plan.scenario.edit_row("steps", "C2", place="", uses="", sets=""))
    told = block.response("R-WATER", block.timed.span("C2")[0] + 1, "EV2")
    home = next(each for each in told.home if each.crew == "EV2")
    assert home.total_min != home.total_min, "NaN"
    assert home.way == ""


# --- taken --------------------------------------------------------------------------------------------------


def followed(plan: pk.Plan, minute: float) -> tuple[Session, Watch]:
    """A session that follows an outing gone as planned, at that minute."""
    session = Session(plan.scenario)
    log = as_planned(plan, minute)
    go_outside(session, Logbook.of_frame(log))
    assert session.watch is not None
    session.watch.set_clock(HELD, f"{int(minute) // 60}:{int(minute) % 60:02d}")
    return session, session.watch


def test_taken_it_is_logged_and_re_timed(plan: pk.Plan) -> None:
    minute = int(plan.timed.span("B2")[0]) + 4.0
    session, watch = followed(plan, minute)
    before = watch.plan.end_min
    said = take_response(session, "water in the helmet", "EV1", by="kim")
    assert said.startswith("terminate called (water in the helmet EV1); logged as skipped")
    rows = pk.read_log(watch.log.path)
    assert set(rows["note"].tail(3)) == {"terminate called (water in the helmet EV1)"}
    assert set(rows["by"].tail(3)) == {"kim"}
    assert watch.plan.end_min < before


def test_first_actions_come_before_the_way_home(plan: pk.Plan) -> None:
    minute = int(plan.timed.span("B2")[0]) + 4.0
    ends = []
    for high in (2, 9):
        slow = pk.time_plan(plan.scenario.edit_row("responses", "R-WATER", minutes_high=high))
        session, watch = followed(slow, minute)
        told = pk.Plan(watch.plan).response("R-WATER", crew="EV1")
        assert told.inside_min == pytest.approx(high + max(home.inside_min for home in told.home))
        take_response(session, "R-WATER", "EV1")
        ends.append(watch.plan.end_min)
    assert ends[1] - ends[0] == pytest.approx(7)


def with_terminate(scenario: pk.Scenario) -> pk.Scenario:
    """The scenario with one response more: out at once, with nothing to do before."""
    return scenario.add_row("responses", response="R-OUT", trigger="glove cut" if not any(
        each.trigger == "glove cut" for each in scenario.records.responses) else "", call="terminate",
        companion="along", minutes_likely=1, minutes_high=1, source="test")


@pytest.mark.parametrize(("folder", "name"), [(SMALL, "B3"), (TERN, "RN2"), (TERN, "")])
def test_a_step_only_made_safe_does_nothing_of_what_it_does_at_its_end(folder: Path, name: str) -> None:
    scenario = with_terminate(pk.load_scenario(folder))
    name = name or next(each.step for each in scenario.records.steps if each.hooks and each.crew != "both"
                        and each.minutes_likely >= 4)
    plan = pk.time_plan(scenario.edit_row("steps", name, safe_orderly_min=2))
    step = plan.timed.steps[plan.timed.position(name)]
    assert step.leaves or step.hooks
    begun = int(plan.timed.span(name)[0]) + 1.0
    session, watch = followed(plan, begun + 2)
    take_response(session, "R-OUT", step.crew)
    log, now = pk.read_log(watch.log.path), watch.now_min
    assert log.loc[log["step"] == name, "event"].tolist()[-1] == "broken_off"

    def retimed(minute: float, event: str = "", at: float = 0.0) -> pk.Plan:
        more = [log.iloc[-1].to_dict() | {"event_id": "last", "event": event, "step": name, "crew": "",
                                          "at": str(at), "remaining_min": None}] if event else []
        rows = pd.concat([log.astype(object), pd.DataFrame(more, columns=log.columns, dtype=object)])
        return plan.retime(rows, minute)

    def row(told: pk.Plan) -> dict[str, str]:
        return dict(told.scenario.steps.set_index("step").loc[name])

    for told in (retimed(now), retimed(now + 4, "finished", now + 2.5)):
        assert told.progress.set_index("step").status[name] == "not done"
        assert told.left_out.set_index("step").why[name] == "was broken off, and only made safe"
        assert (row(told)["leaves"], row(told)["hooks"]) == ("", "")
        assert row(told)["title"].endswith("(only made safe)")
        assert name not in set(told.updated_estimates()["step"])
    assert retimed(now).timed.span(name)[1] == pytest.approx(now + 1 + 2)
    # Taken up again, as much is left to do as when it was broken off.
    again = retimed(now + 4.2, "started", now + 4)
    assert again.progress.set_index("step").status[name] == "in progress"
    assert row(again)["leaves"] == row(plan)["leaves"]
    worked = now - plan.timed.span(name)[0]
    assert again.timed.span(name)[1] == pytest.approx(now + 4 + step.minutes_likely - worked, abs=0.1)


def test_to_go_on_makes_the_step_in_hand_longer(plan: pk.Plan) -> None:
    minute = int(plan.timed.span("B2")[0]) + 4.0
    session, watch = followed(plan, minute)
    finish = watch.plan.span("B2")[1]
    said = take_response(session, "R-TURN")
    assert said == "go on called (R-TURN EV1); longer by 3 min: B2"
    last = pk.read_log(watch.log.path).iloc[-1]
    assert (last["step"], last["event"]) == ("B2", "partly")
    assert watch.plan.span("B2")[1] == pytest.approx(finish + 3, abs=0.05)
    # On the way to the first step there is nothing in hand that would take longer.
    session, watch = followed(plan, int(plan.timed.span("A1")[1]))
    events = len(watch.log_so_far.rows)
    assert "no step in hand" in take_response(session, "R-TURN", "EV1")
    assert len(watch.log_so_far.rows) == events


def test_home_alone_leaves_the_partner_at_work(plan: pk.Plan) -> None:
    scenario = plan.scenario.edit_row("responses", "R-WATER", call="home alone", companion="")
    alone = pk.time_plan(scenario)
    minute = int(alone.timed.span("B2")[0]) + 4.0
    session, watch = followed(alone, minute)
    take_response(session, "R-WATER", "EV1")
    skipped = set(pk.read_log(watch.log.path).query("event == 'skipped'")["step"])
    own = {step.step for step in alone.timed.steps if "EV1" in step.people}
    assert skipped == own - {"A1", "B1", "B2"}
    assert "C3" in {step.step for step in watch.plan.steps}


def test_before_the_outing_is_followed_there_is_nothing_to_take(plan: pk.Plan) -> None:
    with pytest.raises(pk.ScenarioError, match="switch to Outside first"):
        take_response(Session(plan.scenario), "R-WATER")


# --- against what happened ----------------------------------------------------------------------------------


def test_us_eva_23_is_called_23_minutes_sooner(tmp_path: Path) -> None:
    """The fixture's response to water in the helmet calls terminate at the first report.

    The outing is ours: a worksite 15 min of travel from the hatch, an airlock with the published minutes,
    and a first report at PET 0:44, a minute of ours. What is checked is the time from report to call, and
    that from the same call the plan's way home is the published one.
    """
    scenario = pk.new_scenario(tmp_path / "eva", station="Linnet Works", pet_zero_utc="2031-09-03T07:30:00Z",
                               orbit=SMALL / "orbit.kvn")
    scenario = scenario.with_settings({
        "airlock.hatch_closed_min": HATCH_CLOSED - IN_HATCH, "airlock.repress_start_min": REPRESS - IN_HATCH,
        "airlock.repress_safe_min": DONE - IN_HATCH, "limits.planned_min": 390, "limits.hard_min": 420,
    }).edit_row("routes", "airlock worksite", minutes=IN_HATCH)
    scenario = scenario.edit_row("steps", "work", crew="both", minutes_likely=200, safe_orderly_min=0)
    scenario = scenario.add_row("responses", response="R-WATER", trigger="water in the helmet",
                                call="terminate", companion="along", minutes_likely=0, decide_by_min=0,
                                source="test")
    session, watch = followed(pk.time_plan(scenario), 44.0)
    report = watch.now_min
    plan = pk.Plan(watch.plan)
    told = plan.response("water in the helmet", crew="EV2")
    assert (told.response.call, told.decide_until_min) == ("terminate", report)
    as_flown = report + CALLED_LATE
    assert as_flown - told.decide_until_min == CALLED_LATE
    assert [home.inside_min for home in told.home] == [pytest.approx(report + DONE)] * 2
    take_response(session, "water in the helmet", "EV2")
    home = pk.Plan(watch.plan)
    assert home.end_min == pytest.approx(report + DONE)
    sequence = plan.terminate(report).set_index("what")["finish_min"].groupby(level=0).max()
    assert sequence["Ingress"] == pytest.approx(report + HATCH_CLOSED)
    assert sequence["Prepare repressurisation"] == pytest.approx(report + REPRESS)
    assert sequence["Repressurisation"] == pytest.approx(report + DONE)
    # As flown, the same call came 23 minutes later, and they were inside as much later.
    late = plan.retime(as_planned(plan, report), as_flown).response("water in the helmet", crew="EV2")
    assert late.home[0].inside_min - told.home[0].inside_min == pytest.approx(CALLED_LATE)
