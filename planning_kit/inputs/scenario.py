"""A scenario: what a folder says, checked, and never changed in place."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import TypeVar

import pandas as pd

from planning_kit.inputs import format as fmt
from planning_kit.inputs import row_edits
from planning_kit.inputs.cells import did_you_mean
from planning_kit.inputs.faults import Faults, ScenarioError, as_path, must_be
from planning_kit.inputs.fields import Table
from planning_kit.inputs.folder_files import digest_of, is_workbook, read_path, read_settled, stop_if_workbook
from planning_kit.inputs.format_1 import IN_MEMORY
from planning_kit.inputs.input_changes import compare_inputs
from planning_kit.inputs.oem import OrbitData
from planning_kit.inputs.raw import RawTable
from planning_kit.inputs.records import Records
from planning_kit.inputs.save import save_files, save_together
from planning_kit.inputs.setting_records import FrozenMapping, Settings
from planning_kit.inputs.settings import edited_toml
from planning_kit.inputs.shown_text import facts_html, one_line
from planning_kit.inputs.sign_offs import NOTE, SIGN_OFF, Reviewed, accepted_table, add_review, reviews_table
from planning_kit.inputs.source import Checked, Source, check, content_digest, read_folder
from planning_kit.inputs.typed_settings import keys_in
from planning_kit.inputs.typed_tables import frame_of, raw_from_frame
from planning_kit.inputs.utc import When, keys_moved, pet_zero_asked, stays_put

T = TypeVar("T")


def load_scenario(folder: str | Path) -> Scenario:
    """Read a scenario folder (format 2), or one spreadsheet file (``.xlsx``) that says the same.

    Raises `ScenarioError` that lists every fault of every file, of a spreadsheet with its cell.
    """
    return load_any_format(as_path(folder, "folder"), any_format=False)


def load_any_format(folder: Path, any_format: bool = True) -> Scenario:
    """As `load_scenario`; a folder of format 1 is upgraded in memory, and the scenario says so."""
    path = folder.absolute()
    if is_workbook(path):
        from planning_kit.inputs.workbook import checked_workbook  # takes time that no folder needs

        data = read_path(path, path.name)
        return Scenario(path, checked_workbook(data, path.name), FrozenMapping({path.name: digest_of(data)}))
    checked, on_disk, is_upgraded = read_folder(path, any_format)
    return Scenario(path, checked, on_disk, is_upgraded=is_upgraded)


def _frame(name: str) -> property:
    """A table of a scenario as one of its values."""
    about = "; empty where the folder has none" if fmt.TABLE_BY_NAME[name].may_be_absent else ""
    return property(lambda scenario: scenario.table(name), doc=f"``{name}.csv``{about}.")


@dataclass(frozen=True, eq=False, repr=False)
class Scenario:
    """An immutable, valid scenario: made by `load_scenario`; a change gives another one.

    ``.crew``, ``.actors``, ``.places``, ``.routes``, ``.hardware``, ``.tasks``, ``.steps``, ``.gaps``,
    ``.inhibits``, ``.windows``, ``.hazards``, ``.actions``, ``.states``, ``.responses``, ``.bodies`` and
    ``.shots`` are DataFrames, a fresh copy each time: numbers as float64, all else as the text of the file.
    ``.records`` holds the same facts parsed. Two scenarios are equal if they say the same.
    ``happened_until`` (UTC): up to then it says what was done, not what was planned (a re-timing wrote it);
    None for a plan. ``is_upgraded``: it was read as format 1 and is format 2 in memory only. ``told``: what
    `add_row`, `drop_row`, `edit_row`, `move_step`, `with_crew` and `shift_dates` have done since
    it was read or saved, in words.
    """

    folder: Path
    checked: Checked
    on_disk: Mapping[str, str]
    happened_until: datetime | None = None
    is_upgraded: bool = False
    told: tuple[str, ...] = ()

    @property
    def records(self) -> Records:
        """Every table as typed records."""
        return self.checked.records

    @property
    def settings(self) -> Settings:
        """``scenario.toml``, parsed."""
        return self.checked.records.settings

    @property
    def elements(self) -> OrbitData:
        """What the scenario's orbit file says: mean elements, or an ephemeris."""
        return self.checked.elements

    @cached_property
    def digest(self) -> str:
        """SHA-256 over the content: independent of spelling, comments and column order."""
        return content_digest(self.checked)

    def as_happened(self, until: datetime) -> Scenario:
        """The same as a record of what was done until then (UTC), which no save writes over the plan."""
        return replace(self, happened_until=until, on_disk=FrozenMapping({}))

    def stop_if_happened(self, what: str) -> None:
        """Raise `ScenarioError` where a question makes sense for a plan only."""
        if self.happened_until is not None:
            raise ScenarioError.single(
                "asks for a plan, and this scenario says what was done until "
                f"{self.happened_until:%Y-%m-%dT%H:%MZ}: give the scenario that was planned, or ask the "
                "re-timed plan (options, decide, what_if)", table=what, column="scenario",
                value=self.settings.title)

    def table(self, name: str) -> pd.DataFrame:
        """One table as a DataFrame, by name. Raises `ScenarioError` where there is no such table."""
        return frame_of(_table_named(name), self.checked.source.tables.get(name))

    crew, places, routes, hardware = map(_frame, ("crew", "places", "routes", "hardware"))
    tasks, steps, gaps, inhibits = map(_frame, ("tasks", "steps", "gaps", "inhibits"))
    actors, windows, hazards = map(_frame, ("actors", "windows", "hazards"))
    actions, states, responses = map(_frame, ("actions", "states", "responses"))
    bodies, shots = map(_frame, ("bodies", "shots"))

    def with_table(self, name: str, frame: pd.DataFrame) -> Scenario:
        """A new scenario with one table replaced by an edited DataFrame: see `with_tables`."""
        return self.with_tables({_table_named(name).name: frame})

    def with_settings(self, changes: Mapping[str, object]) -> Scenario:
        """A new scenario with keys of ``scenario.toml`` changed: see `with_tables`."""
        return self.with_tables(settings=changes)

    def with_tables(self, frames: Mapping[str, pd.DataFrame] | None = None,
                    settings: Mapping[str, object] | None = None) -> Scenario:
        """A new scenario with tables replaced by edited DataFrames and keys changed; all checked once.

        In ``frames``, by table, numbers may be numbers or text, "not given" may be "", None or NaN, lists may
        be lists or text. Keys of ``settings`` are dotted (``{"limits.hard_min": 420}``); None deletes one;
        comments in the file stay. Another ``orbit`` is read from this scenario's folder. Raises one
        `ScenarioError` with all faults, the same as of a file; rows are numbered as the file would have them.
        """
        faults, source = Faults(), self.checked.source
        tables = dict(source.tables)
        for name, frame in _mapping(frames, "frames", "by table, such as {'steps': edited}").items():
            raw = self._edited(name, frame, faults)
            if raw is not None:
                tables[name] = raw
        keys = _mapping(settings, "settings", "by dotted key, such as {'limits.hard_min': 420}")
        toml = edited_toml(source.toml, keys, faults) if keys else source.toml
        changed = replace(source, tables=FrozenMapping(tables), toml=toml)
        checked = check(changed, self.elements, faults, folder=self.folder)
        if checked.records.settings.orbit != source.orbit_name:
            return self._with_orbit(checked)
        return replace(self, checked=checked)

    def add_row(self, table: str, *rows: Mapping[str, object], after: str | None = None,
                **cells: object) -> Scenario:
        """The scenario with rows added to ``table``, just behind the row ``after`` or at the end.

        ``scenario.add_row("steps", after="X1", step="X2", task="EXC", crew="EV1", ...)``: one row by its
        cells, or several as mappings. ``after`` is a place in the row order; what a step waits for, its cell
        of that name, can stand in a mapping only. Raises `ScenarioError` for all that is wrong with them.
        """
        frame, new = self.table(table), [*rows, *([cells] if cells else [])]
        if not new or not all(isinstance(row, Mapping) and row for row in new):
            raise ScenarioError.single("give the cells of each row, by column", table=table, column="rows")
        at = len(frame) if after is None else row_edits.rows_named(table, frame, str(after))[-1] + 1
        return self._edited_by_name(self.with_table(table, row_edits.with_rows(frame, new, at)))

    def drop_row(self, table: str, key: str | Sequence[str]) -> Scenario:
        """The scenario without the row of ``table`` that ``key`` names, or several (see ``edit_row``).

        All rows that still name one of them are told in one `ScenarioError`; a what-if drops them, too.
        """
        frame = self.table(table)
        left = frame.drop(index=row_edits.rows_named(table, frame, key))
        return self._edited_by_name(self.with_table(table, left))

    def edit_row(self, table: str, key: str | Sequence[str], **cells: object) -> Scenario:
        """The scenario with cells changed in the row of ``table`` that ``key`` names, or in each of several.

        ``scenario.edit_row("steps", "B4", minutes_likely=25, after="B3 A2")``. A key is an id, or several
        with blanks between (a route ``"A B"``, a gap ``"A1 B1"``); the first of them alone is all rows that
        begin so. A list becomes text with spaces. Raises `ScenarioError` for all that is wrong with them.
        """
        frame = self.table(table)
        row_edits.rows_named(table, frame, key)
        keys = key if isinstance(key, list | tuple) else (key,)
        return self._edited_by_name(self.with_table(table, row_edits.with_cells(
            table, frame, {column: dict.fromkeys(keys, cell) for column, cell in cells.items()})))

    def move_step(self, step: str, *, after: str) -> Scenario:
        """The scenario with one row of ``steps.csv`` moved to just behind the row of ``after``.

        The row order is each crew member's order of work. Raises `ScenarioError` for a step that there is
        not, or for ``after`` the step itself.
        """
        return self._edited_by_name(self.with_table("steps", row_edits.moved_behind(self.steps, step, after)))

    def shift_dates(self, pet_zero: When) -> Scenario:
        """The scenario with another PET 0 (UTC; a date alone keeps the time of day); ``told`` says the rest.

        Periods of ``windows.csv`` given as PET go along, and so does the range of PET 0 times, by whole days,
        where it would not hold the new one. Told by name is what cannot: periods in UTC, with the steps and
        inhibits that then have none, and the orbit data. Raises `ScenarioError` for what is no time.
        """
        settings = self.settings
        at = pet_zero_asked(pet_zero, settings.pet_zero_utc)
        keys = keys_moved(settings.pet_zero_earliest, settings.pet_zero_latest, settings.pet_zero_utc, at)
        return self._edited_by_name(self.with_settings(keys), stays_put(self.checked, at))

    def with_crew(self, swap: bool = False, **persons: Mapping[str, object]) -> Scenario:
        """The scenario with other persons as EV1 and EV2; the work stays with the post.

        ``scenario.with_crew(EV1={"name": "Ada", "size": "L"})`` changes cells of ``crew.csv``; of somebody
        with another name the suit, size and training that are not given are emptied. ``swap`` first trades
        the two: their rows but for the tethers, ``[suit.EV1]`` and ``[suit.EV2]``. Raises `ScenarioError`.
        """
        crew, keys = row_edits.exchanged(self.crew, keys_in(self.checked.source.toml)) if swap else (
            self.crew, {})
        crew, told = row_edits.with_persons(crew, persons)
        return self._edited_by_name(self.with_tables({"crew": crew}, keys), told)

    def _edited_by_name(self, edited: Scenario, more: Iterable[str] = ()) -> Scenario:
        """``edited``, which tells what it says otherwise than this one."""
        words = compare_inputs(self.checked, edited.checked)["words"]
        return replace(edited, told=(*self.told, *map(one_line, (*words, *more))))

    def with_cuts(self, cuts: pd.DataFrame) -> Scenario:
        """The scenario with the ``last_start_min`` and ``cut_order`` of a table such as ``plan.cuts`` gives.

        A task whose last start is NaN there gets 0, which means that it is not begun. Tasks that the table
        does not name, and columns that it has not, stay as they are. Raises `ScenarioError` for tasks that
        there are not or that it names twice, and for what is no such table.
        """
        columns = row_edits.cells_of_cuts(cuts, [task.task for task in self.records.tasks])
        return self.with_table("tasks", row_edits.with_cells("tasks", self.tasks, columns))

    def _edited(self, name: str, frame: pd.DataFrame, faults: Faults) -> RawTable | None:
        """An edited table as text; None where it is still absent and still empty."""
        table, old = _table_named(name), self.checked.source.tables.get(name)
        if not isinstance(frame, pd.DataFrame):
            raise ScenarioError.single("must be a pandas DataFrame", table=name, value=type(frame).__name__)
        raw = raw_from_frame(table, frame, old, faults)
        return None if old is None and not raw.rows and set(raw.header) <= set(table.by_name) else raw

    def _with_orbit(self, checked: Checked) -> Scenario:
        faults = Faults()
        name = checked.records.settings.orbit
        orbit = read_settled(self.folder, lambda files: files.read(name, faults))
        faults.stop_if_any()
        assert orbit is not None
        source = replace(checked.source, orbit_name=name, orbit=orbit)
        others = {each: digest for each, digest in self.on_disk.items() if each != checked.source.orbit_name}
        on_disk = FrozenMapping({**others, name: digest_of(orbit)})
        return replace(self, checked=check(source, None, faults), on_disk=on_disk)

    def save(self, folder: str | Path | None = None) -> Scenario:
        """Write the scenario to ``folder`` (its own by default) and return it bound to that folder.

        Tables of the station that the folder of the campaign holds are not written, unless they were changed:
        then the outing has its own. Raises `SaveConflict` when the files are not the ones that were read (or,
        in another folder, when files of a scenario are there), `ScenarioError` when it cannot be written.
        Nothing changed then.
        """
        target = self.folder if folder is None else as_path(folder, "folder").absolute()
        is_own = folder is None or _same_folder(target, self.folder)
        source = _written(self, is_own)
        save_files(target, files := source.files(), self.on_disk if is_own else {})
        digests = {name: digest_of(data) for name, data in files.items()}
        digests |= {name: self.on_disk[name] for name in source.files_above() if name in self.on_disk}
        return Scenario(target, replace(self.checked, source=source), FrozenMapping(digests))

    def write_workbook(self, file: str | Path) -> Path:
        """Write the scenario into one spreadsheet file (``.xlsx``), for `load_scenario`; gives its path.

        Raises `SaveConflict` where a file is there that was not read, `ScenarioError` if it cannot write.
        """
        from planning_kit.inputs.workbook import write_workbook

        path = as_path(file, "file").absolute()
        write_workbook(path, self.checked, self.on_disk if path == self.folder else {})
        return path

    @property
    def reviews(self) -> pd.DataFrame:
        """All notes and sign-offs beside the scenario, oldest first; empty where there is no file.

        ``kind`` (note, sign-off), ``by``, ``at`` (UTC), ``about``, ``words``, ``state`` (``current``, or
        stale where the digest is not this scenario's any more), ``digest`` (of what was reviewed). Raises
        `ScenarioError` where the file cannot be read.
        """
        return reviews_table(self.folder, self.digest)

    def sign_off(self, by: str, words: str = "", about: str = "",
                 at: str | datetime | None = None) -> pd.DataFrame:
        """Sign off the scenario as it is on disk; gives all ``reviews``.

        ``about`` may name a step, task or check; ``at`` is UTC (now by default). Raises `ScenarioError` when
        the scenario has edits that are not saved, was changed on disk, or has no reviewer's name.
        """
        return add_review(reviewed_of(self), SIGN_OFF, by, words, about, at)

    def add_note(self, by: str, words: str, about: str = "",
                 at: str | datetime | None = None) -> pd.DataFrame:
        """Note something for the other reviewers; as ``sign_off``, and ``words`` may not be empty."""
        return add_review(reviewed_of(self), NOTE, by, words, about, at)

    @property
    def accepted(self) -> pd.DataFrame:
        """``accepted.csv`` beside the scenario as it is now; empty where there is no file.

        ``rule`` (``check/rule``), ``about``, ``crew``, ``step`` of a finding, ``value`` and ``limit`` at
        which it was accepted, ``by``, ``why``, ``date``. Add to it with ``plan.accept``. Raises
        `ScenarioError` where the file cannot be read.
        """
        return accepted_table(self.folder)

    def __eq__(self, other: object) -> bool:
        return self.digest == other.digest if isinstance(other, Scenario) else NotImplemented

    def __hash__(self) -> int:
        return hash(self.digest)

    def __repr__(self) -> str:
        facts = ", ".join(f"{name} {one_line(value)}" for name, value in _facts(self)[1:])
        return f"<Scenario {self.settings.title!r}: {facts}>"

    def _repr_html_(self) -> str:
        return facts_html("Scenario", _facts(self))


