"""Steps and tasks left out of a plan or given up: what waited for them, their gaps, their inhibits.

What a dropped step waited for, the steps that waited for it now wait for (precedence passes through). A gap
with a dropped end goes. An inhibit that begins or ends with a dropped step keeps guarding the steps that need
it: its end moves in to the first or last of them in row order; where none is left, it goes, and nothing
is dead by it. Each is told in a note: a control that falls away unseen is the worst that a what-if could do.

Given up is by one rule for samples in play and for options outside. Before its first step a task is dropped
whole. What has begun is put back at the place of its next step in suits, in ``tasks.put_back_min`` or, where
that is empty, the largest ``safe_orderly_min`` of its steps; where neither is given nobody knows how. That
step takes, leaves and uses nothing: items are as at its start. Where that takes no minutes nobody goes there.
What each does last for it, as far as it only takes, leaves or hooks, brings home the items and tethers that
are out for it: that stays, but for the items that the steps left out would have moved. What hangs on it by
its items see `planning_kit.explore.odds.hanging`.
"""

import re
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import takewhile

from planning_kit.changes.change import TASK, Cells, Change, Named, Note, Tables
from planning_kit.inputs.format import SUITED
from planning_kit.inputs.procedure_records import NEVER
from planning_kit.inputs.records import INSIDE, NONE, Inhibit, Item, Records, Step
from planning_kit.inputs.row_edits import as_cell
from planning_kit.inputs.source import steps_within


@dataclass(frozen=True)
class Drop(Change):
    """Steps and tasks left out at one time; a task goes with its row and the steps that it is named with.

    Only what is dropped together is told as one: an inhibit that would move to a step that goes too is said
    to stand where it comes to stand in the end. With ``lets_stay`` what nobody touches any more stays as it
    is: its ``end_at`` or ``at_end`` is emptied. A step ``put_back`` stays, without its gaps, and confirms
    nothing.
    """

    kind = "drop"
    names: tuple[Named, ...]
    lets_stay: bool = False
    put_back: frozenset[str] = frozenset()

    def _lines(self) -> Sequence[str]:
        return tuple(f"{each.kind} {each.id} dropped" + (
            f" ({len(each.steps)} step{'s' * (len(each.steps) != 1)})" if each.kind == TASK else "")
            for each in self.names)

    def arguments(self) -> dict[str, object]:
        """The names, each with its kind."""
        names = [each.key for each in self.names]
        return {"drop": names[0] if len(names) == 1 else names}

    def _edit(self, tables: Tables) -> Iterator[Note]:
        records = tables.records
        gone = frozenset(step for each in self.names for step in each.steps)
        tasks = {each.id for each in self.names if each.kind == TASK}
        undone = gone | self.put_back
        kept = {inhibit.inhibit: _without(inhibit, records, gone, undone) for inhibit in records.inhibits}
        after = passed_through(records, gone)
        gaps, inhibits, steps = tables["gaps"], tables["inhibits"], tables["steps"]
        confirmed = ["confirmed_by"] if "confirmed_by" in inhibits else []
        for column in ["from_step", "until_step", "needed_by", *confirmed]:
            inhibits[column] = [as_cell(getattr(kept[each.inhibit] or each, column))
                                for each in records.inhibits]
        steps["after"] = [as_cell(after.get(step, ())) for step in steps["step"]]
        tables["gaps"] = gaps.loc[[not undone & {gap.first_step, gap.then_step} for gap in records.gaps]]
        tables["inhibits"] = inhibits.loc[[kept[name] is not None for name in inhibits["inhibit"]]]
        tables["steps"] = steps[~steps["step"].isin(gone | _blocks_of(records, gone))]
        for table, column in (("actions", "step"), ("shots", "from_step")):
            if getattr(records, table):
                tables[table] = tables[table].loc[~tables[table][column].isin(undone)]
        _uncontrol(tables, records, {name for name, left in kept.items() if left is None})
        if tasks:
            tables["tasks"] = tables["tasks"].loc[lambda frame: ~frame["task"].isin(tasks)]
            Cells("crew", {"trained": {each.crew: [task for task in each.trained if task not in tasks] or NONE
                                       for each in records.crew if tasks & {*each.trained}}}).edit(tables)
        yield from _notes(records, undone, kept)
        if self.lets_stay and any(left := _left_alone(records, gone)):
            Cells("hardware", {"end_at": dict.fromkeys(left[0], "")}).edit(tables)
            Cells("states", {"at_end": dict.fromkeys(left[1], "")}).edit(tables)
            yield Note(f"{', '.join([*left[0], *left[1]])} stay as they are: end_at and at_end are emptied")


