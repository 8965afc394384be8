"""The workbench while the crew is outside: what a view may ask, and a watch as the plain data it is told.

An action gives the messages that answer it. Where the outing stands then (`picture`) is told by the
conversation.
"""

import math
from collections.abc import Hashable, Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

from planning_kit.desk import response_told
from planning_kit.desk.messages import Action, Message, head_of, notice
from planning_kit.explore.retime.decisions import Decision
from planning_kit.explore.retime.options import IN_ALL
from planning_kit.explore.retime.outing_progress import standing_of
from planning_kit.explore.session.going_outside import go_home, go_outside, take, watch_of
from planning_kit.explore.session.session import Session
from planning_kit.explore.watch.logbook import Entry, log_lines
from planning_kit.explore.watch.now import OpenStep, lanes_now
from planning_kit.explore.watch.watch import Options, Watch
from planning_kit.inputs.faults import ScenarioError
from planning_kit.inputs.format import SUITED
from planning_kit.inputs.log_format import INGRESS, PET_ZERO
from planning_kit.inputs.times import Side, gmt_label, number_label, pet_label, pet_min
from planning_kit.show.live_chart import outside_chart

# What a view may ask


def outside(session: Session, _message: Message) -> list[Message]:
    """The planner follows the outing from now on."""
    go_outside(session)
    words = ""
    if session.faults:
        words = f"the plan outside is the last good one: {len(session.faults)} marked cells are not in it"
    elif session.has_unsaved_work:
        words = "the plan outside is the one on the screen, which is not saved"
    return [notice(words, level="bad")] if words else []


def planning(session: Session, _message: Message) -> list[Message]:
    """The planner plans again; the log, the clock and the plan taken outside are kept for the next time."""
    session.is_outside = False
    return [{"kind": "planning"}]


def log(session: Session, message: Message) -> list[Message]:
    """An event was called, or is corrected."""
    entry = Entry(**{name: str(message[name]) for name in Entry.__dataclass_fields__ if name in message})
    done = watch_of(session).enter(entry)
    words = " ".join(part for part in (entry.step or entry.corrects or entry.lane, entry.event) if part)
    return [notice(f"logged {done}: {words}")] if done else []


def rehearse(session: Session, _message: Message) -> list[Message]:
    """Go on from now in a log of the session's own."""
    watch_of(session).rehearse()
    return [notice("a rehearsal from here: entries are kept in this session only")]


def options(session: Session, message: Message) -> None:
    """What can still be done; with other orders of the rest, if asked."""
    watch = watch_of(session)
    if not watch.is_looking:
        watch.ask_options(bool(message.get("with_orders")))


def decide(session: Session, message: Message) -> list[Message]:
    """Decide on an option, or on the one that is previewed."""
    watch = watch_of(session)
    words, how = ((watch.preview.words, watch.preview.how) if "number" not in message and watch.preview
                  else _option(watch, message))
    return [notice(take(session, watch, words, how, str(message.get("by", ""))))]


def _option(watch: Watch, message: Message) -> tuple[str, Decision]:
    if watch.options is None:
        raise LookupError("no options")
    row = watch.options.table.iloc[int(message["number"])]
    if message.get("words", row["option"]) != row["option"]:
        raise ScenarioError.single("the options have been found anew since: choose again", column="take")
    return str(row["option"]), row["decide"]


OUTSIDE_ACTIONS: dict[str, Action] = {
    "clock": lambda session, message: watch_of(session).set_clock(
        str(message["clock"]), str(message.get("text", ""))),
    "forget": lambda session, message: watch_of(session).forget(str(message["slot"])),
    "stop_options": lambda session, _: watch_of(session).stop_options(),
    "look": lambda session, message: watch_of(session).look_at(*_option(watch_of(session), message)),
    "go_home": lambda session, message: [notice(go_home(
        session, str(message["how"]), str(message.get("by", ""))))],
    "look_away": lambda session, _: watch_of(session).look_away(),
    **{action.__name__: action for action in (outside, planning, log, rehearse, options, decide)},
    "take_response": response_told.take,
}

# What it is told


def picture(watch: Watch, with_chart: bool) -> Message:
    """Where the outing stands and what may be entered; the chart where it is new."""
    (plan, ghosts), so_far = watch.shown, watch.log_so_far
    message: Message = {
        "kind": "outside", "head": head_of(plan), "standing": standing_of(plan).splitlines(),
        "clock": {"kind": watch.clock.kind, "now_ms": _ms(watch.now), "runs": watch.clock.kind != "held",
                  "pet_zero_ms": _ms(watch.plan.pet_zero), "call": _next_call(watch)},
        "lanes": [asdict(lane) | {"steps": [_step(step) for step in lane.steps]}
                  for lane in lanes_now(watch.plan)],
        "refused": {slot: {"entry": asdict(kept.entry), "faults": [asdict(fault) for fault in kept.faults]}
                    for slot, kept in watch.refused.items()},
        "log": {"words": watch.log.words, "is_kept": watch.log.is_kept, "later": len(so_far.later),
                "rows": len(so_far.rows), "faults": [asdict(fault) for fault in so_far.faults]},
        "has_responses": bool(plan.scenario.records.responses),
        "trouble": watch.trouble, "preview": watch.preview.words if watch.preview else "",
    }
    if with_chart:
        message["chart"] = outside_chart(plan, ghosts, "planned" if watch.preview is None else "carrying on")
    return message


