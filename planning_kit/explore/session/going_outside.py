"""A session while the crew is outside: it follows the outing of its plan, and decides on options.

What an option skips goes into the log, what it changes goes into the plan. Both are where they belong: a skip
is an event that was called, another order or hand is another plan to re-time. The plan is changed as an edit
of the session, which can be undone and is saved when the planner saves.
"""

from collections.abc import Collection
from datetime import datetime, timedelta

import pandas as pd

from planning_kit.explore.retime.decisions import Decision, decide
from planning_kit.explore.retime.going_home import answer, home_now
from planning_kit.explore.session.session import Session
from planning_kit.explore.watch.logbook import Entry, Logbook, log_so_far
from planning_kit.explore.watch.now import HELD, Clock, is_in_outing, utc_now
from planning_kit.explore.watch.watch import Watch
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.format import SUITED
from planning_kit.inputs.log import log_rows
from planning_kit.inputs.log_format import BROKEN_OFF, PARTLY, SKIPPED
from planning_kit.inputs.log_state import IN_PROGRESS, OPEN
from planning_kit.inputs.procedure_records import GOING, HOME_ALONE, TERMINATE
from planning_kit.plan.timed import TimedPlan


def log_for(actuals: object) -> Logbook:
    """The log to follow: a file or folder, or a table, which is copied and never written back."""
    return Logbook.of_frame(actuals) if isinstance(actuals, pd.DataFrame) else Logbook.at(str(actuals))


def go_outside(session: Session, log: Logbook | None = None, now: object = None) -> None:
    """Follow the outing of the last good plan; the second time the same one, with its log and its clock.

    Raises `ScenarioError` for a ``now`` that is not in it.
    """
    if session.watch is None:
        plan = session.plan
        log = log or Logbook.beside(session.base.folder)
        watch = Watch(plan, log, first_clock(plan, log, utc_now()))
        if now is not None:
            watch.set_clock(HELD, now.isoformat() if isinstance(now, datetime) else str(now))
        session.watch = watch
    session.is_outside = True


def first_clock(base: TimedPlan, log: Logbook, wall: datetime) -> Clock:
    """The wall clock where it lies in this outing; else held at the end of the log, or at PET 0."""
    if is_in_outing(wall, base):
        return Clock.wall(wall)
    horizon = base.pet_zero + timedelta(minutes=base.horizon_min)
    try:
        found = log_so_far(log_rows(log.path, Faults()), Faults(), base, horizon, is_by_hand=True)
        written = [row.values.get("logged_at") for row in found.rows]
        last = max((moment for moment in written if isinstance(moment, datetime)), default=base.pet_zero)
        events = [event.at for event in found.actuals.events]
    except ScenarioError:
        return Clock(HELD, base.pet_zero, wall)
    return Clock(HELD, max([base.pet_zero, last, *events]), wall)


def watch_of(session: Session) -> Watch:
    """The outing that is followed. Raises `ScenarioError` while the session plans."""
    if session.following is None:
        raise ScenarioError.single("switch to Outside first", column="outside")
    return session.following


def follow_edits(session: Session) -> bool:
    """Re-time the plan as edited; whether it was another one."""
    watch = session.following
    if watch is None or watch.base is session.plan:
        return False
    watch.rebase(session.plan)
    return True


def take(session: Session, watch: Watch, words: str, how: Decision, by: str = "") -> str:
    """Decide: change the plan, log the skips; gives what was done, in words.

    Raises `ScenarioError`, and does nothing, where the option is not open any more, where the log goes on
    behind the now that was set, and where marked cells stand in the way of a change of the plan. Raises it
    where a skip is refused, too; what was changed in the plan stays.
    """
    decided = decide(watch.plan, **how).known_outside("decide")  # whether it is open still
    watch.look_away()
    skips = decided.actuals.events[len(watch.outside.actuals.events):]
    skipped = [event.step for event in skips]
    if skipped:
        watch.stop_if_log_goes_on()
    changes = {name: names for name, names in how.items() if name not in ("skip", "give_up") and names}
    if changes:
        if session.faults:
            raise ScenarioError.single("mend the marked cells first: this changes the plan", column="take")
        session.edit_to(decided.base.scenario, words)
        watch.rebase(session.plan, decided.here)
    if skips:
        watch.enter_all([Entry("", SKIPPED, each.step, note=words, by=by,
                               remaining_min="" if each.remaining_min is None else str(each.remaining_min))
                         for each in skips])
    done = [f"logged as skipped: {' '.join(skipped)}"] if skipped else []
    return "; ".join([*(["the plan outside is changed (Undo leads back)"] if changes else []), *done])


