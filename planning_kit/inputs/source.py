"""What a scenario was read from, held as text: the base of every change and save; and what it says."""

import json
import os
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import MISSING, dataclass, fields, is_dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache
from keyword import iskeyword
from pathlib import Path
from typing import Any

from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.folder_files import FolderFiles, digest_of, folder_is_there, read_settled
from planning_kit.inputs.format_1 import FORMAT_1_FILES, is_format_1, refused, upgraded
from planning_kit.inputs.log_file import log_bytes
from planning_kit.inputs.log_format import LOG_FILE
from planning_kit.inputs.model_file import models_of
from planning_kit.inputs.oem import OrbitData, orbit_from
from planning_kit.inputs.raw import (
    RawTable,
    model_names,
    read_files,
    read_models,
    read_tables,
    table_bytes,
)
from planning_kit.inputs.records import Records, Step
from planning_kit.inputs.rules import RULES
from planning_kit.inputs.setting_records import FrozenMapping
from planning_kit.inputs.settings import (
    build_settings,
    exactly,
    is_sane_file_name,
    parse_settings,
    parse_toml,
)
from planning_kit.inputs.typed_tables import Row, parse_table, parse_tables


@dataclass(frozen=True)
class Source:
    """Text of ``scenario.toml``, text tables by name, the orbit message's file name and bytes, and models.

    ``shared``: tables as they stand in the folder of the campaign. One that says something else by now is the
    outing's own.
    """

    toml: bytes
    tables: Mapping[str, RawTable]
    orbit_name: str
    orbit: bytes
    shared: Mapping[str, RawTable] = FrozenMapping({})
    models: Mapping[str, bytes] = FrozenMapping({})

    def is_shared(self, name: str) -> bool:
        """Whether a table is that of the campaign."""
        old, now = self.shared.get(name), self.tables[name]
        return old is not None and (old.header, old.rows) == (now.header, now.rows)

    def files(self) -> dict[str, bytes]:
        """The files that the scenario's folder owns: name to bytes."""
        tables = {fmt.TABLE_BY_NAME[name].file: table_bytes(table) for name, table in self.tables.items()
                  if not self.is_shared(name)}
        models = {} if self._shares_bodies else self.models
        return {fmt.SCENARIO_FILE: self.toml, **tables, **models, self.orbit_name: self.orbit}

    def files_above(self) -> list[str]:
        """What it has of the folder of its campaign, as such files are called."""
        tables = [fmt.TABLE_BY_NAME[name].file for name in self.shared]
        return [fmt.ABOVE + name for name in (*tables, *(self.models if self._shares_bodies else ()))]

    @property
    def _shares_bodies(self) -> bool:
        return fmt.BODIES.name in self.tables and self.is_shared(fmt.BODIES.name)


@dataclass(frozen=True)
class Checked:
    """A source in which no fault was found, and what it says."""

    source: Source
    records: Records
    elements: OrbitData


def read_folder(folder: Path, any_format: bool) -> tuple[Checked, Mapping[str, str], bool]:
    """Read and validate a folder; also the digests of its files by name, and whether it is of format 1.

    That is upgraded in memory with ``any_format``, else refused. Raises `ScenarioError`.
    """
    read, faults = read_settled(folder, _read)
    is_old = is_format_1(read.settings)
    if is_old and not any_format:
        log = None
        with suppress(ScenarioError):
            log = log_bytes(folder / LOG_FILE)
        raise refused(folder, read.settings or {}, log)
    if is_old:
        ours = {name: data for name, data in read.files.items() if name in FORMAT_1_FILES}
        new = upgraded({name: data for name, data in ours.items() if data is not None}).files
        read = replace(read, files={**ours, **new}, settings=parse_toml(new[fmt.SCENARIO_FILE], faults))
    return *_checked(read, faults), is_old


@dataclass(frozen=True)
class _Files:
    """The files of a folder as read at one moment, and ``scenario.toml`` parsed, which led to the orbit."""

    files: Mapping[str, bytes | None]
    settings: Mapping[str, object] | None
    orbit_name: str
    orbit: bytes | None
    models: Mapping[str, bytes | str]


