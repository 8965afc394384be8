"""``scenario.toml`` as cells: every key of the format, a value as text, and what a text says as a value."""

import tomllib
from collections.abc import Mapping
from datetime import UTC, datetime

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import parse_number
from planning_kit.inputs.fields import Field
from planning_kit.inputs.times import moment_text


def setting_fields() -> dict[str, Field]:
    """Every key of the format, dotted, in the order of the format; a source behind what it is of."""
    found: dict[str, Field] = {}
    for name, section in (each for top in fmt.SECTIONS for each in top.each()):
        for field in section.fields:
            source = Field(field.name + fmt.SOURCE_SUFFIX, "text", f"source of {field.name}")
            for each in (field, source) if section.has_sources else (field,):
                found[f"{name}.{each.name}" if name else each.name] = each
    return found


def keys_in(toml: bytes) -> dict[str, object]:
    """What ``scenario.toml`` says, by dotted keys. Raises `ValueError` for bytes that are no TOML."""
    return flat(tomllib.loads(toml.decode("utf-8-sig")))


def flat(data: Mapping[str, object], above: str = "") -> dict[str, object]:
    """The values of TOML by their dotted keys."""
    found: dict[str, object] = {}
    for key, value in data.items():
        name = f"{above}{key}"
        found |= flat(value, f"{name}.") if isinstance(value, Mapping) else {name: value}
    return found


def setting_text(value: object) -> str:
    """A value of ``scenario.toml`` as it would be typed; "" for None."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return moment_text(value.astimezone(UTC) if value.tzinfo else value.replace(tzinfo=UTC))
    if isinstance(value, list):
        return " ".join(setting_text(entry) for entry in value)
    return str(value)


def value_typed(text: str, field: Field) -> object:
    """What a text says as the value of a key; None for nothing. Raises `CellFault` for what is no number."""
    if not text.strip():
        return None
    if text.strip() in field.words:
        return text.strip()
    if field.is_number:
        return _as_typed(text, parse_number(text, field))
    if field.kind == "numbers":
        each = Field(field.name, "number", field.about, field.unit, least=field.least, most=field.most)
        return [_as_typed(part, parse_number(part, each)) for part in text.split()]
    return text.split() if field.kind == "names" else text


def _as_typed(text: str, number: float) -> float | str:
    """95 stays 95 in the file: else what was saved would read as another's change of it; so does 5 ft."""
    if text.strip()[-1].isalpha():
        return text.strip()
    return int(number) if text.strip().lstrip("+-").isdigit() else number


def free_value(text: str) -> object:
    """What a text says as the value of a free key, whose kind no format knows: TOML, or else itself."""
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except (ValueError, RecursionError):
        return text
