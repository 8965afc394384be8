"""The published schema is current, is a schema, and tells good from bad (judge: PyPI `jsonschema`)."""

from __future__ import annotations

import copy
import json
import tomllib
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from planning_kit import load_campaign
from planning_kit.inputs.campaign_records import BACKLOG
from planning_kit.inputs.fields import Field, columns_of
from planning_kit.inputs.format import SECTIONS, TABLES
from planning_kit.inputs.raw import BOM
from planning_kit.inputs.scenario import Scenario, load_scenario
from planning_kit.inputs.schema import format_reference, format_schema, schema_text
from planning_kit.inputs.setting_records import UsedBefore

SCENARIOS = Path(__file__).parents[2] / "scenarios"


def scenario_document(scenario: Scenario) -> dict[str, Any]:
    """A scenario as the JSON document that the schema describes."""
    text = scenario.checked.source.toml.removeprefix(BOM).decode("utf-8")
    document: dict[str, Any] = {"scenario": _jsonable(tomllib.loads(text))}
    for table in TABLES:
        frame = scenario.table(table.name)
        by_name = table.by_name
        document[table.name] = [
            {str(name): _json_cell(value, by_name.get(str(name))) for name, value in row.items()}
            for row in frame.to_dict("records")
        ]
    return document


def _json_cell(value: Any, field: Field | None) -> Any:
    if field is not None and field.is_number:
        return None if value != value else int(value) if field.kind == "count" else value
    if field is not None and field.is_list:
        return value.split()
    return value if value.strip() or (value and field is not None and field.kind == "text") else None