def reviewed_of(scenario: Scenario) -> Reviewed:
    """What a review or an acceptance is written beside. Raises `ScenarioError` where there is no folder."""
    stop_if_workbook(scenario.folder)
    return Reviewed(scenario.folder, scenario.digest, scenario.checked.source.files(), scenario.on_disk)


def as_scenario(given: object) -> Scenario:
    """``given``, or a `ScenarioError` where it is no scenario."""
    how = "must be a scenario, such as pk.load_scenario(folder) gives; of a plan give its plan.scenario"
    return must_be(given, Scenario, "scenario", how)


def _facts(scenario: Scenario) -> list[tuple[str, str]]:
    """What both reprs show: name and value."""
    records, settings, elements = scenario.records, scenario.settings, scenario.elements
    hard_min = settings.limits.fixed_hard_min
    hard = "hard by consumables" if hard_min is None else f"{hard_min:g} min hard"
    sizes = (f"{len(records.steps)} in {len(records.tasks)} tasks at {len(records.places)} places, "
             f"{len(records.hardware)} items")
    return [
        ("title", settings.title),
        ("station", settings.station),
        ("PET 0", settings.pet_zero_utc.strftime("%Y-%m-%dT%H:%M:%SZ")),
        ("steps", sizes),
        ("limits", f"{settings.limits.planned_min:g} min planned, {hard}"),
        ("elements", f"{elements.object_name} of {elements.epoch.strftime('%Y-%m-%dT%H:%M:%SZ')}"),
        ("digest", scenario.digest[:12]),
        *([("format", IN_MEMORY)] if scenario.is_upgraded else []),
    ]


