"""Format 2 published: as JSON Schema (draft 2020-12) and as a reference table, both made from `format`.

The schema describes a scenario as one JSON document: ``scenario`` holds the keys of scenario.toml, each table
a list of rows; numbers are numbers, lists are lists, and null or an absent optional column means "not given".
Rules over several rows (references, order, reach) are beyond a schema: `load_scenario` checks them.

Refresh the committed copy with ``python -m planning_kit.inputs.schema > scenarios/format-2.schema.json``.
"""

import json
import re
from collections.abc import Mapping, Sequence
from datetime import datetime
from fnmatch import fnmatchcase
from typing import Any

import numpy as np
import pandas as pd

from planning_kit.inputs import format as fmt
from planning_kit.inputs.campaign_records import BACKLOG, CAMPAIGN, OUTINGS
from planning_kit.inputs.cells import ID_PATTERN, MOVE_PATTERN, NUMBER_PATTERN
from planning_kit.inputs.fields import Field, Section, Table
from planning_kit.inputs.log_format import LOG
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import WholeTable, shortened
from planning_kit.inputs.sign_offs import ACCEPTED
from planning_kit.inputs.times import PET_PATTERN, moment_text, units_of
from planning_kit.inputs.typed_settings import keys_in
from planning_kit.inputs.typed_tables import number_text

_TIME_PATTERN = "^[0-9]{4}-?[0-9W]{2}.*[T ][0-9]{2}"


def format_schema() -> dict[str, Any]:
    """The JSON Schema of a scenario in format 2; that of a campaign is its ``$defs/campaign``."""
    tables = {table.name: _table_schema(table) for table in fmt.TABLES}
    top, *sections = fmt.SECTIONS
    schema = _section_schema(top)
    schema["properties"] |= {section.name: _section_schema(section) for section in sections}
    schema["required"] += [section.name for section in sections if section.name in fmt.NEEDED_SECTIONS]
    campaign = _section_schema(CAMPAIGN)
    campaign["properties"]["outings"] = {
        "description": OUTINGS.about, "type": "object", "minProperties": 1,
        "propertyNames": {"pattern": f"^{ID_PATTERN}$"}, "additionalProperties": _section_schema(OUTINGS)}
    campaign["required"].append("outings")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"Scenario, format {fmt.FORMAT}",
        "description": "An outing: the keys of scenario.toml and the rows of each table.",
        "type": "object",
        "required": ["scenario", *(table.name for table in fmt.TABLES if not table.may_be_absent)],
        "properties": {"scenario": schema, **tables},
        "additionalProperties": False,
        "$defs": {"campaign": {
            "description": "Several outings: the keys of campaign.toml and the rows of backlog.csv.",
            "type": "object", "required": ["campaign"], "additionalProperties": False,
            "properties": {"campaign": campaign, BACKLOG.name: _table_schema(BACKLOG)}}},
    }


def _section_schema(section: Section) -> dict[str, Any]:
    properties = {field.name: _value_schema(field, in_toml=True) for field in section.fields}
    if section.has_sources:
        properties |= {f"{field.name}{fmt.SOURCE_SUFFIX}": {"type": "string", "maxLength": fmt.MAX_CELL_CHARS}
                       for field in section.fields}
    properties |= {sub.name: _section_schema(sub) for sub in section.sub_sections}
    needed = [field.name for field in section.fields if field.needed]
    return {"description": section.about, **_object_schema(needed, properties)}


def _object_schema(required: list[str], properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "required": required, "properties": properties,
            "patternProperties": {f"^{fmt.FREE_PREFIX}": {}}, "additionalProperties": False}


def _table_schema(table: Table) -> dict[str, Any]:
    row = _object_schema([field.name for field in table.fields if not field.may_be_absent],
                         {field.name: _value_schema(field, in_toml=False) for field in table.fields})
    return {"description": table.about, "type": "array", "maxItems": fmt.most_rows(table.name), "items": row}


def _value_schema(field: Field, *, in_toml: bool) -> dict[str, Any]:
    """What one cell or key may hold; in a table a cell that may be empty may be null."""
    schema = _entry_schema(field)
    if field.is_list:
        schema = {"type": "array", "items": schema}
    if field.kind == "people" and in_toml:  # a pair, or several
        pair = schema | {"minItems": 2, "maxItems": 2}
        schema = {"anyOf": [pair, {"type": "array", "items": pair, "minItems": 1}]}
    if not in_toml and not field.needed:
        if "enum" in schema:
            schema["enum"].append(None)
        schema["type"] = [*np.atleast_1d(schema["type"]).tolist(), "null"]
    unit = f" [{field.unit}]" if field.unit else ""
    return {"description": f"{field.about}{unit}", **schema}


