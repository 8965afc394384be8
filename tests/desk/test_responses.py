"""What the console tells of responses, and what taking one does, on outings of several kinds."""

from math import ceil

import pytest

import planning_kit as pk
from planning_kit.inputs.times import pet_label
from tests.desk.conftest import ATTACK, SCENARIOS, Talk
from tests.procedures import ACTIONS, RESPONSES, edited, new_outing, small_with_procedures, with_procedures


def outside(scenario, folder, now):
    """A talk outside, on a copy of the scenario in a folder of its own."""
    return Talk(scenario.save(folder / "own"), now=now)


@pytest.fixture
def small(folder):
    return outside(small_with_procedures(), folder, "0:30")


def response(talk, **asked):
    return talk.ask("response", **asked)["response"]


def facts(told):
    return dict(told["answer"]["facts"])


def test_those_of_the_step_in_hand_come_first(small):
    assert [each["for"] for each in response(small)["choices"]] == [[], []]
    small.ask("log", lane="EV1", event="started", step="B2", at="0:28")
    first, other = response(small)["choices"]
    assert (first["id"], first["for"]) == ("R-TURN", ["B2 1 Loosen the ring"])
    assert (other["id"], other["words"], other["for"]) == ("R-WATER", "water in the helmet", [])


def test_one_is_told_with_its_call_and_ways_home_and_changes_nothing(small):
    said = small.ask("response", response="R-WATER", crew="EV2")
    assert not {"outside", "notes", "outside_log"} & {*said}  # asked at each minute: or it would ask again
    told = said["response"]
    assert (told["answer"]["call"], told["answer"]["crew"], told["at"]) == ("terminate", ["EV2"], "0:30")
    assert {*facts(told)} == {"first", "who goes", "EV1", "EV2", "inside", "left with it", "call it by",
                              "lost", "source"}
    assert facts(told)["who goes"] == "EV1 and EV2 go together"
    assert facts(told)["call it by"] == "PET 0:30"  # it gives no time to decide
    # The later one's way, after the first actions: what is told is never sooner than it can be.
    plan = pk.Plan(small.session.current_plan)
    latest = max(home.inside_min for home in plan.response("R-WATER", crew="EV2").home)
    assert facts(told)["EV1"].endswith("min with ingress")
    assert facts(told)["inside"] == (
        f"by PET {pet_label(latest + 2, 'up')}, {ceil(latest + 2 - 30)} min from now, with 2 min of first "
        "actions before it")


def test_what_is_left_is_what_the_plan_answers_rounded_down(small):
    left = pk.Plan(small.session.current_plan).response("R-WATER", crew="EV1").margin_min
    told = facts(response(small, response="R-WATER", crew="EV1"))["left with it"]
    assert told == f"{int(left // 1)} min beyond the reserve and until the hard limit"


def test_taking_it_logs_it_and_times_anew(small):
    small.ask("log", lane="EV1", event="started", step="A1", at="0:00")
    said = small.ask("take_response", response="R-WATER", crew="EV1", by="K")
    assert "terminate called (water in the helmet EV1)" in said["said"]["text"]
    assert {line["event"] for line in said["outside_log"]["lines"]} >= {"skipped"}
    assert {line["by"] for line in said["outside_log"]["lines"] if line["event"] == "skipped"} == {"K"}


@pytest.mark.parametrize("asked", [{"response": "R-NONE"}, {"response": "R-TURN", "crew": "EV9"},
                                   {"response": ATTACK}])
def test_what_is_not_there_is_refused_in_words(small, asked):
    said = small.ask("response", **asked)
    assert said["said"]["level"] == "bad"
    assert "response" not in said


def test_text_of_the_scenario_is_told_on_one_line(folder):
    actions = edited(ACTIONS, "B2", 1, action=f"Loosen\nthe {ATTACK}")
    responses = [*RESPONSES[:1], {**RESPONSES[1], "first_actions": f"Wait\n{ATTACK}"}]
    talk = outside(with_procedures(small_with_procedures(), actions, responses=responses), folder, "0:30")
    talk.ask("log", lane="EV1", event="started", step="B2", at="0:28")
    told = response(talk, response="R-TURN")
    assert "\n" not in "".join([*told["choices"][0]["for"], *facts(told).values()])


def test_an_outing_made_from_nothing_and_one_without_responses(folder):
    talk = outside(new_outing(folder / "new"), folder, "0:10")
    assert [each["call"] for each in response(talk)["choices"]] == ["go on"]
    talk.ask("planning")
    assert talk.ask("outside")["outside"]["has_responses"]
    bare = Talk(pk.load_scenario(SCENARIOS / "small-outing"), now="0:10")
    assert not bare.ask("outside")["outside"]["has_responses"]


def test_an_action_is_added_behind_those_of_its_step(folder):
    talk = Talk(small_with_procedures().save(folder / "own"))
    sheet = talk.session.draft["actions"]
    last = next(line.id for line in sheet.lines if line.cells[:2] == ("B3", "3"))
    said = talk.ask("add", sheet="actions", after=last, texts={"step": "B3", "number": "4", "nothing": "x"})
    new, after = said["focus"]["line"], talk.session.draft["actions"]
    assert (after.position(new), after.line(new).cells[:2]) == (sheet.position(last) + 1, ("B3", "4"))
    talk.ask("cells", sheet="actions", cells=[[new, "action", "Look at it"]])
    assert not talk.session.faults
    talk.ask("undo")
    talk.ask("undo")
    assert talk.session.draft.says_the_same_as(talk.session.versions["as loaded"])
