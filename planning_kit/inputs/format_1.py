"""What format 1 of a scenario said otherwise, and the one function that makes format 2 of it.

`upgraded` takes the files of a folder and gives files: nothing is read or written. Only what has another name
changes; comments, the order of lines, line ends and a byte order mark stay. New tables come last.
"""

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit

from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.log_file import split_log
from planning_kit.inputs.log_format import FORMAT_1_PET_ZERO, LOG_FILE, PET_ZERO
from planning_kit.inputs.raw import BOM
from planning_kit.inputs.settings import edited, exactly, parse_toml

FORMAT_1_FILES = (fmt.SCENARIO_FILE, "crew.csv", "actors.csv", "places.csv", "routes.csv", "hardware.csv",
                  "tasks.csv", "steps.csv", "gaps.csv", "inhibits.csv", "windows.csv")
IN_MEMORY = "read as format 1, upgraded in memory"
_AIRLOCK_MIN = ("airlock.hatch_closed_min", "airlock.repress_start_min", "airlock.repress_safe_min")
_INGRESS, _INGRESS_SOURCE = "limits.ingress_min", "limits.ingress_min_source"
_RENAMED = {
    "egress": ("pet_zero_utc",), "egress_earliest": ("pet_zero_earliest",),
    "egress_latest": ("pet_zero_latest",), "pet_zero": ("pet_zero_event",), "airlock": ("airlock_place",),
    _INGRESS: _AIRLOCK_MIN, _INGRESS_SOURCE: tuple(f"{name}{fmt.SOURCE_SUFFIX}" for name in _AIRLOCK_MIN),
    **{f"{suit}.used_before_egress_min": (f"{suit}.used_before.battery_min",)
       for suit in ("suit", "suit.EV1", "suit.EV2")},
}
"""Every key that has another name now; a dotted one that goes into another table gets one of its own."""
_PARTS = re.compile(r"""(?msx) '{3}.*?'{3} | "{3}.*?"{3} | ^[ \t]*+\[(?P<table>[\w.]++)\]
    | ^[ \t]*+(?P<mark>["']?)(?P<key>\w++)(?P=mark)[ \t]*+=[ \t]*+
      (?: (?P<value>"(?:[^"\\\n]|\\.)*+"|'[^'\n]*+'|[^\#"'\s]++)
          (?P<comment>[ \t]*+\#[^\n]*+)?[ \t]*+(?:\n|\Z) )?
    """)
"""Strings of several lines, the head of a table, and a key: with its value where that ends on the line."""
_OLD_EVENT = re.compile(rb'(?<=[,\n"])' + FORMAT_1_PET_ZERO.encode() + rb'(?=[",\r\n]|\Z)')
_MOST_PLACES = 20  # where an event is looked for in a log


@dataclass(frozen=True)
class Upgraded:
    """The files of a folder in format 2, by name, and what has another name in them, in words."""

    files: Mapping[str, bytes]
    renamed: tuple[str, ...]


def is_format_1(settings: Mapping[str, object] | None) -> bool:
    """Whether ``scenario.toml``, parsed, says that it is of format 1."""
    number = (settings or {}).get("format")
    return number == 1 and not isinstance(number, bool)


def upgraded(files: Mapping[str, bytes]) -> Upgraded:
    """The files of a format 1 folder (name to bytes) as format 2 has them.

    Files in which nothing has another name stay as they are, ``sign_offs.toml`` too: what it holds was signed
    in format 1, and is stale. Raises `ScenarioError` where ``scenario.toml`` is not of format 1, holds a name
    already that format 2 gives, or a value to be renamed that no key has, and where a log cannot be changed
    by itself.
    """
    faults = Faults()
    settings = parse_toml(files.get(fmt.SCENARIO_FILE), faults)
    faults.stop_if_any()
    if settings is None or not is_format_1(settings):
        raise ScenarioError.single("must be 1: only a scenario of format 1 is upgraded",
                                   table=fmt.SCENARIO_FILE, column="format",
                                   value=(settings or {}).get("format"))
    changed = {name: _upgraded_log(name, data) for name, data in files.items() if name not in FORMAT_1_FILES
               and name.lower().endswith(".csv") and _has_old_event(data)}
    toml = _upgraded_toml(files[fmt.SCENARIO_FILE], _flat(settings))
    return Upgraded({**files, **changed, fmt.SCENARIO_FILE: toml}, renamed_in(settings, changed))


def renamed_in(settings: Mapping[str, Any], logs: Iterable[str]) -> tuple[str, ...]:
    """What has another name in format 2, of the keys in ``settings`` and the ``logs`` named: in words."""
    flat = _flat(settings)
    return (*(f"{key} is now {' and '.join(names)}" for key, names in _RENAMED.items() if key in flat),
            *(f"the event {FORMAT_1_PET_ZERO} in {name} is now {PET_ZERO}" for name in logs))


def in_format_2(flat: Mapping[str, Any]) -> dict[str, Any]:
    """Settings by dotted key, those of format 1 under the names that format 2 has for them."""
    new: dict[str, Any] = {}
    for key, value in flat.items():
        if key == _INGRESS_SOURCE:
            value = f"format 1: one number for three ({value or 'no source given'})"
        new |= dict.fromkeys(_RENAMED.get(key, (key,)), value)
    return new


