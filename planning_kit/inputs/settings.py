"""``scenario.toml``: its text becomes settings, and single keys are changed in its text.

Every fault is noted under its dotted key. A change keeps comments and order.
"""

import copy
import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import reduce
from itertools import pairwise
from operator import or_
from typing import Any, TypeVar

import numpy as np
import pandas as pd
import tomlkit
from tomlkit.exceptions import TOMLKitError

from planning_kit.inputs import cells
from planning_kit.inputs import format as fmt
from planning_kit.inputs import setting_records as rec
from planning_kit.inputs.cells import CellFault, did_you_mean
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.fields import GIVING_WAY, Field, Section, columns_of
from planning_kit.inputs.folder_files import is_plain_name
from planning_kit.inputs.raw import BOM, decode
from planning_kit.inputs.times import units_of

T = TypeVar("T")
Values = dict[str, object]

_WHERE = fmt.SCENARIO_FILE
_MOST_KEY_PARTS = 200
_PART = re.compile(r"[=,]")


def parse_toml(data: bytes | None, faults: Faults, where: str = _WHERE) -> dict[str, Any] | None:
    """``scenario.toml`` (or ``where``) as a dict; None where there are no bytes, or with a fault noted."""
    if data is None:
        return None
    try:
        text = decode(data)
        # The time that the reader takes grows with the square of the parts of one key.
        if any(part.count(".") > _MOST_KEY_PARTS for line in text.splitlines() for part in _PART.split(line)):
            raise CellFault(f"has a key, or words without a comma, with more than {_MOST_KEY_PARTS} dots")
        return tomllib.loads(text)
    except RecursionError:
        problem = "is nested too deeply"
    except CellFault as fault:
        problem = str(fault)
    except ValueError as error:  # TOMLDecodeError, and whole numbers of thousands of digits
        problem = f"is not TOML: {error}"
    faults.of_file(where, problem)
    return None


def parse_settings(data: Mapping[str, Any], faults: Faults) -> dict[str, Values]:
    """Values by section (``suit.EV1`` for an override), faults noted; a key that is wrong has no value."""
    top = {key: value for key, value in data.items() if key == "" or key not in fmt.SECTION_BY_NAME}
    parsed = {"": parse_section(fmt.SECTION_BY_NAME[""], "", top, faults)}
    for section in fmt.SECTIONS[1:]:
        if section.name in data:
            _parse_table(section, section.name, data[section.name], parsed, faults)
        elif section.name in fmt.NEEDED_SECTIONS:
            faults.add(_WHERE, None, section.name, "", f"is missing; add the table [{section.name}]")
    _check_order(parsed, faults)
    return parsed


def _parse_table(section: Section, name: str, value: object, parsed: dict[str, Values],
                 faults: Faults) -> None:
    """A section and the tables in it."""
    if not isinstance(value, dict):
        faults.add(_WHERE, None, name, value, f"must be a table; write it as [{name}]")
        value = {}
    table = dict(value)
    subs = [(sub, table.pop(sub.name)) for sub in section.sub_sections if sub.name in table]
    parsed[name] = parse_section(section, name, table, faults)
    for sub, inner in subs:
        _parse_table(sub, f"{name}.{sub.name}", inner, parsed, faults)


def parse_section(section: Section, name: str, data: dict[str, Any], faults: Faults,
                  where: str = _WHERE) -> Values:
    """The keys of one table of a TOML file by name, faults noted under the file ``where``."""
    values: Values = {}
    before = f"{name}." if name else ""
    for key, value in data.items():
        field = section.by_name.get(key)
        try:
            if field is not None:
                values[key] = _parse_key(value, field)
            elif section.has_sources and key.removesuffix(fmt.SOURCE_SUFFIX) in section.by_name:
                values[key] = cells.plain_text(_text(value))
            elif not key.startswith(fmt.FREE_PREFIX):
                raise CellFault(_unknown_key(section, name, key, where))
        except CellFault as fault:
            faults.add(where, None, before + key, _brief(value), str(fault))
    for field in section.fields:
        if field.name not in data and field.needed:
            faults.add(where, None, before + field.name, "", f"is missing; {field.about} is needed")
        elif field.name not in data and not section.is_override:
            values[field.name] = cells.empty_value(field)
    return values


