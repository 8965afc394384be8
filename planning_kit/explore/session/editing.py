"""One draft under a planner's hands: every edit of tables, chart and slider, with undo, redo and versions.

It knows no widget. A view asks it to do something, then reads ``draft``, ``verdict`` and ``plan``. An edit of
PET 0 is one of settings, which may take the range of PET 0 times along to another day.
"""

import re
from collections.abc import Collection, Hashable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

from planning_kit.changes.amounts import HIGH, LIKELY, LOW, Set, room_for
from planning_kit.changes.change import Change
from planning_kit.explore.session.draft import (
    Draft,
    Fault,
    History,
    faults_in,
    scenario_of,
    where_typed,
    with_change,
)
from planning_kit.explore.session.merge import Origins
from planning_kit.explore.session.sheet import KEY, SETTINGS, VALUE, Cell, Sheet, free_name
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.utc import keys_moved
from planning_kit.plan.timed import TimedPlan

PET_ZERO, EARLIEST, LATEST = "pet_zero_utc", "pet_zero_earliest", "pet_zero_latest"


def setting_moment(draft: Draft, key: str) -> datetime | None:
    """The moment that a key of the settings holds (UTC); None where it is empty or no moment."""
    line = draft[SETTINGS].find(KEY, key)
    try:
        moment = datetime.fromisoformat(draft[SETTINGS].text(line, VALUE)) if line is not None else None
    except ValueError:
        return None
    return moment.replace(tzinfo=UTC) if moment is not None and moment.tzinfo is None else moment


AS_LOADED = "as loaded"
MINE, RESTORED = "mine", "restored"
SET_ASIDE = re.compile(rf"({MINE}|{RESTORED})( \d+)?")  # versions that nobody asked for; see `_set_aside`


@dataclass(frozen=True)
class Verdict:
    """``scenario`` is None where the tables hold a fault, ``plan`` also where no plan keeps every rule."""

    scenario: Scenario | None
    plan: TimedPlan | None
    faults: tuple[Fault, ...]


def judged(draft: Draft, base: Scenario, is_soon: bool = False) -> Verdict:
    """Validate and time a draft. Never raises for anything typed; ``is_soon`` as in `TimedPlan.of`."""
    scenario = None
    try:
        scenario = scenario_of(draft, base)
        return Verdict(scenario, TimedPlan.of(scenario, is_soon=is_soon), ())
    except ScenarioError as error:
        return Verdict(scenario, None, faults_in(draft, error.problems))


@dataclass(frozen=True)
class _Tried:
    """A change as it was tried: on which draft and folder, and what is typed with it, judged."""

    before: Draft
    base: Scenario
    change: Change
    after: Draft
    verdict: Verdict


