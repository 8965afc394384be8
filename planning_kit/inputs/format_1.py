"""What format 1 of a scenario said otherwise, and the one function that makes format 2 of it.

`upgraded` takes the files of a folder and gives files: nothing is read or written. Only what has another name
changes; comments, the order of lines, quotation marks, line ends and a byte order mark stay.
"""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

import tomlkit

from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.log_file import split_log
from planning_kit.inputs.log_format import FORMAT_1_PET_ZERO, LOG_FILE, PET_ZERO
from planning_kit.inputs.raw import BOM
from planning_kit.inputs.settings import edited, parse_toml

FORMAT_1_FILES = (fmt.SCENARIO_FILE, "crew.csv", "actors.csv", "places.csv", "routes.csv", "hardware.csv",
                  "tasks.csv", "steps.csv", "gaps.csv", "inhibits.csv", "windows.csv")
IN_MEMORY = "read as format 1, upgraded in memory"
_AIRLOCK_MIN = ("airlock.hatch_closed_min", "airlock.repress_start_min", "airlock.repress_safe_min")
_RENAMED = {
    "egress": ("pet_zero_utc",), "egress_earliest": ("pet_zero_earliest",),
    "egress_latest": ("pet_zero_latest",), "pet_zero": ("pet_zero_event",), "airlock": ("airlock_place",),
    "limits.ingress_min": _AIRLOCK_MIN,
    **{f"{suit}.used_before_egress_min": (f"{suit}.used_before.battery_min",)
       for suit in ("suit", "suit.EV1", "suit.EV2")},
}
"""Every key that has another name now; a dotted one that goes into another table gets one of its own."""
_INGRESS, _INGRESS_SOURCE = "limits.ingress_min", "limits.ingress_min_source"
_NEW_NAMES = ("pet_zero_utc", "pet_zero_earliest", "pet_zero_latest", "pet_zero_event", "airlock_place",
              "outing_end_event", "checks", "limits.partner_rescue", "exertion_w.carry",
              *(f"{suit}.{name}" for suit in ("suit", "suit.EV1", "suit.EV2")
                for name in ("used_before", "worst_sun_factor")))
