"""Both sides of a conflict: what stands in the folder now against what is typed here, cell by cell."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pandas as pd

from planning_kit.explore.session.draft import Draft
from planning_kit.explore.session.settings_sheet import KEY, SETTINGS, settings_sheet
from planning_kit.explore.session.sheet import Line, Sheet
from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.folder_files import read_settled
from planning_kit.inputs.raw import RawTable, read_files, read_tables
from planning_kit.inputs.text_table import TextTable

SIDES_COLUMNS = ["table", "row", "column", "yours", "theirs"]
_NO_ROW = "(no such row)"
KEYS = {table.name: table.key for table in fmt.TABLES} | {SETTINGS: (KEY,)}
"""By sheet: the columns whose cells tell its rows apart."""


def both_sides(draft: Draft, folder: Path) -> pd.DataFrame:
    """Where the draft and the tables in ``folder`` differ: ``table``, ``row`` (a key), ``column``, the texts.

    The folder may hold faults; a file that cannot be read is left out. Raises `ScenarioError` when the folder
    is gone.
    """
    faults = Faults()
    files = read_settled(folder, lambda files: read_files(files, Faults()))
    on_disk = read_tables(files, faults)
    rows = [row for table in fmt.TABLES for row in _differences(draft[table.name], on_disk.get(table.name),
                                                                table.key)]
    try:
        theirs = settings_sheet(files.get(fmt.SCENARIO_FILE) or b"", 0)
        rows += _against(draft[SETTINGS], theirs, (KEY,))
    except ValueError:  # no TOML, or no UTF-8
        pass
    return TextTable(rows, columns=SIDES_COLUMNS)


def differences(a: Draft, b: Draft) -> pd.DataFrame:
    """Where two drafts differ in what is typed: ``table``, ``row`` (its key), ``column``, ``a``, ``b``."""
    rows = [row for name, sheet in a.sheets.items() for row in _against(sheet, b[name], KEYS[name])]
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
    """Each line's cells by column, under its key."""
    return {name: dict(zip(sheet.columns, line.cells, strict=True))
            for name, line in keyed(sheet, key).items()}


def keyed(sheet: Sheet, key: tuple[str, ...]) -> dict[str, Line]:
    """Each line that is not empty under its key; a key that stands twice gets a number."""
    found: dict[str, Line] = {}
    places = [sheet.columns.index(part) for part in key if part in sheet.columns]
    for line in sheet.lines:
        if line.is_empty:
            continue
        name = again = " to ".join(line.cells[at] for at in places)
        number = 2
        while again in found:
            again, number = f"{name} ({number})", number + 1
        found[again] = line
    return found

