"""The controller of the workbench: a draft with its files, and long questions. It knows no widget.

An outing that was followed stays in ``watch`` while the session plans.
"""

import contextlib
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import pandas as pd

from planning_kit.explore.comparison import compare
from planning_kit.explore.long_question import LongQuestion
from planning_kit.explore.odds.odds import TimedOdds, odds
from planning_kit.explore.odds.study import Study, Tally, joined, tallies
from planning_kit.explore.propose.goals import ODDS_SAMPLES
from planning_kit.explore.propose.proposals import Proposal, Proposals, search_orders
from planning_kit.explore.session.draft import Draft, draft_of, scenario_of
from planning_kit.explore.session.editing import AS_LOADED, MINE, PET_ZERO, RESTORED, SET_ASIDE, Editing
from planning_kit.explore.session.journal import Journal, Unsaved, delete_left
from planning_kit.explore.session.merge import Merge, Where, differences, merged, same_lines
from planning_kit.explore.session.sheet import free_name
from planning_kit.explore.sweep import sweep_pet_zero
from planning_kit.explore.watch.watch import Watch
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.folder_files import holds_something, stop_if_workbook
from planning_kit.inputs.scenario import Scenario
from planning_kit.plan.timed import TimedPlan

SWEEP, ODDS, ORDER = "sweep", "odds", "order"
_SWEEP_EVERY_MIN = 5
_SAMPLES, _SEED = 20_000, 1
_SEARCH_SECONDS = 120.0  # a safety stop: the planner sees it run, and stops it


@dataclass(frozen=True)
class Tried:
    """One PET 0: minutes left before the hard limit (NaN: no plan, and ``reason`` says why)."""

    pet_zero: datetime
    left_min: float
    reason: str


@dataclass(frozen=True)
class Orders:
    """What a search said; the orders it found, each once; the odds of the plan as it is and of each."""

    said: Proposals[TimedPlan]
    found: tuple[Proposal[TimedPlan], ...]
    current_odds: TimedOdds
    odds: tuple[TimedOdds, ...]