def _blocks_of(records: Records, gone: frozenset[str]) -> frozenset[str]:
    """The blocks that have no steps left without the ``gone`` ones: none of them is timed instead."""
    return frozenset(block for block, steps in steps_within(records).items()
                     if {step.step for step in steps} <= gone)


def _left_alone(records: Records, gone: Collection[str]) -> tuple[list[str], list[str]]:
    """Items and states that no step touches but the ``gone`` ones, and that should have ended otherwise."""
    left = touched_by(records.steps) - touched_by(step for step in records.steps if step.step not in gone)
    return ([item.item for item in records.hardware
             if item.item in left and item.end_at and not is_at_its_end(records, item, item.at)],
            [each.state for each in records.states
             if each.state in left and each.at_end not in ("", each.at_start)])


def touched_by(steps: Iterable[Step]) -> set[str]:
    """Every item that these steps use, take or leave, and every state that they set."""
    return set[str]().union(*((*step.touches, *(entry.state for entry in step.sets)) for step in steps))


def is_at_its_end(records: Records, item: Item, where: str) -> bool:
    """Whether an item that is there is where it must end; what is held or at the airlock is inside then."""
    inside = {INSIDE, records.settings.airlock_place, *(crew.crew for crew in records.crew)}
    return bool(item.end_at) and (where == item.end_at or (item.end_at == INSIDE and where in inside))


def passed_through(records: Records, gone: frozenset[str]) -> dict[str, tuple[str, ...]]:
    """``after`` of every step, each dropped step in it replaced by what that one waited for."""
    before: dict[str, list[str]] = {step.step: list(step.after) for step in records.steps}
    for gap in records.gaps:
        # The gap goes with its end, but not the order that it says: the first step is finished before the
        # other begins. Its minutes are lost (`Drop` tells it).
        is_order = gap.first_at == "finish" and gap.then_at == "start" and gap.min_gap >= 0
        if is_order and gone & {gap.first_step, gap.then_step}:
            before[gap.then_step].append(gap.first_step)

    def waits_for(step: str, seen: frozenset[str]) -> Iterator[str]:
        for name in before[step]:
            if name not in gone:
                yield name
            elif name not in seen:  # a circle of rules is the timing's to tell
                yield from waits_for(name, seen | {name})

    return {step: tuple(dict.fromkeys(name for name in waits_for(step, frozenset({step})) if name != step))
            for step in before}


def _without(inhibit: Inhibit, records: Records, gone: frozenset[str],
             undone: frozenset[str]) -> Inhibit | None:
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
    if inhibit.confirmed_by in undone:  # by nobody: with its last step it is confirmed as it is lifted
        ends["confirmed_by"] = ends["until_step"]
    return replace(inhibit, needed_by=needed, **ends)


def _uncontrol(tables: Tables, records: Records, gone: set[str]) -> None:
    """What is left of ``controls``, ``off:`` and ``safe_when`` where these inhibits are never in force."""
    if live := {each.state: NEVER for each in records.states if each.safe_when in gone}:
        Cells("states", {"safe_when": live}).edit(tables)
    if not any(gone & set(hazard.inhibits) for hazard in records.hazards):
        return
    hazards = tables["hazards"]
    left = [hazard.controls and hazard.controls.without(gone) for hazard in records.hazards]
    hazards["controls"] = [each.text if each else "" for each in left]
    hazards["when"] = [" and ".join(term for term in re.split(r"\s+and\s+", text.strip())
                                    if term not in {f"off:{name}" for name in gone})
                       for text in hazards["when"]]
    tables["hazards"] = hazards


def _notes(records: Records, gone: frozenset[str], kept: dict[str, Inhibit | None]) -> Iterator[Note]:
    for gap in records.gaps:
        if gap.first_step in gone or gap.then_step in gone:
            why = f" ({gap.reason})" if gap.reason else ""
            yield Note(f"the gap {gap.words} went with it{why}", f"{gap.first_step} {gap.then_step}")
    for inhibit in records.inhibits:
        left = kept[inhibit.inhibit]
        name = f"inhibit {inhibit.inhibit}" + (f" ({inhibit.title})" if inhibit.title else "")
        if left is None:
            hazards = [each.hazard for each in records.hazards if inhibit.inhibit in each.inhibits]
            hazards += [each.state for each in records.states if each.safe_when == inhibit.inhibit]
            controlled = f"; it controls {', '.join(hazards)} no more" if hazards else ""
            yield Note(f"{name} went with it{controlled}", inhibit.inhibit)
            continue
        if left.confirmed_by != inhibit.confirmed_by:
            yield Note(f"nobody confirms {name} any more: {inhibit.confirmed_by} did", inhibit.inhibit)
        if (left.from_step, left.until_step) != (inhibit.from_step, inhibit.until_step):
            yield Note(f"{name} now stands from {left.from_step} to {left.until_step}, "
                       f"not {inhibit.from_step} to {inhibit.until_step}", inhibit.inhibit)


