"""When another saves to the same folder: what a draft was typed from, where the two differ, and the merge.

A draft carries the number of its origin, a state of the folder. So a draft typed from an older state, come
back by undo or as a version, is never saved over what another put into the folder since.

A merge takes theirs where I changed nothing, mine where they changed nothing, and a choice elsewhere. The
unit is a cell, a whole row where one side deleted it, and the order of a table's rows. Rows are told apart by
their line ids, which `same_lines` gives to what was read anew.
"""

import contextlib
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from difflib import SequenceMatcher
from pathlib import Path

import pandas as pd

from planning_kit.explore.session.draft import Draft, draft_of, sheet_of
from planning_kit.explore.session.sheet import KEY, SETTINGS, Line, Sheet, free_name, settings_sheet
from planning_kit.inputs import format as fmt
from planning_kit.inputs.faults import Faults, SaveConflict
from planning_kit.inputs.folder_files import read_settled
from planning_kit.inputs.raw import read_files, read_tables
from planning_kit.inputs.scenario import Scenario, load_scenario
from planning_kit.inputs.setting_records import FrozenMapping
from planning_kit.inputs.shown_text import TextTable


@dataclass(frozen=True)
class Origin:
    """A state of the folder: the scenario ``base`` read or written there, and the same as a draft.

    ``is_behind`` says that the folder has moved on from ``draft`` to ``base`` already.
    """

    base: Scenario
    draft: Draft
    is_behind: bool = False


class Origins:
    """The origins of one session, by number; the last is the folder as it is known now."""

    def __init__(self, scenario: Scenario) -> None:
        """Begin with ``scenario`` as it was read."""
        self._known = [Origin(scenario, draft_of(scenario))]
        self._newest = 0

    def of(self, draft: Draft) -> Origin:
        """What ``draft`` was typed from."""
        return self._known[draft.origin]

    @property
    def newest(self) -> Origin:
        """The folder as it was seen last."""
        return self._known[self._newest]

    def read(self, mine: Draft) -> Origin:
        """The folder as it is now, its rows under the ids that ``mine`` has for them; not yet an origin.

        Raises `ScenarioError` when the folder holds faults.
        """
        theirs = load_scenario(self.of(mine).base.folder)
        return Origin(theirs, same_lines(draft_of(theirs), self.of(mine).draft, mine))

    def add(self, origin: Origin) -> Draft:
        """Make it an origin; gives its draft with the number that drafts typed from it carry."""
        draft = replace(origin.draft, origin=len(self._known))
        self._known.append(replace(origin, draft=draft))
        if not origin.is_behind:
            self._newest = draft.origin
        return draft

    def number_of(self, base: Draft) -> int:
        """The number for work that another session typed from ``base``: of the folder as it is, or behind it.
        """
        if base.says_the_same_as(self.newest.draft):
            return self.newest.draft.origin
        for each in self._known:
            if each.is_behind and each.base is self.newest.base and each.draft.sheets == base.sheets:
                return each.draft.origin
        return self.add(Origin(self.newest.base, base, is_behind=True)).origin

    def save(self, draft: Draft, scenario: Scenario) -> None:
        """Save ``scenario``, which ``draft`` says, to its folder.

        Raises `SaveConflict` when another has changed the folder since the origin of ``draft``.
        """
        # The files are as `base` has them, so comparing them would not show what came in between.
        if self.of(draft).is_behind:
            raise SaveConflict.single("the folder was changed after this work was left; nothing was saved")
        # In its place: what undo brings back of this origin may be saved over what this session saved.
        self._known[draft.origin] = Origin(scenario.save(), draft)
        self._newest = draft.origin


SIDES_COLUMNS = ["table", "row", "column", "yours", "theirs"]
_NO_ROW = "(no such row)"
KEYS = {table.name: table.key for table in fmt.TABLES} | {SETTINGS: (KEY,)}
"""By sheet: the columns whose cells tell its rows apart."""


def both_sides(draft: Draft, folder: Path) -> pd.DataFrame:
    """Where the draft and the tables in ``folder`` differ: ``table``, ``row`` (a key), ``column``, the texts.

    The folder may hold faults; a file that cannot be read is left out. Raises `ScenarioError` when the folder
    is gone.
    """
    files = read_settled(folder, lambda files: read_files(files, Faults()))
    on_disk = read_tables(files, Faults())
    theirs = [sheet_of(table, on_disk.get(table.name), 0) for table in fmt.TABLES]
    with contextlib.suppress(ValueError):  # no TOML, or no UTF-8
        theirs.append(settings_sheet(files.get(fmt.SCENARIO_FILE) or b"", 0))
    rows = [row for sheet in theirs for row in _differences(draft[sheet.name], sheet)]
    return TextTable(rows, columns=SIDES_COLUMNS)