def _written(scenario: Scenario, is_own: bool) -> Source:
    """What is saved. Elsewhere there may be no campaign, or another: the whole scenario is written."""
    source = scenario.checked.source
    shared = {name: raw for name, raw in source.shared.items() if is_own and source.is_shared(name)}
    return replace(source, shared=FrozenMapping(shared))


def save_all(above: Path, scenarios: Iterable[Scenario], rests_on: Mapping[str, str] | None = None) -> None:
    """As ``save``, within ``above``, all or none; ``rests_on``: as ``known`` of `save_together`."""
    sets = [(each.folder, _written(each, True).files(), each.on_disk) for each in scenarios]
    save_together(above, sets, rests_on or {})


def _table_named(name: object) -> Table:
    known = tuple(fmt.TABLE_BY_NAME)
    if isinstance(name, str) and name in known:
        return fmt.TABLE_BY_NAME[name]
    problem = f"is not a table of a scenario; the tables are {', '.join(known)}"
    raise ScenarioError.single(problem + did_you_mean(str(name), known), column="table", value=name)


def _mapping(given: Mapping[str, T] | None, what: str, how: str) -> Mapping[str, T]:
    if not isinstance(given, Mapping | None):
        raise ScenarioError.single(f"must be a mapping {how}", column=what, value=type(given).__name__)
    return given or {}


def _same_folder(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except (OSError, ValueError):
        return False


