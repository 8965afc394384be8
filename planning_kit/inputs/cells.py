"""One cell of text to one value: what each kind of field allows, and what to say when it does not."""

import math
import re
from collections.abc import Callable
from datetime import UTC, date, datetime
from difflib import get_close_matches
from functools import lru_cache

from planning_kit.inputs import format as fmt
from planning_kit.inputs.fields import Field
from planning_kit.inputs.hazard_words import parse_controls, parse_pairs, parse_points, parse_when
from planning_kit.inputs.procedure_records import parse_state_values, parse_tool
from planning_kit.inputs.records import ItemMove
from planning_kit.inputs.times import converted, pet_typed, units_of

ID_PATTERN = r"[A-Za-z0-9._-]+"
NUMBER_PATTERN = r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][+-]?[0-9]+)?"
MOVE_PATTERN = rf"(?:({ID_PATTERN}):)?({ID_PATTERN})(?:<({ID_PATTERN})|>({ID_PATTERN}))?"

_ID = re.compile(ID_PATTERN)
_NUMBER = re.compile(NUMBER_PATTERN)
WITH_UNIT = re.compile(rf"(?P<number>{NUMBER_PATTERN})\s*(?P<unit>[A-Za-z%°/][A-Za-z%°/ ·.-]{{0,30}})")
_MOVE = re.compile(MOVE_PATTERN)
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
_LONGEST_TO_SUGGEST_FOR = 60
_MOST_TO_SUGGEST_FROM = 500


class CellFault(ValueError):  # noqa: N818 - a fault of the user's, as in `Faults`
    """What is wrong with one cell, or text, and what to do; the caller knows where it stands.

    Of a whole table ``where`` says more: row, column and value.
    """

    def __init__(self, problem: str, row: int | None = None, column: str = "", value: object = "") -> None:
        """Hold the problem as the message."""
        super().__init__(problem)
        self.where = row, column, value


def _parse_date(text: str) -> date:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        raise ValueError("is not an ISO 8601 date; write it like 2031-05-14") from None
    if not fmt.EARLIEST_YEAR <= day.year <= fmt.LATEST_YEAR:
        raise ValueError(f"lies outside the years {fmt.EARLIEST_YEAR} to {fmt.LATEST_YEAR}")
    return day


def _parse_people(text: str) -> tuple[str, ...]:
    return tuple(plain_text(name.strip()) for name in text.split(";") if name.strip())


_IN_WORDS: dict[str, Callable[[str], object]] = {
    "points": parse_points, "when": parse_when, "controls": parse_controls, "pairs": parse_pairs,
    "values": parse_state_values, "tool": parse_tool, "date": _parse_date, "people": _parse_people}


def empty_value(field: Field) -> object:
    """What a record holds where the cell is empty."""
    if field.kind == "yes_no":
        return None if field.may_be_unknown else False
    if field.is_list or field.kind in ("points", "when"):
        return ()
    if field.kind == "controls":
        return None
    if field.is_number or field.kind in ("datetime", "date"):
        return field.default
    return field.default if field.default is not None else ""


# Most texts of a table come again, in it and at the next edit.
@lru_cache(maxsize=10_000)
def parse_cell(text: str, field: Field) -> object:
    """The value of ``text``; raises `CellFault` when ``field`` does not allow it.

    References are read as ids here; whether their target exists is a rule over all tables.
    """
    if text == "" or (text.isspace() and field.kind != "text"):
        if field.needed:
            raise CellFault(f"is empty; {field.about} is needed here")
        return empty_value(field)
    if field.kind == "text":
        return plain_text(text)
    if field.is_number:
        return parse_number(text, field)
    if field.is_list and len(text.split()) > fmt.MAX_NAMES:
        raise CellFault(f"holds more than {fmt.MAX_NAMES} names")
    if field.kind in _IN_WORDS:
        try:
            return _IN_WORDS[field.kind](text)
        except ValueError as error:
            raise CellFault(str(error)) from None
    if field.kind in ("references", "names"):
        return tuple(_id(part, field) for part in text.split())
    if field.kind == "moves":
        return tuple(_move(part) for part in text.split())
    if text != text.strip():
        raise CellFault(f"has spaces around it; write {text.strip()}")
    if field.kind == "yes_no":
        return _one_of(text, ("yes", "no")) == "yes"
    if field.kind == "choice" or field.choices:
        return _one_of(text, field.choices)
    if field.kind == "moment" and (pet := pet_typed(text)) is not None:
        return pet
    if field.kind in ("datetime", "moment"):
        return parse_moment(text, ", or PET like 1:30" if field.kind == "moment" else "")
    return _id(text, field)


def plain_text(text: str) -> str:
    """``text`` itself; `CellFault` when it holds what no screen or page can show."""
    if _CONTROL.search(text):
        raise CellFault("holds a control character or a broken one; delete it")
    return text


def _one_of(text: str, choices: tuple[str, ...]) -> str:
    if text not in choices:
        raise CellFault(f"must be one of: {', '.join(choices)}{did_you_mean(text, choices)}")
    return text