def differences(a: Draft, b: Draft) -> pd.DataFrame:
    """Where two drafts differ in what is typed: ``table``, ``row`` (its key), ``column``, ``a``, ``b``."""
    rows = [row for name, sheet in a.sheets.items() for row in _differences(sheet, b[name])]
    return TextTable(rows, columns=SIDES_COLUMNS).rename(columns={"yours": "a", "theirs": "b"})


def _differences(mine: Sheet, theirs: Sheet) -> Iterator[dict[str, str]]:
    ours, others = ({key: dict(zip(sheet.columns, line.cells, strict=True))
                     for key, line in keyed(sheet).items()} for sheet in (mine, theirs))
    for name in dict.fromkeys([*ours, *others]):
        where = {"table": mine.name, "row": name}
        if name not in ours or name not in others:
            missing = "yours" if name not in ours else "theirs"
            yield where | {"column": "", "yours": "", "theirs": ""} | {missing: _NO_ROW}
            continue
        for column in dict.fromkeys([*mine.columns, *theirs.columns]):
            yours, other = ours[name].get(column, ""), others[name].get(column, "")
            if yours != other:
                yield where | {"column": column, "yours": yours, "theirs": other}
    # Only rows of both sides can stand in another order; a new row moves no other.
    kept = [name for name in ours if name in others]
    if kept != [name for name in others if name in ours]:
        yield {"table": mine.name, "row": "", "column": "", "yours": "another order of rows", "theirs": ""}


def keyed(sheet: Sheet) -> dict[str, Line]:
    """Each line that is not empty under its key; a key that stands twice gets a number."""
    found: dict[str, Line] = {}
    places = [sheet.columns.index(part) for part in KEYS[sheet.name] if part in sheet.columns]
    for line in sheet.lines:
        if not line.is_empty:
            found[free_name(" to ".join(line.cells[at] for at in places), found, "{} ({})")] = line
    return found


Where = tuple[str, int, str]
"""Where two sides clash: a sheet, a line (`ORDER` for the order of rows), a column ("" for the whole row)."""
Row = Mapping[str, str]

YOURS, THEIRS = "yours", "theirs"
ORDER = 0  # no line has this id
_DELETED = "(row deleted)"
_MOST_NAMES = 6


@dataclass(frozen=True)
class Clash:
    """What both sides changed otherwise: in words, what stood there and what each side makes of it."""

    where: Where
    table: str
    row: str
    column: str
    was: str
    yours: str
    theirs: str


@dataclass
class Merge:
    """``draft`` holds mine where a clash is not decided. ``taken`` is what only they had changed."""

    draft: Draft
    clashes: list[Clash] = field(default_factory=list)
    taken: list[Clash] = field(default_factory=list)
    choices: Mapping[Where, str] = field(default_factory=dict)

    @property
    def open_clashes(self) -> list[Clash]:
        """Those without a choice."""
        return [clash for clash in self.clashes if clash.where not in self.choices]

    def takes_theirs(self, clash: Clash) -> bool:
        """Note a clash; whether it is decided for them."""
        self.clashes.append(clash)
        return self.choices.get(clash.where) == THEIRS


def same_lines(theirs: Draft, base: Draft, mine: Draft) -> Draft:
    """``theirs`` with the line ids that ``base`` has for rows of the same key, ``mine`` for its new ones."""
    next_id = max(theirs.next_id, base.next_id, mine.next_id)  # behind all: no id ever means two rows
    sheets = {}
    for name, sheet in theirs.sheets.items():
        before = {line.id for line in base[name].lines}
        # The base wins: by its ids a merge tells what was changed from what is new.
        known = {key: line.id for key, line in keyed(mine[name]).items() if line.id not in before} | {
            key: line.id for key, line in keyed(base[name]).items()}
        numbers = {line.id: known[key] for key, line in keyed(sheet).items() if key in known}
        lines = (replace(line, id=numbers.get(line.id, next_id + at)) for at, line in enumerate(sheet.lines))
        sheets[name] = replace(sheet, lines=tuple(lines))
        next_id += len(sheet.lines)
    return replace(theirs, sheets=FrozenMapping(sheets), next_id=next_id)


def merged(base: Draft, mine: Draft, theirs: Draft, choices: Mapping[Where, str]) -> Merge:
    """Both drafts in one, with every clash; ``choices`` (`YOURS` or `THEIRS`) decide some of them.

    ``theirs`` has the line ids of ``base`` (see `same_lines`).
    """
    merge = Merge(replace(mine, next_id=max(mine.next_id, theirs.next_id)), choices=choices)
    for name in mine.sheets:
        merge.draft = merge.draft.with_sheet(_Sides(merge, base[name], mine[name], theirs[name]).sheet())
    return merge


