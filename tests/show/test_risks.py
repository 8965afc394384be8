"""Risks in plain words: no ids, what then, and where they and the tightest margins lead."""

from __future__ import annotations

import re

import pytest

import planning_kit as pk
from planning_kit.desk.messages import tightest_message
from planning_kit.explore.long_question import at_once
from planning_kit.show.pack.assemble import assemble
from planning_kit.show.pack.content import Pack, Table
from planning_kit.show.pack.write import pack_files
from planning_kit.show.risks import risk_lines
from tests.edits import edited
from tests.judge.tight_outing import tight_outing
from tests.show.packs import on_card
from tests.test_scenarios import SCENARIOS

TERN = SCENARIOS.parent / "tests" / "data" / "tern-1"


@pytest.fixture(scope="module")
def tight() -> pk.Plan:
    return pk.time_plan(tight_outing())


@pytest.fixture(scope="module")
def pack(tight: pk.Plan) -> Pack:
    return assemble(tight.timed, "not asked for", None)


@pytest.mark.parametrize("folder", [
    TERN, TERN.parent / "curlew-deck", *(SCENARIOS / name for name in ("tern-station", "small-outing",
                                                                       "faulty-plan"))])
def test_the_one_minute_form_is_short_and_names_nothing_by_its_id(folder) -> None:
    plan = pk.time_plan(pk.load_scenario(folder))
    records = plan.scenario.records
    ids = {each.step for each in records.steps} | {each.task for each in records.tasks}
    ids |= {each.inhibit for each in records.inhibits} | {each.place for each in records.places}
    ids |= {each.item for each in records.hardware} | {each.hazard for each in records.hazards}
    titles = " ".join(each.title for each in (*records.steps, *records.tasks))
    ids -= set(re.findall(r"[\w.-]+", titles))  # an item "cable" of a task that lays a cable
    lines = plan.briefing().minute
    assert not ids & set(re.findall(r"[\w.-]+", " ".join(lines))), lines
    assert len(" ".join(lines).split()) <= 150
    assert all(line.endswith(".") for line in lines)
    assert "Risk 1: " in lines[1]


def test_any_title_leaves_it_a_minute(tight: pk.Plan) -> None:
    scenario, wordy = tight.scenario, "a b c d e f g h i j k l m n o p"
    for table, key in (("tasks", "task"), ("steps", "step"), ("inhibits", "inhibit")):
        for name in scenario.table(table)[key]:
            scenario = edited(scenario, table, name, title=wordy, **(
                {"make_safe": wordy} if table == "steps" else {}))
    lines = pk.time_plan(scenario.with_settings({"title": wordy})).briefing().minute
    assert len(" ".join(lines).split()) <= 150
    assert "Risk 1: " in lines[1]


def test_what_has_no_title_is_not_told_by_its_id(small: pk.Scenario) -> None:
    bare = small
    for table, column in (("steps", "step"), ("tasks", "task"), ("places", "place"), ("inhibits", "inhibit")):
        for key in bare.table(table)[column]:
            bare = edited(bare, table, key, title="")
    said = pk.time_plan(bare).briefing().one_minute
    assert not re.search(r"\b(A1|B1|B2|B3|C1|C2|C3|Z1|LMP|CAS|EGR|CLN|I-LMP)\b", said), said


def test_a_risk_says_what_when_it_is_known_and_what_then(tight: pk.Plan) -> None:
    first = next(risk_lines(tight.timed))
    assert first.startswith("Beacon lamp may miss its night: 0 min to spare, missed ")
    assert "Known by 0:36" in first  # B3 begins at 0:35.6 and has 0.95 min
    assert "then it waits for the next" in first


def test_what_makes_it_safe_and_what_is_left_out_is_what_the_tables_say(tight: pk.Plan) -> None:
    scenario = edited(tight.scenario, "steps", "B3", make_safe="Both lamps tethered")
    scenario = edited(scenario, "tasks", "CAS", need="optional", cut_order=1)
    plan = pk.time_plan(scenario.with_settings({"limits.planned_min": 195, "limits.hard_min": 196}))
    told = list(risk_lines(plan.timed))
    assert "under way, first: Both lamps tethered" in told[0]
    assert any("Sample cassette is left out" in line for line in told)


def test_hostile_titles_are_one_line_of_text(tight: pk.Plan) -> None:
    scenario = edited(tight.scenario, "tasks", "LMP", title="<img src=x>\u202e\nRisk 9: none " + "y" * 500)
    told = list(risk_lines(pk.time_plan(scenario).timed))
    assert all("\n" not in line and "\u202e" not in line and len(line) < 400 for line in told)


def test_the_tightest_margins_lead_the_pack_and_its_sheet_has_all(tight: pk.Plan, pack: Pack) -> None:
    assert pack.sections[0].title == "Tightest margins"
    table = pack.sections[0].blocks[0]
    assert isinstance(table, Table)
    assert len(table.rows) == 10
    assert len(table.rows) + len(table.more) == len(tight.tightest)
    assert table.rows[0][2].startswith("night 1; the end moves by ")
    page = pack_files(tight.timed)["review.html"][0].decode()
    assert page.index("Tightest margins") < page.index("Detailed procedure")


def test_a_pocket_sheet_prints_the_slack_to_the_night_not_to_the_limit(pack: Pack) -> None:
    sheet = next(each for each in pack.pockets if each.key == "EV1")
    slack = {told.step: told.slack for told in on_card(sheet)}
    assert slack["B3"] == "0"  # 0.9 min of the night, down


def test_the_workbench_head_tells_the_tightest_with_its_odds(tight: pk.Plan) -> None:
    message = at_once(tightest_message(tight.timed))
    assert message["tightest"]["words"] == "0.9 min at B3: night 1"
    assert message["tightest"]["level"] == "concern"
    assert "missed in " in message["margins"][0]["note"]
    assert all(-1 <= row["share"] <= 2 for row in message["margins"])