def _read(files: FolderFiles) -> tuple[_Files, Faults]:
    faults = Faults()
    found = read_files(files, faults)
    settings = parse_toml(found[fmt.SCENARIO_FILE], faults)
    orbit_name = orbit_name_in(settings)
    orbit = files.read(orbit_name, faults) if orbit_name else None
    return _Files(found, settings, orbit_name, orbit, _models(files, found)), faults


def _models(files: FolderFiles, found: Mapping[str, bytes | None]) -> Mapping[str, bytes | str]:
    """The model files, beside the table of bodies that names them: here, or in the folder of the campaign."""
    bodies = read_tables(found, Faults(), [fmt.BODIES]).get(fmt.BODIES.name)
    if fmt.ABOVE + fmt.BODIES.file not in found:
        return read_models(files, bodies)
    # As the folder really lies: above a link there is another one.
    campaign = Path(os.path.realpath(files.folder)).parent
    return read_settled(campaign, lambda above: read_models(above, bodies)) if model_names(bodies) else {}


def _checked(read: _Files, faults: Faults) -> tuple[Checked, Mapping[str, str]]:
    files = read.files
    tables = read_tables(files, faults)
    unreadable = {table.name for table in fmt.TABLES if {table.file, fmt.ABOVE + table.file} & {*files}}
    unreadable -= set(tables)
    records = records_from(read.settings, tables, unreadable, faults, read.models)
    elements = orbit_from(read.orbit, read.orbit_name, faults) if read.orbit is not None else None
    for row in faults.rows:
        if f"{fmt.ABOVE}{row['table']}.csv" in files:
            row["table"] = f"{fmt.ABOVE}{row['table']}"
    faults.stop_if_any()
    assert records is not None
    assert elements is not None
    models = {name: data for name, data in read.models.items() if isinstance(data, bytes)}
    above = fmt.ABOVE if fmt.ABOVE + fmt.BODIES.file in files else ""
    every = {**files, **{above + name: data for name, data in models.items()}, read.orbit_name: read.orbit}
    whole = {name: data for name, data in every.items() if data is not None}
    shared = {name: raw for name, raw in tables.items()
              if fmt.ABOVE + fmt.TABLE_BY_NAME[name].file in files}
    source = Source(whole[fmt.SCENARIO_FILE], FrozenMapping(tables), read.orbit_name,
                    whole[read.orbit_name], FrozenMapping(shared), FrozenMapping(models))
    digests = {name: digest_of(data) for name, data in whole.items()}
    return Checked(source, records, elements), FrozenMapping(digests)


def orbit_name_in(data: Mapping[str, object] | None) -> str:
    """The orbit message's file name where it is a sane one (a wrong one is a fault of the settings)."""
    name = (data or {}).get("orbit")
    return name if isinstance(name, str) and is_sane_file_name(name) else ""


def check(source: Source, elements: OrbitData | None, faults: Faults,
          unreadable: Collection[str] = (), folder: Path | None = None) -> Checked:
    """Validate a source that was made here; ``elements`` if its orbit message is known to be good.

    ``faults`` may hold faults of the making already; raises `ScenarioError` with these and all others.
    ``unreadable`` as in `records_from`; a model that bodies name by now is read from ``folder``.
    """
    bodies = source.tables.get(fmt.BODIES.name)
    models: dict[str, bytes | str] = {name: source.models[name] for name in model_names(bodies)
                                      if name in source.models}
    if folder is not None and folder_is_there(folder) and len(models) < len(model_names(bodies)):
        models = {**read_settled(folder, lambda files: read_models(files, bodies)), **models}
    records = records_from(parse_toml(source.toml, faults), source.tables, unreadable, faults, models)
    elements = elements or orbit_from(source.orbit, source.orbit_name, faults)
    faults.stop_if_any()
    assert records is not None
    assert elements is not None
    known = {name: data for name, data in models.items() if isinstance(data, bytes)}
    return Checked(replace(source, models=FrozenMapping(known)), records, elements)


