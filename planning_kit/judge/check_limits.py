"""Checks against the numbers of the scenario (limits, clocks), required tasks, and who is trained for them.

``limits``: rules ``outing-end`` (past the planned limit a concern, past the hard one a stop),
``pet-zero-range`` (about the key of its limit), ``no-source`` (about the key), ``placeholder`` (about the
keys, or the rows by their first cell), ``last-start`` (about the task); of a hard limit by consumables
``planned-past-hard`` and ``store-left-out`` (about the consumable).

``airlock``: rules ``one-number`` and ``slow-emergency``, about the key.

``clocks``: rule ``no-margin``, about the two steps of the gap.

``tasks``: rules ``not-done`` and ``no-put-back``, about the task.

``crew``: rules ``not-trained`` (about the task), ``training-unknown``.
"""

from collections.abc import Iterator

from planning_kit.changes.dropping import put_back_min
from planning_kit.inputs import format as fmt
from planning_kit.inputs.times import gmt_label, number_label, pet_label
from planning_kit.judge.every_margin import last_starts
from planning_kit.judge.findings import CONCERN, REMARK, STOP, Finding
from planning_kit.plan.build import work_order
from planning_kit.plan.network import ROUNDING_MIN
from planning_kit.plan.suits import WORDS
from planning_kit.plan.timed import TimedPlan

LIMITS = "limits"


def check_limits(plan: TimedPlan) -> Iterator[Finding]:
    """Outing end past the hard limit (stop) or the planned limit (concern)."""
    limits = plan.scenario.settings.limits
    planned_min = limits.planned_min
    for severity, key, limit, label in (
        (STOP, "hard_min", plan.hard_min, plan.hard_limit.label),
        (CONCERN, "planned_min", planned_min, pet_label(planned_min, "down")),
    ):
        if plan.end_min > limit + ROUNDING_MIN:
            over = plan.end_min - limit
            yield Finding(
                severity, LIMITS, "outing-end", start_min=plan.end_min,
                message=f"both are inside at {pet_label(plan.end_min)}, {number_label(over, 'up')} min past "
                        f"the {key[:-4]} limit of {label}: drop or shorten work, or cut waits (see slack to "
                        "limit)",
                source=limits.sources.get(key, ""), value=plan.end_min, limit=limit, margin=-over)
            return


def check_pet_zero(plan: TimedPlan) -> Iterator[Finding]:
    """PET 0 before ``pet_zero_earliest`` or after ``pet_zero_latest`` (concern)."""
    early, late = plan.scenario.settings.pet_zero_earliest, plan.scenario.settings.pet_zero_latest
    for key, limit, side, sign in (("pet_zero_earliest", early, "before the earliest", 1),
                                   ("pet_zero_latest", late, "after the latest", -1)):
        if limit is None:
            continue
        margin = sign * (plan.pet_zero - limit).total_seconds() / 60.0
        if margin < -ROUNDING_MIN:
            yield Finding(
                CONCERN, LIMITS, "pet-zero-range", about=key, start_min=0.0,
                message=f"PET 0 at {plan.pet_zero:%Y-%m-%d} GMT {gmt_label(plan.pet_zero)} is "
                        f"{number_label(-margin, 'up', 0)} min {side} PET 0, {limit:%Y-%m-%d} GMT "
                        f"{gmt_label(limit)}: leave within {key}, or have it changed by whoever set it",
                source=key, margin=margin)


def check_limit_sources(plan: TimedPlan) -> Iterator[Finding]:
    """A remark for every limit that is given without a source."""
    for section in ("limits", "airlock", "checks"):
        given = getattr(plan.scenario.settings, section)
        for field in fmt.SECTION_BY_NAME[section].fields:
            key, value = field.name, getattr(given, field.name)
            is_limit = field.is_number or key == "partner_rescue"
            if is_limit and value not in (None, "") and not given.sources.get(key):
                told = value if isinstance(value, str) else f"{value:g}"
                yield Finding(
                    REMARK, "looks" if section == "checks" else LIMITS, "no-source", about=key,
                    message=f"the limit {key} = {told} gives no source: add {key}_source to [{section}]")


