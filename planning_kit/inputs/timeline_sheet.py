"""A planner's old sheet of times: read as far as it is understood, made into blocks, kept as a baseline.

Assumed is a column of times and a column a person; what other columns hold is told as not read. A cell lasts
until the next one with words in its column, a merged one as far as it goes, the last one until the last row
with a time. Nothing is computed: of a formula counts the value that was saved with it.
"""

import csv
import io
import re
import zipfile
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property, lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from planning_kit.inputs import format as fmt
from planning_kit.inputs.cells import CellFault
from planning_kit.inputs.faults import ScenarioError, as_path
from planning_kit.inputs.folder_files import read_path
from planning_kit.inputs.raw import cell_text, decode, stop_if_absurd
from planning_kit.inputs.records import BOTH
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import TextTable, one_line
from planning_kit.inputs.times import pet_label, pet_min, pet_typed
from planning_kit.inputs.utc import When, as_utc

_CLOCK, _PET, _MINUTES = (re.compile(rf"\b({words})\b", re.IGNORECASE)
                          for words in ("utc|gmt|clock", "pet", "min|mins|minutes"))
_MOST_ABOVE, _MOST_MERGED = 50, 200_000  # rows above the header of a table; merged cells of a file
_Grid = tuple[str, list[list[str]], dict[tuple[int, int], int], dict[tuple[int, int], str]]
"""A sheet: its name, its cells as text; by row and column the last row of merged ones, and lost formulas."""


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

    ``people``: a word in the header of a person's column, to EV1, EV2 or both (``{"Ada": "EV1"}``; not
    given: EV1 and EV2); the first of a person counts. Times are PET (``h:mm``, or numbers under a header that
    says min) or, with ``pet_zero``, UTC: dates with times, or ``h:mm`` under one that says UTC, GMT or clock.
    ``prefix`` begins the ids of blocks. Raises `ScenarioError` for what cannot be read or has none of these.
    """
    path = as_path(file, "file")
    names = people or {"EV1": "EV1", "EV2": "EV2"}
    if not isinstance(names, Mapping) or not all(isinstance(name, str) and name.strip() and crew in (
            *fmt.SUITED, BOTH) for name, crew in names.items()):
        raise ScenarioError.single("must be a dict: a word of a header to EV1, EV2 or both", column="people",
                                   value=names)
    data = read_path(path, path.name)
    try:
        grids = list(_grids(path.name, data))
    except Exception as fault:  # a stranger's file: whatever its readers stumble over
        raise ScenarioError.single(f"cannot be read as a sheet: {one_line(fault)}", table=path.name) from None
    for grid in grids:
        if (found := _columns(grid[1], names)) is not None:
            zero = None if pet_zero is None else as_utc(pet_zero, "pet_zero")
            unread = [(name, 1, "", "", f"only {grid[0]} is read") for name, *_ in grids if name != grid[0]]
            return _timeline(grid, *found, zero, unread, prefix)
    lost = sum(len(grid[3]) for grid in grids)
    raise ScenarioError.single(
        f"has no row with a column for {' or '.join(names)} and a column of times that only go on (PET as "
        "h:mm, minutes where the header says min, or UTC); name the people by their headers (people=)"
        + f"; {lost} formulas have no value that was saved" * bool(lost), table=path.name)


def _columns(rows: list[list[str]], names: Mapping[str, str]) -> tuple[int, int, dict[int, str], Any] | None:
    """The row of the header, the column of times, whose others are, the times: of most people, nearest."""
    good = []
    for head, header in enumerate(rows[:_MOST_ABOVE]):
        found = {at: {crew for name, crew in names.items()
                      if re.search(rf"(?<!\w){re.escape(name.strip())}(?!\w)", text, re.IGNORECASE)}
                 for at, text in enumerate(header)}
        whose = {at: crew.pop() if len(crew) == 1 else BOTH for at, crew in found.items() if crew}
        crews = {at: crew for at, crew in whose.items() if crew not in [whose[by] for by in whose if by < at]}
        for at in found.keys() - whose.keys() if crews else ():
            times = {row: each for row, cells in enumerate(rows)
                     if (each := _time(cells[at], header[at])) is not None}
            of = [*times.values()]
            falls = sum(a > b for a, b in pairwise(of))  # a clock falls once, at midnight
            if len({*map(type, of)}) == 1 and head < min(times) and of[0] != of[-1] and (
                    falls == 0 or (falls == 1 and of[-1] < of[0] and _CLOCK.search(header[at])
                                   and isinstance(of[0], float))):
                rank = len(crews), head, bool(_PET.search(header[at])), len(of), -at
                good.append((rank, (head, at, crews, times)))
    return max(good)[1] if good else None


@lru_cache(maxsize=100_000)
def _time(text: str, header: str) -> Any:
    """Minutes, or a moment (UTC); None for what is no time, such as a number that nothing says is minutes."""
    if (pet := pet_typed(text)) is not None:
        return round(pet * 60) / 60  # spreadsheets hold a time as a share of a day
    if re.fullmatch(r"-?\d{1,5}(\.\d+)?", text):
        return float(text) if _MINUTES.search(header) else None
    try:
        return as_utc(text) if text[:2].isdigit() else None
    except ScenarioError:
        return None


def _timeline(grid: _Grid, head: int, at: int, crews: Mapping[int, str], times: dict[int, Any],
              zero: datetime | None, unread: list[tuple[Any, ...]], prefix: str) -> Timeline:
    (name, rows, spans, lost), header = grid, grid[1][head]
    unread += [(name, row + 1, header[nth], text, "a formula without a value that was saved, or an error; "
                "what is above goes on") for (row, nth), text in lost.items() if nth in (at, *crews)]
    unread += [(name, head + 1, text or f"(column {nth + 1})", "", "this column is not read")
               for nth, text in enumerate(header) if nth != at and nth not in crews
               and any(cells[nth] for cells in rows[head + 1:])]
    if any(isinstance(each, datetime) for each in times.values()) or _CLOCK.search(header[at]):
        if zero is None:
            raise ScenarioError.single("are UTC: say pet_zero=", table=name, row=head + 1, column=header[at])
        midnight = pet_min(zero.replace(hour=0, minute=0, second=0, microsecond=0), zero)
        first = next(iter(times.values()))
        times = {row: pet_min(each, zero) if isinstance(each, datetime) else
                 (midnight + first + 720) % 1440 - 720 + (each - first) % 1440 for row, each in times.items()}
    elif not (_PET.search(header[at]) or _MINUTES.search(header[at])):
        unread.append((name, head + 1, header[at], "", "says neither PET nor UTC, GMT, clock: taken as PET"))
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
    if not name.lower().endswith(fmt.WORKBOOK) and not zipfile.is_zipfile(io.BytesIO(data)):
        stop_if_absurd(text := decode(data))
        rows = [[cell_text(cell).strip() for cell in row]
                for row in csv.reader(io.StringIO(text, newline=""), strict=True)]
        width = max(map(len, rows), default=0)
        yield name, [row + [""] * (width - len(row)) for row in rows], {}, {}
        return
    from openpyxl import load_workbook, utils  # here, as it takes long to load

    from planning_kit.inputs.workbook import safe_parts, time_text

    safe, merged = safe_parts(data), 0
    with zipfile.ZipFile(safe) as archive:  # before openpyxl makes every cell of a merged one
        for part in archive.namelist():
            for _, each in ElementTree.iterparse(archive.open(part)):
                if each.tag.endswith("mergeCell"):
                    left, top, right, bottom = utils.range_boundaries(each.get("ref", ""))
                    merged += (right - left + 1) * (bottom - top + 1)
    if merged > _MOST_MERGED:
        raise CellFault("its merged cells are too large")
    values, formulas = (load_workbook(safe, data_only=each, keep_links=False) for each in (True, False))
    for page in values.worksheets:
        if page.max_row > fmt.MAX_ROWS or page.max_column > fmt.MAX_COLUMNS:  # before all cells are made
            raise CellFault(f"sheet {page.title} has more rows or columns than a table may have")
        rows, lost, spans = list[list[str]](), dict[tuple[int, int], str](), dict[tuple[int, int], int]()
        for row, typed in zip(page.iter_rows(), formulas[page.title].iter_rows(), strict=True):
            rows.append([])
            for cell, as_typed in zip(row, typed, strict=True):
                if cell.data_type == "e" or (as_typed.data_type == "f" and cell.value is None):
                    lost[len(rows) - 1, len(rows[-1])], cell.value = str(as_typed.value), None
                rows[-1] += ["" if cell.value is None else time_text(cell.value, cell.number_format).strip()]
        for area in page.merged_cells.ranges:
            for at in range(area.min_col - 1, area.max_col):
                spans[area.min_row - 1, at] = area.max_row - 1
                rows[area.min_row - 1][at] = rows[area.min_row - 1][area.min_col - 1]
        yield page.title, rows, spans, lost
