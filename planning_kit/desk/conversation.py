"""What the workbench and its views say to each other. It knows no widget.

Views and kernel talk in messages, not in shared state: a view says ``hello`` and gets everything, then sends
one message an edit and gets patches. The chart is told first. The edit is in the journal before ``done``
answers it: a page that draws need not wait for the disk. The details (findings, margins) follow when no newer
edit waits.
"""

from collections.abc import Callable, Iterable

from planning_kit.desk.actions import ACTIONS, autosaved
from planning_kit.desk.answers import progress_message, question_message
from planning_kit.desk.board import Board
from planning_kit.desk.candidate import TRIALS, told_of_drop
from planning_kit.desk.messages import Message, notes_of, notice, patch, refusal, tightest_message
from planning_kit.desk.outside import OUTSIDE_ACTIONS, details, options_message, picture
from planning_kit.explore.long_question import FAILED, InPieces, LongQuestion, Progress
from planning_kit.explore.session.going_outside import follow_edits
from planning_kit.explore.session.session import Session
from planning_kit.inputs.faults import ScenarioError
from planning_kit.plan.timed import TimedPlan


class Conversation:
    """A session and its views: ``send`` gets the answers, and what has changed since the last one."""

    def __init__(self, session: Session, send: Callable[[Message], None]) -> None:
        """Nothing is told yet: a view says ``hello`` first."""
        self._session, self._send = session, send
        self._board = Board(session)
        self._draft, self._drawn = session.draft, (session.plan, *session.ghosts)
        self._drawn_outside: tuple[TimedPlan, TimedPlan] | None = None
        self._revision = 0

    def answer(self, message: Message) -> bool:
        """Do what a view asks; whether the details are to be told anew (`tell_details`).

        Whatever is wrong with it is said to the planner, never raised. A fault of ours is raised, but
        the page must not wait for an answer all the same.
        """
        kind = str(message.get("kind"))
        if kind in TRIALS:  # nothing is changed by it, so that nothing else is told
            self._send_all([told_of_drop(self._session, message), {"kind": "done", "echo": message.get("n")}])
            return False
        is_greeting = kind == "hello"
        action = ACTIONS.get(kind) or OUTSIDE_ACTIONS.get(kind) or self._board.actions.get(kind)
        if action is None:
            return False
        told: list[Message] = []
        try:
            answer = action(self._session, message)
            told = answer if isinstance(answer, list) else []
            told += self._board.greeting() if is_greeting else []
        except (ScenarioError, OSError, LookupError, ValueError, TypeError, ArithmeticError) as error:
            told = [refusal(error)]
        finally:
            if is_greeting:  # this view has not drawn the outing yet
                self._drawn_outside = None
            is_new = self._tell(told, is_greeting or kind in OUTSIDE_ACTIONS, message.get("n"))
        return is_new or is_greeting

    def _tell(self, told: list[Message], is_outing_due: bool = False, echo: object = None) -> bool:
        """Send answers, and what changed; a line to look at once the views have it. Whether something did."""
        self._send_all(each for each in told if each["kind"] != "focus")
        is_changed = self._tell_changes()
        is_outing_told = self._tell_outing(is_outing_due)
        self._send_all(each for each in told if each["kind"] == "focus")
        self._send({"kind": "done", "echo": echo})
        return is_changed or is_outing_told

    def _tell_changes(self) -> bool:
        """Tell what is typed and drawn otherwise, then write the journal; whether something is."""
        session, draft, drawn = self._session, self._draft, self._drawn
        # The views drew the outing meanwhile, and need the chart of the plan again.
        is_back = self._drawn_outside is not None and session.following is None
        self._draft, self._drawn = session.draft, (session.plan, *session.ghosts)
        is_redrawn = is_back or self._drawn != drawn
        is_changed = is_redrawn or self._draft is not draft
        if is_back:
            self._drawn_outside = None
        self._revision += is_changed
        was_kept = not session.journal.trouble
        try:
            self._send({**patch(session, draft, with_chart=is_redrawn), "rev": self._revision})
        finally:  # whatever is wrong with what is told: what was typed is kept
            self._send_all(autosaved(session) if is_changed else [])
        if was_kept is bool(session.journal.trouble):
            self._send({**patch(session, self._draft, with_chart=False), "rev": self._revision})
        return is_changed

    def _tell_outing(self, is_due: bool) -> bool:
        """Tell where the outing stands, if it is due or its plan was edited; whether it was told."""
        is_edited, watch = follow_edits(self._session), self._session.following
        if watch is None or not (is_due or is_edited):
            return False
        is_redrawn, self._drawn_outside = self._drawn_outside != watch.shown, watch.shown
        self._send(picture(watch, with_chart=is_redrawn))
        return True

    def tell_details(self) -> InPieces[None]:
        """What takes longer than the chart: findings and margins; outside also the log and the ways home."""
        session, watch = self._session, self._session.following
        if watch is not None:
            self._send_all(details(watch))
            yield
        self._send((yield from notes_of(*(watch.shown if watch else (session.plan, session.ghosts[1])))))

    def tell_tightest(self) -> InPieces[None]:
        """What takes samples, and so comes last: how likely each margin is to be missed."""
        self._send((yield from tightest_message(self._session.current_plan)))

    def tell_board(self) -> InPieces[None]:
        """The board of the campaign, where it is looked at and the open outing is another by now."""
        self._send_all((yield from self._board.following()))

    def tick(self) -> bool:
        """Look at the clock and the log; whether the details are to be told anew."""
        watch = self._session.following
        return watch is not None and watch.tick() and self._tell_outing(is_due=True)

    def _send_all(self, messages: Iterable[Message]) -> None:
        for each in messages:
            self._send(each)

    # Long questions

    @property
    def questions(self) -> list[LongQuestion]:
        """All that were asked, the last of each kind: to be run by the widget."""
        watch = self._session.watch
        options = [] if watch is None or watch.asked is None else [watch.asked]
        return [*self._session.asked.values(), *options, *self._board.questions]

    def tell_progress(self, question: LongQuestion, progress: Progress) -> None:
        """A question is as far as that."""
        if question.name in self._session.asked and not question.is_stopping:
            self._send(progress_message(question, progress))

    def tell_answer(self, question: LongQuestion) -> bool:
        """A question has its answer, or none; whether the details are to be told anew."""
        if question not in self.questions:  # another of its kind was asked meanwhile
            return False
        if question.name in self._session.asked:
            return self._tell([question_message(question)])
        if question in self._board.questions:
            return self._tell(self._board.answered(question))
        failed = [notice(f"no options could be found: {question.words}", level="bad")]
        assert self._session.watch is not None
        told = failed if question.state == FAILED else []
        return self._tell([*told, options_message(self._session.watch)])
