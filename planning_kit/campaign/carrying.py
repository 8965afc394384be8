"""The next outing begins with what those before left behind: nothing appears, and nothing vanishes.

What lies outside stays where it is, with what is in it; what is inside may be packed anew, as the next outing
has it, unless that would put it outside. States are as they were left; an inhibit that nobody lifted is in
force since it was set. Of the backlog's tasks that both outings have, steps of one id are the same work: what
is done goes, what is left half done keeps its rest. A step whose work is lost, as what it moved came back
inside, or which moves a tether hook, is done again whole.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace

from planning_kit.campaign.end_state import EndState, InhibitEnd, ItemEnd, StateEnd, TaskEnd, is_inside
from planning_kit.changes.change import Cells, Change, made, step_named
from planning_kit.changes.dropping import Drop
from planning_kit.inputs.faults import Faults
from planning_kit.inputs.input_changes import compare_inputs
from planning_kit.inputs.records import INSIDE, Item, Records, Step
from planning_kit.inputs.row_edits import with_rows
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.shown_text import one_line
from planning_kit.inputs.times import moment_text
from planning_kit.inputs.typed_tables import move_text
from planning_kit.plan.past import MINUTES, estimates_left


def carried_into(scenario: Scenario, end: EndState, backlog: Collection[str] = ()) -> Scenario:
    """``scenario`` as it begins after ``end``; ``backlog``: tasks that go on from outing to outing.

    ``told`` says what that changed, and what could not be carried over. Raises `ScenarioError` where
    something was left at a place that the outing's station has not, or a state at a value that it cannot be.
    """
    records, faults = scenario.records, Faults()
    ends = {each.item.item: each for each in end.items}
    new = [each for name, each in ends.items()
           if each.is_outside and name not in {item.item for item in records.hardware}]
    hardware = scenario.hardware
    if new:
        rows = [{name: "" if cell is None else {True: "yes", False: "no"}.get(cell, cell)
                 if isinstance(cell, bool) else cell for name, cell in vars(each.item).items()}
                | {"end_at": "", "end2_at": ""} for each in new]
        hardware = with_rows(hardware, rows, len(hardware))
    places = {place.place for place in records.places}
    for each in ends.values():
        if each.is_outside and each.place not in places:
            faults.add("hardware", None, "at", each.place, f"is where {each.item.item} was left, and is no "
                       "place of this outing: add it to places.csv")
    faults.stop_if_any()
    items = {**{each.item.item: each.item for each in new}, **{each.item: each for each in records.hardware}}
    values = {each.state.state: each.value for each in end.states}
    held = {each.inhibit.inhibit: each.set_at for each in end.inhibits}
    changes: list[Change] = [
        Cells("hardware", {"at": starts(records, items, ends),
                           "other_end_at": {name: ends[name].other_end for name in items if name in ends}}),
        Cells("states", {"at_start": {each.state: values[each.state] for each in records.states
                                      if each.state in values}}),
        Cells("inhibits", {"set_at": {
            each.inhibit: moment_text(held[each.inhibit]) if each.inhibit in held else ""
            for each in records.inhibits}}),
        *_work(records, end, backlog)]
    changed = made(scenario, changes, frames={"hardware": hardware} if new else None)
    words = [*compare_inputs(scenario.checked, changed.scenario.checked)["words"],
             *(note.words for note in changed.notes), *_not_carried(records, end, backlog)]
    return replace(changed.scenario, told=(*scenario.told, *map(one_line, words)))


def left_by(ends: Sequence[EndState], backlog: Collection[str]) -> EndState:
    """What outings in their order have left, all together: each thing as the last that has a row of it did.

    What was left outside in a bag is where that is by now. A step of the ``backlog`` is as the last that did
    something of it has left it. All else, the tethers too, is as the last outing says.
    """
    items, states, tasks = dict[str, ItemEnd](), dict[str, StateEnd](), dict[str, TaskEnd]()
    held, steps = dict[str, InhibitEnd](), dict[str, tuple[str, EndState]]()
    for end in ends:
        items |= {each.item.item: each for each in end.items}
        states |= {each.state.state: each for each in end.states}
        tasks |= {each.task.task: each for each in end.tasks}
        known = {each.inhibit for each in end.records.inhibits}
        held = {name: each for name, each in held.items() if name not in known}
        held |= {each.inhibit.inhibit: each for each in end.inhibits}
        touched = end.done | end.again | end.begun
        steps |= {name: (task, end) for name, task in end.task_of.items()
                  if (task in backlog and (name in touched or name not in steps))
                  or (end is ends[-1] and name not in steps)}
    for name, each in items.items():
        bag, seen = each.in_bag, {name}
        while bag in items and items[bag].in_bag and bag not in seen:
            seen.add(bag)
            bag = items[bag].in_bag
        if each.is_outside and bag in items:
            items[name] = each._replace(place=items[bag].place)
    done, again, begun = (frozenset(name for name, (_, end) in steps.items() if name in getattr(end, kind))
                          for kind in ("done", "again", "begun"))
    return replace(ends[-1], items=tuple(items.values()), states=tuple(states.values()),
                   inhibits=tuple(held.values()), tasks=tuple(tasks.values()), done=done, again=again,
                   begun=begun, left_min={name: end.left_min[name] for name, (_, end) in steps.items()},
                   task_of={name: task for name, (task, _) in steps.items()})


def starts(records: Records, items: Mapping[str, Item], ends: Mapping[str, ItemEnd]) -> dict[str, str]:
    """Where each item of an outing is at its PET 0, after ``ends``: as `Item.at`."""
    at = {name: (ends[name].in_bag if ends[name].in_bag in items else ends[name].place)
          for name in items if name in ends and ends[name].is_outside}
    for name, item in items.items():
        if name not in at and (name in ends or is_inside(records, items, item.at, {})) and not is_inside(
                records, items, item.at, at):
            at[name] = INSIDE  # it would be outside by itself, or go along with a bag that was left there
    return at


def _work(records: Records, end: EndState, backlog: Collection[str]) -> Iterator[Change]:
    same = {step.step: step for step in records.steps if step.task in backlog}
    gone = {name for name in end.done - end.again
            if name in same and same[name].task == end.task_of[name]}
    # An inhibit is never lost with a step: what lifts or confirms it is done again where it is set again.
    for each in records.inhibits:
        gone -= {each.until_step, each.confirmed_by} if each.from_step not in gone else set()
    begun = {each.inhibit: each.until_step for each in records.inhibits
             if each.from_step in gone and each.until_step not in gone}
    gone -= {each.confirmed_by for each in records.inhibits if each.inhibit in begun}
    if begun:
        yield Cells("inhibits", {"from_step": begun})
    if gone:
        yield Drop(tuple(step_named(step.step) for step in records.steps if step.step in gone))
    rest = {name: left for name, step in same.items() if (left := rest_of(step, end)) not in (None, step)}
    for column in (*MINUTES, "takes", "leaves"):
        cells = {name: getattr(step, column) for name, step in rest.items()
                 if getattr(step, column) != getattr(same[name], column)}
        yield Cells("steps", {column: cells if column in MINUTES else {
            name: " ".join(map(move_text, moves)) for name, moves in cells.items()}})


def rest_of(step: Step, end: EndState) -> Step | None:
    """What is left of a step by what an outing did of it: as it is where it has none of it; None: it is done.

    One that is to be done again (`EndState.again`) is that whole, but for items that it has brought outside.
    """
    if end.task_of.get(step.step) != step.task:
        return step
    if step.step in end.again:
        out = {each.item.item for each in end.items if each.is_outside and step.step in end.done}
        takes, leaves = (tuple(move for move in moves if move.item not in out)
                         for moves in (step.takes, step.leaves))
        return replace(step, takes=takes, leaves=leaves)
    if step.step in end.done:
        return None
    if step.step not in end.begun:
        return step
    low, likely, high = estimates_left(step, end.left_min[step.step])
    return replace(step, minutes_low=low, minutes_likely=likely, minutes_high=high)


def _not_carried(records: Records, end: EndState, backlog: Collection[str]) -> Iterator[str]:
    """What the next outing's tables cannot say of what was left, in words."""
    values = {each.state.state: each.value for each in end.states}
    for task in backlog:
        own = [step.step for step in records.steps if step.task == task and step.step in end.again]
        if own:
            yield (f"{' '.join(own)} of {task} {'is' if len(own) == 1 else 'are'} done again whole: what was "
                   "moved came back inside, or a tether hook is moved")
            made = {entry.state for step in records.steps if step.step in own for entry in step.sets}
            for step in records.steps:
                for need in step.needs if step.step in own else ():
                    value = values.get(need.state, need.value)
                    if value != need.value:
                        by_itself = ", as this work has made it already" if need.state in made else ""
                        yield (f"{step.step} of {task} is done again and needs {need}, and {need.state} was "
                               f"left {value}{by_itself}: add a step that sets it back, or leave out what is "
                               "done")
    known = {each.inhibit for each in records.inhibits}
    for held in end.inhibits:
        if held.inhibit.inhibit not in known:
            yield (f"inhibit {held.inhibit.inhibit} is still in force and no row of inhibits.csv lifts it: "
                   "add one, or have it lifted")
        elif not held.is_sure:
            yield (f"inhibit {held.inhibit.inhibit} is perhaps in force: it was to be set by then, and "
                   "nobody said whether it was; it is taken as set")
    states = {each.state for each in records.states}
    for each in end.states:
        if each.state.state not in states:
            yield f"state {each.state.state} was left {each.words}, and states.csv has no row of it"
        elif each.on_way_to:
            yield f"state {each.state.state} was left {each.words}; this outing begins {each.value}"
    for crew, hook in end.hooks.items():
        if hook != end.records.settings.airlock_place:
            yield f"the tether of {crew} was left hooked at {hook}; this outing begins hooked at the airlock"
