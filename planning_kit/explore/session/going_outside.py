"""A session while the crew is outside: it follows the outing of its plan, and decides on options.

What an option skips goes into the log, what it changes goes into the plan. Both are where they belong: a skip
is an event that was called, another order or hand is another plan to re-time. The plan is changed as an edit
of the session, which can be undone and is saved when the planner saves.
"""

from datetime import datetime, timedelta

import pandas as pd

from planning_kit.explore.retime.decisions import Decision, decide
from planning_kit.explore.session.session import Session
from planning_kit.explore.watch.logbook import Entry, Logbook, log_so_far
from planning_kit.explore.watch.now import HELD, Clock, is_in_outing, utc_now
from planning_kit.explore.watch.watch import Watch
from planning_kit.inputs.faults import Faults, ScenarioError
from planning_kit.inputs.log import log_rows
from planning_kit.inputs.log_format import SKIPPED
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
    where a skip is refused, too; what was done until then stays.
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
    entries = [Entry("", SKIPPED, each.step, note=words, by=by, remaining_min="" if each.remaining_min is None
                     else str(each.remaining_min)) for each in skips]
    logged = watch.enter_all(entries)
    if len(logged) < len(skipped):
        kept = watch.refused.pop(entries[len(logged)].slot)
        raise ScenarioError.single("; ".join(fault.problem for fault in kept.faults), column="take",
                                   value=kept.entry.step)
    done = [f"logged as skipped: {' '.join(skipped)}"] if skipped else []
    return "; ".join([*(["the plan outside is changed (Undo leads back)"] if changes else []), *done])