def without_tasks(records: Records, dropped: Collection[str]) -> Records:
    """The records without the steps of the ``dropped`` tasks (`without_steps`)."""
    return without_steps(records, frozenset(step.step for step in records.steps if step.task in dropped))


def without_steps(records: Records, gone: frozenset[str]) -> Records:
    """The records without the steps ``gone``, which then take no time and no travel.

    As `Drop` does to the tables: precedence passes through, gaps to or from a dropped step go. Only what the
    timing reads is changed and nothing is checked anew, so that thousands of samples can each drop their own.
    """
    if not gone:
        return records
    after = passed_through(records, gone)
    return replace(
        records,
        steps=tuple(replace(step, after=after[step.step]) for step in records.steps if step.step not in gone),
        gaps=tuple(gap for gap in records.gaps if not gone & {gap.first_step, gap.then_step}),
    )


# Put back


@dataclass(frozen=True)
class GivenUp:
    """How a task is given up: the steps ``gone``, and the one at which it is put back in so many minutes.

    ``put_back`` is "" where nothing of it has begun: then all its steps are gone. ``home``: its way home,
    which stays but for the items ``lost``; the step that puts back is of it only where nothing else is left,
    and gone where it takes no minutes.
    """

    gone: frozenset[str]
    put_back: str = ""
    minutes: float = 0.0
    home: frozenset[str] = frozenset()
    lost: frozenset[str] = frozenset()

    def moves(self, step: str, item: str) -> bool:
        """Whether a step still moves an item, if it is one of the task's."""
        return step not in {*self.gone, self.put_back} and not (step in self.home and item in self.lost)


def put_back_min(records: Records, task: str) -> float | None:
    """Minutes to put a task back that has begun; None where that is not known."""
    said = next(each.put_back_min for each in records.tasks if each.task == task)
    safe = [step.safe_orderly_min for step in records.steps if step.task == task]
    return said if said is not None else max((each for each in safe if each is not None), default=None)


def given_up(records: Records, task: str, left: Collection[str], begun: Collection[str],
             at: str = "") -> GivenUp | None:
    """How a task is given up at a step (``at``, "" for its next); None where nobody knows how.

    ``left``: its steps still to do; ``begun``: those of which something is done.
    """
    suited = [step.step for step in records.steps if step.step in left and set(step.people) & set(SUITED)]
    if not begun or not suited:  # nothing of it is in anybody's hands
        return GivenUp(frozenset(left))
    minutes, home = put_back_min(records, task), way_home(records, task, left, begun)
    if minutes is None:
        return None
    # What only goes home, or was left half done, last: its items and its minutes are told otherwise.
    back = at if at in suited else min(suited, key=lambda name: (name in home, name in begun))
    gone = frozenset(left) - home
    return GivenUp(gone - {back} if minutes else gone | {back}, back, minutes, home,
                   frozenset(moved_by(records, gone | {back})))


def way_home(records: Records, task: str, left: Collection[str], begun: Collection[str]) -> frozenset[str]:
    """The steps left of a task that has begun which only bring home what is out for it."""
    own = [step for step in records.steps if step.task == task and step.step in {*left, *begun}]
    last = {step.step for who in SUITED
            for step in takewhile(_only_handles, (step for step in reversed(own) if who in step.people))}
    home = last & set(left) - set(begun)
    out = moved_by(records, begun) - moved_by(records, set(left) - home)
    hooked = {who for step in own if step.step in begun for who in step.hooks}
    return frozenset(step.step for step in own if step.step in home and (
        hooked & set(step.hooks) or out & moved_by(records, {step.step})))


def _only_handles(step: Step) -> bool:
    is_bound = step.light != "any" or step.same_window or step.windows or step.foothold or step.uses
    return bool(step.takes or step.leaves or step.hooks) and not is_bound


def moved_by(records: Records, steps: Collection[str]) -> set[str]:
    """Every item that some steps take or leave."""
    return {move.item for step in records.steps if step.step in steps for move in (*step.takes, *step.leaves)}