def go_home(session: Session, how: str, by: str = "", who: Collection[str] = SUITED,
            why: str = "", acting_min: float = 0.0) -> str:
    """Decide on ``terminate`` or ``abort``, called now; gives what was logged, in words.

    What ``who`` have not begun is logged as skipped. A step in hand is broken off: it still takes the minutes
    that the scenario gives to make it safe. Where it gives none, it is finished in what is left of its
    estimate. Before these come ``acting_min`` of first actions. Others go on. Raises `ScenarioError` as
    `going_home` does, and as `take` does for the log.
    """
    watch, words = watch_of(session), why or f"{how} called"
    homes, outside = home_now(watch.plan, how), watch.outside
    in_hand: dict[str, tuple[str, float]] = {}
    for name, safe_min in zip(homes["step"], homes["safe_min"], strict=True):
        state = outside.states.by_step.get(name)
        if state is None or state.status != IN_PROGRESS or not {*state.step.people} & {*who}:
            continue
        given = state.step.safe_orderly_min if how == TERMINATE else state.step.safe_now_min
        # What began this minute cannot be partly done yet.
        if (given is not None or acting_min) and state.pieces[-1][0] < watch.now_min:
            left = state.left_to_do_min(watch.now_min) if given is None else safe_min
            in_hand[name] = (PARTLY if given is None else BROKEN_OFF,
                             max(acting_min + left, in_hand.get(name, ("", 0.0))[1]))
    skipped = [name for name, state in outside.states.by_step.items()
               if state.status in OPEN and set(state.step.people) & set(who)]
    entries = [*(Entry("", event, name, note=f"{words}: to make it safe", by=by, remaining_min=f"{left:g}")
                 for name, (event, left) in in_hand.items()),
               *(Entry("", SKIPPED, name, note=words, by=by) for name in skipped)]
    if not entries:
        return f"{words}: nothing is left to log but ingress"
    watch.look_away()
    watch.enter_all(entries)
    return f"{words}; logged as skipped: {len(skipped)} {'step' if len(skipped) == 1 else 'steps'}"


def take_response(session: Session, asked: str, crew: str = "", by: str = "") -> str:
    """Take a response now, as `answer` gives it, and re-time; gives what was logged, in words.

    ``go on`` and ``wait`` make the step in hand longer by the high minutes of the response, all else is
    logged as `go_home` does, ``home alone`` of those concerned. Raises `ScenarioError` as these do.
    """
    watch = watch_of(session)
    told = answer(watch.plan, asked, None, crew)
    response, now = told.response, watch.now_min
    words = f"{response.call} called ({response.trigger or response.response} {' '.join(told.crew)})"
    if response.call == HOME_ALONE:
        return go_home(session, TERMINATE, by, told.crew, words, response.acting_min)
    if response.call in GOING:
        return go_home(session, response.call, by, SUITED, words, response.acting_min)
    spent = response.acting_min
    in_hand = {name: state.left_to_do_min(now) for name, state in watch.outside.states.by_step.items()
               if state.status == IN_PROGRESS and state.pieces[-1][0] < now
               and {*state.step.people} & {*told.crew}}
    watch.look_away()
    watch.enter_all([Entry("", PARTLY, name, note=words, by=by, remaining_min=f"{left + spent:g}")
                     for name, left in in_hand.items()])
    return f"{words}; longer by {spent:g} min: {' '.join(in_hand) or 'no step in hand'}"
