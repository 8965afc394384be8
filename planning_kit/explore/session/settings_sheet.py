"""``scenario.toml`` as a sheet of keys and values, and what was changed in it as changes of the file."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from functools import lru_cache
from typing import Any

from planning_kit.explore.session.sheet import Line, Sheet
from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault, parse_number
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.fields import Field
from planning_kit.inputs.scenario import Scenario

SETTINGS = "settings"
KEY, VALUE = "key", "value"
_COLUMNS = (KEY, VALUE, "unit", "about")
_NOT_HERE = ("format", "orbit")  # another orbit is another file, not a text to type


def setting_fields() -> dict[str, Field]:
    """Every key of the format that can be typed, dotted, in the order of the format."""
    return {key: field for key, field in _fields() if key not in _NOT_HERE}


def _fields() -> Iterator[tuple[str, Field]]:
    for section in fmt.SECTIONS:
        for name in (section.name, *(f"{section.name}.{sub}" for sub in section.sub_sections)):
            for field in section.fields:
                yield (f"{name}.{field.name}" if name else field.name), field
                if section.has_sources:
                    source = Field(field.name + fmt.SOURCE_SUFFIX, "text", f"source of {field.name}")
                    yield f"{name}.{source.name}", source


def settings_sheet(toml: bytes, first_id: int) -> Sheet:
    """One line a key: as the file has it, empty where the file does not give it.

    Raises `ValueError` for bytes that are no TOML.
    """
    data = _data(toml)
    lines = [Line(first_id + number, (key, _text(_value(data, key)), field.unit, field.about))
             for number, (key, field) in enumerate(setting_fields().items())]
    return Sheet(SETTINGS, _COLUMNS, tuple(lines), can_grow=False)


@lru_cache(maxsize=8)  # asked at every edit
def _data(toml: bytes) -> dict[str, Any]:
    return tomllib.loads(toml.decode("utf-8-sig"))


def _value(data: Mapping[str, Any], key: str) -> object:
    here: Any = data
    for part in key.split("."):
        here = here.get(part) if isinstance(here, dict) else None
    return here


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return moment_text(value.astimezone(UTC) if value.tzinfo else value.replace(tzinfo=UTC))
    if isinstance(value, list):
        return " ".join(_text(entry) for entry in value)
    return str(value)


def moment_text(moment: datetime) -> str:
    """A moment (UTC) as the file has it."""
    return moment.isoformat().replace("+00:00", "Z")


def setting_changes(sheet: Sheet, scenario: Scenario, faults: Faults) -> dict[str, object]:
    """What the sheet says otherwise than the scenario's file: dotted key to value, None for a key deleted.

    Text that is no number where one is needed is a fault.
    """
    fields, before = setting_fields(), settings_sheet(scenario.checked.source.toml, 0)
    changes: dict[str, object] = {}
    for line, old in zip(sheet.lines, before.lines, strict=True):
        key, text = line.cells[:2]
        if text == old.cells[1]:
            continue
        try:
            changes[key] = _typed(text, fields[key])
        except CellFault as fault:
            faults.add(fmt.SCENARIO_FILE, None, key, text, str(fault))
    return changes


def _typed(text: str, field: Field) -> object:
    if not text.strip():
        return None
    if field.is_number:
        return _as_typed(text, parse_number(text, field))
    if field.kind == "numbers":
        each = Field(field.name, "number", field.about, field.unit, least=field.least, most=field.most)
        return [_as_typed(part, parse_number(part, each)) for part in text.split()]
    return text


def _as_typed(text: str, number: float) -> float:
    """95 stays 95 in the file: else what was saved would read as another's change of it."""
    return int(number) if text.strip().lstrip("+-").isdigit() else number