def _jsonable(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _jsonable(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [_jsonable(entry) for entry in value]
    return value.isoformat() if isinstance(value, datetime | date | time) else value


@pytest.fixture(scope="module")
def validator() -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(format_schema())


def test_the_committed_copy_is_current() -> None:
    text = (SCENARIOS / "format-2.schema.json").read_text(encoding="utf-8")
    assert text == schema_text(), "run: python -m planning_kit.inputs.schema > scenarios/format-2.schema.json"


def test_it_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(format_schema())


def test_good_scenarios_validate(validator: jsonschema.Draft202012Validator, small: Scenario) -> None:
    validator.validate(json.loads(json.dumps(scenario_document(small))))
    for name in ("tern-station", "small-outing", "faulty-plan"):
        validator.validate(json.loads(json.dumps(scenario_document(load_scenario(SCENARIOS / name)))))


def test_a_hard_limit_by_consumables_validates(validator: jsonschema.Draft202012Validator,
                                               small: Scenario) -> None:
    by_suits = small.with_settings({"limits.hard_min": "consumables"})
    validator.validate(json.loads(json.dumps(scenario_document(by_suits))))


def test_the_document_says_what_the_scenario_says(small: Scenario) -> None:
    document = scenario_document(small)
    assert document["scenario"]["limits"]["hard_min"] == 420
    assert document["steps"][0]["takes"] == ["stand", "gun<bag1"]
    assert document["steps"][3]["minutes_low"] is None
    assert document["places"][1]["crew_at_once"] is None
    assert document["places"][0]["crew_at_once"] == 2
    assert document["steps"][0]["x_ref"] == "17"


BAD: list[tuple[str, Any]] = [
    ("steps.0.minutes_likely", None),
    ("steps.0.minutes_likely", "5"),
    ("steps.0.minutes_low", -1),
    ("steps.0.light", "dark"),
    ("steps.0.after", "s1"),
    ("steps.0.after", ["a b"]),
    ("steps.0.takes", ["a<b<c"]),
    ("steps.0.step", "a b"),
    ("steps.0.block", 3),
    ("steps.0.plcae", "mid"),
    ("crew.0.metres_per_min", 0),
    ("crew.0.crew", "EV3"),
    ("places.0.crew_at_once", 1.5),
    ("places.0.anchor", "Yes"),
    ("windows.0.start", "tomorrow"),
    ("scenario.format", 3),
    ("scenario.limits.hard_min", "420"),
    ("scenario.limits.hard_min", "consumable"),
    ("scenario.limits.hard_min", True),
    ("scenario.limits.hard_min", 0),
    ("scenario.limits.planned_min", "consumables"),
    ("scenario.limits.hard_mni", 420),
    ("scenario.suit.EV3", {}),
    ("scenario.suit.respiratory_quotient", 0.5),
    ("scenario.orbit", "../orbit.json"),
    ("scenario.relays.longitudes_deg_east", [500]),
    ("scenario.title", ""),
    ("scenery", []),
]


@pytest.mark.parametrize(("where", "value"), BAD)
def test_bad_documents_do_not(validator: jsonschema.Draft202012Validator, small: Scenario, where: str,
                              value: Any) -> None:
    document = copy.deepcopy(scenario_document(small))
    *path, last = where.split(".")
    here: Any = document
    for part in path:
        here = here[int(part) if part.isdigit() else part]
    here[last] = value
    errors = list(validator.iter_errors(document))
    assert len(errors) == 1, errors


@pytest.mark.parametrize("where", ["steps", "scenario", "scenario.pet_zero_utc", "scenario.limits",
                                   "scenario.limits.hard_min",
                                   "steps.0.title", "crew.0.tether_m"])
def test_missing_parts_are_missed(validator: jsonschema.Draft202012Validator, small: Scenario,
                                  where: str) -> None:
    document = copy.deepcopy(scenario_document(small))
    *path, last = where.split(".")
    here: Any = document
    for part in path:
        here = here[int(part) if part.isdigit() else part]
    del here[last]
    assert len(list(validator.iter_errors(document))) == 1


def test_the_reference_names_every_column_and_key() -> None:
    reference = format_reference()
    assert list(reference.columns) == ["table", "column", "kind", "unit", "range", "needed", "example",
                                       "description"]
    named = reference[(reference["column"] != "") & (reference["column"] != "*_source")]
    of_scenario = named[~named["table"].isin(["accepted.csv", "log.csv", "backlog.csv"])
                        & ~named["table"].str.startswith("campaign.toml")]
    assert len(of_scenario) == (sum(len(each.fields) for each in (*TABLES, *SECTIONS))
                                + len(columns_of(UsedBefore)))
    assert (reference["description"] != "").all()
    row = reference[(reference["table"] == "steps.csv") & (reference["column"] == "wait_at")].iloc[0]
    assert (row["kind"], row["needed"]) == ("reference of places.csv", "may be absent")


def campaign_document(folder: Path) -> dict[str, Any]:
    backlog = load_campaign(folder).backlog
    rows = [{str(name): _json_cell(value, BACKLOG.by_name[str(name)]) for name, value in row.items()}
            for row in backlog.to_dict("records")]
    for row in rows:
        row["trained"] = [each.strip() for each in " ".join(row["trained"]).split(";") if each.strip()]
    toml = tomllib.loads((folder / "campaign.toml").read_text(encoding="utf-8"))
    return {"campaign": _jsonable(toml), "backlog": rows}


def test_a_campaign_validates_and_a_bad_one_does_not() -> None:
    schema = format_schema()
    judge = jsonschema.Draft202012Validator({"$ref": "#/$defs/campaign", "$defs": schema["$defs"]})
    good = json.loads(json.dumps(campaign_document(SCENARIOS / "tern-campaign")))
    judge.validate(good)
    for path, value in (("campaign.outings.one.earliest", "soon"), ("campaign.outings.one.crew", ["Ada"]),
                        ("campaign.outings.one.fodler", "one"), ("campaign.least_days_between", -1),
                        ("campaign.format", 2), ("campaign.outings", {}), ("backlog.0.need", "maybe"),
                        ("backlog.0.share_done", 2), ("backlog.0.vlaue", 1), ("backlog.0.must_by", "31 May"),
                        ("backlog.0.trained", [""]), ("backlogs", [])):
        bad, *keys = copy.deepcopy(good), *path.split(".")
        at: Any = bad
        for key in keys[:-1]:
            at = at[int(key) if key.isdigit() else key]
        at[keys[-1]] = value
        assert not judge.is_valid(bad), path