def about_every_pet_zero(editing: Editing) -> LongQuestion:
    """The same work at every 5 minutes of the range of PET 0 times."""
    first, last = editing.pet_zero_range()
    scenario = editing.scenario

    def answer(question: LongQuestion) -> list[Tried]:
        count = int((last - first).total_seconds() // (60 * _SWEEP_EVERY_MIN)) + 1
        found: list[Tried] = []
        while len(found) < count and not question.is_stopping:
            moment = first + timedelta(minutes=_SWEEP_EVERY_MIN * len(found))
            row = sweep_pet_zero(scenario, moment, moment, 1).iloc[0]
            left = float("nan") if row["reason"] else float(row["hard_margin_min"])
            found.append(Tried(moment, left, str(row["reason"])))
            question.tell(f"{len(found)} of {count}", len(found) / count, found[-1])
        return found

    return LongQuestion(SWEEP, answer, _is_same(editing, free=(PET_ZERO,)))


def about_the_odds(editing: Editing) -> LongQuestion:
    """How likely the plan is to fit, its windows to be caught, and when it ends."""
    plan = editing.plan

    def answer(question: LongQuestion) -> TimedOdds | None:
        study, parts = Study.of(plan, _SEED), list[Tally]()
        for part in tallies(study, _SAMPLES, report=question.report, together=1):
            if question.is_stopping:
                return None
            parts.append(part)
        return TimedOdds(plan, study, joined(parts))

    return LongQuestion(ODDS, answer, _is_same(editing))


def about_a_better_order(editing: Editing) -> LongQuestion:
    """Better orders of the same work, with their odds; each can be taken into the draft."""
    plan = editing.plan

    def answer(question: LongQuestion) -> Orders | None:
        search = search_orders(plan.scenario, seconds=_SEARCH_SECONDS, progress=question.report,
                               cancel=lambda: question.is_stopping)
        # With another PET 0 allowed the search may find the same order again.
        found = tuple({each.scenario.digest: each for each in reversed(search.found)}.values())[::-1]
        if question.is_stopping and not found:
            return None
        question.tell("odds of what was found")
        chances = tuple(odds(each, ODDS_SAMPLES) for each in (plan, *(order.plan for order in found)))
        return Orders(search, found, chances[0], chances[1:])

    return LongQuestion(ORDER, answer, _is_same(editing))


def _is_same(editing: Editing, free: Collection[str] = ()) -> Callable[[], bool]:
    """Whether the draft says what it says now; ``free`` are settings that an answer does not depend on."""
    blank = dict.fromkeys(free, "")
    asked = editing.draft.with_settings(blank)
    return lambda: asked.says_the_same_as(editing.draft.with_settings(blank))


QUESTIONS: Mapping[str, Callable[[Editing], LongQuestion]] = {
    SWEEP: about_every_pet_zero, ODDS: about_the_odds, ORDER: about_a_better_order}


Look = Mapping[str, Sequence[str]]
"""The columns of a sheet as a planner wants to see them: their ``order``, those ``hidden`` and ``pinned``."""

# By folder and sheet, for the kernel's life: whoever runs the cell again finds the tables as they were.
_LOOKS: dict[Path, dict[str, Look]] = {}


class Session(Editing):
    """One planner editing one scenario: an `Editing` with versions, a baseline and files."""

    def __init__(self, scenario: Scenario) -> None:
        """Begin with ``scenario`` as loaded: also the first named version.

        Raises `ScenarioError` when it has no plan, or no folder.
        """
        stop_if_workbook(scenario.folder)
        super().__init__(scenario)
        self.dropped: tuple[str, Draft] | None = None
        self.baseline_name: str | None = None
        self.baseline: TimedPlan | None = None
        self.journal = Journal(scenario.folder)
        self._restored = ""  # the version that says what was restored last
        self.asked: dict[str, LongQuestion] = {}
        self.preview: Proposal[TimedPlan] | None = None
        self.watch: Watch | None = None
        self.is_outside = False
        self.looks = _LOOKS.setdefault(scenario.folder.resolve(), {})

    @property
    def following(self) -> Watch | None:
        """The outing that is followed (see `going_outside`); None while planning."""
        return self.watch if self.is_outside else None

    @property
    def current_plan(self) -> TimedPlan:
        """The last good plan; outside, the plan re-timed at the last tick."""
        return self.plan if self.following is None else self.following.plan

    # Long questions, and orders proposed

    def ask(self, question: str) -> LongQuestion:
        """Ask a long question (`QUESTIONS`) about the plan as it is: to be run, and stopped, by whoever asks.

        One of the same kind that still runs is stopped. Raises `ScenarioError` for no such question.
        """
        if question not in QUESTIONS:
            raise ScenarioError.single("is no question that can be asked", column="question", value=question)
        self.stop(question)
        if question == ORDER:
            self.preview = None
        self.asked[question] = QUESTIONS[question](self)
        return self.asked[question]

    def stop(self, question: str) -> None:
        """Stop a long question, if one of the kind is running."""
        if question in self.asked:
            self.asked[question].stop()

    def proposal(self, number: int) -> Proposal[TimedPlan]:
        """One of the better orders found last. Raises `ScenarioError` where there is none, or an old one."""
        asked = self.asked.get(ORDER)
        if asked is None or asked.result is None or not 0 <= number < len(asked.result.found):
            raise ScenarioError.single("there is no such proposal", column="order", value=number)
        if asked.is_old:
            raise ScenarioError.single("the plan was edited since this order was found: search again",
                                       column="order", value=number)
        found: Proposal[TimedPlan] = asked.result.found[number]
        return found

    def show_proposal(self, number: int | None) -> None:
        """Show where a proposal has each step, in place of the baseline (None: no longer)."""
        self.preview = None if number is None else self.proposal(number)

    def take_proposal(self, number: int) -> None:
        """Make a proposal the draft, as one edit. Raises as `proposal` does."""
        proposal = self.proposal(number)
        self.preview = None
        self.edit_to(proposal.scenario, f"take the order with the {proposal.name}")

    def edit_to(self, scenario: Scenario, words: str) -> None:
        """Let a scenario be what is typed: one edit, called ``words``; lines of one key keep their ids."""
        draft = same_lines(draft_of(scenario), self.draft, self.draft)
        self.edit(replace(draft, origin=self.draft.origin), words)

    @property
    def ghosts(self) -> tuple[str, TimedPlan | None]:
        """What the chart shows behind the plan, with its name: a proposal looked at, else the baseline."""
        return ("proposed", self.preview.plan) if self.preview else ("baseline", self.baseline)

    # Versions and the baseline

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
        self.baseline = None if name is None else self._plan_of_version(name)
        self.baseline_name = name

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
            return TimedPlan.of(scenario_of(draft, self._origins.of(draft).base))
        except ScenarioError as error:
            first = next(iter(error.problems["problem"]))
            raise ScenarioError.single(f"this version has no plan, as it holds faults: {first}",
                                       column="version", value=name) from error

    # Files

    def save(self) -> None:
        """Save to the scenario's own folder. What was set aside and is saved now is no version any more.

        Raises `SaveConflict`, and changes nothing, when another changed the files (see `both_sides`);
        `ScenarioError` when what is typed holds faults or cannot be written.
        """
        self._origins.save(self.draft, self._sound_scenario())
        self._restored = ""
        for name in [each for each in self._aside & self.versions.keys() if each != self.baseline_name]:
            if self.versions[name].says_the_same_as(self.draft):
                del self.versions[name]
        if not self._has_versions:  # else the journal stays: named versions are in no folder
            self.journal.remove()

    def export(self, folder: str | Path) -> Path:
        """Save as a new folder; the session stays with its own. Raises as `save` does, and where one is."""
        if holds_something(Path(folder)):
            raise ScenarioError.single("is there already; give another name", column="export", value=folder)
        return self._sound_scenario().save(folder).folder

    def _sound_scenario(self) -> Scenario:
        if self.verdict.scenario is None:
            raise ScenarioError.single(f"mend the {len(self.faults)} marked faults first; "
                                       "what is typed is kept meanwhile", column="save")
        return self.verdict.scenario

    def merging(self, choices: Mapping[Where, str] | None = None) -> Merge:
        """What a merge with the folder as it is now would make of the draft: clashes, and what is taken.

        Raises `ScenarioError` when the folder holds faults.
        """
        theirs = self._origins.read(self.draft)
        return merged(self._origins.of(self.draft).draft, self.draft, theirs.draft, choices or {})

    def merge(self, choices: Mapping[Where, str]) -> Merge:
        """Take theirs where nothing was changed here and where ``choices`` say so: an edit, not yet saved.

        While a clash has no choice nothing changes. Raises as `merging` does.
        """
        theirs = self._origins.read(self.draft)
        merge = merged(self._origins.of(self.draft).draft, self.draft, theirs.draft, choices)
        if not merge.open_clashes:
            origin = self._origins.add(theirs).origin
            self.edit(replace(merge.draft, origin=origin), "merge with the folder")
        return merge

    def take_theirs(self) -> str:
        """Load what is in the folder now; what was typed here is a version, whose name is given.

        Raises `ScenarioError` when the folder holds faults; nothing has changed then.
        """
        theirs = self._origins.read(self.draft)
        # Asked first: where they have no plan it is refused before anything has changed.
        TimedPlan.of(theirs.base)
        name = self._set_aside(MINE)
        self.edit(self._origins.add(theirs), "take what is in the folder")
        return name

    def autosave(self) -> None:
        """Write unsaved work to the journal. Raises `OSError` when that fails.

        Versions are unsaved work too. What was restored is offered first, even where it was undone.
        """
        if self.has_unsaved_work or self._has_versions:
            draft = self.draft if self.has_unsaved_work else self.versions.get(self._restored, self.draft)
            bases = {name: self._origins.of(each).draft for name, each in self.versions.items()
                     if each.origin != draft.origin}
            self.journal.write(draft, self._origins.of(draft).draft, self.versions, bases)
        else:
            self.journal.remove()

    @property
    def _has_versions(self) -> bool:
        return set(self.versions) != {AS_LOADED}

    def close(self) -> None:
        """End: what is not saved stays in the journal, for the next session on this scenario."""
        self.journal.close()

    def unsaved_work(self) -> list[Unsaved]:
        """Work that other sessions on this scenario have not saved, newest first; some may be in use."""
        return self.journal.left_by_others(self.draft)

    def restore(self, unsaved: Unsaved) -> bool:
        """Take up work of another session as it was typed: an edit that can be undone. Versions come along.

        It is copied, and kept as a version too; so is what was typed here and is not saved. What a dead
        session left is deleted once the own journal has it on the disk; what is in use stays. Gives whether
        the folder has changed since that work was begun: saving meets a conflict then.
        """
        if self.has_unsaved_work:
            self._set_aside(MINE)
        for name, draft in unsaved.versions.items():
            if name != AS_LOADED:
                origin = self._origins.number_of(unsaved.bases.get(name, unsaved.base))
                draft = replace(draft, origin=origin)
                if not self._same_version(draft) and not draft.says_the_same_as(self._origins.newest.draft):
                    word = SET_ASIDE.fullmatch(name)
                    name = free_name(word[1] if word else name, self.versions, "{} {}")
                    self.versions[name] = draft
                    self._aside |= {name} if word else set()
        origin = self._origins.number_of(unsaved.base)
        self.edit(replace(unsaved.draft, origin=origin), "restore unsaved work")
        self._restored = self._set_aside(RESTORED) if self.has_unsaved_work else ""
        # Otherwise it stays, and is offered again: a journal that cannot be written is told at every edit.
        with contextlib.suppress(OSError, ScenarioError):
            self.autosave()
            if not unsaved.is_in_use:
                delete_left(unsaved.path)
        return not unsaved.base.says_the_same_as(self._origins.newest.draft)
