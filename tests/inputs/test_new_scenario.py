"""An outing from nothing: it times at once, says what nobody has typed yet, and is soon filled in."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

import planning_kit as pk
from planning_kit.inputs import format as fmt
from planning_kit.inputs import new_scenario as module
from planning_kit.inputs.setting_records import Airlock, Limits
from planning_kit.inputs.typed_settings import setting_fields
from tests.conftest import SCENARIOS, TESTS
from tests.inputs.typed_outing import MOST, STEPS, typed_outing

ORBIT = SCENARIOS / "small-outing" / "orbit.kvn"
ALDER = TESTS / "data" / "orders-alder"
BLANK = Path(module.__file__).parent / "blank"
NEEDED = {"planned_min", "hard_min", "hatch_closed_min", "repress_start_min", "repress_safe_min"}


def new(folder: Path, **given: object) -> pk.Scenario:
    asked = {"station": "Linnet Works", "pet_zero_utc": "2031-09-03T07:30:00Z", "orbit": ORBIT} | given
    return pk.new_scenario(folder, **asked)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["outing", "outing.xlsx"])
def test_it_times_at_once_without_a_stop(name: str, tmp_path: Path) -> None:
    scenario = new(tmp_path / name, crew={"EV1": {"name": "Ada", "size": "L"}})
    assert scenario.folder == tmp_path / name
    assert scenario == pk.load_scenario(tmp_path / name)
    assert not scenario.told
    assert (scenario.settings.station, scenario.crew.name[0]) == ("Linnet Works", "Ada")
    findings = pk.time_plan(scenario).findings
    assert "stop" not in set(findings.severity)
    assert {"limits", "airlock", "crew", "places", "routes", "steps"} == {
        message.partition(" hold placeholders")[0].rpartition(" of ")[2].strip("[]")
        for message in findings.query("rule == 'placeholder'").message}
    assert set(findings.query("rule == 'placeholder'").severity) == {"concern"}


def test_no_limit_is_made_up_but_those_that_the_format_needs(tmp_path: Path) -> None:
    settings = new(tmp_path / "outing").settings
    for record in (settings.limits, settings.airlock):
        assert isinstance(record, Limits | Airlock)
        given = {key for key, value in vars(record).items() if isinstance(value, float)}
        assert given <= NEEDED
        assert {key for key, source in record.sources.items() if source.startswith(fmt.PLACEHOLDER)} == given
    assert settings.exertion_w == {}
    assert settings.suits["EV1"].oxygen_g is None


def test_a_placeholder_is_told_until_it_is_typed(tmp_path: Path) -> None:
    scenario = new(tmp_path / "outing")
    typed = scenario.with_settings({f"limits.{key}": value for key, value in {
        "planned_min": 300, "planned_min_source": "rule 7", "hard_min_source": "rule 8"}.items()})
    told = pk.time_plan(typed).findings.query("rule == 'placeholder'").about
    assert "planned_min hard_min" not in set(told)
    assert len(told) == len(pk.time_plan(scenario).findings.query("rule == 'placeholder'")) - 1


def test_every_key_is_explained_in_the_file() -> None:
    text = (BLANK / fmt.SCENARIO_FILE).read_text(encoding="utf-8")
    for key, field in setting_fields().items():
        where, _, name = key.rpartition(".")
        if name.endswith(fmt.SOURCE_SUFFIX) or where.startswith("suit.EV"):
            continue
        assert f"{name} =" in text
        assert f"  # {field.about}" in text
        assert not where or f"[{where}]" in text


ORBITS: dict[str, Callable[[], object]] = {
    "a path": lambda: ORBIT, "a path as text": lambda: str(ORBIT), "its text": ORBIT.read_text,
    "JSON in one line": lambda: json.dumps(json.loads((ALDER / "orbit.json").read_text()))}


@pytest.mark.parametrize("given", ORBITS)
def test_an_orbit_is_a_file_or_its_text(given: str, tmp_path: Path) -> None:
    scenario = new(tmp_path / "outing", orbit=ORBITS[given]())
    assert scenario.elements.object_name in ("HERON ANNEX", "ALDER RING")


@pytest.mark.parametrize(("given", "where"), [
    ({"station": 3}, "station"), ({"station": ""}, "station"),
    ({"pet_zero_utc": "2031-09-03"}, "pet_zero_utc"), ({"pet_zero_utc": "soon"}, "pet_zero_utc"),
    ({"orbit": 3}, "orbit"), ({"orbit": "none.txt"}, ""),
    ({"orbit": "a\nb"}, ""), ({"crew": {"EV3": {}}}, "crew"), ({"crew": ["Ada"]}, "crew"),
    ({"crew": {"EV1": {"nme": "A"}}}, "nme")])
def test_what_is_wrong_is_told_and_nothing_is_written(given: dict[str, object], where: str,
                                                      tmp_path: Path) -> None:
    with pytest.raises(pk.ScenarioError) as caught:
        new(tmp_path / "outing", **given)
    assert where in set(caught.value.problems["column"])
    assert not any(tmp_path.iterdir())


def test_nothing_is_written_over(tmp_path: Path) -> None:
    (tmp_path / "outing.xlsx").write_bytes(b"mine")
    (tmp_path / "outing").mkdir()
    (tmp_path / "outing" / "mine.txt").write_bytes(b"mine")
    for name in ("outing.xlsx", "outing"):
        with pytest.raises(pk.ScenarioError, match="is there already"):
            new(tmp_path / name)
    assert (tmp_path / "outing.xlsx").read_bytes() == b"mine"
    assert [path.name for path in (tmp_path / "outing").iterdir()] == ["mine.txt"]


def test_an_outing_of_49_steps_needs_few_cells(tmp_path: Path) -> None:
    typist = typed_outing(tmp_path / "outing")
    scenario = typist.scenario
    assert (len(scenario.steps), len(scenario.places)) == (STEPS, 12)
    assert len(scenario.hardware) >= 6
    assert len(scenario.inhibits) == len(scenario.gaps) == 1
    assert STEPS * 5 < typist.cells <= MOST
    plan = pk.time_plan(scenario)
    assert "stop" not in set(plan.findings.severity)
    assert not len(plan.findings.query("rule == 'placeholder'"))
    assert plan.end_min < scenario.settings.limits.planned_min
    assert pk.load_scenario(scenario.write_workbook(tmp_path / "outing.xlsx")) == scenario