class _Sides:
    """The three states of one sheet."""

    def __init__(self, merge: Merge, base: Sheet, mine: Sheet, theirs: Sheet) -> None:
        self._merge, self._mine = merge, mine
        self._columns = tuple(dict.fromkeys([*mine.columns, *theirs.columns]))
        blank = dict.fromkeys(self._columns, "")
        self._was, self._my, self._their = (
            {line.id: blank | dict(zip(sheet.columns, line.cells, strict=True)) for line in sheet.lines}
            for sheet in (base, mine, theirs))

    def sheet(self) -> Sheet:
        """The merged sheet; the planner's own where nothing came in."""
        kept = {line: row for line in dict.fromkeys([*self._was, *self._my, *self._their])
                if (row := self._row(line)) is not None}
        lines = tuple(Line(line, tuple(kept[line][column] for column in self._columns))
                      for line in self._order(kept))
        if lines == self._mine.lines and self._columns == self._mine.columns:
            return self._mine
        return replace(self._mine, columns=self._columns, lines=lines)

    def _row(self, line: int) -> Row | None:
        was, my, their = (rows.get(line) for rows in (self._was, self._my, self._their))
        if my == their or their == was:
            return my
        if my == was:
            self._take(line, was, their)
            return their
        if my is not None and their is not None:
            return {column: self._cell(line, column, was or {}, my, their) for column in self._columns}
        clash = self._clash(line, "", "", _row_words(was, my), _row_words(was, their))
        return their if self._merge.takes_theirs(clash) else my

    def _cell(self, line: int, column: str, was: Row, my: Row, their: Row) -> str:
        before, yours, theirs = (row.get(column, "") for row in (was, my, their))
        if yours == theirs or theirs == before:
            return yours
        clash = self._clash(line, column, before, yours, theirs)
        if yours == before:
            self._merge.taken.append(clash)
            return theirs
        return theirs if self._merge.takes_theirs(clash) else yours

    def _take(self, line: int, was: Row | None, their: Row | None) -> None:
        if was is not None and their is not None:
            self._merge.taken += [self._clash(line, column, was[column], was[column], their[column])
                                  for column in self._columns if was[column] != their[column]]
        else:
            words = _DELETED if their is None else "(new row)"
            self._merge.taken.append(self._clash(line, "", "", "", words))

    def _clash(self, line: int, column: str, was: str, yours: str, theirs: str) -> Clash:
        name = self._mine.name
        return Clash((name, line, column), name, self._name(line), column, was, yours, theirs)

    def _name(self, line: int) -> str:
        row = self._my.get(line) or self._their.get(line) or self._was.get(line) or {}
        return " to ".join(row.get(part, "") for part in KEYS[self._mine.name])

    def _order(self, kept: Collection[int]) -> list[int]:
        everywhere = [line for line in self._was if line in self._my and line in self._their]
        my, their = ([line for line in side if line in everywhere] for side in (self._my, self._their))
        yours, theirs = (self._moves(everywhere, order) for order in (my, their))
        name = self._mine.name
        clash = Clash((name, ORDER, ""), name, "", "(order of rows)", "", yours, theirs)
        # Where only they moved rows their order leads; where both did, mine does until the clash is decided.
        leads = bool(theirs) and not yours
        if leads:
            self._merge.taken.append(clash)
        elif theirs and my != their:
            leads = self._merge.takes_theirs(clash)
        first, second = (self._their, self._my) if leads else (self._my, self._their)
        return _with_the_rest(*([line for line in side if line in kept] for side in (first, second)))

    def _moves(self, before: Sequence[int], now: Sequence[int]) -> str:
        """The fewest rows whose move leads from one order to the other, in words; "" for none."""
        blocks = SequenceMatcher(None, before, now, autojunk=False).get_matching_blocks()
        stay = {line for block in blocks for line in now[block.b: block.b + block.size]}
        names = [self._name(line) for line in now if line not in stay]
        more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
        return f"moved {', '.join(names[:_MOST_NAMES])}{more}" if names else ""


def _row_words(was: Row | None, now: Row | None) -> str:
    if now is None:
        return _DELETED
    before = was or {}
    return "; ".join(f"{column}: {text}" for column, text in now.items() if text != before.get(column, ""))


def _with_the_rest(order: Sequence[int], other: Sequence[int]) -> list[int]:
    """``order``, and behind its predecessor in ``other`` each line that only ``other`` has."""
    placed = list(order)
    for at, line in enumerate(other):
        if line not in placed:
            before = next((each for each in reversed(other[:at]) if each in placed), None)
            placed.insert(0 if before is None else placed.index(before) + 1, line)
    return placed
