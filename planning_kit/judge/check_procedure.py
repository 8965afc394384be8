"""Checks of what is done within steps, and when something goes wrong, against the plan.

``procedure``: rules, at the step of the action, ``not-in-hand`` (about the item), ``setting`` (a tool setting
that nobody set, about the item), ``turns`` and ``turns-open`` (about what is turned), ``go-nobody`` and
``go-no-link`` (about who gives it), ``off-loop`` (about an actor who works), ``record-nobody``,
``too-many-minutes``, ``no-response``. What is not known: ``no-role`` (about inside or ground), ``no-relays``
(about whom nobody may hear).

``states``: rules, about the state, ``not-at-end``, ``needs``, ``not-safe`` (mated, demated or set while it is
not dead), ``not-held`` (dead only as the times happen to fall), ``not-confirmed`` (nobody says that it is),
``in-parallel``, ``words`` (its action leaves it other than the plan has it), ``no-action``;
``safe-not-known`` (about the step where what is mated is no state).

``responses``: rules, about the response, ``not-in-time`` (one finding a response and crew member, at its
worst moment: a stop where oxygen or suits would not last, a concern where only the reserve or the hard limit
is not kept; brought by the partner, as ``partner_rescue`` says), ``no-source``, ``no-minutes``, ``not-used``.

``voice``: rules ``too-far`` (about the place), ``no-fall-back``, ``no-limit``.
"""

from collections.abc import Iterator, Sequence
from itertools import product
from math import isfinite

import numpy as np

from planning_kit.inputs import procedure_records as rec
from planning_kit.inputs.procedure_records import ABORT, ALONG, BRINGS, GOING, Response
from planning_kit.inputs.shown_text import shortened
from planning_kit.inputs.times import number_label, pet_label, pet_spans
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan import procedures
from planning_kit.plan.custody_state import Holding
from planning_kit.plan.exposures import lasts_through
from planning_kit.plan.hazard_presence import control_windows
from planning_kit.plan.needs import gaps_between
from planning_kit.plan.network import ROUNDING_MIN, grouped, joined
from planning_kit.plan.procedures import Doing, Left, left_with, needed_at, too_far
from planning_kit.plan.returns import Returns, Spell, spells_below, worst_moment
from planning_kit.plan.timed import TimedPlan

ACTS, STATES = "procedure", "states"


def _found(severity: str, rule: str, each: Doing, message: str, source: str, about: str = "") -> Finding:
    return Finding(severity, ACTS, rule, about, each.action.who or each.step.crew, each.step.step,
                   each.start_min, f"{each.action.name} ({pet_spans((each.start_min, each.finish_min))}): "
                   f"{message}", source)


def check_items_at_hand(plan: TimedPlan) -> Iterator[Finding]:
    """A tool that is never in the hands of who uses it (near a concern), an item that is not there (stop)."""
    items = {item.item for item in plan.scenario.records.hardware}
    holdings = grouped((each.item, each) for each in plan.tracked_custody.holdings) if plan.doings else {}
    for each in plan.doings:
        action, step, hands = each.action, each.step, {who for who in each.people if who in plan.travels}
        named = {action.on: "on", action.tool.partition(":")[0]: "tool"}
        for item in filter(items.__contains__, named) if hands and step.place else ():
            here = [stay for stay in holdings.get(item, ()) if _is_during(each, stay)]
            near = any(stay.holder in {step.place, *step.people} for stay in here)
            held = any(stay.holder in hands and not stay.in_bag for stay in here)
            # Of what the step uses and what is not there, the check of custody tells.
            if not (near or item in step.uses) or (near and not held and named[item] == "tool"):
                who, where = " and ".join(sorted(hands)), "in nobody's hands" if near else "not there"
                yield _found(CONCERN if near else STOP, "not-in-hand", each, f"{who} needs {item}, which is "
                             f"{where}: let {who} take it before (steps.takes), or name what is used",
                             f"actions.{named[item]}", item)


def _is_during(each: Doing, stay: Holding) -> bool:
    """Whether it stays so for some time of the step: what comes or goes at an edge of it was not there."""
    both = min(stay.until_min, each.finish_min) - max(stay.from_min, each.start_min)
    return both > ROUNDING_MIN or (each.start_min == each.finish_min and both >= 0)