def _unknown_key(section: Section, name: str, key: str, file: str) -> str:
    others = () if name or file != _WHERE else list(fmt.SECTION_BY_NAME)[1:]
    known = (*section.by_name, *others,
             *(sub.name for sub in section.sub_sections))
    where = f"[{name}]" if name else file
    return f"is not a key of {where}; free keys begin with {fmt.FREE_PREFIX}{did_you_mean(key, known)}"


def _parse_key(value: object, field: Field) -> object:
    if field.kind == "datetime":
        return cells.parse_moment(value)
    if field.kind == "people":
        pairs: list[Any] = value if isinstance(value, list) and isinstance([*value, 0][0], list) else [value]
        if not all(isinstance(pair, list) and len(pair) == 2 for pair in pairs):
            raise CellFault('must be a pair of names, such as ["Ada", "Ben"], or a list of pairs')
        return tuple(tuple(cells.plain_text(_text(name)) for name in pair) for pair in pairs)
    if field.kind == "date" and isinstance(value, date):
        value = (value.date() if isinstance(value, datetime) else value).isoformat()
    if field.kind == "numbers":
        if not isinstance(value, list):
            raise CellFault("must be a list of numbers, such as [-60.0, 120.0]")
        return tuple(_number(entry, field) for entry in value)
    if field.kind == "names":
        if not isinstance(value, list):
            raise CellFault('must be a list of names, such as ["light", "after"]')
        return tuple(cells.parse_cell(_text(entry), replace(field, kind="name")) for entry in value)
    if field.is_number:
        return value if isinstance(value, str) and value in field.words else _number(value, field)
    text = _text(value)
    if field.kind != "file":
        return cells.parse_cell(text, field)
    if not is_sane_file_name(text):
        raise CellFault("must be the plain name of the orbit message in the folder, without a path")
    return text


def _number(value: object, field: Field) -> float | int:
    if isinstance(value, str) and units_of(field.unit) and cells.WITH_UNIT.fullmatch(value.strip()):
        return cells.parse_number(value, field)
    if isinstance(value, bool) or not isinstance(value, int | float):
        words = "".join(f', or "{word}" with them' for word in field.words)
        hint = did_you_mean(value, field.words) if isinstance(value, str) else ""
        raise CellFault(f"must be a number, without quotation marks{words}{hint}")
    try:
        return cells.in_bounds(float(value), field)
    except OverflowError:
        raise CellFault("must be a finite number") from None


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise CellFault("must be text in quotation marks")
    if len(value) > fmt.MAX_CELL_CHARS:
        raise CellFault(f"holds more than {fmt.MAX_CELL_CHARS:,} characters")
    return value


def is_sane_file_name(text: str) -> bool:
    """Whether ``text`` is the plain name of a file in the folder, and of none of the scenario's own files."""
    own = {_WHERE, *(table.file for table in fmt.TABLES)}
    return is_plain_name(text) and text == text.strip() and text.lower() not in own


def _brief(value: object) -> object:
    """What a fault shows of a value: nothing unprintably deep or long."""
    return "{…}" if isinstance(value, dict) else (
        f"[… {len(value)} entries]" if isinstance(value, list) else value)


