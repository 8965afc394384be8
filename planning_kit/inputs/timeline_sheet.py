"""A planner's old sheet of times: read as far as it is understood, made into blocks, kept as a baseline.

Assumed is a column of times and a column a person, nothing else. A cell lasts until the next one with words
in its column, a merged one as far as it goes, the last one until the last row with a time. Nothing is
computed: of a formula counts the value that was saved with it; where there is none the cell is empty.
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import ScenarioError, as_path, must_be
from planning_kit.inputs.folder_files import system_errors_told
from planning_kit.inputs.raw import cell_text, decode, stop_if_absurd
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import TextTable, one_line
from planning_kit.inputs.times import When, as_utc, pet_label, pet_min, pet_typed

_CLOCK = re.compile(r"\b(utc|gmt|clock)\b", re.IGNORECASE)
_MOST_UNPACKED, _MOST_ABOVE = 30_000_000, 50  # bytes of a spreadsheet; rows above the header of its table
_Grid = tuple[str, list[list[str]], dict[tuple[int, int], int]]
"""A sheet: its name, its cells as text, and of each merged one, by row and column, the last row."""


class Baseline(dict[str, tuple[str, float, float, str]]):
    """Times to hold a plan against: step to who, start, finish (PET minutes) and title."""


@dataclass(frozen=True, repr=False)
class Timeline:
    """What a sheet of times says, by `read_timeline`.

    ``understood``: ``who`` (EV1, EV2 or both), ``start_min``, ``finish_min`` (PET), ``title``, ``note`` (an
    end that the sheet leaves open). ``not_understood``: ``sheet``, ``row``, ``column``, ``text``, ``why``.
    """

    understood: TextTable
    not_understood: TextTable
    prefix: str

    @cached_property
    def baseline(self) -> Baseline:
        """Its times, under the ids of `blocks`."""
        rows = enumerate(self.understood.to_numpy().tolist(), start=1)
        return Baseline({f"{self.prefix}{number}": (row[0], row[1], row[2], row[3]) for number, row in rows})

    def blocks(self, task: str = "SHEET") -> list[dict[str, object]]:
        """A row of ``steps.csv`` for each, by start, without a place; the ids are made."""
        return [{"step": step, "task": task, "crew": who, "title": title, "minutes_likely": finish - start}
                for step, (who, start, finish, title) in self.baseline.items()]

    def into(self, scenario: Scenario, task: str = "SHEET") -> Scenario:
        """The scenario with the blocks behind its steps, of ``task``, which is added if need be.

        Raises `ScenarioError` where an id is there already: ``prefix`` of `read_timeline` makes others.
        """
        if task not in set(scenario.tasks["task"]):
            scenario = scenario.add_row("tasks", task=task, title="As on the old sheet", need="required")
        return scenario.add_row("steps", *self.blocks(task))

    def __repr__(self) -> str:
        return f"Understood:\n{self.understood!r}\nNot understood:\n{self.not_understood!r}"

    def _repr_html_(self) -> str:
        return f"{self.understood._repr_html_()}<p>Not understood:</p>{self.not_understood._repr_html_()}"


def read_timeline(file: str | Path, people: Mapping[str, str] | None = None, pet_zero: When | None = None,
                  prefix: str = "B") -> Timeline:
    """Read a sheet of times, .xlsx or CSV: of several the first with a column of times and one a person.

    ``people``: what the header of a person's column contains, to EV1, EV2 or both (``{"Ada": "EV1"}``; not
    given: EV1 and EV2). Times are PET (``h:mm`` or minutes) or, with ``pet_zero``, UTC: dates with times, or
    ``h:mm`` under a header that says UTC, GMT or clock. ``prefix`` begins the ids of blocks. Raises
    `ScenarioError` for what cannot be read or has no such columns.
    """
    path = as_path(file, "file")
    names = must_be(people or {"EV1": "EV1", "EV2": "EV2"}, dict, "people", "must be a dict: header to crew")
    with system_errors_told("cannot be read", table=path.name, value=path), path.open("rb") as stream:
        data = stream.read(fmt.MAX_FILE_BYTES + 1)
    try:
        grids = list(_grids(path.name, data))
    except Exception as fault:  # a stranger's file: whatever its readers stumble over
        raise ScenarioError.single(f"is no sheet that can be read ({one_line(fault)})",
                                   table=path.name) from None
    for grid in grids:
        if (found := _columns(grid[1], names)) is not None:
            zero = None if pet_zero is None else as_utc(pet_zero, "pet_zero")
            unread = [(name, 1, "", "", f"only {grid[0]} is read") for name, *_ in grids if name != grid[0]]
            return _timeline(grid, *found, zero, unread, prefix)
    raise ScenarioError.single(f"has no row with a column for {' or '.join(map(str, names))} and a column of "
                               "times that only go on (PET as h:mm or minutes, or UTC); name the people by "
                               "their headers (people=)", table=path.name)


def _columns(rows: list[list[str]], names: Mapping[str, str]) -> tuple[int, int, dict[int, str]] | None:
    """The row of the header, the column of times, and whose the others are: of most people, nearest above."""
    good = []
    for head, header in enumerate(rows[:_MOST_ABOVE]):
        found = {at: {crew for name, crew in names.items() if str(name).casefold() in text.casefold()}
                 for at, text in enumerate(header)}
        crews = {at: crew.pop() if len(crew) == 1 else BOTH for at, crew in found.items() if crew}
        for at in found.keys() - crews.keys() if crews else ():
            times = [(row, each) for row, cells in enumerate(rows) if (each := _time(cells[at])) is not None]
            of = [each for _, each in times]
            if len({*map(type, of)}) == 1 and head < times[0][0] and of[0] < of[-1] and all(
                    a <= b for a, b in pairwise(of)):
                good.append(((len(crews), head, len(of), -at), (head, at, crews)))
    return max(good)[1] if good else None


@lru_cache(maxsize=100_000)
def _time(text: str) -> Any:
    """Minutes, or a moment (UTC); None for what is no time."""
    if (pet := pet_typed(text)) is not None:
        return round(pet * 60) / 60  # spreadsheets hold a time as a share of a day
    if re.fullmatch(r"-?\d{1,5}(\.\d+)?", text):
        return float(text)
    try:
        return as_utc(text) if text[:2].isdigit() else None
    except ScenarioError:
        return None


def _timeline(grid: _Grid, head: int, at: int, crews: Mapping[int, str], zero: datetime | None,
              unread: list[tuple[Any, ...]], prefix: str) -> Timeline:
    (name, rows, spans), header = grid, grid[1][head]
    times = {row: each for row in range(head + 1, len(rows)) if (each := _time(rows[row][at])) is not None}
    if any(isinstance(each, datetime) for each in times.values()) or _CLOCK.search(header[at]):
        if zero is None:
            raise ScenarioError.single("are UTC: say when PET 0 is (pet_zero=)", table=name, row=head + 1,
                                       column=header[at])
        midnight = pet_min(zero.replace(hour=0, minute=0, second=0, microsecond=0), zero)
        times = {row: pet_min(each, zero) if isinstance(each, datetime) else
                 (midnight + each + 720) % 1440 - 720 for row, each in times.items()}
    last, understood = max(times), list[tuple[str, float, float, str, str]]()
    for column, crew in crews.items():
        begins = [row for row in times if rows[row][column]]
        for row in (row for row in range(head + 1, len(rows)) if rows[row][column]):
            title, after = one_line(rows[row][column]), spans.get((row, column), row)
            ends = [*times] if after > row else begins
            nth = bisect_right(ends, after)
            until = ends[nth] if nth < len(ends) else last
            why = ("its row has no time; what is above it goes on" if row not in times else
                   "in the last row with a time: when it ends is not known" if row == last else
                   "takes no time" if times[until] <= times[row] else "")
            if why:
                unread.append((name, row + 1, header[column], title, why))
                continue
            is_open = after == row and nth == len(ends)
            note = f"taken to last until the last row, {pet_label(times[last])}" if is_open else ""
            understood.append((crew, times[row], times[until], title, note))
    of_one, of_other = ({each[1:4] for each in understood if each[0] == who} for who in fmt.SUITED)
    told: dict[tuple[Any, ...], str] = {}
    for who, *what, note in understood:
        block = (BOTH if (*what,) in of_one & of_other else who, *what)
        told[block] = told.get(block) or note
    return Timeline(
        TextTable(sorted(((*block, note) for block, note in told.items()), key=lambda row: (row[1], row)),
                  columns=["who", "start_min", "finish_min", "title", "note"]),
        TextTable(unread, columns=["sheet", "row", "column", "text", "why"]), prefix)


def _grids(name: str, data: bytes) -> Iterator[_Grid]:
    """Every sheet of a file, of sizes that a table may have."""
    if len(data) > fmt.MAX_FILE_BYTES:
        raise CellFault("it is too large")
    if not zipfile.is_zipfile(io.BytesIO(data)):
        stop_if_absurd(text := decode(data))
        rows = [[cell_text(cell).strip() for cell in row]
                for row in csv.reader(io.StringIO(text, newline=""), strict=True)]
        width = max(map(len, rows), default=0)
        yield name, [row + [""] * (width - len(row)) for row in rows], {}
        return
    archive = zipfile.ZipFile(io.BytesIO(data))
    if sum(each.file_size for each in archive.infolist()) > _MOST_UNPACKED:
        raise CellFault("it is too large unpacked")
    from openpyxl import load_workbook  # here, as it takes long to load

    for part in archive.namelist():  # before openpyxl makes every cell of a merged one
        with suppress(ElementTree.ParseError):
            for _, each in ElementTree.iterparse(archive.open(part)):
                corner = re.search(r":\$?([A-Z]+)\$?(\d+)", each.get("ref", ""))
                if each.tag.endswith("mergeCell") and corner and (
                        len(corner[1]) > 2 or int(corner[2]) > fmt.MAX_ROWS):
                    raise CellFault(f"a merged cell is too large: {each.get('ref')}")
    for page in load_workbook(io.BytesIO(data), data_only=True, keep_links=False).worksheets:
        if page.max_row > fmt.MAX_ROWS or page.max_column > fmt.MAX_COLUMNS:  # before all cells are made
            raise CellFault(f"sheet {page.title} has more rows or columns than a table may have")
        rows = [["" if cell is None else str(cell).strip() for cell in row]  # times of day as h:mm:ss
                for row in page.iter_rows(values_only=True)]
        spans = {}
        for area in page.merged_cells.ranges:
            for at in range(area.min_col - 1, area.max_col):
                spans[area.min_row - 1, at] = area.max_row - 1
                rows[area.min_row - 1][at] = rows[area.min_row - 1][area.min_col - 1]
        yield page.title, rows, spans
