"""Reading a campaign: ``campaign.toml``, ``backlog.csv``, files of steps, every outing; all faults at once.

A folder of a campaign may come from a stranger, as one of an outing: only plain files of the folder itself
and folders just within it are read, no link is followed, and sizes have the limits of an outing's.
"""

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from graphlib import CycleError, TopologicalSorter
from pathlib import Path
from typing import Any

from planning_kit.inputs import format as fmt
from planning_kit.inputs.campaign_records import (
    BACKLOG,
    CAMPAIGN,
    OUTINGS,
    BacklogTask,
    CampaignSettings,
    Outing,
)
from planning_kit.inputs.cells import ID_PATTERN, CellFault
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.folder_files import FolderFiles, is_plain_name, read_settled
from planning_kit.inputs.log_format import LOG_FILE
from planning_kit.inputs.raw import RawTable, read_table, read_tables
from planning_kit.inputs.records import Step
from planning_kit.inputs.rules import note_dangling
from planning_kit.inputs.scenario import Scenario, load_scenario
from planning_kit.inputs.setting_records import FrozenMapping
from planning_kit.inputs.settings import Values, parse_section, parse_toml
from planning_kit.inputs.source import rows_of
from planning_kit.inputs.topic_rules import values_exist
from planning_kit.inputs.typed_tables import Rows, parse_table

_MOST_OUTINGS = 100
_SHARED = {table.name: table for table in fmt.SHARED_TABLES}
_OWN = {"crew", *_SHARED, BACKLOG.name, *(table.name for table in fmt.TABLES)}


@dataclass(frozen=True)
class CampaignSource:
    """What the folder of a campaign says, checked; ``steps``: those of a task's file, by task.

    ``on_disk``: digests of its own files as they were read ("": there was none), to be given to `save_all`.
    """

    folder: Path
    settings: CampaignSettings
    outings: Mapping[str, Outing]
    backlog: tuple[BacklogTask, ...]
    steps: Mapping[str, tuple[Step, ...]]
    scenarios: Mapping[str, Scenario]
    raw_backlog: RawTable | None = None
    on_disk: Mapping[str, str] = FrozenMapping({})


@dataclass(frozen=True)
class _Read:
    """The files of the folder as read at one moment; rows and steps parsed as far as they can be."""

    toml: Mapping[str, Any] | None
    raw: RawTable | None
    rows: Rows
    steps: Mapping[str, tuple[Step, ...]]
    on_disk: Mapping[str, str]


def read_campaign(folder: Path) -> CampaignSource:
    """Read and validate a campaign. Raises one `ScenarioError` with the faults of all its files and outings.

    Those of an outing have its id before the table, ``one/steps``.
    """
    read, faults = read_settled(folder, _read)
    data = dict(read.toml or {})
    named = data.pop("outings", {})
    top = parse_section(CAMPAIGN, "", data, faults, fmt.CAMPAIGN_FILE) if read.toml is not None else {}
    outings = _outings(named, folder, faults) if read.toml is not None else {}
    scenarios: dict[str, Scenario] = {}
    told = {_key(row, str(row["table"])) for row in faults.rows}
    for name, outing in outings.items():
        try:
            scenarios[name] = load_scenario(folder / outing.folder)
        except ScenarioError as error:
            for row in error.problems.to_dict("records"):
                # A shared table has one fault, not one an outing.
                where = f"{name}/{row['table']}".rstrip("/").removeprefix(f"{name}/{fmt.ABOVE}")
                if (key := _key(row, where)) not in told:
                    told.add(key)
                    faults.add(*key)
        else:
            steps = [step.step for step in scenarios[name].records.steps]
            if outing.work_after and outing.work_after not in steps:
                faults.add(fmt.CAMPAIGN_FILE, None, f"outings.{name}.work_after", outing.work_after,
                           "is no step of this outing")
    _logs_in_order(scenarios, faults)
    faults.stop_if_any()
    sources = {key.removesuffix(fmt.SOURCE_SUFFIX): str(value) for key, value in top.items()
               if key.endswith(fmt.SOURCE_SUFFIX)}
    fields: dict[str, Any] = {field.name: top[field.name] for field in CAMPAIGN.fields[1:]}
    settings = CampaignSettings(**fields, sources=FrozenMapping(sources))
    rows: list[tuple[int, Any]] = [(row.number, row.values) for row in read.rows["backlog"]]
    backlog = tuple(BacklogTask(row=number, **values) for number, values in rows)
    return CampaignSource(folder, settings, FrozenMapping(outings), backlog, FrozenMapping(read.steps),
                          FrozenMapping(scenarios), read.raw, FrozenMapping(read.on_disk))


