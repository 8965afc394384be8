"""What the pack says beside its tables: open findings, turning back, re-timing, the map, the contents."""

from __future__ import annotations

import io
import math
import re

import pandas as pd
import pypdf
import pytest

import planning_kit as pk
from planning_kit.show.pack.assemble import assemble
from planning_kit.show.pack.content import Area, Label, Line, Picture, Rich, Table
from planning_kit.show.pack.key_moments import key_moments, map_section
from planning_kit.show.pack.pdf import pdf_bytes, pocket_bytes
from planning_kit.show.wording import against
from tests.conftest import LATE
from tests.edits import edited
from tests.show.packs import SCENARIOS

NO_ODDS = "not asked for"


@pytest.fixture(scope="module")
def faulty_plan() -> pk.Plan:
    return pk.time_plan(pk.load_scenario(SCENARIOS / "faulty-plan"))


@pytest.fixture(scope="module")
def late_plan(demo_plan: pk.Plan) -> pk.Plan:
    """The demo at PET 5:30 by the log of the late outing, in which the debris shield was dropped."""
    log = pk.read_log(LATE)
    now = pd.Timestamp(demo_plan.pet_zero) + pd.Timedelta(minutes=330)
    return demo_plan.retime(log[pd.to_datetime(log["at"], utc=True) <= now], 330)


def pages(data: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(data)).pages]


def joined(text: str) -> str:
    return re.sub(r"\s+", "", text)


def pocket(plan: pk.Plan, crew: str):
    pack = assemble(plan.timed, NO_ODDS, None)
    return pack, next(each for each in pack.pockets if each.key == crew)


def test_turning_back_is_told_alone_and_with_the_partner(demo_plan: pk.Plan) -> None:
    """At the boom's end help needs longer than the oxygen lasts: the better case alone would be a trap."""
    _, sheet = pocket(demo_plan, "EV1")
    line = next(words for words in sheet.words if words.startswith("Turn back by"))
    ways = demo_plan.return_summary.set_index(["crew", "case"])["turn_back_by_min"]["EV1"]
    alone = min(ways[case] for case in ways.index if case.endswith("alone"))
    hours, minutes = divmod(math.floor(alone), 60)
    assert f"alone {hours}:{minutes:02d}" in line
    assert ways["emergency oxygen, with the partner"] < ways["emergency oxygen, alone"] - 300


def test_a_turn_back_time_that_the_plan_breaks_is_told_as_an_exception(demo_plan: pk.Plan) -> None:
    # At the boom's end RG2 takes 1 min to be made safe, help 36.58 more: 12.58 over 30 less 5 of reserve.
    pack, sheet = pocket(demo_plan, "EV1")
    line = next(words for words in sheet.words if words.startswith("Turn back by"))
    exception = "emergency oxygen, with the partner: the plan breaks the reserve of 5 min from "
    assert f"EXCEPTION, no time to turn back by: {exception}" in line
    assert "1:15 to 3:01, by up to 12.6 min." in line
    assert "with the partner 0:58" not in line
    assert f"EV1, {exception}" in demo_plan.briefing().text
    assert "by 13 min in this plan" in demo_plan.briefing().one_minute
    ways = next(block for section in pack.sections for block in section.blocks
                if isinstance(block, Table) and block.sheet == "Ways back")
    cells = {(row[0], row[1]): row[6] for row in ways.rows}
    assert cells["EV1", "emergency oxygen, with the partner"] == "exception"
    assert cells["EV1", "emergency oxygen, alone"] == "6:50"
    pictures = [block.alt for block in map_section(demo_plan.timed).blocks if isinstance(block, Picture)]
    assert any("Exception until 3:01: emergency oxygen, with the partner" in alt for alt in pictures)


@pytest.mark.parametrize("name", ["tern-station", "small-outing", "faulty-plan"])
def test_a_case_has_an_exception_just_where_the_plan_goes_on_past_its_time(name: str) -> None:
    plan = pk.time_plan(pk.load_scenario(SCENARIOS / name))
    broken = {(each.crew, each.case) for each in plan.timed.return_breaches}
    for row in plan.return_summary.to_dict("records"):
        until, going_in = row["turn_back_by_min"], plan.end_min - plan.timed.network.ends_min
        if until != until or until < going_in - 1e-6:
            assert (row["crew"], row["case"]) in broken
        elif (row["crew"], row["case"]) not in broken:
            assert until >= going_in


