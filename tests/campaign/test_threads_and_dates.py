"""What a log cut short leaves in the threads of a campaign, and far or open last dates in its season."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pandas as pd
import pytest

import planning_kit as pk
from planning_kit.campaign.standing import left_before
from tests.campaign.ridge import write_ridge

HEAD = "event_id,logged_at,crew,step,event,at,remaining_min,by,note\n"
OUT = (("", "pet_zero", 0), ("E1", "started", 0), ("E1", "finished", 20), ("E2", "started", 21),
       ("E2", "finished", 25))


def log(path: Path, day: str, *events: tuple[str, str, int] | tuple[str, str, int, int]) -> None:
    """Write a log of an outing with PET 0 at 7:30: step, event, minute, minutes left."""
    zero = pd.Timestamp(f"{day}T07:30:00Z")
    rows = []
    for number, (step, event, minute, *left) in enumerate(events):
        at = f"{zero + timedelta(minutes=minute):%Y-%m-%dT%H:%M:%SZ}"
        rows.append(f"e{number},{at},,{step},{event},{at},{left[0] if left else ''},Ines,")
    path.write_text(HEAD + "\n".join(rows) + "\n", encoding="utf-8")


@pytest.fixture
def ridge(tmp_path: Path) -> Path:
    folder = write_ridge(tmp_path / "c", [
        "AA,First,required,10,2031-09-20,,,P1,EV1,20,", "BB,Second,required,5,2031-09-04,,,P2,EV1,20,"],
        2, planned=200)
    campaign = pk.load_campaign(folder).moved("AA", "R1").campaign.moved("BB", "R1").campaign
    scenario = campaign.scenario("R1")
    for name, first, lead in (("I1", "AA", 5), ("I2", "BB", 15)):
        scenario = scenario.add_row("inhibits", inhibit=name, title=f"Off {name}", owner="Ground",
                                    from_step=first, until_step="X1", lead_min=lead)
    scenario.save()
    return folder


def test_an_inhibit_that_a_log_leaves_in_force_stays_a_thread(ridge: Path) -> None:
    begun = pk.load_campaign(ridge).plan("R1").inhibits.set_index("inhibit").loc["I2", "set_by_min"]
    log(ridge / "r1" / "log.csv", "2031-09-03", *OUT, ("AA", "started", 25), ("AA", "finished", 46),
        ("", "ingress", 55))
    campaign = pk.load_campaign(ridge)
    (sure,) = campaign.thread_table("I1").to_dict("records")
    assert (sure["is"], sure["from_min"], sure["until_min"]) == ("in force, nobody has lifted it", 20, 55)
    (maybe,) = campaign.thread_table("I2").to_dict("records")
    assert maybe["is"].startswith("perhaps in force")
    assert maybe["from_min"] == pytest.approx(begun)
    for name in ("I1", "I2"):
        assert campaign.thread(name).data
    assert left_before(campaign, "R2", "inhibit", "I1") == (
        "R1 leaves it in force since 2031-09-03 07:50 UTC, and nobody has lifted it")
    assert left_before(campaign, "R2", "inhibit", "I2").startswith("R1 leaves it perhaps in force")
    assert left_before(campaign, "R1", "inhibit", "I1") == ""
    assert left_before(campaign, "R2", "item", "I1") == ""


def test_an_inhibit_that_was_set_and_lifted_though_its_first_step_was_left_half_done(ridge: Path) -> None:
    log(ridge / "r1" / "log.csv", "2031-09-03", *OUT, ("AA", "started", 25), ("AA", "partly", 35, 15),
        ("X1", "started", 40), ("X1", "finished", 55), ("", "ingress", 58))
    (row,) = pk.load_campaign(ridge).thread_table("I1").to_dict("records")
    assert (row["is"], row["from_min"], row["until_min"]) == ("in force", 20, 55)


def test_an_inhibit_that_was_never_set_has_no_stretch_and_is_no_fault(ridge: Path) -> None:
    log(ridge / "r1" / "log.csv", "2031-09-03", ("", "pet_zero", 0), ("E1", "started", 0),
        ("E1", "finished", 5), ("", "ingress", 9))
    campaign = pk.load_campaign(ridge)
    assert campaign.end_state("R1").inhibits == ()
    assert campaign.thread_table("I1").empty
    assert not campaign.thread("I1").data
    with pytest.raises(pk.ScenarioError):
        campaign.thread_table("I3")


def test_the_last_date_of_an_undone_task_stays_where_every_outing_has_a_log(ridge: Path) -> None:
    log(ridge / "r1" / "log.csv", "2031-09-03", *OUT, ("AA", "started", 25), ("AA", "finished", 46),
        ("", "ingress", 55))
    log(ridge / "r2" / "log.csv", "2031-09-08", *OUT, ("", "ingress", 55))
    dates = pk.load_campaign(ridge).dates_table.query("kind == 'must be done by'")
    assert [(row["about"], row["outing"]) for row in dates.to_dict("records")] == [("BB", "")]


@pytest.mark.parametrize("by", ["2041-09-20", "1970-01-01"])
def test_a_far_last_date_is_named_and_takes_nothing_else_away(tmp_path: Path, by: str) -> None:
    folder = write_ridge(tmp_path / "c", [f"AA,First,required,10,{by},,,P1,EV1,20,",
                                          "BB,Second,required,5,2031-09-12,,,P2,EV1,20,"], 2)
    chart = pk.load_campaign(folder).season()
    names = {shape.name for shape in chart.layout.shapes}
    assert {"dates of R1", "date of R2", "last date of BB"} <= names
    assert "last date of AA" not in names
    assert any(f"AA must be done by {by}" in (note.text or "") for note in chart.layout.annotations)
    assert f"not drawn, as it is too far from the outings: AA must be done by {by}" in chart.alt
    assert len(chart.data[0].x) > 10  # the light is drawn


def test_outings_too_far_apart_for_one_season_have_their_dates_without_light(tmp_path: Path) -> None:
    folder = write_ridge(tmp_path / "c", ["AA,First,required,10,,,,P1,EV1,20,"], 2, apart=1500)
    chart = pk.load_campaign(folder).season()
    assert {"date of R1", "date of R2"} <= {shape.name for shape in chart.layout.shapes}
