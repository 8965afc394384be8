"""Checks of what is done within steps against the plan: hands, settings, turns, GO calls, records, minutes.

``procedure``: rules, at the step of the action, ``not-in-hand`` (about the item), ``setting`` (a tool setting
that nobody set, about the item), ``turns`` and ``turns-open`` (about what is turned), ``go-nobody`` and
``go-no-link`` (about who gives it), ``record-nobody``, ``too-many-minutes``, ``no-response``. What is not
known: ``no-role`` (about inside or ground), ``no-relays``.

``states``: rules, about the state, ``not-at-end``, ``needs``, ``not-safe`` (mated, demated or set while it is
not dead), ``in-parallel``; what is not known: ``safe-not-known``, ``no-state`` (mated or demated is what is
no state).
"""

from collections.abc import Iterator

from planning_kit.inputs.procedure_records import DEMATE, GROUND, INSIDE, MATE, MINUTES, NEEDS_NONE, NEVER
from planning_kit.inputs.times import number_label, pet_label, pet_spans
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan import procedure
from planning_kit.plan.custody_state import Holding
from planning_kit.plan.exposures import lasts_through
from planning_kit.plan.hazard_presence import control_windows
from planning_kit.plan.needs import gaps_between
from planning_kit.plan.network import ROUNDING_MIN, grouped
from planning_kit.plan.procedure import Doing
from planning_kit.plan.timed import TimedPlan

CHECK, STATES = "procedure", "states"


def _found(severity: str, rule: str, each: Doing, message: str, source: str, about: str = "") -> Finding:
    crew = each.action.who or each.step.crew
    return Finding(severity, CHECK, rule, about=about, crew=crew, step=each.step.step,
                   start_min=each.start_min, source=source,
                   message=f"{each.action.name} ({pet_spans((each.start_min, each.finish_min))}): {message}")


def check_items_at_hand(plan: TimedPlan) -> Iterator[Finding]:
    """A tool that is never in the hands of who uses it (near a concern), an item that is not there (stop)."""
    items = {item.item for item in plan.scenario.records.hardware}
    holdings = grouped((each.item, each) for each in plan.tracked_custody.holdings) if plan.doings else {}
    for each in plan.doings:
        action, step, hands = each.action, each.step, {who for who in each.people if who in plan.travels}
        named = {action.on: "on", action.tool_item: "tool"}
        for item in items & named.keys() if hands and step.place else ():
            column = named[item]
            here = [stay for stay in holdings.get(item, ()) if _is_during(each, stay)]
            near = any(stay.holder in {step.place, *step.people} for stay in here)
            held = any(stay.holder in hands and not stay.in_bag for stay in here)
            if not near and item in step.uses:  # the check of custody tells it
                continue
            if not near or (column == "tool" and not held):
                who = " and ".join(sorted(hands))
                where = "in reach, but in nobody's hands" if near else "not there"
                yield _found(
                    CONCERN if near else STOP, "not-in-hand", each,
                    f"{who} needs {item}, which is {where}: let {who} take it before (steps.takes), or name "
                    "what is used", f"actions.{column}", about=item)


def _is_during(each: Doing, stay: Holding) -> bool:
    """Whether it stays so for some time of the step: what comes or goes at an edge of it was not there."""
    both = min(stay.until_min, each.finish_min) - max(stay.from_min, each.start_min)
    return both > ROUNDING_MIN or (each.start_min == each.finish_min and both >= 0)


def check_settings(plan: TimedPlan) -> Iterator[Finding]:
    """A setting that an action needs of its tool and that is not the last one set (concern)."""
    for each, had, by in procedure.settings_needed(plan.doings):
        item, needed = each.action.setting
        if had != needed:
            last = f"{by} sets it to {had or 'nothing that is said'}" if by else "nobody sets it before"
            yield _found(CONCERN, "setting", each, f"needs {item} at {needed}, but {last}: add an action of "
                         f"class set before it, or name the setting that it has", "actions.tool", about=item)