def check_settings(plan: TimedPlan) -> Iterator[Finding]:
    """A setting that actions need of their tool and that is not the last one set (concern)."""
    wrong = grouped(((each.action.setting, had, by), each)
                    for each, had, by in procedures.settings_needed(plan.doings)
                    if had != each.action.setting[1])
    for ((item, needed), had, by), theirs in wrong.items():
        last = f"{by} sets it to {shortened(had, 60)}" if by else "nobody sets it before"
        names = [each.action.name for each in theirs[1:]]
        more = f" (and so do {', '.join(names[:5])}{' and others' if names[5:] else ''})" if names else ""
        yield _found(CONCERN, "setting", theirs[0], f"needs {item} at {needed}{more}, but {last}: add an "
                     "action of class set before it, or name the setting that it has", "actions.tool", item)


def check_turns(plan: TimedPlan) -> Iterator[Finding]:
    """Turns out that are not the turns in and those said to stay out (concern); only turned out (remark)."""
    for thing, (step, (out, back, stays)) in procedures.turn_counts(plan.doings).items():
        if out and abs(lost := out - back - stays) > ROUNDING_MIN:
            is_open, told = not back and not stays, shortened(thing, 60)
            yield Finding(
                REMARK if is_open else CONCERN, ACTS, "turns-open" if is_open else "turns", told, "", step,
                plan.span(step)[0], f"{told} is turned out {out:g} turns, in {back:g}; {stays:g} are to stay "
                f"out: {abs(lost):g} {'missing' if lost > 0 else 'too many'}. Mend a count, or say what "
                "stays out (class leave, unit turns)", "actions.value", out, back + stays, -abs(lost))


def check_others(plan: TimedPlan) -> Iterator[Finding]:
    """A GO of somebody off the loop (all the step a stop, else a concern) or whom nobody hears, a record that
    nobody is there to write, a critical action without a response (concerns)."""
    for each in plan.doings:
        start, finish, who = each.start_min, each.finish_min, each.action.go
        if who and (off := procedures.off_loop(plan, who, start, finish)):
            is_all = sum(end - begin for begin, end in off) >= finish - start - ROUNDING_MIN
            yield _found(STOP if is_all else CONCERN, "go-nobody", each, f"{who} is to give the GO, but is "
                         f"off the loop from {pet_spans(*off)}: move {each.step.step}, or ask another",
                         "actions.go, actors.from, until", who)
        # Of a step that needs a link itself, the check of links tells.
        elif who and plan.relays and procedures.is_on_ground(plan, who) and each.step.link == "no" and (
                dark := gaps_between(plan.almanac.any_link, start, finish)):
            yield _found(CONCERN, "go-no-link", each, f"{who} is to give the GO, but there is no relay from "
                         f"{pet_spans(*dark)}: let {each.step.step} wait for it (link = wait), or ask "
                         "before", "actions.go", who)
        if each.action.record and (off := procedures.off_loop(plan, rec.INSIDE, start, finish)):
            yield _found(CONCERN, "record-nobody", each, f"nobody inside is there from {pet_spans(*off)} "
                         f"to write it down: move {each.step.step}, or let somebody be there",
                         "actions.record, actors.from, until")
        if each.action.critical and not each.action.if_not:
            yield _found(CONCERN, "no-response", each, "is critical and has no response: name one of "
                         "responses.csv in if_not", "actions.critical")


def check_off_loop(plan: TimedPlan) -> Iterator[Finding]:
    """Work of an actor, or an action of those inside or on the ground, while off the loop (concern)."""
    called = grouped((each.step.step, who) for each in plan.doings for who in each.people)
    for step, start, finish in plan.each_step():
        for who in dict.fromkeys([*step.people, *called.get(step.step, ())]):
            if who not in plan.travels and (off := procedures.off_loop(plan, who, start, finish)):
                yield Finding(CONCERN, ACTS, "off-loop", who, step.crew, step.step, start,
                              f"{who} is to work in {step.step} ({pet_spans((start, finish))}), but is off "
                              f"the loop from {pet_spans(*off)}: move {step.step}, or mend who is there when",
                              "actors.from, until")