def check_placeholders(plan: TimedPlan) -> Iterator[Finding]:
    """A concern for each table with what nobody has typed yet: sources and cells that say so."""
    settings, tables = plan.scenario.settings, plan.scenario.checked.source.tables
    rows = {f"[{name}]": getattr(settings, name).sources.items() for name in ("limits", "airlock", "checks")}
    for where, cells in {**rows, **{name: raw.rows for name, raw in tables.items()}}.items():
        if names := [row[0] for row in cells if any(cell.startswith(fmt.PLACEHOLDER) for cell in row)]:
            yield Finding(CONCERN, LIMITS, fmt.PLACEHOLDER, about=" ".join(names),
                          message=f"{', '.join(names)} of {where} hold placeholders, which nobody vouches "
                          f"for: type what is so, with its source, and delete the word {fmt.PLACEHOLDER}")


def check_hard_limit(plan: TimedPlan) -> Iterator[Finding]:
    """A hard limit by consumables that lies before the planned limit, or leaves stores out (concerns)."""
    limits = plan.scenario.settings.limits
    if limits.fixed_hard_min is not None:
        return
    if limits.planned_min > plan.hard_min:
        yield Finding(
            CONCERN, LIMITS, "planned-past-hard", about="planned_min", start_min=plan.hard_min,
            message=f"the planned limit of {pet_label(limits.planned_min, 'down')} lies past the hard limit "
                    f"of {plan.hard_limit.label}: the suits do not last to it; plan a shorter outing",
            source=limits.sources.get("planned_min", ""), value=limits.planned_min, limit=plan.hard_min,
            margin=plan.hard_min - limits.planned_min)
    for store in (store for suit in plan.suit_histories for store in suit.stores if not store.is_known):
        yield Finding(
            CONCERN, LIMITS, "store-left-out", about=store.consumable, crew=store.crew,
            message=f"the hard limit of {plan.hard_limit.label} leaves out {store.crew}'s "
                    f"{WORDS[store.consumable]}, which may run out sooner: {', '.join(store.missing)} "
                    "missing",
            source="limits.hard_min")


def check_last_starts(plan: TimedPlan) -> Iterator[Finding]:
    """A task whose first step starts after the task's ``last_start_min`` (stop)."""
    for task, step, first, last in last_starts(plan):
        if first > last + ROUNDING_MIN:
            yield Finding(
                STOP, LIMITS, "last-start", about=task.task, crew=step.crew, step=step.step,
                start_min=first,
                message=f"task {task.task} begins with {step.step} at {pet_label(first)}, "
                        f"{number_label(first - last, 'up')} min after its last start at "
                        f"{pet_label(last, 'down')}: drop it, or move it earlier in the order",
                source="tasks.last_start_min", value=first, limit=last, margin=last - first)


AIRLOCK = "airlock"


def check_airlock(plan: TimedPlan) -> Iterator[Finding]:
    """One number for three things (concern); an emergency that takes longer than good order (remark)."""
    airlock = plan.scenario.settings.airlock
    safe, at_once = airlock.repress_safe_min, airlock.emergency_repress_safe_min
    if safe == airlock.repress_start_min == airlock.hatch_closed_min > 0:
        yield Finding(
            CONCERN, AIRLOCK, "one-number", about="repress_safe_min",
            message=f"one number, {safe:g} min, stands for three (hatch closed, repressurisation begun, "
                    "pressure that can be breathed): find out each and type them in [airlock]",
            source="airlock.repress_safe_min", value=safe)
    if at_once is not None and at_once > safe:
        yield Finding(
            REMARK, AIRLOCK, "slow-emergency", about="emergency_repress_safe_min",
            message=f"the pressure can be breathed after {at_once:g} min in an emergency, but after "
                    f"{safe:g} min in good order: make sure that this is meant",
            source="airlock.emergency_repress_safe_min", value=at_once, limit=safe, margin=safe - at_once)