def _entry_schema(field: Field) -> dict[str, Any]:
    """What one entry of a list, or the whole cell, may hold."""
    if field.is_number or field.kind == "numbers":
        number: dict[str, Any] = {"type": "integer" if field.kind == "count" else "number", **_bounds(field)}
        if units := "|".join(map(re.escape, units_of(field.unit))):
            number |= {"type": ["number", "string"], "pattern": f"^{NUMBER_PATTERN} *({units})$"}
        return {"anyOf": [number, {"type": "string", "enum": list(field.words)}]} if field.words else number
    if field.choices or field.kind == "yes_no":
        return {"type": "string", "enum": list(field.choices or ("yes", "no"))}
    if field.kind in ("text", "people"):
        least = {"minLength": 1} if field.needed or field.kind == "people" else {}
        return {"type": "string", **least, "maxLength": fmt.MAX_CELL_CHARS}
    if field.kind == "file":
        return {"type": "string", "pattern": r"^[^./\\:][^/\\:]*$", "maxLength": 200}
    if field.kind in ("points", "when", "controls"):
        return {"type": "string", "maxLength": fmt.MAX_CELL_CHARS}
    patterns = {"moves": f"^{MOVE_PATTERN}$", "datetime": _TIME_PATTERN,
                "moment": f"{_TIME_PATTERN}|^{PET_PATTERN}$",
                "date": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$",
                "pairs": f"^{ID_PATTERN}:{ID_PATTERN}$", "values": f"^{ID_PATTERN}={ID_PATTERN}$",
                "tool": f"^{ID_PATTERN}(:{ID_PATTERN})?$"}
    return {"type": "string", "pattern": patterns.get(field.kind, f"^{ID_PATTERN}$")}


def _bounds(field: Field) -> dict[str, float]:
    bounds: dict[str, float] = {}
    if field.least is not None:
        bounds["exclusiveMinimum" if field.above_least else "minimum"] = field.least
    if field.most is not None:
        bounds["maximum"] = field.most
    return bounds


def format_reference(*scenarios: Scenario, log: pd.DataFrame | None = None) -> pd.DataFrame:
    """Every table, column and key of the format, with an example of each out of ``scenarios``.

    Columns: ``table``, ``column`` ("" in the row that says what the table is), ``kind``, ``unit``, ``range``,
    ``needed`` ("yes": a value must be given, "may be empty" or "may be absent"), ``example`` (of the first
    scenario that gives a value, of ``log.csv`` of ``log``, as `read_log` gives it; else that of the
    declaration, "" for none) and ``description``.
    """
    rows, known = [], _examples(scenarios, log)
    every = [(fmt.SCENARIO_FILE, *each) for top in fmt.SECTIONS for each in top.each()]
    every += [(fmt.CAMPAIGN_FILE, each.name, each) for each in (CAMPAIGN, OUTINGS)]
    for file, name, section in every:
        where = f"{file} [{name}]" if name else file
        sources = [Field(f"*{fmt.SOURCE_SUFFIX}", "text", "where the limit * comes from",
                         example="demo value")]
        fields = [*section.fields, *(sources if section.has_sources else [])]
        rows.append([where, "", "table", "", "", "", "", section.about])
        rows += [_reference_row(where, field, "may be absent", known, f"{name}.{field.name}".lstrip("."))
                 for field in (() if section.is_override else fields)]
    for table in (*fmt.TABLES, ACCEPTED, LOG, BACKLOG):
        is_needed = table in fmt.TABLES and not table.may_be_absent
        rows.append([table.file, "", "table", "", "", "yes" if is_needed else "may be absent", "",
                     f"{table.about}; a row each"])
        rows += [_reference_row(table.file, field, "may be absent" if field.may_be_absent else "may be empty",
                                known, field.name) for field in table.fields]
    return WholeTable(rows, columns=["table", "column", "kind", "unit", "range", "needed", "example",
                                     "description"])


def _examples(scenarios: Sequence[Scenario], log: pd.DataFrame | None) -> dict[tuple[str, str], str]:
    """The first value that one of them gives, by file and column or dotted key."""
    columns: list[tuple[str, Any]] = [] if log is None else [(LOG.file, log)]
    for scenario in scenarios:
        keys = keys_in(scenario.checked.source.toml)
        columns += [(fmt.SCENARIO_FILE, {key: [value] for key, value in keys.items()}),
                    (ACCEPTED.file, scenario.accepted),
                    *((table.file, scenario.table(table.name)) for table in fmt.TABLES)]
    cells = [(file, name, value) for file, frame in columns for name in frame for value in frame[name]]
    # Of several the first one counts: it is put in last.
    return {(file, name): text for file, name, value in reversed(cells) if (text := _example_text(value))}


def _example_text(value: object) -> str:
    if isinstance(value, list):
        return " ".join(map(_example_text, value))
    if isinstance(value, datetime):
        return "" if pd.isna(value) else moment_text(value)
    text = number_text(value) if isinstance(value, int | float | np.number) else str(value or "")
    return shortened(text, 80)


def _reference_row(where: str, field: Field, otherwise: str, known: Mapping[tuple[str, str], str],
                   key: str) -> list[str]:
    allowed = (*field.choices, *field.words)
    words = f" ({', '.join(allowed)})" if allowed and field.kind != "id" else ""
    target = f" of {' or '.join(f'{name}.csv' for name in field.refers_to)}" if field.refers_to else ""
    file = where.partition(" ")[0]
    example = next((text for (of, name), text in known.items() if of == file and fnmatchcase(name, key)), "")
    own = field.example or ("yes" if field.kind == "yes_no" else "".join(field.choices[:1]))
    low = "" if field.least is None else f"{'above' if field.above_least else 'from'} {field.least:,g}"
    numbers = f"{low} {'' if field.most is None else f'to {field.most:,g}'}".strip()
    return [where, field.name, f"{field.kind}{target}{words}", field.unit, numbers,
            "yes" if field.needed else otherwise, example or own, field.about]


def schema_text() -> str:
    """The schema as the committed file holds it."""
    return json.dumps(format_schema(), indent=1, ensure_ascii=False) + "\n"


if __name__ == "__main__":
    print(schema_text(), end="")