def test_what_is_open_stands_where_the_crew_reads_it(faulty_plan: pk.Plan) -> None:
    pack, sheet = pocket(faulty_plan, "EV1")
    stops, concerns = ((faulty_plan.findings["severity"] == each).sum() for each in ("stop", "concern"))
    assert any(f"{stops} stops; {concerns} concerns, 1 accepted;" in words for words in sheet.words)
    tables = {block.sheet: block for section in pack.sections for block in section.blocks
              if isinstance(block, Table)}
    numbers = {row[1]: row for row in tables["Findings"].rows}
    text = " ".join(str(row[5]) for row in sheet.blocks[0].rows)
    pointed = re.findall(r"(stop|concern) (\d+) \((\w+)\)", text)
    assert len(pointed) > 10
    for severity, number, check in pointed:
        row = numbers[int(number)]
        assert (row[0], row[2]) == (severity, check)
        assert not row[3] or "EV1" in row[3]
    cells = [cell for row in tables["Procedure"].rows for cell in row]
    procedure = " ".join(cell.text for cell in cells if isinstance(cell, Rich))
    assert set(re.findall(r"(stop|concern) (\d+) \(", procedure)) >= {(a, b) for a, b, _ in pointed}


def test_crew_sheets_tell_periods_clocks_and_what_to_mind(demo_plan: pk.Plan) -> None:
    sheets = [pocket(demo_plan, crew)[1] for crew in ("EV1", "EV2")]
    rows = {row[3]: str(row[5]) for sheet in sheets for row in sheet.blocks[0].rows}
    assert "in the period 'quiet'" in rows["AN1"]
    assert "the finish of X5 within 46 min" in rows["RN1"]
    # In the row of the wait for SV3: it is met before the work.
    told = [str(row[5]) for sheet in sheets for row in sheet.blocks[0].rows]
    warned, work = (next(at for at, words in enumerate(told) if begin in words) for begin in (
        "CAUTION: Radiator panels are a no-touch zone", rows["SV3"]))
    assert warned == work - 1


def test_a_slack_that_there_never_is_is_no_number(faulty_plan: pk.Plan) -> None:
    """B1 to B4 miss the hard limit however early they begin: B4 waits for night 2, F1 for day 2."""
    rows = {row[3]: row[6] for row in pocket(faulty_plan, "EV1")[1].blocks[0].rows}
    assert faulty_plan.timed.slack.to_limit[faulty_plan.timed.position("B1")] == -math.inf
    assert rows["B1"] == "never"
    # E1 is 15 min past the hard limit, and for more, all its 22 min, at a hot wall that nothing controls.
    rows |= {row[3]: row[6] for row in pocket(faulty_plan, "EV2")[1].blocks[0].rows}
    assert faulty_plan.timed.slack.to_limit[faulty_plan.timed.position("E1")] == pytest.approx(-15.0)
    assert rows["E1"] == pytest.approx(-22.0)
    tasks = {row[0]: row[7] for row in assemble(faulty_plan.timed, NO_ODDS, None).sections[1].blocks[0].rows}
    assert tasks["BOX"] == "never"
    verdict = pk.time_plan(pk.load_scenario(SCENARIOS / "small-outing")).compare(faulty_plan).verdict
    assert verdict.words.str.contains("least slack to limit never in time at A1").any()


def test_a_needed_foothold_is_a_need_and_no_fact(faulty_plan: pk.Plan) -> None:
    """B3 needs the foothold, which lies elsewhere."""
    table = faulty_plan.briefing().table
    words = table.loc[(table.step == "B3") & (table.kind == "work"), "words"].item()
    assert "Needs Foothold in the socket here." in words


def test_what_goes_out_later_says_when(demo_plan: pk.Plan) -> None:
    text = demo_plan.briefing().text
    assert "Shield stand-offs, set of four (from 4:53, SH1)" in text  # SH1 takes them at the hatch at 4:53
    assert "Star sensor head, failed (until 4:43, SE5)" in text  # SE5 of 3 min begins at 4:40
    assert "Taken out by EV1: Torque driver, EV1; Small parts bag (from 0:18, KN0)" in text


