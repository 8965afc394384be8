"""What is done when something goes wrong outside: the responses to choose from, and one as it is told now."""

import math
from collections.abc import Iterator, Sequence, Set

from planning_kit.desk.messages import Message, notice
from planning_kit.explore.retime.going_home import Answer, Home, answer
from planning_kit.explore.session.going_outside import take_response, watch_of
from planning_kit.explore.session.session import Session
from planning_kit.explore.watch.watch import Watch
from planning_kit.inputs.log_state import IN_PROGRESS
from planning_kit.inputs.procedure_records import GOING, Response
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import number_label, pet_label


def response(session: Session, message: Message) -> list[Message]:
    """The responses, those of the step in hand first; with ``response`` what that one comes to now."""
    watch, asked = watch_of(session), str(message.get("response", ""))
    told: Message = {"kind": "response", "choices": list(_choices(watch)), "at": pet_label(watch.now_min)}
    if asked:
        required = {task.task for task in watch.plan.scenario.records.tasks if task.need == "required"}
        told["answer"] = _told(answer(watch.plan, asked, None, str(message.get("crew", ""))), required)
    return [told]


def take(session: Session, message: Message) -> list[Message]:
    """A response is taken: it is called now, and logged."""
    asked, crew, by = (str(message.get(name, "")) for name in ("response", "crew", "by"))
    return [notice(take_response(session, asked, crew, by))]


def _choices(watch: Watch) -> Iterator[Message]:
    in_hand = {name for name, state in watch.outside.states.by_step.items() if state.status == IN_PROGRESS}
    lines: dict[str, list[str]] = {}
    for step, action in ((doing.step, doing.action) for doing in watch.plan.doings):
        if step.step in in_hand and action.if_not:
            lines.setdefault(action.if_not, []).append(f"{action.name} {action.action}")
    every = watch.plan.scenario.records.responses
    for each in sorted(every, key=lambda each: (each.response not in lines, not each.trigger)):
        yield {"id": each.response, "words": one_line(_name(each)), "call": each.call,
               "for": list(map(one_line, lines.get(each.response, [])))}


def _name(each: Response) -> str:
    return each.trigger or each.first_actions or each.response


def _told(told: Answer, required: Set[str]) -> Message:
    each = told.response
    until = told.decide_until_min
    facts = [
        ["first", each.first_actions or "nothing is given"],
        ["who goes", told.with_whom],
        *([home.crew, _home(home)] for home in told.home),
        *([["inside" if each.call in GOING else "home after it", _inside(told)]]
          if math.isfinite(told.inside_min) else []),
        ["left with it", _left(told.margin_min)],
        ["call it by", "not known" if math.isnan(until) else f"PET {pet_label(until, 'down')}"],
        *([["lost", _lost(told.loses, required)]] if each.call in GOING else []),
        *([["leaves", " ".join(map(str, each.leave_state))]] if each.leave_state else []),
        ["source", each.source or "none is given"],
    ]
    return {"id": each.response, "words": one_line(_name(each)), "call": each.call, "crew": list(told.crew),
            "is_short": not told.margin_min >= 0.0,
            "facts": [[name, one_line(words)] for name, words in facts]}


def _home(home: Home) -> str:
    if math.isnan(home.total_min):
        return "how long the way home takes is not known"
    if math.isinf(home.total_min):
        return "there is no way home"
    safe, total = (number_label(minutes, "up", 0) for minutes in (home.safe_min, home.total_min))
    first = f"{home.step}: {home.make_safe}, {safe} min; " if home.step else ""
    return f"{first}{home.way}; {total} min with ingress"


def _inside(told: Answer) -> str:
    first = told.response.acting_min
    acting = f", with {number_label(first, 'up', 0)} min of first actions before it" if first else ""
    return (f"by PET {pet_label(told.inside_min, 'up')}, "
            f"{number_label(told.inside_min - told.at_min, 'up', 0)} min from now{acting}")


def _left(minutes: float) -> str:
    if math.isnan(minutes):
        return "not known"
    return "no way home" if math.isinf(minutes) else (
        f"{number_label(minutes, 'down', 0)} min beyond the reserve and until the hard limit")


def _lost(tasks: Sequence[str], required: Set[str]) -> str:
    also = [task for task in tasks if task in required]
    return (" ".join(tasks) or "no task") + (f"; required: {' '.join(also)}" if also else "")