class Editing:
    """The draft of a scenario, its history, its named versions, and what it comes to.

    ``plan`` is the last good plan: it stays while the draft holds faults. Raises `ScenarioError` when the
    scenario that it begins with cannot be timed.
    """

    def __init__(self, scenario: Scenario) -> None:
        """Begin with ``scenario`` as loaded."""
        self._origins = Origins(scenario)
        self.plan = TimedPlan.of(scenario)
        self.history = History(self._origins.newest.draft)
        self.verdict = judged(self.draft, self.base)
        self.versions: dict[str, Draft] = {AS_LOADED: self.draft}
        self._aside: set[str] = set()
        self._placed: dict[Fault, Fault] = {}  # the faults of the verdict, where they are told
        self._tried: _Tried | None = None

    @property
    def draft(self) -> Draft:
        """What is typed now."""
        return self.history.draft

    @property
    def base(self) -> Scenario:
        """The scenario in the folder from which the draft was typed."""
        return self._origins.of(self.draft).base

    @property
    def faults(self) -> tuple[Fault, ...]:
        """What is wrong with what is typed now, told where it was typed."""
        return tuple(self._placed.get(fault, fault) for fault in self.verdict.faults)

    @property
    def scenario(self) -> Scenario:
        """The scenario of the last good plan."""
        return self.plan.scenario

    @property
    def has_unsaved_work(self) -> bool:
        """Whether something is typed that the folder does not have."""
        saved = self._origins.newest.draft
        return self.draft.sheets is not saved.sheets and not self.draft.says_the_same_as(saved)

    # Edits of tables

    def type_cells(self, sheet: str, texts: Mapping[Cell, str]) -> None:
        """Type into cells of a sheet: (line id, column) to text, kept as typed whatever it says.

        A likely duration typed alone does what dragging the edge of its bar does: low and high make room.
        """
        (line, column), text = next(iter(texts.items()), ((0, ""), ""))
        if sheet == "steps" and column == LIKELY and len(texts) == 1:
            room = room_for(text, *(self.draft[sheet].text(line, each) for each in (LOW, HIGH)))
            texts = {**texts, **{(line, each): minutes for each, minutes in room.items()}}
        if texts:
            columns = list(dict.fromkeys(column for _, column in texts))
            changed = self.draft.with_sheet(self.draft[sheet].with_cells(texts))
            self.edit(changed, f"{', '.join(columns[:3])} in {sheet}")

    def paste(self, sheet: str, lines: Sequence[int], columns: Sequence[str], text: str,
              fills: Sequence[Cell] = ()) -> int:
        """Paste a block of a spreadsheet from the first of ``lines`` and ``columns`` on.

        ``lines`` and ``columns`` are those that the view shows from there on, in its order; a single cell
        fills ``fills``, the chosen ones. Gives the number of pasted cells that found no column (see
        `Draft.with_block`).
        """
        draft, lost = self.draft.with_block(sheet, lines, columns, text, fills)
        self.edit(draft, "paste")
        return lost

    def add_line(self, sheet: str, after: int | None = None, texts: Mapping[str, str] | None = None) -> int:
        """A new line behind ``after``, or at the end (see `Draft.with_new_line`); gives its line id."""
        draft, line = self.draft.with_new_line(sheet, after, texts)
        self.edit(draft, f"add a row to {sheet}")
        return line

    def duplicate_lines(self, sheet: str, lines: Collection[int]) -> list[int]:
        """Copies behind the last of ``lines``, under ids of their own (``X1-2``); gives their line ids."""
        draft, copies = self.draft.with_copies(sheet, lines)
        self.edit(draft, f"duplicate rows of {sheet}")
        return copies

    def delete_lines(self, sheet: str, lines: Collection[int]) -> None:
        """Delete lines of a sheet that can lose them."""
        self._arrange(self.draft[sheet].without_lines(lines), "delete")

    def shift_lines(self, sheet: str, lines: Collection[int], by: int,
                    shown: Collection[int] | None = None) -> None:
        """Move lines one place up (``by`` -1) or down (+1); among those ``shown``, where only some are."""
        self._arrange(self.draft[sheet].with_lines_shifted(lines, by, shown), "move")

    def _arrange(self, changed: Sheet, verb: str) -> None:
        if changed.can_grow:
            self.edit(self.draft.with_sheet(changed), f"{verb} rows of {changed.name}")

    # Edits from the chart and the slider

    def make(self, change: Change, words: str = "", merges: Hashable = None) -> None:
        """Make a change in what is typed: one edit, called ``words``, else in the change's own."""
        tried = self._as_tried(change)
        self.edit(tried.after if tried else with_change(self.draft, change), words or change.words, merges)

    def tried(self, change: Change, is_soon: bool = False) -> Verdict:
        """What a change would come to: nothing is typed, and nothing is to be undone.

        Where it is made next, it is not judged again. Raises `ScenarioError` where it cannot be made, and
        `GivesWay` where no plan keeps all rules and the answer ``is_soon`` wanted.
        """
        tried = self._as_tried(change)
        if tried is None:
            after = with_change(self.draft, change)
            tried = _Tried(self.draft, self.base, change, after, judged(after, self.base, is_soon))
        self._tried = tried
        return tried.verdict

    def _as_tried(self, change: Change) -> _Tried | None:
        """What was tried last, if it was this, and nothing was typed or saved since."""
        tried = self._tried
        is_so = tried and tried.before is self.draft and tried.base is self.base and tried.change == change
        return tried if is_so else None

    def set_pet_zero(self, text: str, merges: Hashable = None) -> None:
        """PET 0, UTC; moves of one drag of the slider share ``merges`` and are one edit.

        On another day, outside the scenario's range of PET 0 times, the range goes along by whole days: it
        says at what time of day they may leave.
        """
        first, last, old = (setting_moment(self.draft, key) for key in (EARLIEST, LATEST, PET_ZERO))
        keys: dict[str, object] = {PET_ZERO: text}
        with suppress(ValueError, TypeError, OverflowError):  # no moment, or one that no calendar holds
            new = datetime.fromisoformat(text)
            keys = keys_moved(first, last, old or first or new, new) | keys
        self.make(Set(keys), "set PET 0", merges)

    def pet_zero_typed(self) -> datetime:
        """PET 0 as it is typed; that of the last good plan where what is typed is no moment."""
        return setting_moment(self.draft, PET_ZERO) or self.plan.pet_zero

    def pet_zero_range(self) -> tuple[datetime, datetime]:
        """Between which PET 0 times the planner chooses: those typed, else the whole UTC day of PET 0."""
        day = self.pet_zero_typed().replace(hour=0, minute=0, second=0, microsecond=0)
        first, last = (setting_moment(self.draft, key) for key in (EARLIEST, LATEST))
        return first or day, last or day + timedelta(days=1, minutes=-1)

    # Versions

    def keep_version(self, name: str) -> None:
        """Keep what is typed now under a name. Raises `ScenarioError` for an empty or a taken name."""
        name = name.strip()
        if not name or name in self.versions:
            raise ScenarioError.single("there is a version of this name; choose another" if name else
                                       "give the version a name", column="version", value=name)
        self.versions[name] = self.draft
        self._aside.discard(name)

    def switch_to(self, name: str) -> None:
        """Make a named version current: an edit like any other, so undo leads back.

        What was typed and is not saved is kept as a version. Raises `ScenarioError` for no such name.
        """
        draft = self._version(name)
        if self.has_unsaved_work:
            self._set_aside(MINE)
        self.edit(draft, f"switch to {name}")

    def _version(self, name: str) -> Draft:
        if name not in self.versions:
            raise ScenarioError.single("there is no version of this name", column="version", value=name)
        return self.versions[name]

    def _set_aside(self, word: str) -> str:
        """Keep what is typed as a version before other work takes its place; gives the version's name.

        A kill takes undo along, but no version. Where a version says it already there is no second one.
        """
        name = self._same_version(self.draft)
        if not name:
            name = free_name(word, self.versions, "{} {}")
            self.versions[name] = self.draft
            self._aside.add(name)
        return name

    def _same_version(self, draft: Draft) -> str:
        """The version that says the same as ``draft``, typed from the same; "" where there is none."""
        base = self._origins.of(draft).draft
        return next((name for name, each in self.versions.items() if each.says_the_same_as(draft)
                     and self._origins.of(each).draft.says_the_same_as(base)), "")

    # Undo

    def undo(self) -> bool:
        """Take back the last edit; False when there is none."""
        return self._turned(-1)

    def redo(self) -> bool:
        """Do again what was undone last; False when there is nothing."""
        return self._turned(+1)

    def _turned(self, by: int) -> bool:
        before = self.draft
        if is_other := self.history.step(by):
            self._judge(before)
        return is_other

    def edit(self, draft: Draft, words: str, merges: Hashable = None) -> None:
        """Let another draft of the same tables be what is typed: one edit, called ``words``."""
        # The origin, too: a merge that changes no cell still decides what the next save is held against.
        if (draft.sheets, draft.origin) != (self.draft.sheets, self.draft.origin):
            before = self.draft
            self.history.push(replace(draft, next_id=max(draft.next_id, before.next_id)), words, merges)
            self._judge(before)

    def _judge(self, before: Draft) -> None:
        tried = self._tried
        is_known = tried and tried.after.sheets is self.draft.sheets and tried.base is self.base
        self.verdict = tried.verdict if tried and is_known else judged(self.draft, self.base)
        self._placed = {fault: self._placed.get(fault) or where_typed(fault, before, self.draft)
                        for fault in self.verdict.faults}
        if self.verdict.plan is not None:
            self.plan = self.verdict.plan
