"""Both sides of a conflict: what stands in the folder now against what is typed here, cell by cell."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from planning_kit.explore.session.draft import Draft
from planning_kit.explore.session.settings_sheet import KEY, SETTINGS
from planning_kit.explore.session.sheet import Line, Sheet
from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.raw import RawTable, read_files, read_tables
from planning_kit.inputs.text_table import TextTable

SIDES_COLUMNS = ["table", "row", "column", "yours", "theirs"]
_NO_ROW = "(no such row)"


def both_sides(draft: Draft, folder: Path) -> pd.DataFrame:
    """Where the draft and the tables in ``folder`` differ: ``table``, ``row`` (a key), ``column``, the texts.

    The folder may hold faults; a file that cannot be read as a table is left out. Settings are not compared
    cell by cell. Raises `ScenarioError` when the folder is gone.
    """
    faults = Faults()
    on_disk = read_tables(read_files(folder, faults), faults)
    rows = [row for table in fmt.TABLES for row in _differences(draft[table.name], on_disk.get(table.name),
                                                                table.key)]
    return TextTable(rows, columns=SIDES_COLUMNS)


def differences(a: Draft, b: Draft) -> pd.DataFrame:
    """Where two drafts differ in what is typed: ``table``, ``row`` (its key), ``column``, ``a``, ``b``."""
    keys = {table.name: table.key for table in fmt.TABLES} | {SETTINGS: (KEY,)}
    rows = [row for name, sheet in a.sheets.items() for row in _against(sheet, b[name], keys[name])]
    return TextTable(rows, columns=SIDES_COLUMNS).rename(columns={"yours": "a", "theirs": "b"})


def _differences(mine: Sheet, raw: RawTable | None, key: tuple[str, ...]) -> Iterator[dict[str, str]]:
    header = raw.header if raw is not None else mine.columns
    lines = tuple(Line(number, row) for number, row in enumerate(raw.rows)) if raw is not None else ()
    yield from _against(mine, Sheet(mine.name, header, lines), key)


def _against(mine: Sheet, theirs: Sheet, key: tuple[str, ...]) -> Iterator[dict[str, str]]:
    ours, others = _by_key(mine, key), _by_key(theirs, key)
    columns = list(dict.fromkeys([*mine.columns, *theirs.columns]))
    for name in dict.fromkeys([*ours, *others]):
        where = {"table": mine.name, "row": name}
        if name not in ours or name not in others:
            missing = "yours" if name not in ours else "theirs"
            yield where | {"column": "", "yours": "", "theirs": ""} | {missing: _NO_ROW}
            continue
        for column in columns:
            yours, other = ours[name].get(column, ""), others[name].get(column, "")
            if yours != other:
                yield where | {"column": column, "yours": yours, "theirs": other}
    kept = [name for name in ours if name in others]
    if kept != [name for name in others if name in ours]:
        yield {"table": mine.name, "row": "", "column": "", "yours": "another order of rows", "theirs": ""}


def _by_key(sheet: Sheet, key: tuple[str, ...]) -> dict[str, dict[str, str]]:
    """Each line's cells by column, under its key; a key that stands twice gets a number."""
    found: dict[str, dict[str, str]] = {}
    for line in sheet.lines:
        if line.is_empty:
            continue
        cells = dict(zip(sheet.columns, line.cells, strict=True))
        name = again = " to ".join(cells.get(part, "") for part in key)
        number = 2
        while again in found:
            again, number = f"{name} ({number})", number + 1
        found[again] = cells
    return found

