"""An option that is taken: what it skips goes into the log, what it changes goes into the plan.

Both are where they belong: a skip is an event that was called, another order or hand is another plan to
re-time. The plan is changed as an edit of the session, which can be undone and is saved when the planner
saves.
"""

from __future__ import annotations

from dataclasses import replace

from planning_kit.explore.retime.deciding import Decision, decide
from planning_kit.explore.session.draft import draft_of
from planning_kit.explore.session.merge import same_lines
from planning_kit.explore.session.session import Session
from planning_kit.explore.watch.entry import Entry
from planning_kit.explore.watch.watch import Watch
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.log_format import SKIPPED


def take(session: Session, watch: Watch, words: str, how: Decision, by: str = "") -> str:
    """Decide: change the plan, log the skips; gives what was done, in words.

    Raises `ScenarioError`, and does nothing, where the option is not open any more, where the log goes on
    behind the now that was set, and where marked cells stand in the way of a change of the plan. Raises it
    where a skip is refused, too; what was done until then stays.
    """
    decided = decide(watch.plan, **how).known_outside("decide")  # whether it is open still
    watch.look_away()
    skipped = _steps(watch, how)
    if skipped:
        watch.stop_if_log_goes_on()
    changes = {name: names for name, names in how.items() if name != "skip" and names}
    if changes:
        if session.faults:
            raise ScenarioError.single("mend the marked cells first: this changes the plan", column="take")
        draft, changed = session.draft, draft_of(decided.base.scenario)
        session.say_as(replace(same_lines(changed, draft, draft), origin=draft.origin), words)
        watch.rebase(session.plan, decided.here)
    entries = [Entry("", SKIPPED, step, note=words, by=by) for step in skipped]
    logged = watch.enter_all(entries)
    if len(logged) < len(skipped):
        kept = watch.refused.pop(entries[len(logged)].slot)
        raise ScenarioError.single("; ".join(fault.problem for fault in kept.faults), column="take",
                                   value=kept.entry.step)
    done = [f"logged as skipped: {' '.join(skipped)}"] if skipped else []
    return "; ".join([*(["the plan outside is changed (Undo leads back)"] if changes else []), *done])


def _steps(watch: Watch, how: Decision) -> list[str]:
    """The steps to skip, in the order of the plan: a task's name stands for those not begun."""
    states, names = watch.outside.states.by_step, set(how.get("skip", ()))
    return [name for name, state in states.items()
            if name in names or (state.step.task in names and name in watch.plan.network.steps
                                 and not state.pieces)]