def check_turns(plan: TimedPlan) -> Iterator[Finding]:
    """Turns out that are not the turns in and those said to stay out (concern); only turned out (remark)."""
    for each in procedure.turn_counts(plan.doings):
        if abs(each.lost) <= ROUNDING_MIN or not each.out:
            continue
        is_open = not each.back and not each.stays
        yield Finding(
            REMARK if is_open else CONCERN, CHECK, "turns-open" if is_open else "turns", about=each.thing,
            step=each.step, start_min=plan.span(each.step)[0], source="actions.value", value=each.out,
            limit=each.back + each.stays, margin=-abs(each.lost),
            message=f"{each.thing} is turned out {each.out:g} turns, in {each.back:g}; {each.stays:g} are said "
                    f"to stay out: {abs(each.lost):g} {'missing' if each.lost > 0 else 'too many'}. "
                    "Mend a count, or say what stays out (class leave, unit turns)")


def check_loop(plan: TimedPlan) -> Iterator[Finding]:
    """A GO of somebody who is not on the loop (never in the step a stop, else a concern) or not to be heard
    (concern), and a record that nobody inside is there to write (concern)."""
    for each in plan.doings:
        start, finish = each.start_min, each.finish_min
        if who := each.action.go:
            if off := procedure.off_loop(plan, who, start, finish):
                whole = sum(end - begin for begin, end in off) >= finish - start - ROUNDING_MIN
                yield _found(
                    STOP if whole else CONCERN, "go-nobody", each, f"{who} is to give the GO, but is not on "
                    f"the loop from {pet_spans(*off)}: move {each.step.step}, or let somebody else give it",
                    "actions.go, actors.from, until", about=who)
            # Of a step that needs a link itself, the check of links tells it.
            elif plan.relays and procedure.is_on_ground(plan, who) and each.step.link == "no" and (
                    dark := gaps_between(plan.almanac.any_link, start, finish)):
                yield _found(
                    CONCERN, "go-no-link", each, f"{who} is to give the GO, but there is no relay from "
                    f"{pet_spans(*dark)}: let {each.step.step} wait for one (link = wait), or ask before",
                    "actions.go", about=who)
        if each.action.record and (off := procedure.off_loop(plan, INSIDE, start, finish)):
            yield _found(
                CONCERN, "record-nobody", each, f"nobody inside is on the loop from {pet_spans(*off)} to "
                f"write down {each.action.record}: move {each.step.step}, or let somebody be there",
                "actions.record, actors.from, until")


def check_minutes(plan: TimedPlan) -> Iterator[Finding]:
    """Minutes of one person's actions that together are more than those of the step (concern)."""
    waits = grouped(((each.step.step, who), each) for each in plan.doings
                    if each.action.unit == MINUTES and each.action.value for who in each.people)
    for (step, who), theirs in waits.items():
        minutes, likely = sum(each.action.amount for each in theirs), theirs[0].step.minutes_likely
        if minutes > likely + ROUNDING_MIN:
            yield Finding(
                CONCERN, CHECK, "too-many-minutes", crew=who, step=step, start_min=theirs[0].start_min,
                source="actions.value", value=minutes, limit=likely, margin=likely - minutes,
                message=f"the actions of {who} in {step} take {number_label(minutes, 'up')} min by "
                        f"themselves, the step {number_label(likely, 'down')}: give it more minutes_likely")


def check_critical(plan: TimedPlan) -> Iterator[Finding]:
    """A critical action that says nothing for when it does not go as expected (concern)."""
    for each in plan.doings:
        if each.action.critical and not each.action.if_not:
            yield _found(CONCERN, "no-response", each, "is critical and has no response: name one of "
                         "responses.csv in if_not", "actions.critical")


def check_procedure_data(plan: TimedPlan) -> Iterator[Finding]:
    """Remarks: who inside or on the ground is not known, and links that cannot be checked."""
    gives = {each.action.go for each in plan.doings}
    used = {who for each in plan.doings for who in (*each.people, each.action.go)}
    used |= {INSIDE} if any(each.action.record for each in plan.doings) else set()
    for who in (INSIDE, GROUND):
        if who in used and not procedure.has_role(plan, who):
            yield Finding(REMARK, CHECK, "no-role", about=who, message=f"nobody in actors.csv has the role "
                          f"{who}: it counts as on the loop throughout")
    if not plan.relays and (heard := sorted(who for who in gives if procedure.is_on_ground(plan, who))):
        yield Finding(REMARK, CHECK, "no-relays", about=" ".join(heard),
                      message=f"whether {', '.join(heard)} can be heard for a GO is not checked: the scenario "
                      "names no relays")