_NEW_FILES = ("accepted.csv", *(table.file for table in fmt.TABLES if table.file not in FORMAT_1_FILES))
_MOST_PLACES = 20  # where a key is looked for in the text; a file with more of them loses its comments
_CELLS = (re.compile(r'"(?:[^"]|"")*+"|[^,"\r\n]*+'), re.compile(r'"(?:[^"\r\n]|"")*+"|[^,"\r\n]*+'))
"""How far a cell goes, with line ends in quotation marks; in a log with a cut row only the second tells."""
_EVENT = re.compile(rf'("?)({FORMAT_1_PET_ZERO})\1(?=[,\r\n]|\Z)')


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
    in format 1, and is stale. Raises `ScenarioError` where ``scenario.toml`` is not of format 1, or holds a
    name already that format 2 gives, and where a log cannot be changed by itself.
    """
    faults = Faults()
    settings = parse_toml(files.get(fmt.SCENARIO_FILE), faults)
    faults.stop_if_any()
    if settings is None or not is_format_1(settings):
        raise ScenarioError.single("must be 1: only a scenario of format 1 is upgraded",
                                   table=fmt.SCENARIO_FILE, column="format",
                                   value=(settings or {}).get("format"))
    _stop_at_clashes(settings)
    changed = {name: in_log for name, data in files.items()
               if (in_log := _upgraded_log(name, data)) is not None}
    toml = _upgraded_toml(files[fmt.SCENARIO_FILE])
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
            new |= dict.fromkeys((f"{name}{fmt.SOURCE_SUFFIX}" for name in _AIRLOCK_MIN), _source(value))
        else:
            new |= dict.fromkeys(_RENAMED.get(key, (key,)), value)
    return new


def refused(folder: Path, settings: Mapping[str, Any], log: bytes | None) -> ScenarioError:
    """What a planner is told who opens a folder of format 1: what to rename, and the command that does it."""
    names = "; ".join(renamed_in(settings, [LOG_FILE] if log and _has_old_event(log) else []))
    return ScenarioError.single(
        f"is format 1, and this version reads format {fmt.FORMAT} (see scenarios/FORMAT.md). {names}. "
        f'To have it done: python -m planning_kit.inputs.upgrade "{folder}" writes "{folder.name}-format2" '
        "beside it and leaves this folder as it is", table=fmt.SCENARIO_FILE, column="format", value=1)


def _source(value: object) -> str:
    return f"format 1: one number for three ({value or 'no source given'})"


def _flat(data: Mapping[str, Any], above: str = "") -> dict[str, Any]:
    """Values by dotted key, as deep as format 1 has keys; a key with a dot in it is none of them."""
    flat: dict[str, Any] = {}
    for key, value in data.items():
        if "." not in key:
            name = f"{above}{key}"
            is_table = isinstance(value, Mapping) and name.count(".") < 2
            flat |= _flat(value, f"{name}.") if is_table else {name: value}
    return flat


def _stop_at_clashes(settings: Mapping[str, Any]) -> None:
    """A name that format 2 gives a meaning, and format 1 had none for, would get it unseen."""
    faults = Faults()
    for name in _NEW_NAMES:
        *tables, last = name.split(".")
        here: Any = settings
        for table in tables:
            here = here.get(table) if isinstance(here, Mapping) else None
        if isinstance(here, Mapping) and last in here:
            faults.add(fmt.SCENARIO_FILE, None, name, "", "is a name of format 2 in a scenario of format 1; "
                       "rename it or delete it, then upgrade")
    if isinstance(settings.get("airlock"), Mapping):
        faults.add(fmt.SCENARIO_FILE, None, "airlock", "", "is a table, as in format 2; format 1 has the id "
                   "of a place here")
    orbit = settings.get("orbit")
    if isinstance(orbit, str) and orbit.lower() in _NEW_FILES:
        faults.add(fmt.SCENARIO_FILE, None, "orbit", orbit, "is the name of a file of format 2; give the "
                   "orbit message another name, then upgrade")
    faults.stop_if_any()


# scenario.toml


def _upgraded_toml(toml: bytes) -> bytes:
    bom = BOM if toml.startswith(BOM) else b""
    text = toml.removeprefix(BOM).decode("utf-8")
    flat = _flat(tomllib.loads(text))
    text = _changed(text, {"format": fmt.FORMAT}, _with_number(text))
    for key, names in _RENAMED.items():
        if key not in flat:
            continue
        new = in_format_2({key: flat[key]})
        if "." not in key:
            text = _changed(text, {key: None, **new}, _with_name(text, key, names[0]))
            continue
        if key == _INGRESS:
            sources = in_format_2({_INGRESS_SOURCE: flat.get(_INGRESS_SOURCE, "")})
            pairs = zip(new.items(), sources.items(), strict=True)
            new = dict(item for pair in pairs for item in pair)  # each number with its source behind it
            new |= {"airlock.ends": "repress_safe", _INGRESS_SOURCE: None}
        text = _changed(text, {key: None, **new}, _with_table(text, key, new))
    return bom + text.encode("utf-8")


def _changed(text: str, changes: Mapping[str, Any], places: Iterator[str]) -> str:
    """The first of ``places`` that says what ``text`` says with the changes; else that, made in the document.

    The text alone does not show where a key stands (it may lie in a string of several lines): its meaning
    does.
    """
    after = _with(tomllib.loads(text), changes)
    for candidate in islice(places, _MOST_PLACES):
        try:
            if _are_same(tomllib.loads(candidate), after):
                return candidate
        except (ValueError, RecursionError):
            continue
    faults = Faults()
    changed = edited(text, changes, faults)
    faults.stop_if_any()
    is_crlf = "\r\n" in text and not re.search(r"(?<!\r)\n", text)
    return re.sub(r"(?<!\r)\n", "\r\n", changed) if is_crlf else changed


def _with(data: dict[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
    after = copy.deepcopy(data)
    for key, value in changes.items():
        *tables, last = key.split(".")
        here = after
        for table in tables:
            here = here.setdefault(table, {})
        if value is None:
            here.pop(last, None)
        else:
            here[last] = value
    return after


def _are_same(one: object, other: object) -> bool:
    """As ``==``, but 1 and 1.0 differ, and one NaN is the other."""
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(_are_same(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(map(_are_same, one, other))
    return type(one) is type(other) and (one == other or (one != one and other != other))


def _with_number(text: str) -> Iterator[str]:
    for match in re.finditer(r"(?m)^[ \t]*([\"']?)format\1[ \t]*=[ \t]*(1(?:\.0+)?)(?=[ \t\r\n#]|\Z)", text):
        yield f"{text[:match.start(2)]}{fmt.FORMAT}{text[match.end(2):]}"


def _with_name(text: str, old: str, new: str) -> Iterator[str]:
    for match in re.finditer(rf"(?m)^[ \t]*([\"']?)({old})\1[ \t]*=", text):
        yield f"{text[:match.start(2)]}{new}{text[match.end(2):]}"


def _line(key: str) -> re.Pattern[str]:
    """A line with ``key``, a value that ends on it, and a comment; with its line end."""
    value = r"\"(?:[^\"\\\n]|\\.)*+\"|'[^'\n]*+'|[^#\"'\s]++"
    return re.compile(rf"(?m)^[ \t]*+([\"']?){key}\1[ \t]*+=[ \t]*+(?P<value>{value})"
                      r"(?P<comment>[ \t]*+#[^\r\n]*+)?[ \t]*+(?:\r?\n|\Z)")


def _with_table(text: str, key: str, new: Mapping[str, Any]) -> Iterator[str]:
    """The line of ``key``, and that of its source, taken out; ``new`` in a table of its own behind theirs."""
    table = next(iter(new)).rpartition(".")[0]
    for match in _line(key.rpartition(".")[2]).finditer(text):
        rest, remarks = f"{text[:match.start()]}{text[match.end():]}", [match["comment"]]
        source = _line("ingress_min_source").search(rest) if key == _INGRESS else None
        if source:
            rest = f"{rest[:source.start()]}{rest[source.end():]}"
            remarks.append(source["comment"])
        lines = [f"[{table}]"]
        for name, value in new.items():
            if value is not None:
                said = tomlkit.item(value).as_string() if isinstance(value, str) else match["value"]
                lines.append(f"{name.rpartition('.')[2]} = {said}")
        for at, remark in enumerate(remarks, start=1):
            lines[at] += remark or ""
        yield _with_lines(rest, _end_of_table(rest, match.start()), lines)


def _end_of_table(text: str, at: int) -> int:
    """Where the table that ``at`` lies in ends: before comments and blank lines that belong to the next."""
    header = re.compile(r"(?m)^[ \t]*+\[").search(text, at)
    end = header.start() if header else len(text)
    while end:
        start = text.rfind("\n", 0, end - 1) + 1
        line = text[start:end].strip()
        if line and not line.startswith("#"):
            break
        end = start
    return end


def _with_lines(text: str, at: int, lines: list[str]) -> str:
    newline = "\r\n" if "\r\n" in text else "\n"
    before = text[:at] if text[:at].endswith("\n") or not at else f"{text[:at]}{newline}"
    return f"{before}{newline}{newline.join(lines)}{newline}{text[at:]}"


# A log


def _upgraded_log(name: str, data: bytes) -> bytes | None:
    """A log with its event renamed, all else byte for byte; None for what needs no change or is no log.

    Raises `ScenarioError` where the row cannot be told from the text of a note.
    """
    if not name.lower().endswith(".csv") or name in FORMAT_1_FILES or not _has_old_event(data):
        return None
    before = split_log(data, Faults()).table
    at = before.header.index("event")
    rows = [tuple(PET_ZERO if column == at and cell == FORMAT_1_PET_ZERO else cell
                  for column, cell in enumerate(row)) for row in before.rows]
    text = data.decode("utf-8", "surrogateescape")
    for cell in _CELLS:
        done = _with_event(text, at, cell).encode("utf-8", "surrogateescape")
        if list(split_log(done, Faults()).table.rows) == rows:
            return done
    raise ScenarioError.single(f"write {PET_ZERO} for {FORMAT_1_PET_ZERO} in this column by hand, then "
                               "upgrade", table=name, column="event", value=FORMAT_1_PET_ZERO)


def is_log(data: bytes) -> bool:
    """Whether a file has the columns of a log."""
    try:
        return {"step", "event", "at"} <= set(split_log(data, Faults()).table.header)
    except ScenarioError:
        return False


def _has_old_event(data: bytes) -> bool:
    if FORMAT_1_PET_ZERO.encode() not in data or not is_log(data):
        return False
    table = split_log(data, Faults()).table
    return any(row[table.header.index("event")] == FORMAT_1_PET_ZERO for row in table.rows)


def _with_event(text: str, event: int, cell: re.Pattern[str]) -> str:
    """A log's text with the event renamed in the column numbered ``event``."""
    parts, done, column, at = [], 0, 0, 0
    while at < len(text):
        found = _EVENT.match(text, at) if column == event else None
        if found:
            parts += [text[done:found.start(2)], PET_ZERO]
            done = found.end(2)
        whole = cell.match(text, at)
        at = whole.end() if whole else at
        if text[at:at + 1] == ",":
            column, at = column + 1, at + 1
        else:  # the end of a row, or of what can be read of it
            line_end = text.find("\n", at)
            column, at = 0, len(text) if line_end < 0 else line_end + 1
    return "".join([*parts, text[done:]])