def _check_order(parsed: dict[str, Values], faults: Faults) -> None:
    top, limits = parsed[""], parsed.get("limits", {})
    order = parsed.get("gives_way", {}).get("order", GIVING_WAY)
    if isinstance(order, tuple) and sorted(order) != sorted(GIVING_WAY):
        faults.add(_WHERE, None, "gives_way.order", " ".join(order),
                   f"must name each of these once: {', '.join(GIVING_WAY)}")
    for key, side, sign in (("pet_zero_earliest", "after", 1), ("pet_zero_latest", "before", -1)):
        moment, pet_zero = top.get(key), top.get("pet_zero_utc")
        if isinstance(moment, datetime) and isinstance(pet_zero, datetime) and (
                sign * (moment - pet_zero) > timedelta()):
            faults.add(_WHERE, None, key, moment.isoformat(), f"lies {side} PET 0")
    planned, hard, horizon = limits.get("planned_min"), limits.get("hard_min"), top.get("horizon_h")
    if isinstance(planned, float) and isinstance(hard, float) and planned > hard:
        faults.add(_WHERE, None, "limits.planned_min", planned, f"is more than hard_min, {hard:g} min")
    key, longest = ("planned_min", planned) if hard == rec.CONSUMABLES else ("hard_min", hard)
    if isinstance(horizon, float) and isinstance(longest, float) and longest > horizon * 60:
        faults.add(_WHERE, None, "horizon_h", horizon,
                   f"is shorter than limits.{key}, {longest:g} min; windows must be known to the end")
    airlock = parsed.get("airlock", {})
    for first, then in (*pairwise(f"{end}_min" for end in rec.END_WORDS),
                        ("depress_start_min", "hatch_open_min")):
        sooner, later = airlock.get(first), airlock.get(then)
        if isinstance(sooner, float) and isinstance(later, float) and sooner > later:
            faults.add(_WHERE, None, f"airlock.{first}", sooner, f"is more than {then}, {later:g} min")


def build_settings(parsed: Mapping[str, Values]) -> rec.Settings:
    """Settings from values in which no fault was found."""
    top = {key: value for key, value in parsed[""].items() if key != "format"}
    suits = {crew: rec.Suit(**_filled(rec.Suit, parsed, "suit", f"suit.{crew}"),  # type: ignore[arg-type]
                        used_before=rec.UsedBefore(**_filled(  # type: ignore[arg-type]
                            rec.UsedBefore, parsed, "suit.used_before", f"suit.{crew}.used_before")))
             for crew in fmt.SUITED}
    watts = {key: value for key, value in parsed.get("exertion_w", {}).items() if value is not None}
    return rec.Settings(
        limits=_with_sources(rec.Limits, parsed["limits"]),
        airlock=_with_sources(rec.Airlock, parsed["airlock"]),
        night_guard_s=parsed.get("lighting", {}).get("night_guard_s", 0.0),  # type: ignore[arg-type]
        exertion_w=rec.FrozenMapping(watts),  # type: ignore[arg-type]
        suits=rec.FrozenMapping(suits),
        checks=_with_sources(rec.CrewChecks, {"every_min": None, "body_m": None} | parsed.get("checks", {})),
        relays=rec.Relays(**parsed["relays"]) if "relays" in parsed else None,  # type: ignore[arg-type]
        odds=rec.OddsSettings(**_filled(rec.OddsSettings, parsed, "odds")),  # type: ignore[arg-type]
        gives_way=rec.GivesWay(**parsed["gives_way"]) if "gives_way" in parsed else None,  # type: ignore[arg-type]
        units=str(parsed.get("display", {}).get("units", rec.SI)),
        attitude=rec.Attitude(**_filled(rec.Attitude, parsed, "attitude")),  # type: ignore[arg-type]
        **top,  # type: ignore[arg-type]
    )


def _filled(record: type, parsed: Mapping[str, Values], *sections: str) -> Values:
    """What the sections say of the record's keys, later ones before earlier ones; empty where none does."""
    empty: Values = {each.name: cells.empty_value(each) for each in columns_of(record)}
    return reduce(or_, (parsed.get(name, {}) for name in sections), empty)


def _with_sources(record: type[T], values: Values) -> T:
    sources = {key.removesuffix(fmt.SOURCE_SUFFIX): value for key, value in values.items()
               if key.endswith(fmt.SOURCE_SUFFIX)}
    numbers = {key: value for key, value in values.items() if not key.endswith(fmt.SOURCE_SUFFIX)}
    return record(**numbers, **{"sources": rec.FrozenMapping(sources)})


_KEY = re.compile(r"[A-Za-z0-9_-]+(\.[A-Za-z0-9_-]+)*")


def edited_toml(toml: bytes, changes: Mapping[str, object], faults: Faults) -> bytes:
    """The bytes of ``scenario.toml`` with keys changed (see `edited`); a byte order mark stays."""
    bom = BOM if toml.startswith(BOM) else b""
    return bom + edited(toml.removeprefix(BOM).decode("utf-8"), changes, faults).encode("utf-8")