def check_states(plan: TimedPlan) -> Iterator[Finding]:
    """Each state: as it must be in the end, and as steps need it when they begin (stop)."""
    spells = plan.state_spells
    for name, theirs in spells.items():
        last, wanted = theirs[-1], theirs[-1].state.at_end
        if wanted and last.value != wanted:
            made = f"since {last.by_step}" if last.by_step else "as at PET 0"
            yield Finding(
                STOP, STATES, "not-at-end", about=name, step=last.by_step, start_min=plan.end_min,
                source="states.at_end", message=f"{name} must be {wanted} at the end, but is {last.value} "
                f"{made}: let a step set it (steps.sets), or say what it may be")
    for step, start, _ in plan.each_step() if spells else ():
        for entry in step.needs:
            was = procedure.before(spells[entry.state], start, step.step)
            if was.value != entry.value:
                made = f"since {was.by_step}" if was.by_step else "as at PET 0"
                yield Finding(
                    STOP, STATES, "needs", about=entry.state, crew=step.crew, step=step.step, start_min=start,
                    source="steps.needs", message=f"{step.step} needs {entry.state} {entry.value} at "
                    f"{pet_label(start)}, but it is {was.value} {made}: let a step set it before, and "
                    f"{step.step} wait for that (after)")


def check_dead(plan: TimedPlan) -> Iterator[Finding]:
    """What is mated, demated or set while nothing makes it dead (stop), or while that is not known (remark).

    It must be in force, safe and confirmed for the whole step: at which minute of it hands are on the
    connector, nobody says.
    """
    states, unknown = {state.state: state for state in plan.scenario.records.states}, dict[str, str]()
    windows = control_windows(plan.inhibit_holds) if states else {}
    for name, steps in procedure.touching(plan, plan.doings).items():
        safe_when = states[name].safe_when
        for step, start, finish, changes in steps:
            if not changes or safe_when == NEEDS_NONE:
                continue
            if not safe_when:
                unknown.setdefault(name, step.step)
            elif safe_when == NEVER or not lasts_through(windows[safe_when].tolist(), start, finish):
                span = pet_spans((start, finish))
                why = ("no inhibit of this outing makes it dead" if safe_when == NEVER else
                       f"inhibit {safe_when} is not in force, safe and confirmed all of {span}")
                yield Finding(
                    STOP, STATES, "not-safe", about=name, crew=step.crew, step=step.step, start_min=start,
                    source="states.safe_when", message=f"{step.step} changes {name} from {span}, but {why}: "
                    f"let the inhibit stand and be confirmed before {step.step}, and be held until after it")
    if unknown:
        yield Finding(REMARK, STATES, "safe-not-known", about=" ".join(unknown),
                      message=f"whether {', '.join(unknown)} are dead when they are changed is not checked: "
                      f"name the inhibit in states.safe_when, or write {NEEDS_NONE}")
    for each in (each for each in plan.doings
                 if each.action.class_ in (MATE, DEMATE) and each.changes not in states):
        yield Finding(REMARK, STATES, "no-state", crew=each.action.who or each.step.crew,
                      step=each.step.step, start_min=each.start_min,
                      source="actions.on",
                      message=f"{each.action.name}: what is {each.action.class_}d is no state of states.csv: "
                      "whether it is dead is not checked; name the connector in on")


def check_parallel(plan: TimedPlan) -> Iterator[Finding]:
    """Steps of different people that overlap and touch one state, of which one changes it (concern)."""
    for name, touched in procedure.touching(plan, plan.doings).items():
        for one, other, since in procedure.in_parallel(touched):
            yield Finding(
                CONCERN, STATES, "in-parallel", about=name, step=other.step, start_min=since,
                source="steps.needs, sets", message=f"{one.step} and {other.step} overlap from "
                f"{pet_label(since)} on and both touch {name}: which is first is not known; let one wait for "
                "the other (after)")