def check_minutes(plan: TimedPlan) -> Iterator[Finding]:
    """Minutes of one person's actions that together are more than those of the step (concern)."""
    waits = grouped(((each.step.step, who), each) for each in plan.doings
                    if each.action.unit == rec.MINUTES for who in each.people)
    for (step, who), theirs in waits.items():
        minutes = sum(rec.number_in(each.action.value) or 0.0 for each in theirs)
        likely = theirs[0].step.minutes_likely
        if minutes > likely + ROUNDING_MIN:
            yield Finding(CONCERN, ACTS, "too-many-minutes", "", who, step, theirs[0].start_min,
                          f"the actions of {who} in {step} take {number_label(minutes, 'up')} min by "
                          f"themselves, the step {number_label(likely, 'down')}: give it more minutes_likely",
                          "actions.value", minutes, likely, likely - minutes)


def check_procedure_data(plan: TimedPlan) -> Iterator[Finding]:
    """Remarks: who inside or on the ground is not known, and links that cannot be checked."""
    gives, roles = {each.action.go for each in plan.doings}, {a.role for a in plan.scenario.records.actors}
    used = gives.union(*(each.people for each in plan.doings), *([rec.INSIDE] for each in plan.doings
                                                                if each.action.record))
    for who in sorted({rec.INSIDE, rec.GROUND} & used - roles, reverse=True):
        yield Finding(REMARK, ACTS, "no-role", who, message=f"nobody in actors.csv has the role {who}: it "
                      "counts as on the loop throughout")
    if not plan.relays and (heard := sorted(who for who in gives if procedures.is_on_ground(plan, who))):
        yield Finding(REMARK, ACTS, "no-relays", " ".join(heard), message=f"whether {', '.join(heard)} can "
                      "be heard for a GO is not checked: the scenario names no relays")


def check_states(plan: TimedPlan) -> Iterator[Finding]:
    """Each state: as it must be in the end, and as steps need it when they begin (stop)."""
    spells = plan.state_spells
    for name, theirs in spells.items():
        last, wanted = theirs[-1], theirs[-1].state.at_end
        if wanted and last.value != wanted:
            yield Finding(STOP, STATES, "not-at-end", name, "", last.by_step, plan.end_min, f"{name} must be "
                          f"{wanted} at the end, but is {last.words}: let a step set it (steps.sets), or say "
                          "what it may be", "states.at_end")
    for step, start, _ in plan.each_step() if spells else ():
        for entry in step.needs:
            was = procedures.before(spells[entry.state], start, step.step)
            if was.value != entry.value:
                yield Finding(STOP, STATES, "needs", entry.state, step.crew, step.step, start,
                              f"{step.step} needs {entry} at {pet_label(start)}, but is {was.words}: let a "
                              f"step set it before, and {step.step} wait for that (after)", "steps.needs")


