"""The board of a campaign, beside the plan of the outing that is open: what a view may ask, and is told.

Other outings stand as their folders had them when they were read, the open one as it is typed now. A task put
on another outing is tried, not made: what it comes to is worked out beside everything else and told. Nothing
is written before the planner keeps it, which saves every outing that it changes in one act.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from planning_kit.campaign.campaign import TimedCampaign, save_changed
from planning_kit.campaign.moving import Moved, moved
from planning_kit.desk.actions import autosaved
from planning_kit.desk.board_looks import LOOKS, look_told
from planning_kit.desk.board_told import Shown, answer_told, board_told, showing
from planning_kit.desk.messages import Message, notice, rows_of_frame
from planning_kit.explore.long_question import FAILED, InPieces, LongQuestion, at_once
from planning_kit.explore.session.session import Session
from planning_kit.inputs.campaign_file import read_campaign, stands_in_a_campaign
from planning_kit.inputs.faults import SaveConflict, ScenarioError
from planning_kit.inputs.shown_text import one_line

_READING, _MOVING, _LOOKING = "campaign", "move", "look "


class Board:
    """The campaign that the scenario of a session stands in, if there is one."""

    def __init__(self, session: Session) -> None:
        """Only whether there is a campaign is looked at; it is read once its page is wanted."""
        self._session = session
        self.is_there = stands_in_a_campaign(session.base.folder)
        self.actions: Mapping[str, Callable[[Session, Message], list[Message]]] = {
            "board_open": self._open, "board_read": self._read, "board_move": self._move,
            "board_drop": self._drop, "board_keep": self._keep,
            "board_look": self._look} if self.is_there else {}
        self._asked: dict[str, LongQuestion] = {}
        self._heads: dict[str, Message] = {}
        self._shown: Shown | None = None
        self._faults: Message | None = None
        self._move_asked: Message = {}
        self._found: Moved[TimedCampaign] | None = None
        self._refused: dict[tuple[str, str], str] = {}

    @property
    def questions(self) -> list[LongQuestion]:
        """What is to be worked out beside everything else."""
        return [*self._asked.values()]

    def greeting(self) -> list[Message]:
        """What a view that opens is told: nothing where there is no campaign."""
        return [self._told()] if self.is_there else []

    def _told(self) -> Message:
        return {"kind": "board", "is_reading": _READING in self._asked, "faults": self._faults,
                **({} if self._shown is None else board_told(self._shown, self._refused))}

    # What a view may ask

    def _open(self, session: Session, message: Message) -> list[Message]:
        """The page is looked at: the campaign is read, the first time."""
        is_known = self._shown is not None or self._faults is not None or self._asked
        return [self._told()] if is_known else self._read(session, message)

    def _read(self, session: Session, _message: Message) -> list[Message]:
        """Read all outings from their folders, again."""
        folder, plan, number = session.base.folder.resolve(), session.plan, self._number + 1
        known = {} if self._shown is None else self._shown.campaign.remembered

        def answer(_question: LongQuestion) -> Shown | Message:
            try:
                campaign = TimedCampaign(read_campaign(folder.parent), remembered=known)
                return at_once(showing(campaign, folder.name, plan, number))
            except ScenarioError as error:
                return rows_of_frame(error.problems)

        self._ask(_READING, answer)
        return [self._told()]

    @property
    def _number(self) -> int:
        return 0 if self._shown is None else self._shown.number

    def _move(self, session: Session, message: Message) -> list[Message]:
        """What comes of a task on another outing ("": on none) is to be worked out."""
        task, outing, shown = str(message["task"]), str(message["outing"]), self._shown
        if shown is None:
            raise ScenarioError.single("cannot be moved while the campaign is not read", column="task",
                                       value=task)
        self._found, typed = None, session.has_unsaved_work
        self._move_asked = {"kind": "board_answer", "task": task, "outing": outing,
                            "number": shown.number, "view": message.get("view")}

        def answer(_question: LongQuestion) -> tuple[Shown, Moved[TimedCampaign], Message]:
            found = moved(shown.campaign, task, outing, shown.question)
            return shown, found, answer_told(found, shown.open_one if typed else "")

        self._ask(_MOVING, answer)
        return []

    def _drop(self, _session: Session, _message: Message) -> list[Message]:
        """Nothing is moved."""
        self._found = None
        self._asked.pop(_MOVING, None)
        return []

    def _look(self, session: Session, message: Message) -> list[Message]:
        """A thread, the season or an early end, as the campaign stands here, an answered move counted."""
        shown, found, view = self._shown, self._found, message.get("view")
        head = {"kind": "board_look", "view": view, "ask": message.get("ask"), "what": message["what"]}
        if shown is None or head["what"] not in LOOKS:
            words = "not read yet" if self._faults is None else "not known: it cannot be read, see Board"
            return [head | {"words": f"The campaign is {words}"}]
        stands = ["as it stands on the board"]
        if session.has_unsaved_work and shown.open_one:
            faults = len(session.faults)
            how = f"its last good plan (marked faults: {faults})" if faults else "it is typed"
            stands.append(f"{shown.open_one} as {how}")
        if found:
            stands.append(f"{found.task} {f'on {found.outing}' if found.outing else 'off'}, not kept")

        def answer(_question: LongQuestion) -> Message:
            told = look_told(found.campaign if found else shown.campaign, message, shown.open_one)
            return head | told | {"stands": one_line(", ".join(stands))}

        self._ask(f"{_LOOKING}{view}", answer, head)
        return []

    def _keep(self, session: Session, message: Message) -> list[Message]:
        """Save every outing that the move changes; in the open one it is an edit of the draft, too."""
        found, shown = self._found, self._shown
        task, outing = str(message["task"]), str(message["outing"])
        if found is None or shown is None or shown.plan is not session.plan or (
                found.task, found.outing) != (task, outing):
            raise ScenarioError.single("was not answered as the plans are now: move it again", column="task",
                                       value=task)
        if session.faults:
            raise ScenarioError.single(f"mend the {len(session.faults)} marked faults first: the answer is "
                                       "of the last good plan", column="task", value=task)
        words = f"{task} goes {f'on {outing}' if outing else 'off'}"
        self._found, own, changed = None, found.changed.get(shown.open_one), {**found.changed}
        if own:  # it may be saved since its plan was made
            changed[shown.open_one] = replace(own, on_disk=session.base.on_disk)
        try:
            save_changed(shown.campaign, shown.question.outings if shown.question else (), changed.values())
        except SaveConflict as error:  # with the outing's folder and the file, which a refusal leaves out
            told = error.problems[["table", "problem"]].itertuples(index=False, name=None)
            raise ScenarioError.single("; ".join(": ".join(filter(None, row)) for row in told)) from error
        if own:
            session.edit_to(own, words)
            session.save()  # what is on the disk already
        self._shown = replace(shown, campaign=found.campaign)
        others = [name for name in found.changed if name != shown.open_one]
        stay = f". Undo is of {shown.open_one} alone: {', '.join(others)} stays as saved" if others else ""
        saved = notice(one_line(f"{words}; saved: {', '.join(found.changed)}{stay}"))
        return [saved, *autosaved(session), *self._read(session, message)]

    def _ask(self, name: str, answer: Callable[[LongQuestion], object], head: Message | None = None) -> None:
        """In place of one of the same name, whose answer is not wanted any more."""
        plan = self._session.plan
        self._heads[name] = head or {}
        self._asked[name] = LongQuestion(name, answer, lambda: self._session.plan is plan)

    # What comes of it

    def answered(self, question: LongQuestion) -> list[Message]:
        """A question of its own has its answer."""
        del self._asked[question.name]
        if question.name.startswith(_LOOKING):
            told: Any = question.result
            return [self._heads.pop(question.name) | (
                {"words": one_line(question.words)} if question.state == FAILED else told)]
        if question.name == _READING:
            if question.state == FAILED:
                return [self._told(), notice(question.words, level="bad")]
            is_read = isinstance(question.result, Shown)
            self._shown, self._faults = (question.result, None) if is_read else (None, question.result)
            self._refused.clear()
            return at_once(self.following()) or [self._told()]
        if question.state == FAILED:
            return [self._move_asked | {"refused": one_line(question.words)}]
        result: Any = question.result
        shown, found, told = result
        if shown is not self._shown:  # an edit came between: the view asks again
            return []
        if not found.why_not:
            self._found = found
            return [self._move_asked | told]
        self._refused[found.task, found.outing] = one_line(found.why_not)
        return [self._told(), self._move_asked | told]

    def following(self) -> InPieces[list[Message]]:
        """The board once more where the open outing has another plan by now; else nothing.

        An answer is of the plan that it was asked about, and goes with it.
        """
        shown, plan = self._shown, self._session.plan
        if shown is None or shown.plan is plan:
            return []
        new = yield from showing(shown.campaign, shown.folder, plan, shown.number + 1)
        if self._shown is not shown:  # read anew meanwhile
            return []
        self._shown, self._found = new, None
        self._refused.clear()
        return [self._told()]