def _next_call(watch: Watch) -> str:
    """PET 0 until something is logged, ingress while neither of the two has a step in hand, or nothing."""
    states = watch.outside.states
    if not any(state.pieces for state in states.by_step.values()):
        return PET_ZERO if watch.outside.actuals.pet_zero is None else ""
    return "" if states.inside_min is not None or set(SUITED) & states.at_work.keys() else INGRESS


def _ms(moment: datetime) -> int:
    return round(moment.timestamp() * 1000)


def _step(step: OpenStep) -> Message:
    """A step as it is; JSON has no NaN, and the page knows that times are minutes."""
    return {name.removesuffix("_min"): _minute(value) if name.endswith("_min") else value
            for name, value in asdict(step).items()}


def _minute(value: float) -> float | None:
    return round(value, 3) if math.isfinite(value) else None


def details(watch: Watch) -> list[Message]:
    """What follows the chart before the findings: the log, the ways home, how old the options are."""
    return [log_message(watch), home_message(watch), options_message(watch)]


def log_message(watch: Watch) -> Message:
    """The log, the latest row first."""
    pet_zero = watch.plan.pet_zero

    def pet(moment: datetime | None) -> str:
        return "" if moment is None else pet_label(pet_min(moment, pet_zero))

    return {"kind": "outside_log", "lines": [
        asdict(line) | {"at": pet(line.at), "gmt": "" if line.at is None else gmt_label(line.at),
                        "was_at": pet(line.was_at), "can_be_corrected": line.event_id != ""}
        for line in log_lines(watch.log_so_far, pet_zero)]}


def home_message(watch: Watch) -> Message:
    """Terminate and abort, called now; or why there is nothing to tell."""
    try:
        found = watch.ways_home()
    except ScenarioError as error:
        return {"kind": "outside_home", "ways": {}, "words": str(error.problems["problem"].iloc[0])}
    reserve = watch.plan.scenario.settings.limits.return_reserve_min or 0.0
    return {"kind": "outside_home", "at": pet_label(watch.now_min), "words": "", "ways": {
        how: {"sequence": [[row["who"], row["what"], _whole(row["minutes"], "up"), row["start"],
                            row["finish"]] for row in sequence.to_dict("records")],
              "crew": _crew_home(margins, reserve)} for how, (sequence, margins) in found.items()}}


def _crew_home(margins: Any, reserve: float) -> list[Message]:
    return [{"who": row["crew"], "place": row["place"], "step": row["step"], "make_safe": row["make_safe"],
             "is_known": not math.isnan(row["total_min"]), "inside": pet_label(row["inside_min"], "up"),
             **{name: _whole(row[f"{name}_min"], "up") for name in ("safe", "back", "total")},
             "oxygen": _whole(row["oxygen_margin_min"], "down"),
             "is_short": row["oxygen_margin_min"] < reserve,
             "suit": _whole(row["suit_margin_min"], "down"), "first_out": row["first_out"],
             "is_suit_short": row["suit_margin_min"] < reserve, "reserve": f"{reserve:g}"}
            # The worst first: what is not known, then what runs out first.
            for row in sorted(margins.to_dict("records"), key=_least_left)]


def _least_left(row: Mapping[Hashable, Any]) -> float:
    margins = row["oxygen_margin_min"], row["suit_margin_min"]
    return -math.inf if math.isnan(row["total_min"]) else min(
        (each for each in margins if not math.isnan(each)), default=-math.inf)


def _whole(minutes: float, side: Side) -> str:
    return number_label(minutes, side, 0)


def options_message(watch: Watch) -> Message:
    """The options that were found last, how old they are, and whether others are looked for."""
    found = watch.options
    return {"kind": "options", "is_looking": watch.is_looking, "is_old": watch.are_options_old,
            "at": "" if found is None else pet_label(found.now_min),
            "rows": [] if found is None else _options(found, watch.now_min)}


def _options(found: Options, now_min: float) -> list[Message]:
    return [{
        "number": number, "words": row["option"], "kind": row["kind"], "end": pet_label(row["end_min"]),
        "gain": row["gain_min"], "planned": row["planned_margin_min"], "hard": row["hard_margin_min"],
        "stops": int(row["new_stops"]), "concerns": int(row["new_concerns"]),
        "until": _pet(row["open_until_min"]), "left": _minute(row["open_until_min"] - now_min),
        "must_by": _pet(row["must_by_min"]), "can_be_taken": any(row["decide"].values()),
        "moves": "; ".join(filter(None, (
            row["lost"] and f"loses {row['lost']}",
            row["mended_stops"] and f"stops mended: {row['mended_stops']}", *row["moves"]))),
        # What all of them break is told first.
    } for number, row in sorted(enumerate(found.table.to_dict("records")),
                                key=lambda each: bool(each[1]["kind"] != IN_ALL))]


def _pet(value: float) -> str:
    return pet_label(value, "down") if math.isfinite(value) else ""