def _id(text: str, field: Field) -> str:
    if not _ID.fullmatch(text):
        what = "a list of ids separated by spaces" if field.is_list else "an id"
        raise CellFault(f"must be {what}: letters, digits, '.', '_' and '-' only")
    return text


def _move(text: str) -> ItemMove:
    match = _MOVE.fullmatch(text)
    if not match:
        raise CellFault(f"{shown(text)} must be written item, EV1:item, item<BAG, item>BAG or item>EV2")
    crew, item, out_of, into = match.groups(default="")
    return ItemMove(item, crew, out_of, into)


def parse_number(text: str, field: Field) -> float | int:
    """A finite number inside the field's bounds, whole where the field counts; see `number_said`."""
    return in_bounds(number_said(text, field), field)


def number_said(text: str, field: Field) -> float:
    """The number that a text says, in the field's unit: alone, or typed with a unit of the same kind."""
    text = text.strip()
    if _NUMBER.fullmatch(text):
        return float(text)
    allowed = units_of(field.unit)
    if allowed and (typed := WITH_UNIT.fullmatch(text)):
        if (unit := " ".join(typed["unit"].split())) not in allowed:
            raise CellFault(f"must be a number in {field.unit}, or one with one of these units: "
                            f"{', '.join(allowed)}{did_you_mean(unit, tuple(allowed))}")
        value = float(typed["number"])  # one larger than any field allows may be no float in its unit
        return converted(value, unit, field.unit) if abs(value) < 1e300 else math.inf
    if text.lower().lstrip("+-") in ("nan", "inf", "infinity"):
        raise CellFault("must be a finite number; leave the cell empty where nothing is given")
    words = "".join(f", or {word}" for word in field.words) + did_you_mean(text, field.words)
    raise CellFault(f"must be {'a whole number' if field.kind == 'count' else 'a number'}"
                    f"{words or _number_hint(text, field)}")


def _number_hint(text: str, field: Field) -> str:
    """What to write instead, where it is plain what was meant."""
    if re.fullmatch(r"[+-]?[0-9]+,[0-9]+", text):
        return "; write a decimal point, not a comma"
    clock = re.fullmatch(r"([0-9]{1,3}):([0-5][0-9])", text)
    if clock and field.unit == "min":
        return f"; write minutes as a plain number: {60 * int(clock[1]) + int(clock[2])}"
    if with_unit := WITH_UNIT.fullmatch(text):
        unit = f", in {field.unit}," if field.unit else ""
        return f"; write the number alone{unit} without its unit: {with_unit['number']}"
    return ""


def in_bounds(value: float, field: Field) -> float | int:
    """``value`` itself; `CellFault` when it is not finite, out of bounds, or not whole where it must be."""
    if not math.isfinite(value):
        raise CellFault("must be a finite number")
    if field.kind == "count" and value != int(value):
        raise CellFault("must be a whole number")
    unit = f" {field.unit}" if field.unit else ""
    if field.least is not None and (value < field.least or (field.above_least and value == field.least)):
        least = "more than" if field.above_least else "at least"
        raise CellFault(f"must be {least} {field.least:,g}{unit}")
    if field.most is not None and value > field.most:
        raise CellFault(f"must be at most {field.most:,g}{unit}")
    return int(value) if field.kind == "count" else value


def parse_moment(value: object, also: str = "") -> datetime:
    """A UTC datetime from ISO 8601 text or from a datetime; without a zone it is taken as UTC.

    ``also``: what else may be written there, for the fault.
    """
    example = f"{fmt.SCENARIO_FILE} and the tables write times like 2031-05-14T11:20:00Z{also}"
    if isinstance(value, str):
        try:
            moment = datetime.fromisoformat(value.strip())
        except ValueError:
            raise CellFault(f"is not an ISO 8601 UTC time; {example}") from None
        if len(value.strip()) <= 10:
            raise CellFault(f"has no time of day; {example}")
    elif isinstance(value, datetime):
        moment = value
    else:
        what = "has no time of day" if isinstance(value, date) else "is not a date and time"
        raise CellFault(f"{what}; {example}")
    if not fmt.EARLIEST_YEAR <= moment.year <= fmt.LATEST_YEAR:
        raise CellFault(f"lies outside the years {fmt.EARLIEST_YEAR} to {fmt.LATEST_YEAR}")
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


def did_you_mean(word: str, known: tuple[str, ...]) -> str:
    """``"; did you mean 'place'?"`` when a known word is close, else nothing."""
    is_quick = len(word) <= _LONGEST_TO_SUGGEST_FOR and len(known) <= _MOST_TO_SUGGEST_FROM
    close = _closest(word, known) if is_quick else None
    return f"; did you mean {close!r}?" if close else ""


@lru_cache(maxsize=512)
def _closest(word: str, known: tuple[str, ...]) -> str | None:
    by_lower = {name.lower(): name for name in reversed(known)}
    matches = get_close_matches(word.lower(), by_lower, n=1)
    return by_lower[matches[0]] if matches else None


def shown(text: str) -> str:
    """``text`` quoted and short enough for a message."""
    return repr(text if len(text) <= _LONGEST_TO_SUGGEST_FOR else text[:_LONGEST_TO_SUGGEST_FOR] + "…")