def edited(text: str, changes: Mapping[str, object], faults: Faults) -> str:
    """The TOML ``text`` with each dotted key of ``changes`` set, or deleted where its value is None.

    A value that TOML cannot hold, or a key that runs through something that is no table, is a fault. Where
    the comment-keeping editor cannot make the change exactly, the file is written anew without comments.
    """
    after = tomllib.loads(text)
    steps = []
    for key, value in changes.items():
        try:
            plain = _as_before(_plain(value), _settable(after, str(key)))
            path = str(key).split(".")
            _set(after, path, copy.deepcopy(plain), dict)
            steps.append((path, plain))
        except CellFault as fault:
            faults.add(_WHERE, None, str(key), fault.where[2], str(fault))
    return _keeping_comments(text, steps, after)


def _keeping_comments(text: str, steps: list[tuple[list[str], Any]], after: dict[str, Any]) -> str:
    """The text with the steps made in it, if that says what is to stand there ``after``; else that alone."""
    try:
        document = tomlkit.parse(text)
        for path, value in steps:
            _set(document, path, value, tomlkit.table)
        written = tomlkit.dumps(document)
        if exactly(tomllib.loads(written)) == exactly(after):
            return written
    except (TOMLKitError, ValueError, TypeError, LookupError, AttributeError, RecursionError):
        pass
    return tomlkit.dumps(after)


def exactly(value: object) -> object:
    """What TOML holds, to be compared: with its type, so that 1, 1.0 and "1" differ; and NaN is NaN."""
    if isinstance(value, dict):
        return {key: exactly(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [exactly(entry) for entry in value]
    # Hexadecimal, as Python refuses to write huge numbers decimal.
    return f"{type(value).__name__} {hex(value) if isinstance(value, int) else value}"


def _plain(value: object) -> Any:
    """A plain value that TOML holds, or a list of them; None for None. Raises `CellFault`."""
    try:
        if isinstance(value, list | tuple | np.ndarray):
            return [_single(entry) for entry in value]
        return None if value is None else _single(value)
    except TypeError as error:
        raise CellFault(str(error), value=value) from None


def _single(value: object) -> Any:
    """A plain value that TOML holds; a whole number of TOML has 64 bits."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, datetime) and not pd.isna(value):
        moment = value if value.tzinfo else value.replace(tzinfo=UTC)
        return datetime.fromisoformat(moment.isoformat())
    if isinstance(value, str):
        if any("\ud800" <= mark <= "\udfff" for mark in value):
            raise TypeError("holds characters that UTF-8 text cannot hold")
        return str(value)
    if isinstance(value, float) or (isinstance(value, int) and -(2**63) <= value < 2**63):
        return value
    raise TypeError("must be text, a number of sane size, a list of these, a time, or None to delete the key")


def _as_before(value: Any, old: object) -> Any:
    """A time given as text stays a TOML time where the file had one."""
    if isinstance(value, str) and isinstance(old, datetime):
        try:
            moment = datetime.fromisoformat(value.strip())
        except ValueError:
            return value
        return value if len(value.strip()) <= 10 else moment
    return value


def _settable(data: dict[str, Any], key: str) -> object:
    """What stands under a dotted key, None for nothing. Raises `CellFault` where no value can stand there."""
    if not _KEY.fullmatch(key):
        raise CellFault("is not a key such as limits.hard_min")
    *tables, last = key.split(".")
    here: Any = data
    for name in tables:
        here = here.get(name, {}) if isinstance(here, dict) else None
    if not isinstance(here, dict) or isinstance(here.get(last), dict):
        raise CellFault("runs through a key that is no table")
    return here.get(last)


def _set(data: Any, path: list[str], value: Any, new_table: Any) -> None:
    here = data
    for part in path[:-1]:
        if part not in here:
            if value is None:
                return
            here[part] = new_table()
        here = here[part]
    if value is None:
        if path[-1] in here:
            del here[path[-1]]
    else:
        here[path[-1]] = value