def stands_in_a_campaign(folder: Path) -> bool:
    """Whether ``campaign.toml`` of the folder above names this one, or cannot be read. Raises nothing."""
    really = Path(os.path.realpath(folder))
    if not os.path.lexists(really.parent / fmt.CAMPAIGN_FILE):
        return False
    try:
        data = read_settled(really.parent, lambda files: files.read(fmt.CAMPAIGN_FILE, Faults()))
    except ScenarioError:
        return True  # why, is told where the campaign is wanted
    named = (parse_toml(data, Faults()) or {"outings": None}).get("outings")
    return not isinstance(named, dict) or any(
        isinstance(each, dict) and each.get("folder") == really.name for each in named.values())


def _logs_in_order(scenarios: Mapping[str, Scenario], faults: Faults) -> None:
    """An outing without a log is not after one that has a log and stands behind it."""
    for at, (name, scenario) in enumerate(scenarios.items()):
        day = scenario.settings.pet_zero_utc
        gone = [other for other, each in [*scenarios.items()][at + 1:]
                if os.path.lexists(each.folder / LOG_FILE) and each.settings.pet_zero_utc < day]
        if gone and not os.path.lexists(scenario.folder / LOG_FILE):
            faults.add(fmt.CAMPAIGN_FILE, None, f"outings.{name}", f"{day:%Y-%m-%d}",
                       f"has no log and is after {', '.join(gone)}, which stands behind it and has one: put "
                       "it behind that, or give it the date on which it was")


def _key(row: Mapping[Any, Any], table: str) -> tuple[str, int | None, str, str, str]:
    number = row["row"]
    return (table, int(number) if isinstance(number, int) else None, str(row["column"]), str(row["value"]),
            str(row["problem"]))


def _read(files: FolderFiles) -> tuple[_Read, Faults]:
    faults = Faults()
    if not files.has(fmt.CAMPAIGN_FILE):
        raise ScenarioError.single("is missing: this is no folder of a campaign", table=fmt.CAMPAIGN_FILE,
                                   value=files.folder)
    toml = parse_toml(files.read(fmt.CAMPAIGN_FILE, faults), faults, fmt.CAMPAIGN_FILE)
    known = [table for table in (*fmt.SHARED_TABLES, BACKLOG) if files.has(table.file)]
    found = {table.file: files.read(table.file, faults) for table in known}
    raws = read_tables(found, faults, known)
    # Of a table that is not there it is not known what it holds: an outing may have its own.
    parsed = {name: parse_table(BACKLOG if name == BACKLOG.name else _SHARED[name], raw, faults)
              for name, raw in raws.items()}
    rows = Rows(parsed)
    steps = _steps(files, rows, faults)
    _check_backlog(rows, faults)
    own = {fmt.CAMPAIGN_FILE, BACKLOG.file, *(row.text("steps") for row, _ in rows.named(BACKLOG.name))}
    on_disk = {name: files.digests.get(name, "") for name in own if name}
    return _Read(toml, raws.get(BACKLOG.name), rows, steps, on_disk), faults


def _steps(files: FolderFiles, rows: Rows, faults: Faults) -> dict[str, tuple[Step, ...]]:
    """The steps of every task that names a file of them."""
    read: dict[str, tuple[Step, ...] | None] = {}
    found: dict[str, tuple[Step, ...]] = {}
    first: dict[str, str] = {}
    for row, task in rows.named(BACKLOG.name):
        name = row.text("steps")
        if not name:
            continue
        stem = name.removesuffix(".csv")
        if not is_plain_name(name) or stem == name or stem.lower() in _OWN:
            row.fault(faults, "steps", "must be the plain name of a CSV file in the campaign's folder, and "
                      "of none of the format's own, such as steps-REG.csv")
            continue
        if not files.has(name):
            row.fault(faults, "steps", "is not in the campaign's folder; put the file there")
            continue
        if name not in read:
            read[name] = _steps_in(files, name, stem, rows, faults, first)
        if (steps := read[name]) is not None:
            found[task] = tuple(step for step in steps if step.task == task)
            if not found[task]:
                row.fault(faults, "steps", f"holds no step of {task}")
    return found


