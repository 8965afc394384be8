"""Single keys of ``scenario.toml`` changed in its text, comments and order kept."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pandas as pd
import tomlkit
from tomlkit.exceptions import TOMLKitError

from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.raw import BOM

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
    wanted = tomllib.loads(text)
    steps = []
    for key, value in changes.items():
        path = str(key).split(".")
        try:
            plain = _plain(value)
        except TypeError as error:
            faults.add(fmt.SCENARIO_FILE, None, str(key), value, str(error))
            continue
        if not _KEY.fullmatch(str(key)):
            faults.add(fmt.SCENARIO_FILE, None, str(key), "", "is not a key such as limits.hard_min")
        elif not _can_set(wanted, path):
            faults.add(fmt.SCENARIO_FILE, None, str(key), "", "runs through a key that is no table")
        else:
            plain = _as_before(plain, _get(wanted, path))
            _set(wanted, path, copy.deepcopy(plain), dict)
            steps.append((path, plain))
    return _keeping_comments(text, steps, wanted)


def _keeping_comments(text: str, steps: list[tuple[list[str], Any]], wanted: dict[str, Any]) -> str:
    try:
        document = tomlkit.parse(text)
        for path, value in steps:
            _set(document, path, value, tomlkit.table)
        written = tomlkit.dumps(document)
        if tomllib.loads(written) == wanted:
            return written
    except (TOMLKitError, ValueError, TypeError, LookupError, AttributeError, RecursionError):
        pass
    return tomlkit.dumps(wanted)


def _plain(value: object) -> Any:
    if isinstance(value, list | tuple | np.ndarray):
        return [_single(entry) for entry in value]
    return None if value is None else _single(value)


def _single(value: object) -> Any:
    """A plain value that TOML holds; a whole number of TOML has 64 bits."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, datetime) and value is not pd.NaT:
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


def _can_set(data: dict[str, Any], path: list[str]) -> bool:
    here: Any = data
    for part in path[:-1]:
        here = here.get(part, {})
        if not isinstance(here, dict):
            return False
    return not isinstance(here.get(path[-1]), dict)


def _get(data: dict[str, Any], path: list[str]) -> object:
    here: Any = data
    for part in path:
        here = here.get(part) if isinstance(here, dict) else None
    return here


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