def refused(folder: Path, settings: Mapping[str, Any], log: bytes | None) -> ScenarioError:
    """What a planner is told who opens a folder of format 1: what to rename, and the command that does it."""
    names = "; ".join(renamed_in(settings, [LOG_FILE] if log and _has_old_event(log) else []))
    return ScenarioError.single(
        f"is format 1, and this version reads format {fmt.FORMAT} (see scenarios/FORMAT.md). {names}. "
        f'To have it done: python -m planning_kit.inputs.upgrade "{folder}" writes "{folder.name}-format2" '
        "beside it and leaves this folder as it is", table=fmt.SCENARIO_FILE, column="format", value=1)


def _flat(data: Mapping[str, Any], above: str = "") -> dict[str, Any]:
    """Values by dotted key, as deep as format 2 has keys; a key with a dot in it is none of them."""
    flat: dict[str, Any] = {}
    for key, value in data.items():
        if "." not in key:
            name = f"{above}{key}"
            is_table = isinstance(value, Mapping) and name.count(".") < 3
            flat |= _flat(value, f"{name}.") if is_table else {name: value}
    return flat


def _upgraded_toml(toml: bytes, flat: Mapping[str, Any]) -> bytes:
    """``scenario.toml`` with its lines changed, if that says what it must; else changed in the document."""
    given = {_INGRESS_SOURCE: "", **flat} if _INGRESS in flat else flat
    old = {key: given[key] for key in _RENAMED if key in given}
    ends = {"airlock.ends": "repress_safe"} if _INGRESS in flat else {}
    changes = {**dict.fromkeys(old), "format": fmt.FORMAT, **in_format_2(old), **ends}
    written = toml.removeprefix(BOM).decode("utf-8")
    text, faults = written.replace("\r\n", "\n"), Faults()
    for name in sorted((changes.keys() - old - {"format"}) & flat.keys()):
        faults.add(fmt.SCENARIO_FILE, None, name, flat[name], "is a name of format 2 in a scenario of "
                   "format 1; rename it or delete it, then upgrade")
    faults.stop_if_any()
    changed = edited(text, changes, faults)
    faults.stop_if_any()
    by_line = _with_lines_changed(text, changes)
    try:
        if exactly(tomllib.loads(by_line)) == exactly(tomllib.loads(changed)):
            changed = by_line
    except (ValueError, RecursionError):
        pass
    newline = "\r\n" if "\r\n" in written else "\n"
    return toml[:len(toml) - len(toml.removeprefix(BOM))] + changed.replace("\n", newline).encode("utf-8")


def _with_lines_changed(text: str, changes: Mapping[str, Any]) -> str:
    """The text with each key renamed where it stands; what goes into another table comes last, by tables.

    The caller looks at what the text says then: it is wrong where a key is written in some other way.
    """
    table, comments = "", dict[str, str]()

    def renamed(found: re.Match[str]) -> str:
        nonlocal table
        table = f"{found['table']}." if found["table"] else table
        key = f"{table}{found['key']}"
        if key == "format":
            return found[0].replace("1", str(fmt.FORMAT), 1)
        if key not in _RENAMED or key not in changes:
            return found[0]
        if not table:
            return found[0].replace(key, _RENAMED[key][0], 1)
        comments[_RENAMED[key][0]] = found["comment"] or ""
        return "" if found["value"] else found[0]

    text, above = _PARTS.sub(renamed, f"{text}\n" if text[-1:] != "\n" else text), ""
    for head, last in sorted((name.rpartition(".")[::2] for name in changes), key=lambda parts: parts[0]):
        name = f"{head}.{last}"
        if head and changes[name] is not None:
            text += "" if head == above else f"\n[{head}]\n"
            text += f"{last} = {tomlkit.item(changes[name]).as_string()}{comments.get(name, '')}\n"
            above = head
    return text


# A log


def _said_in(data: bytes, *, in_format_2: bool = True) -> tuple[list[tuple[str, ...]], dict[int, str]] | None:
    """The rows of a log, and those that were cut off; None for a file without the columns of one."""
    try:
        lines = split_log(data, Faults())
    except ScenarioError:
        return None
    rows, header = list(lines.table.rows), lines.table.header
    if not {"step", "event", "at"} <= set(header):
        return None
    at = header.index("event")
    if in_format_2:
        rows = [(*row[:at], PET_ZERO, *row[at + 1:]) if row[at] == FORMAT_1_PET_ZERO else row for row in rows]
    return rows, lines.cut


def is_log(data: bytes) -> bool:
    """Whether a file has the columns of a log."""
    return _said_in(data) is not None


def _has_old_event(data: bytes) -> bool:
    return FORMAT_1_PET_ZERO.encode() in data and _said_in(data) != _said_in(data, in_format_2=False)


def _upgraded_log(name: str, data: bytes) -> bytes:
    """A log with its event renamed, all else byte for byte: not where the word is part of a note.

    Raises `ScenarioError` where the rows cannot be told from the text of notes.
    """
    said = _said_in(data)
    for found in [*_OLD_EVENT.finditer(data)][:_MOST_PLACES][::-1]:  # the last first: the places before stay
        done = data[:found.start()] + PET_ZERO.encode() + data[found.end():]
        data = done if _said_in(done) == said else data
    if _has_old_event(data):
        raise ScenarioError.single(f"write {PET_ZERO} for {FORMAT_1_PET_ZERO} in this column by hand, then "
                                   "upgrade", table=name, column="event", value=FORMAT_1_PET_ZERO)
    return data