CLOCKS = "clocks"


def check_clocks(plan: TimedPlan) -> Iterator[Finding]:
    """A remark for each clock without margin: the timing keeps it, any delay while it runs breaks it."""
    for clock in plan.gap_clocks:
        if clock.left_min < ROUNDING_MIN:
            first, then = clock.gap.first_step, clock.gap.then_step
            why = f" ({clock.gap.reason})" if clock.gap.reason else ""
            yield Finding(
                REMARK, CLOCKS, "no-margin", about=f"{first} {then}", step=then, start_min=clock.begin_min,
                message=f"no margin on the clock from {first} at {pet_label(clock.begin_min)} to {then} at "
                        f"{pet_label(clock.end_min)}: {clock.actual_min:g} of {clock.max_gap_min:g} min{why}."
                        " Any delay while it runs breaks it; a smaller max_gap keeps some in hand",
                source="gaps.max_gap", value=clock.actual_min, limit=clock.max_gap_min, margin=clock.left_min)


TASKS = "tasks"


def check_required_tasks(plan: TimedPlan) -> Iterator[Finding]:
    """A required task without steps (concern): it can be flown so, but the objective is not met."""
    with_steps = {step.task for step in plan.steps}
    for task in plan.scenario.records.tasks:
        if task.need == "required" and task.task not in with_steps:
            yield Finding(
                CONCERN, TASKS, "not-done", about=task.task,
                message=f"no step belongs to the required task {task.task} ({task.title or 'no title'}): add "
                        "its steps, or have it accepted that this objective is not met (tasks.need)",
                source="tasks.need")


def check_put_back(plan: TimedPlan) -> Iterator[Finding]:
    """A task that may be given up once it has begun, and nothing says how it is put back (remark)."""
    records, network = plan.scenario.records, plan.network.as_asked
    clocked = {gap.then_step for gap in records.gaps if gap.max_gap is not None and gap.if_missed == "drop"}
    for task in records.tasks:
        own = [row for row, step in enumerate(plan.steps) if step.task == task.task]
        # Missed before its task has begun, a window or a clock has it dropped, and nothing to put back.
        late = [plan.steps[row] for row in own if plan.starts[row] > plan.starts[own].min() and
                row not in network.fixed and (network.demands[row] or plan.steps[row].step in clocked)]
        if late and put_back_min(records, task.task) is None:
            names = " or ".join(step.step for step in late)
            yield Finding(
                REMARK, TASKS, "no-put-back", about=task.task, step=late[0].step,
                start_min=plan.span(late[0].step)[0],
                message=f"task {task.task} may be given up once it has begun, where {names} misses a window "
                        "or clock, but nothing says how it is put back: give its put_back_min, or the "
                        "safe_orderly_min of a step. Until then odds play it on and count it as broken",
                source="tasks.put_back_min")


CREW, _SOURCE = "crew", "crew.csv, trained"


def check_training(plan: TimedPlan) -> Iterator[Finding]:
    """Where training is stated: a task of somebody not trained for it (concern), who is not told of."""
    people = plan.scenario.records.crew
    for each in people if any(each.trained for each in people) else ():
        work = [plan.steps[position] for position in work_order(plan.steps, each.crew)]
        if work and not each.trained:
            yield Finding(REMARK, CREW, "training-unknown", crew=each.crew, source=_SOURCE, message=(
                f"What {each.label} is trained for is not stated: no task of theirs is checked for it"))
            continue
        firsts = {step.task: step for step in reversed(work) if step.task not in each.trained}
        for task, first in reversed(firsts.items()):
            yield Finding(
                CONCERN, CREW, "not-trained", task, each.crew, first.step, plan.span(first.step)[0],
                f"{each.label} is not trained for {task}: let somebody do it who is, or train them", _SOURCE)