def check_changes(plan: TimedPlan) -> Iterator[Finding]:
    """What is mated, demated or set while nothing makes it dead all the step (stop), while only the times of
    this plan do (concern), while nobody says that it is, or that is not known (remarks); steps of different
    people that overlap and touch one state that one changes (concern)."""
    states = {state.state: state for state in plan.scenario.records.states}
    windows = control_windows(plan.inhibit_holds) if states else {}
    inhibits = {inhibit.inhibit: inhibit for inhibit in plan.scenario.records.inhibits}
    unconfirmed: dict[str, dict[str, None]] = {}
    unknown = dict.fromkeys(each.step.step for each in plan.doings
                            if each.action.class_ in (rec.MATE, rec.DEMATE) and each.action.on not in states)
    for name, steps in procedures.touching(plan, plan.doings).items():
        safe_when, changed = states[name].safe_when, [each[:3] for each in steps if each[3]]
        unknown |= {name: None} if changed and not safe_when else {}
        for step, start, finish in changed if safe_when not in ("", rec.NEEDS_NONE) else ():
            if safe_when == rec.NEVER or not lasts_through(windows[safe_when].tolist(), start, finish):
                why = ("no inhibit of this outing makes it dead" if safe_when == rec.NEVER else
                       f"inhibit {safe_when} is not in force, safe and confirmed all that time")
                yield Finding(STOP, STATES, "not-safe", name, step.crew, step.step, start,
                              f"{step.step} changes {name} from {pet_spans((start, finish))}, but {why}: let "
                              "it stand and be confirmed before, and hold it until after", "states.safe_when")
                continue
            inhibit = inhibits[safe_when]
            if step.step not in (inhibit.from_step, inhibit.until_step, *inhibit.needed_by):
                yield Finding(CONCERN, STATES, "not-held", name, step.crew, step.step, start,
                              f"{step.step} changes {name} while {safe_when} is in force only as the times "
                              f"happen to fall: name {step.step} in its needed_by, so that it must lie in it",
                              "inhibits.needed_by")
            if not inhibit.confirmed_by:
                unconfirmed.setdefault(safe_when, {})[name] = None
        for one, other, since in procedures.in_parallel(steps):
            yield Finding(CONCERN, STATES, "in-parallel", name, other.crew, other.step, since,
                          f"{one.step} and {other.step} overlap from {pet_label(since)} on and touch {name}: "
                          "which is first is not known; let one wait (after)", "steps.needs, sets")
    for inhibit_id, made_dead in unconfirmed.items():
        yield Finding(REMARK, STATES, "not-confirmed", inhibit_id, message=f"{', '.join(made_dead)} is dead "
                      f"while {inhibit_id} is in force, and no step confirms that it is: name one in its "
                      "confirmed_by", source="inhibits.confirmed_by")
    if unknown:
        yield Finding(REMARK, STATES, "safe-not-known", " ".join(unknown),
                      message=f"whether what is mated or changed is dead then is not checked for "
                      f"{', '.join(unknown)}: name the state in actions.on, and the inhibit in its safe_when "
                      f"({rec.NEEDS_NONE}: it needs none)")


def check_words_of_states(plan: TimedPlan) -> Iterator[Finding]:
    """Actions that leave a state other than the plan goes on with (stop): what the crew does is the words, so
    that no check of the state holds. A state that a step sets and none of its actions is on (concern)."""
    spells, said = plan.state_spells, grouped((each.step.step, each) for each in plan.doings)
    for step, start, _ in plan.each_step() if spells else ():
        sets = {entry.state: entry.value for entry in step.sets}
        theirs = said.get(step.step, [])
        # Of several actions on one state the last one counts.
        last = {each.action.on: each for each in theirs if each.action.on in spells
                and each.action.class_ in (rec.MATE, rec.DEMATE, rec.SET)}
        for name, each in last.items():
            value = each.action.value
            after = sets.get(name) or procedures.before(spells[name], start, step.step).value
            if value != after if value else name not in sets:
                does = f"leaves {name} {value}" if value else f"is to {each.action.class_} {name}"
                yield Finding(STOP, STATES, "words", name, step.crew, step.step, start, f"{each.action.name} "
                              f"{does}, but the plan goes on with it {after}: let {step.step} set it "
                              "(steps.sets), or mend the value of the action", "actions.value, steps.sets")
        for name in sorted({*sets} - {each.action.on for each in theirs}) if theirs else ():
            yield Finding(CONCERN, STATES, "no-action", name, step.crew, step.step, start,
                          f"{step.step} sets {name}={sets[name]}, but none of its actions is on {name}: "
                          "nobody is told to do it", "steps.sets, actions.on")


# Responses


RESPONSES, VOICE = "responses", "voice"


def check_responses(plan: TimedPlan) -> Iterator[Finding]:
    """A response that does not fit in what is left, at a moment at which the bare way home does."""
    limits, every = plan.scenario.settings.limits, product(plan.scenario.records.responses, plan.return_times)
    reserve_min = limits.return_reserve_min or 0.0
    for response, returns in every:
        at, going_in = returns.at_min, returns.ingress_start_min
        both = sorted(plan.return_times, key=lambda each: each.crew != returns.crew)
        left = left_with(response, both, plan.suit_histories, reserve_min)
        needed = np.zeros(len(at), dtype=bool)
        for begin, end in needed_at(response, plan.doings, returns.crew, going_in):
            needed |= (at >= begin - ROUNDING_MIN) & (at <= min(end, going_in) + ROUNDING_MIN)
        # Where the way home alone is too long already, the check of that tells it.
        over = np.where(needed & ~(left.before_min < -ROUNDING_MIN), left.over_min, np.nan)
        if spells := [*spells_below(returns, over)]:
            who = " and ".join(each.crew for each in both[:1 + (response.companion == ALONG)])
            yield _not_in_time(plan, response, returns, left, worst_moment(returns, over), spells, who)