def test_a_retimed_plan_says_so_and_tells_no_dropped_task_as_planned(late_plan: pk.Plan,
                                                                     demo_plan: pk.Plan) -> None:
    brief, shield = late_plan.briefing(), "Debris shield on the aft ring"
    pack = assemble(late_plan.timed, NO_ODDS, None)
    sheet = next(each for each in pack.pockets if each.key == "EV2")
    said = "Re-timed at PET 5:30 from a log of"
    assert said in brief.text
    assert said in brief.one_minute
    assert any(words.startswith(said) for words in sheet.words)
    assert dict(pack.facts)["Re-timed"].startswith(said)
    assert dict(pack.facts)["Digest before the log"] == demo_plan.scenario.digest
    assert [row[3] for row in sheet.blocks[0].rows if row[3]] == ["CL2"], "what is done is not on the sheet"
    told = next(words for words in sheet.words if words.startswith("Turn back by"))
    assert re.search(r"EXCEPTION, no time to turn back by: .* 1:31 to .* min, past\.", told)
    planned, left_out, more = brief.one_minute.partition(f"No longer in it: {shield}.")
    assert left_out
    assert shield not in planned + more
    tasks = next(block for block in pack.sections[1].blocks if isinstance(block, Table))
    assert not [row for row in tasks.rows if any(cell != cell for cell in row)], "NaN is no slack"


def test_waits_of_the_past_say_what_the_log_says(late_plan: pk.Plan) -> None:
    waits = late_plan.briefing().table.query("kind == 'wait'")
    assert len(waits) > 5
    said = "X1 (Demate the four power connectors, cap each) began only then, as logged"
    assert said in " ".join(waits.words)
    assert not waits.words.str.contains(r"Waits? 0 min|for start|: \.|for now").any()


def test_a_what_if_is_told_on_the_first_page(demo_plan: pk.Plan) -> None:
    changed = demo_plan.what_if(drop=["LMP"])
    facts = dict(assemble(changed.timed, NO_ODDS, None).facts)
    assert "LMP" in facts["Changed from the scenario"]
    assert "Changed from the scenario" not in dict(assemble(demo_plan.timed, NO_ODDS, None).facts)


def test_sign_offs_stand_on_the_first_page(small: pk.Scenario, tmp_path) -> None:
    own = small.save(tmp_path / "own")
    assert dict(assemble(pk.time_plan(own).timed, NO_ODDS, None).facts)["Signed off"] == "by nobody yet"
    own.add_note("N. Oter", "a note is no signature")
    own.sign_off("R. Viewer", at="2031-09-01T10:00:00Z")
    stale = pk.time_plan(edited(own, "steps", "B2", minutes_likely=14))
    assert dict(assemble(stale.timed, NO_ODDS, None).facts)["Signed off"] == (
        "R. Viewer, 2031-09-01T10:00:00Z: stale: the scenario has changed since")


def test_a_sign_off_says_nothing_of_another_pet_zero(small: pk.Scenario, tmp_path) -> None:
    own = small.save(tmp_path / "own")
    own.sign_off("R. Viewer", at="2031-09-01T10:00:00Z")
    plan = pk.time_plan(own)
    assert dict(assemble(plan.timed, NO_ODDS, None).facts)["Signed off"].endswith(": current")
    for later in (plan.what_if(slip_min=10), pk.time_plan(own, pet_zero="2031-09-03T07:40:00Z")):
        pack = assemble(later.timed, NO_ODDS, None)
        facts = dict(pack.facts)
        assert facts["Not the scenario's PET 0"] == "that is 2031-09-03 GMT 246/07:30"
        assert "current" not in facts["Signed off"]
        assert "of the scenario's PET 0" in facts["Signed off"]
        states = [row[5] for section in pack.sections if section.key == "reviews"
                  for row in section.blocks[0].rows]
        assert states == ["of the scenario's PET 0 (2031-09-03 GMT 246/07:30), not of this one"]