def records_from(data: Mapping[str, Any] | None, tables: Mapping[str, RawTable], unreadable: Collection[str],
                 faults: Faults, models: Mapping[str, bytes | str] = FrozenMapping({})) -> Records | None:
    """Records of a scenario, or None with every fault noted.

    ``data`` is scenario.toml (None when it could not be parsed); ``unreadable`` names the tables whose files
    are there but could not be split into rows; ``models`` holds the files that bodies name, by name.
    """
    settings = parse_settings(data, faults) if data is not None else None
    rows = parse_tables(tables, unreadable, faults)
    if settings is not None:
        rows.airlock = str(settings[""].get("airlock_place", ""))
    for rule in RULES:
        rule(rows, faults)
    solids = models_of(rows, models, faults)
    if faults.rows or settings is None:
        return None
    read = {table.name: tuple(map(_record, rows[table.name])) for table in fmt.TABLES}
    return Records(settings=build_settings(settings), models=solids, **read | apart(read["steps"]))


def apart(steps: Sequence[Step]) -> dict[str, tuple[Step, ...]]:
    """The rows of ``steps.csv`` as ``steps``, which are timed, and ``blocks`` with steps of their own."""
    detailed = {step.block for step in steps}
    return {"steps": tuple(step for step in steps if step.step not in detailed),
            "blocks": tuple(step for step in steps if step.step in detailed)}


def steps_within(records: Records) -> dict[str, list[Step]]:
    """The timed steps of each block that has steps of its own, by way of blocks in it, too; in row order."""
    above, within = {each.step: each.block for each in records.blocks}, dict[str, list[Step]]()
    for step in records.steps:
        block = step.block
        while block:
            within.setdefault(block, []).append(step)
            block = above[block]
    return within


def rows_of(table: str, raw: RawTable, faults: Faults) -> tuple[Any, ...]:
    """The records of one table, each cell by itself: no rule that looks at two of them is asked.

    Empty, with the faults noted, where a cell says nothing that can be used.
    """
    rows = parse_table(fmt.TABLE_BY_NAME[table], raw, faults)
    return () if faults.rows else tuple(map(_record, rows))


@lru_cache(maxsize=5_000)
def _record(row: Row) -> Any:
    values, table = dict(row.values), row.table.name
    if table in ("gaps", "steps"):
        values["row"] = row.number
    if table == "steps":
        likely = values["minutes_likely"]
        for column in ("minutes_low", "minutes_high"):
            values[column] = likely if values[column] is None else values[column]
    return row.table.record(
        **{f"{name}_" if iskeyword(name) else name: value for name, value in values.items()})


def content_digest(checked: Checked) -> str:
    """SHA-256 over what a scenario says.

    Spelling does not count (column order, 7.50 or 7.5, blank lines, comments); row order, free (``x_``)
    columns and keys, and the orbit's elements do.
    """
    content = {
        "records": _canonical(checked.records),
        "elements": _canonical(checked.elements),
        "free_keys": _free_keys(parse_toml(checked.source.toml, Faults()) or {}),
        "free_columns": {name: free for name, table in checked.source.tables.items() if (free := {
            column: [row[at] for row in table.rows] for at, column in enumerate(table.header)
            if column.startswith(fmt.FREE_PREFIX)})},
    }
    return digest_of(json.dumps(content, sort_keys=True, ensure_ascii=True).encode())


def _canonical(value: object) -> object:
    if is_dataclass(value):
        # Blank lines move the row, which says nothing. What is not given is left out: so a column that the
        # format gains later makes no sign-off stale.
        said = ((each, getattr(value, each.name)) for each in fields(value) if each.name != "row")
        return {each.name: _canonical(what) for each, what in said
                if what not in (None, "", ()) and (each.default is MISSING or what != each.default)}
    if isinstance(value, Mapping):
        return {str(key): _canonical(entry) for key, entry in value.items()}
    if isinstance(value, tuple | list):
        return [_canonical(entry) for entry in value]
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    return value if value is None or isinstance(value, bool | str) else str(value)


def _free_keys(data: Mapping[str, object]) -> dict[str, object]:
    free: dict[str, object] = {}
    for key, value in data.items():
        if key.startswith(fmt.FREE_PREFIX):
            free[key] = exactly(value)
        elif isinstance(value, dict) and (inner := _free_keys(value)):
            free[key] = inner
    return free