def _not_in_time(plan: TimedPlan, response: Response, returns: Returns, left: Left, worst: int,
                 spells: Sequence[Spell], who: str) -> Finding:
    limits, is_abort = plan.scenario.settings.limits, response.call == ABORT
    supply, limit = float(left.supply_min[worst]), float(left.limit_min[worst])
    reserve_min = limits.return_reserve_min or 0.0
    value, least, what = (limit, 0.0, "to the hard limit") if limit < supply - reserve_min else (
        supply, reserve_min, "of oxygen" if is_abort else "of the suits")
    then = f"the way home ({response.call})" if response.call in GOING else "a terminate afterwards"
    place = " to ".join(map(plan.place_title, returns.place[worst].split(" to ")))
    return Finding(
        (limits.partner_rescue or CONCERN) if response.companion == BRINGS else
        STOP if supply < -ROUNDING_MIN else CONCERN,
        RESPONSES, "not-in-time", response.response, returns.crew, returns.step[worst], spells[0].from_min,
        f"response {response.response} ({response.trigger or 'if_not'}) of {who}: "
        f"{number_label(response.most_min, 'up')} min to decide and act, and {then}, leave "
        f"{number_label(value, 'down')} min {what}, at least {least:g} wanted. Worst at "
        f"{pet_label(float(returns.at_min[worst]))} ({place}), too little from "
        f"{pet_spans(*((each.from_min, each.until_min) for each in spells))}: decide or act sooner, or work "
        "nearer or earlier then", response.source, value, least, value - least)


def check_response_data(plan: TimedPlan) -> Iterator[Finding]:
    """Remarks: responses without a source, without minutes, and those that nothing leads to."""
    responses, used = plan.scenario.records.responses, {each.action.if_not for each in plan.doings}
    for rule, problem, those in (
        ("no-source", "no source: say who says so", [not each.source for each in responses]),
        ("no-minutes", "no minutes: their first actions are counted as taking no time",
         [each.minutes_likely is None and each.minutes_high is None for each in responses]),
        ("not-used", "no trigger, and no action names them in if_not",
         [not each.trigger and each.response not in used for each in responses]),
    ):
        if names := [each.response for each, is_so in zip(responses, those, strict=True) if is_so]:
            yield Finding(REMARK, RESPONSES, rule, " ".join(names),
                          message=f"responses {', '.join(names)} have {problem}")


def check_voice(plan: TimedPlan) -> Iterator[Finding]:
    """Somebody farther than ``voice_lost_min`` from a place to fall back to (concern), one a crew member."""
    checks, most_min = plan.scenario.settings.checks, plan.scenario.settings.checks.voice_lost_min
    places = [each.place for each in plan.scenario.records.places if each.fall_back]
    if most_min is None or not places:
        if places:
            yield Finding(REMARK, VOICE, "no-limit", " ".join(places), message="[checks] voice_lost_min is "
                          "not given: how far places to fall back to are is not checked")
        elif most_min is not None:
            yield Finding(REMARK, VOICE, "no-fall-back", message="no place has fall_back = yes: how far it "
                          "is to one when voice is lost is not checked")
        return
    for crew, passages in plan.passages.items():
        if far := too_far(passages, plan.travels[crew], places, most_min):
            minutes, at, worst = max(far, key=lambda each: (each[0], each[2].route is None, -each[1]))
            way = f"{number_label(minutes, 'up')} min" if isfinite(minutes) else "without a way"
            spans = pet_spans(*joined((each.start_min, each.finish_min) for _, _, each in far))
            yield Finding(
                CONCERN, VOICE, "too-far", worst.place, crew, worst.step, at, f"{crew} is {way} from the next"
                f" place to fall back to when voice is lost, at {pet_label(at)} ("
                f"{plan.place_title(worst.place)}); at most {most_min:g} allowed; too far from {spans}: name "
                "a nearer place (places.fall_back), or accept it", checks.sources.get("voice_lost_min", ""),
                minutes, most_min, most_min - minutes)
