"""What has happened, written into the scenario: actual times, the order in which it was done, parts, skips.

The re-timed plan is a plan like any other, of a scenario that says what was really done: every tracker and
check then judges it as it would judge any plan. A step that was left and taken up again becomes rows of its
own: ``AN1.part1`` is what was done of it, ``AN1`` what finished or is still to finish it. The parts take what
the step takes; only the step itself leaves things and moves hooks, and whoever waits, waits for it.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

import pandas as pd

from planning_kit.changes.change import Cells, made, step_named
from planning_kit.changes.dropping import Drop
from planning_kit.changes.putting_back import moved_by
from planning_kit.inputs.log_state import DONE, DROPPED, IN_PROGRESS, State, States
from planning_kit.inputs.records import INSIDE, Records
from planning_kit.inputs.row_edits import as_cell
from planning_kit.inputs.scenario import Scenario
from planning_kit.inputs.times import moment_at
from planning_kit.inputs.typed_tables import move_text
from planning_kit.plan.network import ROUNDING_MIN, on_grid
from planning_kit.plan.past import MINUTES, NOT_DONE, SKIPPED, Happened, LeftOut, estimates_left
from planning_kit.plan.timed import TimedPlan

_LOGGED_FIRST, _TO_DO = 0, 1
_AT_ITS_END = ("leaves", "hooks", "sets", "checks", "clears")
_Spell = tuple[float, float]
"""When a spell of work on a step began (PET), and its minutes."""


def write_down(base: TimedPlan, states: States, pet_zero: datetime, now_min: float) -> Happened:
    """The scenario of ``base`` with everything in ``states`` written into it; PET 0 as it was (UTC)."""
    table = base.scenario.steps
    every = [{str(name): value for name, value in row.items()} for row in table.to_dict("records")]
    rows = [row for row in every if row["step"] in states.by_step]  # a block with steps is no work
    home = dict.fromkeys(_give_up(rows, base.scenario.records, states), INSIDE)
    done: list[tuple[tuple[float, ...], dict[str, object]]] = []
    fixed: dict[str, float] = {}
    parts: dict[str, str] = {}
    for position, state in enumerate(states.by_step.values()):
        here = [*_spells(state, float(base.starts[position]), float(base.finishes[position]), now_min)]
        for order, row in _rows(rows[position], state, here, now_min):
            done.append(((*order, position), row))
        names = _names(state, len(here))
        fixed.update({name: start for name, (start, _) in zip(names, here, strict=True)})
        parts.update({name: state.step.step for name in names if name != state.step.step})
    done.sort(key=lambda entry: entry[0])
    blocks = [row for row in every if row["step"] not in states.by_step]
    frames = {"steps": pd.DataFrame([*(row for _, row in done), *blocks], columns=table.columns),
              **_with_parts(base.scenario, parts)} if fixed or states.put_back else {}
    skipped = [name for name, state in states.by_step.items() if state.status == DROPPED]
    left = tuple(_left_out(state) for name, state in states.by_step.items()
                 if name in skipped or state.given_up_min is not None)
    drop = Drop(tuple(map(step_named, skipped)), put_back=frozenset(states.put_back))
    changed = made(base.scenario, [*([drop] if skipped or drop.put_back else []),
                                   *([Cells("hardware", {"end_at": home})] if home else [])], frames=frames)
    scenario = changed.scenario
    if scenario is not base.scenario:
        scenario = scenario.as_happened(moment_at(now_min, pet_zero))
    return Happened(scenario, fixed, parts, left, tuple((note.about, note.words) for note in changed.notes))


def _give_up(rows: Sequence[dict[str, object]], records: Records, states: States) -> Iterator[str]:
    """Write tasks given up into ``rows``; gives the items of them that should have stayed, and come home.

    What the steps left out would have moved is not handled on the way home.
    """
    for back, since in states.put_back.items():
        own = {name: state for name, state in states.by_step.items()
               if state.step.task == states.by_step[back].step.task}
        begun = {name for name, state in own.items() if any(start < since for start, _ in state.pieces)}
        lost = moved_by(records, {back, *(name for name, state in own.items() if state.status == DROPPED)})
        for row, step in zip(rows, records.steps, strict=True):
            if step.step == back:
                new = own[back].step
                row |= {name: as_cell(value) for name, value in vars(new).items()
                        if name in row and value != getattr(step, name)}
            elif step.step in own.keys() - begun:
                row["takes"], row["leaves"] = (
                    " ".join(move_text(move) for move in moves if move.item not in lost)
                    for moves in (step.takes, step.leaves))
        yield from (item.item for item in records.hardware if item.end_at not in ("", INSIDE)
                    and item.item in lost & moved_by(records, begun))


def _left_out(state: State) -> LeftOut:
    if state.given_up_min is not None:
        return LeftOut(state.step.step, NOT_DONE, "was broken off, and only made safe")
    if state.is_left_undone:
        return LeftOut(state.step.step, NOT_DONE, "was still to do when both went in")
    why = "was given up before it was finished" if state.pieces else "was skipped"
    return LeftOut(state.step.step, SKIPPED, why)


def _spells(state: State, planned_start: float, planned_finish: float, now_min: float) -> Iterator[_Spell]:
    for start, finish in state.pieces:
        begin, end = _as_planned(start, planned_start), _as_planned(finish, planned_finish)
        if finish != finish:  # NaN: it has begun and is not finished
            to_do = state.left_to_do_min(now_min)
            # With the estimate used up it cannot end before now, and each later now moves it on.
            end = _as_planned(now_min + to_do, planned_finish) if to_do else now_min
        yield begin, float(on_grid(end - begin))


def _as_planned(minute: float, planned: float) -> float:
    """A time within rounding of the planned one is the planned one, so that as planned changes nothing.

    UTC is logged in whole microseconds, the timing is finer: without this a step that just fits in a window
    could be thrown out of it.
    """
    return planned if abs(minute - planned) <= ROUNDING_MIN else float(on_grid(minute))


def _names(state: State, spells: int) -> list[str]:
    """Ids of the rows of all spells: the last is the step itself if that spell is its finish, or will be."""
    names = [f"{state.step.step}.part{number}" for number in range(1, spells + 1)]
    if spells and state.status in (DONE, IN_PROGRESS):
        names[-1] = state.step.step
    return names


def _rows(row: Mapping[str, object], state: State, spells: list[_Spell],
          now_min: float) -> Iterator[tuple[tuple[float, ...], dict[str, object]]]:
    """The rows of one step with their place in the order: by start what has begun, then as it was."""
    names = _names(state, len(spells))
    if state.given_up_min is not None:  # nothing that it would have done at its end comes about
        row = dict(row) | dict.fromkeys(_AT_ITS_END, "") | {"title": f"{row['title']} (only made safe)"}
    before = ""
    for number, (name, (start, minutes)) in enumerate(zip(names, spells, strict=True), start=1):
        new = dict(row) | dict.fromkeys(MINUTES, minutes) | {"step": name}
        if number > 1:
            new |= {"takes": "", "after": f"{row['after']} {before}".strip()}
        if name != state.step.step:
            new |= {"leaves": "", "hooks": "", "sets": "", "title": f"{row['title']} (part {number})"}
        before = name
        yield (_LOGGED_FIRST, start), new
    if not names or names[-1] != state.step.step:
        rest = dict(row)
        if names:
            rest |= {"takes": "", "after": f"{row['after']} {before}".strip()}
            rest |= zip(MINUTES, estimates_left(state.step, state.left_to_do_min(now_min)), strict=True)
        yield (_TO_DO, 0.0), rest


def _with_parts(scenario: Scenario, parts: Mapping[str, str]) -> dict[str, pd.DataFrame]:
    """Gaps and inhibits where those that begin with a step begin with its first part."""
    if not parts:
        return {}
    # Backwards, so that of several parts the first one stays.
    first = {step: part for part, step in reversed(list(parts.items()))}
    gaps, inhibits, records = scenario.gaps, scenario.inhibits, scenario.records
    gaps["first_step"] = [first.get(gap.first_step, gap.first_step) if gap.first_at == "start"
                          else gap.first_step for gap in records.gaps]
    gaps["then_step"] = [first.get(gap.then_step, gap.then_step) if gap.then_at == "start"
                         else gap.then_step for gap in records.gaps]
    inhibits["from_step"] = [first.get(name, name) for name in inhibits["from_step"]]
    inhibits["needed_by"] = [
        " ".join([*each.needed_by, *(part for part, step in parts.items() if step in each.needed_by)])
        for each in records.inhibits]
    return {"gaps": gaps, "inhibits": inhibits}
