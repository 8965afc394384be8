"""From what the files say to records: all rules over all tables, every fault in one error."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from keyword import iskeyword
from typing import Any

from planning_kit.inputs import format as fmt
from planning_kit.inputs import records as rec
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.rules import RULES
from planning_kit.inputs.settings import build_settings, parse_settings
from planning_kit.inputs.typed_tables import Row, parse_table, parse_tables


def records_from(data: Mapping[str, Any] | None, tables: Mapping[str, RawTable], unreadable: Collection[str],
                 faults: Faults) -> rec.Records | None:
    """Records of a scenario, or None with every fault noted.

    ``data`` is scenario.toml (None when it could not be parsed); ``unreadable`` names the tables whose files
    are there but could not be split into rows.
    """
    settings = parse_settings(data, faults) if data is not None else None
    rows = parse_tables(tables, unreadable, faults)
    if settings is not None:
        rows.airlock = str(settings[""].get("airlock_place", ""))
    for rule in RULES:
        rule(rows, faults)
    if faults.rows or settings is None:
        return None
    return rec.Records(settings=build_settings(settings),
                       **{table.name: tuple(_record(table.name, row) for row in rows[table.name])
                          for table in fmt.TABLES})


def rows_of(table: str, raw: RawTable, faults: Faults) -> tuple[Any, ...]:
    """The records of one table, each cell by itself: no rule that looks at two of them is asked.

    Empty, with the faults noted, where a cell says nothing that can be used.
    """
    rows = parse_table(fmt.TABLE_BY_NAME[table], raw, faults)
    return () if faults.rows else tuple(_record(table, row) for row in rows)


def _record(table: str, row: Row) -> Any:
    values = dict(row.values)
    if table in ("gaps", "steps"):
        values["row"] = row.number
    if table == "steps":
        likely = values["minutes_likely"]
        for column in ("minutes_low", "minutes_high"):
            values[column] = likely if values[column] is None else values[column]
    return fmt.TABLE_BY_NAME[table].record(
        **{f"{name}_" if iskeyword(name) else name: value for name, value in values.items()})
