"""Steps and tasks left out of a plan: what waited for them, their gaps, their inhibits.

What a dropped step waited for, the steps that waited for it now wait for (precedence passes through). A gap
with a dropped end goes. An inhibit that begins or ends with a dropped step keeps guarding the steps that need
it: its end moves in to the first or last of them in row order; where none is left, it goes. Each of these is
told in a note, because a control that falls away unseen is the worst that a what-if could do.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

from planning_kit.inputs.records import Gap, Inhibit, Records
from planning_kit.inputs.scenario import Scenario


def drop_steps(scenario: Scenario, dropped: Collection[str],
               tasks: Collection[str] = ()) -> tuple[Scenario, tuple[str, ...]]:
    """The scenario without ``dropped`` steps and without the rows of ``tasks``, and notes in words.

    The edits go in an order in which no table ever names a step that is gone.
    """
    records, gone = scenario.records, frozenset(dropped)
    gaps, inhibits, steps = scenario.gaps, scenario.inhibits, scenario.steps
    gap_goes = [gap.first_step in gone or gap.then_step in gone for gap in records.gaps]
    kept = {inhibit.inhibit: _without(inhibit, records, gone) for inhibit in records.inhibits}
    after = passed_through(records, gone)
    for column in ("from_step", "until_step", "needed_by"):
        inhibits[column] = [getattr(kept[name] or old, column) for name, old in
                            zip(inhibits["inhibit"], records.inhibits, strict=True)]
    inhibits = inhibits.loc[[kept[name] is not None for name in inhibits["inhibit"]]]
    steps["after"] = [after[step] for step in steps["step"]]
    changed = scenario.with_table("gaps", gaps.loc[[not goes for goes in gap_goes]])
    changed = changed.with_table("inhibits", inhibits)
    changed = changed.with_table("steps", steps[~steps["step"].isin(gone)])
    if tasks:
        changed = changed.with_table("tasks", scenario.tasks[~scenario.tasks["task"].isin(tasks)])
    return changed, tuple(_notes(records, gone, kept))


def passed_through(records: Records, gone: frozenset[str]) -> dict[str, tuple[str, ...]]:
    """``after`` of every step, each dropped step in it replaced by what that one waited for."""
    before: dict[str, list[str]] = {step.step: list(step.after) for step in records.steps}
    for gap in records.gaps:
        if _is_order(gap) and gone & {gap.first_step, gap.then_step}:
            before[gap.then_step].append(gap.first_step)

    def waits_for(step: str, seen: frozenset[str]) -> Iterator[str]:
        for name in before[step]:
            if name not in gone:
                yield name
            elif name not in seen:  # a circle of rules is the timing's to tell
                yield from waits_for(name, seen | {name})

    return {step: tuple(dict.fromkeys(name for name in waits_for(step, frozenset({step})) if name != step))
            for step in before}


def _is_order(gap: Gap) -> bool:
    """Whether a gap says that the first step is finished before the other begins."""
    return gap.first_at == "finish" and gap.then_at == "start" and gap.min_gap >= 0


def _without(inhibit: Inhibit, records: Records, gone: frozenset[str]) -> Inhibit | None:
    """The inhibit without the dropped steps, or None where nothing is left that it guards."""
    needed = tuple(step for step in inhibit.needed_by if step not in gone)
    guarded = [step.step for step in records.steps if step.step in needed]
    ends = {}
    for name, place in (("from_step", 0), ("until_step", -1)):
        step = getattr(inhibit, name)
        if step in gone:
            if not guarded:
                return None
            step = guarded[place]
        ends[name] = step
    return replace(inhibit, needed_by=needed, **ends)


def _notes(records: Records, gone: frozenset[str], kept: dict[str, Inhibit | None]) -> Iterator[str]:
    for gap in records.gaps:
        if gap.first_step in gone or gap.then_step in gone:
            why = f" ({gap.reason})" if gap.reason else ""
            yield f"the gap {gap.words} went with it{why}"
    for inhibit in records.inhibits:
        left = kept[inhibit.inhibit]
        name = f"inhibit {inhibit.inhibit}" + (f" ({inhibit.title})" if inhibit.title else "")
        if left is None:
            yield f"{name} went with it"
        elif (left.from_step, left.until_step) != (inhibit.from_step, inhibit.until_step):
            yield (f"{name} now stands from {left.from_step} to {left.until_step}, "
                   f"not {inhibit.from_step} to {inhibit.until_step}")