@pytest.mark.parametrize("chars", [80, 400])
def test_a_pocket_sheet_is_one_page_whatever_the_titles(demo: pk.Scenario, chars: int) -> None:
    steps, places = demo.steps, demo.places
    for table in (steps, places):
        table["title"] = [f"{title} {'and then once more ' * (chars // 19)}" for title in table.title]
        table["caution"] = "Mind the edges. " * (chars // 16)
    plan = pk.time_plan(demo.with_table("steps", steps).with_table("places", places))
    for crew in ("EV1", "EV2"):
        pack, sheet = pocket(plan, crew)
        text = pages(pocket_bytes(pack, sheet))
        assert len(text) == 1
        assert joined("the rest is in the detailed procedure of the review pack") in joined(text[0])
        lines = {line.strip() for line in text[0].splitlines()}
        own = {step.step for step in plan.timed.steps if step.crew in (crew, "both")}
        assert own <= lines, "every step is there, if not every word"


def test_a_lane_longer_than_a_page_says_from_when_it_goes_on(demo_plan: pk.Plan) -> None:
    pack, sheet = pocket(demo_plan, "EV1")
    last = sheet.shorter[-1]
    rows = last.blocks[0].rows
    long = type(last)(last.key, last.title, last.words,
                      (Table("EV1", "EV1", last.blocks[0].columns, rows * 5),))
    text = pages(pocket_bytes(pack, long))
    assert len(text) == 1
    said = re.search(r"NOT ALL: the (\d+) rows from PET (\d+:\d\d) on do not fit", " ".join(text[0].split()))
    assert said is not None
    assert said[2] == (rows * 5)[len(rows * 5) - int(said[1])][0]
    assert len(rows) < len(rows * 5) - int(said[1])


def test_times_do_not_break_in_the_largest_type(faulty_plan: pk.Plan) -> None:
    for crew in ("EV1", "EV2"):
        pack, sheet = pocket(faulty_plan, crew)
        lines = pages(pocket_bytes(pack, sheet))[0].splitlines()
        timed = [line for line in lines if re.search(r"\b\d{3}/\d\d:\d\d\b", line)]
        assert len(timed) >= len(sheet.blocks[0].rows)
        assert "Slack" in " ".join(lines).split()


def test_the_contents_name_the_page_of_every_section(demo_plan: pk.Plan) -> None:
    pack = assemble(demo_plan.timed, NO_ODDS, None)
    reader = pypdf.PdfReader(io.BytesIO(pdf_bytes(pack)))
    texts = [" ".join(page.extract_text().split()) for page in reader.pages]
    titles = [f"{number}. {section.title}" for number, section in enumerate(pack.sections, start=1)]
    assert [mark.title for mark in reader.outline] == titles
    for mark, title in zip(reader.outline, titles, strict=True):
        page = reader.get_destination_page_number(mark)
        assert title in texts[page]
        assert re.search(rf"{re.escape(title)} page {page + 1}\b", texts[0])


def test_the_map_shows_where_they_are(demo_plan: pk.Plan) -> None:
    section = map_section(demo_plan.timed)
    keys = key_moments(demo_plan.timed)
    assert len(section.blocks) == len(keys)
    whole = " ".join(key.why for key in keys)
    for why in ("out at work", "in night: X1", "by day: SV3", "hand to hand: X3", "least return margin: EV1",
                "longest way to the airlock"):
        assert why in whole
    for key, picture in zip(keys, section.blocks, strict=True):
        assert isinstance(picture, Picture)
        moment = demo_plan.at(key.at_min)
        for person in moment.people:
            assert f"Tether hooked at {person.hook}" in picture.alt
            labels = [shape.text for shape in picture.shapes if isinstance(shape, Label)]
            assert labels.count(person.crew) <= 1
        for shape in picture.shapes:
            for x, y in shape.points if isinstance(shape, Line | Area) else [(shape.x, shape.y)]:
                assert 0 <= x <= picture.width
                assert 0 <= y <= picture.height


def test_nothing_is_drawn_from_hand_to_hand_where_the_partner_is_elsewhere(faulty_plan: pk.Plan) -> None:
    """B5 hands the failed box to EV2, who is at the hatch."""
    assert not [key.why for key in key_moments(faulty_plan.timed) if "hand to hand" in key.why]
    assert [key.why for key in key_moments(faulty_plan.timed) if "in night: B4" in key.why]



def test_what_is_broken_in_samples_is_told(demo_plan: pk.Plan) -> None:
    chances = demo_plan.odds(samples=1000)
    odds = next(s for s in assemble(demo_plan.timed, chances, None).sections if s.key == "odds")
    tables = {block.sheet: block for block in odds.blocks if isinstance(block, Table)}
    assert "RN1 to X5: more than 46 min" in str(tables["Odds broken"].rows)
    assert len(tables["Odds clocks"].rows) == len(chances.clocks)


def test_limits_are_in_the_timeline(demo_plan: pk.Plan) -> None:
    sections = assemble(demo_plan.timed, NO_ODDS, None).sections
    timeline = next(s for s in sections if s.key == "timeline").blocks[0]
    assert isinstance(timeline, Picture)
    assert {"planned limit", "hard limit"} <= {s.text for s in timeline.shapes if isinstance(s, Label)}
    assert against(390, demo_plan.end_min) == "0:14 before"