def _steps_in(files: FolderFiles, name: str, stem: str, rows: Rows, faults: Faults,
              known: dict[str, str]) -> tuple[Step, ...] | None:
    """The rows of a file of steps; None where they cannot be read. What they name is checked, too.

    ``known``: the file of each step so far; an outing may take up the steps of all files.
    """
    table, own = replace(fmt.STEPS, name=stem), Faults()
    data = files.read(name, faults)
    if data is None:
        return None
    try:
        raw = read_table(table, data, own)
    except CellFault as fault:
        faults.add(stem, *fault.where, str(fault))
        return None
    parsed = Rows({**rows.tables, stem: (steps := parse_table(table, raw, own)), "steps": steps})
    first: dict[str, int] = {}
    for row, step in parsed.pairs(stem, "step"):
        if first.setdefault(step, row.number) != row.number:
            row.fault(own, "step", f"stands in row {first[step]} already; give each row its own id")
        elif known.setdefault(step, name) != name:
            row.fault(own, "step", f"stands in {known[step]} already; give each step of {known[step]} and "
                      f"{name} its own id")
    # Who works there, windows, hazards and the steps before it are the outing's.
    fields = [field for field in table.fields if {*field.refers_to} <= {"places", "hardware"}]
    fields += [replace(table.by_name[name], refers_to=(of,)) for name, of in (
        ("task", BACKLOG.name), ("takes", "hardware"), ("leaves", "hardware"))]
    note_dangling(parsed, own, [(table, field) for field in fields])
    _states_exist(parsed, stem, ("needs", "sets"), own)
    faults.rows.extend(own.rows)
    return None if own.rows else rows_of("steps", replace(raw, name="steps"), own)


def _states_exist(rows: Rows, table: str, columns: tuple[str, ...], faults: Faults) -> None:
    if rows.could_be_read("states"):
        for column in columns:
            values_exist(rows, table, column, faults)


def _check_backlog(rows: Rows, faults: Faults) -> None:
    """Ids, references, minutes or steps, and an order of tasks that does not run in a circle."""
    first: dict[str, int] = {}
    graph: dict[str, set[str]] = {}
    for row, task in rows.named(BACKLOG.name):
        if first.setdefault(task, row.number) != row.number:
            row.fault(faults, "task", f"stands in row {first[task]} already; give each row its own id")
        if not row.text("steps") and row.number_of("minutes_likely") is None and (
                "minutes_likely" not in row.texts or not row.texts["minutes_likely"]):
            row.fault(faults, "minutes_likely", "is empty; give the minutes of the task, or its steps")
        low, likely, high = (row.number_of(f"minutes_{each}") for each in ("low", "likely", "high"))
        if likely is not None and not (likely if low is None else low) <= likely <= (
                likely if high is None else high):
            row.fault(faults, "minutes_likely", "must lie from minutes_low to minutes_high")
        graph.setdefault(task, set()).update(row.entries("after"))
    note_dangling(rows, faults, [(BACKLOG, field) for field in BACKLOG.fields])
    _states_exist(rows, BACKLOG.name, ("needs", "sets"), faults)
    while graph:
        try:
            TopologicalSorter(graph).prepare()
            break
        except CycleError as error:
            circle = set(error.args[1])
        for row in (rows.by_id(BACKLOG.name)[task] for task in sorted(circle)):
            row.fault(faults, "after", f"runs in a circle: {' '.join(sorted(circle))} wait for each other")
        graph = {task: after - circle for task, after in graph.items() if task not in circle}


def _outings(named: object, folder: Path, faults: Faults) -> dict[str, Outing]:
    """The outings of ``campaign.toml`` that can be used, in their order."""
    where, found = fmt.CAMPAIGN_FILE, dict[str, Outing]()
    if not isinstance(named, dict) or not named or len(named) > _MOST_OUTINGS:
        faults.add(where, None, "outings", "", f"must hold 1 to {_MOST_OUTINGS} tables [outings.ID], one an "
                   "outing, in their order")
        return found
    folders: dict[str, str] = {}
    for name, data in named.items():
        key = f"outings.{name}"
        if not re.fullmatch(ID_PATTERN, name) or not isinstance(data, dict):
            faults.add(where, None, key, "", "must be a table with an id: letters, digits, '.', '_' and '-'")
            continue
        count = len(faults.rows)
        values: Values = parse_section(OUTINGS, key, data, faults, where)
        sub = str(values.get("folder", ""))
        if sub and (not is_plain_name(sub) or os.path.islink(folder / sub)):
            faults.add(where, None, f"{key}.folder", sub,
                       "must be the plain name of a folder within that of the campaign, and no link")
        elif sub and folders.setdefault(sub, name) != name:
            faults.add(where, None, f"{key}.folder", sub, f"is that of {folders[sub]} already")
        first, last = values.get("earliest"), values.get("latest")
        if first and last and first > last:  # type: ignore[operator]  # dates, as parsed
            faults.add(where, None, f"{key}.latest", last, f"lies before earliest, {first}")
        pairs: Any = values.get("crew", ())
        for pair in pairs or ():
            if len({*pair}) == 1:
                faults.add(where, None, f"{key}.crew", ", ".join(pair), "names one person as EV1 and as EV2; "
                           "two people go")
        if len(faults.rows) == count:
            found[name] = Outing(name, **values)  # type: ignore[arg-type]
    return found
