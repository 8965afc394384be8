"""What a drop in the chart would come to, told while the bar is still in the planner's hand.

A candidate is the change that the drop would make. It is tried, not made: the draft, undo and the journal
stay as they are. Times, the end and windows are told first; what the checks and margins say takes longer, and
is asked for by the view when nothing newer waits.
"""

from collections import Counter
from collections.abc import Iterator

from planning_kit.changes.amounts import LikelyMinutes
from planning_kit.changes.change import Change
from planning_kit.changes.order import Drag
from planning_kit.desk.messages import Message, refusal, tightest_of, where_of
from planning_kit.explore.session.session import Session
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import pet_label
from planning_kit.judge.all_checks import CAME, WENT, WORSE, Row, finding_changes, worse_stops
from planning_kit.judge.every_margin import exact_margins
from planning_kit.judge.findings import CONCERN, STOP
from planning_kit.judge.review import LEAST_TOLD, keeps
from planning_kit.judge.window_changes import window_changes
from planning_kit.plan.giving_way import GivesWay
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.timed import TimedPlan

TRIALS = CANDIDATE, CONSEQUENCES = "candidate", "consequences"
"""What a view asks of a drop: what can be told soon, and all of it."""

_FAULTS_TOLD = 2


def change_of(drop: Message) -> Change:
    """The change that a drop makes: of a bar, or several, to another place; of an edge to other minutes."""
    step = str(drop["step"])
    if drop["kind"] == "minutes":
        return LikelyMinutes(step, float(drop["minutes"]))
    before = None if drop.get("before") is None else str(drop["before"])
    return Drag(step, str(drop["lane"]), before, tuple(map(str, drop.get("more", ()))))


def told_of_drop(session: Session, message: Message) -> Message:
    """What is told of the drop in a message; why, where there is no plan with it or it cannot be made.

    Never raises for anything that a view sends.
    """
    is_soon = message["kind"] == CANDIDATE
    told: Message = {"kind": message["kind"]}
    try:
        verdict = session.tried(change_of(message["drop"]), is_soon)
    except GivesWay:
        return told | {"waits": "No plan keeps all rules so. Hold still to see what gives way."}
    except (LookupError, ValueError, TypeError, ArithmeticError) as error:  # `ScenarioError` is a ValueError
        return told | {"refused": refusal(error)["text"]}
    if verdict.plan is None:
        words = [one_line(f"{where_of(fault, session.draft)}: {fault.problem}".removeprefix(": "))
                 for fault in verdict.faults]
        more = [f"and {len(words) - _FAULTS_TOLD} more"] if len(words) > _FAULTS_TOLD else []
        return told | {"refused": "; ".join([*words[:_FAULTS_TOLD], *more])}
    plans = session.plan, verdict.plan
    return told | soon_told(*plans) | ({} if is_soon else later_told(*plans))


def soon_told(now: TimedPlan, then: TimedPlan) -> Message:
    """The steps at other times, [step, lane, start, finish] (PET min); the end and limits that it passes; the
    windows that steps leave or come into, [step, was, now, words].
    """
    limits = ("planned", then.scenario.settings.limits.planned_min), ("hard", then.hard_min)
    windows = [list(map(one_line, (each.step, each.was, each.now, each.words)))
               for each in window_changes(now, then)]
    return {"moved": list(_moved(now, then)), "end": _end_words(now.end_min, then.end_min),
            "limits": [f"{name} limit passed by {pet_label(then.end_min - limit, 'up')}"
                       for name, limit in limits if not keeps(then.end_min, limit)],
            "windows": windows}


def _moved(now: TimedPlan, then: TimedPlan) -> Iterator[list[object]]:
    before = {step.step: (step.people, start, finish) for step, start, finish in now.each_step()}
    for step, start, finish in then.each_step():
        people, *times = before.get(step.step, ((), start, finish))
        if step.people != people or max(abs(start - times[0]), abs(finish - times[1])) > ROUNDING_MIN:
            yield from ([step.step, who, round(start, 4), round(finish, 4)] for who in step.people)


def _end_words(now_min: float, then_min: float) -> str:
    """By how much the end moves, never told better than it is."""
    later_min, end = then_min - now_min, pet_label(then_min)
    if abs(later_min) < LEAST_TOLD:
        return f"the end stays {end}"
    if -1.0 < later_min < 0.0:
        return f"less than 0:01 earlier, end {end}"
    return f"{'+' if later_min > 0 else ''}{pet_label(later_min, 'up')}, end {end}"


def later_told(now: TimedPlan, then: TimedPlan) -> Message:
    """New stops and concerns, counted, with the worst in words; stops worse or gone; the tightest margin."""
    changes = list(finding_changes(now, then))
    new = [row for change, row in changes if change in (CAME, WORSE)]
    came, went = (Counter(row["severity"] for row in rows)
                  for rows in (new, (row for change, row in changes if change == WENT)))
    worse = worse_stops(now, then)
    counted = {"new stops": came[STOP], "new concerns": came[CONCERN], "stops get worse": len(worse),
               "stops go": went[STOP]}
    worst = next((row for row in (*new, *worse) if row["severity"] == STOP), None) or next(
        (row for row in new if row["severity"] == CONCERN), None)
    return {"level": "" if worst is None else worst["severity"],
            "found": ", ".join(f"{what}: {count}" for what, count in counted.items() if count)
                     or "no new stops or concerns",
            "worst": "" if worst is None else _words_of(worst),
            "tightest": tightest_of(exact_margins(then))}


def _words_of(found: Row) -> str:
    """A finding in a line that begins with its step."""
    step, message = str(found["step"]), str(found["message"])
    return one_line(message if not step or message.startswith(step) else f"{step}: {message}")
