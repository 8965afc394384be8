"""Who the crew are: names where people read them, training held against the work, persons traded."""

from __future__ import annotations

from pathlib import Path

import pytest

import planning_kit as pk

DATA = Path(__file__).parents[1] / "data"
NAMES = ["curlew-deck", "orders-godwit", "orders-hazel"]


@pytest.fixture(params=NAMES)
def outing(request: pytest.FixtureRequest) -> pk.Scenario:
    return pk.load_scenario(DATA / request.param)


def tasks_of(scenario: pk.Scenario, who: str) -> list[str]:
    return list(dict.fromkeys(step.task for step in scenario.records.steps if who in step.people))


def training(scenario: pk.Scenario) -> list[tuple[str, str, str, str]]:
    found = pk.time_plan(scenario).findings.query("check == 'crew'")
    return sorted(zip(found["severity"], found["rule"], found["crew"], found["about"], strict=True))


def test_training_that_nobody_states_is_not_asked_for(outing: pk.Scenario) -> None:
    assert training(outing) == []
    assert training(outing.with_crew(EV1={"name": "Ada"}, EV2={"size": "L"})) == []


def test_who_is_not_trained_for_a_task_is_a_concern(outing: pk.Scenario) -> None:
    mine, theirs = tasks_of(outing, "EV1"), tasks_of(outing, "EV2")
    trained = outing.with_crew(EV1={"trained": mine[1:] or "none"}, EV2={"trained": theirs})
    assert training(trained) == [("concern", "not-trained", "EV1", mine[0])]
    assert training(outing.with_crew(EV1={"trained": mine})) == [("remark", "training-unknown", "EV2", "")]
    none = outing.with_crew(EV1={"trained": "none"}, EV2={"trained": theirs})
    assert [each[3] for each in training(none)] == sorted(mine)


def test_only_findings_of_training_come(outing: pk.Scenario) -> None:
    before = pk.time_plan(outing).findings
    after = pk.time_plan(outing.with_crew(EV1={"trained": "none"}, EV2={"name": "Bo"})).findings
    assert after.query("check != 'crew'")["message"].tolist() == before["message"].tolist()


def test_a_dropped_task_is_trained_for_no_more(outing: pk.Scenario) -> None:
    task = next(each.task for each in outing.records.tasks if each.need != "required")
    trained = outing.with_crew(EV1={"trained": [task]}, EV2={"trained": [task, outing.records.tasks[0].task]})
    left = pk.time_plan(trained).what_if(drop=f"task:{task}").scenario.records.crew
    assert [each.trained for each in left] == [("none",), (outing.records.tasks[0].task,)]


def test_persons_are_traded_with_their_suits_but_not_their_tethers(outing: pk.Scenario) -> None:
    scenario = outing.with_crew(
        EV1={"name": "Ada", "size": "M", "metres_per_min": 7, "tether_m": 20},
        EV2={"name": "Bo", "suit": "12", "metres_per_min": 5}).with_settings({"suit.EV2.oxygen_g": 500})
    traded = scenario.with_crew(swap=True)
    one, two = traded.records.crew
    assert (one.label, one.suit, one.size, one.metres_per_min, one.tether_m) == ("EV1 (Bo)", "12", "", 5, 20)
    assert (two.label, two.suit, two.size, two.metres_per_min) == ("EV2 (Ada)", "", "M", 7)
    assert traded.settings.suits["EV1"].oxygen_g == 500
    assert traded.settings.suits["EV2"].oxygen_g == scenario.settings.suits["EV1"].oxygen_g
    assert "EV1, name: was Ada, is Bo" in [line.replace(" (Ada)", "") for line in traded.told]
    assert traded.with_crew(swap=True) == scenario
    assert list(pk.time_plan(traded).timed.lanes) == list(pk.time_plan(scenario).timed.lanes)


def test_of_somebody_else_nothing_is_taken_over_unsaid(outing: pk.Scenario) -> None:
    task = outing.records.tasks[0].task
    ada = outing.with_crew(EV1={"name": "Ada", "suit": "12", "size": "M", "trained": task})
    cleo = ada.with_crew(EV2={"name": "Di"}, EV1={"name": "Cleo", "size": "L"})
    one, two = cleo.records.crew
    assert (one.name, one.suit, one.size, one.trained) == ("Cleo", "", "L", ())
    assert two.name == "Di"
    assert cleo.told[-1].startswith("EV1 is somebody else: ")
    assert not any("somebody else" in line for line in ada.told)


def test_names_stand_in_the_briefing_and_on_the_sheets(outing: pk.Scenario, tmp_path: Path) -> None:
    plan = pk.time_plan(outing.with_crew(EV1={"name": "Ada <b>", "suit": "12", "size": "M"}))
    told = plan.briefing()
    assert "Crew: EV1 (Ada <b>), suit 12, size M; EV2." in told.text
    assert "EV1 (Ada <b>)" in told.one_minute
    assert "Ada <b>" not in told._repr_html_()
    assert "Crew:" not in pk.time_plan(outing).briefing().text
    plan.write_pack(tmp_path / "pack", chances=plan.odds(samples=100, progress=None))
    page = (tmp_path / "pack" / "review.html").read_text(encoding="utf-8")
    assert "EV1 (Ada &lt;b&gt;), suit 12" in page
    assert "Ada <b>" not in page


@pytest.mark.parametrize(("given", "column", "value"), [
    ({"EV3": {"name": "x"}}, "crew", "EV3"), ({"EV1": "Ada"}, "EV1", "str"),
    ({"EV1": {"trained": "nix"}}, "trained", "nix"),
    ({"EV1": {"metres_per_min": "fast"}}, "metres_per_min", "fast"),
    ({"EV1": {"colour": "red"}}, "colour", "colour"),
])
def test_what_cannot_be_is_a_fault(outing: pk.Scenario, given: dict, column: str, value: str) -> None:
    with pytest.raises(pk.ScenarioError) as caught:
        outing.with_crew(**given)
    found = caught.value.problems
    assert (column, value) in set(zip(found["column"], found["value"].map(str), strict=True))
