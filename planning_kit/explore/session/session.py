"""The controller of the workbench: every edit a planner can make, and what came of it.

It knows no widget. A view asks it to do something, then reads ``draft``, ``verdict`` and ``plan``.
"""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Hashable, Mapping, Sequence
from datetime import datetime, timedelta
from pathlib import Path

import pandas as pd

from planning_kit.explore.comparing.compare import compare
from planning_kit.explore.session import drags, rows
from planning_kit.explore.session import sheet as sheets
from planning_kit.explore.session.conflicts import both_sides, differences
from planning_kit.explore.session.draft import Draft, Fault, draft_of, scenario_of
from planning_kit.explore.session.egress import EARLIEST, EGRESS, LATEST, egress_cells, typed_moment
from planning_kit.explore.session.history import History
from planning_kit.explore.session.journal import Journal, Unsaved
from planning_kit.explore.session.settings_sheet import KEY, SETTINGS, VALUE
from planning_kit.explore.session.sheet import Cell, Sheet
from planning_kit.explore.session.verdict import PlanOf, judged
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario, load_scenario
from planning_kit.plan.timed import TimedPlan

AS_LOADED = "as loaded"


class Session:
    """One planner editing one scenario.

    ``plan`` is the last good plan: it stays while the draft holds faults. ``plan_of`` makes a plan of a
    scenario; a plan with findings where the view shows findings. Raises `ScenarioError` when the scenario
    that it begins with cannot be timed.
    """

    def __init__(self, scenario: Scenario, plan_of: PlanOf = TimedPlan.of) -> None:
        """Begin with ``scenario`` as loaded: also the first named version, and the baseline."""
        self._plan_of = plan_of
        self.base = scenario
        self.plan = plan_of(scenario)
        self.history = History(draft_of(scenario))
        self.verdict = judged(self.draft, self.base, plan_of)
        self.versions: dict[str, Draft] = {AS_LOADED: self.draft}
        self.dropped: tuple[str, Draft] | None = None
        self.baseline_name: str | None = None
        self.baseline: TimedPlan | None = None
        self.journal = Journal(scenario.folder)
        self._saved = self.draft

    @property
    def draft(self) -> Draft:
        """What is typed now."""
        return self.history.draft

    @property
    def faults(self) -> tuple[Fault, ...]:
        """What is wrong with what is typed now."""
        return self.verdict.faults

    @property
    def scenario(self) -> Scenario:
        """The scenario of the last good plan."""
        return self.plan.scenario

    @property
    def has_unsaved_work(self) -> bool:
        """Whether something is typed that the folder does not have."""
        return self.draft is not self._saved and not self.draft.says_the_same_as(self._saved)

    # Edits of tables

    def type_cells(self, sheet: str, texts: Mapping[Cell, str], words: str = "") -> None:
        """Type into cells of a sheet: (line id, column) to text, kept as typed whatever it says."""
        first = next(iter(texts.items()), None)
        if first is not None:
            changed = sheets.with_cells(self.draft[sheet], texts)
            self._edit(self.draft.with_sheet(changed), words or _typing_words(self.draft[sheet], texts))

    def paste(self, sheet: str, lines: Sequence[int], columns: Sequence[str], text: str,
              fills: Sequence[Cell] = ()) -> int:
        """Paste a block of a spreadsheet from the first of ``lines`` and ``columns`` on.

        ``lines`` and ``columns`` are those that the view shows from there on, in its order; a single cell
        fills ``fills``, the chosen ones. Gives the number of pasted cells that found no column (see
        `rows.with_block`).
        """
        draft, lost = rows.with_block(self.draft, sheet, lines, columns, text, fills)
        self._edit(draft, "paste")
        return lost

    def add_line(self, sheet: str, after: int | None = None) -> int:
        """An empty line behind ``after``, or at the end; gives its id. It counts once something is typed."""
        draft, line = rows.with_blank_line(self.draft, sheet, after)
        self._edit(draft, f"add a row to {sheet}")
        return line

    def duplicate_lines(self, sheet: str, lines: Collection[int]) -> list[int]:
        """Copies behind the last of ``lines``, under ids of their own (``X1-2``); gives their line ids."""
        draft, copies = rows.with_copies(self.draft, sheet, lines)
        self._edit(draft, f"duplicate rows of {sheet}")
        return copies

    def delete_lines(self, sheet: str, lines: Collection[int]) -> None:
        """Delete lines of a sheet that can lose them."""
        if self.draft[sheet].can_grow:
            changed = sheets.without_lines(self.draft[sheet], lines)
            self._edit(self.draft.with_sheet(changed), f"delete rows of {sheet}")

    def move_lines(self, sheet: str, lines: Collection[int], before: int | None) -> None:
        """Move lines to just before another (None: the end): for steps, the order of work."""
        if self.draft[sheet].can_grow:
            changed = sheets.with_lines_moved(self.draft[sheet], lines, before)
            self._edit(self.draft.with_sheet(changed), f"move rows of {sheet}")

    def shift_lines(self, sheet: str, lines: Collection[int], by: int,
                    shown: Collection[int] | None = None) -> None:
        """Move lines one place up (``by`` -1) or down (+1); among those ``shown``, where only some are."""
        place = rows.place_of_shift(self.draft[sheet], lines, by, shown)
        if place is not None:
            self.move_lines(sheet, lines, place[0])

    # Edits from the chart and the slider

    def move_step(self, step: str, lane: str, before: str | None) -> None:
        """A bar dropped in ``lane`` just before another step of it (see `drags.with_step_moved`)."""
        self._edit(drags.with_step_moved(self.draft, step, lane, before), f"move {step}")

    def set_minutes(self, step: str, minutes: float) -> None:
        """The likely minutes of a step, from its dragged edge (see `drags.with_minutes`)."""
        self._edit(drags.with_minutes(self.draft, step, minutes), f"minutes of {step}")

    def set_setting(self, key: str, text: str, merges: Hashable = None) -> None:
        """Type the value of one key of ``scenario.toml``, dotted. Raises `ScenarioError` for no such key."""
        line = self.draft[SETTINGS].find(KEY, key)
        if line is None:
            raise ScenarioError.single("is not a key that can be typed here", column=key)
        changed = sheets.with_cells(self.draft[SETTINGS], {(line, VALUE): text})
        self._edit(self.draft.with_sheet(changed), f"set {key}", merges)

    def set_egress(self, text: str, merges: Hashable = None) -> None:
        """Egress, UTC; moves of one drag of the slider share ``merges`` and are one edit.

        On another day the scenario's range of egress times goes along (see `egress.egress_cells`).
        """
        changed = sheets.with_cells(self.draft[SETTINGS], egress_cells(self.draft, text))
        self._edit(self.draft.with_sheet(changed), "set egress", merges)

    def egress_typed(self) -> datetime:
        """Egress as it is typed; that of the last good plan where what is typed is no moment."""
        return typed_moment(self.draft, EGRESS) or self.plan.egress

    def egress_range(self) -> tuple[datetime, datetime]:
        """Between which egress times the planner chooses: those typed, else the whole UTC day of egress."""
        day = self.egress_typed().replace(hour=0, minute=0, second=0, microsecond=0)
        first, last = (typed_moment(self.draft, key) for key in (EARLIEST, LATEST))
        return first or day, last or day + timedelta(days=1, minutes=-1)

    # Undo, versions, baseline

    def undo(self) -> bool:
        """Take back the last edit; False when there is none."""
        return self._turned(self.history.undo())

    def redo(self) -> bool:
        """Do again what was undone last; False when there is nothing."""
        return self._turned(self.history.redo())

    def _turned(self, moved: bool) -> bool:
        if moved:
            self._judge()
        return moved

    def keep_version(self, name: str) -> None:
        """Keep what is typed now under a name. Raises `ScenarioError` for an empty or a taken name."""
        name = name.strip()
        if not name or name in self.versions:
            problem = ("there is a version of this name; choose another" if name else
                       "give the version a name")
            raise ScenarioError.single(problem, column="version", value=name)
        self.versions[name] = self.draft

    def switch_to(self, name: str) -> None:
        """Make a named version current: an edit like any other, so undo leads back."""
        self._edit(self._version(name), f"switch to {name}")

    def drop_version(self, name: str) -> None:
        """Delete a version; `bring_back` undoes that. Raises `ScenarioError` for the one as loaded."""
        if name == AS_LOADED:
            raise ScenarioError.single("what was loaded stays, so that there is a way back", column="version",
                                       value=name)
        self.dropped = name, self._version(name)
        if self.baseline_name == name:
            self.set_baseline(None)
        del self.versions[name]

    def bring_back(self) -> str:
        """Take back the last deletion of a version; gives its name, "" when there is none to take back."""
        if self.dropped is None or self.dropped[0] in self.versions:
            return ""
        name, draft = self.dropped
        self.versions[name] = draft
        self.dropped = None
        return name

    def set_baseline(self, name: str | None) -> None:
        """Show the plan against that of a version (None: against nothing).

        Raises `ScenarioError` where that version has no plan.
        """
        plan = None if name is None else self._plan_of_version(name)
        self.baseline_name, self.baseline = name, plan

    def compare_with(self, name: str) -> tuple[pd.DataFrame | None, pd.DataFrame]:
        """What moved from a version to the present plan, and what is typed otherwise (a: the version).

        None for what moved where the version has no plan.
        """
        try:
            moved = compare(self._plan_of_version(name), self.plan)
        except ScenarioError:
            moved = None
        return moved, differences(self._version(name), self.draft)

    def _plan_of_version(self, name: str) -> TimedPlan:
        draft = self._version(name)
        try:
            return self._plan_of(scenario_of(draft, self.base))
        except ScenarioError as error:
            first = next(iter(error.problems["problem"]))
            raise ScenarioError.single(f"this version has no plan, as it holds faults: {first}",
                                       column="version", value=name) from error

    def _version(self, name: str) -> Draft:
        if name not in self.versions:
            raise ScenarioError.single("there is no version of this name", column="version", value=name)
        return self.versions[name]

    # Files

    def save(self) -> None:
        """Save to the scenario's own folder.

        Raises `SaveConflict`, and changes nothing, when another changed the files (see `conflict`);
        `ScenarioError` when what is typed holds faults or cannot be written.
        """
        self.base = self._sound_scenario().save()
        self._saved = self.draft
        self.journal.remove()

    def export(self, folder: str | Path) -> Path:
        """Save as a new folder; the session stays with its own. Raises as `save` does, and where one is."""
        if Path(folder).exists():
            raise ScenarioError.single("is there already; give another name", column="export", value=folder)
        return self._sound_scenario().save(folder).folder

    def _sound_scenario(self) -> Scenario:
        if self.verdict.scenario is None:
            raise ScenarioError.single(f"mend the {len(self.faults)} marked faults first; "
                                       "what is typed is kept meanwhile", column="save")
        return self.verdict.scenario

    def conflict(self) -> pd.DataFrame:
        """Both sides, cell by cell: ``yours`` (typed here) and ``theirs`` (in the folder now)."""
        return both_sides(self.draft, self.base.folder)

    def take_theirs(self) -> str:
        """Load what is in the folder now; what was typed here is kept as a version, whose name is given.

        Raises `ScenarioError` when the folder holds faults; nothing has changed then.
        """
        theirs = load_scenario(self.base.folder)
        self._plan_of(theirs)
        name = self._free_name("mine")
        self.versions[name] = self.draft
        self.base = theirs
        self._saved = draft_of(theirs)
        self._edit(self._saved, "take what is in the folder")
        return name

    def _free_name(self, word: str) -> str:
        names = (word, *(f"{word} {number}" for number in range(2, len(self.versions) + 3)))
        return next(name for name in names if name not in self.versions)

    def autosave(self) -> None:
        """Write unsaved work to the journal. Raises `OSError` when that fails."""
        if self.has_unsaved_work or set(self.versions) != {AS_LOADED}:
            self.journal.write(self.draft, self.versions)
        else:
            self.journal.remove()

    def unsaved_work(self) -> list[Unsaved]:
        """Work that earlier sessions on this scenario left unsaved, newest first."""
        return [each for each in self.journal.left_by_others()
                if not each.draft.sheets.keys() ^ self.draft.sheets.keys()]

    def restore(self, unsaved: Unsaved) -> None:
        """Take up left work: an edit that can be undone. Its versions come along; its file goes last."""
        for name, draft in unsaved.versions.items():
            self.versions.setdefault(name, draft)
        self._edit(unsaved.draft, "restore unsaved work")
        self.autosave()
        self.discard(unsaved)

    def discard(self, unsaved: Unsaved) -> None:
        """Delete left work."""
        with contextlib.suppress(OSError):
            unsaved.path.unlink(missing_ok=True)

    def _edit(self, draft: Draft, words: str, merges: Hashable = None) -> None:
        if draft.sheets != self.draft.sheets:
            next_id = max(draft.next_id, self.draft.next_id)
            self.history.push(Draft(draft.sheets, next_id), words, merges)
            self._judge()

    def _judge(self) -> None:
        self.verdict = judged(self.draft, self.base, self._plan_of)
        if self.verdict.plan is not None:
            self.plan = self.verdict.plan


def _typing_words(sheet: Sheet, texts: Mapping[Cell, str]) -> str:
    columns = list(dict.fromkeys(column for _, column in texts))
    return f"{', '.join(columns[:3])} in {sheet.name}"
